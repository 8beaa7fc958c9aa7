"""Control ticks: what the code does at one, whether it would do anything new, and outputs under way."""

from __future__ import annotations

import math
from typing import Any

from simbot.physics import layout as L
from simbot.physics.apart import pays_out, seen
from simbot.physics.compiled import Array, inner
from simbot.physics.control import FINEST, FUZZ, inside, needed_effort, output, set_point
from simbot.physics.forces import fastest_at, first_mech, look_up
from simbot.physics.modes import zone_of
from simbot.physics.steps import between


@inner
def send(w: Array, m: int, t: float, duty: float, is_open: float) -> Any:
    """Pass a decided output on: now, or after the latency."""
    if duty == w[m + L.SENT] and is_open == w[m + L.SENT_OPEN]:
        return
    w[m + L.SENT] = duty
    w[m + L.SENT_OPEN] = is_open
    when = max(t + w[m + L.LATENCY], w[m + L.PLAY_UNTIL])
    if when > t and w[m + L.N_PENDING] < L.MAX_PENDING:
        p = int(w[m + L.PENDING] + 3.0 * w[m + L.N_PENDING])
        if w[m + L.N_PENDING] > 0.0 and w[p - 3] == when:
            w[m + L.N_PENDING] -= 1.0  # the last of those that wait for the play is the one that acts
            p -= 3
        w[p] = when
        w[p + 1] = duty
        w[p + 2] = is_open
        w[m + L.N_PENDING] += 1.0
        w[L.NEXT] = min(w[L.NEXT], when)
        return
    put_out(w, m, duty, is_open)


@inner
def put_out(w: Array, m: int, duty: float, is_open: float) -> Any:
    """Let an output act, and note what has to be found anew."""
    if w[m + L.S] == 0.0 or is_open == 1.0 or w[m + L.OPEN] == 1.0:
        w[L.DIRTY] = 1.0
    elif w[L.DIRTY] == 0.0:
        w[L.DIRTY] = 2.0
    w[m + L.DUTY] = duty
    w[m + L.OPEN] = is_open


@inner
def feed_forward(w: Array, tab: Array, m: int, t: float) -> Any:
    if w[m + L.CONTROL] == L.SPEED_LOOP:
        q = w[m + L.Q]
        mass, dmass, load, factor, dfactor = look_up(w, tab, m, q)
        u = needed_effort(w, m, q, w[m + L.TARGET], 0.0, mass, dmass, load, factor, dfactor)
        w[m + L.FEED] = w[m + L.FEED_SHARE] * u
        return w[m + L.FEED]
    if w[m + L.CONTROL] != L.PROFILED:
        return 0.0
    q, v, a = set_point(w, m, t - w[m + L.T_COMMAND])
    mass, dmass, load, factor, dfactor = look_up(w, tab, m, min(max(q, w[m + L.Q_LO]), w[m + L.Q_HI]))
    return needed_effort(w, m, q, v, a, mass, dmass, load, factor, dfactor)


@inner
def slowed(w: Array, tab: Array, m: int, q: float, v: float) -> Any:
    """Most effort that, by its own model, lets a drive be no faster than its curved way allows at the next tick."""
    way = v * w[L.LOOP]
    a = (fastest_at(w, tab, m, q + way) - v * v) / (2.0 * way)
    mass, dmass, load, factor, dfactor = look_up(w, tab, m, q)
    wheel = w[int(w[m + L.GRP]) + L.G_WHEEL]
    return max(-w[m + L.EFFORT], needed_effort(w, m, q, v, a, mass + wheel, dmass, load, factor, dfactor))


@inner
def act(w: Array, tab: Array, m: int, t: float) -> Any:
    """Let one mechanism's control act at a tick on the state that it sees."""
    control = w[m + L.CONTROL]
    q, v = seen(w, m)
    if w[m + L.KI] > 0.0 and (control == L.POSITION or control == L.PROFILED):
        free = output(w, m, t, q, v, feed_forward(w, tab, m, t))[0]
        if abs(free) < w[m + L.EFFORT]:
            w[m + L.INTEGRAL] += (w[m + L.TARGET] - q) * w[L.LOOP]
    if control == L.PROFILED:
        goal, _, _ = set_point(w, m, t - w[m + L.T_COMMAND])
        w[m + L.LAG_MAX] = max(w[m + L.LAG_MAX], abs(goal - q))
    duty, is_open = output(w, m, t, q, v, feed_forward(w, tab, m, t))
    if w[m + L.GUIDE_N] > 0.0 and v > 0.0 and is_open == 0.0 and control != L.TIMED:
        duty = min(duty, slowed(w, tab, m, q, v))
    if w[m + L.BRAKE] == 1.0:
        over = control == L.TIMED and t >= w[m + L.T_OFF] - 1e-9
        w[m + L.LOCK] = 1.0 if duty == 0.0 and (over or inside(w, m, q, v) or control == L.FULL) else 0.0
    still = control == L.FULL or control == L.SPEED_LOOP or (control == L.POSITION and w[m + L.KI] == 0.0)
    still = still and w[m + L.S] == 0.0 and w[L.N_BODY] == w[L.N_MECH]
    if still and duty == w[m + L.SENT] and is_open == w[m + L.SENT_OPEN]:
        w[m + L.QUIET] = 1.0  # it will say so until it has moved
    send(w, m, t, duty, is_open)


@inner
def acts(w: Array, m: int) -> Any:
    control = w[m + L.CONTROL]
    return not (control == L.NO_CONTROL or control == L.SERVO or control == L.SPIN or control == L.STRONGEST)


@inner
def list_acting(w: Array) -> Any:
    """Note which mechanisms have a control that acts at ticks, and what is under way."""
    n = 0
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        w[m + L.QUIET] = 0.0
        if acts(w, m):
            w[L.ACTING + n] = m
            n += 1
        m += L.MECH_SIZE
    w[L.N_ACTING] = n
    w[L.NEXT] = next_pending(w)


@inner
def at_tick(w: Array, tab: Array) -> Any:
    """Everything that happens at a control tick; True where all that is watched is seen inside."""
    for k in range(int(w[L.N_ACTING])):
        m = int(w[L.ACTING + k])
        if w[m + L.QUIET] == 0.0:
            act(w, tab, m, w[L.T])
    return w[L.WATCHING] == 1.0 and all_seen(w, 1.0, 0.0)


@inner
def first_acts(w: Array, tab: Array) -> Any:
    """The command's own tick is the first at which its control acts."""
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.NEW] == 1.0:
            w[m + L.NEW] = 0.0
            if acts(w, m):
                act(w, tab, m, w[L.T])
        m += L.MECH_SIZE
    w[L.FRESH] = 0.0
    w[L.DIRTY] = 1.0


@inner
def needs_every_tick(w: Array, tab: Array) -> Any:
    """True while some output may change at every tick."""
    for k in range(int(w[L.N_ACTING])):
        m = int(w[L.ACTING + k])
        if w[m + L.QUIET] == 1.0:
            continue
        control = w[m + L.CONTROL]
        if w[m + L.GUIDE_N] > 0.0 and w[m + L.S] != 0.0:
            return True
        if pays_out(w, m) and (w[L.WATCHING] == 1.0 or L.FULL <= control <= L.PROFILED):
            return True
        if control == L.PROFILED:
            end = w[m + L.T_COMMAND] + w[int(w[m + L.PROFILE] + 5.0 * (w[m + L.PROFILE_N] - 1.0))]
            if w[L.T] < end + w[L.LOOP] or w[m + L.S] != 0.0 or w[m + L.KI] > 0.0:
                return True
        elif control == L.SPEED_LOOP:
            u, _ = output(w, m, w[L.T], w[m + L.Q], w[m + L.SPEED], 0.0)
            if u != w[m + L.SENT]:
                return True
            if 0.0 < abs(u) < w[m + L.EFFORT] and abs(w[m + L.KP] * w[m + L.ACC]) * w[L.LOOP] > FINEST:
                return True
        elif control == L.POSITION:
            if w[m + L.KI] > 0.0 and not (w[m + L.S] == 0.0 and w[m + L.Q] == w[m + L.TARGET]):
                return True
            u, _ = output(w, m, w[L.T], w[m + L.Q], w[m + L.SPEED], 0.0)
            if w[m + L.S] != 0.0 and abs(u) < w[m + L.EFFORT]:
                return True
            if w[m + L.S] == 0.0 and u != w[m + L.SENT]:
                return True
    return False


@inner
def tick_would_change(w: Array, t: float, x: float, h: float) -> Any:
    """True where some output would change at a tick that lies inside the step under trial."""
    for k in range(int(w[L.N_ACTING])):
        m = int(w[L.ACTING + k])
        if w[m + L.QUIET] == 1.0:
            continue
        control = w[m + L.CONTROL]
        if control == L.FULL or control == L.POSITION or control == L.TIMED or control == L.SPEED_LOOP:
            q = w[m + L.Q]
            v = 0.0
            if w[m + L.S] != 0.0:
                q, v = between(w, m, x, h)
            duty, is_open = output(w, m, t, q, v, 0.0)
            if duty != w[m + L.SENT] or is_open != w[m + L.SENT_OPEN]:
                return True
    return False


@inner
def may_turn(w: Array, t: float) -> Any:
    """True where a mechanism at full effort seems to have passed an edge of its window by then, at the tick t."""
    for k in range(int(w[L.N_ACTING])):
        m = int(w[L.ACTING + k])
        if w[m + L.CONTROL] == L.FULL and w[m + L.S] != 0.0:
            room = w[m + L.WINDOW] + FUZZ
            ahead = t - w[L.T]
            q = w[m + L.Q] + ahead * (w[m + L.SPEED] + 0.5 * ahead * w[m + L.ACC])
            if side_of(w[m + L.TARGET], room, q) != side_of(w[m + L.TARGET], room, w[m + L.Q]):
                return True
    return False


@inner
def last_tick(w: Array, t: float) -> Any:
    """Number of the last tick that is no later than t [s]."""
    number = math.floor((t * 1e6 - w[L.PHASE_US]) / w[L.LOOP_US])
    while tick_time(w, number + 1.0) <= t:
        number += 1.0
    while tick_time(w, number) > t:
        number -= 1.0
    return number


@inner
def side_of(goal: float, room: float, q: float) -> Any:
    """Below a window around the goal (-1), within (0) or above it (+1)."""
    if abs(q - goal) <= room:
        return 0.0
    return 1.0 if q > goal else -1.0


@inner
def is_kept(w: Array, m: int, t: float, q: float, x: float, h: float) -> Any:
    """True only where an output stays what it is at every tick up to t: at the share x of the step, the place q.

    What moves does not turn round within a step: it passes every place once.
    """
    control = w[m + L.CONTROL]
    moving = w[m + L.S] != 0.0
    if control == L.FULL:
        room = w[m + L.WINDOW] + FUZZ
        aims = w[m + L.TOUCH] == 0.0 or w[m + L.TOUCHED] == 1.0
        if aims and side_of(w[m + L.TARGET], room, q) != side_of(w[m + L.TARGET], room, w[m + L.Q]):
            return False
    elif control == L.TIMED:
        if w[L.T] < w[m + L.T_OFF] <= t + 1e-6:
            return False
    elif control == L.POSITION and moving:
        change = 0.0  # the most by which its speed may have differed from that at the beginning
        for k in range(int(w[L.TOP]), 1, -1):
            change = change * x + k * abs(w[m + L.POLY + k])
        change *= w[m + L.KD] * x / h
        u = w[m + L.KI] * w[m + L.INTEGRAL] - w[m + L.KD] * w[m + L.SPEED]
        low = u + w[m + L.KP] * (w[m + L.TARGET] - max(q, w[m + L.Q])) - change
        high = u + w[m + L.KP] * (w[m + L.TARGET] - min(q, w[m + L.Q])) + change
        most = w[m + L.EFFORT]
        return (low >= most and w[m + L.SENT] == most) or (high <= -most and w[m + L.SENT] == -most)
    elif control == L.SPEED_LOOP and moving:
        return False
    if control == L.FULL or control == L.TIMED or control == L.POSITION or control == L.SPEED_LOOP:
        duty, is_open = output(w, m, t, q, 0.0, 0.0)
        return duty == w[m + L.SENT] and is_open == w[m + L.SENT_OPEN]
    return True


@inner
def is_away(w: Array, m: int, q: float) -> Any:
    """True only where a mechanism is outside its set all the way from its place to q."""
    if w[m + L.CONTROL] == L.SPEED_LOOP:
        return False
    if w[m + L.TOUCH] != 0.0 and w[m + L.TOUCHED] == 0.0:
        return True
    goal = w[m + L.TARGET_PENDING]
    room = w[m + L.WINDOW] + FUZZ
    side = side_of(goal, room, q)
    return side != 0.0 and side == side_of(goal, room, w[m + L.Q])


@inner
def is_quiet(w: Array, number: float, h: float) -> Any:
    """True only where nothing happens at any tick of the step under trial up to this one."""
    t = tick_time(w, number)
    x = min(1.0, (t - w[L.T]) / h)
    away = w[L.WATCHING] == 0.0
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        q = w[m + L.Q]
        if w[m + L.S] != 0.0:
            q, _ = between(w, m, x, h)
        if not is_kept(w, m, t, q, x, h):
            return False
        if not away and w[m + L.WATCH] == 1.0 and is_away(w, m, q):
            away = True
        m += L.MECH_SIZE
    return away


@inner
def stops_at(w: Array, number: float, h: float) -> Any:
    """True where some output would change at a tick inside the step under trial, or all is seen."""
    t = tick_time(w, number)
    x = min(1.0, (t - w[L.T]) / h)
    return tick_would_change(w, t, x, h) or (w[L.WATCHING] == 1.0 and all_seen(w, x, h))


@inner
def first_stop(w: Array, first: float, t_new: float, h: float) -> Any:
    """First tick before t_new, from `first` on, at which something happens; -1: none."""
    if tick_time(w, first) >= t_new:
        return -1.0
    last = last_tick(w, t_new)
    if tick_time(w, last) >= t_new:
        last -= 1.0
    k = first
    if last > first:
        if is_quiet(w, last, h):
            return -1.0
        beyond = last
        while beyond > k:
            middle = math.floor(0.5 * (k + beyond))
            if is_quiet(w, middle, h):
                k = middle + 1.0
            else:
                beyond = middle
    while k <= last:
        if stops_at(w, k, h):
            return k
        k += 1.0
    return -1.0


@inner
def all_seen(w: Array, x: float, h: float) -> Any:
    """True where every watched mechanism is inside its set at the share x of the step (h = 0: now)."""
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.WATCH] == 1.0:
            q, v = seen(w, m)
            if h > 0.0 and w[m + L.S] != 0.0:
                q, v = between(w, m, x, h)
            if not inside(w, m, q, v):
                return False
        m += L.MECH_SIZE
    return True


@inner
def take_pending(w: Array) -> Any:
    """Put into force what was under way until now."""
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        if w[m + L.T_PENDING] <= w[L.T]:
            w[m + L.TARGET] = w[m + L.TARGET_PENDING]
            w[m + L.T_PENDING] = math.inf
            w[m + L.PINNED] = 0.0
            w[m + L.ZONE] = zone_of(w, m, 0.0)
            w[L.DIRTY] = 1.0
        p = int(w[m + L.PENDING])
        while w[m + L.N_PENDING] > 0.0 and w[p] <= w[L.T]:
            put_out(w, m, w[p + 1], w[p + 2])
            if w[m + L.KICK] != 0.0 and w[p] >= w[m + L.PLAY_UNTIL]:
                w[m + L.SPEED] = w[m + L.KICK]
                w[m + L.KICK] = 0.0
                w[L.DIRTY] = 1.0
            w[m + L.N_PENDING] -= 1.0
            for k in range(int(3 * w[m + L.N_PENDING])):
                w[p + k] = w[p + k + 3]
        m += L.MECH_SIZE
    w[L.NEXT] = next_pending(w)


@inner
def next_pending(w: Array) -> Any:
    best = math.inf
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        best = min(best, w[m + L.T_PENDING])
        if w[m + L.N_PENDING] > 0.0:
            best = min(best, w[int(w[m + L.PENDING])])
        m += L.MECH_SIZE
    return best


@inner
def tick_time(w: Array, number: float) -> Any:
    return (number * w[L.LOOP_US] + w[L.PHASE_US]) / 1e6
