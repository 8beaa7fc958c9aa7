"""The compiled plant: one adaptive step after another, from event to event.

Between events all modes are frozen, so that the right-hand side is smooth. Where it is linear (constant
efforts, inertias and loads) a step is the Taylor series of the exact solution, and a shorter step the same
series; elsewhere it is a Dormand-Prince 5(4) step, with the quintic that meets position, speed and acceleration
at both ends. After a step that is accurate enough every mode is tested at its end; where one has become invalid
its root is found on the step's polynomial, and the step ends at that very instant. Control ticks at which an
output changes, and the instants of pending targets and outputs, end a step in the same way.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from simbot.physics import layout as L
from simbot.physics.bus import (
    add_idle,
    add_moving,
    bus_in_series,
    evaluate,
    find_currents,
    heat_up,
    series,
    servo_duty,
    shrink_series,
    solve_from_top,
    stand_at,
    start_battery,
    straighten,
    strongest_duty,
    take_currents,
)
from simbot.physics.compiled import Array, entry, inner
from simbot.physics.control import inside, needed_effort, output, set_point
from simbot.physics.forces import HUGE, REST_SLACK, find_branches, look_up, rest_margin

# Dormand and Prince (1980), the 5(4) pair with 7 stages, the last one that of the next step: what each stage
# takes from those before it, the weights of the step, and the difference to the embedded step of order 4.
WEIGHTS = np.array((35.0 / 384.0, 0.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0))
STAGES = np.array(
    (
        (1.0 / 5.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        (3.0 / 40.0, 9.0 / 40.0, 0.0, 0.0, 0.0, 0.0),
        (44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0, 0.0, 0.0, 0.0),
        (19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0, 0.0, 0.0),
        (9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0, 0.0),
        WEIGHTS,
    )
)
ERRORS = np.array(
    (
        71.0 / 57600.0,
        0.0,
        -71.0 / 16695.0,
        71.0 / 1920.0,
        -17253.0 / 339200.0,
        22.0 / 525.0,
        -1.0 / 40.0,
    )
)

# Gauss and Legendre, 4 and 2 points over 0 to 1 (Abramowitz and Stegun, table 25.4)
NODES = np.array((0.06943184420297371, 0.33000947820757187, 0.6699905217924281, 0.9305681557970262))
SHARES = np.array((0.17392742256872692, 0.32607257743127305, 0.32607257743127305, 0.17392742256872692))
NODES_2 = np.array((0.21132486540518713, 0.7886751345948129))

REACHED, LOG_FULL, SEEN = 0, 1, 2
LEAST = 1e-13  # s: no step is shorter

# kinds of event
# (floats, as the flags below: a literal integer would make the compiler write a function once for each value)
NOTHING, STANDSTILL, SEGMENT_END, ZONE_EDGE, GEAR = 0.0, 1.0, 2.0, 3.0, 4.0
BARE, LIMIT, CAP, BREAK_AWAY, RAIL = 5.0, 6.0, 7.0, 8.0, 9.0


@inner
def first_mech(w: Array) -> Any:
    return L.RAILS + int(w[L.N_RAIL]) * L.RAIL_SIZE


@inner
def take_series(w: Array, tab: Array, rest: float) -> Any:
    """A step on the linear law, no longer than rest: its length h; 0 where it does not hold."""
    error = series(w, rest)
    if not error < HUGE:
        return 0.0
    h = rest
    if error > 1.0:
        h = max(LEAST, rest * error ** (-1.0 / (L.ORDER - 1.0)))
        shrink_series(w, h / rest)
    end_series(w, tab, h)
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        if w[rail + L.RAIL_MODE] == L.IDLE and w[rail + L.RAIL_V] != w[rail + L.RAIL_SET]:
            return 0.0  # it sags while nothing is taken from it, which is no mode of its own
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        if w[m + L.CONTROL] == L.STRONGEST and abs(w[m + L.DUTY]) < 1.0:
            return 0.0  # the strongest effort has become less than all
    return h


@inner
def end_series(w: Array, tab: Array, h: float) -> Any:
    """End of a step of h on the linear law, and everything else there."""
    n = int(w[L.N_LIVE])
    go_to_share(w, tab, 1.0, h)
    for k in range(n):
        m = int(w[L.LIVE + k])
        w[m + L.Q_END] = w[m + L.Q_NEXT]
        w[m + L.V_END] = w[m + L.V_NEXT]
        w[m + L.A_END] = w[m + L.A_NEXT]
    w[L.VRC_END] = 0.0
    for j in range(L.ORDER - 1, -1, -1):
        w[L.VRC_END] += w[L.VRC_POLY + j]


@inner
def battery_rates(w: Array, stage: int, vrc: float) -> Any:
    """Rates of open-circuit voltage and polarisation at a stage."""
    rate = (w[L.R1] * w[L.I] - vrc) / w[L.TAU]
    w[L.STAGE_VRC + stage] = rate
    w[L.STAGE_E + stage] = -rate - w[L.FALL] * w[L.I]


@inner
def trial_step(w: Array, tab: Array, h: float, volts: float, current: float) -> Any:
    """Take a Dormand-Prince step of h from the present state; its end in Q_END, V_END, A_END, its quintic in POLY.

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
    for stage in range(1, 6):
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
    return worst / w[L.TOL], h * energy, h * charge


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
    for k in range(6, L.ORDER + 1):
        w[p + k] = 0.0


@inner
def between(w: Array, m: int, x: float, h: float) -> Any:
    """Position and speed at the share x of the step under trial."""
    q = w[m + L.POLY + L.ORDER]
    v = 0.0
    for k in range(L.ORDER - 1, -1, -1):
        v = v * x + q
        q = q * x + w[m + L.POLY + k]
    return q, v / h


@inner
def put_at_share(w: Array, x: float, h: float) -> Any:
    """Put every moving mechanism, and the battery's own voltage, at the share x of the step."""
    if w[L.SAGS] == 1.0:
        w[L.E] = 0.0
        for j in range(L.ORDER - 1, -1, -1):
            w[L.E] = w[L.E] * x + w[L.EMF_POLY + j]
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        q, v = between(w, m, x, h)
        w[m + L.Q_NEXT] = q
        w[m + L.V_NEXT] = v


@inner
def go_to_share(w: Array, tab: Array, x: float, h: float) -> Any:
    """Put everything at the share x of the step and evaluate there."""
    put_at_share(w, x, h)
    evaluate(w, tab)


@inner
def group_margin(w: Array, m: int, g: int, kind: float) -> Any:
    """Validity of one mode of one group at the last evaluation: negative, it no longer holds."""
    s = w[m + L.S]
    if kind == GEAR:
        if w[g + L.G_FWD] * w[g + L.G_BACK] == 1.0 or w[g + L.G_CAP] != 0.0:
            return 1.0
        t = s * w[g + L.G_T] if w[g + L.G_GEAR] == 0.0 else -s * w[g + L.G_T]
        return t + 1e-11 * (abs(w[m + L.LOAD_AT]) + abs(w[m + L.MASS_AT] * w[m + L.A_NEXT]))
    if kind == BARE:
        if w[g + L.G_RF] == w[g + L.G_RB]:
            return 1.0
        x = w[g + L.G_X] if w[g + L.G_BARE] == 0.0 else -w[g + L.G_X]
        return x + 1e-11 * w[g + L.G_N] * w[g + L.G_K] * abs(w[g + L.G_I])
    if kind == LIMIT:
        mode = w[g + L.G_LIM]
        if w[m + L.OPEN] == 1.0:
            volts = w[L.V]
            if mode == 0.0:
                return volts - w[g + L.G_IFREE] + 1e-9
            return w[g + L.G_IFREE] - volts + 1e-9
        most = w[g + L.G_LIMIT]
        slack = 1e-10 * (1.0 + abs(w[g + L.G_IFREE]))
        if mode == 0.0:
            margin = most - abs(w[g + L.G_IFREE])
            if not math.isinf(w[g + L.G_LIMIT_B]):
                d = w[m + L.DUTY] * w[g + L.G_SHARE]
                margin = min(margin, w[g + L.G_LIMIT_B] - d * w[g + L.G_IFREE])
            return margin + slack
        if mode == 1.0 or mode == -1.0:
            return mode * w[g + L.G_IFREE] - most + slack
        if mode == 3.0 or mode == -3.0:
            d = w[m + L.DUTY] * w[g + L.G_SHARE]
            return min(d * w[g + L.G_IFREE] - w[g + L.G_LIMIT_B], most - abs(w[g + L.G_I])) + slack
        return abs(w[g + L.G_I]) - most + slack
    cap = w[g + L.G_CAP]
    low = w[g + L.G_LO]
    high = w[g + L.G_HI]
    free = w[g + L.G_TFREE]
    if cap == 0.0:
        slack = 1e-11 * (abs(w[m + L.LOAD_AT]) + abs(free))
        return min(free - low, high - free) + slack
    slack = 1e-11 * (abs(w[m + L.LOAD_AT]) + abs(free))
    return (free - high if cap > 0.0 else low - free) + slack


@inner
def zone_margin(w: Array, m: int, q: float) -> Any:
    error = w[m + L.TARGET] - q
    zone = w[m + L.ZONE]
    band = w[m + L.BAND]
    dead = w[m + L.DEAD]
    if zone == 0.0:
        return dead - abs(error)
    if zone == 2.0:
        return error - band
    if zone == -2.0:
        return -error - band
    towards = error if zone > 0.0 else -error
    return min(towards - dead, band - towards)


@inner
def rail_margin(w: Array, rail: int) -> Any:
    mode = w[rail + L.RAIL_MODE]
    out = w[L.V] - w[rail + L.RAIL_DROP]
    top = w[rail + L.RAIL_SET]
    a = w[rail + L.RAIL_A]
    b = w[rail + L.RAIL_B]
    if mode == L.REGULATED:
        current = a * top - b
        return min(out - top, min(w[rail + L.RAIL_LIMIT] - current, current)) + 1e-10
    if mode == L.DROPOUT:
        current = a * out - b
        return min(top - out, min(w[rail + L.RAIL_LIMIT] - current, current)) + 1e-10
    if mode == L.LIMITED:
        return a * min(out, top) - b - w[rail + L.RAIL_LIMIT] + 1e-10
    return b - a * min(out, top) + 1e-10


@inner
def margin_of(w: Array, tab: Array, kind: float, m: int, g: int) -> Any:
    """Margin of one mode at the last evaluation (trial state in Q_NEXT, V_NEXT)."""
    if kind == STANDSTILL:
        return w[m + L.S] * w[m + L.V_NEXT]
    if kind == SEGMENT_END:
        return min(w[m + L.SEG_HI] - w[m + L.Q_NEXT], w[m + L.Q_NEXT] - w[m + L.SEG_LO])
    if kind == ZONE_EDGE:
        return zone_margin(w, m, w[m + L.Q_NEXT])
    if kind == BREAK_AWAY:
        up, down = rest_margin(w, tab, m, w[m + L.Q])
        return min(up, down) + REST_SLACK * w[m + L.LOAD_AT]  # well beyond the balance, so that it does leave
    if kind == RAIL:
        return rail_margin(w, m)
    return group_margin(w, m, g, kind)


@inner
def find_violation(w: Array, tab: Array) -> Any:
    """First mode that does not hold at the last evaluation: (kind, mechanism or rail, group)."""
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        if w[m + L.S] * w[m + L.V_NEXT] < 0.0:
            return STANDSTILL, m, 0
        if w[m + L.Q_NEXT] > w[m + L.SEG_HI] or w[m + L.Q_NEXT] < w[m + L.SEG_LO]:
            return SEGMENT_END, m, 0
        if w[m + L.CONTROL] == L.SERVO and zone_margin(w, m, w[m + L.Q_NEXT]) < 0.0:
            return ZONE_EDGE, m, 0
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            for kind in (GEAR, BARE, LIMIT, CAP):
                if group_margin(w, m, g, kind) < 0.0:
                    return kind, m, g
            g += L.GROUP_SIZE
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        if rail_margin(w, rail) < 0.0:
            return RAIL, rail, 0
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.S] == 0.0 and w[m + L.DUTY] != 0.0 and w[m + L.PINNED] == 0.0:
            if margin_of(w, tab, BREAK_AWAY, m, m) < 0.0:
                return BREAK_AWAY, m, int(w[m + L.GRP])
            g = int(w[m + L.GRP])
            for _ in range(int(w[m + L.N_GRP])):
                if group_margin(w, m, g, LIMIT) < 0.0:
                    return LIMIT, m, g
                g += L.GROUP_SIZE
        m += L.MECH_SIZE
    return NOTHING, 0, 0


@inner
def root_of(w: Array, tab: Array, kind: float, m: int, g: int, top: float, h: float) -> Any:
    """Share of the step at which a mode's margin turns negative: the upper end of a tight bracket below top."""
    low = 0.0
    high = top
    f_high = margin_of(w, tab, kind, m, g)
    if kind <= ZONE_EDGE:
        w[m + L.Q_NEXT] = w[m + L.Q]
        w[m + L.V_NEXT] = w[m + L.SPEED]
    else:
        go_to_share(w, tab, 0.0, h)
    f_low = margin_of(w, tab, kind, m, g)
    if f_low <= 0.0:
        f_low = 1e-30
        x = 0.5 * (low + high)
    else:
        x = low + (high - low) * f_low / (f_low - f_high)
    side = 0
    for count in range(60):
        if high - low < 1e-14 + 1e-12 * high or (high - low) * h < 1e-15:
            break
        if count % 4 == 3:
            x = 0.5 * (low + high)
        x = min(max(x, low + 1e-3 * (high - low) * (1e-9 if count > 2 else 1.0)), high)
        if kind <= ZONE_EDGE:  # a question of where it is and how fast alone
            q, v = between(w, m, x, h)
            w[m + L.Q_NEXT] = q
            w[m + L.V_NEXT] = v
        else:
            go_to_share(w, tab, x, h)
        f = margin_of(w, tab, kind, m, g)
        if f < 0.0:
            high = x
            f_high = f
            if side == -1:
                f_low *= 0.5
            side = -1
        else:
            low = x
            f_low = max(f, 1e-30)
            if side == 1:
                f_high *= 0.5
            side = 1
        x = low + (high - low) * f_low / (f_low - f_high)
    return high


@inner
def first_event(w: Array, tab: Array, h: float) -> Any:
    """Earliest mode that fails within the step under trial: (share, kind, mechanism or rail, group)."""
    share = 1.0
    kind, m, g = find_violation(w, tab)
    last = (NOTHING, 0, 0)
    for _ in range(12):
        if kind == NOTHING:
            break
        last = (kind, m, g)
        share = root_of(w, tab, kind, m, g, share, h)
        go_to_share(w, tab, share * (1.0 - 1e-9), h)
        kind, m, g = find_violation(w, tab)
    return share, last[0], last[1], last[2]


@inner
def enter_segment(w: Array, tab: Array, m: int, way: float) -> Any:
    """Cross into the next segment of the travel: a mass picked up keeps momentum, one set down keeps speed."""
    before = look_up(w, tab, m, w[m + L.Q])[0]
    now = int(w[m + L.SEG_NOW] + way)
    w[m + L.SEG_NOW] = now
    load_segment(w, m)
    if way > 0.0 and w[int(w[m + L.SEG] + now * L.SEG_SIZE) + L.SEG_CATCH] == 1.0:
        w[m + L.Q_LO] = w[m + L.SEG_LO]
    after, _, _, factor, _ = look_up(w, tab, m, w[m + L.Q])
    if after > before * (1.0 + 1e-9):
        rotor = 0.0
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            rotor += (w[g + L.G_RATIO] * factor) ** 2 * w[g + L.G_N] * w[g + L.G_J] / w[g + L.G_FWD]
            g += L.GROUP_SIZE
        w[m + L.SPEED] *= (rotor + before) / (rotor + after)


@inner
def load_segment(w: Array, m: int) -> Any:
    seg = int(w[m + L.SEG] + w[m + L.SEG_NOW] * L.SEG_SIZE)
    w[m + L.SEG_LO] = w[seg + L.SEG_FROM]
    w[m + L.SEG_HI] = w[seg + L.SEG_TO]
    w[m + L.MASS_NOW] = w[seg + L.SEG_MASS]
    w[m + L.LOAD_NOW] = w[seg + L.SEG_LOAD]
    w[m + L.TAB_BENDS] = w[seg + L.SEG_BENDS]
    w[m + L.FC] = w[seg + L.SEG_FC]
    w[m + L.FS] = w[seg + L.SEG_FS]
    w[m + L.TAB_N] = w[seg + L.SEG_CELLS]
    w[m + L.TAB_ROW] = w[seg + L.SEG_ROW]
    w[m + L.TAB_Q0] = w[seg + L.SEG_FROM]
    w[m + L.TAB_PER] = w[seg + L.SEG_CELLS] / (w[seg + L.SEG_TO] - w[seg + L.SEG_FROM])


@inner
def stop_at(w: Array, m: int, q: float) -> Any:
    """Come to rest against an end of the travel: all its energy is lost there, the rotor's too."""
    w[m + L.Q] = q
    w[m + L.SPEED] = 0.0
    w[m + L.ACC] = 0.0
    w[m + L.S] = 0.0
    if (w[m + L.TOUCH] > 0.0 and q == w[m + L.Q_HI]) or (w[m + L.TOUCH] < 0.0 and q == w[m + L.Q_LO]):
        w[m + L.TOUCHED] = 1.0


@inner
def change_mode(w: Array, tab: Array, kind: float, m: int, g: int) -> Any:
    """Put the mode that has just failed into what follows it."""
    if kind == STANDSTILL:
        w[m + L.SPEED] = 0.0
        w[m + L.ACC] = 0.0
        w[m + L.S] = 0.0
    elif kind == SEGMENT_END:
        up = w[m + L.S] > 0.0
        if up and w[m + L.SEG_HI] >= w[m + L.Q_HI]:
            stop_at(w, m, w[m + L.Q_HI])
        elif not up and w[m + L.SEG_LO] <= w[m + L.Q_LO]:
            stop_at(w, m, w[m + L.Q_LO])
        else:
            w[m + L.Q] = w[m + L.SEG_HI] if up else w[m + L.SEG_LO]
            enter_segment(w, tab, m, 1.0 if up else -1.0)
    elif kind == ZONE_EDGE:
        error = w[m + L.TARGET] - w[m + L.Q]
        zone = w[m + L.ZONE]
        sign = 1.0 if error > 0.0 else -1.0
        if zone == 0.0:
            w[m + L.ZONE] = sign
        elif abs(zone) == 2.0:
            w[m + L.ZONE] = 0.5 * zone
        elif abs(error) > 0.5 * (w[m + L.BAND] + w[m + L.DEAD]):
            w[m + L.ZONE] = 2.0 * zone
        else:
            w[m + L.ZONE] = 0.0


@inner
def zone_of(w: Array, m: int, keep: float) -> Any:
    """A servo's zone at its position; at an edge the present one is kept if asked for."""
    if keep == 1.0 and zone_margin(w, m, w[m + L.Q]) >= -1e-10:
        return w[m + L.ZONE]
    error = w[m + L.TARGET] - w[m + L.Q]
    size = abs(error)
    sign = 1.0 if error > 0.0 else -1.0
    if size <= w[m + L.DEAD]:
        return 0.0
    return sign if size <= w[m + L.BAND] else 2.0 * sign


@inner
def rest_at_edge(w: Array, tab: Array, m: int, direction: float) -> Any:
    """True where a servo would only chatter at the edge of its dead band: pushed out of it, driven back into it.

    The effort that balances the load there is what it takes in the mean.
    """
    error = w[m + L.TARGET] - w[m + L.Q]
    if abs(abs(error) - w[m + L.DEAD]) > 1e-6:
        return False
    towards = 1.0 if error > 0.0 else -1.0
    zone = w[m + L.ZONE]
    duty = w[m + L.DUTY]
    if zone == 0.0 and direction == -towards:
        w[m + L.DUTY] = towards * w[m + L.DEAD] / w[m + L.BAND]
        up, down = rest_margin(w, tab, m, w[m + L.Q])
        back = up if towards > 0.0 else down
        if back < 0.0:
            _, _, load, _, _ = look_up(w, tab, m, w[m + L.Q])
            w[m + L.DUTY] *= abs(load) / (abs(load) - back + 1e-30)
            return True
    elif abs(zone) == 1.0 and direction == towards:
        w[m + L.DUTY] = 0.0
        up, down = rest_margin(w, tab, m, w[m + L.Q])
        away = down if towards > 0.0 else up
        if away < 0.0:
            w[m + L.ZONE] = 0.0
            _, _, load, _, _ = look_up(w, tab, m, w[m + L.Q])
            w[m + L.DUTY] = duty * min(1.0, -away / (abs(load) + 1e-30))
            return True
    w[m + L.DUTY] = duty
    return False


@inner
def resolve(w: Array, tab: Array) -> Any:
    """Find all modes, efforts that follow the state, and accelerations, at a jump (command, tick, event)."""
    m = first_mech(w)
    n = int(w[L.N_MECH])
    for _ in range(n):
        w[m + L.Q_NEXT] = w[m + L.Q]
        w[m + L.V_NEXT] = w[m + L.SPEED]
        if w[m + L.CONTROL] == L.SERVO and w[m + L.PINNED] == 0.0:
            w[m + L.ZONE] = zone_of(w, m, 1.0)
            w[m + L.DUTY] = servo_duty(w, m, w[m + L.Q])
        elif w[m + L.CONTROL] == L.STRONGEST:
            w[m + L.DUTY] = strongest_duty(w, tab, m, w[m + L.Q], w[m + L.SPEED])
        if w[m + L.SPEED] != 0.0:
            w[m + L.S] = 1.0 if w[m + L.SPEED] > 0.0 else -1.0
        m += L.MECH_SIZE
    solve_from_top(w, tab)
    m = first_mech(w)
    live = 0
    for _ in range(n):
        if w[m + L.SPEED] == 0.0:
            settle_at_rest(w, tab, m)
        if w[m + L.S] != 0.0:
            w[m + L.ACC] = find_branches(w, tab, m, w[m + L.Q], w[m + L.SPEED])
            if w[m + L.SPEED] == 0.0 and w[m + L.S] * w[m + L.ACC] <= 0.0:
                w[m + L.S] = 0.0
                w[m + L.ACC] = 0.0
        if w[m + L.S] != 0.0:
            w[L.LIVE + live] = m
            live += 1
        m += L.MECH_SIZE
    w[L.N_LIVE] = live
    w[L.DIRTY] = 0.0
    add_idle(w, tab)
    a, b, p = add_moving(w, tab)  # what has come to rest may ask for something else than it did
    stand_at(w, a, b, p)
    straighten(w)
    note(w, tab)


@inner
def settle_at_rest(w: Array, tab: Array, m: int) -> Any:
    """A mechanism without speed: stuck, or off to the side on which the forces win."""
    w[m + L.S] = 0.0
    w[m + L.ACC] = 0.0
    if w[m + L.PINNED] == 1.0:
        return
    up, down = rest_margin(w, tab, m, w[m + L.Q])
    direction = 0.0
    if up < 0.0 or down < 0.0:
        direction = 1.0 if up < down else -1.0
    if direction == 0.0:
        return
    if w[m + L.CONTROL] == L.SERVO and rest_at_edge(w, tab, m, direction):
        w[m + L.PINNED] = 1.0
        return
    w[m + L.S] = direction
    if direction > 0.0 and w[m + L.Q] >= w[m + L.SEG_HI] and w[m + L.SEG_HI] < w[m + L.Q_HI]:
        enter_segment(w, tab, m, 1.0)
    elif direction < 0.0 and w[m + L.Q] <= w[m + L.SEG_LO] and w[m + L.SEG_LO] > w[m + L.Q_LO]:
        enter_segment(w, tab, m, -1.0)


@inner
def note(w: Array, tab: Array) -> Any:
    """Extremes of voltage and current, and what others gave back."""
    if w[L.V] < w[L.V_MIN]:
        w[L.V_MIN] = w[L.V]
        w[L.V_MIN_AT] = w[L.T]
    if w[L.I] > w[L.I_MAX]:
        w[L.I_MAX] = w[L.I]
    take_currents(w, tab)


@inner
def send(w: Array, m: int, t: float, duty: float, is_open: float) -> Any:
    """Pass a decided output on: now, or after the latency. True where something changes now."""
    if duty == w[m + L.SENT] and is_open == w[m + L.SENT_OPEN]:
        return False
    w[m + L.SENT] = duty
    w[m + L.SENT_OPEN] = is_open
    if w[m + L.LATENCY] > 0.0 and w[m + L.N_PENDING] < L.MAX_PENDING:
        p = int(m + L.PENDING + 3 * w[m + L.N_PENDING])
        w[p] = t + w[m + L.LATENCY]
        w[p + 1] = duty
        w[p + 2] = is_open
        w[m + L.N_PENDING] += 1.0
        return False
    w[m + L.DUTY] = duty
    w[m + L.OPEN] = is_open
    return True


@inner
def feed_forward(w: Array, tab: Array, m: int, t: float) -> Any:
    if w[m + L.CONTROL] != L.PROFILED:
        return 0.0
    q, v, a = set_point(w, m, t - w[m + L.T_COMMAND])
    mass, dmass, load, factor, dfactor = look_up(w, tab, m, min(max(q, w[m + L.Q_LO]), w[m + L.Q_HI]))
    return needed_effort(w, m, q, v, a, mass, dmass, load, factor, dfactor)


@inner
def act(w: Array, tab: Array, m: int, t: float) -> Any:
    """Let one mechanism's control act at a tick on the true state. True where its output changes now."""
    control = w[m + L.CONTROL]
    if control == L.NO_CONTROL or control == L.SERVO or control == L.SPIN or control == L.STRONGEST:
        return False
    q = w[m + L.Q]
    v = w[m + L.SPEED]
    if w[m + L.KI] > 0.0 and (control == L.POSITION or control == L.PROFILED):
        free = output(w, m, t, q, v, feed_forward(w, tab, m, t))[0]
        if abs(free) < w[m + L.EFFORT]:
            w[m + L.INTEGRAL] += (w[m + L.TARGET] - q) * w[L.LOOP]
    if control == L.PROFILED:
        goal, _, _ = set_point(w, m, t - w[m + L.T_COMMAND])
        w[m + L.LAG_MAX] = max(w[m + L.LAG_MAX], abs(goal - q))
    duty, is_open = output(w, m, t, q, v, feed_forward(w, tab, m, t))
    if w[m + L.BRAKE] == 1.0:
        over = control == L.TIMED and t >= w[m + L.T_OFF] - 1e-9
        w[m + L.LOCK] = 1.0 if duty == 0.0 and (over or inside(w, m, q, v) or control == L.FULL) else 0.0
    return send(w, m, t, duty, is_open)


@inner
def needs_every_tick(w: Array, tab: Array) -> Any:
    """True while some output may change at every tick."""
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        control = w[m + L.CONTROL]
        if control == L.PROFILED:
            end = w[m + L.T_COMMAND] + w[m + L.PROFILE + 5 * (int(w[m + L.PROFILE_N]) - 1)]
            if w[L.T] < end + w[L.LOOP] or w[m + L.S] != 0.0 or w[m + L.KI] > 0.0:
                return True
        elif control == L.POSITION:
            if w[m + L.KI] > 0.0 and not (w[m + L.S] == 0.0 and w[m + L.Q] == w[m + L.TARGET]):
                return True
            u, _ = output(w, m, w[L.T], w[m + L.Q], w[m + L.SPEED], 0.0)
            if w[m + L.S] != 0.0 and abs(u) < w[m + L.EFFORT]:
                return True
            if w[m + L.S] == 0.0 and u != w[m + L.SENT]:
                return True
        m += L.MECH_SIZE
    return False


@inner
def tick_would_change(w: Array, t: float, x: float, h: float) -> Any:
    """True where some output would change at a tick that lies inside the step under trial."""
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        control = w[m + L.CONTROL]
        if control == L.FULL or control == L.POSITION or control == L.TIMED:
            q = w[m + L.Q]
            v = 0.0
            if w[m + L.S] != 0.0:
                q, v = between(w, m, x, h)
            duty, is_open = output(w, m, t, q, v, 0.0)
            if duty != w[m + L.SENT] or is_open != w[m + L.SENT_OPEN]:
                return True
        m += L.MECH_SIZE
    return False


@inner
def all_seen(w: Array, x: float, h: float) -> Any:
    """True where every watched mechanism is inside its set at the share x of the step (h = 0: now)."""
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.WATCH] == 1.0:
            q = w[m + L.Q]
            v = w[m + L.SPEED]
            if h > 0.0 and w[m + L.S] != 0.0:
                q, v = between(w, m, x, h)
            if not inside(w, m, q, v):
                return False
        m += L.MECH_SIZE
    return True


@inner
def take_pending(w: Array) -> Any:
    """Put into force what was under way until now; True where something changed."""
    changed = False
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.T_PENDING] <= w[L.T]:
            w[m + L.TARGET] = w[m + L.TARGET_PENDING]
            w[m + L.T_PENDING] = math.inf
            w[m + L.PINNED] = 0.0
            w[m + L.ZONE] = zone_of(w, m, 0.0)
            changed = True
        while w[m + L.N_PENDING] > 0.0 and w[m + L.PENDING] <= w[L.T]:
            w[m + L.DUTY] = w[m + L.PENDING + 1]
            w[m + L.OPEN] = w[m + L.PENDING + 2]
            changed = True
            w[m + L.N_PENDING] -= 1.0
            for k in range(int(3 * w[m + L.N_PENDING])):
                w[m + L.PENDING + k] = w[m + L.PENDING + k + 3]
        m += L.MECH_SIZE
    return changed


@inner
def next_pending(w: Array) -> Any:
    best = math.inf
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        best = min(best, w[m + L.T_PENDING])
        if w[m + L.N_PENDING] > 0.0:
            best = min(best, w[m + L.PENDING])
        m += L.MECH_SIZE
    return best


@inner
def tick_time(w: Array, number: float) -> Any:
    return number * w[L.LOOP_US] / 1e6


@inner
def heat_in_series(w: Array, tab: Array, h: float) -> Any:
    """Energy [J] and charge [C] of a step on the linear law, with what its currents heat; ends at its end."""
    energy = 0.0
    charge = 0.0
    for k in range(4):
        put_at_share(w, NODES[k], h)
        bus_in_series(w, NODES[k])
        energy += SHARES[k] * h * w[L.V] * w[L.I]
        charge += SHARES[k] * h * w[L.I]
        find_currents(w, tab)
        heat_up(w, SHARES[k] * h)
    put_at_share(w, 1.0, h)
    bus_in_series(w, 1.0)
    find_currents(w, tab)
    return energy, charge


@inner
def heat_in_step(w: Array, tab: Array, h: float) -> Any:
    """Add what the currents of a Dormand-Prince step heat; ends at its end."""
    for k in range(3):
        put_at_share(w, NODES_2[k] if k < 2 else 1.0, h)
        a, b, p = add_moving(w, tab)
        stand_at(w, a, b, p)
        find_currents(w, tab)
        if k < 2:
            heat_up(w, 0.5 * h)


@inner
def commit(
    w: Array, tab: Array, log: Array, row: int, t_new: float, h: float, energy: float, charge: float
) -> Any:
    """Accept the step under trial and write it into the log."""
    log[row, L.LOG_T] = w[L.T]
    log[row, L.LOG_H] = t_new - w[L.T]
    m = first_mech(w)
    column = L.LOG_MECH
    for _ in range(int(w[L.N_MECH])):
        moving = w[m + L.S] != 0.0
        log[row, column + L.LOG_Q0] = w[m + L.Q]
        log[row, column + L.LOG_SPEED0] = w[m + L.SPEED]
        log[row, column + L.LOG_ACC0] = w[m + L.ACC] if moving else 0.0
        if moving:
            w[m + L.Q] = w[m + L.Q_END]
            w[m + L.SPEED] = w[m + L.V_END]
            w[m + L.ACC] = w[m + L.A_END]
        log[row, column + L.LOG_Q1] = w[m + L.Q]
        log[row, column + L.LOG_SPEED1] = w[m + L.SPEED]
        log[row, column + L.LOG_ACC1] = w[m + L.ACC] if moving else 0.0
        log[row, column + L.LOG_BACK] = w[m + L.OTHERS_BACK]
        g = int(w[m + L.GRP])
        amps = w[g + L.G_I] if moving or w[m + L.DUTY] != 0.0 else 0.0
        log[row, column + L.LOG_AMPS1] = amps
        log[row, column + L.LOG_FORCE1] = w[g + L.G_T] if moving else 0.0
        log[row, column + L.LOG_HEATS] = w[g + L.G_SQUARED]
        log[row, column + L.LOG_SQUARED_OWN] = w[m + L.SQUARED_OWN]
        for k in range(3, L.ORDER + 1):
            log[row, column + L.LOG_POLY + k - 3] = w[m + L.POLY + k] if moving else 0.0
        column += L.LOG_PER_MECH
        m += L.MECH_SIZE
    w[L.T] = t_new
    w[L.ENERGY] += energy
    w[L.CHARGE] += charge
    if w[L.SAGS] == 1.0:
        w[L.VRC] = w[L.VRC_END]
        start_battery(w)
    log[row, L.LOG_SQUARED] = w[L.SQUARED]
    log[row, L.LOG_ENERGY] = w[L.ENERGY]
    log[row, L.LOG_CHARGE] = w[L.CHARGE]
    w[L.STEPS] += 1.0
    note(w, tab)
    come_to_rest(w, tab)
    log[row, L.LOG_V1] = w[L.V]
    log[row, L.LOG_I1] = w[L.I]


@inner
def note_beginning(w: Array, log: Array, row: int) -> Any:
    """Currents and forces at the beginning of a step, after whatever has just changed."""
    m = first_mech(w)
    column = L.LOG_MECH
    for _ in range(int(w[L.N_MECH])):
        flows = w[m + L.S] != 0.0 or w[m + L.DUTY] != 0.0
        log[row, column + L.LOG_AMPS0] = w[int(w[m + L.GRP]) + L.G_I] if flows else 0.0
        log[row, column + L.LOG_FORCE0] = w[int(w[m + L.GRP]) + L.G_T] if w[m + L.S] != 0.0 else 0.0
        column += L.LOG_PER_MECH
        m += L.MECH_SIZE


@inner
def come_to_rest(w: Array, tab: Array) -> Any:
    """Put to rest what has become slower than any accuracy asked for, and is held there by its friction."""
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        v = w[m + L.SPEED]
        if v != 0.0 and abs(v) < 1e-9 * w[m + L.V_SCALE] and v * w[m + L.ACC] <= 0.0:
            up, down = rest_margin(w, tab, m, w[m + L.Q])
            if up >= 0.0 and down >= 0.0:
                w[m + L.SPEED] = 0.0
                w[m + L.ACC] = 0.0
                w[m + L.S] = 0.0
                w[L.DIRTY] = 1.0


@inner
def at_tick(w: Array, tab: Array) -> Any:
    """Everything that happens at a control tick; True where all that is watched is seen inside."""
    changed = False
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        if act(w, tab, m, w[L.T]):
            changed = True
        m += L.MECH_SIZE
    if changed:
        w[L.DIRTY] = 1.0
    return w[L.WATCHING] == 1.0 and all_seen(w, 1.0, 0.0)


@inner
def first_acts(w: Array, tab: Array) -> Any:
    """The command's own tick is the first at which its control acts."""
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.NEW] == 1.0:
            w[m + L.NEW] = 0.0
            act(w, tab, m, w[L.T])
        m += L.MECH_SIZE
    w[L.FRESH] = 0.0
    w[L.DIRTY] = 1.0


@inner
def adapted_step(w: Array, tab: Array, rest: float, volts: float, current: float) -> Any:
    """A Dormand-Prince step as long as accuracy allows, no longer than rest: (h, energy, charge)."""
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


@entry
def advance(w: Array, tab: Array, log: Array, row: int, t_end: float) -> Any:
    """Carry the plant to t_end, or to the first tick at which all that is watched is seen inside.

    Parameters
    ----------
    w : ndarray, shape (n,)
        The plant (see layout); changed in place.
    tab : ndarray, shape (k, 8)
        Tables of all mechanisms.
    log : ndarray, shape (rows, columns)
        A row for each step, from `row` on.
    t_end : float
        [s]

    Returns
    -------
    (code, row) : REACHED, LOG_FULL (give a longer log and call again) or SEEN; next free row.
    """
    if w[L.FRESH] == 1.0:
        first_acts(w, tab)
    while True:
        if take_pending(w):
            w[L.DIRTY] = 1.0
        if w[L.DIRTY] == 1.0:
            resolve(w, tab)
        t = w[L.T]
        if t >= t_end:
            return REACHED, row
        if row >= log.shape[0]:
            return LOG_FULL, row
        limit = min(t_end, next_pending(w))
        tick = w[L.TICK] + 1.0
        dense = needs_every_tick(w, tab)
        t_tick = tick_time(w, tick)
        if dense or (w[L.WATCHING] == 1.0 and w[L.N_LIVE] == 0.0 and all_seen(w, 1.0, 0.0)):
            limit = min(limit, t_tick)
        v_before = w[L.V]
        i_before = w[L.I]
        note_beginning(w, log, row)
        # --- a step that is accurate enough
        h = limit - t
        energy = h * w[L.V] * w[L.I]
        charge = h * w[L.I]
        straight = False
        idle = w[L.N_LIVE] == 0.0 and (w[L.SAGS] == 0.0 or (w[L.I] == 0.0 and abs(w[L.VRC]) < 1e-12))
        if idle:
            t_new = limit
            kind = NOTHING
            m = 0
            g = 0
            share = 1.0
            w[L.VRC_END] = w[L.VRC]
        else:
            rest = h
            if w[L.STRAIGHT] == 1.0:
                h = take_series(w, tab, rest)
                straight = h > 0.0
            if not straight:
                h, energy, charge = adapted_step(w, tab, rest, v_before, i_before)
            t_new = limit if h >= rest else t + h
            share, kind, m, g = first_event(w, tab, h)
        # --- a tick at which something changes, or all is seen, ends it earlier
        at = NOTHING
        if kind != NOTHING:
            t_new = min(t + max(share * h, LEAST), t + h)
        if t_tick <= t_new:
            stop_tick = -1.0
            k = tick
            while True:
                when = tick_time(w, k)
                if when > t_new:
                    break
                x = min(1.0, (when - t) / h) if h > 0.0 else 1.0
                if (
                    when >= t_new
                    or tick_would_change(w, when, x, h)
                    or (w[L.WATCHING] == 1.0 and all_seen(w, x, h))
                ):
                    stop_tick = k
                    break
                k += 1.0
            if stop_tick >= 0.0:
                when = tick_time(w, stop_tick)
                if when < t_new:
                    kind = NOTHING
                    t_new = when
                w[L.TICK] = stop_tick
                at = 1
            else:
                w[L.TICK] = k - 1.0
        if t_new - t < h:
            share = (t_new - t) / h
            h = t_new - t
            if straight:
                shrink_series(w, share)
                end_series(w, tab, h)
            elif not idle:
                _, energy, charge = trial_step(w, tab, h, v_before, i_before)
            else:
                energy *= share
                charge *= share
        if idle:
            heat_up(w, h)
        elif straight:
            energy, charge = heat_in_series(w, tab, h)
        else:
            heat_in_step(w, tab, h)
        commit(w, tab, log, row, t_new, h, energy, charge)
        log[row, L.LOG_V0] = v_before
        log[row, L.LOG_I0] = i_before
        row += 1
        if kind != NOTHING:
            change(w, tab, kind, m, g)
        if at != NOTHING and at_tick(w, tab):
            if w[L.DIRTY] == 1.0:
                resolve(w, tab)
            return SEEN, row


@inner
def change(w: Array, tab: Array, kind: float, m: int, g: int) -> Any:
    """Apply an event: flip its mode, then find what else follows from it."""
    if kind == GEAR and w[m + L.N_GRP] > 1.0:
        w[L.DIRTY] = 1.0
        return
    if kind == GEAR:
        w[g + L.G_GEAR] = 1.0 - w[g + L.G_GEAR]
    elif kind == BARE:
        w[g + L.G_BARE] = 1.0 - w[g + L.G_BARE]
    elif kind == BREAK_AWAY or kind == LIMIT or kind == CAP or kind == RAIL:
        w[L.DIRTY] = 1.0
        return
    else:
        change_mode(w, tab, kind, m, g)
        w[L.DIRTY] = 1.0
        return
    for k in range(int(w[L.N_LIVE])):
        live = int(w[L.LIVE + k])
        w[live + L.Q_NEXT] = w[live + L.Q]
        w[live + L.V_NEXT] = w[live + L.SPEED]
    straighten(w)
    evaluate(w, tab)
    for k in range(int(w[L.N_LIVE])):
        live = int(w[L.LIVE + k])
        w[live + L.ACC] = w[live + L.A_NEXT]
