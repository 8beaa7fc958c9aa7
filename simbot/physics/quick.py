"""A short way to the acceleration of one mechanism that moves alone on the bus, for the inner stages of a step.

With one group of motors on the battery, no limit at work and no devices of constant power, the bus stands at

    V = (E + R0 (B + n d k G v/R))/(1 + R0 (A + n d²/R))

and the core law of `forces` has constants that hold until a mode changes: they are worked out once. What a full
evaluation leaves behind (currents, forces) it does not; the end of a step is always evaluated in full.
"""

from __future__ import annotations

from typing import Any

from simbot.physics import layout as L
from simbot.physics.compiled import Array, inner
from simbot.physics.forces import look_up


@inner
def quicken(w: Array) -> Any:
    """Work out the constants, and note in QUICK whether they hold; with every change of modes."""
    w[L.QUICK] = 0.0
    if w[L.N_LIVE] != 1.0 or w[L.IDLE_P] != 0.0:
        return
    m = int(w[L.LIVE])
    g = int(w[m + L.GRP])
    control = w[m + L.CONTROL]
    if control == L.SERVO or control == L.STRONGEST or w[m + L.OPEN] == 1.0 or w[m + L.GUIDE_N] > 0.0:
        return
    if w[m + L.N_GRP] != 1.0 or w[g + L.G_RAIL] >= 0.0 or w[g + L.G_LIM] != 0.0 or w[g + L.G_CAP] != 0.0:
        return
    for k in range(int(w[L.N_RAIL])):
        if w[L.RAILS + k * L.RAIL_SIZE + L.RAIL_IDLE_A] != 0.0:
            return
    many = w[g + L.G_N]
    d = w[m + L.DUTY] * w[g + L.G_SHARE]
    r = w[g + L.G_R]
    f = w[g + L.G_FWD] if w[g + L.G_GEAR] == 0.0 else w[g + L.G_BACK]
    bare = w[g + L.G_RF] if w[g + L.G_BARE] == 0.0 else 1.0 / w[g + L.G_RB]
    w[L.QUICK_D] = d
    w[L.QUICK_ASKED] = w[L.IDLE_A] + many * w[g + L.G_CURRENT] * d * d / r
    w[L.QUICK_BUS] = 1.0 / (1.0 + w[L.R0] * w[L.QUICK_ASKED])
    w[L.QUICK_BACK] = many * w[g + L.G_CURRENT] * d / r
    w[L.QUICK_PUSH] = many * w[g + L.G_K] * bare / (r * f)
    w[L.QUICK_LOST] = many * w[g + L.G_TF] * bare / f
    w[L.QUICK_ROTOR] = many * w[g + L.G_J] / f
    w[L.QUICK] = 1.0


@inner
def quick_rate(w: Array, tab: Array, m: int) -> Any:
    """Acceleration at the trial state, in A_NEXT, and the bus in V and I."""
    v = w[m + L.V_NEXT]
    g = int(w[m + L.GRP])
    mass, dmass, load, factor, dfactor = look_up(w, tab, m, w[m + L.Q_NEXT])
    s = w[m + L.S]
    ratio = w[g + L.G_RATIO] * factor
    emf = w[g + L.G_K] * ratio * v
    back = w[L.IDLE_B] + w[L.QUICK_BACK] * emf
    volts = (w[L.E] + w[L.R0] * back) * w[L.QUICK_BUS]
    w[L.V] = volts
    w[L.I] = w[L.QUICK_ASKED] * volts - back
    spin = s if ratio > 0.0 else -s
    pull = w[L.QUICK_PUSH] * (w[L.QUICK_D] * volts - emf) - w[L.QUICK_LOST] * spin
    pull -= w[L.QUICK_ROTOR] * w[g + L.G_RATIO] * dfactor * v * v
    held = 0.5 * dmass * v * v + load + s * w[m + L.FC] + w[m + L.DAMP] * v
    bottom = mass + ratio * ratio * w[L.QUICK_ROTOR] + w[g + L.G_WHEEL]
    w[m + L.A_NEXT] = (ratio * pull - held) / bottom
    w[L.EVALS] += 1.0
