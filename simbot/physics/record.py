"""Questions to the log of a run: where a mechanism was, and when it entered or left a set of states.

Within a step position is monotone (a reversal ends a step), and speed has one extreme at the most, so that
every crossing is found, never stepped over. A set is a window of positions and a limit `slow` of the speed; where
`slow` is negative it is a window of speeds.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from simbot.physics import layout as L
from simbot.physics.compiled import Array, entry, inner

FUZZ = 1e-12


@inner
def state_in(r: Array, c: int, x: float) -> Any:
    """Position, speed and half the acceleration, the latter over the share, at the share x of a step."""
    h = r[L.LOG_H]
    q = 0.0
    v = 0.0
    a = 0.0
    for k in range(L.LOG_PER_MECH - 1, L.LOG_POLY - 1, -1):
        a = a * x + v
        v = v * x + q
        q = q * x + r[c + k]
    a = a * x + v
    v = v * x + q
    q = q * x + 0.5 * h * h * r[c + L.LOG_ACC0]
    a = a * x + v
    v = v * x + q
    q = q * x + h * r[c + L.LOG_SPEED0]
    a = a * x + v
    return q * x + r[c + L.LOG_Q0], (v * x + q) / h if h > 0.0 else r[c + L.LOG_SPEED0], a


@inner
def crossing(r: Array, c: int, fast: float, level: float, x0: float, x1: float) -> Any:
    """Share at which position (speed: fast = 1, acceleration: 2) passes a level from x0 to x1; -1 where it does not."""
    which = int(fast)
    f0 = state_in(r, c, x0)[which] - level
    f1 = state_in(r, c, x1)[which] - level
    if f0 * f1 >= 0.0:
        return -1.0
    side = 0
    for count in range(80):
        if x1 - x0 < 1e-15:
            break
        x = 0.5 * (x0 + x1) if count % 4 == 3 else x0 - f0 * (x1 - x0) / (f1 - f0)
        if x <= x0 or x >= x1:
            x = 0.5 * (x0 + x1)
        f = state_in(r, c, x)[which] - level
        if f == 0.0:
            return x
        if f * f1 > 0.0:
            x1 = x
            f1 = f
            if side == 1:
                f0 *= 0.5
            side = 1
        else:
            x0 = x
            f0 = f
            if side == -1:
                f1 *= 0.5
            side = -1
    return x1


@inner
def edges(r: Array, c: int, target: float, within: float, slow: float, out: Array) -> Any:
    """Shares of a step at which its state may enter or leave the set, in order; how many."""
    out[0] = 0.0
    n = 1
    if slow < 0.0:
        middle = 1.0
        if r[c + L.LOG_ACC0] * r[c + L.LOG_ACC1] < 0.0:
            middle = extreme_of_speed(r, c)
        for level in (target - within, target + within):
            for begin, end in ((0.0, middle), (middle, 1.0)):
                x = crossing(r, c, 1.0, level, begin, end) if end > begin else -1.0
                if x > 0.0:
                    out[n] = x
                    n += 1
        return in_order(out, n)
    for level in (target - within, target + within):
        if (r[c + L.LOG_Q0] - level) * (r[c + L.LOG_Q1] - level) > 0.0:
            continue
        x = crossing(r, c, 0.0, level, 0.0, 1.0)
        if x > 0.0:
            out[n] = x
            n += 1
    if not math.isinf(slow):
        middle = 1.0
        if r[c + L.LOG_ACC0] * r[c + L.LOG_ACC1] < 0.0:
            middle = extreme_of_speed(r, c)
        level = slow if r[c + L.LOG_SPEED0] + r[c + L.LOG_SPEED1] >= 0.0 else -slow
        x = crossing(r, c, 1.0, level, 0.0, middle)
        if x > 0.0:
            out[n] = x
            n += 1
        if middle < 1.0:
            x = crossing(r, c, 1.0, level, middle, 1.0)
            if x > 0.0:
                out[n] = x
                n += 1
    return in_order(out, n)


@inner
def in_order(out: Array, n: int) -> Any:
    """Close the list of n shares with 1 and sort it; how many there are."""
    out[n] = 1.0
    n += 1
    for i in range(1, n):
        x = out[i]
        k = i - 1
        while k >= 0 and out[k] > x:
            out[k + 1] = out[k]
            k -= 1
        out[k + 1] = x
    return n


@inner
def extreme_of_speed(r: Array, c: int) -> Any:
    """Share at which the speed of a step has its extreme; 1 where it has none."""
    x = crossing(r, c, 2.0, 0.0, 0.0, 1.0)
    return x if x > 0.0 else 1.0


@inner
def holds(r: Array, c: int, target: float, within: float, slow: float, x: float) -> Any:
    q, v, _ = state_in(r, c, x)
    if slow < 0.0:
        return abs(v - target) <= within + FUZZ
    return abs(q - target) <= within + FUZZ and abs(v) <= slow + FUZZ


@inner
def throughout(r: Array, c: int, target: float, within: float, slow: float) -> Any:
    """1: in the set during a whole step, -1: outside it, 0: to be looked at more closely; position is monotone."""
    if slow < 0.0:
        return 0
    first = r[c] - target
    last = r[c + L.LOG_Q1] - target
    clear = within + 2.0 * FUZZ
    if (first > clear and last > clear) or (first < -clear and last < -clear):
        return -1
    inside = abs(first) < within - FUZZ and abs(last) < within - FUZZ
    still = first == last and r[c + L.LOG_SPEED0] == 0.0 and r[c + L.LOG_SPEED1] == 0.0
    return 1 if inside and (still or math.isinf(slow)) else 0


@inner
def row_of(log: Array, rows: int, t: float) -> Any:
    """Row of the step that contains t (the earlier one at a joint)."""
    low = 0
    high = rows - 1
    while low < high:
        middle = (low + high) // 2
        if log[middle + 1, L.LOG_T] < t:
            low = middle + 1
        else:
            high = middle
    return low


@entry
def inside_since(
    log: Array, rows: int, mech: int, target: float, within: float, slow: float, t_from: float, t_at: float
) -> Any:
    """Instant since which the state has been in the set up to t_at [s]; inf where it is not in it then.

    Looks back no further than t_from, and returns t_from where it was inside all the time.
    """
    out = np.empty(8)
    c = L.LOG_MECH + L.LOG_PER_MECH * mech
    k = row_of(log, rows, t_at)
    first = True
    while k >= 0:
        r = log[k]
        h = r[L.LOG_H]
        t0 = r[L.LOG_T]
        if t0 + h <= t_from:
            break
        still = r[c] == r[c + L.LOG_Q1] and r[c + L.LOG_SPEED0] == 0.0 and r[c + L.LOG_SPEED1] == 0.0
        if still:
            if abs((0.0 if slow < 0.0 else r[c]) - target) > within + FUZZ:
                return math.inf if first else max(t_from, t0 + h)
        else:
            whole = throughout(r, c, target, within, slow)
            if whole < 0:
                return math.inf if first else max(t_from, t0 + h)
            n = edges(r, c, target, within, slow, out) if whole == 0 else 0
            top = min(1.0, (t_at - t0) / h) if first else 1.0
            for i in range(n - 1, 0, -1):
                if out[i - 1] >= top:
                    continue
                x = 0.5 * (out[i - 1] + min(out[i], top))
                if not holds(r, c, target, within, slow, x):
                    if out[i] >= top and first:
                        return math.inf
                    return max(t_from, t0 + h * out[i])
        first = False
        k -= 1
    return t_from


@entry
def first_time(
    log: Array,
    rows: int,
    mech: int,
    target: float,
    within: float,
    slow: float,
    t_from: float,
    t_to: float,
    wanted: bool,
) -> Any:
    """First instant in [t_from, t_to] at which the state is in the set (wanted) or outside it; inf: never."""
    out = np.empty(8)
    c = L.LOG_MECH + L.LOG_PER_MECH * mech
    for k in range(row_of(log, rows, t_from), rows):
        r = log[k]
        h = r[L.LOG_H]
        t0 = r[L.LOG_T]
        if t0 > t_to:
            break
        if h <= 0.0 or t0 + h < t_from:
            continue
        if throughout(r, c, target, within, slow) == (-1 if wanted else 1):
            continue
        n = edges(r, c, target, within, slow, out)
        for i in range(1, n):
            if t0 + h * out[i] <= t_from and not (t0 + h >= t_from and out[i] == 1.0):
                continue
            if out[i] == out[i - 1]:
                continue
            start = max(out[i - 1], (t_from - t0) / h)
            x = 0.5 * (start + out[i])
            if holds(r, c, target, within, slow, x) == wanted:
                t = max(t_from, t0 + h * out[i - 1])
                return t if t <= t_to else math.inf
    return math.inf


@entry
def touched_at(log: Array, rows: int, mech: int, limit: float, t_from: float) -> Any:
    """First instant from t_from on at which the position is exactly at an end of the travel; inf: never."""
    c = L.LOG_MECH + L.LOG_PER_MECH * mech
    for k in range(row_of(log, rows, t_from), rows):
        r = log[k]
        if r[c] == limit and r[L.LOG_T] >= t_from:
            return r[L.LOG_T]
        if r[c + L.LOG_Q1] == limit and r[L.LOG_T] + r[L.LOG_H] >= t_from:
            return r[L.LOG_T] + r[L.LOG_H]
        if k + 1 < rows and log[k + 1, c] == limit and r[L.LOG_T] + r[L.LOG_H] >= t_from:
            return r[L.LOG_T] + r[L.LOG_H]
    return math.inf


@entry
def state_at(log: Array, rows: int, mech: int, t: float) -> Any:
    """Position and speed at an instant [s] (after whatever happened at that instant)."""
    c = L.LOG_MECH + L.LOG_PER_MECH * mech
    k = row_of(log, rows, t)
    while k + 1 < rows and log[k + 1, L.LOG_T] <= t:
        k += 1
    r = log[k]
    h = r[L.LOG_H]
    x = 1.0 if h <= 0.0 else min(1.0, max(0.0, (t - r[L.LOG_T]) / h))
    q, v, _ = state_in(r, c, x)
    return q, v


@entry
def lagged_square(log: Array, rows: int, column: int, scale: float, tau: float, level: float) -> Any:
    """A heated body's lag behind a current squared: tau h' = i²/scale² - h, from h = 0 at the start.

    column: of the integral of i² at the end of each row. Within a row i² counts as even.

    Returns
    -------
    (instant, most) : when h first passes level [s] (inf: never), and its greatest value.
    """
    h = 0.0
    most = 0.0
    before = 0.0
    passed = math.inf
    for k in range(rows):
        span = log[k, L.LOG_H]
        if span <= 0.0:
            continue
        aim = (log[k, column] - before) / span / (scale * scale)
        before = log[k, column]
        decay = math.exp(-span / tau)
        after = aim + (h - aim) * decay
        if math.isinf(passed) and after > level:
            passed = log[k, L.LOG_T] + tau * math.log((aim - h) / (aim - level))
        h = after
        most = max(most, h)
    return passed, most
