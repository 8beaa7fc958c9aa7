"""From a robot's description to the flat arrays of the kernel."""

from __future__ import annotations

from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.gearing import chain, completed_stages
from simbot.physics.heat import HeatModel
from simbot.physics.kinds import KINDS
from simbot.physics.kinds.mecanum import own_wheels
from simbot.physics.kinds.roller import SPEED_CONTROL
from simbot.physics.motor import MotorModel, completed_sheet, motor_model
from simbot.physics.springs import with_forces
from simbot.physics.stance import Places, leans_on, placed
from simbot.physics.tables import Reduced, Segment
from simbot.physics.ways import Way
from simbot.scenario.kind_schema import default_of
from simbot.scenario.model import BatteryState, MechanismSpec, Robot
from simbot.scenario.parameters import Quantity

Array = npt.NDArray[np.float64]
Row = list[float]  # of a motor group (see layout), until it is whole
# a missing efficiency is that of the whole, not of good stages
WHOLE_BUILT = (
    "slide",
    "rack",
    "arm",
    "parallelogram_arm",
    "four_bar",
    "slider_crank",
    "winch",
    "hoist",
    "turret",
)
LIFTS_ROBOTS = ("winch", "hoist")  # what a robot is pulled up by: a sheet of its pull, and cautions
SERVO_EFFICIENCY = 0.6  # of a servo's electronics and gears at stall, 0.5 to 0.7, common practice, no source
SWITCHING_EFFICIENCY = 0.9
LEAST_BACK = 1e-12
LEAST_LAG = 2e-5  # s: a rotor that follows its volts faster weighs less than any real one, and is never apart
LEAST_DRIVEN_LAG = (
    1e-4  # s: no real motor follows its volts faster, alone or with its load (1 ms at best, from memory)
)
LEAST_INERTIA = 1e-5  # of the greatest along the travel; the least real rotor is far above it
ENDLESS = 1e6  # m: a curve goes straight on beyond its ends


# never changed, as if frozen, which takes three times as long to make
@dataclass(slots=True, eq=False)
class Built:
    """One mechanism (or leg of a drive) ready to be written into the kernel's arrays.

    Parameters
    ----------
    reduced : Reduced
    groups : ndarray, shape (groups, layout.GROUP_SIZE)
    volts : float
        Nominal voltage of its motors [V].
    free_speed : float
        Of the mechanism at its nominal voltage, unloaded [m/s, rad/s].
    lag : float
        Time constant with which it comes to its free speed [s], of its first group on its first piece.
    """

    reduced: Reduced
    groups: Array
    volts: float
    free_speed: float
    guide: Any = None  # of a curved way (bends.Guide)
    lacking: float = 0.0  # inertia that was added where nothing would move [kg, kg m²]
    light: float = 0.0  # rotor inertia that was added to each motor [kg m²]
    lag: float = field(init=False)

    def __post_init__(self) -> None:
        number, ratio, resistance, constant, _, rotor = self.groups[0, : L.G_J + 1].tolist()
        inertia = self.reduced.segments[0].mass + number * rotor * ratio**2
        self.lag = float(inertia / (number * (constant * ratio) ** 2 / resistance))


def group_row(
    reduced: Reduced,
    motor: MotorModel,
    motors: int,
    ratio: float,
    forward: float,
    back: float,
    locks: bool,
    upstream: float = 0.0,
    share: float = 1.0,
    limit: float = inf,
    battery_limit: float = inf,
    most: float = inf,
    most_back: float = inf,
) -> Row:
    """Row of a motor group (see layout); ratio: motor's shaft per unit of travel.

    The loss r of a gearmotor lies in its gears, after its rotor; that of a bare motor before its rotor.
    """
    row = motor_row(motor, forward, back, locks, upstream, limit, battery_limit)
    complete(row, reduced, extremes(reduced), motors, ratio, share, most, most_back)
    return row


def motor_row(
    motor: MotorModel,
    forward: float,
    back: float,
    locks: bool,
    upstream: float,
    limit: float,
    battery_limit: float,
) -> Row:
    """Of a group's row what hangs on its motor and gears alone."""
    row = [0.0] * L.GROUP_SIZE
    bare = 1.0 if motor.geared else motor.r
    if motor.geared:
        forward *= motor.r
        inner_back = 2.0 - 1.0 / motor.r
        locks = locks or inner_back <= 0.0
        back = -abs(back * inner_back) if locks else back * inner_back
    row[L.G_R], row[L.G_K], row[L.G_TF] = motor.resistance, motor.constant, motor.friction
    row[L.G_J] = motor.rotor_inertia + upstream
    row[L.G_FWD], row[L.G_BACK], row[L.G_BACK_TRUE] = 1.0 / forward, back, back
    row[L.G_RF], row[L.G_RB] = bare, max(2.0 - 1.0 / bare, 1e-6)
    row[L.G_LIMIT], row[L.G_LIMIT_B] = limit, battery_limit
    row[L.G_CURRENT], row[L.G_RAIL] = 1.0, -1.0
    row[L.G_LOCKS] = float(locks)
    return row


class Extremes(NamedTuple):
    """Least and greatest effective inertia [kg, kg m²], and least common factor of the ratios along a travel."""

    least_mass: float
    most_mass: float
    least_factor: float


def extremes(reduced: Reduced) -> Extremes:
    """Of the whole travel."""
    masses: list[float] = []
    for segment in reduced.segments:
        knots = segment.knots
        masses += [segment.mass] if knots is None else knots[:, L.TAB_M].tolist()
    return Extremes(min(masses), max(masses), least_factor(reduced))


def complete(
    row: Row,
    reduced: Reduced,
    along: Extremes,
    motors: int,
    ratio: float,
    share: float = 1.0,
    most: float = inf,
    most_back: float = inf,
) -> None:
    """Put into a row, beside what hangs on motor and gears alone, the rest; `along`: extremes of the same travel."""
    back = row[L.G_BACK]
    rotors = ratio**2 * row[L.G_J] * motors
    if back == 0.0 or rotors * along.least_factor**2 + back * along.most_mass <= 0.0:
        row[L.G_BACK] = LEAST_BACK
    row[L.G_N], row[L.G_RATIO], row[L.G_SHARE] = motors, ratio, share
    row[L.G_LO] = max(reduced.least_force, -most_back)
    row[L.G_HI] = min(reduced.greatest_force, most)
    # they turn by themselves where their cord only pulls, where their wheels slide
    bounded = row[L.G_LO] > -inf or row[L.G_HI] < inf
    row[L.G_ROTOR] = float(bounded and own_lag(row) > LEAST_LAG and along.least_mass > 0.0)


def own_lag(row: Row) -> float:
    """Time constant of motors by themselves, J R/k² [s]."""
    return row[L.G_J] * row[L.G_R] / row[L.G_K] ** 2


def least_factor(reduced: Reduced) -> float:
    """Least common factor of the ratios along the travel."""
    return min(
        [float(each.knots[:, L.TAB_G].min()) for each in reduced.segments if each.knots is not None],
        default=1.0,
    )


def limits(values: Mapping[str, Any]) -> tuple[float, float]:
    motor, battery = values.get("current_limit"), values.get("battery_current_limit")
    return (inf if motor is None else float(motor)), (inf if battery is None else float(battery))


def build_driven(spec: MechanismSpec, robot: Robot, payload: float, places: Places = ()) -> Built:
    """A mechanism with motors of its own; a kind may add stages of its own (a screw) after the gearing."""
    values = placed(spec, robot, places)
    kind = KINDS[spec.kind]
    reduced = with_forces(kind.reduce(values, payload), values)
    motor = motor_model(robot.motors[values["motors"].motor])
    gears = chain(
        (*(values["gearing"] or ()), *(kind.own_stages(values) if hasattr(kind, "own_stages") else ()))
    )
    count = values["motors"].count
    if gears.downstream_inertia:
        reduced = with_extra_mass(reduced, gears.downstream_inertia * reduced.per_travel**2)
    ratio = reduced.per_travel * gears.ratio
    limit, battery_limit = limits(values)
    row = group_row(
        reduced,
        motor,
        count,
        ratio,
        gears.forward,
        gears.back,
        gears.locks,
        gears.upstream_inertia,
        limit=limit,
        battery_limit=battery_limit,
    )
    light = lacking_rotor(reduced, row)
    row[L.G_J] += light
    lacking = lacking_inertia(reduced, row)
    if lacking:
        reduced = with_extra_mass(reduced, lacking)
    free = motor.voltage / (motor.constant * ratio)
    return Built(reduced, np.array([row]), motor.voltage, free, lacking=lacking, light=light)


def lacking_rotor(reduced: Reduced, row: Row) -> float:
    """Inertia by which a motor's rotor is lighter than any real one [kg m²]: it, and what it moves, would lag less.

    Pushed by its load a motor moves no more of that than its gears pass back, with gears that lock its rotor alone.
    """
    back = 0.0 if row[L.G_LOCKS] == 1.0 else min(1.0, max(0.0, row[L.G_BACK_TRUE]))
    load = back * least_mass_felt(reduced) / (row[L.G_N] * row[L.G_RATIO] ** 2)
    return max(0.0, LEAST_DRIVEN_LAG * row[L.G_K] ** 2 / row[L.G_R] - row[L.G_J] - load)


def least_mass_felt(reduced: Reduced) -> float:
    """Least effective inertia along the travel over the square of the ratios' common factor [kg, kg m²]."""
    least = []
    for segment in reduced.segments:
        if segment.knots is None:
            least.append(segment.mass)
        else:
            factor = np.maximum(np.abs(segment.knots[:, L.TAB_G]), 1e-9)
            least.append(float(np.min(segment.knots[:, L.TAB_M] / factor**2)))
    return min(least)


def lacking_inertia(reduced: Reduced, row: Row) -> float:
    """What a linkage's inertia lacks where all that has mass stands still (a dead centre) and rotors weigh nothing.

    There the least force would move it without bound; LEAST_INERTIA of the greatest keeps that finite, and changes
    times by less than so much.
    """
    tables = [segment.knots for segment in reduced.segments if segment.knots is not None]
    if not tables:
        return 0.0
    rotors = row[L.G_RATIO] ** 2 * row[L.G_N] * row[L.G_J]
    felt = np.concatenate([knots[:, L.TAB_M] + rotors * knots[:, L.TAB_G] ** 2 for knots in tables])
    return max(0.0, LEAST_INERTIA * float(felt.max()) - float(felt.min()))


def with_extra_mass(reduced: Reduced, mass: float) -> Reduced:
    """The same mechanism with a constant inertia added along the whole travel."""
    segments = []
    for segment in reduced.segments:
        knots = segment.knots
        if knots is not None:
            knots = knots.copy()
            knots[:, L.TAB_M] += mass
        segments.append(replace(segment, mass=segment.mass + mass, knots=knots))
    return replace(reduced, segments=tuple(segments))


def build_servo(spec: MechanismSpec, robot: Robot, payload: float, places: Places = ()) -> Built:
    """Hobby servo: torque Ts d V/Vr - (Ts/w0) w, less its friction; rotor inertia rotor_time Ts/w0."""
    placed_values = placed(spec, robot, places)
    values = spec.servo
    assert values is not None
    reduced = with_forces(KINDS[spec.kind].reduce(placed_values, payload), placed_values)
    speed, torque, volts = float(values["speed"]), float(values["stall_torque"]), float(values["at"])
    constant = volts / speed
    resistance = constant * volts / torque
    motor = MotorModel(
        volts,
        resistance,
        constant,
        float(values["friction"]) * torque,
        float(values["rotor_time"]) * torque / speed,
        1.0,
        False,
        1.0,
        None,
    )
    row = group_row(reduced, motor, int(values["count"]), 1.0, 1.0, 1.0, False)
    row[L.G_CURRENT] = float(values["stall_current"]) / (volts / resistance)
    row[L.G_ROTOR] = 0.0
    if values["rail"] is not None:
        row[L.G_RAIL] = list(robot.rails).index(values["rail"])
    return Built(reduced, np.array([row]), volts, speed)


class Power(NamedTuple):
    """A motor and the gears after it."""

    motor: MotorModel
    ratio: float
    row: Row  # see motor_row


def power_of(spec: MechanismSpec, robot: Robot) -> Power:
    """What drives a mechanism, without stages of its kind's own."""
    values = spec.values
    motor, gears = motor_model(robot.motors[values["motors"].motor]), chain(values["gearing"] or ())
    row = motor_row(motor, gears.forward, gears.back, gears.locks, gears.upstream_inertia, *limits(values))
    return Power(motor, gears.ratio, row)


def build_leg(
    spec: MechanismSpec, robot: Robot, carried: float, direction: float | None, power: Power
) -> Built:
    """A drive on a straight line in a direction from its heading [rad], or in a turn (None)."""
    values, motor = spec.values, power.motor
    kind = KINDS[spec.kind]
    use = values["motors"]
    mass = float(robot.mass) + carried
    if direction is None:
        leg = kind.turn(values, mass, use.count, (float(robot.length), float(robot.width)))
    else:
        leg = kind.straight(values, mass, use.count, direction)
    whole = leg.reduced.segments[0].mass
    along = Extremes(whole, whole, 1.0)  # a leg is alike all along it
    rows: Row = []
    for motors, per_travel, share, most, inertia, most_back in leg.groups:
        row = power.row.copy()
        back = most if most_back is None else most_back
        complete(row, leg.reduced, along, motors, per_travel * power.ratio, share, most, back)
        row[L.G_WHEEL] = inertia
        if (
            len(leg.groups) > 1
        ):  # wheels that lock and wheels that turn cannot share one line: none returns less than nothing
            row[L.G_BACK] = max(row[L.G_BACK], LEAST_BACK)
        rows += row
    ratio = leg.groups[0].per_travel * power.ratio
    groups = np.frombuffer(array("d", rows)).reshape(-1, L.GROUP_SIZE)  # quicker than from lists
    return Built(leg.reduced, groups, motor.voltage, motor.voltage / (motor.constant * ratio))


DRIVES = tuple(name for name, module in KINDS.items() if hasattr(module, "HOLONOMIC"))
SPINNING = ("roller", "flywheel")
Assumption = tuple[str, int, str, float, float, str]


def completed(robot: Robot) -> tuple[Robot, tuple[Assumption, ...]]:
    """Fill in everything the physics needs and the file leaves out.

    Returns
    -------
    (robot, assumed) : assumed is a tuple of (owner, line, key, value in SI, spread, reason)
    """
    assumed: list[Assumption] = []
    motors = {}
    for name, sheet in robot.motors.items():
        motors[name], more = completed_sheet(sheet)
        assumed += [(f"motors.{name}", sheet.line, *each) for each in more]
    mechanisms = {}
    for name, spec in robot.mechanisms.items():
        values = spec.values
        if values.get("motors") is not None:
            stages, more = completed_stages(values["gearing"], spec.kind in WHOLE_BUILT)
            assumed += [(f"mechanisms.{name}", spec.line, *each) for each in more]
            values = {**values, "gearing": stages} if more else values
        if "speed_control" in values and values["speed_control"] is None:
            values = {**values, "speed_control": {each.key: default_of(each) for each in SPEED_CONTROL.block}}
        servo = spec.servo
        if servo is not None and servo["stall_current"] is None:
            guess = servo_stall_current(servo)
            filled = {**servo, "stall_current": guess}
            own = servo is spec.values
            values = filled if own else {**values, "servo": filled}
            owner = f"mechanisms.{name}" if own else f"mechanisms.{name}.servo"
            reason = "its electronics and gears pass on 50 to 70 % at stall, common practice, no source"
            assumed.append((owner, spec.line, "stall_current", guess, guess.spread, reason))
        mechanisms[name] = spec if values is spec.values else replace(spec, values=values)
    return replace(robot, motors=motors, mechanisms=mechanisms), tuple(assumed)


def servo_stall_current(values: Mapping[str, Any]) -> Quantity:
    """Stall current of a servo whose sheet states none: Ts w0/(V efficiency) [A]."""
    current = float(values["stall_torque"] * values["speed"] / values["at"]) / SERVO_EFFICIENCY
    return Quantity(current, current / 6.0, "assumed", True)


NO_GUIDE = (0.0,) * 5
Records = tuple[tuple[float, ...], ...]  # of the segments of a travel, as the kernel's array has them


class Piece(NamedTuple):
    """A segment of the travel."""

    low: float
    high: float
    catch: bool
    here: memoryview[float]  # as the kernel's array has the present one, from SEG_NOW to SEG_HI


class Image(NamedTuple):
    """What of a mechanism goes into the kernel's array (see layout), made once."""

    of: Built  # kept, so that no other takes its id
    low: float
    whole: memoryview[float]  # from N_GRP to Q_HI
    groups: int
    motors: Any  # their rows, one after the other
    flat: memoryview[float]  # the segments' records, one after the other
    pieces: tuple[Piece, ...]  # the same segments, as one stands in them
    catches: bool  # some have teeth: a pawl holds the drum, and the cord taut


def packed(*numbers: float) -> memoryview[float]:
    """Numbers as they lie in the kernel's array."""
    return memoryview(array("d", numbers))


class Tables:
    """The knots of a robot's mechanisms in one array, and what is made of each mechanism for the kernel."""

    def __init__(self) -> None:
        self.rows: Array = np.zeros((1024, L.TAB_COLUMNS))
        self._used = 0
        self._begins: dict[int, tuple[int, Array]] = {}
        self._images: dict[int, Image] = {}
        self._stretches: dict[Records, tuple[memoryview[float], tuple[Piece, ...]]] = {}

    def image(self, built: Built) -> Image:
        """What of a mechanism goes into the kernel's array."""
        known = self._images.get(id(built))
        if known is None:
            known = self._images[id(built)] = self._image(built)
        return known

    def _image(self, built: Built) -> Image:
        reduced, groups, guide = built.reduced, built.groups, NO_GUIDE
        if built.guide is not None:
            low, high, cells = built.guide.low, built.guide.high, len(built.guide.rows) - 1
            row = self._row_of(built.guide.rows)
            guide = (cells, row, low, cells / (high - low), float(built.guide.round))
        flat, pieces = self._stretch(tuple([self._record(segment, reduced) for segment in reduced.segments]))
        sizes = (len(groups), len(pieces), reduced.damping, built.volts)
        return Image(
            built,
            reduced.low,
            packed(*sizes, *guide, reduced.low, reduced.high),
            len(groups),
            groups.ravel().data,
            flat,
            pieces,
            any(segment.catch for segment in reduced.segments),
        )

    def _stretch(self, records: Records) -> tuple[memoryview[float], tuple[Piece, ...]]:
        """A travel as it lies in the kernel's array, and its pieces: the same of all lines that a drive goes."""
        known = self._stretches.get(records)
        if known is None:
            pieces = tuple(_piece(number, record) for number, record in enumerate(records))
            known = self._stretches[records] = (
                packed(*(number for record in records for number in record)),
                pieces,
            )
        return known

    def _record(self, segment: Segment, reduced: Reduced) -> tuple[float, ...]:
        cells, row, bends = 0, 0, False
        knots = segment.knots
        if knots is not None:
            cells, row = len(knots) - 1, self._row_of(knots)
            bends = bool(np.any(knots[:, L.TAB_DM] != 0.0) or np.any(knots[:, L.TAB_G] != 1.0))
        friction = reduced.friction if segment.friction is None else segment.friction
        static = reduced.static if segment.static is None else segment.static
        of = (segment.low, segment.high, segment.mass, segment.load, cells, row, friction, static)
        return (*of, segment.catch, bends)

    def _row_of(self, knots: Array) -> int:
        """First row of some knots; they are added where they are new."""
        known = self._begins.get(id(knots))
        if known is not None:
            return known[0]
        row, self._used = self._used, self._used + len(knots)
        if self._used > len(self.rows):
            more = np.zeros((max(len(self.rows), len(knots)), L.TAB_COLUMNS))
            self.rows = np.concatenate((self.rows, more))
        self.rows[row : self._used] = knots
        self._begins[id(knots)] = row, knots
        return row


def _piece(number: int, record: tuple[float, ...]) -> Piece:
    low, high, mass, load, cells, row, friction, static, catch, bends = record
    per = cells / (high - low)
    here = packed(number, friction, static, bends, mass, load, cells, row, low, per, low, high)
    return Piece(low, high, bool(catch), here)


class Models:
    """All mechanisms of a robot, built on first use and kept."""

    def __init__(self, robot: Robot) -> None:
        self.robot = completed(robot)[0]
        self.variants: dict[Any, Models] = {}  # the same robot with quantities at an end of their spread
        # which ends make which moves fastest, and when their efforts are switched
        self.favourable: dict[Any, Any] = {}
        # where quantities with a spread stand, by mechanism and battery state
        self.paths: dict[tuple[str, str], list[tuple[str | int, ...]]] = {}
        self.helped: dict[Any, float] = {}  # which end of a quantity made a mechanism faster, the last time
        self.alone: dict[Any, Any] = {}  # arrays of one mechanism by itself, for floors
        self.tables = Tables()
        self.facts: Any = None  # of plants of this robot (plant.state.Facts), once there is one
        self._powers: dict[str, Power] = {}  # of drives
        self._arrays: dict[tuple[str, ...], Arrays] = {}  # on no battery yet
        self._built: dict[tuple[str, float, float | Way | None, Places], Built] = {}

    def get(
        self, name: str, payload: float = 0.0, direction: float | Way | None = 0.0, places: Places = ()
    ) -> Built:
        """A mechanism with a payload [kg]; of a drive: a leg in a direction from its heading or on a curved way,
        None: a turn.

        `places`: where the mechanisms stand that its load depends on; one that is not there stands at 0.
        """
        key = (name, payload, direction, places)
        known = self._built.get(key)
        if known is None:
            spec = self.robot.mechanisms[name]
            if isinstance(direction, Way):
                from simbot.physics.bends import build_curve

                built = build_curve(spec, self.robot, payload, direction)
            elif spec.kind in DRIVES:
                if name not in self._powers:
                    self._powers[name] = power_of(spec, self.robot)
                built = build_leg(spec, self.robot, payload, direction, self._powers[name])
            elif spec.servo is not None:
                built = build_servo(spec, self.robot, payload, places)
            else:
                built = build_driven(spec, self.robot, payload, places)
            known = self._built[key] = built
        return known

    def arrays(self, names: Sequence[str], battery: BatteryState, tolerance: float) -> Arrays:
        """The kernel's arrays of a plant at its beginning: laid out and filled once, for all plants of the robot."""
        known = self._arrays.get(tuple(names))
        if known is None:
            known = self._arrays[tuple(names)] = Arrays(self, names)
        return known.on(battery, tolerance)

    def under(self, robot: Robot) -> Models:
        """The same mechanisms for a robot that differs by its controls or its loop alone: nothing is built again."""
        twin = Models(robot)
        twin._built, twin.tables = self._built, self.tables
        return twin

    def heat(self, name: str) -> HeatModel | None:
        """Heat stores of one motor of a mechanism; None where its sheet states none."""
        use = self.robot.mechanisms[name].values.get("motors")
        sheet = None if use is None else self.robot.motors[use.motor]
        if sheet is None or sheet.heat is None:
            return None
        return HeatModel.of(sheet.heat, motor_model(sheet).resistance)


def most_groups(spec: MechanismSpec) -> int:
    """Of motors that turn alike, on any leg."""
    if spec.kind not in DRIVES:
        return 1
    own = "centre_left" in spec.values and own_wheels(spec.values, spec.values["motors"].count)
    return 4 if own else 2


class Arrays:
    """The kernel's arrays of one plant: state `w`, tables `tab`, and where each mechanism stands in `w`."""

    __slots__ = (
        "_groups",
        "_images",
        "_rotors",
        "_stretches",
        "_tables",
        "at",
        "columns",
        "hot",
        "number",
        "rotors",
        "w",
    )

    def __init__(self, models: Models, names: Sequence[str]) -> None:
        robot = models.robot
        first = [models.get(name) for name in names]
        room = [most_groups(robot.mechanisms[name]) for name in names]
        mechanisms = L.RAILS + len(robot.rails) * L.RAIL_SIZE
        groups = mechanisms + len(names) * L.MECH_SIZE
        rotors = [count if may_part(built) else 0 for built, count in zip(first, room, strict=True)]
        groups += sum(rotors) * L.MECH_SIZE
        segments = groups + sum(room) * L.GROUP_SIZE
        stretches = [
            len(built.reduced.segments) + spare_segments(robot, name)
            for name, built in zip(names, first, strict=True)
        ]
        pending = segments + sum(stretches) * L.SEG_SIZE
        rooms = [
            (room_to_wait(robot.mechanisms[name]), room_of_profile(robot.mechanisms[name])) for name in names
        ]
        self.w: Array = np.zeros(pending + sum(map(sum, rooms)))
        self._tables = models.tables
        self._groups: dict[str, int] = {}  # where its motor groups and its segments stand in `w`
        self._stretches: dict[str, int] = {}
        self._rotors: dict[str, list[int]] = {}  # and the records of its rotors, 0: they have none
        self._images: dict[str, Image] = {}  # what was written last
        self.hot: dict[
            str, tuple[float, float]
        ] = {}  # resistance and motor constant over those of a cold motor
        self.at = {name: mechanisms + i * L.MECH_SIZE for i, name in enumerate(names)}
        self.number = {name: i for i, name in enumerate(names)}
        self.rotors: dict[
            str, range
        ] = {}  # whose records, counted as mechanisms are: in the array and in a log
        for name, count in zip(names, rotors, strict=True):
            begin = len(names) + sum(len(each) for each in self.rotors.values())
            self.rotors[name] = range(begin, begin + count)
        self.columns = L.LOG_MECH + L.LOG_PER_MECH * (len(names) + sum(rotors))
        w = self.w
        w[L.WARMS], w[L.TOLD] = float(watches_heat(robot)), 1.0
        w[L.N_MECH] = w[L.N_BODY] = len(names)
        w[L.N_ROTOR], w[L.N_RAIL] = sum(rotors), len(robot.rails)
        w[L.LOOP], w[L.LOOP_US] = robot.loop_us / 1e6, robot.loop_us
        w[L.COLLAPSED_AT], w[L.DIRTY], w[L.H] = -1.0, 1.0, 5e-3
        self._write_rails(robot)
        for name, built, count, stretch, (waits, runs) in zip(
            names, first, room, stretches, rooms, strict=True
        ):
            m = self.at[name]
            w[m + L.PENDING], w[m + L.PROFILE] = pending, pending + waits
            pending += waits + runs
            w[m + L.GRP], w[m + L.SEG] = groups, segments
            self._groups[name], self._stretches[name] = groups, segments
            for k, rotor in enumerate(self._rotors_at(name)):
                w[rotor + L.GRP] = groups + k * L.GROUP_SIZE
            self._rotors[name] = self._rotors_at(name) or [0] * count
            groups += count * L.GROUP_SIZE
            segments += stretch * L.SEG_SIZE
            w[m + L.T_PENDING] = inf
            w[m + L.SLOW] = inf
            self.write(name, built)

    def on(self, battery: BatteryState, tolerance: float) -> Arrays:
        """A copy that hangs on a battery, to be integrated with a relative tolerance."""
        twin = self.with_state(*self.state())
        w = twin.w
        w[L.E], w[L.R0], w[L.TOL] = battery.open_circuit, battery.resistance, tolerance
        if battery.resistance > 0.0 and (battery.polarisation > 0.0 or battery.falls > 0.0):
            w[L.SAGS], w[L.R1], w[L.TAU] = 1.0, battery.polarisation, battery.settling
            w[L.FALL] = battery.falls / battery.capacity if battery.capacity else 0.0
        w[L.V] = w[L.V_MIN] = w[L.REST] = battery.open_circuit
        return twin

    def state(self) -> tuple[Array, dict[str, Image], dict[str, tuple[float, float]]]:
        """What of it changes, as it is now."""
        return self.w.copy(), self._images, self.hot

    def with_state(self, w: Array, images: dict[str, Image], hot: dict[str, tuple[float, float]]) -> Arrays:
        """The same as it was in a state, which is its own from now on."""
        twin = object.__new__(Arrays)
        twin._groups, twin._stretches, twin._rotors = self._groups, self._stretches, self._rotors
        twin._tables, twin.columns = self._tables, self.columns
        twin.at, twin.number, twin.rotors = self.at, self.number, self.rotors
        twin.w, twin._images, twin.hot = w, images, hot
        return twin

    @property
    def tab(self) -> Array:
        """Tables of all mechanisms, those of other plants of the same robot among them."""
        return self._tables.rows

    def _write_rails(self, robot: Robot) -> None:
        for k, rail in enumerate(robot.rails.values()):
            r = L.RAILS + k * L.RAIL_SIZE
            self.w[r + L.RAIL_SET], self.w[r + L.RAIL_LIMIT] = rail.voltage, rail.current_limit
            self.w[r + L.RAIL_DROP] = rail.dropout
            self.w[r + L.RAIL_EFF] = SWITCHING_EFFICIENCY if rail.regulator == "switching" else 0.0
            self.w[r + L.RAIL_V] = rail.voltage
            self.w[r + L.RAIL_MODE] = L.IDLE

    def write(self, name: str, built: Built) -> None:
        """Write (or write again) what does not depend on the command; position and speed stay."""
        w: Any = self.w.data  # the same numbers, quicker one by one and in short pieces
        m, g, s = self.at[name], self._groups[name], self._stretches[name]
        image = self._tables.image(built)
        if image.catches or w[m + L.N_GRP] != image.groups:
            self.join(name)
        w[m + L.N_GRP : m + L.Q_HI + 1] = image.whole
        warm, motors, row = self.hot.get(name), image.motors, 0
        for rotor in self._rotors[name][: image.groups]:
            w[g : g + L.G_ROTOR] = motors[row : row + L.G_ROTOR]
            w[g + L.G_ROTOR] = rotor if motors[row + L.G_ROTOR] and not image.catches else 0.0
            if warm is not None:
                w[g + L.G_R] *= warm[0]
                w[g + L.G_K] *= warm[1]
            g, row = g + L.GROUP_SIZE, row + L.GROUP_SIZE
        w[s : s + len(image.flat)] = image.flat
        if self._images.get(name) is not image:
            self._images = {**self._images, name: image}
        self.locate(name)

    def _rotors_at(self, name: str) -> list[int]:
        """Where the records of its rotors stand, one for each group that there may be."""
        first = next(iter(self.at.values()))
        return [first + number * L.MECH_SIZE for number in self.rotors[name]]

    def take_pawl_out(self, name: str, low: float) -> None:
        """Of a ratchet: its teeth stop nothing, down to the lower end of the travel."""
        w, m = self.w, self.at[name]
        segments = int(w[m + L.SEG]) + L.SEG_SIZE * np.arange(int(w[m + L.N_SEG]))
        w[segments + L.SEG_CATCH] = 0.0
        w[m + L.Q_LO] = low
        for rotor in self._rotors_at(name):
            w[int(w[rotor + L.GRP]) + L.G_ROTOR] = rotor

    def is_apart(self, name: str) -> bool:
        """Whether some of its rotors turn by themselves now."""
        return any(self.w[rotor + L.OF] != 0.0 for rotor in self._rotors_at(name))

    def join(self, name: str) -> None:
        """Let its rotors turn with it from now on, whatever they have done."""
        w = self.w
        if w.item(L.N_BODY) == w.item(L.N_MECH):
            return
        for rotor in self._rotors_at(name):
            if w[rotor + L.OF] != 0.0:
                w[int(w[rotor + L.GRP]) + L.G_APART] = 0.0
                for cleared in (L.OF, L.N_GRP, L.SIDE, L.LOAD_NOW, L.S, L.SPEED, L.ACC, L.DUTY):
                    w[rotor + cleared] = 0.0
        if not any(self.is_apart(each) for each in self.at):
            w[L.N_BODY] = w[L.N_MECH]

    def locate(self, name: str) -> None:
        """Make the segment in which the mechanism stands its present one."""
        w: Any = self.w.data
        m, image = self.at[name], self._images[name]
        pieces, now = image.pieces, 0
        if len(pieces) > 1:
            q = w[m + L.Q]
            now = next((k for k, piece in enumerate(pieces) if q < piece.high), len(pieces) - 1)
        if image.catches:  # the last tooth passed holds, were it pieces ago
            w[m + L.Q_LO] = next((one.low for one in pieces[now::-1] if one.catch), image.low)
        w[m + L.SEG_NOW : m + L.SEG_HI + 1] = pieces[now].here


def may_part(built: Built) -> bool:
    """Whether some of its motors may turn by themselves."""
    return any(built.groups[:, L.G_ROTOR].tolist())


def watches_heat(robot: Robot) -> bool:
    """Whether some fuse, breaker or winding is watched."""
    breakers = (spec.values.get("breaker") or {} for spec in robot.mechanisms.values())
    return (
        robot.fuse is not None
        or any(motor.heat is not None for motor in robot.motors.values())
        or any(breaker.get("rating") for breaker in breakers)
    )


def room_to_wait(spec: MechanismSpec) -> int:
    """Numbers of outputs that are decided before they act: where its code is late or its motors cross a play."""
    late = any((spec.values.get(key) or {}).get("latency") for key in ("control", "turn"))
    return 3 * L.MAX_PENDING if late or spec.values.get("backlash") else 0


def room_of_profile(spec: MechanismSpec) -> int:
    loops = {(spec.values.get(key) or {}).get("loop") for key in ("control", "turn")}
    return 5 * L.MAX_PROFILE if "profile" in loops else 0


def spare_segments(robot: Robot, name: str) -> int:
    """Room for a curve, and for cuts that fall on the ends of its stages in one order and, tipped, not in another."""
    if robot.mechanisms[name].kind in DRIVES:
        return 2  # before and after a curve
    return int(robot.mechanisms[name].values.get("stages") or 1) if leans_on(robot, name) else 0


def physical(robot: Robot) -> list[str]:
    """Names of the mechanisms that are integrated (all but those with a stopwatch's times), in file order."""
    integrated = {name: spec for name, spec in robot.mechanisms.items() if spec.coordinate != "word"}
    return [name for name in integrated if name not in robot.standing]
