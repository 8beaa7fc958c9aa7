"""Where within a step a mode stops to hold: margins of all modes, and the root of the one that fails first."""

from __future__ import annotations

import math
from typing import Any

from simbot.physics import layout as L
from simbot.physics.apart import meet_margin, meets_between
from simbot.physics.bus import servo_duty, set_rails
from simbot.physics.compiled import Array, inner
from simbot.physics.forces import (
    HUGE,
    REST_SLACK,
    accelerate,
    elsewhere,
    first_mech,
    follow,
    rest_margin,
    take_rest_currents,
)
from simbot.physics.linear import bus_in_series
from simbot.physics.quick import quick_rates
from simbot.physics.steps import between, go_to_share, put_at_share

# kinds of event
# (floats, as the flags below: a literal integer would make the compiler write a function once for each value)
NOTHING, STANDSTILL, SEGMENT_END, ZONE_EDGE, GEAR = 0.0, 1.0, 2.0, 3.0, 4.0
BARE, LIMIT, CAP, BREAK_AWAY, RAIL, MEET = 5.0, 6.0, 7.0, 8.0, 9.0, 10.0

# of the forces at work: a group that passes less at both ends of a Runge-Kutta step is asked in its middle too
LITTLE = 0.25
LEVEL = 2.0  # tolerances, of the forces at work: where less is passed power turns round; a step taken anew ends beside
NEAR = 1e-7  # of a step: where forces do not jump the speed is off by its square only


@inner
def is_smooth(kind: float) -> Any:
    """True where forces do not jump and nothing is to be kept to the last digit, as a limit or a meeting is."""
    return kind > ZONE_EDGE and kind != LIMIT and kind != MEET


@inner
def group_margin(w: Array, m: int, g: int, kind: float) -> Any:
    """Validity of one mode of one group at the last evaluation: negative, it no longer holds."""
    s = w[m + L.S]
    if kind == GEAR:
        t = s * w[g + L.G_T] if w[g + L.G_GEAR] == 0.0 else -s * w[g + L.G_T]
        return t + (1e-11 + LEVEL * w[L.TOL]) * (
            abs(w[m + L.LOAD_AT]) + abs(w[m + L.MASS_AT] * w[m + L.A_NEXT])
        )
    if kind == BARE:
        x = w[g + L.G_X] if w[g + L.G_BARE] == 0.0 else -w[g + L.G_X]
        return x + (1e-11 + LEVEL * w[L.TOL]) * w[g + L.G_N] * w[g + L.G_K] * abs(w[g + L.G_I])
    if kind == LIMIT:
        mode = w[g + L.G_LIM]
        if w[m + L.OPEN] == 1.0:
            if w[g + L.G_RAIL] >= 0.0:  # a rail takes nothing back: it rises with what turns the motor
                return 1.0
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
    if w[m + L.OF] != 0.0:
        return 1.0
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
def may_limit(w: Array, m: int, g: int) -> Any:
    """True where something may limit a group's current."""
    finite = w[g + L.G_LIMIT] < HUGE or w[g + L.G_LIMIT_B] < HUGE
    return finite or w[m + L.OPEN] == 1.0


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
        return (
            min(min(up, down), w[m + L.LOOSE]) + REST_SLACK * w[m + L.LOAD_AT]
        )  # well beyond the balance, so that it does leave
    if kind == RAIL:
        return rail_margin(w, m)
    if kind == MEET:
        return meet_margin(w, tab, m)
    if kind == LIMIT and w[m + L.S] == 0.0:  # at rest: its currents follow the bus
        rest_margin(w, tab, m, w[m + L.Q])
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
            if not elsewhere(w, m, g):
                capped = w[g + L.G_CAP] != 0.0
                if w[g + L.G_FWD] != w[g + L.G_BACK] and not capped and group_margin(w, m, g, GEAR) < 0.0:
                    return GEAR, m, g
                if w[g + L.G_RF] != w[g + L.G_RB] and group_margin(w, m, g, BARE) < 0.0:
                    return BARE, m, g
                if may_limit(w, m, g) and group_margin(w, m, g, LIMIT) < 0.0:
                    return LIMIT, m, g
                within = not capped and w[g + L.G_LO] < w[g + L.G_TFREE] < w[g + L.G_HI]
                if not within and group_margin(w, m, g, CAP) < 0.0:
                    return CAP, m, g
            g += L.GROUP_SIZE
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        if rail_margin(w, rail) < 0.0:
            return RAIL, rail, 0
    m = first_mech(w)
    for k in range(int(w[L.N_BODY])):
        if k >= w[L.N_MECH] and w[m + L.OF] != 0.0 and meet_margin(w, tab, m) < 0.0:
            return MEET, m, 0
        if w[m + L.S] == 0.0 and w[m + L.DUTY] != 0.0 and w[m + L.PINNED] == 0.0:
            if abs(w[L.V] - w[m + L.REST_V]) < w[m + L.REST_DV] and w[L.N_BODY] == w[L.N_MECH]:
                if w[L.TOLD] == 1.0:
                    take_rest_currents(w, m)
                m += L.MECH_SIZE
                continue
            if margin_of(w, tab, BREAK_AWAY, m, m) < 0.0:
                return BREAK_AWAY, m, int(w[m + L.GRP])
            g = int(w[m + L.GRP])
            for _ in range(int(w[m + L.N_GRP])):
                if not elsewhere(w, m, g) and group_margin(w, m, g, LIMIT) < 0.0:
                    return LIMIT, m, g
                g += L.GROUP_SIZE
        m += L.MECH_SIZE
    return NOTHING, 0, 0


@inner
def look_at_share(w: Array, tab: Array, kind: float, m: int, x: float, h: float) -> Any:
    """Put at the share x of the step, and evaluate there, what the margin of a mode depends on."""
    if kind <= ZONE_EDGE:  # a question of where it is and how fast alone
        q, v = between(w, m, x, h)
        w[m + L.Q_NEXT] = q
        w[m + L.V_NEXT] = v
    elif kind == MEET:  # the same of two
        put_at_share(w, x, h)
    elif w[L.IN_SERIES] == 1.0 and kind != RAIL and kind != LIMIT:  # and of the bus
        bus_in_series(w, x)
        set_rails(w)
        if w[m + L.S] != 0.0:
            q, v = between(w, m, x, h)
            w[m + L.Q_NEXT] = q
            w[m + L.V_NEXT] = v
            if w[m + L.GUIDE_N] > 0.0:
                follow(w, tab, m, q, v)
            if w[m + L.CONTROL] == L.SERVO:
                w[m + L.DUTY] = servo_duty(w, m, q)
            w[m + L.A_NEXT] = accelerate(w, tab, m, q, v)
    elif w[L.QUICK] == 1.0 and kind <= BARE:  # and of the bus
        put_at_share(w, x, h)
        quick_rates(w, tab)
        if w[m + L.CONTROL] == L.SERVO:
            w[m + L.DUTY] = servo_duty(w, m, w[m + L.Q_NEXT])
        w[m + L.A_NEXT] = accelerate(w, tab, m, w[m + L.Q_NEXT], w[m + L.V_NEXT])
    else:
        go_to_share(w, tab, x, h)


@inner
def root_of(w: Array, tab: Array, kind: float, m: int, g: int, top: float, h: float) -> Any:
    """Share of the step at which a mode's margin turns negative: the upper end of a tight bracket below top.

    Chandrupatla's method (1997): the inverse parabola through three points where it can be trusted, else the middle.
    """
    x = top  # the newest place, `old` the one beyond the root, `was` what neither is any more
    f = margin_of(w, tab, kind, m, g)
    old = 0.0
    if kind <= ZONE_EDGE:
        w[m + L.Q_NEXT] = w[m + L.Q]
        w[m + L.V_NEXT] = w[m + L.SPEED]
    else:
        look_at_share(w, tab, kind, m, 0.0, h)
    f_old = margin_of(w, tab, kind, m, g)
    step = 0.5
    if f_old > 0.0:
        step = f / (f - f_old)
    else:
        f_old = 1e-30
    for _ in range(60):
        was = x
        f_was = f
        x += step * (old - x)
        look_at_share(w, tab, kind, m, x, h)
        f = margin_of(w, tab, kind, m, g)
        if (f < 0.0) != (f_was < 0.0):
            was, old = old, was
            f_was, f_old = f_old, f_was
        width = abs(x - old)
        close = NEAR if is_smooth(kind) else 1e-14 + 1e-12 * max(x, old)
        if width < close or width * h < 1e-15:
            break
        part = (x - old) / (was - old)
        rise = (f - f_old) / (f_was - f_old)
        step = 0.5
        if rise * rise < part and (1.0 - rise) * (1.0 - rise) < 1.0 - part:
            step = f / (f_old - f) * f_was / (f_old - f_was)
            step += (was - x) / (old - x) * f / (f_was - f) * f_old / (f_was - f_old)
        least = 0.45 * close / width
        step = min(max(step, least), 1.0 - least)
    return x if f < 0.0 else old


@inner
def bend_of(w: Array, m: int, g: int, h: float) -> Any:
    """How far the torque of a group's motors, and the force that it passes on, may leave straight lines in the step.

    In a step of the series both are lines in place, speed, acceleration and voltage, of which the powers of the share
    x are known. Of x^k the line through both ends is no more than (k - 1) x (1 - x) away.

    Returns
    -------
    (torque, force) : what x (1 - x) is to be multiplied by [N m; N, N m].
    """
    p = m + L.POLY
    ratio = w[g + L.G_RATIO]
    many = w[g + L.G_N]
    k_emf = w[g + L.G_K]
    fed = w[g + L.G_RAIL] >= 0.0
    closed = w[m + L.OPEN] != 1.0
    per_volt = many * k_emf / w[g + L.G_R] if closed else 0.0
    duty = w[m + L.DUTY] * w[g + L.G_SHARE]
    if fed:
        duty = w[m + L.FED_SLOPE] * w[L.RAILS + int(w[g + L.G_RAIL]) * L.RAIL_SIZE + L.RAIL_SET]
    f = w[g + L.G_FWD] if w[g + L.G_GEAR] == 0.0 else w[g + L.G_BACK]
    per_torque = ratio / f * (w[g + L.G_RF] if w[g + L.G_BARE] == 0.0 else 1.0 / w[g + L.G_RB])
    per_a = ratio * ratio * many * w[g + L.G_J] / (f * h * h)
    per_v = k_emf * ratio / h
    torque = 0.0
    force = 0.0
    for j in range(2, int(w[L.TOP]) - 1):
        volts = duty * (w[p + j] if fed else w[L.VOLTS_POLY + j])
        x = per_volt * (volts - per_v * (j + 1.0) * w[p + j + 1])
        torque += (j - 1.0) * abs(x)
        force += (j - 1.0) * abs(per_torque * x - per_a * (j + 1.0) * (j + 2.0) * w[p + j + 2])
    return torque, force


@inner
def stays_above(begin: float, end: float, bend: float) -> Any:
    """True where what has these values at both ends of a step, and leaves their line by no more than bend x (1 - x),
    is nowhere below 0: b0 (1 - x)² + b1 2 x (1 - x) + b2 x² is not where b1 >= -sqrt(b0 b2)."""
    return math.sqrt(max(begin, 0.0)) + math.sqrt(max(end, 0.0)) >= math.sqrt(bend)


@inner
def lowest_between(begin: float, end: float, bend: float) -> Any:
    """Where the least that it may be is lowest, as a share of the step, if that is below 0."""
    return 0.5 + 0.5 * (max(begin, 0.0) - max(end, 0.0)) / bend


@inner
def may_dip(w: Array, tab: Array, h: float) -> Any:
    """Where within the step, as a share of it, a group's flow of power may have turned round for a while; 0: nowhere.

    On the linear law it is known where it cannot, and where it would first; elsewhere a group that passes little at
    both ends is asked in the middle. Or where rotors that are apart met their load.
    """
    if w[L.N_BODY] > w[L.N_MECH]:
        r = int(first_mech(w) + w[L.N_MECH] * L.MECH_SIZE)
        for _ in range(int(w[L.N_ROTOR])):
            if w[r + L.OF] != 0.0:
                share = meets_between(w, tab, r, h)
                if share > 0.0:
                    return share
            r += L.MECH_SIZE
    known = w[L.IN_SERIES] == 1.0
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        s = w[m + L.S]
        forces = LITTLE * (abs(w[m + L.LOAD_AT]) + abs(w[m + L.MASS_AT] * w[m + L.A_NEXT]))
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            gears = w[g + L.G_FWD] != w[g + L.G_BACK] and w[g + L.G_CAP] == 0.0
            bare = w[g + L.G_RF] != w[g + L.G_RB]
            if (gears or bare) and not elsewhere(w, m, g):
                t = s if w[g + L.G_GEAR] == 0.0 else -s
                x = 1.0 if w[g + L.G_BARE] == 0.0 else -1.0
                if known:
                    torque, force = bend_of(w, m, g, h)
                    if gears and not stays_above(t * w[g + L.G_T0], t * w[g + L.G_T], force):
                        return lowest_between(t * w[g + L.G_T0], t * w[g + L.G_T], force)
                    if bare and not stays_above(x * w[g + L.G_X0], x * w[g + L.G_X], torque):
                        return lowest_between(x * w[g + L.G_X0], x * w[g + L.G_X], torque)
                else:
                    torque = LITTLE * w[g + L.G_N] * w[g + L.G_K] * abs(w[g + L.G_I])
                    if gears and t * w[g + L.G_T0] < forces and t * w[g + L.G_T] < forces:
                        return 0.5
                    if bare and x * w[g + L.G_X0] < torque and x * w[g + L.G_X] < torque:
                        return 0.5
            g += L.GROUP_SIZE
    return 0.0


@inner
def first_event(w: Array, tab: Array, h: float) -> Any:
    """Earliest mode that fails within the step under trial: (share, kind, mechanism or rail, group)."""
    share = 1.0
    kind, m, g = find_violation(w, tab)
    dip = may_dip(w, tab, h) if kind == NOTHING else 0.0
    if dip > 0.0:
        go_to_share(w, tab, dip, h)
        kind, m, g = find_violation(w, tab)
        if kind == NOTHING:
            go_to_share(w, tab, 1.0, h)
        else:
            share = dip
    last = (NOTHING, 0, 0)
    for _ in range(12):
        if kind == NOTHING:
            break
        last = (kind, m, g)
        share = root_of(w, tab, kind, m, g, share, h)
        before = share * (1.0 - 1e-9) - (2.0 * NEAR if is_smooth(kind) else 0.0)
        go_to_share(w, tab, max(before, 0.0), h)
        kind, m, g = find_violation(w, tab)
    kind, m, g = last
    return share, kind, m, g
