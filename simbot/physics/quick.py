"""A short way to the accelerations of what moves, for the inner stages of a step.

Where no limit is at work and every moving mechanism keeps its effort, what the groups of one mechanism do adds up.
With g(q) the common factor of its ratios,

    M a + M' v²/2 + Q + F = g PUSH V - g² DRAG v - |g| LOST - g ROTORS (g a + g' v²)

and what all ask of the bus is a constant, g v BACK given back by each, and a constant power. A servo on a regulated
rail has the rail's voltage for V and an effort of its own at every place; it asks d (d V - emf)/R of its rail. All
capitals hold until a mode changes and are worked out once. What a full evaluation leaves behind (currents, forces)
this does not; the end of a step is always evaluated in full.
"""

from __future__ import annotations

from typing import Any

from simbot.physics import layout as L
from simbot.physics.bus import add_rails, servo_duty, volts_at
from simbot.physics.compiled import Array, inner
from simbot.physics.forces import elsewhere, look_up


@inner
def quicken(w: Array) -> Any:
    """Work out the constants where the law is not linear, and note in QUICK whether they hold, at a change of modes."""
    w[L.QUICK] = 0.0
    if w[L.STRAIGHT] == 1.0:
        return
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        w[rail + L.RAIL_A] = w[rail + L.RAIL_IDLE_A]
        w[rail + L.RAIL_B] = 0.0
    a, b, p = add_rails(w, w[L.IDLE_A], w[L.IDLE_B], w[L.IDLE_P])
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        control = w[m + L.CONTROL]
        if control == L.STRONGEST or w[m + L.OPEN] == 1.0 or w[m + L.GUIDE_N] > 0.0:
            return
        fed = w[int(w[m + L.GRP]) + L.G_RAIL] >= 0.0
        if control == L.SERVO and not fed:
            return
        push = 0.0
        drag = 0.0
        lost = 0.0
        rotors = 0.0
        wheels = 0.0
        back = 0.0
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            if w[g + L.G_LIM] != 0.0 or w[g + L.G_CAP] != 0.0 or elsewhere(w, m, g):
                return
            many = w[g + L.G_N]
            ratio = w[g + L.G_RATIO]
            d = w[m + L.DUTY] * w[g + L.G_SHARE]
            f = w[g + L.G_FWD] if w[g + L.G_GEAR] == 0.0 else w[g + L.G_BACK]
            bare = w[g + L.G_RF] if w[g + L.G_BARE] == 0.0 else 1.0 / w[g + L.G_RB]
            per_volt = ratio * many * w[g + L.G_K] * bare / (w[g + L.G_R] * f)
            push += per_volt if fed else per_volt * d
            drag += per_volt * w[g + L.G_K] * ratio
            lost += abs(ratio) * many * w[g + L.G_TF] * bare / f
            rotors += ratio * ratio * many * w[g + L.G_J] / f
            wheels += w[g + L.G_WHEEL]
            if fed:
                if not quick_rail(w, m, g):
                    return
            else:
                drawn = many * w[g + L.G_CURRENT] * d / w[g + L.G_R]
                a += drawn * d
                back += drawn * w[g + L.G_K] * ratio
            g += L.GROUP_SIZE
        w[m + L.QUICK_PUSH] = push
        w[m + L.QUICK_DRAG] = drag
        w[m + L.QUICK_LOST] = lost
        w[m + L.QUICK_ROTORS] = rotors
        w[m + L.QUICK_WHEELS] = wheels
        w[m + L.QUICK_BACK] = back
    w[L.QUICK_A] = a
    w[L.QUICK_B] = b
    w[L.QUICK_P] = p
    w[L.QUICK] = 1.0


@inner
def quick_rail(w: Array, m: int, g: int) -> Any:
    """Note what feeds a servo, and what it asks of that; False where that does not stand at its voltage."""
    rail = L.RAILS + int(w[g + L.G_RAIL]) * L.RAIL_SIZE
    mode = w[rail + L.RAIL_MODE]
    if mode == L.DROPOUT or mode == L.LIMITED or w[rail + L.RAIL_V] != w[rail + L.RAIL_SET]:
        return False
    if w[m + L.CONTROL] != L.SERVO or w[m + L.N_GRP] != 1.0:
        return False
    w[m + L.FED_BY] = rail
    w[m + L.FED_EMF] = w[g + L.G_K] * w[g + L.G_RATIO]
    w[m + L.FED_SIEMENS] = 0.0 if mode == L.IDLE else w[g + L.G_N] * w[g + L.G_CURRENT] / w[g + L.G_R]
    w[m + L.FED_SHARE] = w[g + L.G_SHARE]
    return True


@inner
def quick_rates(w: Array, tab: Array) -> Any:
    """Accelerations at the trial state, in A_NEXT, and the bus in V and I."""
    n = int(w[L.N_LIVE])
    b = w[L.QUICK_B]
    p = w[L.QUICK_P]
    for k in range(n):
        m = int(w[L.LIVE + k])
        v = w[m + L.V_NEXT]
        mass, dmass, load, factor, dfactor = look_up(w, tab, m, w[m + L.Q_NEXT])
        s = w[m + L.S]
        rotors = factor * w[m + L.QUICK_ROTORS]
        held = 0.5 * dmass * v * v + load + s * (w[m + L.FC] + abs(factor) * w[m + L.QUICK_LOST])
        held += (w[m + L.DAMP] + factor * factor * w[m + L.QUICK_DRAG] + rotors * dfactor * v) * v
        bottom = mass + factor * rotors + w[m + L.QUICK_WHEELS]
        w[m + L.A_NEXT] = -held / bottom
        w[m + L.QUICK_NOW] = factor * w[m + L.QUICK_PUSH] / bottom
        if w[m + L.CONTROL] == L.SERVO:
            rail = int(w[m + L.FED_BY])
            out = servo_duty(w, m, w[m + L.Q_NEXT]) * w[m + L.FED_SHARE]
            top = w[rail + L.RAIL_SET]
            current = w[m + L.FED_SIEMENS] * out * (out * top - w[m + L.FED_EMF] * factor * v)
            if w[rail + L.RAIL_EFF] > 0.0:
                p += top * current / w[rail + L.RAIL_EFF]
            else:
                b -= current
            w[m + L.A_NEXT] += w[m + L.QUICK_NOW] * out * top
            w[m + L.QUICK_NOW] = 0.0
        else:
            b += factor * v * w[m + L.QUICK_BACK]
    volts = volts_at(w, w[L.QUICK_A], b, p)
    for k in range(n):
        m = int(w[L.LIVE + k])
        w[m + L.A_NEXT] += w[m + L.QUICK_NOW] * volts
    w[L.EVALS] += 1.0
