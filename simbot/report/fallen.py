"""What fell in a run, where and when, and what penalties were paid: in words."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees

from simbot.analysis.results import FallResult, RunResult
from simbot.analysis.words import times
from simbot.routine.trace import Award

Happened = list[tuple[str, FallResult | Award]]  # battery state, and what


def fallen_rows(run: RunResult) -> Iterator[tuple[str, str]]:
    """Lead and text of each line: what it is, in the order in which it first happens, and below it in which states."""
    groups: dict[tuple[int, str], Happened] = {}
    for state in run.states:
        for one in state.falls:
            groups.setdefault((one.fall.line, _fell(one)), []).append((state.name, one))
        for award in state.awards:
            if (
                award.kind == "penalty" and not award.of_fall and award.name != "possession"
            ):  # a finding tells that
                groups.setdefault((award.line, _paid(award)), []).append((state.name, award))
    for (line, what), happened in sorted(
        groups.items(), key=lambda item: min(_at(one) for _, one in item[1])
    ):
        yield f" line {line:>3}  ", what
        yield " " * 10, "; ".join(_in_states(happened)) + "."


def _at(one: FallResult | Award) -> int:
    return one.fall.at_us if isinstance(one, FallResult) else one.at_us


def _fell(one: FallResult) -> str:
    fall = one.fall
    where = "it is lost" if one.back_to is None else f"back at the {one.back_to}"
    costs = f"; {fall.outcome}: {_points(fall.points)} each time" if fall.points else ""
    return f"step {fall.step}: {fall.element} falls from the {fall.mechanism}, {where}{costs}"


def _paid(award: Award) -> str:
    return f"{award.name}: {_points(award.points)} each time"


def _points(points: float) -> str:
    return f"{points:+g} point{'' if abs(points) == 1.0 else 's'}"


def _in_states(happened: Happened) -> Iterator[str]:
    """Each battery state: how often, the first instant, and where the robot was."""
    by_state: dict[str, list[FallResult | Award]] = {}
    for state, one in happened:
        by_state.setdefault(state, []).append(one)
    for state, ones in by_state.items():
        first = ones[0]
        where = ""
        if isinstance(first, FallResult) and first.pose is not None:
            where = f", robot at {first.pose.x:.2f} m, {first.pose.y:.2f} m, {degrees(first.pose.heading):.0f} deg"
        begin = "at" if len(ones) == 1 else "first at"
        yield f"{state} {times(len(ones))}, {begin} {_at(first) * 1e-6:.2f} s{where}"
