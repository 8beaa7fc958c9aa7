"""What `simbot sweep` prints: the answer in one sentence, the table, what it rests on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import TextIO

from simbot.analysis.move_results import OneMove
from simbot.analysis.one_move import unit_of
from simbot.report.one_move import MEANINGS, about, load_name, others_told, way_name
from simbot.report.swept_chance import best_told, chance_lines
from simbot.report.swept_rows import at, heat_map, rows, told
from simbot.report.swept_wishes import wanted_answer, wishes_told
from simbot.scenario.model import Remark, Robot
from simbot.studies.sweep import Point, SweepResult
from simbot.studies.sweep_answer import (
    best_along,
    best_of,
    best_point,
    flat_of,
    is_flat,
    loss,
    makes_no_difference,
    ridge_of,
    tie_of,
    top_regions,
)
from simbot.studies.sweep_asked import Measure
from simbot.studies.sweep_points import OneMechanism

WIDTH = 80
FIRST = {
    "arrival": "{who} arrives soonest, after {value}, with {at}",
    "inside": "{who} is inside its target soonest, after {value}, with {at}",
    "floor": "{who} could be there soonest under any control, after {value}, with {at}",
    "mean": "{who} scores most, with chance {value} a match, with {at}",
    "points": "{who} scores most, {value}, with {at}",
    "rate": "{who} scores fastest, {value}, with {at}",
    "cycle": "{who} has the shortest cycle, {value}, with {at}",
}


def print_swept(result: SweepResult, robot: Robot, remarks: Sequence[Remark], stream: TextIO) -> None:
    """Print a sweep of this robot; the remarks are those on the files as they are."""
    subject = result.subject
    if isinstance(subject, OneMechanism):
        remarks = about(robot.mechanisms[subject.mechanism], remarks)
    for line in _lines(result, robot, len(remarks)):
        stream.write(line.rstrip().replace("±", "+/-").replace("…", "...") + "\n")


def _lines(result: SweepResult, robot: Robot, doubts: int) -> Iterator[str]:
    best = best_point(result)
    yield from wrap(_answer(result, best), WIDTH)
    yield ""
    yield from wrap(_about(result, robot), WIDTH)
    if result.stopped:
        yield from wrap(f"STOPPED: {len(result.points)} of {_size(result)} values were run.", WIDTH)
    yield ""
    if result.points:
        if len(result.asked.axes) == 2:
            yield from heat_map(result, best)
            yield ""
            yield from _ridge(result, best)
        else:
            yield from rows(result, result.points, best)
            yield from _legend(result)
    yield from chance_lines(result, best)
    if best is not None:
        yield ""
        yield from _around(result, best)
    yield from _parts(result, best)
    yield from wishes_told(result)
    yield ""
    yield from _rests(result, doubts)


def _about(result: SweepResult, robot: Robot) -> str:
    """What was run."""
    subject, asked = result.subject, result.asked
    if isinstance(subject, OneMechanism):
        way, load = subject.asked(subject.robot({}))
        unit = unit_of(robot.mechanisms[subject.mechanism], (way,))
        others = subject.alone(robot).standing
        move = OneMove(robot, robot.mechanisms[subject.mechanism], unit, (way,), (load,), (), None, others)
        what = f"{subject.mechanism} of {robot.name}, {way_name(move, way)}, {load_name(load)}"
        if others:
            what += f", {others_told(move)}"
    else:
        what = f"{subject.path.name} with {robot.name}, nominal matches{_and_drawn(result)}"
    ranges = " and ".join(
        f"{axis.name} {axis.told(axis.values[0])} to {axis.told(axis.values[-1])}" for axis in asked.axes
    )
    nominal = "" if asked.matches else "; NOMINAL"
    return f"{what}; {ranges}, {_size(result)} values; battery {', '.join(asked.states)}{nominal}"


def _and_drawn(result: SweepResult) -> str:
    return f" and {result.asked.matches} with chance" if result.asked.matches else ""


def _size(result: SweepResult) -> int:
    size = 1
    for axis in result.asked.axes:
        size *= len(axis.values)
    return size


def _who(result: SweepResult) -> str:
    subject = result.subject
    return f"The {subject.mechanism}" if isinstance(subject, OneMechanism) else "The plan"


def _answer(result: SweepResult, best: Point | None) -> str:
    axes, by, state = result.asked.axes, result.asked.by, result.asked.states[0]
    if result.asked.wishes:
        return wanted_answer(result)
    if best is None:
        ran_first = sorted(result.points, key=lambda point: not point.looks)
        why = next((_why(point) for point in ran_first), "nothing was run")
        return f"{_who(result)} has no {by.title} anywhere in the range on the {state} battery: {why}."
    if makes_no_difference(result):
        names = " and ".join(axis.name for axis in axes)
        return (
            f"{names} makes no difference to {_who(result).lower()} in this range: {by.title} "
            f"{told(by, best.value(by))} on the {state} battery, whatever it is."
        )
    if (
        by.name == "points"
        and len(result.points) > 1
        and len({each.value(by) for each in result.points}) == 1
    ):
        names = " and ".join(axis.name for axis in axes)
        return (
            f"{_who(result)} scores {told(by, best.value(by))} whatever {names} is in this range, on the {state} "
            "battery: choose by something else."
        )
    form = FIRST.get(by.name, "{title} is {end}, {value}, with {at}")
    title = by.title[0].upper() + by.title[1:]
    end = "highest" if by.most else "lowest"
    value = told(by, best.value(by))
    text = form.format(who=_who(result), value=value, at=at(axes, best), title=title, end=end)
    text += f", on the {state} battery"
    if len(axes) == 1:
        flat = flat_of(result.points, best, by)
        if flat.low < flat.high:
            text += (
                f"; from {axes[0].told(flat.low)} to {axes[0].told(flat.high)} it stays within 2 % of that"
            )
    return text + best_told(result) + "."


def _why(point: Point) -> str:
    return point.fault or (point.looks[0].reason if point.looks else "") or "nothing of the kind happens"


def _legend(result: SweepResult) -> Iterator[str]:
    yield " > best  * within 2 % of it"
    if "mean" in result.measures:
        yield " mean, mean/s: points a match, and points a second, with chance; beside them"
    if "arrival" not in result.measures:
        yield " points a match, rate: points a second, cycle: from delivery to delivery,"
        yield " fails: what breaks in it; all of these of the nominal match, without chance"
    if result.asked.wishes:
        yield " y as wanted at every spread  ? at the middle of the spreads only  n not"


# --- around the best ----------------------------------------------------------------------------------


def _around(result: SweepResult, best: Point) -> Iterator[str]:
    """What the files say now, both ends, what binds, other battery states."""
    if result.now is not None:
        yield from wrap(
            f"Now, {at(result.asked.axes, result.now)}: {_compared(result, result.now, best)}.", WIDTH
        )
    if makes_no_difference(result):
        return
    if len(result.asked.axes) == 1 and result.points:
        axis = result.asked.axes[0]
        flat = flat_of(result.points, best, result.asked.by)
        if not result.stopped and len(result.points) > 1:
            for end in (result.points[0], result.points[-1]):
                yield from wrap(
                    f"At {axis.told(end.at[0])}: {_compared(result, end, best)}{_after(end, best)}.", WIDTH
                )
                if end is best and not (flat.to_low_end and flat.to_high_end):
                    yield from wrap(f"The best may lie beyond {axis.told(end.at[0])}.", WIDTH)
            if flat.to_low_end and flat.to_high_end:
                yield from wrap(
                    "Over the whole range it stays within 2 % of that: choose by something else.", WIDTH
                )
            yield from _alone(result, best)
    if _held(best) and best not in (result.points[0], result.points[-1]):
        yield from wrap(f"What binds at the best, {at(result.asked.axes, best)}: {_held(best)}.", WIDTH)
    for number, state in enumerate(result.asked.states[1:], 1):
        yield from _other_state(result, number, state)
    yield from _meanings(result, best)


def _alone(result: SweepResult, best: Point) -> Iterator[str]:
    """Values as good as the best that stand by themselves."""
    points, axis = result.points, result.asked.axes[0]
    if best.value(result.asked.by) is None:
        return
    for low, high, equal in top_regions(points, best, result.asked.by):
        if low == high and points[low] is not best and 0 < low < len(points) - 1:
            here = axis.told(points[equal[0]].at[0])
            yield from wrap(
                f"{here} does as well, but by itself, with worse on both sides: luck of its timing, no choice.",
                WIDTH,
            )


def _compared(result: SweepResult, point: Point, best: Point) -> str:
    by = result.asked.by
    value = point.value(by)
    if value is None:
        return f"none, {_why(point)}"
    less = loss(point, best, by)
    assert less is not None
    if abs(less) < 5e-4:
        return f"{told(by, value)}, the best" if less == 0.0 else f"{told(by, value)}, as good as the best"
    way = "worse" if less > 0.0 else "better"
    return f"{told(by, value)}, {100 * abs(less):.1f} % {way} than the best of the range"


def _after(point: Point, best: Point) -> str:
    """What holds it back there, and what fails that does not fail at the best."""
    parts = [text for text in (_held(point),) if text]
    if point.looks and best.looks:
        known = dict(best.looks[0].fails)
        new = [text for kind, text in point.looks[0].fails if kind not in known]
        if new:
            more = f" (and {len(new) - 1} more)" if len(new) > 1 else ""
            parts.append(f"fails: {new[0].rstrip('.')}{more}")
    return "".join(f"; {part}" for part in parts)


def _held(point: Point) -> str:
    """What holds a move back there; of a match where the cycle goes, and what fails first."""
    if not point.looks:
        return ""
    look = point.looks[0]
    if not look.held_by:
        return look.reason.rstrip(".") if "arrival" in look.values else ""
    most = sorted(look.held_by.items(), key=lambda each: -each[1])
    if "arrival" in look.values:
        named = [
            f"{cause.replace('_', ' ')} {100 * share:.0f} %" for cause, share in most[:3] if share >= 0.05
        ]
        return f"held back by {', '.join(named)}"
    named = [f"{cause} {seconds:.2f} s" for cause, seconds in most[:3] if seconds >= 0.005]
    return f"of a cycle {', '.join(named)}"


def _meanings(result: SweepResult, best: Point) -> Iterator[str]:
    ends = [best, *(point for point in (result.points[0], result.points[-1]) if point.looks)]
    causes = [cause for cause in MEANINGS if any(_counts(point, cause) for point in ends)]
    if causes:
        told_ = "; ".join(f"{cause.replace('_', ' ')}, {MEANINGS[cause]}" for cause in causes)
        yield from wrap(f"Held back by, in % of the time: {told_}.", WIDTH)


def _counts(point: Point, cause: str) -> bool:
    return bool(point.looks) and point.looks[0].held_by.get(cause, 0.0) >= 0.05


def _other_state(result: SweepResult, number: int, state: str) -> Iterator[str]:
    """The best on another battery state."""
    by = result.asked.by
    shifted = [Point(point.at, point.looks[number:]) for point in result.points if point.looks]
    tie = tie_of(result)
    best = (best_along if len(result.asked.axes) == 1 else best_of)(shifted, by, tie)
    if best is None:
        yield f"On the {state} battery: none."
        return
    text = f"On the {state} battery {at(result.asked.axes, best)} is best: {told(by, best.value(by))}"
    if len(result.asked.axes) == 1:
        flat = flat_of(shifted, best, by)
        axis = result.asked.axes[0]
        if flat.low < flat.high:
            text += f" (within 2 %: {axis.told(flat.low)} to {axis.told(flat.high)})"
    yield from wrap(text + ".", WIDTH)


def _ridge(result: SweepResult, best: Point | None) -> Iterator[str]:
    by, (down, across) = result.asked.by, result.asked.axes
    ridge = ridge_of(result.points, by, tie_of(result))
    if best is None:
        return
    step = max(1, -(-len(ridge) // 12))
    told_ = [
        f"{down.told(point.at[0])}: {across.told(point.at[1])} ({told(by, point.value(by))})"
        for point in ridge[::step]
    ]
    if told_:
        yield from wrap(f"The ridge, the best {across.name} for each {down.name}: {'; '.join(told_)}.", WIDTH)
    flat = sum(is_flat(point, best, by) for point in result.points)
    yield from wrap(
        f"{flat} of {len(result.points)} cells {'is' if flat == 1 else 'are'} within 2 % of the best.", WIDTH
    )


# --- parts --------------------------------------------------------------------------------------------


def _parts(result: SweepResult, best: Point | None) -> Iterator[str]:
    if not result.parts:
        return
    axes, by = result.asked.axes, result.asked.by
    yield ""
    chosen = best_of(result.parts, by, tie_of(result))
    if len(axes) == 1:
        if best is not None:
            have = [point.at[0] for point in result.parts]
            below, above = (
                [part for part in have if part <= best.at[0]],
                [part for part in have if part >= best.at[0]],
            )
            near = dict.fromkeys((*below[-1:], *above[:1]))
            names = " and ".join(axes[0].told(part) for part in near)
            yield from wrap(f"Parts you named; nearest to the best value: {names}", WIDTH)
        yield from rows(result, result.parts, chosen)
    if chosen is None:
        yield "None of the parts does it."
        return
    text = f"Of the parts take {at(axes, chosen)}: {told(by, chosen.value(by))}"
    if best is not None:
        less = loss(chosen, best, by) or 0.0
        if less > 0.0:
            text += f", {100 * less:.1f} % short of the best of the range"
    yield from wrap(text + ".", WIDTH)


# --- what it rests on ---------------------------------------------------------------------------------


def _rests(result: SweepResult, doubts: int) -> Iterator[str]:
    alone = isinstance(result.subject, OneMechanism)
    nominal = (
        "one mechanism alone, cold motors, from rest"
        if alone
        else "no chance, no misses, no traffic, no driver"
    )
    if result.asked.matches:
        also = "What is said with chance rests on the stated and assumed spreads, chances and allowances; the rest"
    else:
        also = "It"
    text = (
        f"{also} rests on NOMINAL runs: {nominal}, every quantity at the middle of its spread"
        f"{', a swept one exactly at its value' if any(axis.now is not None for axis in result.asked.axes) else ''}"
        f"; assumed or doubtful: {doubts or 'nothing'} (simbot {'move' if alone else 'check'} lists them). "
        "What comes with a part besides (its weight, friction, inertia) does not change with it unless swept too."
    )
    yield from wrap(text, WIDTH)
    yield from wrap(_hangs(result), WIDTH)
    if any(abs(look.values.get("stall") or 0.0) > 0.5 for point in result.points for look in point.looks):
        yield from wrap(
            "A stall share above 50 % is slow, hot and at the mercy of the battery (common practice, no source); "
            "a motor that is stalled burns.",
            WIDTH,
        )
    yield from wrap(
        "First run of a changed gearing, load or timer: slowly, hands clear of whatever moves, one of you at the "
        "stop. A simulated time is no permission: event rules, inspectors and a qualified adult decide.",
        WIDTH,
    )


def _hangs(result: SweepResult) -> str:
    """What moves the best value most within its spread, the next one too where it moves it by as much as shows."""
    best, by = best_point(result), result.asked.by
    if not result.hangs or best is None:
        return ""
    middle = best.value(by)
    named = []
    for hang in result.hangs[:2]:
        ends = (_end(by, hang.low), _end(by, hang.high))
        if len({*ends, _end(by, middle)}) > 1:
            named.append(f"{hang.name}{' (assumed)' if hang.assumed else ''}, {ends[0]} to {ends[1]}")
    if not named:
        return f"No quantity with a spread moves {by.title} at the best value by as much as shows."
    ends_told = "from the low to the high end of its spread"
    return f"What moves {by.title} at the best value most, {ends_told}: {'; '.join(named)}."


def _end(by: Measure, value: float | None) -> str:
    return "none" if value is None else told(by, value)
