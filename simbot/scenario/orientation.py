"""How a place wants its element held, and what makes it so on this robot: needs of every place step there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from simbot.scenario.model import PlaceStep, Plan, Step
from simbot.scenario.plan_file import all_steps, with_steps


def oriented(plan: Plan) -> Plan:
    """The plan with the needs of each place's orientation among those of its place steps; their own come first."""

    def change(step: Step) -> Step:
        if not isinstance(step, PlaceStep):
            return step
        own = {need.mechanism for need in step.needs}
        more = plan.orientations.get(plan.game.places[step.place].orientation, ())
        return replace(step, needs=(*step.needs, *(need for need in more if need.mechanism not in own)))

    return with_steps(plan, change) if plan.orientations else plan


def unknown_orientations(plan: Plan) -> Iterator[tuple[int, str, str]]:
    """Places that want an orientation of which the plan does not say what makes it so."""
    told: set[str] = set()
    for step in all_steps(plan):
        word = plan.game.places[step.place].orientation if isinstance(step, PlaceStep) else ""
        if isinstance(step, PlaceStep) and word and word not in plan.orientations and word not in told:
            told.add(word)
            yield (
                step.line,
                "place",
                f"the {step.place} wants its {plan.game.places[step.place].takes} {word}, and nothing says what makes "
                f"it so: orientations: {{{word}: {{wrist: 90 deg within 5 deg}}}} in the plan would",
            )
