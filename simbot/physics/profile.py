"""Set points of a motion profile: trapezoid or double S, from the present speed to rest.

A profile is a list of pieces (t, q, v, a, j): from t on, q follows the cubic of that start. Formulas: the
trapezoid is textbook; the double S follows Biagiotti and Melchiorri, Trajectory Planning for Automatic
Machines and Robots (2008), section 3.4, from memory, checked against a general planner in the tests.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import copysign, sqrt

Piece = tuple[float, float, float, float, float]


def point(pieces: Iterable[Sequence[float]], time: float) -> tuple[float, float]:
    """Position and speed of a profile at a time since its start [s]."""
    t, q, v, a, j = [piece for piece in pieces if piece[0] <= time][-1]
    x = time - t
    return q + x * (v + x * (0.5 * a + x * j / 6.0)), v + x * (a + 0.5 * j * x)


def profile(
    start: float, speed: float, target: float, top: float, acceleration: float, jerk: float | None
) -> list[Piece]:
    """Set points from `start` at `speed` to rest at `target`.

    Parameters
    ----------
    start, target : float
        [m, rad]
    speed : float
        At the start, either way.
    top, acceleration : float
        Limits, above 0.
    jerk : float or None
        None: a trapezoid.

    Returns
    -------
    list of (t, q, v, a, j)
        The last piece is the rest at the target.
    """
    pieces: list[Piece] = []
    t, q, v = 0.0, start, speed
    for _ in range(3):
        way = copysign(1.0, target - q)
        u, d = v * way, abs(target - q)
        if u >= 0.0 and _stopping(u, acceleration, jerk) <= d + 1e-15:
            spans = _to_rest(u, d, top, acceleration, jerk)
            t, q, v = _append(pieces, t, q, v, way, spans)
            break
        spans = _brake(abs(v), acceleration, jerk)
        t, q, v = _append(pieces, t, q, v, copysign(1.0, v), spans)
        v = 0.0
    pieces.append((t, target, 0.0, 0.0, 0.0))
    return pieces


Span = tuple[float, float, float]  # (duration, acceleration at its start, jerk) in the direction of motion


def _append(
    pieces: list[Piece], t: float, q: float, v: float, way: float, spans: list[Span]
) -> tuple[float, float, float]:
    for duration, a, j in spans:
        if duration <= 0.0:
            continue
        a, j = a * way, j * way
        pieces.append((t, q, v, a, j))
        q += duration * (v + duration * (a / 2.0 + duration * j / 6.0))
        v += duration * (a + duration * j / 2.0)
        t += duration
    return t, q, v


def _change(dv: float, a: float, jerk: float | None) -> list[Span]:
    """Spans that change the speed by dv (either sign) as fast as the limits allow."""
    sign, size = copysign(1.0, dv), abs(dv)
    if size == 0.0:
        return []
    if jerk is None:
        return [(size / a, sign * a, 0.0)]
    rise = min(sqrt(size / jerk), a / jerk)
    peak = jerk * rise
    flat = size / peak - rise
    return [(rise, 0.0, sign * jerk), (flat, sign * peak, 0.0), (rise, sign * peak, -sign * jerk)]


def _brake(speed: float, a: float, jerk: float | None) -> list[Span]:
    return _change(-speed, a, jerk)


def _distance(v0: float, v1: float, a: float, jerk: float | None) -> float:
    """Distance while the speed goes from v0 to v1: mean speed times time (the change is symmetric)."""
    return 0.5 * (v0 + v1) * sum(span[0] for span in _change(v1 - v0, a, jerk))


def _stopping(speed: float, a: float, jerk: float | None) -> float:
    return _distance(speed, 0.0, a, jerk)


def _to_rest(u: float, d: float, top: float, a: float, jerk: float | None) -> list[Span]:
    """From speed u >= 0 to rest over d: the highest speed up to `top` whose ramps fit, then what is left flat."""

    def ramps(peak: float) -> float:
        return _distance(u, peak, a, jerk) + _distance(peak, 0.0, a, jerk)

    peak = top
    if ramps(top) > d:
        if jerk is None:
            peak = sqrt(a * d + 0.5 * u * u)
        else:
            low, high = min(u, top), max(top, u)  # its own stop fits: a slower peak is never wanted
            for _ in range(200):
                peak = 0.5 * (low + high)
                low, high = (peak, high) if ramps(peak) <= d else (low, peak)
            peak = low
    flat = max(0.0, d - ramps(peak)) / peak if peak > 0.0 else 0.0
    return [*_change(peak - u, a, jerk), (flat, 0.0, 0.0), *_change(-peak, a, jerk)]
