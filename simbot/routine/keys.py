"""Names of the draws of a plan's steps: the same step meets the same luck, whatever else the plan does.

A name is the routine (or period) in which a step stands, what it does and with what; equal steps of one routine
are numbered in file order. So a step put in or taken out elsewhere, and another value of a step's own numbers,
move no draw. A drive is named by where it goes: to another pose it is another one.
"""

from __future__ import annotations

from simbot.scenario.model import (
    DriveStep,
    HandOverStep,
    PickStep,
    PlaceStep,
    Plan,
    SenseStep,
    Step,
    WaitStep,
)
from simbot.scenario.once import once_a_plan
from simbot.scenario.parameters import Span
from simbot.scenario.plan_file import inner_steps

Key = tuple[object, ...]


@once_a_plan
def draw_keys(plan: Plan) -> dict[int, Key]:
    """Key of every step with chance in it, by the identity of the step."""
    roots = [*plan.routines.items(), *plan.periods.items()]
    if plan.endgame is not None:
        roots.append(("endgame", plan.endgame.steps))
    keys: dict[int, Key] = {}
    for name, root in roots:
        counts: dict[Key, int] = {}
        for step in inner_steps(root, plan):
            what = _what(step)
            if what is not None:
                number = counts.get(what, 0)
                counts[what] = number + 1
                keys[id(step)] = (name, *what, number)
    return keys


def _what(step: Step) -> Key | None:
    if isinstance(step, PickStep):
        return ("pick", step.element, step.station, step.by.mechanism)
    if isinstance(step, PlaceStep):
        return ("place", step.place, step.by.mechanism)
    if isinstance(step, HandOverStep):
        return ("hand over", step.giver, step.by.mechanism)
    if isinstance(step, DriveStep):  # somebody may hold it up
        return ("drive", step.mechanism, step.to)
    if isinstance(step, SenseStep):
        return ("sense", step.name)
    if isinstance(step, WaitStep) and isinstance(step.duration_us, Span):
        return ("wait", step.purpose or "")
    if isinstance(step, WaitStep) and (step.arrival or step.past is not None):
        return ("seen",)  # a person reacts to it
    return None
