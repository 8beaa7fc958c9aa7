"""The changes that a team usually thinks of, made from its plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from simbot.physics.build import DRIVES
from simbot.scenario.model import ActStep, DriveStep, MotorUse, Plan, Step
from simbot.scenario.parameters import Quantity
from simbot.scenario.plan_file import with_steps
from simbot.studies.knobs import knobs_of, with_timers
from simbot.studies.tune import tune

MORE_SURE = 0.05
FASTER = 1.15
LIGHTER = 0.9


def usual_changes(plan: Plan, states: Sequence[str]) -> dict[str, Plan]:
    """Each change in words, to the plan with it."""
    found = {"every pick and place succeeds 5 percentage points more often": with_steps(plan, _more_sure)}
    allowances = with_steps(plan, _without_allowance)
    if allowances != plan:
        found["no allowance for the driver"] = allowances
    found.update(_tuned(plan))
    strongest = plan.robot.battery[0]
    if any(state != strongest.name for state in states):
        battery = tuple(replace(strongest, name=state.name) for state in plan.robot.battery)
        found[f"every battery as the {strongest.name} one"] = replace(
            plan, robot=replace(plan.robot, battery=battery)
        )
    for name, spec in plan.robot.mechanisms.items():
        values = spec.values
        if values.get("moving_mass") is not None and spec.kind not in DRIVES:
            lighter = _times(values["moving_mass"], LIGHTER)
            found[f"{name}: moving parts 10 % lighter"] = _with(plan, name, moving_mass=lighter)
        if values.get("gearing"):
            first, *others = values["gearing"]
            quicker = (replace(first, ratio=_times(first.ratio, 1.0 / FASTER)), *others)
            found[f"{name}: geared 15 % faster"] = _with(plan, name, gearing=quicker)
        use = values.get("motors")
        if use is not None and spec.kind not in DRIVES:
            found[f"{name}: one motor more"] = _with(plan, name, motors=MotorUse(use.count + 1, use.motor))
    lighter_robot = replace(plan.robot, mass=_times(plan.robot.mass, LIGHTER))
    found["robot 10 % lighter"] = replace(plan, robot=lighter_robot)
    return found


def _tuned(plan: Plan) -> dict[str, Plan]:
    """Each timer that is too short or gives time away, and all of them, as the tuning of timers alone suggests."""
    timers = [
        timer for timer in tune(plan, timers_alone=True).timers if timer.what == "wait" and timer.changed
    ]
    suggested = {timer.line: timer for timer in timers}
    knobs = [knob for knob in knobs_of(plan) if knob.line in suggested]
    values = [suggested[knob.line].suggested_us for knob in knobs]
    found = {
        f"line {knob.line} waits {value / 1000:g} ms, not {knob.now_us / 1000:g} ms": with_timers(
            plan, [knob], [value]
        )
        for knob, value in zip(knobs, values, strict=True)
        if value < knob.now_us or (suggested[knob.line].arrival_us or 0) > knob.now_us
    }
    if len(knobs) > 1:
        found["all timers as simbot tune sets them"] = with_timers(plan, knobs, values)
    return found


def _with(plan: Plan, name: str, **values: Any) -> Plan:
    spec = plan.robot.mechanisms[name]
    changed = replace(spec, values={**spec.values, **values})
    robot = replace(plan.robot, mechanisms={**plan.robot.mechanisms, name: changed})
    return replace(plan, robot=robot)


def _times(value: Any, factor: float) -> Any:
    if isinstance(value, tuple):
        return tuple(_times(each, factor) for each in value)
    spread = getattr(value, "spread", 0.0) * factor
    return Quantity(
        float(value) * factor, spread, getattr(value, "text", ""), getattr(value, "assumed", False)
    )


def _more_sure(step: Step) -> Step:
    if not isinstance(step, ActStep) or float(step.succeeds) >= 1.0:
        return step
    given = step.succeeds
    better = min(1.0, float(given) + MORE_SURE)
    return replace(step, succeeds=Quantity(better, getattr(given, "spread", 0.0)))


def _without_allowance(step: Step) -> Step:
    return replace(step, allowance=0.0) if isinstance(step, DriveStep) and step.allowance else step
