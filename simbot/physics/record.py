"""Questions to the log of a run: where a mechanism was, and when it entered or left a set of states.

Within a step position is monotone (a reversal ends a step), and speed has one extreme at the most, so that
every crossing is found, never stepped over.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from simbot.physics import layout as L
from simbot.physics.compiled import Array, entry, inner

FUZZ = 1e-12


@inner
def position_at(r: Array, c: int, h: float, x: float) -> Any:
    q0, v0, a0 = r[c], r[c + 1], r[c + 2]
    dq = r[c + 3] - q0 - h * (v0 + 0.5 * h * a0)
    dv = h * (r[c + 4] - v0 - h * a0)
    da = h * h * (r[c + 5] - a0)
    c3 = 10.0 * dq - 4.0 * dv + 0.5 * da
    c4 = -15.0 * dq + 7.0 * dv - da
    c5 = 6.0 * dq - 3.0 * dv + 0.5 * da
    return q0 + x * h * (v0 + 0.5 * x * h * a0) + x * x * x * (c3 + x * (c4 + x * c5))


@inner
def speed_at(r: Array, c: int, h: float, x: float) -> Any:
    q0, v0, a0, q1, v1, a1 = r[c], r[c + 1], r[c + 2], r[c + 3], r[c + 4], r[c + 5]
    y = 1.0 - x
    v = v0 * y * y * (1.0 + 2.0 * x) + v1 * x * x * (3.0 - 2.0 * x) + h * x * y * (a0 * y - a1 * x)
    if h > 1e-5:
        lack = (q1 - q0) / h - 0.5 * (v0 + v1) - h * (a0 - a1) / 12.0
        v += 30.0 * lack * x * x * y * y
    return v


@inner
def crossing(r: Array, c: int, h: float, fast: float, level: float, x0: float, x1: float) -> Any:
    """Share at which position (or speed, fast = 1) passes a level between x0 and x1; -1 where it does not."""
    f0 = (speed_at(r, c, h, x0) if fast == 1.0 else position_at(r, c, h, x0)) - level
    f1 = (speed_at(r, c, h, x1) if fast == 1.0 else position_at(r, c, h, x1)) - level
    if f0 * f1 >= 0.0:
        return -1.0
    side = 0
    for count in range(80):
        if x1 - x0 < 1e-15:
            break
        x = 0.5 * (x0 + x1) if count % 4 == 3 else x0 - f0 * (x1 - x0) / (f1 - f0)
        if x <= x0 or x >= x1:
            x = 0.5 * (x0 + x1)
        f = (speed_at(r, c, h, x) if fast == 1.0 else position_at(r, c, h, x)) - level
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
    h = r[L.LOG_H]
    out[0] = 0.0
    n = 1
    for level in (target - within, target + within):
        x = crossing(r, c, h, 0.0, level, 0.0, 1.0)
        if x > 0.0:
            out[n] = x
            n += 1
    if not math.isinf(slow):
        middle = 1.0
        a0, a1 = r[c + 2], r[c + 5]
        if a0 * a1 < 0.0:
            middle = extreme_of_speed(r, c, h)
        level = slow if r[c + 1] + r[c + 4] >= 0.0 else -slow
        x = crossing(r, c, h, 1.0, level, 0.0, middle)
        if x > 0.0:
            out[n] = x
            n += 1
        if middle < 1.0:
            x = crossing(r, c, h, 1.0, level, middle, 1.0)
            if x > 0.0:
                out[n] = x
                n += 1
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
def extreme_of_speed(r: Array, c: int, h: float) -> Any:
    """Share at which the speed of a step has its extreme (golden section on a single hump)."""
    sign = 1.0 if r[c + 2] > 0.0 else -1.0
    x0, x1 = 0.0, 1.0
    ratio = 0.6180339887498949
    p = x1 - ratio * (x1 - x0)
    s = x0 + ratio * (x1 - x0)
    fp = sign * speed_at(r, c, h, p)
    fs = sign * speed_at(r, c, h, s)
    for _ in range(60):
        if fp < fs:
            x0 = p
            p = s
            fp = fs
            s = x0 + ratio * (x1 - x0)
            fs = sign * speed_at(r, c, h, s)
        else:
            x1 = s
            s = p
            fs = fp
            p = x1 - ratio * (x1 - x0)
            fp = sign * speed_at(r, c, h, p)
    return 0.5 * (x0 + x1)


@inner
def holds(r: Array, c: int, target: float, within: float, slow: float, x: float) -> Any:
    h = r[L.LOG_H]
    if abs(position_at(r, c, h, x) - target) > within + FUZZ:
        return False
    return math.isinf(slow) or abs(speed_at(r, c, h, x)) <= slow + FUZZ


@inner
def row_of(log: Array, rows: int, t: float) -> Any:
    """Row of the step that contains t (the earlier one at a joint)."""
    low = 0
    high = rows - 1
    while low < high:
        middle = (low + high) // 2
        if log[middle, L.LOG_T] + log[middle, L.LOG_H] < t:
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
        still = r[c] == r[c + 3] and r[c + 1] == 0.0 and r[c + 4] == 0.0
        if still:
            if abs(r[c] - target) > within + FUZZ:
                return math.inf if first else max(t_from, t0 + h)
        else:
            n = edges(r, c, target, within, slow, out)
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
        if r[c + 3] == limit and r[L.LOG_T] + r[L.LOG_H] >= t_from:
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
    return position_at(r, c, h, x), speed_at(r, c, h, x)
