"""A plan run for the eye: its results on every battery state, and the course of one of these runs."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.analysis.course import Course, course_of
from simbot.analysis.results import RunResult, StateResult
from simbot.analysis.states import run_result, state_result
from simbot.physics.build import Models
from simbot.routine.match import play
from simbot.scenario.model import Plan


@dataclass(frozen=True)
class Shown:
    plan: Plan
    run: RunResult
    state: StateResult  # the one that is drawn
    course: Course  # of that run


def battery_drawn(plan: Plan, wanted: str | None = None) -> str:
    """The battery state to draw: the one asked for, mid-event, or the middle one."""
    names = [state.name for state in plan.robot.battery]
    wanted = wanted or "mid-event"
    return wanted if wanted in names else names[len(names) // 2]


def show(plan: Plan, battery: str | None = None) -> Shown:
    """Nominal runs on all battery states."""
    drawn = battery_drawn(plan, battery)
    models = Models(plan.robot)
    results = []
    for state in plan.robot.battery:
        trace, plant = play(plan, state, models)
        results.append(state_result(plan, state, plant, trace))
        if state.name == drawn:
            course = course_of(plant, trace.horizon_us)
    run = run_result(plan, tuple(results))
    return Shown(plan, run, next(state for state in results if state.name == drawn), course)
