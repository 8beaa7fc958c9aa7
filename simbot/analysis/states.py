"""Puts the numbers of one run together, and the battery states of one plan side by side."""

from __future__ import annotations

from dataclasses import replace
from math import remainder, tau

from simbot.analysis import cycles, findings, timers
from simbot.analysis.better_timer import numbers_of
from simbot.analysis.needs import need_results
from simbot.analysis.never import stuck_moves
from simbot.analysis.results import FallResult, RunResult, StateResult
from simbot.physics import strain
from simbot.physics.build import DRIVES
from simbot.physics.plant import Plant
from simbot.routine.trace import Trace
from simbot.scenario.model import BatteryState, Plan


def state_result(plan: Plan, battery: BatteryState, plant: Plant, trace: Trace) -> StateResult:
    """Everything about one run on one battery state."""
    links = timers.link(trace, plant)
    stuck = stuck_moves(trace, plant)
    found = findings.find(plan, trace, links, plant, stuck)
    begin_us = None if plan.endgame is None else plan.endgame.begin_us
    moves = timers.move_results(trace, links, plan.guard_us)
    times = cycles.cycle_times_s(trace)
    points = cycles.points_by_period(trace, plan.game)
    drives = frozenset(name for name, mechanism in plan.robot.mechanisms.items() if mechanism.kind in DRIVES)
    lowest, lowest_at = plant.lowest_bus()
    peak, average = plant.currents()
    fuse = plan.robot.fuse
    return StateResult(
        name=battery.name,
        open_circuit=battery.open_circuit,
        resistance=battery.resistance,
        cycles=len(times),
        cycle_time_s=cycles.mean_s(times),
        cycle_time_sd_s=cycles.spread_s(times),
        points_per_s=cycles.points_per_s(trace, times),
        points=points,
        time=cycles.time_shares(trace, links, drives, plan.guard_us),
        unfinished=cycles.unfinished(trace, begin_us),
        deliveries_at_us=tuple(delivery.at_us for delivery in trace.deliveries),
        bus_min_v=lowest,
        bus_min_at_us=lowest_at,
        current_peak_a=peak,
        current_mean_a=average,
        energy_j=plant.energy(),
        over_fuse_s=None
        if fuse is None
        else sum(end - begin for begin, end in strain.above(plant, fuse.rating)),
        moves=tuple(
            replace(move, stuck=True) if index in stuck else move for index, move in enumerate(moves)
        ),
        needs=need_results(trace, links, plant, plan.robot, plan.guard_us),
        picks=timers.pick_results(trace, links, plan.guard_us),
        findings=found,
        acting_steps=len(trace.acting),
        acting_steps_without_needs=sum(not states_needs for _, states_needs in trace.acting),
        passes=not any(one.fails for one in found),
        partner_points=(
            None if trace.partner is None else cycles.points_by_period(trace.partner, plan.game)["total"]
        ),
        waits=timers.wait_results(trace),
        choices=trace.choices,
        falls=_falls(plan, plant, trace, bool(drives)),
        awards=trace.awards,
        idle_s=cycles.left_idle(trace, links, plan.game, begin_us),
    )


def _falls(plan: Plan, plant: Plant, trace: Trace, drives: bool) -> tuple[FallResult, ...]:
    """What fell, where."""
    rows = []
    for fall in trace.falls:
        pose = plant.pose(fall.at_us) if drives else plan.start.pose
        if pose is not None:
            pose = replace(pose, heading=remainder(pose.heading, tau))
        to = plan.game.elements[fall.element].when_dropped
        rows.append(FallResult(fall, pose, to if to in plan.game.stations else None))
    return tuple(rows)


def run_result(
    plan: Plan, states: tuple[StateResult, ...], match: tuple[int, int] | None = None
) -> RunResult:
    """The states of one plan, strongest first; `match`: number and seed of one with chance."""
    weakest = None
    for state in states:
        if not state.passes:
            break
        weakest = state.name
    return RunResult(
        plan=plan.name,
        plan_path=str(plan.path),
        game=plan.game.name,
        robot=plan.robot.name,
        guard_us=plan.guard_us,
        states=states,
        weakest_state_that_passes=weakest,
        failing_states=tuple(state.name for state in states if not state.passes),
        loop_us=plan.robot.loop_us,
        timers=tuple(numbers_of(plan)),
        match=match,
        others=(*([plan.partner.name] if plan.partner else []), *(one.name for one in plan.patterns)),
    )
