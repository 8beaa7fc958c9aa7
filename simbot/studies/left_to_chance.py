"""What a plan leaves to chance, and how much is not known of its robot: said where all matches earn the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

from simbot.scenario.model import ActStep, DriveStep, Plan, SenseStep, WaitStep
from simbot.scenario.parameters import Span
from simbot.scenario.plan_file import all_steps
from simbot.studies.sources import unknowns_of


@dataclass(frozen=True)
class LeftToChance:
    plan: tuple[str, ...]  # what is stated of chance and of people, in words; empty: nothing
    spreads: int  # quantities of the robots and their batteries that are drawn


def left_to_chance(plan: Plan, states: Sequence[str]) -> LeftToChance:
    """Of a plan, and of the second robot's."""
    plans = [plan] if plan.partner is None else [plan, plan.partner.plan]
    found = dict.fromkeys(words for each in plans for words in _stated(each))
    unknown = (one for each in plans for one in unknowns_of(each, states))
    return LeftToChance(tuple(found), sum(not one.rate for one in unknown))


def _stated(plan: Plan) -> list[str]:
    steps = all_steps(plan)
    field = [*plan.patterns, *plan.defenders, *plan.game.stations.values(), *plan.game.places.values()]
    found = {
        "steps that succeed by chance": any(
            isinstance(step, ActStep) and (step.succeeds < 1.0 or getattr(step.succeeds, "spread", 0.0))
            for step in steps
        ),
        "what is seen by chance": any(isinstance(step, SenseStep) for step in steps),
        "defenders": bool(plan.defenders),
        "a `driver`": plan.driver is not None,
        "allowances": any(isinstance(step, DriveStep | WaitStep) and step.allowance for step in steps),
        "times that vary": any(_varies(one) for one in (*steps, *field)),
    }
    return [words for words, there in found.items() if there]


def _varies(one: object) -> bool:
    """Whether a duration of it differs from time to time."""
    values = (getattr(one, each.name) for each in fields(one))  # type: ignore[arg-type]
    return any(isinstance(value, Span) and (value.spread_us > 0 or value.samples) for value in values)
