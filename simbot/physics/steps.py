"""One step from the present state: the series of the linear law, or Tsitouras' 5(4) pair of Runge and Kutta.

Either leaves a polynomial for every moving mechanism, over the share of the step, and everything evaluated at its
end; what its currents heat is integrated when it is taken.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from simbot.physics import layout as L
from simbot.physics.bus import (
    add_moving,
    ask_rails,
    evaluate,
    find_currents,
    heat_up,
    set_rails,
    stand_at,
    strongest_duty,
)
from simbot.physics.compiled import Array, inner
from simbot.physics.forces import HUGE, accelerate, follow
from simbot.physics.linear import (
    bent_off,
    bus_in_series,
    drawn_from_bus,
    series,
    shrink_series,
    start_battery,
    until_steady,
)
from simbot.physics.quick import quick_rates, quicken

# Tsitouras (2011), the 5(4) pair with 7 stages, the last one that of the next step: what each stage takes from those
# before it, the weights of the step, and the difference to the embedded step of order 4.
WEIGHTS = np.array(
    (0.09646076681806523, 0.01, 0.4798896504144996, 1.379008574103742, -3.290069515436081, 2.324710524099774)
)
STAGES = np.array(
    (
        (0.161, 0.0, 0.0, 0.0, 0.0, 0.0),
        (-0.008480655492356989, 0.335480655492357, 0.0, 0.0, 0.0, 0.0),
        (2.8971530571054935, -6.359448489975075, 4.3622954328695815, 0.0, 0.0, 0.0),
        (5.325864828439257, -11.748883564062828, 7.4955393428898365, -0.09249506636175525, 0.0, 0.0),
        (
            5.86145544294642,
            -12.92096931784711,
            8.159367898576159,
            -0.071584973281401,
            -0.028269050394068383,
            0.0,
        ),
        WEIGHTS,
    )
)
ERRORS = np.array(
    (
        -0.00178001105222577714,
        -0.0008164344596567469,
        0.007880878010261995,
        -0.1447110071732629,
        0.5823571654525552,
        -0.45808210592918697,
        1.0 / 66.0,
    )
)

# Gauss and Legendre, 4 and 2 points over 0 to 1 (Abramowitz and Stegun, table 25.4)
NODES = np.array((0.06943184420297371, 0.33000947820757187, 0.6699905217924281, 0.9305681557970262))
SHARES = np.array((0.17392742256872692, 0.32607257743127305, 0.32607257743127305, 0.17392742256872692))
NODES_2 = np.array((0.21132486540518713, 0.7886751345948129))

LEAST = 1e-13  # s: no step is shorter
# of what was asked for: where a table's load allows no more, Runge and Kutta get farther
MOST_CUT = 1.0 / 3.0
# of the tolerance, in a Runge-Kutta step: arrivals of tabled kinds are right to 0.02 µs as shipped
ERRS = 10.0


@inner
def series_length(w: Array, tab: Array, rest: float) -> Any:
    """Length h of a step on the linear law, no longer than rest, with its series; 0 where it does not hold."""
    h = until_steady(w, rest)
    error = series(w, tab, h)
    if not error < HUGE:
        return 0.0
    if error > 1.0:
        share = max(LEAST / h, error ** (-1.0 / (L.ORDER - 1.0)))
        shrink_series(w, share)
        h *= share
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        if w[m + L.TAB_N] == 0.0:
            continue
        error = bent_off(w, tab, m, h)
        while error > 1.0:
            share = max(0.2, 0.8 * error ** (-1.0 / 3.0))
            shrink_series(w, share)
            h *= share
            if h < MOST_CUT * rest:
                w[L.STRAIGHT] = 0.0  # until a mode changes, or an effort
                quicken(w)
                return 0.0
            error = bent_off(w, tab, m, h)
    return h


@inner
def holds_at_end(w: Array) -> Any:
    """True where the linear law has held to the end of the step under trial."""
    if w[L.V] < L.NO_VOLTS:
        return False  # diodes hold the bus
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        if w[rail + L.RAIL_MODE] == L.IDLE and w[rail + L.RAIL_V] != w[rail + L.RAIL_SET]:
            return False  # it sags while nothing is taken from it, which is no mode of its own
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        if w[m + L.CONTROL] == L.STRONGEST and abs(w[m + L.DUTY]) < 1.0:
            return False  # the strongest effort has become less than all
    return True


@inner
def end_series(w: Array, tab: Array, h: float) -> Any:
    """End of a step of h on the linear law, and everything else there."""
    go_on_series(w, tab, 1.0, h)
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        w[m + L.Q_END] = w[m + L.Q_NEXT]
        w[m + L.V_END] = w[m + L.V_NEXT]
        w[m + L.A_END] = w[m + L.A_NEXT]
    w[L.VRC_END] = 0.0
    for j in range(int(w[L.TOP]) - 1, -1, -1):
        w[L.VRC_END] += w[L.VRC_POLY + j]


@inner
def go_on_series(w: Array, tab: Array, x: float, h: float) -> Any:
    """Put everything at the share x of a step on the linear law, with its bus, and evaluate there."""
    put_at_share(w, x, h)
    if w[L.FED] == 1.0:
        ask_rails(w, tab)
    bus_in_series(w, x)
    set_rails(w)
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        if w[m + L.GUIDE_N] > 0.0:
            follow(w, tab, m, w[m + L.Q_NEXT], w[m + L.V_NEXT])
        if w[m + L.CONTROL] == L.STRONGEST:
            w[m + L.DUTY] = strongest_duty(w, tab, m, w[m + L.Q_NEXT], w[m + L.V_NEXT])
        w[m + L.A_NEXT] = accelerate(w, tab, m, w[m + L.Q_NEXT], w[m + L.V_NEXT])


@inner
def shorten(w: Array, tab: Array, h: float, was: float, straight: bool, volts: float, current: float) -> Any:
    """End the step under trial after h instead of `was`: its energy [J] and charge [C], 0 of one on the linear law."""
    if straight:
        shrink_series(w, h / was)
        end_series(w, tab, h)
        return 0.0, 0.0
    _, energy, charge = trial_step(w, tab, h, volts, current)
    return energy, charge


@inner
def battery_rates(w: Array, stage: int, vrc: float) -> Any:
    """Rates of open-circuit voltage and polarisation at a stage."""
    rate = (w[L.R1] * w[L.I] - vrc) / w[L.TAU]
    w[L.STAGE_VRC + stage] = rate
    w[L.STAGE_E + stage] = -rate - w[L.FALL] * w[L.I]


@inner
def trial_step(w: Array, tab: Array, h: float, volts: float, current: float) -> Any:
    """Take a Runge-Kutta step of h from the present state; its end in Q_END, V_END, A_END, its quintic in POLY.

    volts, current: of the bus at its beginning. Returns the error in units of TOL, energy [J] and charge [C].
    """
    n = int(w[L.N_LIVE])
    energy = WEIGHTS[0] * volts * current
    charge = WEIGHTS[0] * current
    for k in range(n):
        m = int(w[L.LIVE + k])
        v = w[m + L.SPEED]
        a = w[m + L.ACC]
        w[m + L.STAGE_V] = v
        w[m + L.STAGE_A] = a
        w[m + L.Q_NEXT] = w[m + L.Q] + h * STAGES[0, 0] * v
        w[m + L.V_NEXT] = v + h * STAGES[0, 0] * a
    start_battery(w)
    sags = w[L.SAGS] == 1.0
    vrc = w[L.VRC]
    if sags:
        w[L.I] = current
        battery_rates(w, 0, vrc)
        w[L.E] += h * STAGES[0, 0] * w[L.STAGE_E]
        vrc += h * STAGES[0, 0] * w[L.STAGE_VRC]
    quick = w[L.QUICK] == 1.0
    for stage in range(1, 6):
        if quick:
            quick_rates(w, tab)
        else:
            evaluate(w, tab)
        weight = WEIGHTS[stage]
        energy += weight * w[L.V] * w[L.I]
        charge += weight * w[L.I]
        for k in range(n):
            m = int(w[L.LIVE + k])
            sv = m + L.STAGE_V
            sa = m + L.STAGE_A
            w[sv + stage] = w[m + L.V_NEXT]
            w[sa + stage] = w[m + L.A_NEXT]
            dq = 0.0
            dv = 0.0
            for j in range(stage + 1):
                dq += STAGES[stage, j] * w[sv + j]
                dv += STAGES[stage, j] * w[sa + j]
            w[m + L.Q_NEXT] = w[m + L.Q] + h * dq
            w[m + L.V_NEXT] = w[m + L.SPEED] + h * dv
        if sags:
            battery_rates(w, stage, vrc)
            w[L.E] = w[L.EMF_POLY]
            vrc = w[L.VRC]
            for j in range(stage + 1):
                w[L.E] += h * STAGES[stage, j] * w[L.STAGE_E + j]
                vrc += h * STAGES[stage, j] * w[L.STAGE_VRC + j]
    evaluate(w, tab)
    w[L.VRC_END] = vrc
    w[L.TOP] = 5.0
    worst = 0.0
    if sags:
        battery_rates(w, 6, vrc)
        w[L.EMF_POLY + 1] = h * w[L.STAGE_E]
        w[L.EMF_POLY + 2] = w[L.E] - w[L.EMF_POLY] - w[L.EMF_POLY + 1]
        for j in range(7):
            worst += ERRORS[j] * w[L.STAGE_E + j]
        worst = abs(h * worst) / w[L.REST]
    for k in range(n):
        m = int(w[L.LIVE + k])
        w[m + L.Q_END] = w[m + L.Q_NEXT]
        w[m + L.V_END] = w[m + L.V_NEXT]
        w[m + L.A_END] = w[m + L.A_NEXT]
        w[m + L.STAGE_V + 6] = w[m + L.V_END]
        w[m + L.STAGE_A + 6] = w[m + L.A_END]
        eq = 0.0
        ev = 0.0
        for j in range(7):
            eq += ERRORS[j] * w[m + L.STAGE_V + j]
            ev += ERRORS[j] * w[m + L.STAGE_A + j]
        worst = max(worst, abs(h * eq) / w[m + L.Q_SCALE], abs(h * ev) / w[m + L.V_SCALE])
        note_quintic(w, m, h)
    return worst / (ERRS * w[L.TOL]), h * energy, h * charge


@inner
def adapted_step(w: Array, tab: Array, rest: float, volts: float, current: float) -> Any:
    """A Runge-Kutta step as long as accuracy allows, no longer than rest: (h, energy, charge)."""
    h = min(w[L.H], rest)
    if rest < 1.5 * h:
        h = rest
    while True:
        error, energy, charge = trial_step(w, tab, h, volts, current)
        if error <= 1.0 or h <= LEAST:
            break
        w[L.REJECTED] += 1.0
        h *= max(0.2, 0.9 * error**-0.2) if error < 1e300 else 0.1
    grow = 5.0 if error < 1e-4 else min(5.0, 0.9 * error**-0.2)
    if h < rest or grow < 1.0:
        w[L.H] = h * grow
    else:
        w[L.H] = max(w[L.H], h * grow)
    return h, energy, charge


@inner
def note_quintic(w: Array, m: int, h: float) -> Any:
    """The quintic through both ends of a step; on a tiny one its way is the one that its speeds give."""
    v0 = w[m + L.SPEED]
    a0 = w[m + L.ACC]
    v1 = w[m + L.V_END]
    a1 = w[m + L.A_END]
    way = w[m + L.Q_END] - w[m + L.Q]
    if h < 1e-5:
        way = h * (0.5 * (v0 + v1) + h * (a0 - a1) / 12.0)
    dq = way - h * (v0 + 0.5 * h * a0)
    dv = h * (v1 - v0 - h * a0)
    da = h * h * (a1 - a0)
    p = m + L.POLY
    w[p] = w[m + L.Q]
    w[p + 1] = h * v0
    w[p + 2] = 0.5 * h * h * a0
    w[p + 3] = 10.0 * dq - 4.0 * dv + 0.5 * da
    w[p + 4] = -15.0 * dq + 7.0 * dv - da
    w[p + 5] = 6.0 * dq - 3.0 * dv + 0.5 * da


@inner
def between(w: Array, m: int, x: float, h: float) -> Any:
    """Position and speed at the share x of the step under trial."""
    top = int(w[L.TOP])
    q = w[m + L.POLY + top]
    v = 0.0
    for k in range(top - 1, -1, -1):
        v = v * x + q
        q = q * x + w[m + L.POLY + k]
    return q, v / h


@inner
def put_at_share(w: Array, x: float, h: float) -> Any:
    """Put every moving mechanism, and the battery's own voltage, at the share x of the step."""
    if w[L.SAGS] == 1.0:
        w[L.E] = 0.0
        for j in range(int(w[L.TOP]) - 1, -1, -1):
            w[L.E] = w[L.E] * x + w[L.EMF_POLY + j]
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        q, v = between(w, m, x, h)
        w[m + L.Q_NEXT] = q
        w[m + L.V_NEXT] = v


@inner
def go_to_share(w: Array, tab: Array, x: float, h: float) -> Any:
    """Put everything at the share x of the step and evaluate there."""
    if w[L.IN_SERIES] == 1.0:
        go_on_series(w, tab, x, h)
        return
    put_at_share(w, x, h)
    evaluate(w, tab)


@inner
def drawn_in_series(w: Array, tab: Array, h: float) -> Any:
    """Energy [J] and charge [C] of a step on the linear law, 0 where nobody asks, and what its currents heat; ends at
    its end."""
    note_lowest(w, h)
    if w[L.WARMS] == 1.0:
        for k in range(4):
            bus_in_series(w, NODES[k])
            put_at_share(w, NODES[k], h)
            find_currents(w, tab)
            heat_up(w, SHARES[k] * h)
    bus_in_series(w, 1.0)
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        w[m + L.Q_NEXT] = w[m + L.Q_END]
        w[m + L.V_NEXT] = w[m + L.V_END]
    if w[L.WARMS] == 1.0:
        find_currents(w, tab)
    if w[L.TOLD] == 0.0 and w[L.SAGS] == 0.0:
        return 0.0, 0.0
    return drawn_from_bus(w, h, NODES, SHARES)


@inner
def note_lowest(w: Array, h: float) -> Any:
    """Note the lowest voltage within a step on the linear law, where it first falls and then rises."""
    if w[L.VOLTS_POLY + 1] >= 0.0:
        return
    low = 0.0
    high = 1.0
    x = 1.0
    for _ in range(20):
        slope = 0.0
        for j in range(int(w[L.TOP]) - 2, 0, -1):
            slope = slope * x + j * w[L.VOLTS_POLY + j]
        if slope < 0.0:
            if x == 1.0:
                return
            low = x
        else:
            high = x
        x = 0.5 * (low + high)
    bus_in_series(w, x)
    if w[L.V] < w[L.V_MIN]:
        w[L.V_MIN] = w[L.V]
        w[L.V_MIN_AT] = w[L.T] + x * h
    w[L.I_MAX] = max(w[L.I_MAX], w[L.I])


@inner
def heat_in_step(w: Array, tab: Array, h: float) -> Any:
    """Add what the currents of a Runge-Kutta step heat; ends at its end."""
    for k in range(3):
        put_at_share(w, NODES_2[k] if k < 2 else 1.0, h)
        a, b, p = add_moving(w, tab)
        stand_at(w, a, b, p)
        find_currents(w, tab)
        if k < 2:
            heat_up(w, 0.5 * h)
