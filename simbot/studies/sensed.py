"""What waiting for the arrival itself would gain over timers, where something can be seen to arrive."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from simbot.analysis.better_timer import waits_of
from simbot.analysis.words import ms
from simbot.scenario.model import BatteryState, Plan
from simbot.studies.demand import Execution, executions
from simbot.studies.knobs import Knob, with_waits
from simbot.studies.runs import Bench, broken_by
from simbot.studies.totals import saved


@dataclass(frozen=True)
class Sensed:
    plan: Plan  # with arrival waits for all timers that can have one
    knobs: list[int]  # those that do
    kept: dict[int, str]  # why others do not
    alone: dict[int, Plan]  # with this one alone


def choose_sensed(
    bench: Bench, plan: Plan, knobs: list[Knob], asked: Sequence[BatteryState], shown: BatteryState
) -> Sensed:
    """Arrival waits in the place of timers, as many as keep every need and order rule that the plan kept."""
    before = bench.run_all(plan, asked)
    base = bench.run(plan, shown)
    allowed = [set(broken_by(ran)) for ran in before]
    kept: dict[int, str] = {}
    found = [executions(ran, knobs, floors=False) for ran in before]
    for index in range(len(knobs)):
        reason = _no_sensor(plan, [one for run in found for one in run[index]])
        if reason:
            kept[index] = reason
    alone = {}
    for index in range(len(knobs)):
        if index not in kept:
            tried = _waiting_for_arrival(plan, knobs, [index])
            broken = [
                (ran.battery.name, finding)
                for ran, known in zip(bench.run_all(tried, asked), allowed, strict=True)
                for mark, finding in broken_by(ran).items()
                if mark not in known
            ]
            costs = -saved(base, bench.run(tried, shown)).routine_us
            helps = any(one.breaks for run in found for one in run[index])
            if costs > 0 and not helps:
                kept[index] = f"too short and harmless, waiting would cost {ms(costs)}"
            elif broken:
                kept[index] = f"waiting for it breaks this on {broken[0][0]}: {broken[0][1].text}"
            else:
                alone[index] = tried
    chosen = list(alone)
    while chosen:
        tried = _waiting_for_arrival(plan, knobs, chosen)
        runs = bench.run_all(tried, asked)
        if all(set(broken_by(ran)) <= known for ran, known in zip(runs, allowed, strict=True)):
            return Sensed(tried, chosen, kept, alone)
        last = chosen.pop()
        kept[last] = "together with the others it breaks a need or an order rule"
    return Sensed(plan, [], kept, alone)


def _waiting_for_arrival(plan: Plan, knobs: list[Knob], chosen: list[int]) -> Plan:
    waits = waits_of(plan)
    return with_waits(
        plan,
        {
            place: replace(waits[place], duration_us=None, arrival=True, source=None)
            for index in chosen
            for place in knobs[index].waits
        },
    )


def _no_sensor(plan: Plan, found: Sequence[Execution]) -> str:
    """Why a timer cannot become a wait for arrival; "" where it can."""
    moves = [move for one in found for move in one.moves]
    if not moves:
        return "it times no move"
    blind = sorted({move.mechanism for move in moves if not _seen(plan, move.mechanism)})
    if blind:
        return f"nothing sees where the {' and the '.join(blind)} is: that needs a sensor of its own"
    if any(move.arrival_us is None for move in moves):
        return "it never arrives"
    return ""


def _seen(plan: Plan, mechanism: str) -> bool:
    """Whether a motor's counts tell where it is; a hobby servo, a piston and a stopwatch time tell nothing."""
    spec = plan.robot.mechanisms[mechanism]
    return spec.coordinate != "word" and spec.servo is None
