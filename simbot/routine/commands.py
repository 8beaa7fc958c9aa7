"""What each step of a plan tells its mechanisms to do: worked out once, whatever number of matches is played."""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees
from typing import NamedTuple

from simbot.physics.move import Command, DriveFor, DriveTo, GoTo, PushFor, Rezero, Spin, SpinTo
from simbot.physics.ways import Bend
from simbot.scenario.model import (
    ActStep,
    DriveForStep,
    DriveStep,
    EffortStep,
    Goal,
    HandOverStep,
    MoveStep,
    PlaceStep,
    Plan,
    SpinStep,
    Step,
    Target,
    ZeroStep,
)
from simbot.scenario.once import once_a_plan
from simbot.scenario.plan_file import all_steps


class Commanded(NamedTuple):
    """One command to one mechanism."""

    step: Step
    mechanism: str
    command: Command
    label: str
    opens: bool = False  # a move to where the mechanism lets go of what it holds


@once_a_plan
def commands_of(plan: Plan) -> dict[int, tuple[Commanded, ...]]:
    """Commands of every step, by its identity, in file order; of a hand over: its `by`, then its release."""
    lets_go = _lets_go(plan)
    return {
        id(step): tuple(
            what._replace(opens=sent_to(what.command) in lets_go[what.mechanism])
            if isinstance(step, MoveStep | EffortStep)
            else what
            for what in _commands(step)
        )
        for step in all_steps(plan)
    }


def sent_to(command: Command) -> Target | None:
    """Where a command is to bring a mechanism; None: it says nothing of that."""
    if isinstance(command, PushFor):
        return command.toward
    return command.target if isinstance(command, GoTo) else None


def _lets_go(plan: Plan) -> dict[str, set[Target]]:
    """Where a mechanism lets go of what it holds: `open`, and where a place or a hand over of the plan sends it."""
    found: dict[str, set[Target]] = {
        name: {"open", (spec.values.get("named") or {}).get("open", "open")}
        for name, spec in plan.robot.mechanisms.items()
    }
    for step in all_steps(plan):
        goal = step.by if isinstance(step, PlaceStep) else getattr(step, "release", None)
        if goal is not None:
            found[goal.mechanism].add(goal.target)
    return found


def _commands(step: Step) -> Iterator[Commanded]:
    if isinstance(step, MoveStep):
        for goal in step.goals:
            yield _goes(step, goal)
    elif isinstance(step, ActStep):
        yield _goes(step, step.by)
        if isinstance(step, HandOverStep) and step.release is not None:
            yield _goes(step, step.release)
    elif isinstance(step, DriveStep):
        yield _drives(step)
    elif isinstance(step, DriveForStep):
        push = DriveFor(step.effort, step.by, step.direction, step.duration_us, step.after)
        way = f" in {degrees(step.direction):g} deg" if step.direction else ""
        yield Commanded(
            step, step.mechanism, push, f"{_pushed(step)}{way} for {step.duration_us / 1000:g} ms"
        )
    elif isinstance(step, EffortStep):
        effort = PushFor(step.effort, step.toward, step.duration_us, step.after)
        yield Commanded(step, step.mechanism, effort, f"{_pushed(step)} for {step.duration_us / 1000:g} ms")
    elif isinstance(step, ZeroStep):
        label = f"{step.mechanism} to its zero at {step.text}"
        yield Commanded(step, step.mechanism, Rezero(step.position, step.effort), label)
    elif isinstance(step, SpinStep):
        if step.speed is not None:
            yield Commanded(step, step.mechanism, SpinTo(step.speed), f"{step.mechanism} to {step.text}")
        else:
            label = f"{step.mechanism} at {step.effort * 100:g} %"
            yield Commanded(step, step.mechanism, Spin(step.effort), label)


def _goes(step: Step, goal: Goal) -> Commanded:
    return Commanded(step, goal.mechanism, GoTo(goal.target), f"{goal.mechanism} to {goal.text}")


def _drives(step: DriveStep) -> Commanded:
    points = len(step.through)
    by = f" through {points} point{'s' if points > 1 else ''}" if points else ""
    bend = None
    if step.corner is not None or step.smooth or step.along:
        bend = Bend(step.corner, step.smooth, step.along)
    command = DriveTo(step.pose, step.through, bend)
    return Commanded(step, step.mechanism, command, f"{step.mechanism} to {step.to}{by}")


def _pushed(step: EffortStep | DriveForStep) -> str:
    return f"{step.mechanism} {step.effort * 100:g} % toward {step.text}"
