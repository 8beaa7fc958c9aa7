"""The table of a sweep with its chart, and the map of two quantities. 80 columns, plain characters."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from simbot.scenario.axes import Axis
from simbot.studies.sweep import Point, SweepResult
from simbot.studies.sweep_answer import is_flat, loss, ridge_of, tie_of
from simbot.studies.sweep_asked import Measure

MOST_ROWS = 61
BAR = 18
HELD = 14
SHOWN = {
    True: ("arrival", "current", "heat", "stall"),
    False: ("points", "rate", "cycle", "current", "volts", "failures"),
}
WITH_CHANCE = ("mean", "mean_rate", "points", "rate", "cycle", "failures")
HEADS = {
    "current": "peak",
    "volts": "lowest",
    "failures": "fails",
    "motor_current": "motor",
    "mean_rate": "mean/s",
}
SHADES = ((0.02, "#"), (0.05, "*"), (0.10, "+"), (0.20, "="), (0.40, "-"), (float("inf"), "."))


def number(measure: Measure, value: float | None) -> str:
    """A measure in its unit, without the unit."""
    return "-" if value is None else f"{value * measure.factor:.{measure.digits}f}"


def told(measure: Measure, value: float | None) -> str:
    """A measure with its unit."""
    return f"{number(measure, value)} {measure.unit}".strip()


def at(axes: Sequence[Axis], point: Point) -> str:
    """`drum_diameter 32 mm`, of two quantities both."""
    return " with ".join(
        f"{axis.name} {axis.told(value)}" for axis, value in zip(axes, point.at, strict=True)
    )


def cause(point: Point) -> str:
    """What holds a move back most, as a share of its time; of a match what takes most of a cycle."""
    held = point.looks[0].held_by if point.looks else {}
    if not held:
        return ""
    name = max(held, key=lambda each: held[each])
    if "arrival" not in point.looks[0].values:
        return f"{name} {held[name]:.2f} s"
    return f"{name.replace('_', ' ')} {100 * held[name]:.0f} %"


def columns_of(result: SweepResult) -> list[Measure]:
    """The measures that the table shows, the one that says what is best first."""
    names = WITH_CHANCE if "mean" in result.measures else SHOWN["arrival" in result.measures]
    by = result.asked.by
    return [by, *(result.measures[name] for name in names if name != by.name)]


def rows(result: SweepResult, points: Sequence[Point], best: Point | None) -> Iterator[str]:
    """One row a value; `best` is that of the whole sweep."""
    axes, measures = result.asked.axes, columns_of(result)
    moves = "arrival" in result.measures
    width = max(10, *(len(_label(axes, point)) + 1 for point in points))
    yield (
        f"{'':3}{'':{width}}"
        + "".join(f"{HEADS.get(each.name, each.name):>9}" for each in measures)
        + ("  held back by" if moves else "")
    )
    units = ", ".join(axis.unit for axis in axes if axis.unit)
    yield f"{'':3}{units:<{width}}" + "".join(f"{_unit(each):>9}" for each in measures)
    values = [abs(value) for point in points if (value := point.value(result.asked.by)) is not None]
    longest = max(values, default=0.0) or 1.0
    room = max(0, min(BAR, 80 - 3 - width - 9 * len(measures) - (HELD + 2 if moves else 0) - 1))
    shown = set(_shown(points, best, result))
    left_out = 0
    for place, point in enumerate(points):
        if place not in shown:
            left_out += 1
            continue
        yield from _row(result, point, best, measures, width, longest, room)
    if left_out:
        yield f"   ({left_out} values between these are in --csv and --json only)"


def _unit(measure: Measure) -> str:
    return {"points": "", "points/s": "1/s"}.get(measure.unit, measure.unit)


def _shown(points: Sequence[Point], best: Point | None, result: SweepResult) -> Iterator[int]:
    """Numbers of the rows that are printed: all, or every second, third ... and whatever is special."""
    step = -(-len(points) // MOST_ROWS)
    for place, point in enumerate(points):
        if place % step == 0 or point is best or point.value(result.asked.by) is None:
            yield place
    if points:
        yield len(points) - 1


def _label(axes: Sequence[Axis], point: Point) -> str:
    return ", ".join(f"{value:.6g}" for value in point.at) if len(axes) > 1 else f"{point.at[0]:.6g}"


def _row(
    result: SweepResult, point: Point, best: Point | None, measures: Sequence[Measure], width: int,
    longest: float, room: int,
) -> list[str]:  # fmt: skip
    by = result.asked.by
    value = point.value(by)
    mark = ">" if point is best else "*" if best is not None and is_flat(point, best, by) else " "
    wish = "" if not result.asked.wishes else "y" if point.fits_surely else "?" if point.fits else "n"
    lead = f"{mark}{wish:<2}{_label(result.asked.axes, point):<{width}}"
    if not point.looks:
        return _wrapped(f"{lead}  not run: {point.fault}")
    if value is None:
        reason = point.looks[0].reason or "no value"
        return _wrapped(f"{lead}{'never' if by.name == 'arrival' else '-':>9}  {reason}")
    cells = "".join(f"{number(each, point.value(each)):>9}" for each in measures)
    held = f"  {cause(point):<{HELD}}" if "arrival" in result.measures else ""
    bar = "#" * max(1, round(abs(value) / longest * room)) if room and value else ""
    return [f"{lead}{cells}{held} {bar}"]


def _wrapped(text: str) -> list[str]:
    return wrap(text, 80, subsequent_indent=" " * 24)


# --- two quantities -----------------------------------------------------------------------------------


def heat_map(result: SweepResult, best: Point | None) -> Iterator[str]:
    """The first quantity downwards, the second across; the darker the better."""
    down, across = result.asked.axes
    by = result.asked.by
    cells = {point.at: point for point in result.points}
    ridge = {point.at for point in ridge_of(result.points, by, tie_of(result))}
    wide = 2 if len(across.values) <= 34 else 1
    columns = across.values[:: -(-len(across.values) // 68)]
    lines = down.values[:: -(-len(down.values) // 40)]
    yield f"{down.name} [{down.unit or '1'}] downwards, {across.name} [{across.unit or '1'}] across"[:80]
    for first in lines:
        signs = [_sign(cells.get((first, second)), best, ridge, by) for second in columns]
        yield f"{first:>9.6g} |" + "".join(f"{sign:<{wide}}" for sign in signs).rstrip()
    yield f"{'':9} +{'-' * (wide * len(columns))}"
    ends = f"{columns[0]:g}", f"{columns[-1]:g}"
    yield f"{'':11}{ends[0]}{ends[1]:>{max(1, wide * len(columns) - len(ends[0]))}}"
    yield " @ best  o the best of its line (the ridge)  # within 2 %  * 5 %  + 10 %"
    yield " = 20 %  - 40 %  . worse  ! never, or cannot be run"
    if len(columns) < len(across.values) or len(lines) < len(down.values):
        yield " Some lines or columns are left out here; all are in --csv and --json."


def _sign(point: Point | None, best: Point | None, ridge: set[tuple[float, ...]], by: Measure) -> str:
    if point is None:
        return " "  # it was stopped before
    if point is best:
        return "@"
    less = None if best is None else loss(point, best, by)
    if less is None:
        return "!"
    if point.at in ridge:
        return "o"
    return next(shade for most, shade in SHADES if less <= most)
