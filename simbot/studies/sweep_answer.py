"""What the points of a sweep answer: the best value, the flat region, what stops a wish, the ridge of a grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from simbot.studies.sweep import Point, SweepResult
from simbot.studies.sweep_asked import Measure, Wish

FLAT = 0.02  # of the best value


@dataclass(frozen=True)
class Flat:
    """Values next to the best one that are within 2 % of it, one by one.

    Parameters
    ----------
    low, high : float
        The first and the last of them.
    to_low_end, to_high_end : bool
        Whether they reach an end of the range: the best may lie beyond it.
    """

    low: float
    high: float
    to_low_end: bool
    to_high_end: bool


def best_of(points: Sequence[Point], measure: Measure, tie: Measure | None = None) -> Point | None:
    """The best point; of equal ones the one better by `tie`, then the first. None where none has a value."""
    there = [point for point in points if point.value(measure) is not None]
    return min(there, key=lambda point: _rank(point, measure, tie), default=None)


def best_along(points: Sequence[Point], measure: Measure, tie: Measure | None = None) -> Point | None:
    """The best value of one quantity. Of equal ones, one of the longest flat region.

    What is as good by itself, with worse on both sides, is luck of its timing.
    """
    best = best_of(points, measure, tie)
    if best is None:
        return None
    regions = top_regions(points, best, measure)
    longest = max(high - low for low, high, _ in regions)
    chosen = [points[n] for low, high, equal in regions if high - low == longest for n in equal]
    return best_of(chosen, measure, tie)


def top_regions(points: Sequence[Point], best: Point, measure: Measure) -> list[tuple[int, int, list[int]]]:
    """Flat regions that hold values as good as the best: their first and last number, and those of the values."""
    found = []
    for low, high in runs_of(points, [is_flat(point, best, measure) for point in points]):
        equal = [n for n in range(low, high + 1) if loss(points[n], best, measure) == 0.0]
        if equal:
            found.append((low, high, equal))
    return found


def _rank(point: Point, measure: Measure, tie: Measure | None) -> tuple[float, float]:
    second = None if tie is None else point.value(tie)
    if tie is None or second is None:
        return _bad(point, measure), float("inf")
    return _bad(point, measure), -second if tie.most else second


def _bad(point: Point, measure: Measure) -> float:
    value = point.value(measure)
    assert value is not None
    return -value if measure.most else value


def loss(point: Point, best: Point, measure: Measure) -> float | None:
    """How much worse a point is than the best, as a share of the best; None where it has no value."""
    value, top = point.value(measure), best.value(measure)
    if value is None or top is None:
        return None
    apart = (top - value) if measure.most else (value - top)
    return 0.0 if apart == 0.0 else apart / abs(top) if top else float("inf")


def is_flat(point: Point, best: Point, measure: Measure) -> bool:
    less = loss(point, best, measure)
    return less is not None and less <= FLAT


def flat_of(points: Sequence[Point], best: Point, measure: Measure) -> Flat:
    """The flat region around the best of one quantity."""
    number = points.index(best)
    low = high = number
    while low > 0 and is_flat(points[low - 1], best, measure):
        low -= 1
    while high + 1 < len(points) and is_flat(points[high + 1], best, measure):
        high += 1
    return Flat(points[low].at[0], points[high].at[0], low == 0, high == len(points) - 1)


def makes_no_difference(result: SweepResult) -> bool:
    """Whether every value that could be run was seen alike in everything."""
    ran = [point.looks for point in result.points if point.looks]
    return len(ran) > 1 and all(looks == ran[0] for looks in ran)


def ridge_of(points: Sequence[Point], measure: Measure, tie: Measure | None) -> list[Point]:
    """Of two quantities: the best point for each value of the first; left out where none is, or all are alike."""
    rows = {
        first: [point for point in points if point.at[0] == first and point.value(measure) is not None]
        for first in dict.fromkeys(point.at[0] for point in points)
    }
    best = (best_of(row, measure, tie) for row in rows.values() if _differ(row, measure, tie))
    return [point for point in best if point is not None]


def _differ(row: Sequence[Point], measure: Measure, tie: Measure | None) -> bool:
    """Whether one of some points with a value is better than another; one alone is the best there is."""
    return len(row) == 1 or len({_rank(point, measure, tie) for point in row}) > 1


def tie_of(result: SweepResult) -> Measure | None:
    """What decides between equals: points are few, and equal often."""
    return result.measures["rate"] if result.asked.by.name == "points" else None


def best_point(result: SweepResult) -> Point | None:
    """The best value, or pair of values."""
    choose = best_along if len(result.asked.axes) == 1 else best_of
    return choose(result.points, result.asked.by, tie_of(result))


def best_wanted(result: SweepResult) -> Point | None:
    """The best point among those that fulfil the wishes: surely, or else at nominal."""
    surely = [point for point in result.points if point.fits_surely]
    for fitting in (surely, [point for point in result.points if point.fits]):
        found = best_of(_longest(result, fitting), result.asked.by, tie_of(result))
        if found is not None:
            return found
    return None


def _longest(result: SweepResult, fitting: Sequence[Point]) -> Sequence[Point]:
    """Of one quantity the longest runs of neighbours among those that fit."""
    if len(result.asked.axes) != 1 or not fitting:
        return fitting
    runs = runs_of(result.points, [point in fitting for point in result.points])
    most = max(high - low for low, high in runs)
    return [point for low, high in runs if high - low == most for point in result.points[low : high + 1]]


def runs_of(points: Sequence[Point], chosen: Sequence[bool]) -> list[tuple[int, int]]:
    """First and last number of each unbroken run of chosen points."""
    found: list[tuple[int, int]] = []
    for number, here in enumerate(chosen):
        if here and number and chosen[number - 1]:
            found[-1] = (found[-1][0], number)
        elif here:
            found.append((number, number))
    return found


def stops(result: SweepResult, number: int) -> list[str]:
    """The wishes that do not hold at a point, at nominal or else over the spread."""
    point = result.points[number]
    wishes = result.asked.wishes
    if not point.looks:
        return [point.fault]
    if not point.fits:
        return [wish.text for wish, holds in zip(wishes, point.holds, strict=True) if not holds]
    return [wish.text for wish, each in zip(wishes, point.spreads, strict=True) if not each.holds]


def missed(result: SweepResult, point: Point) -> list[tuple[Wish, float | None]]:
    """The wishes that a point does not fulfil at nominal, and by how much [SI]; None: it has no value."""
    found: list[tuple[Wish, float | None]] = []
    for wish, holds in zip(result.asked.wishes, point.holds, strict=True):
        if not holds:
            value = next(look.values[wish.measure] for look in point.looks if look.state == wish.state)
            found.append((wish, None if value is None else abs(value - wish.bound)))
    return found


def nearest_missing(result: SweepResult) -> Point | None:
    """Of the points that miss what is wanted the one that misses least, as a share of the bound it misses most."""

    def share(wish: Wish, by: float | None) -> float:
        return inf if by is None else by / (abs(wish.bound) or 1.0)

    far = {
        number: max(share(*each) for each in missed(result, point))
        for number, point in enumerate(result.points)
        if point.looks and not point.fits
    }
    number = min(far, key=lambda each: far[each], default=None)
    return None if number is None or far[number] == inf else result.points[number]
