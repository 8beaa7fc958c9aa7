"""Two or more plans under the same luck: which scores more, by how much, how surely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from simbot.scenario.model import Plan
from simbot.studies.asked import Asked
from simbot.studies.ledger import Ledger, Progress
from simbot.studies.one_match import MatchRecord, nominal_of, played, totals_of
from simbot.studies.paired import ALPHA, Difference, best_of, difference_of, play_off
from simbot.studies.statistics import Distribution, distribution, tally_of


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
    tally: dict[float, int]  # matches by their points


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
    best: int  # number of the side whose mean is highest
    runs: int  # of the one that was played most
    stopped: bool  # the best was settled against every other before all runs
    faults: tuple[tuple[str, MatchRecord], ...]
    records: tuple[tuple[MatchRecord, ...], ...]  # of each side


def compare(plans: Sequence[Plan], asked: Asked, progress: Progress) -> CompareResult:
    """Play the same matches with every plan until the best is settled against all others, or all are played.

    Raises
    ------
    KeyboardInterrupt
        Where it was stopped; what was played is kept.
    """
    with Ledger("compare", plans, asked) as ledger:
        return compared(ledger, plans, asked, progress)


def compared(ledger: Ledger, plans: Sequence[Plan], asked: Asked, progress: Progress) -> CompareResult:
    """The same, with what a study has played already."""
    ledger.begin(progress, len(plans) * asked.runs)
    records = play_off(ledger, plans, asked, [[] for _ in plans])
    ledger.end()
    return put_together(plans, asked, records)


def put_together(
    plans: Sequence[Plan], asked: Asked, records: Sequence[Sequence[MatchRecord]]
) -> CompareResult:
    """What the records of all plans say."""
    alpha = ALPHA / (len(plans) - 1)
    runs = max(map(len, records))
    best = best_of(records)
    pairs = tuple(
        Pair(a, b, difference_of(records[a], records[b], alpha if best in (a, b) else ALPHA))
        for a, b in combinations(range(len(plans)), 2)
    )
    return CompareResult(
        asked,
        tuple(_side(plan, asked.states[0], own) for plan, own in zip(plans, records, strict=True)),
        pairs,
        best,
        runs,
        all(pair.difference.sure for pair in pairs if best in (pair.first, pair.second))
        and runs < asked.runs,
        tuple(
            (plan.name, each) for plan, own in zip(plans, records, strict=True) for each in own if each.fault
        ),
        tuple(map(tuple, records)),
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
        tally_of(totals_of(good)[0]),
    )
