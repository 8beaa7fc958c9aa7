"""The compiled plant: one adaptive step after another, from event to event.

Between events all modes are frozen, so that the right-hand side is smooth. Where it is linear (constant
efforts and inertias, loads that are constant or follow the place) a step is the Taylor series of the exact
solution, and a shorter step the same series; elsewhere it is a Runge-Kutta step of order 5(4), with the quintic that
meets position, speed and acceleration at both ends. After a step that is accurate enough every mode is tested at
its end; where one has become invalid its root is found on the step's polynomial, and the step ends at that very
instant. Control ticks at which an output changes, and the instants of pending targets and outputs, end a step in
the same way.
"""

from __future__ import annotations

from typing import Any

from simbot.physics import layout as L
from simbot.physics.bus import heat_up
from simbot.physics.compiled import Array, entry, inner
from simbot.physics.events import NOTHING, first_event
from simbot.physics.forces import elsewhere, first_mech, flows, passed
from simbot.physics.linear import shrink_series, start_battery
from simbot.physics.modes import change, come_to_rest, find_anew, note
from simbot.physics.steps import (
    LEAST,
    adapted_step,
    drawn_in_series,
    end_series,
    heat_in_step,
    holds_at_end,
    series_length,
    shorten,
)
from simbot.physics.ticks import (
    all_seen,
    at_tick,
    first_acts,
    first_stop,
    last_tick,
    list_acting,
    may_turn,
    needs_every_tick,
    take_pending,
    tick_time,
)

REACHED, LOG_FULL, SEEN = 0, 1, 2


@inner
def force_now(w: Array, m: int, g: int) -> Any:
    """Force that leaves the gears of a group while its mechanism moves."""
    if w[m + L.S] == 0.0:
        return 0.0
    return passed(w, g) if elsewhere(w, m, g) else w[g + L.G_T]


@inner
def commit(
    w: Array, tab: Array, log: Array, row: int, t_new: float, h: float, energy: float, charge: float
) -> Any:
    """Accept the step under trial and write it into the log."""
    log[row, L.LOG_T] = w[L.T]
    log[row, L.LOG_H] = t_new - w[L.T]
    told = w[L.TOLD] == 1.0
    m = first_mech(w)
    column = L.LOG_MECH
    for _ in range(int(w[L.N_BODY])):
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
        if told:
            g = int(w[m + L.GRP])
            log[row, column + L.LOG_AMPS1] = w[g + L.G_I] if flows(w, m, g) else 0.0
            log[row, column + L.LOG_FORCE1] = force_now(w, m, g)
            log[row, column + L.LOG_HEATS] = w[g + L.G_SQUARED]
            log[row, column + L.LOG_SQUARED_OWN] = w[m + L.SQUARED_OWN]
        top = int(w[L.TOP]) if moving else 2
        for k in range(3, top + 1):
            log[row, column + L.LOG_POLY + k - 3] = w[m + L.POLY + k]
        for k in range(max(top, 2) + 1, L.ORDER + 1):
            log[row, column + L.LOG_POLY + k - 3] = 0.0
        column += L.LOG_PER_MECH
        m += L.MECH_SIZE
    m = int(first_mech(w) + w[L.N_MECH] * L.MECH_SIZE)
    column = int(L.LOG_MECH + w[L.N_MECH] * L.LOG_PER_MECH)
    for _ in range(int(w[L.N_ROTOR])):
        log[row, column + L.LOG_BACK] = w[m + L.SIDE]
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
    if w[L.TOLD] == 1.0:
        m = first_mech(w)
        column = L.LOG_MECH
        for _ in range(int(w[L.N_MECH])):
            g = int(w[m + L.GRP])
            log[row, column + L.LOG_AMPS0] = w[g + L.G_I] if flows(w, m, g) else 0.0
            log[row, column + L.LOG_FORCE0] = force_now(w, m, g)
            column += L.LOG_PER_MECH
            m += L.MECH_SIZE
    for k in range(int(w[L.N_LIVE])):
        m = int(w[L.LIVE + k])
        g = int(w[m + L.GRP])
        for _ in range(int(w[m + L.N_GRP])):
            w[g + L.G_T0] = w[g + L.G_T]
            w[g + L.G_X0] = w[g + L.G_X]
            g += L.GROUP_SIZE


@inner
def take_series(w: Array, tab: Array, rest: float, tick: float) -> Any:
    """A step on the linear law, no longer than rest: its length h, 0 where it does not hold; the tick that ends it."""
    h = series_length(w, tab, rest)
    stop = -1.0
    if h > 0.0:
        stop = first_stop(w, tick, w[L.T] + h, h)
        if stop >= 0.0:
            early = tick_time(w, stop) - w[L.T]
            shrink_series(w, early / h)
            h = early
        end_series(w, tab, h)
        if not holds_at_end(w):
            h = 0.0
    return h, stop


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
    list_acting(w)
    if w[L.FRESH] == 1.0:
        first_acts(w, tab)
    while True:
        if w[L.NEXT] <= w[L.T]:
            take_pending(w)
        if w[L.DIRTY] != 0.0:
            find_anew(w, tab)
        t = w[L.T]
        if t >= t_end:
            return REACHED, row
        if row >= log.shape[0]:
            return LOG_FULL, row
        limit = min(t_end, w[L.NEXT])
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
        stop = -1.0
        w[L.IN_SERIES] = 0.0
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
                h, stop = take_series(w, tab, rest, tick)
                straight = h > 0.0
                w[L.IN_SERIES] = 1.0 if straight else 0.0
            if not straight:
                if t + w[L.H] > t_tick and may_turn(w, t_tick):  # it would be taken again, as far as the tick
                    limit = min(limit, t_tick)
                    rest = limit - t
                h, energy, charge = adapted_step(w, tab, rest, v_before, i_before)
            t_new = limit if h >= rest else t + h
        # --- a tick at which something changes, or all is seen, ends it earlier; so does an event
        if straight and stop >= 0.0:
            t_new = tick_time(w, stop)
        elif not straight:
            stop = first_stop(w, tick, t_new, h)
            if stop >= 0.0:
                t_new = tick_time(w, stop)
                if idle:
                    energy *= (t_new - t) / h
                    charge *= (t_new - t) / h
                else:
                    energy, charge = shorten(w, tab, t_new - t, h, straight, v_before, i_before)
                h = t_new - t
        if not idle:
            share, kind, m, g = first_event(w, tab, h)
        if kind != NOTHING:
            t_new = min(t + max(share * h, LEAST), t + h)
            stop = first_stop(w, tick, t_new, h)
            if stop >= 0.0:
                kind = NOTHING
                t_new = tick_time(w, stop)
            # not by comparing t_new - t and h: rounding makes half of all whole steps look shorter
            if t_new - t < h:
                energy, charge = shorten(w, tab, t_new - t, h, straight, v_before, i_before)
                h = t_new - t
        at = NOTHING
        if t_tick <= t_new:
            w[L.TICK] = last_tick(w, t_new)
            if tick_time(w, w[L.TICK]) >= t_new:
                at = 1
        if straight:
            energy, charge = drawn_in_series(w, tab, h)
        elif w[L.WARMS] == 1.0:
            if idle:
                heat_up(w, h)
            else:
                heat_in_step(w, tab, h)
        commit(w, tab, log, row, t_new, h, energy, charge)
        if w[L.COLLAPSED_AT] < 0.0 and min(v_before, w[L.V]) <= L.NO_VOLTS:
            w[L.COLLAPSED_AT] = t if v_before <= L.NO_VOLTS else w[L.T]
        log[row, L.LOG_V0] = v_before
        log[row, L.LOG_I0] = i_before
        row += 1
        if kind != NOTHING:
            change(w, tab, kind, m, g)
        if at != NOTHING and at_tick(w, tab):
            if w[L.DIRTY] != 0.0:
                find_anew(w, tab)
            return SEEN, row
