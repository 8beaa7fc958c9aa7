"""One or two quantities over their ranges: every value is run, whatever becomes of it.

The answers drawn from the points (best value, flat region, ends, ridge) stand in `sweep_answer`.
"""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import product

from simbot.scenario.axes import told_of
from simbot.scenario.errors import ScenarioError, SimbotError
from simbot.studies.sweep_asked import Measure, SweepAsked
from simbot.studies.sweep_points import Changes, Look, OneMechanism, WholePlan
from simbot.studies.wishes import Spread, over_spread

Subject = OneMechanism | WholePlan
Progress = Callable[[int, int], None]
Value = tuple[float, ...]  # one number a quantity, in its unit


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
class SweepResult:
    subject: Subject
    asked: SweepAsked
    points: tuple[
        Point, ...
    ]  # the grid in order, the last quantity the fastest; shorter where it was stopped
    parts: tuple[Point, ...]  # those that can be had; empty where nobody said
    now: Point | None  # what the files say
    stopped: bool = False

    @property
    def measures(self) -> dict[str, Measure]:
        return self.subject.measures


def check_values(subject: Subject, asked: SweepAsked) -> None:
    """Tell of a quantity that the files' readers refuse at both its ends and between: it is no single value's fault."""
    for axis in asked.axes:
        values = axis.values
        looked = (values[len(values) // 2], values[0], values[-1])
        refusals = [_refusal(subject, {axis.key: axis.text(value)}) for value in looked]
        if refusals[0] is not None and None not in refusals:
            raise told_of(axis, refusals[0])


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
    spreads = over_spread(subject, changes, asked.wishes) if holds and all(holds) else ()
    return Point(at, looks, "", holds, spreads)


def _short(error: SimbotError) -> str:
    """The first line of a message without the place of what was laid over the files."""
    line = str(error).splitlines()[0]
    return line.split(": ", 2)[-1] if line.startswith("--set ") else line


def sweep(subject: Subject, asked: SweepAsked, progress: Progress) -> SweepResult:
    """Run every value of the grid, of the parts, and what the files say now.

    Ctrl-C ends it early: the result then has what was run up to there.
    """
    grid: list[Value] = list(product(*(axis.values for axis in asked.axes)))
    parts: list[Value] = []
    if any(axis.parts for axis in asked.axes):
        parts = list(product(*(axis.parts or axis.values for axis in asked.axes)))
    now = [axis.now for axis in asked.axes]
    present: list[Value] = [] if None in now else [tuple(value for value in now if value is not None)]
    wanted = [*present, *parts, *grid]
    points: list[Point] = []
    stopped = False
    try:
        for point in _all(subject, asked, wanted):
            points.append(point)
            progress(len(points), len(wanted))
    except KeyboardInterrupt:
        stopped = True
    first, last = len(present), len(present) + len(parts)
    return SweepResult(
        subject, asked, tuple(points[last:]), tuple(points[first:last]), points[0] if present and points else None,
        stopped,
    )  # fmt: skip


def _all(subject: Subject, asked: SweepAsked, wanted: Sequence[Value]) -> Iterator[Point]:
    """The points in their order, from here or from other processes."""
    if asked.workers <= 1 or len(wanted) < 2:
        yield from (look_at(subject, asked, at) for at in wanted)
        return
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(asked.workers, context, _prepare, (subject, asked))
    try:
        yield from pool.map(_look_here, wanted)
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


_here: list[tuple[Subject, SweepAsked]] = []  # of a worker process


def _prepare(subject: Subject, asked: SweepAsked) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _here[:] = [(subject, asked)]


def _look_here(at: Value) -> Point:
    return look_at(*_here[0], at)
