"""The linear law between events, and its Taylor series.

Constant efforts, inertias and loads, and servos on a regulated rail, make every acceleration a line in speeds,
positions and bus voltage; the battery's own voltage follows charge and current. A step is the series of that.
A load from a table is a cubic in the place; it is taken as the one of the cell where the step begins, and the step
is only as long as that differs from the table by less than the tolerance (see bent_off).
"""

from __future__ import annotations

import math
from typing import Any

from simbot.physics import layout as L
from simbot.physics.bus import add_rails
from simbot.physics.compiled import Array, inner
from simbot.physics.forces import HUGE, elsewhere, passed

FAR_BELOW = 0.1  # of the tolerance: two terms in a row that are smaller end a series
STEADY = (
    0.1  # of the tolerance: what turns at a constant effort, this near to the speed to which it tends, has it
)
NEARLY = 1e3  # times as far from it
LAGS = 4.0  # time constants: a series of ORDER terms leaves a tenth there, and 5 leave all


@inner
def straighten(w: Array, tab: Array) -> Any:
    """Note the linear law that holds until a mode changes, where it is one.

    a = ACC_PER_VOLT V - ACC_PER_SPEED v - ACC_PER_WAY q - ACC_LOST, less what a table's load adds. Tables of more
    than a load, limits, the strongest effort where it is less than all, a servo within its band on anything but
    a regulated rail, and a bus that diodes hold bend it.
    """
    a = w[L.IDLE_A]
    b = w[L.IDLE_B]
    p = w[L.IDLE_P]
    for k in range(int(w[L.N_RAIL])):
        rail = L.RAILS + k * L.RAIL_SIZE
        w[rail + L.RAIL_A] = w[rail + L.RAIL_IDLE_A]
        w[rail + L.RAIL_B] = 0.0
    w[L.STRAIGHT] = 0.0
    w[L.FED] = 0.0
    if w[L.V] <= L.NO_VOLTS:
        return
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        strongest = w[m + L.CONTROL] == L.STRONGEST
        if w[m + L.TAB_N] > 0.0 and (w[m + L.TAB_BENDS] == 1.0 or w[m + L.GUIDE_N] > 0.0):
            return
        if strongest and abs(w[m + L.DUTY]) < 1.0:
            return
        duty = w[m + L.DUTY]
        slope = 0.0
        if w[m + L.CONTROL] == L.SERVO and abs(w[m + L.ZONE]) == 1.0:
            duty = w[m + L.TARGET] / w[m + L.BAND]
            slope = -1.0 / w[m + L.BAND]
        s = w[m + L.S]
        mass = w[m + L.MASS_NOW]
        lost = w[m + L.LOAD_NOW] + s * w[m + L.FC]
        if w[m + L.TAB_N] > 0.0:
            mass = tab[int(w[m + L.TAB_ROW]), L.TAB_M]
            lost = s * w[m + L.FC]
        drag = w[m + L.DAMP]
        volt = 0.0
        per_speed = 0.0
        per_way = 0.0
        w[m + L.FED_BY] = 0.0
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            if elsewhere(w, m, g):
                lost -= passed(w, g)
                g += L.GROUP_SIZE
                continue
            if w[g + L.G_LIM] != 0.0:
                return
            ratio = w[g + L.G_RATIO]
            is_open = w[m + L.OPEN] == 1.0
            d = 0.0 if is_open else duty * w[g + L.G_SHARE]
            many = w[g + L.G_N]
            r = w[g + L.G_R]
            k_emf = w[g + L.G_K]
            if w[g + L.G_CAP] != 0.0:
                lost -= w[g + L.G_HI] if w[g + L.G_CAP] > 0.0 else w[g + L.G_LO]
                pull = 0.0
            else:
                f = w[g + L.G_FWD] if w[g + L.G_GEAR] == 0.0 else w[g + L.G_BACK]
                bare = w[g + L.G_RF] if w[g + L.G_BARE] == 0.0 else 1.0 / w[g + L.G_RB]
                spin = s if ratio > 0.0 else -s
                pull = ratio * bare * many / f
                mass += ratio * ratio * many * w[g + L.G_J] / f + w[g + L.G_WHEEL]
                lost += pull * w[g + L.G_TF] * spin
                if not is_open:
                    drag += pull * k_emf * k_emf * ratio / r
            if w[g + L.G_RAIL] >= 0.0:
                rail = L.RAILS + int(w[g + L.G_RAIL]) * L.RAIL_SIZE
                mode = w[rail + L.RAIL_MODE]
                if mode == L.DROPOUT or mode == L.LIMITED or w[rail + L.RAIL_V] != w[rail + L.RAIL_SET]:
                    return
                lost -= pull * k_emf * d / r * w[rail + L.RAIL_SET]
                per_way -= pull * k_emf * slope / r * w[rail + L.RAIL_SET]
                w[L.FED] = 1.0
                w[m + L.FED_BY] = rail
                w[m + L.FED_DUTY] = d
                w[m + L.FED_SLOPE] = slope
                w[m + L.FED_EMF] = k_emf * ratio
                w[m + L.FED_SIEMENS] = many * w[g + L.G_CURRENT] / r
            else:
                if slope != 0.0:
                    return
                volt += pull * k_emf * d / r
                a += many * w[g + L.G_CURRENT] * d * d / r
                per_speed += many * w[g + L.G_CURRENT] * d * k_emf * ratio / r
            g += L.GROUP_SIZE
        w[m + L.BUS_PER_SPEED] = per_speed
        w[m + L.ACC_PER_VOLT] = volt / mass
        w[m + L.ACC_PER_SPEED] = drag / mass
        w[m + L.ACC_PER_WAY] = per_way / mass
        w[m + L.ACC_LOST] = lost / mass
        w[m + L.INERTIA] = mass
    a, b, p = add_rails(w, a, b, p)
    w[L.STRAIGHT_A] = a
    w[L.STRAIGHT_B] = b
    w[L.STRAIGHT_P] = p
    w[L.STRAIGHT] = 1.0


@inner
def start_battery(w: Array) -> Any:
    """Open-circuit voltage less polarisation now: in E, and as a constant in its polynomial."""
    if w[L.SAGS] == 1.0:
        w[L.E] = w[L.REST] - w[L.FALL] * w[L.CHARGE] - w[L.VRC]
        for j in range(1, L.ORDER):
            w[L.EMF_POLY + j] = 0.0
    w[L.EMF_POLY] = w[L.E]
    w[L.VRC_POLY] = w[L.VRC]


def steady_below(w: Array, m: int) -> Any:
    """Acceleration below which what a constant effort drives against a constant load has its steady speed; 0: never.

    What sets out from rest has none yet, however slowly it does.
    """
    if w[m + L.TAB_N] > 0.0 or w[m + L.ACC_PER_WAY] != 0.0 or w[m + L.SPEED] == 0.0:
        return 0.0
    return STEADY * w[L.TOL] * w[m + L.V_SCALE] * w[m + L.ACC_PER_SPEED]


is_steady_below = inner(steady_below)


def nearly_steady(w: Array, m: int) -> Any:
    """The same of what turns at a constant effort until it is told otherwise; 0 for all else."""
    return steady_below(w, m) if w[m + L.CONTROL] == L.SPIN else 0.0


@inner
def until_steady(w: Array, rest: float) -> Any:
    """A length no more than rest at which the series of what has nearly come to its steady speed still comes nearer.

    Of a longer one the last terms outweigh what is left of the way there, and each step would leave as much as the
    one before.
    """
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        least = is_steady_below(w, m)
        if least <= abs(w[m + L.ACC]) < NEARLY * least:
            rest = min(rest, LAGS / w[m + L.ACC_PER_SPEED])
    return rest


@inner
def rail_series(w: Array, m: int, j: int, h: float) -> Any:
    """Coefficient j of the current that a mechanism takes from its regulated rail: d (d V - emf)/R."""
    rail = int(w[m + L.FED_BY])
    p = m + L.POLY
    total = 0.0
    for i in range(j + 1):
        first = w[m + L.FED_SLOPE] * w[p + i]
        second = w[m + L.FED_SLOPE] * w[p + j - i]
        if i == 0:
            first += w[m + L.FED_DUTY]
        if i == j:
            second += w[m + L.FED_DUTY]
        speed = (j - i + 1.0) * w[p + j - i + 1] / h
        total += first * (second * w[rail + L.RAIL_SET] - w[m + L.FED_EMF] * speed)
    return w[m + L.FED_SIEMENS] * total


@inner
def place_in_table(w: Array, m: int, q: float) -> Any:
    """Cell of a mechanism's table at a position."""
    return min(max(math.floor((q - w[m + L.TAB_Q0]) * w[m + L.TAB_PER]), 0.0), w[m + L.TAB_N] - 1.0)


@inner
def load_here(w: Array, tab: Array, m: int) -> Any:
    """The cubic of the present cell's load, in powers of the way from the present position."""
    per = w[m + L.TAB_PER]
    cell = place_in_table(w, m, w[m + L.Q])
    u = (w[m + L.Q] - w[m + L.TAB_Q0]) * per - cell
    row = int(w[m + L.TAB_ROW] + cell)
    slope = tab[row, L.TAB_DQ] / per
    rise = tab[row + 1, L.TAB_Q] - tab[row, L.TAB_Q]
    third = tab[row + 1, L.TAB_DQ] / per + slope - 2.0 * rise
    second = rise - slope - third
    w[m + L.LOAD_0] = tab[row, L.TAB_Q] + u * (slope + u * (second + u * third))
    w[m + L.LOAD_0 + 1] = per * (slope + u * (2.0 * second + 3.0 * u * third))
    w[m + L.LOAD_0 + 2] = per * per * (second + 3.0 * u * third)
    w[m + L.LOAD_0 + 3] = per * per * per * third


@inner
def load_in_series(w: Array, m: int, j: int) -> Any:
    """Coefficient j of a table's load, from those of the position up to the same power."""
    p = m + L.POLY
    if j == 0:
        w[m + L.SQUARE] = 0.0
        return w[m + L.LOAD_0]
    square = 0.0
    cube = 0.0
    for i in range(1, j):
        square += w[p + i] * w[p + j - i]
        cube += w[m + L.SQUARE + i] * w[p + j - i]
    w[m + L.SQUARE + j] = square
    return w[m + L.LOAD_0 + 1] * w[p + j] + w[m + L.LOAD_0 + 2] * square + w[m + L.LOAD_0 + 3] * cube


@inner
def bent_off(w: Array, tab: Array, m: int, h: float) -> Any:
    """What a table's load and the cubic of the step's beginning differ by at most, in units of TOL.

    On a cell two cubics differ by no more than the most of their differences at both ends and 4/27 of a cell's
    length times those of their slopes, added: the knots that are passed tell it, that of the last cell's end too. On
    the next cell, where both are zero at first, it grows with the square of the way into it.
    """
    per = w[m + L.TAB_PER]
    end = w[m + L.POLY]
    for k in range(1, int(w[L.TOP]) + 1):
        end += w[m + L.POLY + k]
    begins = place_in_table(w, m, w[m + L.Q])
    ends = place_in_table(w, m, end)
    if ends == begins:
        return 0.0
    if abs(ends - begins) > 8.0:
        return 100.0
    up = ends > begins
    worst = 0.0
    steepest = 0.0
    knot = begins + 2.0 if up else begins - 1.0
    for _ in range(int(abs(ends - begins))):
        row = int(w[m + L.TAB_ROW] + knot)
        x = w[m + L.TAB_Q0] + knot / per - w[m + L.Q]
        c1 = w[m + L.LOAD_0 + 1]
        c2 = w[m + L.LOAD_0 + 2]
        c3 = w[m + L.LOAD_0 + 3]
        worst = max(worst, abs(w[m + L.LOAD_0] + x * (c1 + x * (c2 + x * c3)) - tab[row, L.TAB_Q]))
        steepest = max(steepest, abs(c1 + x * (2.0 * c2 + 3.0 * x * c3) - tab[row, L.TAB_DQ]))
        knot += 1.0 if up else -1.0
    steepest /= per
    off = worst + 8.0 / 27.0 * steepest
    if abs(ends - begins) == 1.0:
        into = (end - w[m + L.TAB_Q0]) * per - max(begins, ends)
        off = min(off, into * into * (5.0 * worst + 2.0 * steepest))
    a = off / w[m + L.INERTIA]
    return a * h * max(1.0 / w[m + L.V_SCALE], 0.5 * h / w[m + L.Q_SCALE]) / w[L.TOL]


@inner
def series(w: Array, tab: Array, h: float) -> Any:
    """Taylor series of the linear law over a step of h: positions, bus voltage, what is asked of the bus.

    Each coefficient of positions and speeds gives that of what is asked of the bus, that the one of its voltage,
    by the battery's line alpha V + beta(t) + gamma(t)/V = 0, and all of them that of the accelerations, which is
    the next but one of the positions. Coefficients belong to powers of the share of the step. They end, at TOP, with
    the second in a row that is far below the tolerance. Returns the last terms in units of TOL: the error is smaller
    than they are by about the order.
    """
    n = int(w[L.N_LIVE])
    per_h = 1.0 / h
    for k in range(n):
        m = int(w[L.LIVE + k])
        if w[m + L.TAB_N] > 0.0:
            load_here(w, tab, m)
            w[m + L.PER_INERTIA] = 1.0 / w[m + L.INERTIA]
        w[m + L.POLY] = w[m + L.Q]
        w[m + L.POLY + 1] = h * w[m + L.SPEED]
        w[m + L.PER_Q] = 1.0 / w[m + L.Q_SCALE]
        w[m + L.PER_V] = per_h / w[m + L.V_SCALE]
    alpha = 1.0 + w[L.R0] * w[L.STRAIGHT_A]
    asked = w[L.STRAIGHT_B]
    power = w[L.STRAIGHT_P]
    per_alpha = 1.0 / alpha
    bend = alpha
    linear = True  # so far nothing draws constant power, and what is asked of the bus follows its voltage in a line
    least = FAR_BELOW * w[L.TOL]
    per_rest = 1.0 / w[L.REST]
    worst = HUGE
    sags = w[L.SAGS] == 1.0
    per_ohm = 1.0 / w[L.R0] if sags else 0.0
    settles = h / w[L.TAU] if sags else 0.0
    falls = h * w[L.FALL]
    start_battery(w)
    for j in range(L.ORDER - 1):
        per_power = 1.0 / (j + 1.0)
        rate = (j + 1.0) * per_h  # of a coefficient of the way: that of the speed
        for k in range(n):
            m = int(w[L.LIVE + k])
            rail = int(w[m + L.FED_BY])
            if rail == 0:
                asked += w[m + L.BUS_PER_SPEED] * rate * w[m + L.POLY + j + 1]
            elif w[rail + L.RAIL_MODE] == L.REGULATED:
                current = rail_series(w, m, j, h)
                if w[rail + L.RAIL_EFF] > 0.0:
                    power += w[rail + L.RAIL_SET] * current / w[rail + L.RAIL_EFF]
                else:
                    asked -= current
        w[L.ASKED_POLY + j] = asked
        w[L.POWER_POLY + j] = power
        beta = -w[L.EMF_POLY + j] - w[L.R0] * asked
        linear = linear and power == 0.0
        if linear:
            volts = -beta * per_alpha
        elif j == 0:
            volts = 0.5 * (math.sqrt(max(0.0, beta * beta - 4.0 * alpha * w[L.R0] * power)) - beta) / alpha
        else:
            volts = beta * w[L.VOLTS_POLY] + w[L.R0] * power
            for i in range(1, j):
                own = alpha * w[L.VOLTS_POLY + i] - w[L.R0] * w[L.ASKED_POLY + i] - w[L.EMF_POLY + i]
                volts += own * w[L.VOLTS_POLY + j - i]
            volts = -volts / bend
        if j == 0:
            bend = 2.0 * alpha * volts + beta
        w[L.VOLTS_POLY + j] = volts
        if sags:
            current = (w[L.EMF_POLY + j] - volts) * per_ohm
            grows = settles * per_power * (w[L.R1] * current - w[L.VRC_POLY + j])
            w[L.VRC_POLY + j + 1] = grows
            w[L.EMF_POLY + j + 1] = -grows - falls * per_power * current
        before = worst
        worst = abs(w[L.EMF_POLY + j + 1]) * per_rest
        share = h * h / ((j + 1.0) * (j + 2.0))
        for k in range(n):
            m = int(w[L.LIVE + k])
            p = m + L.POLY + j
            a = w[m + L.ACC_PER_VOLT] * volts - w[m + L.ACC_PER_SPEED] * rate * w[p + 1]
            a -= w[m + L.ACC_PER_WAY] * w[p]
            if w[m + L.TAB_N] > 0.0:
                a -= load_in_series(w, m, j) * w[m + L.PER_INERTIA]
            if j == 0:
                a -= w[m + L.ACC_LOST]
                if abs(a) < is_steady_below(w, m):
                    a = 0.0  # what is left of it are errors of the steps before, which long ones would enlarge
            w[p + 2] = share * a
            worst = max(worst, abs(share * a) * max(w[m + L.PER_Q], (j + 2.0) * w[m + L.PER_V]))
        asked = 0.0
        power = 0.0
        w[L.TOP] = j + 2.0
        if before < least and worst < least:
            break
    return worst / w[L.TOL]


@inner
def shrink_series(w: Array, share: float) -> Any:
    """The same series over a share of its step."""
    power = 1.0
    top = int(w[L.TOP])
    for j in range(top + 1):
        if j < top:
            w[L.VOLTS_POLY + j] *= power
            w[L.ASKED_POLY + j] *= power
            w[L.POWER_POLY + j] *= power
            w[L.EMF_POLY + j] *= power
            w[L.VRC_POLY + j] *= power
        for k in range(int(w[L.N_LIVE])):
            w[int(w[L.LIVE + k]) + L.POLY + j] *= power
        power *= share


@inner
def bus_in_series(w: Array, x: float) -> Any:
    """Put the bus at the share x of the step of the series."""
    volts = 0.0
    asked = 0.0
    for j in range(int(w[L.TOP]) - 2, -1, -1):
        volts = volts * x + w[L.VOLTS_POLY + j]
        asked = asked * x + w[L.ASKED_POLY + j]
    w[L.V] = volts
    w[L.I] = w[L.STRAIGHT_A] * volts - asked
    if has_power(w):
        power = 0.0
        for j in range(int(w[L.TOP]) - 2, -1, -1):
            power = power * x + w[L.POWER_POLY + j]
        w[L.I] += power / volts


@inner
def has_power(w: Array) -> Any:
    """Whether something may draw constant power in the series."""
    return w[L.STRAIGHT_P] != 0.0 or w[L.FED] == 1.0


@inner
def drawn_from_bus(w: Array, h: float, nodes: Array, shares: Array) -> Any:
    """Energy [J] and charge [C] of a step of the series: its bus at four places, side by side, and their weights."""
    x0, x1, x2, x3 = nodes[0], nodes[1], nodes[2], nodes[3]
    v0 = v1 = v2 = v3 = 0.0
    i0 = i1 = i2 = i3 = 0.0
    for j in range(int(w[L.TOP]) - 2, -1, -1):
        volts = w[L.VOLTS_POLY + j]
        v0 = v0 * x0 + volts
        v1 = v1 * x1 + volts
        v2 = v2 * x2 + volts
        v3 = v3 * x3 + volts
        asked = w[L.ASKED_POLY + j]
        i0 = i0 * x0 + asked
        i1 = i1 * x1 + asked
        i2 = i2 * x2 + asked
        i3 = i3 * x3 + asked
    a = w[L.STRAIGHT_A]
    i0 = a * v0 - i0
    i1 = a * v1 - i1
    i2 = a * v2 - i2
    i3 = a * v3 - i3
    if has_power(w):
        p0 = p1 = p2 = p3 = 0.0
        for j in range(int(w[L.TOP]) - 2, -1, -1):
            power = w[L.POWER_POLY + j]
            p0 = p0 * x0 + power
            p1 = p1 * x1 + power
            p2 = p2 * x2 + power
            p3 = p3 * x3 + power
        i0 += p0 / v0
        i1 += p1 / v1
        i2 += p2 / v2
        i3 += p3 / v3
    s0, s1, s2, s3 = shares[0] * h, shares[1] * h, shares[2] * h, shares[3] * h
    return s0 * v0 * i0 + s1 * v1 * i1 + s2 * v2 * i2 + s3 * v3 * i3, s0 * i0 + s1 * i1 + s2 * i2 + s3 * i3
