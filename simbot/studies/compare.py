"""Two or more plans under the same luck: which scores more, by how much, how surely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from simbot.scenario.model import Plan
from simbot.studies.asked import Asked
from simbot.studies.one_match import MatchRecord, nominal_of, played, totals_of
from simbot.studies.paired import Difference, Progress, difference_of, is_sure, play_together
from simbot.studies.statistics import Distribution, distribution


@dataclass(frozen=True)
class Side:
    """One of the plans."""

    plan: Plan
    points: Distribution
    cycles: float  # a match
    cycle_time_s: float | None
    points_per_cycle: float | None
    points_per_s: float | None  # of whole cycles
    nominal: MatchRecord


@dataclass(frozen=True)
class Pair:
    first: int
    second: int
    difference: Difference


@dataclass(frozen=True)
class CompareResult:
    asked: Asked
    sides: tuple[Side, ...]  # as given
    pairs: tuple[Pair, ...]
    runs: int
    stopped: bool  # all pairs were settled before all runs
    faults: tuple[tuple[str, MatchRecord], ...]


def compare(plans: Sequence[Plan], asked: Asked, progress: Progress) -> CompareResult:
    """Play the same matches with every plan until every pair is settled, or all are played."""
    pairs = list(combinations(range(len(plans)), 2))

    def settled(records: list[list[MatchRecord]]) -> bool:
        return all(is_sure(records[first], records[second]) for first, second in pairs)

    records = play_together(
        plans, asked.seed, asked.states, asked.runs, asked.workers, progress, settled, asked.cluster
    )
    sides = tuple(_side(plan, asked.states[0], own) for plan, own in zip(plans, records, strict=True))
    return CompareResult(
        asked,
        sides,
        tuple(Pair(a, b, difference_of(records[a], records[b])) for a, b in pairs),
        len(records[0]),
        len(records[0]) < asked.runs,
        tuple(
            (plan.name, each) for plan, own in zip(plans, records, strict=True) for each in own if each.fault
        ),
    )


def _side(plan: Plan, state: str, records: Sequence[MatchRecord]) -> Side:
    good = played(records)
    cycles = sum(record.cycles for record in good)
    seconds = sum(record.cycle_s for record in good)
    earned = sum(record.delivered for record in good)
    return Side(
        plan,
        distribution(*totals_of(good)),
        cycles / len(good),
        seconds / cycles if cycles else None,
        earned / cycles if cycles else None,
        earned / seconds if seconds else None,
        nominal_of(plan, state),
    )
