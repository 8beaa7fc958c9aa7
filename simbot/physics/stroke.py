"""How long a pneumatic cylinder takes for a stroke: flow through its valves, air in its chambers, load.

Mass flow through a valve after ISO 6358-1 (from memory): C p1 rho0 psi(p2/p1), psi = 1 up to the critical ratio b,
above it sqrt(1 - ((p2/p1 - b)/(1 - b))^2); rho0 = 1.185 kg/m^3 at 20 degrees C and 1 bar. Ideal gas, isothermal at
20 degrees C; sliding friction the same at every speed; stops at both ends; cushioning is left out.
"""

from __future__ import annotations

from math import inf, sqrt

from simbot.physics.air import ATMOSPHERE, GAS, REFERENCE_DENSITY

STEP, FINEST = 5e-5, 2e-6  # s
LONGEST = 10.0  # s


def stroke_time(
    conductance_in: float,
    conductance_out: float,
    critical: float,
    tank: float,
    room: float,
    regulated: float,
    area_in: float,
    area_out: float,
    before: float,
    way: float,
    dead: float,
    mass: float,
    load: float,
    friction: float,
) -> float:
    """Time from the valve's opening to the end of the stroke [s]; inf where it does not get there in ten seconds.

    Parameters
    ----------
    conductance_in, conductance_out : float
        Sonic conductance of what lets air in and out, of all cylinders together [m³/(s Pa)].
    critical : float
        Critical pressure ratio b.
    tank, room : float
        Absolute pressure in the tank [Pa] and its volume [m³].
    regulated : float
        Absolute pressure after the regulator [Pa]; inf: none.
    area_in, area_out : float
        Of the piston on the side that is filled and on the one that is emptied [m²]; 0: that side is open.
    before : float
        Absolute pressure in the chamber that is emptied [Pa].
    way, dead : float
        Stroke [m], and the volume of either chamber and its hose at the piston's end [m³].
    mass, load, friction : float
        That moves with the piston [kg]; force against the stroke, that of the outer air included [N]; its friction.
    """
    flow = REFERENCE_DENSITY * GAS  # pressure times volume that a flow brings, per conductance and pressure
    step = max(FINEST, min(STEP, 0.3 * dead / (flow * max(conductance_in, conductance_out))))  # for stability
    x, v, filled, emptied, t = 0.0, 0.0, ATMOSPHERE, before, 0.0
    while t < LONGEST:
        x0, v0, f0, e0, p0 = x, v, filled, emptied, tank
        pushes = f0 * area_in - e0 * area_out - load
        stuck = v0 == 0.0 and abs(pushes) <= friction
        back = v0 == 0.0 and x0 <= 0.0 and pushes < 0.0
        sign = 1.0 if v0 > 0.0 or (v0 == 0.0 and pushes > 0.0) else -1.0
        dx = dv = df = de = dp = 0.0
        kx = kv = kf = ke = kp = 0.0
        for stage in range(4):  # Runge and Kutta's classical method
            part = 0.0 if stage == 0 else (1.0 if stage == 3 else 0.5)
            xs, vs, fs, es, ps = (
                x0 + part * kx,
                v0 + part * kv,
                f0 + part * kf,
                e0 + part * ke,
                p0 + part * kp,
            )
            fed = min(ps, regulated)
            inflow = 0.0
            if area_in > 0.0 and fed > fs:
                ratio = fs / fed
                psi = (
                    1.0
                    if ratio <= critical
                    else sqrt(max(0.0, 1.0 - ((ratio - critical) / (1.0 - critical)) ** 2))
                )
                inflow = conductance_in * fed * psi * flow
            outflow = 0.0
            if area_out > 0.0 and es > ATMOSPHERE:
                ratio = ATMOSPHERE / es
                psi = (
                    1.0
                    if ratio <= critical
                    else sqrt(max(0.0, 1.0 - ((ratio - critical) / (1.0 - critical)) ** 2))
                )
                outflow = conductance_out * es * psi * flow
            kx = step * vs
            kv = 0.0
            if not stuck and not back:
                kv = step * (fs * area_in - es * area_out - load - sign * friction) / mass
            kf = step * (inflow - fs * area_in * vs) / (dead + area_in * xs)
            ke = step * (es * area_out * vs - outflow) / (dead + area_out * max(way - xs, 0.0))
            kp = -step * inflow / room
            weight = 1.0 / 6.0 if stage == 0 or stage == 3 else 1.0 / 3.0
            dx += weight * kx
            dv += weight * kv
            df += weight * kf
            de += weight * ke
            dp += weight * kp
        x, v, filled, emptied, tank = x0 + dx, v0 + dv, f0 + df, e0 + de, p0 + dp
        if v0 * v < 0.0:
            v = 0.0
        if x <= 0.0 and v < 0.0:
            x, v = 0.0, 0.0
        if x >= way:
            return t + step * (way - x0) / (x - x0)
        t += step
        if v == 0.0 and abs(df) + abs(de) + abs(dp) < 1e-9 * ATMOSPHERE and (stuck or back):
            break
    return inf
