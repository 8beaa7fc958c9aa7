"""Timers that hold on every battery asked for: the latest arrival, and a guard.

A timer that is too short and harmless stays. The set is looked for together: every change moves what follows,
so all timers are judged again in the run they make, until none changes any more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from simbot.analysis.better_timer import Waited, better_us, rounded_up
from simbot.analysis.results import Finding, FindingKey
from simbot.scenario.model import BatteryState, Plan
from simbot.studies.demand import Execution, asked_for, executions, unasked
from simbot.studies.knobs import Knob, with_timers
from simbot.studies.runs import Bench, Ran, broken_by

ROUNDS = 12
TRIES = 4  # at a bound for one timer, before it is left as it is
FREE_ROUNDS = 6  # after these timers only grow, so that the search ends


@dataclass(frozen=True)
class Chosen:
    """A set of timers that keeps every need and order rule that the plan kept, and what held some back."""

    plan: Plan
    values_us: list[int]
    held: dict[int, str]  # knob -> what a shorter one (or any change of it) would break


class _Held:
    """Timers that stay as they are, and those that may be changed down to a bound, with what says so."""

    def __init__(self) -> None:
        self.fixed: set[int] = set()
        self.least_us: dict[int, int] = {}
        self.why: dict[int, str] = {}
        self._tries: dict[int, int] = {}

    def hold(
        self, index: int, knob: Knob, value_us: int, finding: Finding, guard_us: int, tick_us: int
    ) -> None:
        """Let a timer come no lower than what the finding asks for, or leave it alone."""
        self._tries[index] = self._tries.get(index, 0) + 1
        late_us = finding.late_us
        bound_us = knob.now_us
        if late_us is not None and value_us < knob.now_us and self._tries[index] <= TRIES:
            bound_us = rounded_up(value_us + late_us + guard_us, tick_us, knob.grain_us)
        if bound_us + tick_us < knob.now_us:
            self.least_us[index] = bound_us
        else:
            self.fixed.add(index)


def choose(
    bench: Bench, plan: Plan, knobs: list[Knob], asked: Sequence[BatteryState], guard_us: int
) -> Chosen:
    """The set of timers for the battery states asked for."""
    before = bench.run_all(plan, asked)
    allowed = [set(broken_by(ran)) for ran in before]
    held = _Held()
    while True:
        values = _settled(bench, plan, knobs, asked, guard_us, held)
        tuned = _made(plan, knobs, values)
        breaks = _new_breaks(bench.run_all(tuned, asked), allowed)
        if breaks is None:
            return Chosen(tuned, values, held.why)
        ran, finding = breaks
        for index in _culprits(ran, finding, knobs, values, held.fixed):
            held.why[index] = f"breaks this on {ran.battery.name}: {finding.text}"
            held.hold(index, knobs[index], values[index], finding, guard_us, plan.robot.loop_us)


def _waited(found: Sequence[Execution], guard_us: int) -> list[Waited]:
    """The executions as the rule for one timer sees them; one that times nothing has nothing to wait for."""
    asked = asked_for(found)
    return [
        Waited(
            one.arrival_us if one.moves else None,
            one.need_margin_us,
            one.breaks,
            unasked(one, asked, guard_us),
        )
        for one in found
    ]


def _made(plan: Plan, knobs: list[Knob], values: list[int]) -> Plan:
    return plan if values == [knob.now_us for knob in knobs] else with_timers(plan, knobs, values)


def _settled(
    bench: Bench,
    plan: Plan,
    knobs: list[Knob],
    asked: Sequence[BatteryState],
    guard_us: int,
    held: _Held,
) -> list[int]:
    values = [knob.now_us for knob in knobs]
    for round_number in range(ROUNDS):
        tried = _made(plan, knobs, values)
        runs = [executions(ran, knobs, floors=False) for ran in bench.run_all(tried, asked)]
        found = [[one for run in runs for one in run[index]] for index in range(len(knobs))]
        new = [
            values[index]
            if index in held.fixed
            else max(
                held.least_us.get(index, 0),
                better_us(
                    values[index],
                    _waited(found[index], guard_us),
                    guard_us,
                    plan.robot.loop_us,
                    knob.grain_us,
                ),
            )
            for index, knob in enumerate(knobs)
        ]
        if round_number >= FREE_ROUNDS:
            new = [max(pair) for pair in zip(new, values, strict=True)]
        if new == values:
            break
        values = new
    return values


def _new_breaks(runs: list[Ran], allowed: list[set[FindingKey]]) -> tuple[Ran, Finding] | None:
    """The first thing that was in order before."""
    for ran, known in zip(runs, allowed, strict=True):
        for mark, finding in broken_by(ran).items():
            if mark not in known:
                return ran, finding
    return None


def _culprits(ran: Ran, finding: Finding, knobs: list[Knob], values: list[int], fixed: set[int]) -> list[int]:
    """The changed timers that a finding comes from: those of its cause, else the last that ended before it."""
    changed = [
        index for index, knob in enumerate(knobs) if index not in fixed and values[index] != knob.now_us
    ]
    runs = executions(ran, knobs, floors=False)
    shorter = [index for index in changed if values[index] < knobs[index].now_us]
    ended = {
        index: max((one.ended_us for one in runs[index] if one.ended_us <= finding.at_us), default=-1)
        for index in shorter or changed
    }
    by_cause = [
        index
        for index in ended
        if any(move.line == finding.cause_line for one in runs[index] for move in one.moves)
    ]
    return by_cause or sorted(ended, key=lambda index: ended[index])[-1:]
