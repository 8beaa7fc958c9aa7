"""Two plans of one robot in one match: so many rounds of the one, then the other to the end, in either order.

What is mixed is the repetition without end in the longest period. Autonomous, start and endgame are those of the
plan that comes first. Places that fill up and stations that run out are the game's own, so that their limits show
by themselves. Candidates are tried on some matches, and the best of them is held against the better plan alone on
others, so that being the best by luck does not count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from simbot.scenario.model import PlaceStep, Plan, RepeatStep, RunStep, SequenceStep, Step
from simbot.scenario.plan_file import inner_steps, with_steps
from simbot.studies.asked import Asked
from simbot.studies.compare import CompareResult, other_game
from simbot.studies.ledger import Ledger, Progress
from simbot.studies.one_match import MatchRecord, nominal_of, played
from simbot.studies.paired import Difference, difference_of
from simbot.studies.schedule import matches_in, one_a_day, schedule

TRIED, AFTER = 24, 56  # matches on which candidates are tried, each of a day of its own; and of other days
MOST = 10  # rounds of the first plan


@dataclass(frozen=True)
class Mixture:
    first: str
    rounds: int
    then: str
    points: float  # mean of the matches on which candidates are tried


@dataclass(frozen=True)
class Mixtures:
    """The best mixture and the better plan alone; `difference`: the one less the other, on other matches."""

    tried: tuple[Mixture, ...]  # the best first
    alone: str
    alone_points: float
    difference: Difference
    runs: int  # on which candidates were tried
    runs_after: int  # on which the difference rests
    failed: int = 0  # matches of mixtures that could not be played


def why_not(first: Plan, second: Plan) -> str:
    """Why two plans cannot be mixed; empty: they can."""
    nowhere = Path()
    if replace(first.robot, path=nowhere) != replace(second.robot, path=nowhere):
        return f"{first.name} and {second.name} have different robots"
    if other_game((first, second)):
        return f"{first.name} and {second.name} play different games"
    for plan in (first, second):
        if _endless(plan) is None:
            return f"{plan.name} repeats nothing until the end of {_longest(plan)}"
    return ""


def mixture(first: Plan, second: Plan, count: int) -> Plan:
    """So many rounds of the first, then the second to the end."""
    period = _longest(first)
    other = _renamed(second, first)
    mine, theirs = _endless(first), _endless(other)
    assert mine is not None and theirs is not None
    steps: list[Step] = []
    for step in first.periods[period].steps:
        steps += [replace(mine, times=count), theirs] if step is mine else [step]
    return replace(
        first,
        name=f"{first.name} {count} times, then {second.name}",
        routines={**other.routines, **first.routines},
        periods={**first.periods, period: replace(first.periods[period], steps=tuple(steps))},
    )


def _longest(plan: Plan) -> str:
    return max(plan.game.periods, key=lambda period: period.duration_us).name


def _endless(plan: Plan) -> RepeatStep | None:
    steps = plan.periods.get(_longest(plan), SequenceStep(0, ())).steps
    return next((step for step in steps if isinstance(step, RepeatStep) and step.times is None), None)


def _renamed(plan: Plan, beside: Plan) -> Plan:
    """The plan with routines whose names another plan does not have, or has for the same."""
    taken = {name for name, own in plan.routines.items() if beside.routines.get(name, own) != own}
    names = {name: f"{plan.name}: {name}" for name in taken}
    # a routine that runs one of these is another one too
    while True:
        more = {
            name
            for name, own in plan.routines.items()
            if name not in names
            and name in beside.routines
            and any(isinstance(each, RunStep) and each.routine in names for each in inner_steps(own, plan))
        }
        if not more:
            break
        names.update({name: f"{plan.name}: {name}" for name in more})

    def change(step: Step) -> Step:
        return (
            replace(step, routine=names.get(step.routine, step.routine))
            if isinstance(step, RunStep)
            else step
        )

    changed = with_steps(plan, change)
    return replace(changed, routines={names.get(name, name): own for name, own in changed.routines.items()})


def _rounds_of(plan: Plan, state: str) -> int:
    """Rounds that a plan comes to by itself, without chance."""
    body = _endless(plan)
    assert body is not None
    places = sum(isinstance(each, PlaceStep) for each in inner_steps(body, plan, inline=True))
    return min(MOST, nominal_of(plan, state).cycles // max(1, places))


def mixtures(ledger: Ledger, result: CompareResult, asked: Asked, progress: Progress) -> Mixtures:
    """The best mixture of the two plans that were compared."""
    one, other = (side.plan for side in result.sides[:2])
    candidates = [
        (first, count, second)
        for first, second in ((one, other), (other, one))
        for count in range(1, _rounds_of(first, asked.states[0]) + 1)
    ]
    plans = [mixture(first, second, count) for first, count, second in candidates]
    trying = one_a_day(asked.states, min(asked.runs, TRIED))
    before = matches_in(TRIED)
    after = schedule(asked.states, min(asked.runs, before + AFTER))[before:] or trying
    ledger.begin(progress, len(plans) * len(trying) + len(after))
    records = ledger.play(plans, trying)
    means = [_mean(own) for own in records]
    order = sorted(range(len(plans)), key=lambda k: (-means[k], k))
    tried = tuple(
        Mixture(candidates[k][0].name, candidates[k][1], candidates[k][2].name, means[k]) for k in order
    )
    better = result.sides[result.best].plan
    best, alone = ledger.play([plans[order[0]] if plans else better, better], after)
    return Mixtures(
        tried,
        better.name,
        _mean(ledger.play([better], trying)[0]),
        difference_of(best, alone),
        len(trying),
        len(after),
        sum(bool(one.fault) for own in (*records, best) for one in own),
    )


def _mean(records: Sequence[MatchRecord]) -> float:
    good = played(records)
    return sum(record.total for record in good) / len(good) if good else 0.0
