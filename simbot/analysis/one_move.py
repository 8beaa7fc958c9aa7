"""One mechanism alone on its battery: its moves, what holds them back, what holding costs, what falls.

Definitions:

- What holds a move back: every instant from the command to the arrival counts as `grip` while wheels are at
  their grip, driving or braking, as `slack` while the cord is; else as `current_limit` while a limit of the
  controller rules; else as `control` while the effort is not full towards the target; and every other instant
  is shared out as the voltage of full effort is: to `speed` the part that the motors' back-EMF takes (near
  free speed: geared too slow), to `torque` the part over their windings (near stall: geared too fast, or too
  weak), to `sag` the part lost before the motors. The shares add up to 1.
- Stall share: load and friction at rest over what the stalled motors bring at full effort on their own sag.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf, isinf

import numpy as np

from simbot.analysis.move_results import (
    Fall,
    Holding,
    Lock,
    MoveNumbers,
    OneMove,
    Pull,
    Row,
    Series,
    StateNumbers,
    Tables,
    Turning,
    Way,
)
from simbot.physics import layout as L
from simbot.physics import motion, statics
from simbot.physics.build import DRIVES, LIFTS_ROBOTS, SPINNING, Built, Models
from simbot.physics.kinds import claw, flywheel, roller, slider_crank
from simbot.physics.motion import Circuit, Motion
from simbot.physics.move import Command, DriveTo, GoTo, PushFor, Spin
from simbot.physics.plant import Plant
from simbot.physics.spreads import Path, at_ends, spread_paths
from simbot.physics.stance import carriers, resting_place
from simbot.physics.tables import look_up
from simbot.scenario.model import BatteryState, MechanismSpec, Pose, Robot, Start, Target

HORIZON_US = 120_000_000
NEVER_US = 10_000_000  # how long a move is watched that never arrives
LONGEST_SPIN_US = 640_000_000  # a heavy wheel on its way to its speed
WATCH_US = 250_000
FULL = 0.999
PLACES = 1101  # positions of the travel that are looked at
RPM = 30.0 / np.pi  # of 1 rad/s
SPUN_UP = 0.95  # of its steady speed: a roller that is up to speed
CAUSES = ("grip", "slack", "current_limit", "control", "sag", "torque", "speed")
OUT_OF_REACH = 1e3  # times its battery: above any back-EMF of what falls
SERVO_STEP = np.pi / 18.0  # of the table of angles and times


def ways_of(
    spec: MechanismSpec, start: float | None, target: float | None, turn: float | None
) -> tuple[Way, ...]:
    """The ways to look at: the one asked for, or from one end of the travel to the other and back.

    Of a drive `target` is a distance ahead and `turn` an angle to turn in place; with neither it goes 1 m.
    """
    if spec.kind in DRIVES:
        return (Way(0.0, turn, True),) if turn is not None else (Way(0.0, 1.0 if target is None else target),)
    if "travel" not in spec.values:
        return (Way(0.0, 1.0),)
    low, high = (float(end) for end in spec.values["travel"])
    if start is None and target is None:
        first, last = reach_of(spec, float(spec.values.get("at", 0.0)))  # it sets out from where it gets to
        return Way(first, high), Way(last, low)
    if start is None:
        start = high if target == low else low
    if target is None:
        target = low if start == high else high
    return (Way(start, target),)


def reach_of(spec: MechanismSpec, volts: float) -> tuple[float, float]:
    """The part of its travel that it gets to on a supply [V, of a servo]: jaws end on what they press on."""
    if spec.kind == claw.NAME:
        return claw.reach(spec.values, volts)
    low, high = (float(end) for end in spec.values["travel"])
    return low, high


def only_one(robot: Robot, name: str) -> Robot:
    """The robot with this mechanism alone; it goes from and to where it is told, and not to whole turns from there.

    Mechanisms that its load hangs on stand where a plan that does not place them lets them start.
    """
    spec = robot.mechanisms[name]
    if spec.values.get("wraps"):
        spec = replace(spec, values={**spec.values, "wraps": False})
    others = {other: robot.mechanisms[other] for other in carriers(robot, name)}
    standing = {other: resting_place(each) for other, each in others.items()}
    return replace(robot, mechanisms={name: spec, **others}, order=(), standing=standing)


def unit_of(spec: MechanismSpec, ways: Sequence[Way]) -> str:
    """The unit of its coordinate on these ways: "m" or "rad"."""
    turning = spec.kind in DRIVES and ways[0].turning
    return "rad" if turning or spec.coordinate == "angle" else "m"


# --- the whole ----------------------------------------------------------------------------------------


def examine(
    robot: Robot,
    name: str,
    ways: Sequence[Way],
    loads: Sequence[float],
    tolerance: float,
    tables: Tables | None,
) -> OneMove:
    """All numbers of one mechanism of a robot, alone on each of its battery states."""
    spec = robot.mechanisms[name]
    alone = only_one(robot, name)
    models = Models(alone)
    states = tuple(_state(alone, models, name, battery, ways, loads, tolerance) for battery in robot.battery)
    return OneMove(
        robot, spec, unit_of(spec, ways), tuple(ways), tuple(loads), states, tables, alone.standing
    )


def _state(
    robot: Robot,
    models: Models,
    name: str,
    battery: BatteryState,
    ways: Sequence[Way],
    loads: Sequence[float],
    tolerance: float,
) -> StateNumbers:
    bench = Bench(robot, models, name, battery, tolerance)
    spec = bench.spec
    positioned = "travel" in spec.values
    moves = tuple(bench.move(way, load) for load in loads for way in ways)
    holdings = tuple(bench.holding(load) for load in loads) if positioned else ()
    pulls: tuple[Pull, ...] = ()
    times: tuple[tuple[float, float | None], ...] = ()
    if spec.kind in LIFTS_ROBOTS:
        pulls = tuple(
            _pull(bench, move, hold) for move, hold in zip(moves[:: len(ways)], holdings, strict=True)
        )
    if spec.kind == "servo":
        times = tuple(bench.times(ways[0]))
    turning = bench.turning(moves[0]) if spec.kind in SPINNING else None
    ohms = battery.resistance
    return StateNumbers(battery.name, battery.open_circuit, ohms, moves, holdings, pulls, times, turning)


def _pull(bench: Bench, move: MoveNumbers, hold: Holding) -> Pull:
    built = bench.models.get(bench.name, move.load)
    speed = statics.steady_speed(built, bench.circuit, move.way.target, 1.0)
    reached = move.first_inside_s if move.arrival_s is None else move.arrival_s
    return Pull(move.load, move.stall_share_max, speed, move.arrival_s, reached, hold)


@dataclass(frozen=True)
class Bench:
    """One mechanism on one battery state, set up anew for each trial."""

    robot: Robot  # with this mechanism alone
    models: Models
    name: str
    battery: BatteryState
    tolerance: float

    @property
    def spec(self) -> MechanismSpec:
        return self.models.robot.mechanisms[self.name]

    @property
    def circuit(self) -> Circuit:
        rail = self.spec.rail
        return Circuit(self.battery, None if rail is None else self.robot.rails[rail])

    def places(self, first: float, last: float) -> np.ndarray:
        """Places on a way, as far as it gets."""
        ways = np.linspace(first, last, PLACES)
        return (
            np.clip(ways, *reach_of(self.spec, self.circuit.full)) if "travel" in self.spec.values else ways
        )

    def plant(self, start: float, load: float) -> Plant:
        positions: dict[str, Target] = {self.name: start} if "travel" in self.spec.values else {}
        at = Start(Pose(0.0, 0.0, 0.0), positions, {})
        plant = Plant(self.robot, self.battery, at, HORIZON_US, self.tolerance, self.models)
        plant.set_payload(self.name, load)
        return plant

    def built(self, way: Way, load: float) -> Built:
        return self.models.get(self.name, load, None if way.turning else 0.0)

    def command(self, way: Way) -> Command:
        if self.spec.kind in DRIVES:
            return DriveTo(Pose(0.0, 0.0, way.target) if way.turning else Pose(way.target, 0.0, 0.0))
        return GoTo(way.target) if "travel" in self.spec.values else Spin(1.0)

    def move(self, way: Way, load: float, floor: bool = True, entry: bool = False) -> MoveNumbers:
        """One move from rest, first to find its end, then step by step.

        `floor`: whether to look for it; `entry`: it ends with its first entry into the target set, arrived or not.

        Its end is the arrival; of a move that does not stay, its first entry into the target set; of one that
        never gets there, when it stands still, or after ten seconds.
        """
        command = self.command(way)
        if isinstance(command, Spin):
            return self.spin_up(way, load)
        first = self.plant(way.start, load)
        given = first.command(self.name, command)
        arrival = given.arrival_us()
        inside, reason = given.first_inside_us(), ""
        if arrival is None:
            reason = given.reason()
        plant = self.plant(way.start, load)
        plant.command(self.name, command)
        course = self.watched(plant, inside if arrival is None or entry else arrival)
        told = None if inside == arrival else inside
        least = given.floor_s() if floor else None
        numbers = self._numbers(way, load, course, least, arrival, told, reason)
        if not plant.dips():
            return numbers
        return replace(  # a dip of no length is in no step
            numbers,
            resets=given.resets(),
            bus_min_v=min(numbers.bus_min_v, plant.lowest_bus()[0]),
            current_peak_a=max(numbers.current_peak_a, plant.currents()[0]),
        )

    def watched(self, plant: Plant, end: int | None) -> Motion:
        """The motion up to an instant [us]; None: until it stands still, or as long as such a move is watched."""
        if end is not None:
            return motion.motion_of(plant.steps_to(self.name, max(end, 1)), self.circuit)
        parts = []
        while plant.now_us < NEVER_US:
            parts.append(motion.motion_of(plant.steps_to(self.name, plant.now_us + WATCH_US), self.circuit))
            if not np.any(parts[-1].v):
                break
        return motion.joined(parts)

    def spin_up(self, way: Way, load: float) -> MoveNumbers:
        """At full effort: a flywheel arrives at its own speed, a roller at 95 % of its steady one."""
        steady = statics.steady_speed(self.built(way, load), self.circuit, 0.0, 1.0)
        goal = float(self.spec.values["speed"]) if self.spec.kind == flywheel.NAME else SPUN_UP * steady
        goes = steady > max(goal, 0.0)
        arrival = self.up_to(goal, load) if goes else None
        again = self.plant(0.0, load)
        again.command(self.name, Spin(1.0))
        course = motion.motion_of(again.steps_to(self.name, arrival or WATCH_US), self.circuit)
        reason = ""
        if arrival is None:
            longest = f"it takes more than {LONGEST_SPIN_US / 1e6:.0f} s"
            weak = "its motors do not overcome friction"
            reason = longest if goes else f"it ends at {steady * RPM:.4g} rpm" if steady > 0.0 else weak
        return self._numbers(way, load, course, None, arrival, None, reason)

    def up_to(self, goal: float, load: float) -> int | None:
        """When full effort brings it from rest to a speed below its steady one [us]; None: it takes too long."""
        low, high, arrival = 0, NEVER_US, None
        looks = 0  # at the nodes of ever fewer steps
        while looks < 3:
            plant = self.plant(0.0, load)
            plant.command(self.name, Spin(1.0))
            plant.advance(low)
            course = motion.motion_of(plant.steps_to(self.name, high), self.circuit)
            up = np.flatnonzero(course.v >= goal)
            if not up.size and arrival is None and high < LONGEST_SPIN_US:
                high *= 8  # a heavy wheel
                continue
            if not up.size:
                break
            looks += 1
            pair = slice(max(int(up[0]) - 1, 0), int(up[0]) + 1)
            arrival = round(1e6 * float(np.interp(goal, course.v[pair], course.t[pair])))
            low, high = int(1e6 * course.t[pair][0]), int(1e6 * course.t[pair][-1]) + 1
        return arrival

    def turning(self, move: MoveNumbers) -> Turning:
        """Where its speed ends, what a throw takes of it and how long it takes to come back; pulling in."""
        built, p = self.built(move.way, move.load), self.spec.values
        steady = max(statics.steady_speed(built, self.circuit, 0.0, 1.0), 0.0)
        if self.spec.kind != flywheel.NAME:
            drawn = roller.pull_in_time(p["pull_in"], steady) if p["pull_in"] and steady > 0.0 else None
            return Turning(steady, None, None, None, drawn)
        group, asked = built.groups[0], float(p["speed"])
        left = flywheel.left_after_throw(
            p, float(built.reduced.segments[0].mass + group[L.G_RATIO] ** 2 * group[L.G_N] * group[L.G_J])
        )
        back = None
        before = None if move.arrival_s is None else self.up_to(left * asked, move.load)
        if move.arrival_s is not None and before is not None:
            back = move.arrival_s - before / 1e6  # the way back is the end of that from rest
        thrown = float(p["exit_share"]) * left * asked * float(p["diameter"]) / 2.0
        return Turning(steady, left, thrown, back, None)

    def _numbers(
        self, way: Way, load: float, course: Motion, floor: float | None,
        arrival: int | None, inside: int | None, reason: str,
    ) -> MoveNumbers:  # fmt: skip
        built = self.built(way, load)
        sign = -1.0 if way.target < way.start else 1.0
        places = self.places(way.start, way.target) if way.target != way.start else np.array([way.start])
        share = statics.stall_share(built, self.circuit, places, sign)
        worst = int(np.argmax(share))
        flow = course.flow
        return MoveNumbers(
            way=way,
            load=load,
            floor_s=floor,
            arrival_s=None if arrival is None else arrival / 1e6,
            first_inside_s=None if inside is None else inside / 1e6,
            reason=reason,
            energy_j=course.total(flow.bus * flow.current),
            heat_j=course.total(course.heat),
            lifting_j=course.total(course.lifting),
            current_peak_a=float(np.max(flow.current)),
            motor_peak_a=float(np.max(course.motor_current)),
            bus_min_v=float(np.min(flow.bus)),
            speed_max=float(np.max(np.abs(course.v))),
            stall_share_max=None if isinf(share[worst]) else float(share[worst]),
            stall_at=float(places[worst]),
            limited_by=limited_by(course, sign, self.spec.kind in DRIVES),
            series=Series(course.t, course.q, course.v, flow.current, course.motor_current, flow.bus),
        )

    def holding(self, load: float) -> Holding:
        """What holding takes where it takes most, and what happens where nothing holds."""
        built, values = self.models.get(self.name, load), self.spec.values
        low, high = reach_of(self.spec, self.circuit.full)
        places = self.places(low, high)
        currents = statics.holding_current(built, places)
        if values.get("holding_brake"):
            currents = np.zeros_like(currents)
        caught = statics.caught(built, places)
        drop = statics.onto_tooth(built) if np.any(caught & (currents > 0.0)) else None
        currents[caught] = 0.0
        worst = int(np.argmax(currents))
        most, group = float(currents[worst]), built.groups[0]
        if most <= 0.0:
            surely = self.holds_surely(load)
            return Holding(
                load, True, surely, float(places[worst]), 0.0, 0.0, 0.0, None, drop, self.locks(built)
            )
        heat, drawn = statics.holding_draw(group, most, self.circuit)
        loose = places[currents > 0.0]
        starts = dict.fromkeys((low, high, float(places[worst]), float(loose[0]), float(loose[-1])))
        falls = [fall for start in starts if (fall := self.let_go(start, load))]
        fall = max(falls, key=lambda each: each.loose_speed_max, default=None)
        return Holding(
            load, False, False, float(places[worst]), most, drawn, heat, fall, drop, self.locks(built)
        )

    def locks(self, built: Built) -> tuple[Lock, ...]:
        """Where it stands over its centre against a stop, and the current that its load asks for there."""
        if self.spec.kind != slider_crank.NAME:
            return ()
        found = []
        for over in slider_crank.over_centres(self.spec.values):
            here, side = np.array([over.stop]), np.sign(over.centre - over.stop)
            pressed = side * look_up(built.reduced, here)[2][0] >= 0.0
            braked = bool(self.spec.values.get("holding_brake"))
            amps = 0.0 if pressed or braked else float(statics.holding_current(built, here)[0])
            found.append(Lock(*over, amps))
        return tuple(found)

    def holds_surely(self, load: float) -> bool:
        """True where it holds without power with every quantity at the end of its spread that helps it to fall."""
        if self.spec.values.get("holding_brake"):
            return True

        def pull(ends: list[tuple[Path, float]]) -> float:
            models, _ = at_ends(self.models.robot, self.battery, ends)
            built = models.get(self.name, load)
            places = self.places(built.reduced.low, built.reduced.high)
            torque = statics.holding_torque(built, places)
            return float(np.max(np.where(statics.caught(built, places), -inf, torque)))

        paths = spread_paths(self.models.robot, self.battery, self.name, False)
        worst = [max(((path, sign) for sign in (-1.0, 1.0)), key=lambda end: pull([end])) for path in paths]
        return pull(worst) <= 0.0

    def let_go(self, start: float, load: float) -> Fall | None:
        """From rest, nothing driving its motors; None where it stays."""
        free = self._released(start, load, "coast")
        if free is None:
            return None
        course, lasts = free
        braked = self._released(start, load, "brake")
        conducts = bool(np.any(course.flow.motor))
        loose = (self.wire_off._released(start, load, "coast") if conducts else None) or free
        return Fall(
            start, float(course.q[-1]), lasts, float(np.max(np.abs(course.v))), braked[1] if braked else None,
            loose[1], float(np.max(np.abs(loose[0].v))),
        )  # fmt: skip

    @cached_property
    def wire_off(self) -> Bench:
        """The same on a battery that no motor's back-EMF ever reaches: no diode conducts.

        A rail takes nothing back, so that what hangs on one falls as with a wire off anyway.
        """
        return replace(
            self, battery=replace(self.battery, open_circuit=OUT_OF_REACH * self.battery.open_circuit)
        )

    def _released(self, start: float, load: float, after: str) -> tuple[Motion, float | None] | None:
        """The motion without effort until it stands, and how long that took (None: longer than it is watched)."""
        plant = self.plant(start, load)
        low = float(self.spec.values["travel"][0])
        plant.command(self.name, PushFor(0.0, low, 0, after))
        course = self.watched(plant, None)
        moving = np.flatnonzero(course.v != 0.0)
        if not moving.size:
            return None
        last = int(moving[-1])
        still = last + 1 < len(course.t)
        return course, float(course.t[last]) if still else None

    def times(self, way: Way) -> list[tuple[float, float | None]]:
        """Arrivals of moves of 10 degrees, 20 degrees and so on, up to the whole way [rad, s]."""
        whole = abs(way.target - way.start)
        sign = 1.0 if way.target > way.start else -1.0
        angles = [*np.arange(SERVO_STEP, whole - 1e-6, SERVO_STEP), whole]
        out = []
        for angle in angles:
            given = self.plant(way.start, 0.0).command(self.name, GoTo(way.start + sign * float(angle)))
            arrival = given.arrival_us()
            out.append((float(angle), None if arrival is None else arrival / 1e6))
        return out


def limited_by(course: Motion, way: float, drives: bool) -> dict[str, float]:
    """Shares of the time in what holds a move back (see module); they add up to 1. All 0 where no time passes."""
    left = course.weight.copy()
    out = dict.fromkeys(CAUSES, 0.0)

    def take(cause: str, where: np.ndarray) -> None:
        out[cause] += float(np.sum(left[where]))
        left[where] = 0.0

    take("grip" if drives else "slack", course.capped)
    take("current_limit", course.flow.limited)
    take("control", way * course.duty < FULL)
    for cause, share in zip(("sag", "torque", "speed"), course.shares, strict=True):
        out[cause] = float(np.sum(left * share))
    total = sum(out.values())
    return {cause: value / total if total > 0.0 else 0.0 for cause, value in out.items()}


# --- tables -------------------------------------------------------------------------------------------


def tables_of(
    robot: Robot, name: str, load: float, volts: float | None, celsius: float, rows: int = 11
) -> Tables:
    """The mechanism as the integrator sees it, with motors at a voltage and a winding temperature.

    None for the voltage: the motors' nominal one.
    """
    built = Models(only_one(robot, name)).get(name, load)
    at = built.volts if volts is None else volts
    use = robot.mechanisms[name].values.get("motors")
    heat = None if use is None else robot.motors[use.motor].heat
    magnets = None if heat is None else heat.magnets
    warm = statics.warmed(built, celsius, magnets)
    low, high = (built.reduced.low, built.reduced.high)
    if not (high - low < 1e5):
        low, high, rows = 0.0, 0.0, 1
    q = np.linspace(low, high, rows)
    mass, _, weight, factor, _ = look_up(built.reduced, q)
    stiff = Circuit(BatteryState("stiff", at, 0.0, 0))
    force = statics.stall_force(warm, stiff, q, 1.0)
    groups = warm.groups
    moved = mass + sum(
        group[L.G_N] * group[L.G_J] * (group[L.G_RATIO] * factor) ** 2 + group[L.G_WHEEL] for group in groups
    )
    group = groups[0]
    ratio = group[L.G_RATIO] * factor
    free = max(at - group[L.G_R] * group[L.G_TF] / group[L.G_K], 0.0)  # less what the motor itself rubs
    speed = free / (group[L.G_K] * np.abs(ratio))
    columns = (q, mass, moved, weight, ratio, force, speed)
    return Tables(
        at, celsius, magnets, load,
        tuple(Row(*(float(value) for value in row)) for row in zip(*columns, strict=True)),
    )  # fmt: skip
