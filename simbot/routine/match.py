"""Puts a robot on the field and plays one match: the plants of the plan's robots, and the run over them."""

from __future__ import annotations

from simbot.physics.build import Models
from simbot.physics.luck import NOMINAL, Luck
from simbot.physics.plant import Plant
from simbot.physics.told import Told
from simbot.routine.sequencer import run
from simbot.routine.trace import Trace
from simbot.scenario.model import BatteryState, Plan

TOLERANCE = 1e-7


def play(
    plan: Plan,
    battery: BatteryState,
    models: Models | None = None,
    tolerance: float = TOLERANCE,
    luck: Luck = NOMINAL,
    partner_models: Models | None = None,
    partner_battery: BatteryState | None = None,
    partner_luck: Luck = NOMINAL,
    told: Told = Told.ALL,
) -> tuple[Trace, Plant]:
    """One match.

    Parameters
    ----------
    plan : Plan
    battery : BatteryState
    models : Models, optional
        Built mechanisms, of the robot that plays: where its quantities are drawn, not the plan's own.
    tolerance : float
        Relative tolerance of the integrator.
    luck : Luck
    partner_models, partner_battery, partner_luck
        The same of the second robot, where the plan has one; by default its own nominal values on its battery
        state of the same name, or its middle one.
    told : Told
        How much is written down.
    """
    plant = _plant(plan, battery, models or Models(plan.robot), tolerance, luck, told)
    if plan.partner is None:
        return run(plan, plant, luck, told=told), plant
    other = plan.partner.plan
    states = {state.name: state for state in other.robot.battery}
    middle = other.robot.battery[len(other.robot.battery) // 2]
    feeds = partner_battery or states.get(battery.name, middle)
    built = partner_models or Models(other.robot)
    second = _plant(other, feeds, built, tolerance, partner_luck, told)
    return run(plan, plant, luck, (second, partner_luck), told), plant


def let_go(trace: Trace) -> None:
    """Give back the memory of a match that is boiled down.

    Moves and plants know one another, so that their records, some megabytes, would stay until Python's collector
    comes by: in a study of many matches that is hundreds of them.
    """
    for one in (trace, trace.partner):
        if one is not None and one.moves:
            one.moves[0].move.plant.forget()


def _plant(
    plan: Plan, battery: BatteryState, models: Models, tolerance: float, luck: Luck, told: Told
) -> Plant:
    horizon_us = sum(period.duration_us for period in plan.game.periods)
    phase_us = int(luck.share("phase") * plan.robot.loop_us) if luck.drawn else 0
    return Plant(models.robot, battery, plan.start, horizon_us, tolerance, models, phase_us, luck, told)
