"""From a robot's description to the flat arrays of the kernel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.gearing import chain, completed_stages
from simbot.physics.heat import HeatModel
from simbot.physics.kinds import KINDS
from simbot.physics.kinds.mecanum import own_wheels
from simbot.physics.motor import MotorModel, completed_sheet, motor_model
from simbot.physics.springs import with_forces
from simbot.physics.stance import Places, leans_on, placed
from simbot.physics.tables import Reduced
from simbot.physics.ways import Way
from simbot.scenario.model import BatteryState, MechanismSpec, Robot
from simbot.scenario.parameters import Quantity

Array = npt.NDArray[np.float64]
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
LEAST_INERTIA = 1e-5  # of the greatest along the travel; the least real rotor is far above it
ENDLESS = 1e6  # m: a curve goes straight on beyond its ends


@dataclass(frozen=True)
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
    """

    reduced: Reduced
    groups: Array
    volts: float
    free_speed: float
    guide: Any = None  # of a curved way (bends.Guide)
    lacking: float = 0.0  # inertia that was added where nothing would move [kg, kg m²]

    @cached_property
    def lag(self) -> float:
        """Time constant with which it comes to its free speed [s], of its first group on its first piece."""
        group = self.groups[0]
        inertia = self.reduced.segments[0].mass + group[L.G_N] * group[L.G_J] * group[L.G_RATIO] ** 2
        return float(inertia / (group[L.G_N] * (group[L.G_K] * group[L.G_RATIO]) ** 2 / group[L.G_R]))


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
) -> Array:
    """Row of a motor group (see layout); ratio: motor's shaft per unit of travel.

    The loss r of a gearmotor lies in its gears, after its rotor; that of a bare motor before its rotor.
    """
    row = np.zeros(L.GROUP_SIZE)
    bare = 1.0 if motor.geared else motor.r
    if motor.geared:
        forward *= motor.r
        inner_back = 2.0 - 1.0 / motor.r
        locks = locks or inner_back <= 0.0
        back = -abs(back * inner_back) if locks else back * inner_back
    inertia = motor.rotor_inertia + upstream
    moving_back = back
    if (
        back == 0.0
        or ratio**2 * inertia * motors * least_factor(reduced) ** 2 + back * most_mass(reduced) <= 0.0
    ):
        moving_back = LEAST_BACK
    row[L.G_N], row[L.G_RATIO], row[L.G_R] = motors, ratio, motor.resistance
    row[L.G_K], row[L.G_TF], row[L.G_J] = motor.constant, motor.friction, inertia
    row[L.G_FWD], row[L.G_BACK], row[L.G_BACK_TRUE] = 1.0 / forward, moving_back, back
    row[L.G_RF], row[L.G_RB] = bare, max(2.0 - 1.0 / bare, 1e-6)
    row[L.G_SHARE], row[L.G_LIMIT], row[L.G_LIMIT_B] = share, limit, battery_limit
    row[L.G_CURRENT], row[L.G_RAIL] = 1.0, -1.0
    row[L.G_LO] = max(reduced.least_force, -most_back)
    row[L.G_HI] = min(reduced.greatest_force, most)
    row[L.G_LOCKS] = float(locks)
    return row


def most_mass(reduced: Reduced) -> float:
    """Greatest effective inertia along the travel [kg, kg m²]."""
    return max(
        segment.mass if segment.knots is None else float(segment.knots[:, L.TAB_M].max())
        for segment in reduced.segments
    )


def least_factor(reduced: Reduced) -> float:
    """Least common factor of the ratios along the travel."""
    tables = [segment.knots for segment in reduced.segments if segment.knots is not None]
    return min((float(knots[:, L.TAB_G].min()) for knots in tables), default=1.0)


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
    lacking = lacking_inertia(reduced, row)
    if lacking:
        reduced = with_extra_mass(reduced, lacking)
    free = motor.voltage / (motor.constant * ratio)
    return Built(reduced, row[None, :], motor.voltage, free, lacking=lacking)


def lacking_inertia(reduced: Reduced, row: Array) -> float:
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
    if values["rail"] is not None:
        row[L.G_RAIL] = list(robot.rails).index(values["rail"])
    return Built(reduced, row[None, :], volts, speed)


def build_leg(spec: MechanismSpec, robot: Robot, carried: float, direction: float | None) -> Built:
    """A drive on a straight line in a direction from its heading [rad], or in a turn (None)."""
    values = spec.values
    kind = KINDS[spec.kind]
    use = values["motors"]
    mass = float(robot.mass) + carried
    if direction is None:
        leg = kind.turn(values, mass, use.count, (float(robot.length), float(robot.width)))
    else:
        leg = kind.straight(values, mass, use.count, direction)
    motor = motor_model(robot.motors[use.motor])
    gears = chain(values["gearing"] or ())
    limit, battery_limit = limits(values)
    rows = [
        group_row(
            leg.reduced,
            motor,
            group.motors,
            group.per_travel * gears.ratio,
            gears.forward,
            gears.back,
            gears.locks,
            gears.upstream_inertia,
            group.share,
            limit,
            battery_limit,
            group.most,
            group.most if group.most_back is None else group.most_back,
        )
        for group in leg.groups
    ]
    for row, group in zip(rows, leg.groups, strict=True):
        row[L.G_WHEEL] = group.inertia
    if (
        len(rows) > 1
    ):  # wheels that lock and wheels that turn cannot share one line: none returns less than nothing
        for row in rows:
            row[L.G_BACK] = max(row[L.G_BACK], LEAST_BACK)
    ratio = leg.groups[0].per_travel * gears.ratio
    return Built(leg.reduced, np.array(rows), motor.voltage, motor.voltage / (motor.constant * ratio))


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
        values = dict(spec.values)
        if values.get("gearing"):
            values["gearing"], more = completed_stages(values["gearing"], spec.kind in WHOLE_BUILT)
            assumed += [(f"mechanisms.{name}", spec.line, *each) for each in more]
        servo = spec.servo
        if servo is not None and servo["stall_current"] is None:
            guess = servo_stall_current(servo)
            filled = {**servo, "stall_current": guess}
            own = servo is spec.values
            values = filled if own else {**values, "servo": filled}
            owner = f"mechanisms.{name}" if own else f"mechanisms.{name}.servo"
            reason = "its electronics and gears pass on 50 to 70 % at stall, common practice, no source"
            assumed.append((owner, spec.line, "stall_current", guess, guess.spread, reason))
        mechanisms[name] = replace(spec, values=values)
    return replace(robot, motors=motors, mechanisms=mechanisms), tuple(assumed)


def servo_stall_current(values: Mapping[str, Any]) -> Quantity:
    """Stall current of a servo whose sheet states none: Ts w0/(V efficiency) [A]."""
    current = float(values["stall_torque"] * values["speed"] / values["at"]) / SERVO_EFFICIENCY
    return Quantity(current, current / 6.0, "assumed", True)


class Models:
    """All mechanisms of a robot, built on first use and kept."""

    def __init__(self, robot: Robot) -> None:
        self.robot = completed(robot)[0]
        self.variants: dict[
            Any, tuple[Models, BatteryState]
        ] = {}  # the same robot with quantities at an end of their spread
        self.favourable: dict[Any, Any] = {}  # which ends make which moves fastest
        self.alone: dict[Any, Any] = {}  # arrays of one mechanism by itself, for floors
        self._built: dict[tuple[str, float, float | Way | None, Places], Built] = {}

    def get(
        self, name: str, payload: float = 0.0, direction: float | Way | None = 0.0, places: Places = ()
    ) -> Built:
        """A mechanism with a payload [kg]; of a drive: a leg in a direction from its heading or on a curved way,
        None: a turn.

        `places`: where the mechanisms stand that its load depends on; one that is not there stands at 0.
        """
        key = (name, payload, direction, places)
        if key not in self._built:
            spec = self.robot.mechanisms[name]
            if isinstance(direction, Way):
                from simbot.physics.bends import build_curve

                built = build_curve(spec, self.robot, payload, direction)
            elif spec.kind in DRIVES:
                built = build_leg(spec, self.robot, payload, direction)
            elif spec.servo is not None:
                built = build_servo(spec, self.robot, payload, places)
            else:
                built = build_driven(spec, self.robot, payload, places)
            self._built[key] = built
        return self._built[key]

    def under(self, robot: Robot) -> Models:
        """The same mechanisms for a robot that differs by its controls or its loop alone: nothing is built again."""
        twin = Models(robot)
        twin._built = self._built
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

    def __init__(self, models: Models, names: Sequence[str], battery: BatteryState, tolerance: float) -> None:
        robot = models.robot
        first = [models.get(name) for name in names]
        room = [most_groups(robot.mechanisms[name]) for name in names]
        mechanisms = L.RAILS + len(robot.rails) * L.RAIL_SIZE
        groups = mechanisms + len(names) * L.MECH_SIZE
        segments = groups + sum(room) * L.GROUP_SIZE
        stretches = [
            len(built.reduced.segments) + spare_segments(robot, name)
            for name, built in zip(names, first, strict=True)
        ]
        size = segments + sum(stretches) * L.SEG_SIZE
        self.w: Array = np.zeros(size)
        self.tab: Array = np.zeros((1, L.TAB_COLUMNS))
        self._rows: dict[int, int] = {}
        self._knots: list[Array] = []
        self._segments: dict[int, tuple[Reduced, Array]] = {}
        self.hot: dict[
            str, tuple[float, float]
        ] = {}  # resistance and motor constant over those of a cold motor
        self.at = {name: mechanisms + i * L.MECH_SIZE for i, name in enumerate(names)}
        self.number = {name: i for i, name in enumerate(names)}
        w = self.w
        w[L.E], w[L.R0], w[L.TOL] = battery.open_circuit, battery.resistance, tolerance
        if battery.resistance > 0.0 and (battery.polarisation > 0.0 or battery.falls > 0.0):
            w[L.SAGS], w[L.R1], w[L.TAU] = 1.0, battery.polarisation, battery.settling
            w[L.FALL] = battery.falls / battery.capacity if battery.capacity else 0.0
        w[L.WARMS] = float(watches_heat(robot))
        w[L.N_MECH], w[L.N_RAIL] = len(names), len(robot.rails)
        w[L.LOOP], w[L.LOOP_US] = robot.loop_us / 1e6, robot.loop_us
        w[L.V] = w[L.V_MIN] = w[L.REST] = battery.open_circuit
        w[L.COLLAPSED_AT], w[L.DIRTY], w[L.H] = -1.0, 1.0, 1e-3
        self._write_rails(robot)
        for name, built, count, stretch in zip(names, first, room, stretches, strict=True):
            m = self.at[name]
            w[m + L.GRP], w[m + L.SEG] = groups, segments
            groups += count * L.GROUP_SIZE
            segments += stretch * L.SEG_SIZE
            w[m + L.T_PENDING] = inf
            w[m + L.SLOW] = inf
            self.write(name, built)

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
        w, m = self.w, self.at[name]
        reduced = built.reduced
        w[m + L.Q_LO], w[m + L.Q_HI] = reduced.low, reduced.high
        w[m + L.DAMP] = reduced.damping
        w[m + L.VOLTS_NOMINAL] = built.volts
        w[m + L.N_GRP] = len(built.groups)
        g = int(w[m + L.GRP])
        squared = w[g + L.G_SQUARED]
        w[g : g + built.groups.size] = built.groups.ravel()
        w[g + L.G_SQUARED] = squared
        if name in self.hot:
            warm = self.hot[name]
            w[g + L.G_R : g + built.groups.size : L.GROUP_SIZE] *= warm[0]
            w[g + L.G_K : g + built.groups.size : L.GROUP_SIZE] *= warm[1]
        w[m + L.GUIDE_N] = 0.0
        if built.guide is not None:
            rows, low, high = built.guide.rows, built.guide.low, built.guide.high
            cells = len(rows) - 1
            w[m + L.GUIDE_N], w[m + L.GUIDE_ROW], w[m + L.GUIDE_Q0] = cells, self._row_of(rows), low
            w[m + L.GUIDE_PER], w[m + L.GUIDE_ROUND] = cells / (high - low), float(built.guide.round)
        w[m + L.N_SEG] = len(reduced.segments)
        s = int(w[m + L.SEG])
        segments = self._segments_of(reduced)
        w[s : s + segments.size] = segments
        self._take_new_rows()
        self.locate(name)

    def _segments_of(self, reduced: Reduced) -> Array:
        """The segments' records, one after the other; made once."""
        known = self._segments.get(id(reduced))
        if known is not None:
            return known[1]
        records: list[float] = []
        for segment in reduced.segments:
            cells, row = 0, 0
            if segment.knots is not None:
                cells, row = len(segment.knots) - 1, self._row_of(segment.knots)
            friction = reduced.friction if segment.friction is None else segment.friction
            static = reduced.static if segment.static is None else segment.static
            bends = segment.knots is not None and bool(
                np.any(segment.knots[:, L.TAB_DM] != 0.0) or np.any(segment.knots[:, L.TAB_G] != 1.0)
            )
            records += (segment.low, segment.high, segment.mass, segment.load, cells, row, friction, static)
            records += (float(segment.catch), float(bends))
        made = np.array(records)
        self._segments[id(reduced)] = reduced, made  # kept with what it is of, so that no other takes its id
        return made

    def _row_of(self, knots: Array) -> int:
        key = id(knots)
        if key not in self._rows:
            self._rows[key] = self._all_rows()
            self._knots.append(knots)
        self._take_new_rows()
        return self._rows[key]

    def _take_new_rows(self) -> None:
        """Table all knots that are known: a copy of this plant may have added some."""
        if len(self.tab) < self._all_rows():
            self.tab = np.concatenate(self._knots)

    def _all_rows(self) -> int:
        return sum(len(each) for each in self._knots)

    def locate(self, name: str) -> None:
        """Make the segment in which the mechanism stands its present one."""
        w, m = self.w, self.at[name]
        count = int(w[m + L.N_SEG])
        base = int(w[m + L.SEG])
        q = float(w[m + L.Q])
        records = w[base : base + count * L.SEG_SIZE].tolist()
        ends = records[L.SEG_TO : -L.SEG_SIZE : L.SEG_SIZE]
        now = next((k for k, end in enumerate(ends) if q < end), count - 1)
        catches = records[L.SEG_CATCH : (now + 1) * L.SEG_SIZE : L.SEG_SIZE]
        if any(catches):
            last = max(k for k, catch in enumerate(catches) if catch == 1.0)
            w[m + L.Q_LO] = records[
                last * L.SEG_SIZE + L.SEG_FROM
            ]  # the last tooth passed, were it pieces ago
        s = now * L.SEG_SIZE
        low, high, mass, load, cells, row, friction, static, _, bends = records[s : s + L.SEG_SIZE]
        w[m + L.FC], w[m + L.FS], w[m + L.TAB_BENDS], w[m + L.SEG_NOW] = friction, static, bends, now
        w[m + L.MASS_NOW : m + L.SEG_HI + 1] = (mass, load, cells, row, low, cells / (high - low), low, high)


def watches_heat(robot: Robot) -> bool:
    """Whether some fuse, breaker or winding is watched."""
    breakers = (spec.values.get("breaker") or {} for spec in robot.mechanisms.values())
    return (
        robot.fuse is not None
        or any(motor.heat is not None for motor in robot.motors.values())
        or any(breaker.get("rating") for breaker in breakers)
    )


def spare_segments(robot: Robot, name: str) -> int:
    """Room for a curve, and for cuts that fall on the ends of its stages in one order and, tipped, not in another."""
    if robot.mechanisms[name].kind in DRIVES:
        return 2  # before and after a curve
    return int(robot.mechanisms[name].values.get("stages") or 1) if leans_on(robot, name) else 0


def physical(robot: Robot) -> list[str]:
    """Names of the mechanisms that are integrated (all but those with a stopwatch's times), in file order."""
    return [name for name, spec in robot.mechanisms.items() if spec.coordinate != "word"]
