"""One run in short, and what one variant of a plan is faster than another."""

from __future__ import annotations

from simbot.studies.runs import Ran
from simbot.studies.tune_results import Totals


def totals_of(ran: Ran) -> Totals:
    result = ran.result
    return Totals(
        cycles=result.cycles,
        cycle_time_s=result.cycle_time_s,
        points_per_s=result.points_per_s,
        points=result.points["total"] or 0.0,
        passes=result.passes,
        finished_us=ran.finished_us,
    )


def saved_us(before: Ran, after: Ran) -> int:
    """Time saved: a mean cycle, or with fewer than two whole cycles the whole routine."""
    old, new = before.result, after.result
    if min(old.cycles, new.cycles) >= 2 and old.cycle_time_s is not None and new.cycle_time_s is not None:
        return round((old.cycle_time_s - new.cycle_time_s) * 1e6)
    return before.finished_us - after.finished_us
