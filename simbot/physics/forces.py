"""Motor, gears, friction and load of one mechanism: which modes hold, and how it accelerates.

Core law, rotor and load on either side of the gears (f: 1/efficiency where power flows to the load, the
back-driving efficiency where it comes back):

    load   M a + M' v²/2 + Q + F = T          motor   G (x - J (G a + G' v²)) = f T

with x = n (k i - friction) the torque of the group's motors. Several groups on one mechanism add their T.
Textbook mechanics; the torque-speed line is the data sheet's.
"""

from __future__ import annotations

import math
from typing import Any

from simbot.physics import layout as L
from simbot.physics.compiled import Array, inner

HUGE = 1e300
ALL_AT_ONCE, ROUNDS = 8, 40  # rounds in search of the modes that agree with the flow of power
REST_SLACK = 1e-9  # of load and friction: what creeps towards its balance rests there


@inner
def first_mech(w: Array) -> Any:
    return L.RAILS + int(w[L.N_RAIL]) * L.RAIL_SIZE


@inner
def look_up(w: Array, tab: Array, m: int, q: float) -> Any:
    """Inertia M, its slope M', load Q, common factor g of the ratios and its slope at q.

    Cubic Hermite on uniform knots with exact slopes; constant where the segment has no table.
    """
    n = w[m + L.TAB_N]
    if n == 0.0:
        return w[m + L.MASS_NOW], 0.0, w[m + L.LOAD_NOW], 1.0, 0.0
    per = w[m + L.TAB_PER]
    x = (q - w[m + L.TAB_Q0]) * per
    cell = math.floor(x)
    if cell < 0.0:
        cell = 0.0
    if cell > n - 1.0:
        cell = n - 1.0
    u = x - cell
    row = int(w[m + L.TAB_ROW] + cell)
    h = 1.0 / per
    a = u * u * (3.0 - 2.0 * u)
    b = u * (1.0 - u) * (1.0 - u) * h
    c = u * u * (u - 1.0) * h
    load = tab[row, L.TAB_Q] * (1.0 - a) + tab[row + 1, L.TAB_Q] * a
    load += tab[row, L.TAB_DQ] * b + tab[row + 1, L.TAB_DQ] * c
    if w[m + L.TAB_BENDS] == 0.0:
        return tab[row, L.TAB_M], 0.0, load, 1.0, 0.0
    mass = tab[row, L.TAB_M] * (1.0 - a) + tab[row + 1, L.TAB_M] * a
    mass += tab[row, L.TAB_DM] * b + tab[row + 1, L.TAB_DM] * c
    factor = tab[row, L.TAB_G] * (1.0 - a) + tab[row + 1, L.TAB_G] * a
    factor += tab[row, L.TAB_DG] * b + tab[row + 1, L.TAB_DG] * c
    dmass = tab[row, L.TAB_DM] * (1.0 - a) + tab[row + 1, L.TAB_DM] * a
    dmass += tab[row, L.TAB_DDM] * b + tab[row + 1, L.TAB_DDM] * c
    dfactor = tab[row, L.TAB_DG] * (1.0 - a) + tab[row + 1, L.TAB_DG] * a
    dfactor += tab[row, L.TAB_DDG] * b + tab[row + 1, L.TAB_DDG] * c
    return mass, dmass, load, factor, dfactor


@inner
def follow(w: Array, tab: Array, m: int, q: float, v: float) -> Any:
    """Put a drive at a place and speed on its curved way: share of the effort, grip along it, friction.

    The way across takes its part of the grip first: m curvature v² (see bends).
    """
    x = (q - w[m + L.GUIDE_Q0]) * w[m + L.GUIDE_PER]
    x = min(max(x, 0.0), w[m + L.GUIDE_N])
    cell = min(math.floor(x), w[m + L.GUIDE_N] - 1.0)
    u = x - cell
    row = int(w[m + L.GUIDE_ROW] + cell)
    a = u * u * (3.0 - 2.0 * u)
    slope = tab[row, L.GUIDE_DSHARE] * u * (1.0 - u) * (1.0 - u)
    slope += tab[row + 1, L.GUIDE_DSHARE] * u * u * (u - 1.0)
    g = int(w[m + L.GRP])
    share = tab[row, L.GUIDE_SHARE] * (1.0 - a) + tab[row + 1, L.GUIDE_SHARE] * a
    w[g + L.G_SHARE] = share + slope / w[m + L.GUIDE_PER]
    a1 = tab[row, L.GUIDE_A1] * (1.0 - u) + tab[row + 1, L.GUIDE_A1] * u
    a2 = tab[row, L.GUIDE_A2] * (1.0 - u) + tab[row + 1, L.GUIDE_A2] * u
    b1 = (tab[row, L.GUIDE_B1] * (1.0 - u) + tab[row + 1, L.GUIDE_B1] * u) * v * v
    if w[m + L.GUIDE_ROUND] == 1.0:
        left = math.sqrt(max(0.0, 1.0 - b1 * b1))
        w[g + L.G_HI] = left / a1
        w[g + L.G_LO] = -left / a2
    else:
        b2 = (tab[row, L.GUIDE_B2] * (1.0 - u) + tab[row + 1, L.GUIDE_B2] * u) * v * v
        high = HUGE
        low = -HUGE
        if abs(a1) > 1e-12:
            b1 = b1 if a1 > 0.0 else -b1
            high = (1.0 - b1) / abs(a1)
            low = -(1.0 + b1) / abs(a1)
        if abs(a2) > 1e-12:
            b2 = b2 if a2 > 0.0 else -b2
            high = min(high, (1.0 - b2) / abs(a2))
            low = max(low, -(1.0 + b2) / abs(a2))
        w[g + L.G_HI] = max(high, 0.0)
        w[g + L.G_LO] = min(low, 0.0)
    rub = tab[row, L.GUIDE_RUB] * (1.0 - u) + tab[row + 1, L.GUIDE_RUB] * u
    seg = int(w[m + L.SEG] + w[m + L.SEG_NOW] * L.SEG_SIZE)
    w[m + L.FC] = w[seg + L.SEG_FC] + rub
    w[m + L.FS] = w[seg + L.SEG_FS] + rub


@inner
def fastest_at(w: Array, tab: Array, m: int, q: float) -> Any:
    """Square of the speed that the code lets a drive have at a place of its curved way."""
    x = min(max((q - w[m + L.GUIDE_Q0]) * w[m + L.GUIDE_PER], 0.0), w[m + L.GUIDE_N])
    cell = min(math.floor(x), w[m + L.GUIDE_N] - 1.0)
    row = int(w[m + L.GUIDE_ROW] + cell)
    u = x - cell
    return tab[row, L.GUIDE_FASTEST] * (1.0 - u) + tab[row + 1, L.GUIDE_FASTEST] * u


@inner
def elsewhere(w: Array, m: int, g: int) -> Any:
    """True where the rotors of a group of this mechanism turn by themselves: see apart."""
    return w[g + L.G_APART] != 0.0 and w[g + L.G_APART] != m


@inner
def turner(w: Array, m: int, g: int) -> Any:
    """What the rotors of a group of this mechanism turn with: itself, or their own record while they are apart."""
    return m if w[g + L.G_APART] == 0.0 else int(w[g + L.G_APART])


@inner
def flows(w: Array, m: int, g: int) -> Any:
    """True where a current may flow in a group."""
    own = turner(w, m, g)
    return w[own + L.S] != 0.0 or w[own + L.DUTY] != 0.0


@inner
def passed(w: Array, g: int) -> Any:
    """Force that a load gets from a group whose rotors are apart from it."""
    return w[g + L.G_HI] if w[int(w[g + L.G_APART]) + L.SIDE] > 0.0 else w[g + L.G_LO]


@inner
def supply(w: Array, g: int) -> Any:
    """Voltage that feeds a group now: its rail's or the bus's [V]."""
    rail = w[g + L.G_RAIL]
    if rail < 0.0:
        return w[L.V]
    return w[L.RAILS + int(rail) * L.RAIL_SIZE + L.RAIL_V]


@inner
def group_current(w: Array, m: int, g: int, volts: float, speed: float) -> Any:
    """Current of one motor of a group [A] under its present limit mode; speed of the motor in rad/s."""
    emf = w[g + L.G_K] * speed
    mode = w[g + L.G_LIM]
    if w[m + L.OPEN] == 1.0:
        if mode == 2.0:
            return (volts - emf) / w[g + L.G_R]
        if mode == -2.0:
            return (-volts - emf) / w[g + L.G_R]
        return 0.0
    if mode == 1.0:
        return w[g + L.G_LIMIT]
    if mode == -1.0:
        return -w[g + L.G_LIMIT]
    if mode == 2.0:
        return (volts - emf) / w[g + L.G_R]
    if mode == -2.0:
        return (-volts - emf) / w[g + L.G_R]
    if mode == 3.0 or mode == -3.0:
        sign = 1.0 if mode > 0.0 else -1.0
        root = math.sqrt(emf * emf + 4.0 * volts * w[g + L.G_R] * w[g + L.G_LIMIT_B])
        return sign * 2.0 * w[g + L.G_LIMIT_B] * volts / (root + sign * emf)
    return (w[m + L.DUTY] * w[g + L.G_SHARE] * volts - emf) / w[g + L.G_R]


@inner
def accelerate(w: Array, tab: Array, m: int, q: float, v: float) -> Any:
    """Acceleration of a moving mechanism with its present modes; leaves i, x and T of each group behind."""
    mass, dmass, load, factor, dfactor = look_up(w, tab, m, q)
    s = w[m + L.S]
    total = 0.5 * dmass * v * v + load + s * w[m + L.FC] + w[m + L.DAMP] * v
    top = -total
    bottom = mass
    n = int(w[m + L.N_GRP])
    g = int(w[m + L.GRP])
    for _ in range(n):
        if elsewhere(w, m, g):
            top += passed(w, g)
            g += L.GROUP_SIZE
            continue
        ratio = w[g + L.G_RATIO] * factor
        spin = s if ratio > 0.0 else -s
        volts = supply(w, g)
        emf = w[g + L.G_K] * (ratio * v)
        if w[m + L.OPEN] == 1.0:
            i = group_current(w, m, g, volts, ratio * v)
            free = abs(emf)
        else:
            free = (w[m + L.DUTY] * w[g + L.G_SHARE] * volts - emf) / w[g + L.G_R]
            i = free if w[g + L.G_LIM] == 0.0 else group_current(w, m, g, volts, ratio * v)
        w[g + L.G_I] = i
        w[g + L.G_IFREE] = free
        x = w[g + L.G_N] * (w[g + L.G_K] * i - w[g + L.G_TF] * spin)
        w[g + L.G_X] = x * spin
        x = x * w[g + L.G_RF] if w[g + L.G_BARE] == 0.0 else x / w[g + L.G_RB]
        f = w[g + L.G_FWD] if w[g + L.G_GEAR] == 0.0 else w[g + L.G_BACK]
        inertia = w[g + L.G_N] * w[g + L.G_J]
        force = ratio * (x - inertia * w[g + L.G_RATIO] * dfactor * v * v) / f
        w[g + L.G_TFREE] = force
        cap = w[g + L.G_CAP]
        if cap == 0.0:
            top += force
            bottom += ratio * ratio * inertia / f + w[g + L.G_WHEEL]
        else:
            top += w[g + L.G_HI] if cap > 0.0 else w[g + L.G_LO]
        g += L.GROUP_SIZE
    a = top / bottom
    w[m + L.MASS_AT] = mass
    w[m + L.LOAD_AT] = total
    g = int(w[m + L.GRP])
    if n == 1 and w[g + L.G_CAP] == 0.0 and not elsewhere(w, m, g):
        w[g + L.G_TFREE] = mass * a + total
        w[g + L.G_T] = w[g + L.G_TFREE] + w[g + L.G_WHEEL] * a
        return a
    for _ in range(n):
        if elsewhere(w, m, g):
            g += L.GROUP_SIZE
            continue
        ratio = w[g + L.G_RATIO] * factor
        f = w[g + L.G_FWD] if w[g + L.G_GEAR] == 0.0 else w[g + L.G_BACK]
        gears = w[g + L.G_TFREE] - ratio * ratio * w[g + L.G_N] * w[g + L.G_J] * a / f
        free = gears - w[g + L.G_WHEEL] * a
        if (
            f < 0.0 and w[g + L.G_CAP] != 0.0
        ):  # a locking gear: it passes less the more its motor asks, seen from there
            free = 2.0 * (w[g + L.G_HI] if w[g + L.G_CAP] > 0.0 else w[g + L.G_LO]) - free
            gears = free + w[g + L.G_WHEEL] * a
        w[g + L.G_T] = gears
        w[g + L.G_TFREE] = free
        g += L.GROUP_SIZE
    return a


@inner
def revise(w: Array, m: int, g: int, n: int) -> Any:
    """Set loss mode and cap of a group by the force it would pass on at the present acceleration; True: changed.

    Each group's force falls as the acceleration rises, so a few rounds find the only fit. A single group is
    tried as driving first and stays driven back once it is (a locking gear turns the sign around).
    """
    if elsewhere(w, m, g):
        return False
    free = w[g + L.G_TFREE]
    cap = 0.0
    gears = w[g + L.G_T]
    if w[m + L.OF] != 0.0:
        cap = 0.0
    elif free > w[g + L.G_HI]:
        cap = 1.0
    elif free < w[g + L.G_LO]:
        cap = -1.0
    gear = w[g + L.G_GEAR]
    if w[m + L.S] * gears < 0.0 and (n > 1 or gear == 0.0):
        gear = 1.0
    elif n > 1:
        gear = 0.0
    if gear == w[g + L.G_GEAR] and cap == w[g + L.G_CAP]:
        return False
    w[g + L.G_GEAR] = gear
    w[g + L.G_CAP] = cap
    return True


@inner
def find_branches(w: Array, tab: Array, m: int, q: float, v: float) -> Any:
    """Set the loss modes of a moving mechanism so that they agree with the flow of power; its acceleration.

    The choice is unique while G²J + f M stays positive. All groups are revised at once; where that only goes round,
    the first that does not fit alone, which comes to an end (Murty's least index rule, 1974, from memory).
    """
    n = int(w[m + L.N_GRP])
    g0 = int(w[m + L.GRP])
    g = g0
    for _ in range(n):
        if not elsewhere(w, m, g):
            w[g + L.G_GEAR] = 0.0
            w[g + L.G_CAP] = 0.0
            w[g + L.G_BARE] = 0.0
        g += L.GROUP_SIZE
    a = accelerate(w, tab, m, q, v)
    g = g0
    changed = False
    for _ in range(n):
        if w[g + L.G_X] < 0.0 and w[g + L.G_RF] != w[g + L.G_RB] and not elsewhere(w, m, g):
            w[g + L.G_BARE] = 1.0
            changed = True
        g += L.GROUP_SIZE
    if changed:
        a = accelerate(w, tab, m, q, v)
    for count in range(ROUNDS):
        changed = False
        g = g0
        for _ in range(n):
            if not changed or count < ALL_AT_ONCE:
                changed = revise(w, m, g, n) or changed
            g += L.GROUP_SIZE
        if not changed:
            break
        a = accelerate(w, tab, m, q, v)
    return a


@inner
def rest_margin(w: Array, tab: Array, m: int, q: float) -> Any:
    """How far a mechanism at rest is from moving: (margin up, margin down) [N, N m]; both >= 0: stuck.

    At rest the gears pass any force between what the motors push through them and what they hold back, and
    static friction takes any force up to its own: stuck where the two ranges meet. At a stop the stop takes
    what pushes into it; a brake takes everything. A locking gear that is to give way to its load takes a push in
    proportion to that load: until then it stays where it is.
    """
    _, _, load, factor, _ = look_up(w, tab, m, q)
    wedged_up = -HUGE
    wedged_down = -HUGE
    low = 0.0
    high = 0.0
    rubs = 0.0
    w[m + L.LOOSE] = HUGE
    n = int(w[m + L.N_GRP])
    g = int(w[m + L.GRP])
    for _ in range(n):
        if elsewhere(w, m, g):
            low += passed(w, g)
            high += passed(w, g)
            g += L.GROUP_SIZE
            continue
        ratio = w[g + L.G_RATIO] * factor
        i = group_current(w, m, g, supply(w, g), 0.0)
        w[g + L.G_I] = i
        w[g + L.G_IFREE] = (
            0.0 if w[m + L.OPEN] == 1.0 else w[m + L.DUTY] * w[g + L.G_SHARE] * supply(w, g) / w[g + L.G_R]
        )
        push = ratio * w[g + L.G_N] * w[g + L.G_K] * i
        rub = abs(ratio) * w[g + L.G_N] * w[g + L.G_TF]
        rubs += rub
        forward = w[g + L.G_RF] / w[g + L.G_FWD]
        back = w[g + L.G_RB] * w[g + L.G_BACK_TRUE]
        locks = w[g + L.G_LOCKS] == 1.0 or back <= 0.0
        a = push - rub
        b = push + rub
        if a >= 0.0:
            least = a * forward
        else:
            least = -HUGE if locks else a / back
        if b >= 0.0:
            most = HUGE if locks else b / back
        else:
            most = b * forward
        if n == 1 and w[g + L.G_BACK] < 0.0:
            given = w[g + L.G_RF] / w[g + L.G_BACK]
            if a > 0.0 and load + w[m + L.FC] >= w[g + L.G_LO]:
                wedged_up = a * given - (load + w[m + L.FC])
            if b < 0.0 and load - w[m + L.FC] <= w[g + L.G_HI]:
                wedged_down = load - w[m + L.FC] - b * given
        if w[m + L.OF] != 0.0:  # a rotor alone, which gives its load what it can
            low += least
            high += most
        else:
            low += min(max(least, w[g + L.G_LO]), w[g + L.G_HI])
            high += max(min(most, w[g + L.G_HI]), w[g + L.G_LO])
            if w[g + L.G_ROTOR] != 0.0 and max(wedged_up, wedged_down) <= 0.0:
                w[m + L.LOOSE] = min(w[m + L.LOOSE], min(w[g + L.G_HI] - least, most - w[g + L.G_LO]))
                w[g + L.G_TFREE] = min(max(0.0, least), most)
        g += L.GROUP_SIZE
    scale = abs(load) + w[m + L.FS] + rubs
    w[m + L.LOAD_AT] = scale
    slack = REST_SLACK * scale
    up = max(load + w[m + L.FS] - low, wedged_up) + slack
    down = max(high - (load - w[m + L.FS]), wedged_down) + slack
    if w[m + L.LOCK] == 1.0 and w[m + L.BRAKE] == 1.0 and not elsewhere(w, m, int(w[m + L.GRP])):
        w[m + L.LOOSE] = HUGE
        return HUGE, HUGE
    if q >= w[m + L.Q_HI]:
        up = HUGE
    if q <= w[m + L.Q_LO]:
        down = HUGE
    return up, down


@inner
def voltage_held(w: Array, tab: Array, m: int, margin: float) -> Any:
    """By how much the bus voltage may change before a mechanism at rest with that margin may move [V]; 0: by none.

    What a motor pushes follows the voltage, if nothing limits it and its gears do not lock.
    """
    factor = look_up(w, tab, m, w[m + L.Q])[3]
    per_volt = 0.0
    g = int(w[m + L.GRP])
    for _ in range(int(w[m + L.N_GRP])):
        back = w[g + L.G_RB] * w[g + L.G_BACK_TRUE]
        limited = not (math.isinf(w[g + L.G_LIMIT]) and math.isinf(w[g + L.G_LIMIT_B]))
        if (
            limited
            or w[g + L.G_RAIL] >= 0.0
            or w[g + L.G_LOCKS] == 1.0
            or back <= 0.0
            or w[m + L.OPEN] == 1.0
        ):
            return 0.0
        push = abs(w[g + L.G_RATIO] * factor * w[m + L.DUTY] * w[g + L.G_SHARE]) * w[g + L.G_N] * w[g + L.G_K]
        per_volt += push / w[g + L.G_R] * max(w[g + L.G_RF] / w[g + L.G_FWD], 1.0 / back)
        g += L.GROUP_SIZE
    return margin / per_volt if per_volt > 0.0 and margin > 0.0 else 0.0


@inner
def take_rest_currents(w: Array, m: int) -> Any:
    """Currents of a mechanism at rest at the present voltage."""
    g = int(w[m + L.GRP])
    for _ in range(int(w[m + L.N_GRP])):
        w[g + L.G_I] = group_current(w, m, g, supply(w, g), 0.0)
        g += L.GROUP_SIZE
