"""What looks wrong in what a plan says of the match around its moves: looks, others, hands at the start."""

from __future__ import annotations

from collections.abc import Iterator

from simbot.scenario.model import DriveStep, Plan, SenseStep
from simbot.scenario.plan_file import all_steps

Doubt = tuple[int, str, str]


def match_doubts(plan: Plan) -> Iterator[Doubt]:
    """All of them."""
    yield from _alarms(plan)
    yield from _others(plan)
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
