"""What a plan says about measured conditions, with some of its numbers at other values: times [s], success rates.

A move of a mechanism alone is one command to a plant of its own. A line of the plan is the first execution of its
command in a nominal run, of which no more is played than needed. A cycle is the mean over some matches with chance,
the same luck each time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.analysis import cycles
from simbot.physics.build import DRIVES, Models
from simbot.physics.luck import Drawn
from simbot.physics.move import Command, DriveTo, GoTo
from simbot.physics.plant import Plant
from simbot.routine.match import TOLERANCE, play
from simbot.routine.trace import Trace
from simbot.scenario.measured import Condition
from simbot.scenario.model import ActStep, BatteryState, Plan, Pose, Robot, Start, Target
from simbot.scenario.plan_file import all_steps
from simbot.studies.fit_work import Work
from simbot.studies.players import PlayersLost, no_more
from simbot.studies.unknowns import Unknown, with_numbers

Array = npt.NDArray[np.float64]
HORIZON_US = 60_000_000
NEVER_S = 60.0  # stands for a move that does not arrive
LONGER = 1.5  # a run is played so much longer than the last command that is wanted
AFTER_US = 5_000_000


def bench(robot: Robot, battery: BatteryState, condition: Condition) -> tuple[Plant, Command]:
    """A mechanism alone, at rest where a condition says, and the command it is to get."""
    name = condition.mechanism
    alone = replace(robot, mechanisms={name: robot.mechanisms[name]}, order=())
    assert condition.target is not None
    positions: dict[str, Target] = {}
    command: Command = GoTo(condition.target)
    if alone.mechanisms[name].kind in DRIVES:
        pose = Pose(0.0, 0.0, condition.target) if condition.turning else Pose(condition.target, 0.0, 0.0)
        command = DriveTo(pose)
    elif condition.start is not None:
        positions[name] = condition.start
    start = Start(Pose(0.0, 0.0, 0.0), positions, {})
    plant = Plant(alone, battery, start, HORIZON_US, TOLERANCE, Models(alone))
    if condition.load:
        plant.set_payload(name, condition.load)
    return plant, command


def bench_time(robot: Robot, battery: BatteryState, condition: Condition) -> float:
    """Time of a move of a mechanism alone [s]; NEVER_S where it does not arrive."""
    plant, command = bench(robot, battery, condition)
    arrival = plant.command(condition.mechanism, command).arrival_us()
    return NEVER_S if arrival is None else arrival / 1e6


class Predictor:
    """Predictions for some conditions, as a function of the unknowns' numbers; what was computed is kept.

    Parameters
    ----------
    plan : Plan
    unknowns : sequence of Unknown
    conditions : sequence of Condition
    seed, matches : int
        Of the matches that a cycle is the mean over.
    work : Work, optional
        Of an interruptible fit.
    """

    def __init__(
        self,
        plan: Plan,
        unknowns: Sequence[Unknown],
        conditions: Sequence[Condition],
        seed: int = 1,
        matches: int = 8,
        work: Work | None = None,
    ) -> None:
        self.plan, self.unknowns, self.conditions = plan, tuple(unknowns), tuple(conditions)
        self.seed, self.matches = seed, matches
        self.batteries = {state.name: number for number, state in enumerate(plan.robot.battery)}
        self.matters = [self._matters(condition) for condition in self.conditions]
        self.work = work
        self.kept, self.ends = ({}, {}) if work is None else work.known(self)
        self._now: tuple[tuple[float, ...], Plan] | None = None
        self.played = 0

    def __getstate__(self) -> dict[str, Any]:
        """As it goes to whoever predicts for it."""
        return {**self.__dict__, "kept": {}, "work": None, "_now": None}

    def key(self, place: int, numbers: Array) -> tuple[int, tuple[float, ...]]:
        """By what a prediction is known."""
        return place, tuple(float(numbers[number]) for number in self.matters[place])

    def ahead(self, wanted: Sequence[Array]) -> None:
        """Have predictions made that will be asked for, where there are others who can."""
        if self.work is None or self.work.players.pool is None or len(wanted) < 2:
            return
        if any(each.kind == "line" and each.battery not in self.ends for each in self.conditions):
            self(
                wanted[0]
            )  # until when matches are played is settled by the first, wherever the others are made
        players, coming, tasks = self.work.players, set(self.kept), []
        for numbers in wanted:
            missing = [
                place for place in range(len(self.conditions)) if self.key(place, numbers) not in coming
            ]
            coming.update(self.key(place, numbers) for place in missing)
            if missing:
                tasks.append((self, numbers, missing))
        try:
            for found in players.each(predicted, tasks):
                self.kept.update(found)
        except (KeyboardInterrupt, PlayersLost):
            for found in players.left():
                self.kept.update(found or {})
            raise

    def _matters(self, condition: Condition) -> tuple[int, ...]:
        """Numbers of the unknowns that a condition can depend on."""
        if condition.kind != "move":
            return tuple(range(len(self.unknowns)))
        return tuple(
            number
            for number, unknown in enumerate(self.unknowns)
            if unknown.touches(condition.mechanism, condition.battery, self.plan)
        )

    def __call__(self, numbers: Array) -> Array:
        """A prediction for each condition."""
        found = np.empty(len(self.conditions))
        for place, condition in enumerate(self.conditions):
            key = self.key(place, numbers)
            if key not in self.kept:
                self._predict(condition, place, key, numbers)
            found[place] = self.kept[key]
        return found

    def _plan_with(self, numbers: Array) -> Plan:
        key = tuple(map(float, numbers))
        if self._now is None or self._now[0] != key:
            self._now = key, with_numbers(self.plan, self.unknowns, key)
        return self._now[1]

    def _predict(
        self, condition: Condition, place: int, key: tuple[int, tuple[float, ...]], numbers: Array
    ) -> None:
        plan = self._plan_with(numbers)
        if condition.kind == "move":
            battery = plan.robot.battery[self.batteries[condition.battery]]
            self.kept[key] = bench_time(plan.robot, battery, condition)
        elif condition.kind == "tries":
            self.kept[key] = next(
                float(step.succeeds)
                for step in all_steps(plan)
                if isinstance(step, ActStep) and step.line == condition.line
            )
        elif condition.kind == "cycle":
            self.kept[key] = float(np.mean(self.cycle_times(plan, condition.battery)))
        else:
            times = self._lines(plan, condition.battery)
            for other, each in enumerate(self.conditions):
                if each.kind == "line" and each.battery == condition.battery:
                    self.kept[other, key[1]] = times[each.line, each.mechanism]

    def cycle_times(self, plan: Plan, battery: str) -> list[float]:
        """Times of all cycles of some matches with chance [s]."""
        models, state = Models(plan.robot), plan.robot.battery[self.batteries[battery]]
        times: list[float] = []
        for number in range(self.matches):
            trace, _ = play(plan, state, models, luck=Drawn(self.seed, number, number))
            times += cycles.cycle_times_s(trace)
            self.played += 1
        return times or [NEVER_S]

    def _lines(self, plan: Plan, battery: str) -> dict[tuple[int, str], float]:
        """Times of all wanted lines of the plan on a battery."""
        wanted = {
            (each.line, each.mechanism)
            for each in self.conditions
            if each.kind == "line" and each.battery == battery
        }
        state = plan.robot.battery[self.batteries[battery]]
        short = _until(plan, self.ends[battery]) if battery in self.ends else plan
        found = self._first_times(play(short, state)[0], wanted)
        if len(found) < len(wanted) and short is not plan:
            found = self._first_times(play(plan, state)[0], wanted)
        if battery not in self.ends:
            last = max((start for start, _ in found.values()), default=0)
            self.ends[battery] = round(LONGER * last) + AFTER_US
        self.played += 1
        return {each: found[each][1] if each in found else NEVER_S for each in wanted}

    @staticmethod
    def _first_times(trace: Trace, wanted: set[tuple[int, str]]) -> dict[tuple[int, str], tuple[int, float]]:
        """Instant of the command [us] and its time [s], of the first execution of each."""
        found: dict[tuple[int, str], tuple[int, float]] = {}
        for record in trace.moves:
            key = (record.line, record.move.mechanism)
            if key in wanted and key not in found:
                arrival, start = record.move.arrival_us(), record.move.start_us
                found[key] = start, NEVER_S if arrival is None else (arrival - start) / 1e6
        return found


def predicted(
    one: Predictor, numbers: Array, places: Sequence[int]
) -> dict[tuple[int, tuple[float, ...]], float]:
    """Predictions of some conditions with some numbers."""
    for place in places:
        if no_more():
            break
        key = one.key(place, numbers)
        if key not in one.kept:
            one._predict(one.conditions[place], place, key, numbers)
    return one.kept


def _until(plan: Plan, end_us: int) -> Plan:
    """The plan for a match that ends earlier."""
    periods, gone = [], 0
    for period in plan.game.periods:
        lasts = min(period.duration_us, max(end_us - gone, 0))
        periods.append(replace(period, duration_us=lasts))
        gone += period.duration_us
    if end_us >= gone:
        return plan
    kept = tuple(period for period in periods if period.duration_us > 0)
    endgame = plan.endgame if plan.endgame is not None and plan.endgame.begin_us < end_us else None
    return replace(plan, game=replace(plan.game, periods=kept, endgame_us=None), endgame=endgame)
