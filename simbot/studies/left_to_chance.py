"""What a plan leaves to chance, and how much is not known of its robot: said where all matches earn the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

from simbot.physics.kinds import KINDS
from simbot.scenario.model import ActStep, DriveStep, MechanismSpec, Plan, SenseStep, WaitStep
from simbot.scenario.parameters import Span
from simbot.scenario.plan_file import all_steps
from simbot.studies.drawn import VARIES
from simbot.studies.sources import unknowns_of


@dataclass(frozen=True)
class LeftToChance:
    plan: tuple[str, ...]  # what differs from match to match as the plan has it, in words; empty: nothing
    people: tuple[str, ...]  # what people make longer, by as much in every match
    spreads: int  # quantities of the robots and their batteries that are drawn


def left_to_chance(plan: Plan, states: Sequence[str]) -> LeftToChance:
    """Of a plan, and of the second robot's."""
    plans = [plan] if plan.partner is None else [plan, plan.partner.plan]
    found, people = (dict.fromkeys(w for each in plans for w in of(each)) for of in (_stated, _people))
    unknown = (one for each in plans for one in unknowns_of(each, states))
    return LeftToChance(tuple(found), tuple(people), sum(not one.rate for one in unknown))


def _stated(plan: Plan) -> list[str]:
    steps = all_steps(plan)
    field = [*plan.patterns, *plan.defenders, *plan.game.stations.values(), *plan.game.places.values()]
    drivers = [] if plan.driver is None else [plan.driver]
    robot = plan.robot.mechanisms.values()
    found = {
        "steps that succeed by chance": any(
            isinstance(step, ActStep) and (step.succeeds < 1.0 or getattr(step.succeeds, "spread", 0.0))
            for step in steps
        ),
        "what is seen by chance": any(isinstance(step, SenseStep) for step in steps),
        "defenders": bool(plan.defenders),
        "times that vary": any(_varies(one) for one in (*steps, *field, *drivers)) or any(map(_timed, robot)),
        "where counts begin": any(_zeroed(spec) for spec in robot),
    }
    return [words for words, there in found.items() if there]


def _people(plan: Plan) -> list[str]:
    allowed = any(isinstance(step, DriveStep | WaitStep) and step.allowance for step in all_steps(plan))
    return [*(["allowances"] if allowed else []), *([] if plan.driver is None else ["a `driver`"])]


def _timed(spec: MechanismSpec) -> bool:
    """Whether a stopwatch time of a mechanism differs from time to time."""
    times = (
        (spec.values.get(key) for key in ("time", "time_in")) if KINDS[spec.kind].COORDINATE == "word" else ()
    )
    return any(getattr(time, "spread", 0.0) > 0.0 for time in times)


def _zeroed(spec: MechanismSpec) -> bool:
    """Whether where a mechanism is zeroed differs from time to time."""
    return any(getattr(spec.values.get(key), "spread", 0.0) > 0.0 for key in VARIES)


def _varies(one: object) -> bool:
    """Whether a duration of it differs from time to time."""
    values = (getattr(one, each.name) for each in fields(one))  # type: ignore[arg-type]
    return any(isinstance(value, Span) and (value.spread_us > 0 or value.samples) for value in values)
