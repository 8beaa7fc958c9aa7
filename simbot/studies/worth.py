"""What a change is worth in points a match: the plan with and without it, under the same luck."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from simbot.scenario.model import Plan
from simbot.studies.asked import Asked
from simbot.studies.controls import Known
from simbot.studies.ledger import Ledger, Progress
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord, played
from simbot.studies.paired import Difference, difference_of, mean_points, play_together
from simbot.studies.schedule import schedule
from simbot.studies.sources import Sources, sources_found, sources_of
from simbot.studies.statistics import Figure


@dataclass(frozen=True)
class Worth:
    """One change: the plan with it less the plan without."""

    change: str
    difference: Difference
    points: float  # a match, with it


@dataclass(frozen=True)
class WorthResult:
    asked: Asked
    plan: Plan
    base: Figure
    changes: tuple[Worth, ...]  # the best first
    together: Worth | None  # all of them at once; None below two
    runs: int
    days: int
    faults: tuple[tuple[str, MatchRecord], ...]
    sources: Sources | None = None  # where the uncertainty comes from; None: not asked for, or there is none
    stopped: bool = False  # with Ctrl-C, before all was played


def worth(
    plan: Plan, variants: Mapping[str, Plan], together: Plan | None, asked: Asked, progress: Progress
) -> WorthResult:
    """Play the same matches with the plan, with each change, and with all of them.

    Parameters
    ----------
    plan : Plan
    variants : mapping
        A change as it was written, to the plan with it.
    together : Plan or None
        The plan with all of them.
    """
    plans = [plan, *variants.values(), *(() if together is None else (together,))]
    with Ledger("worth", plans, asked) as ledger:
        return worths(ledger, plan, variants, together, asked, progress)


def worths(
    ledger: Ledger,
    plan: Plan,
    variants: Mapping[str, Plan],
    together: Plan | None,
    asked: Asked,
    progress: Progress,
) -> WorthResult:
    """The same, with what a study has played already; stopped with Ctrl-C, what it has by then.

    Raises
    ------
    KeyboardInterrupt
        Where it was stopped before any match had been played with every change.
    """
    plans = [plan, *variants.values(), *(() if together is None else (together,))]
    ledger.begin(progress, len(plans) * asked.runs)
    stopped = False
    try:
        records = play_together(ledger, plans, asked)
        ledger.end()
    except KeyboardInterrupt:
        records, stopped = ledger.found_of(plans, schedule(asked.states, asked.runs)), True
        if not played(records[0]):
            raise
        ledger.keep()
    base = records[0]
    names = [*variants, *(() if together is None else ("all of them",))]
    known = Known(plans, asked.seed, asked.states)
    mean = mean_points(base, known)
    differences = [difference_of(own, base, known=known) for own in records[1:]]
    found = [
        Worth(name, apart, mean.value + apart.mean.value)
        for name, apart in zip(names, differences, strict=True)
    ]
    everything = found.pop() if together is not None else None
    sides = zip(["as it is", *names], records, strict=True)
    return WorthResult(
        asked,
        plan,
        mean,
        tuple(sorted(found, key=lambda one: -one.difference.mean.value)),
        everything,
        len(base),
        len({one.number // MATCHES_A_DAY for one in base}),
        tuple((name, each) for name, own in sides for each in own if each.fault),
        stopped=stopped,
    )


def with_sources(ledger: Ledger, result: WorthResult, pairs: int, progress: Progress) -> WorthResult:
    """With where the uncertainty comes from, by so many pairs of matches; stopped with Ctrl-C, by those it has."""
    if result.stopped:
        return result
    try:
        found = sources_of(ledger, result.plan, result.asked, pairs, progress)
        return replace(result, sources=found)
    except KeyboardInterrupt:
        ledger.keep()
        return replace(result, sources=sources_found(ledger, result.plan, result.asked, pairs), stopped=True)
