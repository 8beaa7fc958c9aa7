"""One or two quantities over their ranges: every value is run, whatever becomes of it.

The answers drawn from the points (best value, flat region, ends, ridge) stand in `sweep_answer`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product, takewhile
from typing import Protocol

from simbot.scenario.axes import told_of
from simbot.scenario.errors import ScenarioError, SimbotError
from simbot.studies.players import Players, PlayersLost, no_more
from simbot.studies.sweep_asked import Measure, SweepAsked
from simbot.studies.sweep_points import Changes, Look, OneMechanism, WholePlan
from simbot.studies.wishes import Spread, over_spread

Subject = OneMechanism | WholePlan
Progress = Callable[[int, int], None]
Value = tuple[float, ...]  # one number a quantity, in its unit
MOST_AT_ONCE, PARTS = 32, 8  # values of a mechanism that a process gets at once; at least so many times


@dataclass(frozen=True)
class Point:
    """One value and what was seen there.

    Parameters
    ----------
    at : tuple of float
    looks : tuple of Look
        One a state; empty where nothing could be run.
    fault : str
        Why nothing could be run.
    holds : tuple of bool
        Whether each wish holds at nominal.
    spreads : tuple of Spread
        Each wish over the whole spread; empty where one does not hold at nominal.
    """

    at: Value
    looks: tuple[Look, ...] = ()
    fault: str = ""
    holds: tuple[bool, ...] = ()
    spreads: tuple[Spread, ...] = ()

    @property
    def fits(self) -> bool:
        """Whether all wishes hold at nominal."""
        return bool(self.holds) and all(self.holds)

    @property
    def fits_surely(self) -> bool:
        """Whether all wishes hold over the whole spread."""
        return self.fits and all(spread.holds for spread in self.spreads)

    def value(self, measure: Measure) -> float | None:
        """A measure on the first state; None where there is none."""
        return self.looks[0].values[measure.name] if self.looks else None


@dataclass(frozen=True)
class Hang:
    """What a quantity with a spread does by itself to the best value's measure."""

    name: str
    assumed: bool  # nobody stated it: a default stands in for it
    low: float | None  # the measure at the low end of its spread, SI; None: there is none
    high: float | None


@dataclass(frozen=True)
class SweepResult:
    subject: Subject
    asked: SweepAsked
    points: tuple[
        Point, ...
    ]  # the grid in order, the last quantity the fastest; shorter where it was stopped
    parts: tuple[Point, ...]  # those that can be had; empty where nobody said
    now: Point | None  # what the files say
    stopped: bool = False
    hangs: tuple[Hang, ...] = ()  # of one mechanism, what moves the best value most first

    @property
    def measures(self) -> dict[str, Measure]:
        return self.subject.measures


class KeptPoints(Protocol):
    """What was run before and is run now; see `sweep_kept`."""

    points: dict[Value, Point]

    def keep(self) -> None: ...


def check_values(subject: Subject, asked: SweepAsked) -> None:
    """Tell of a quantity that the files' readers refuse at both its ends and between: it is no single value's fault.

    A range that begins below zero, where they refuse it, is a slip of a sign and told too.
    """
    for axis in asked.axes:
        values = axis.values
        looked = (values[len(values) // 2], values[0], values[-1])
        refusals = [_refusal(subject, {axis.key: axis.text(value)}) for value in looked]
        if refusals[0] is not None and None not in refusals:
            raise told_of(axis, refusals[0])
        if values[0] < 0.0 and refusals[1] is not None:
            raise told_of(axis, refusals[1])


def _refusal(subject: Subject, changes: Changes) -> ScenarioError | None:
    try:
        subject.read(changes)
    except ScenarioError as error:
        return error
    return None


def look_at(subject: Subject, asked: SweepAsked, at: Value) -> Point:
    """One value; a value that the files' readers refuse is a point that says so."""
    changes = {axis.key: axis.text(value) for axis, value in zip(asked.axes, at, strict=True)}
    try:
        looks = subject.looks(changes, asked.states)
    except SimbotError as error:
        return Point(at, fault=_short(error))
    by_state = {look.state: look for look in looks}
    holds = tuple(wish.holds(by_state[wish.state].values[wish.measure]) for wish in asked.wishes)
    spreads = over_spread(subject, changes, asked.wishes, looks) if holds and all(holds) else ()
    return Point(at, looks, "", holds, spreads)


def _short(error: SimbotError) -> str:
    """The first line of a message without the place of what was laid over the files."""
    line = str(error).splitlines()[0]
    return line.split(": ", 2)[-1] if line.startswith("--set ") else line


def look_at_all(subject: Subject, asked: SweepAsked, wanted: Sequence[Value]) -> list[Point]:
    """Some values; fewer where nobody wants any more."""
    found = []
    for at in wanted:
        if no_more():
            break
        found.append(look_at(subject, asked, at))
    return found


def sweep(
    subject: Subject, asked: SweepAsked, progress: Progress, kept: KeptPoints | None = None
) -> SweepResult:
    """Run every value of the grid, of the parts, and what the files say now.

    Ctrl-C ends it early: the result then has what was run up to there. What `kept` has from before is not run again,
    and progress is that of the rest.
    """
    grid: list[Value] = list(product(*(axis.values for axis in asked.axes)))
    parts: list[Value] = []
    if any(axis.parts for axis in asked.axes):
        parts = list(product(*(axis.parts or axis.values for axis in asked.axes)))
    now = [axis.now for axis in asked.axes]
    present: list[Value] = [] if None in now else [tuple(value for value in now if value is not None)]
    wanted = [*present, *parts, *grid]
    found = {} if kept is None else kept.points
    missing = list(dict.fromkeys(at for at in wanted if at not in found))
    with Players(1 if len(missing) < 2 else asked.workers, asked.cluster if missing else None) as players:
        try:
            for number, point in enumerate(_all(players, subject, asked, missing), start=1):
                found[point.at] = point
                progress(number, len(missing))
            stopped = False
        except (KeyboardInterrupt, PlayersLost) as error:
            found.update({point.at: point for points in players.left() for point in points or ()})
            if kept is not None:
                kept.keep()
            if isinstance(error, PlayersLost):
                raise
            stopped = True
    points = [found[at] for at in takewhile(lambda at: at in found, wanted)]
    first, last = len(present), len(present) + len(parts)
    return SweepResult(
        subject, asked, tuple(points[last:]), tuple(points[first:last]), points[0] if present and points else None,
        stopped,
    )  # fmt: skip


def _all(players: Players, subject: Subject, asked: SweepAsked, wanted: Sequence[Value]) -> Iterator[Point]:
    """The points in their order; who runs them gets some at a time, with the files' trees."""
    size = 1
    if players.pool is not None and isinstance(subject, OneMechanism):
        size = max(1, min(MOST_AT_ONCE, len(wanted) // (PARTS * players.workers)))
    told = replace(asked, workers=1, cluster=None)
    tasks = [(subject, told, wanted[k : k + size]) for k in range(0, len(wanted), size)]
    for points in players.each(look_at_all, tasks):
        yield from points
