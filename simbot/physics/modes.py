"""Which modes hold at a jump (a command, a tick, an event), and what follows the one that has just failed."""

from __future__ import annotations

from typing import Any

from simbot.physics import layout as L
from simbot.physics.apart import join_what_touches, meet, part, part_where_asked, take_over, touches
from simbot.physics.bus import (
    add_idle,
    add_moving,
    evaluate,
    is_highest,
    may_give_back,
    rail_mode,
    servo_duty,
    solve_from_top,
    stand_at,
    strongest_duty,
    take_currents,
)
from simbot.physics.compiled import Array, inner
from simbot.physics.events import (
    BARE,
    CAP,
    GEAR,
    MEET,
    NOTHING,
    RAIL,
    SEGMENT_END,
    STANDSTILL,
    ZONE_EDGE,
    find_violation,
    zone_margin,
)
from simbot.physics.forces import (
    elsewhere,
    find_branches,
    first_mech,
    follow,
    look_up,
    rest_margin,
    voltage_held,
)
from simbot.physics.linear import straighten
from simbot.physics.quick import quicken


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
            if not elsewhere(w, m, g):
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
def stop_at(w: Array, tab: Array, m: int, q: float) -> Any:
    """Come to rest against an end of the travel: all its energy is lost there, the rotor's too.

    A cord that only pulls does not stop the rotors that let it out.
    """
    g = int(w[m + L.GRP])
    if w[m + L.S] < 0.0 and w[g + L.G_ROTOR] != 0.0 and w[g + L.G_APART] == 0.0:
        part(w, tab, m, g, -1.0)
    w[m + L.Q] = q
    w[m + L.SPEED] = 0.0
    w[m + L.ACC] = 0.0
    w[m + L.S] = 0.0
    if (w[m + L.TOUCH] > 0.0 and q == w[m + L.Q_HI]) or (w[m + L.TOUCH] < 0.0 and q == w[m + L.Q_LO]):
        w[m + L.TOUCHED] = 1.0


@inner
def change_mode(w: Array, tab: Array, kind: float, m: int, g: int) -> Any:
    """Put the mode that has just failed into what follows it."""
    if kind == MEET:
        meet(w, tab, m)
    elif kind == STANDSTILL:
        w[m + L.SPEED] = 0.0
        w[m + L.ACC] = 0.0
        w[m + L.S] = 0.0
    elif kind == SEGMENT_END:
        up = w[m + L.S] > 0.0
        if up and w[m + L.SEG_HI] >= w[m + L.Q_HI]:
            stop_at(w, tab, m, w[m + L.Q_HI])
        elif not up and w[m + L.SEG_LO] <= w[m + L.Q_LO]:
            stop_at(w, tab, m, w[m + L.Q_LO])
        else:
            w[m + L.Q] = w[m + L.SEG_HI] if up else w[m + L.SEG_LO]
            enter_segment(w, tab, m, 1.0 if up else -1.0)
    elif kind == ZONE_EDGE:
        error = w[m + L.TARGET] - w[m + L.Q]
        zone = w[m + L.ZONE]
        sign = 1.0 if error > 0.0 else -1.0
        if zone == 0.0 and error == 0.0:  # no dead band: the side to which it moves
            w[m + L.ZONE] = -w[m + L.S]
        elif zone == 0.0:
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
    if w[L.N_BODY] > w[L.N_MECH]:
        join_what_touches(w, tab)
    m = first_mech(w)
    for _ in range(int(w[L.N_BODY])):
        w[m + L.Q_NEXT] = w[m + L.Q]
        w[m + L.V_NEXT] = w[m + L.SPEED]
        if w[m + L.GUIDE_N] > 0.0:
            follow(w, tab, m, w[m + L.Q], w[m + L.SPEED])
        if w[m + L.CONTROL] == L.SERVO and w[m + L.PINNED] == 0.0:
            w[m + L.ZONE] = zone_of(w, m, 1.0)
            w[m + L.DUTY] = servo_duty(w, m, w[m + L.Q])
        elif w[m + L.CONTROL] == L.STRONGEST:
            w[m + L.DUTY] = strongest_duty(w, tab, m, w[m + L.Q], w[m + L.SPEED])
        if w[m + L.SPEED] != 0.0:
            w[m + L.S] = 1.0 if w[m + L.SPEED] > 0.0 else -1.0
        if w[m + L.OF] != 0.0:
            take_over(w, tab, int(w[m + L.OF]), m)
        m += L.MECH_SIZE
    solve_from_top(w, tab)
    m = first_mech(w)
    live = 0
    bodies = 0
    together = w[L.N_BODY]
    while bodies < w[L.N_BODY]:  # there are more as some come apart
        if w[m + L.SPEED] == 0.0:
            settle_at_rest(w, tab, m)
        if w[m + L.S] != 0.0:
            w[m + L.ACC] = find_branches(w, tab, m, w[m + L.Q], w[m + L.SPEED])
            if w[m + L.SPEED] == 0.0 and w[m + L.S] * w[m + L.ACC] <= 0.0:
                w[m + L.S] = 0.0
                w[m + L.ACC] = 0.0
                w[m + L.LOOSE] = 0.0
        part_where_asked(w, tab, m)
        if w[m + L.S] != 0.0:
            w[m + L.QUIET] = 0.0
            w[L.LIVE + live] = m
            live += 1
        m += L.MECH_SIZE
        bodies += 1
    w[L.N_LIVE] = live
    w[L.DIRTY] = 0.0
    if w[L.N_BODY] > together:  # what has come apart may have an effort of its own
        solve_from_top(w, tab)
        for k in range(live):
            m = int(w[L.LIVE + k])
            w[m + L.ACC] = find_branches(w, tab, m, w[m + L.Q], w[m + L.SPEED])
    add_idle(w, tab)
    a, b, p = add_moving(w, tab)  # what has come to rest may ask for something else than it did
    stand_at(w, a, b, p)
    straighten(w, tab)
    quicken(w)
    note(w, tab)


@inner
def find_anew(w: Array, tab: Array) -> Any:
    """Find modes and accelerations after whatever has just changed."""
    if w[L.DIRTY] == 1.0 or not hand_on_efforts(w, tab) or not take_efforts(w, tab):
        resolve(w, tab)


@inner
def hand_on_efforts(w: Array, tab: Array) -> Any:
    """Give rotors that are apart the efforts of their mechanisms; False where one rests or touches its load."""
    if w[L.N_BODY] == w[L.N_MECH]:
        return True
    r = int(first_mech(w) + w[L.N_MECH] * L.MECH_SIZE)
    for _ in range(int(w[L.N_ROTOR])):
        if w[r + L.OF] != 0.0:
            if w[r + L.S] == 0.0 or touches(w, tab, r):
                return False
            take_over(w, tab, int(w[r + L.OF]), r)
        r += L.MECH_SIZE
    return True


@inner
def take_efforts(w: Array, tab: Array) -> Any:
    """Take new efforts of what moves, or a mode just flipped, with all others as they are; False where one fails."""
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        if w[m + L.SPEED] == 0.0:
            return False
        w[m + L.Q_NEXT] = w[m + L.Q]
        w[m + L.V_NEXT] = w[m + L.SPEED]
    evaluate(w, tab)
    if find_violation(w, tab)[0] != NOTHING or not is_highest(w):
        return False
    straighten(w, tab)
    quicken(w)
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        w[m + L.ACC] = w[m + L.A_NEXT]
    w[L.DIRTY] = 0.0
    note(w, tab)
    return True


@inner
def settle_at_rest(w: Array, tab: Array, m: int) -> Any:
    """A mechanism without speed: stuck, or off to the side on which the forces win."""
    w[m + L.S] = 0.0
    w[m + L.ACC] = 0.0
    if w[m + L.PINNED] == 1.0:
        return
    up, down = rest_margin(w, tab, m, w[m + L.Q])
    w[m + L.REST_V] = w[L.V]
    w[m + L.REST_DV] = voltage_held(w, tab, m, min(up, down, w[m + L.LOOSE])) if w[m + L.DUTY] != 0.0 else 0.0
    direction = 0.0
    if up < 0.0 or down < 0.0:
        direction = 1.0 if up < down else -1.0
    if direction == 0.0:
        return
    if w[m + L.CONTROL] == L.SERVO and rest_at_edge(w, tab, m, direction):
        w[m + L.PINNED] = 1.0
        rest_margin(w, tab, m, w[m + L.Q])  # its current at that effort
        return
    w[m + L.S] = direction
    if direction > 0.0 and w[m + L.Q] >= w[m + L.SEG_HI] and w[m + L.SEG_HI] < w[m + L.Q_HI]:
        enter_segment(w, tab, m, 1.0)
    elif direction < 0.0 and w[m + L.Q] <= w[m + L.SEG_LO] and w[m + L.SEG_LO] > w[m + L.Q_LO]:
        enter_segment(w, tab, m, -1.0)


@inner
def note(w: Array, tab: Array) -> Any:
    """Extremes of voltage and current, and what others gave back, which floors hang on."""
    if w[L.V] < w[L.V_MIN]:
        w[L.V_MIN] = w[L.V]
        w[L.V_MIN_AT] = w[L.T]
    if w[L.I] > w[L.I_MAX]:
        w[L.I_MAX] = w[L.I]
    if w[L.TOLD] == 1.0 or may_give_back(w):
        take_currents(w, tab)


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
def change(w: Array, tab: Array, kind: float, m: int, g: int) -> Any:
    """Apply an event: flip its mode; what else follows from it is found before the next step."""
    if kind == GEAR:
        w[g + L.G_GEAR] = 1.0 - w[g + L.G_GEAR]
    elif kind == BARE:
        w[g + L.G_BARE] = 1.0 - w[g + L.G_BARE]
    elif kind == CAP and w[g + L.G_ROTOR] != 0.0:
        w[L.DIRTY] = 1.0  # they come apart
    elif kind == CAP:
        beyond = 1.0 if w[g + L.G_TFREE] > w[g + L.G_HI] else -1.0
        w[g + L.G_CAP] = beyond if w[g + L.G_CAP] == 0.0 else 0.0
    elif kind == RAIL:
        w[m + L.RAIL_MODE] = rail_mode(w, m, w[L.V])
    else:
        if kind != ZONE_EDGE:
            w[L.DIRTY] = 1.0
        if kind <= ZONE_EDGE or kind == MEET:
            change_mode(w, tab, kind, m, g)
    if w[L.DIRTY] == 0.0:
        w[L.DIRTY] = 2.0
