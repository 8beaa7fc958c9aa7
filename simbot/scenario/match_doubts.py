"""What looks wrong in what a plan says of the match around its moves: looks, others, hands at the start."""

from __future__ import annotations

from collections.abc import Iterator

from simbot.scenario.model import (
    ActStep,
    DriveStep,
    HandOverStep,
    LetGoStep,
    Plan,
    SenseStep,
    Step,
    TryStep,
    WaitStep,
    WhenStep,
)
from simbot.scenario.parameters import Quantity
from simbot.scenario.plan_file import all_steps, inner_steps, may_hold
from simbot.scenario.situations import situations

Doubt = tuple[int, str, str]


def match_doubts(plan: Plan) -> Iterator[Doubt]:
    """All of them."""
    yield from _alarms(plan)
    yield from _others(plan)
    yield from _never_so(plan)
    yield from _never_fails(plan)
    yield from _empty_hands(plan)
    limit = plan.game.possession
    held = sum(map(len, plan.start.holds.values()))
    if limit is not None and held > limit.limit:
        text = f"the robot starts with {held} elements in hand, and the game allows {limit.limit}"
        yield plan.start.line, "start.holds", text


def _alarms(plan: Plan) -> Iterator[Doubt]:
    """False alarms of looks for something that is always there."""
    for step in all_steps(plan):
        if isinstance(step, SenseStep) and step.false_alarm:
            station = None if step.station is None else plan.game.stations[step.station]
            if station is None or station.stock is None:
                where = (
                    "no station is named (`of`)" if station is None else f"the {station.name} never runs out"
                )
                text = f"it has no effect: {where}, so that something is always there to see"
                yield step.line, "false_alarm", text


def _never_so(plan: Plan) -> Iterator[Doubt]:
    """Conditions that can never be so, or not be so though something is to be done then."""
    end_us = sum(period.duration_us for period in plan.game.periods)
    for step in all_steps(plan):
        if isinstance(step, WhenStep):
            so = {now.so(step) for now in situations(plan, [step], 0, end_us)}
            if so == {False}:
                yield step.line, "when", "what it asks is never so"
            elif so == {True} and step.otherwise is not None:
                yield step.line, "when", "what it asks is always so: its `otherwise` is never done"


def _never_fails(plan: Plan) -> Iterator[Doubt]:
    """Tries, and what is to be done otherwise, where nothing can fail."""
    for step in all_steps(plan):
        if (
            isinstance(step, ActStep)
            and step.tries > 1
            and step.succeeds == 1.0
            and not _spread(step.succeeds)
        ):
            yield step.line, "tries", "they have no effect: it always succeeds (succeeds: 100 %)"
        if not isinstance(step, TryStep) or (step.tries == 1 and step.otherwise is None):
            continue
        inside = inner_steps(step.steps, plan, inline=True)
        if step.at_most_us is None and not any(_may_fail(inner) for inner in inside):
            yield step.line, "try", "nothing in it can fail, so that it is done once and nothing else"


def _may_fail(step: Step) -> bool:
    if isinstance(step, WaitStep | TryStep):
        return step.at_most_us is not None
    return isinstance(step, ActStep | SenseStep)


def _spread(value: float) -> float:
    return value.spread if isinstance(value, Quantity) else 0.0


def _empty_hands(plan: Plan) -> Iterator[Doubt]:
    """Hands that are emptied, or give, and never hold anything."""
    held = may_hold(plan)
    for step in all_steps(plan):
        if isinstance(step, LetGoStep) and not held.get(step.mechanism):
            yield step.line, "let_go", f"the {step.mechanism} never has anything in hand"
        if isinstance(step, HandOverStep) and not held.get(step.giver):
            yield step.line, "hand_over", f"the {step.giver} never has anything in hand"


def _others(plan: Plan) -> Iterator[Doubt]:
    """Somebody who never leaves, and somebody who meets no drive."""
    for one in plan.patterns:
        if one.stays_us >= one.every_us:
            times = f"it stays {one.stays_us / 1e6:g} s and comes every {one.every_us / 1e6:g} s"
            text = f"{times}: it never leaves the {one.uses} but for a robot that waits there"
            yield one.line, f"others.{one.name}", text
    if plan.defenders and not any(isinstance(step, DriveStep) for step in all_steps(plan)):
        first = plan.defenders[0]
        yield first.line, f"others.{first.name}", "it has no effect: the plan never drives"
