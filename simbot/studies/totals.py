"""One run in short, and what one variant of a plan is faster than another."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from simbot.analysis import cycles
from simbot.analysis.results import passes_if
from simbot.studies.runs import Ran
from simbot.studies.tune_results import Totals


def totals_of(ran: Ran) -> Totals:
    times = cycles.cycle_times_s(ran.trace)
    return Totals(
        cycles=len(times),
        cycle_time_s=cycles.mean_s(times),
        points_per_s=cycles.points_per_s(ran.trace, times),
        points=ran.points,
        passes=not any(one.fails for one in ran.findings),
        passes_if=passes_if(ran.findings),
        finished_us=ran.finished_us,
    )


@dataclass(frozen=True)
class Saved:
    """What one run is faster than another: a cycle; where nothing is delivered, in all [us]."""

    routine_us: int  # waiting at stations and places left out
    cycle_us: int  # with it: what a station that is still empty leaves of the gain


def saved(before: Ran, after: Ran) -> Saved:
    """Compare two runs of a plan up to the last delivery that both come to, period by period.

    The mean cycle time of a whole match would not do: its last delivery may hang on the clock, not on the
    routine. Where a period has no delivery in one of them, the last wait that both come to counts.
    """
    with_queues = without = cycles = 0
    for begin, end in _stretches(before):
        marks = [_deliveries(ran, begin, end) for ran in (before, after)]
        count = min(map(len, marks))
        cycles += count
        if count == 0:
            marks = [_waits(ran, begin, end) for ran in (before, after)]
            count = min(map(len, marks))
        if count:
            old, new = (each[count - 1] for each in marks)
            gained = old - new
            with_queues += gained
            without += gained - _queued_us(before, begin, old) + _queued_us(after, begin, new)
    each = max(1, cycles)
    return Saved(round(without / each), round(with_queues / each))


def _stretches(ran: Ran) -> list[tuple[int, int]]:
    """Begin and end of each routine: the periods, and the endgame's own."""
    plan = ran.plan
    begins = [0]
    for period in plan.game.periods:
        begins.append(begins[-1] + period.duration_us)
    end = begins.pop()
    if plan.endgame is not None:
        begins = [*(begin for begin in begins if begin < plan.endgame.begin_us), plan.endgame.begin_us]
    return list(pairwise([*begins, end]))


def _deliveries(ran: Ran, begin: int, end: int) -> list[int]:
    return [one.at_us for one in ran.trace.deliveries if begin < one.at_us <= end]


def _waits(ran: Ran, begin: int, end: int) -> list[int]:
    return sorted(one.ended_us for one in ran.trace.waits if begin < one.ended_us <= end and not one.cut)


def _queued_us(ran: Ran, begin: int, end: int) -> int:
    return sum(max(0, min(one.to_us, end) - max(one.from_us, begin)) for one in ran.trace.queues)
