"""What a sweep looks at, and what it sees at one value: a mechanism alone, or a whole plan.

Both are built from files that are parsed once; a value is laid over their trees and the model read from them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from simbot.analysis.move_results import MoveNumbers, Way
from simbot.analysis.one_move import Bench, only_one, ways_of
from simbot.analysis.results import StateResult
from simbot.analysis.states import state_result
from simbot.physics.build import DRIVES, Models
from simbot.physics.kinds import KINDS
from simbot.routine.match import TOLERANCE, play
from simbot.scenario.given import position_given, quantity_given, way_given
from simbot.scenario.load import load_plan, load_robot
from simbot.scenario.model import BatteryState, MechanismSpec, Plan, Robot
from simbot.scenario.pruned import pruned
from simbot.scenario.sheet import Trees
from simbot.studies.sweep_asked import OF_A_MATCH, OF_A_MOVE, OF_MATCHES, Ask, Measure
from simbot.studies.sweep_chance import Drawn, play_drawn

Changes = Mapping[str, str]


@dataclass(frozen=True)
class Look:
    """What is seen on one battery state.

    Parameters
    ----------
    state : str
    values : dict
        Measures by name, SI; None where there is none.
    held_by : dict
        Of a move: shares of its time in what holds it back; of a match: seconds of the mean cycle by their owner.
    reason : str
        Why it never arrives; what fails first in the match.
    fails : tuple of (str, str)
        Of a match: every finding that fails, the first of each kind and line: what it is, and its sentence.
    drawn : Drawn or None
        Of a plan: matches with chance, where some are asked for.
    """

    state: str
    values: dict[str, float | None]
    held_by: dict[str, float] = field(default_factory=dict)
    reason: str = ""
    fails: tuple[tuple[str, str], ...] = ()
    drawn: Drawn | None = None  # matches with chance


@dataclass
class OneMechanism:
    """A mechanism alone on the battery states of its robot."""

    path: Path
    given: dict[str, str]  # laid over the file before
    mechanism: str
    ask: Ask
    keys: tuple[str, ...]  # that are swept
    floor: bool = False  # whether floors are wanted: they take longer than all else
    entry: bool = False  # whether a move is looked at to its first entry into its target only
    trees: Trees = field(default_factory=dict)
    measures = OF_A_MOVE

    def known_by(self) -> Any:
        """What makes it another one."""
        return self.robot({}), self.mechanism, self.ask, self.keys, self.floor, self.entry

    def robot(self, changes: Changes) -> Robot:
        if self.path not in self.trees:
            load_robot(self.path, KINDS, self.given, self.trees)  # in full, once
            root, lines = self.trees[self.path]
            self.trees[self.path] = pruned(root, self.mechanism, (*self.keys, *self.given)), lines
        return load_robot(self.path, KINDS, {**self.given, **changes}, self.trees)[0]

    def read(self, changes: Changes) -> None:
        """Whether the files' readers take it."""
        self.robot(changes)

    def looks(self, changes: Changes, states: tuple[str, ...]) -> tuple[Look, ...]:
        robot = self.robot(changes)
        way, load = self.asked(robot)
        models = Models(self.alone(robot))
        batteries = {battery.name: battery for battery in robot.battery}
        return tuple(self.look(models, batteries[state], way, load) for state in states)

    def alone(self, robot: Robot) -> Robot:
        return only_one(robot, self.mechanism)

    def look(self, models: Models, battery: BatteryState, way: Way, load: float) -> Look:
        bench = Bench(models.robot, models, self.mechanism, battery, TOLERANCE)
        return _of_move(battery.name, bench.move(way, load, self.floor, self.entry))

    def asked(self, robot: Robot) -> tuple[Way, float]:
        """The way to look at, with this robot: its ends may hang on what is swept; and the mass in hand [kg]."""
        spec, ask = robot.mechanisms[self.mechanism], self.ask
        start = None if ask.start is None else position_given("--from", ask.start, spec)
        turn = (
            None if ask.turn is None else float(quantity_given("--turn", ask.turn, "angle", -3.1416, 3.1416))
        )
        load = 0.0 if ask.load is None else float(quantity_given("--load", ask.load, "mass", 0.0, 500.0))
        return ways_of(spec, start, _target(ask.target, spec), turn)[0], load


def _target(text: str | None, spec: MechanismSpec) -> float | None:
    if text is None:
        return None
    if spec.kind in DRIVES:
        return way_given("--to", text, spec)
    return position_given("--to", text, spec)


def _of_move(state: str, one: MoveNumbers) -> Look:
    values = {
        "arrival": one.arrival_s,
        "inside": one.arrival_s if one.first_inside_s is None else one.first_inside_s,
        "floor": one.floor_s,
        "current": one.current_peak_a,
        "motor_current": one.motor_peak_a,
        "heat": one.heat_j,
        "energy": one.energy_j,
        "volts": one.bus_min_v,
        "stall": one.stall_share_max,
    }
    held = {cause: share for cause, share in one.limited_by.items() if share > 0.0}
    return Look(state, values, held, one.reason)


@dataclass
class WholePlan:
    """A plan's nominal runs."""

    path: Path
    given: dict[str, str]
    matches: int = 0  # drawn ones
    seed: int = 1
    trees: Trees = field(default_factory=dict)

    @property
    def measures(self) -> dict[str, Measure]:
        return OF_MATCHES if self.matches else OF_A_MATCH

    def known_by(self) -> Any:
        """What makes it another one."""
        return self.plan({})

    def plan(self, changes: Changes) -> Plan:
        return load_plan(self.path, KINDS, {**self.given, **changes}, self.trees)[0]

    def read(self, changes: Changes) -> None:
        """Whether the files' readers take it."""
        self.plan(changes)

    def looks(self, changes: Changes, states: tuple[str, ...]) -> tuple[Look, ...]:
        plan = self.plan(changes)
        models = Models(plan.robot)
        batteries = {battery.name: battery for battery in plan.robot.battery}
        looks = tuple(self.look(plan, models, batteries[state]) for state in states)
        return tuple(self.with_chance(plan, look) for look in looks) if self.matches else looks

    def with_chance(self, plan: Plan, look: Look) -> Look:
        """With drawn matches on its battery state."""
        drawn = play_drawn(plan, self.seed, self.matches, look.state)
        mean, rate = drawn.mean, drawn.rate
        more = {
            "mean": None if mean is None else mean.value,
            "mean_rate": None if rate is None else rate.value,
        }
        return replace(look, values={**look.values, **more}, drawn=drawn)

    def look(self, plan: Plan, models: Models, battery: BatteryState) -> Look:
        trace, plant = play(plan, battery, models)
        return _of_match(state_result(plan, battery, plant, trace))


def _of_match(one: StateResult) -> Look:
    failing = [found for found in one.findings if found.fails]
    values = {
        "points": one.points["total"],
        "rate": one.points_per_s,
        "cycle": one.cycle_time_s,
        "current": one.current_peak_a,
        "volts": one.bus_min_v,
        "energy": one.energy_j,
        "failures": float(len(failing)),
    }
    time = one.time
    held = {}
    if time is not None:
        held = {
            "driving": time.driving_s,
            "moving": time.moving_s,
            "timers": time.timers_s,
            "stations": time.stations_s,
            "given away": time.given_away_s,
        }
    kinds: dict[str, str] = {}
    for found in failing:
        kinds.setdefault(f"{found.kind}, line {found.line}", found.text)
    return Look(one.name, values, held, failing[0].text if failing else "", tuple(kinds.items()))
