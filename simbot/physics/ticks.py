"""Control ticks: what the code does at one, whether it would do anything new, and outputs under way."""

from __future__ import annotations

import math
from typing import Any

from simbot.physics import layout as L
from simbot.physics.apart import pays_out, seen
from simbot.physics.compiled import Array, inner
from simbot.physics.control import FINEST, inside, needed_effort, output, set_point
from simbot.physics.forces import fastest_at, first_mech, look_up
from simbot.physics.modes import zone_of
from simbot.physics.steps import between


@inner
def send(w: Array, m: int, t: float, duty: float, is_open: float) -> Any:
    """Pass a decided output on: now, or after the latency. True where something changes now."""
    if duty == w[m + L.SENT] and is_open == w[m + L.SENT_OPEN]:
        return False
    w[m + L.SENT] = duty
    w[m + L.SENT_OPEN] = is_open
    when = max(t + w[m + L.LATENCY], w[m + L.PLAY_UNTIL])
    if when > t and w[m + L.N_PENDING] < L.MAX_PENDING:
        if w[m + L.N_PENDING] > 0.0 and w[int(m + L.PENDING + 3 * (w[m + L.N_PENDING] - 1.0))] == when:
            w[m + L.N_PENDING] -= 1.0  # the last of those that wait for the play is the one that acts
        p = int(m + L.PENDING + 3 * w[m + L.N_PENDING])
        w[p] = when
        w[p + 1] = duty
        w[p + 2] = is_open
        w[m + L.N_PENDING] += 1.0
        return False
    w[m + L.DUTY] = duty
    w[m + L.OPEN] = is_open
    return True


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
    """Let one mechanism's control act at a tick on the state that it sees. True where its output changes now."""
    control = w[m + L.CONTROL]
    if control == L.NO_CONTROL or control == L.SERVO or control == L.SPIN or control == L.STRONGEST:
        return False
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
    return send(w, m, t, duty, is_open)


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
def needs_every_tick(w: Array, tab: Array) -> Any:
    """True while some output may change at every tick."""
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        control = w[m + L.CONTROL]
        if w[m + L.GUIDE_N] > 0.0 and w[m + L.S] != 0.0:
            return True
        if pays_out(w, m) and (w[L.WATCHING] == 1.0 or L.FULL <= control <= L.PROFILED):
            return True
        if control == L.PROFILED:
            end = w[m + L.T_COMMAND] + w[m + L.PROFILE + 5 * (int(w[m + L.PROFILE_N]) - 1)]
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
        m += L.MECH_SIZE
    return False


@inner
def tick_would_change(w: Array, t: float, x: float, h: float) -> Any:
    """True where some output would change at a tick that lies inside the step under trial."""
    m = first_mech(w)
    for _ in range(int(w[L.N_MECH])):
        control = w[m + L.CONTROL]
        if control == L.FULL or control == L.POSITION or control == L.TIMED or control == L.SPEED_LOOP:
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
            q, v = seen(w, m)
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
            if w[m + L.KICK] != 0.0 and w[m + L.PENDING] >= w[m + L.PLAY_UNTIL]:
                w[m + L.SPEED] = w[m + L.KICK]
                w[m + L.KICK] = 0.0
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
    return (number * w[L.LOOP_US] + w[L.PHASE_US]) / 1e6
