"""Two or more plans under the same luck: which scores more, by how much, how surely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import numpy as np

from simbot.scenario.model import Plan
from simbot.studies.asked import Asked
from simbot.studies.controls import Known
from simbot.studies.ledger import Ledger, Progress
from simbot.studies.one_match import MatchRecord, nominal_of, played, totals_of
from simbot.studies.paired import (
    ALPHA,
    Difference,
    best_of,
    difference_of,
    mean_points,
    paired,
    play_off,
    totals,
)
from simbot.studies.statistics import Distribution, Figure, distribution, tally_of


@dataclass(frozen=True)
class Side:
    """One of the plans."""

    plan: Plan
    points: Distribution
    cycles: float  # a match
    cycle_time_s: float | None
    points_of_cycles: float  # a match, from whole cycles: deliveries and their bonuses
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


def other_game(plans: Sequence[Plan]) -> Plan | None:
    """The first plan that plays another game than the first of all; points of two games tell nothing."""
    nowhere = Path()
    games = [replace(plan.game, path=nowhere) for plan in plans]
    return next((plan for plan, game in zip(plans, games, strict=True) if game != games[0]), None)


def told_apart(plans: Sequence[Plan]) -> list[Plan]:
    """The plans; those of one name are named after their files, the same file twice with its number."""
    names = [plan.name for plan in plans]
    alike = {n: plan.path.resolve().parts for n, plan in enumerate(plans) if names.count(plan.name) > 1}
    depth = 1
    while len({parts[-depth:] for parts in alike.values()}) < len(set(alike.values())):
        depth += 1
    for n, parts in alike.items():
        names[n] = "/".join(parts[-depth:])
    numbers = [names[: n + 1].count(name) if names.count(name) > 1 else 0 for n, name in enumerate(names)]
    told = [f"{name} ({n})" if n else name for name, n in zip(names, numbers, strict=True)]
    return [replace(plan, name=name) for plan, name in zip(plans, told, strict=True)]


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
    known = Known(plans, asked.seed, asked.states)
    records = play_off(ledger, plans, asked, [[] for _ in plans], known)
    ledger.end()
    return put_together(plans, asked, records, known)


def put_together(
    plans: Sequence[Plan], asked: Asked, records: Sequence[Sequence[MatchRecord]], known: Known | None = None
) -> CompareResult:
    """What the records of all plans say."""
    alpha = ALPHA / (len(plans) - 1)
    runs = max(map(len, records))
    known = known or Known(plans, asked.seed, asked.states)
    best = best_of(records, known)
    pairs = tuple(
        Pair(a, b, difference_of(records[a], records[b], alpha if best in (a, b) else ALPHA, known))
        for a, b in combinations(range(len(plans)), 2)
    )
    means = _means(records, known)
    return CompareResult(
        asked,
        tuple(
            _side(plan, asked.states[0], own, mean)
            for plan, own, mean in zip(plans, records, means, strict=True)
        ),
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


def _means(records: Sequence[Sequence[MatchRecord]], known: Known) -> list[Figure]:
    """Mean points of every plan; of two they are as far apart as is said of them."""
    if len(records) == 2:
        pairing = paired(records[0], records[1], known)
        taken = pairing.fit().taken
        columns = np.column_stack(totals(records[0], records[1])[:2])
        return [fit.mean for fit in pairing.fits(columns, taken)]
    return [mean_points(own, known) for own in records]


def _side(plan: Plan, state: str, records: Sequence[MatchRecord], mean: Figure) -> Side:
    good = played(records)
    cycles = sum(record.cycles for record in good)
    seconds = sum(record.cycle_s for record in good)
    earned = sum(record.delivered for record in good)
    return Side(
        plan,
        replace(distribution(*totals_of(good)), mean=mean),
        cycles / len(good),
        seconds / cycles if cycles else None,
        earned / len(good),
        earned / cycles if cycles else None,
        earned / seconds if seconds else None,
        nominal_of(plan, state),
        tally_of(totals_of(good)[0]),
    )
