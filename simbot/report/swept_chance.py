"""What drawn matches say of the values of a sweep: intervals, and which value may be the best."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from simbot.report.swept_rows import at
from simbot.studies.statistics import Figure
from simbot.studies.sweep import Point, SweepResult
from simbot.studies.sweep_answer import runs_of
from simbot.studies.sweep_chance import can_be_best

WIDTH = 80
MOST_ROWS = 41


def candidates(result: SweepResult) -> list[Point]:
    """The values of the grid that no other one surely beats; empty without drawn matches."""
    looks = [point.looks[0].drawn if point.looks else None for point in result.points]
    return [point for point, kept in zip(result.points, can_be_best(looks), strict=True) if kept]


def ranges(result: SweepResult, chosen: Sequence[Point]) -> str:
    """Values of one quantity: from where to where."""
    axis = result.asked.axes[0]
    marks = [any(point is one for one in chosen) for point in result.points]
    told = []
    for low, high in runs_of(result.points, marks):
        first, last = (axis.told(result.points[end].at[0]) for end in (low, high))
        told.append(first if low == high else f"{first} to {last}")
    return ", ".join(told)


def best_told(result: SweepResult) -> str:
    """How well the best value is known, for the answer; empty without drawn matches."""
    chosen = candidates(result)
    if not chosen or len(result.points) < 2:
        return ""
    if len(chosen) == len(result.points):
        return "; so few matches tell no value of the range from the best"
    if len(result.asked.axes) == 2:
        return f"; any of {len(chosen)} of the {len(result.points)} cells may be the best"
    ran = " that was run" if result.stopped else " of the range"
    if len(chosen) == 1:
        return f"; every other value{ran} is surely worse"
    others = "the others that were run" if result.stopped else "the others"
    return f"; the best may be any of {ranges(result, chosen)}: {others} are surely worse"


def chance_lines(result: SweepResult, best: Point | None) -> Iterator[str]:
    """Intervals of every value on the first battery state, and what they rest on."""
    if not result.asked.matches or best is None:
        return
    yield ""
    chosen = candidates(result)
    if len(result.asked.axes) == 1:
        axis = result.asked.axes[0]
        yield f"{'with chance':<14}{'points a match':<30}points a second"
        step = -(-len(result.points) // MOST_ROWS)
        for place, point in enumerate(result.points):
            drawn = point.looks[0].drawn if point.looks else None
            if drawn is not None and (place % step == 0 or point is best):
                mark = "o" if any(point is one for one in chosen) else " "
                row = f"{_told(drawn.mean, 1):<30}{_told(drawn.rate, 3)}"
                yield f"{mark} {axis.told(point.at[0]):<12}{row}"
        if step > 1:
            yield f"   (every {step}th value; all are in --csv and --json)"
    else:
        drawn = best.looks[0].drawn
        assert drawn is not None
        told = f"At the best, {at(result.asked.axes, best)}: {_told(drawn.mean, 1)} points a match"
        yield from wrap(told, WIDTH)
    yield from wrap(
        f"{'o: may be the best. ' if len(result.asked.axes) == 1 else ''}{result.asked.matches} matches with chance at "
        f"each value, seed {result.asked.seed}, the same luck at each, each with another robot within the spreads; "
        "95 % intervals. Values are told from one another match by match, more sharply than their intervals overlap; "
        "the best one is wrongly struck out in at most 5 of 100 sweeps. More matches narrow it.",
        WIDTH,
    )
    failed = [point for point in result.points if point.looks and (d := point.looks[0].drawn) and d.failed]
    if failed:
        first = failed[0].looks[0].drawn
        assert first is not None
        count = sum(d.failed for point in failed if (d := point.looks[0].drawn))
        yield from wrap(f"{count} matches could not be played; the first: {first.fault}", WIDTH)


def _told(value: Figure | None, digits: int) -> str:
    if value is None:
        return "-"
    text = f"{value.value:.{digits}f}"
    if value.interval is not None:
        text += f" ({value.interval[0]:.{digits}f} to {value.interval[1]:.{digits}f})"
    return text
