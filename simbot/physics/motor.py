"""From a motor's data sheet to its straight torque-speed line with one motor constant.

    i = (d V - k w)/R      torque = k i - k I0 sgn(w)      supply current = d i

Where a sheet gives all of free speed, free current, stall torque and stall current, they rarely agree. The
torque line (stall torque to free speed) is what times depend on, and is kept. With
r = stall torque / (k (stall current - free current)): r <= 1 is a loss inside the motor (or the gears inside
a gearmotor); r > 1 would make energy, so the stall current is replaced by the one that energy conservation
asks for.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

from simbot.scenario.model import Motor


@dataclass(frozen=True)
class MotorModel:
    """A motor as the plant sees it; all at its output shaft.

    Parameters
    ----------
    voltage : float
        Nominal voltage [V].
    resistance : float
        [ohm]
    constant : float
        [V s/rad = N m/A]
    friction : float
        Friction torque k I0 [N m].
    rotor_inertia : float
        As felt at the output shaft: rotor's own times internal ratio squared [kg m²].
    r : float
        Torque that leaves it over the torque that its currents make, at most 1 (see module).
    geared : bool
        A gearmotor: the loss r lies in its gears, the rotor before it. False: the rotor stands after it.
    sheet_r : float
        r as the sheet has it, above 1 where the sheet is impossible.
    stall_current_replaced_by : float or None
        [A]
    assumed : tuple of (quantity, value, spread, reason)
        Defaults that stand in for what the sheet leaves out.
    """

    voltage: float
    resistance: float
    constant: float
    friction: float
    rotor_inertia: float
    r: float
    geared: bool
    sheet_r: float
    stall_current_replaced_by: float | None
    assumed: tuple[tuple[str, float, float, str], ...]


def resistance_from_torque(
    voltage: float, free_speed: float, free_current: float, stall_torque: float, after_friction: bool
) -> float:
    """Winding resistance that free speed, free current and stall torque imply [ohm].

    After friction, Ts = k (Is - I0): the smaller root of (Vn - I0 R)² = Ts w0 R. Before it, Ts = k Is:
    R = Vn²/(Ts w0 + Vn I0).
    """
    if not after_friction:
        return voltage**2 / (stall_torque * free_speed + voltage * free_current)
    b = 2.0 * voltage * free_current + stall_torque * free_speed
    return 2.0 * voltage**2 / (b + sqrt(b * b - 4.0 * (free_current * voltage) ** 2))


def motor_model(sheet: Motor) -> MotorModel:
    """Model of a motor from its data sheet.

    Parameters
    ----------
    sheet : Motor
        At least one of stall torque and stall current is given.

    Returns
    -------
    MotorModel

    Examples
    --------
    >>> from simbot.scenario.model import Motor
    >>> coil = Motor("coil", 12.0, 649.2625, 0.28, None, 10.4, 1.15e-5, None, "after_friction", "", 0)
    >>> round(motor_model(coil).constant, 8)
    0.0179849
    """
    assumed: list[tuple[str, float, float, str]] = []
    v, w0 = float(sheet.voltage), float(sheet.free_speed)
    i0 = sheet.free_current
    if i0 is None:
        i0 = 0.04 * stall_current_of(sheet)
        assumed.append(("free_current", i0, 0.5 * i0, "4 % of stall current, common practice, no source"))
    after = sheet.stall_torque_is != "before_friction"
    replaced = None
    sheet_r = 1.0
    if sheet.stall_current is None:
        assert sheet.stall_torque is not None
        resistance = resistance_from_torque(v, w0, i0, sheet.stall_torque, after)
    else:
        resistance = v / sheet.stall_current
        if sheet.stall_torque is not None:
            k = (v - i0 * resistance) / w0
            torque = sheet.stall_torque - (0.0 if after else k * i0)
            sheet_r = torque / (k * (sheet.stall_current - i0))
            if sheet_r > 1.0:
                resistance = resistance_from_torque(v, w0, i0, sheet.stall_torque, after)
                replaced = v / resistance
    k = (v - i0 * resistance) / w0
    inertia, ratio, more = rotor(sheet, v / resistance)
    assumed += more
    return MotorModel(
        voltage=v,
        resistance=resistance,
        constant=k,
        friction=k * i0,
        rotor_inertia=inertia * ratio**2,
        r=min(1.0, sheet_r),
        geared=ratio > 1.0,
        sheet_r=sheet_r,
        stall_current_replaced_by=replaced,
        assumed=tuple(assumed),
    )


def stall_current_of(sheet: Motor) -> float:
    """Stall current of a sheet, or what its torque line implies without losses [A]."""
    if sheet.stall_current is not None:
        return float(sheet.stall_current)
    assert sheet.stall_torque is not None
    return float(sheet.stall_torque * sheet.free_speed / sheet.voltage)


def rotor(sheet: Motor, stall_current: float) -> tuple[float, float, list[tuple[str, float, float, str]]]:
    """Rotor inertia [kg m²], internal ratio, and what of it is assumed, by the motor's rating.

    From memory: rotors of small motors (stall below 30 A on 12 V) 5e-6 to 2e-5 kg m², of large ones 5e-5 to
    1.5e-4; small gearmotors have rotors that run at about 6000 rpm.
    """
    assumed = []
    ratio = sheet.internal_ratio
    if ratio is None:
        ratio = 1.0
        rotor_speed = 6000.0 * pi / 30.0
        if sheet.free_speed < 0.35 * rotor_speed:
            ratio = rotor_speed / sheet.free_speed
            assumed.append(
                ("internal_ratio", ratio, 0.4 * ratio, "a gearmotor whose rotor runs at 6000 rpm, from memory")
            )
    inertia = sheet.rotor_inertia
    if inertia is None:
        small = stall_current < 30.0 * 12.0 / sheet.voltage
        inertia, spread = (1.0e-5, 0.7e-5) if small else (8.0e-5, 5.0e-5)
        assumed.append(("rotor_inertia", inertia, spread, "by its rating, from memory"))
    return inertia, ratio, assumed
