"""Waits for an arrival that go on before the mechanism stays: code sees it inside its window on its way through.

What would settle it is tried in the whole routine: a speed limit in the control's target set, `slower_than`, the
highest of some with which nothing is seen early any more. Where none does, a settling wait behind it is left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from simbot.analysis.better_timer import rounded_up
from simbot.physics.orders import control_of
from simbot.scenario.model import BatteryState, Plan
from simbot.studies.limits import rounded_down, with_control
from simbot.studies.runs import Bench, Ran, broken_by
from simbot.studies.totals import saved
from simbot.studies.tune_results import Early

PACES = (50.0, 30.0, 20.0, 10.0, 5.0, 2.5, 1.0)  # windows a second


def find_early(
    bench: Bench, plan: Plan, asked: Sequence[BatteryState], shown: BatteryState
) -> tuple[Early, ...]:
    """Every wait for an arrival with which some mechanism is seen inside too early, the worst of its executions."""
    runs = {battery.name: bench.run(plan, battery) for battery in (*asked, shown)}
    found: dict[tuple[int, str], Early] = {}
    for battery in asked:
        for key, one in _early(runs[battery.name], plan).items():
            if key not in found or found[key].early_us < one.early_us:
                found[key] = one
    cures = {name: _cure(bench, plan, name, runs, asked, shown) for name in {name for _, name in found}}
    return tuple(
        replace(one, slower_than=cures[name][0], costs_us=cures[name][1])
        for (_, name), one in sorted(found.items())
    )


def _early(ran: Ran, plan: Plan) -> dict[tuple[int, str], Early]:
    """By line of the wait and mechanism."""
    found: dict[tuple[int, str], Early] = {}
    for wait in ran.trace.waits:
        if not (wait.arrival and wait.seen) or wait.cut:
            continue
        for index in wait.moves:
            record = ran.trace.moves[index]
            arrival, name = record.move.arrival_us(), record.move.mechanism
            early = 0 if arrival is None else arrival - wait.ended_us
            if early > 0 and ((wait.line, name) not in found or found[wait.line, name].early_us < early):
                settling = rounded_up(early, plan.robot.loop_us, 1000)
                turns = plan.robot.mechanisms[name].coordinate == "angle"
                found[wait.line, name] = Early(
                    wait.line, record.label, name, early, ran.battery.name, settling, turns
                )
    return found


def _cure(
    bench: Bench,
    plan: Plan,
    name: str,
    runs: dict[str, Ran],
    asked: Sequence[BatteryState],
    shown: BatteryState,
) -> tuple[float | None, int | None]:
    """A speed limit of its target set with which it is seen only when it stays, and what that costs the routine."""
    spec = plan.robot.mechanisms[name]
    if spec.servo is not None or not spec.values.get("control"):
        return None, None
    control = control_of(spec)
    worst_first = sorted(
        asked, key=lambda one: not any(each == name for _, each in _early(runs[one.name], plan))
    )
    for pace in PACES:
        limit = rounded_down(float(control["window"]) * pace, 2)
        if control.get("slower_than") is not None and limit >= control["slower_than"]:
            continue
        changed = replace(plan, robot=with_control(plan.robot, name, "slower_than", limit))
        other = Bench(changed, bench.models.under(changed.robot))
        if all(_settled(runs[one.name], other.run(changed, one), changed, name) for one in worst_first):
            return limit, -saved(runs[shown.name], other.run(changed, shown)).routine_us
    return None, None


def _settled(before: Ran, after: Ran, plan: Plan, name: str) -> bool:
    """Nothing of it is seen early or waited for in vain, and nothing breaks that held."""
    late = any(wait.missing and name in wait.missing for wait in after.trace.waits)
    early = any(mechanism == name for _, mechanism in _early(after, plan))
    return not late and not early and set(broken_by(after)) <= set(broken_by(before))
