"""What a game, a robot and a plan file say, in SI units: the only thing later stages see of the files.

All classes are frozen. Lengths [m], angles [rad], times [s], instants of the match [µs, int], masses [kg],
volts [V], amperes [A]. Numbers read from a file are `Quantity` floats: they carry their spread.
A `line` is the 1-based line of the plan (or robot) file on which the thing stands.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

# --- game ---------------------------------------------------------------------------------------------


# never changed, as if frozen, which takes three times as long to make
@dataclass(slots=True, unsafe_hash=True)
class Pose:
    """Robot centre on the field and heading from +x, counter-clockwise."""

    x: float
    y: float
    heading: float


@dataclass(frozen=True)
class Period:
    name: str
    duration_us: int


@dataclass(frozen=True)
class Element:
    name: str
    mass: float  # 0 where none is stated: it weighs nothing
    when_dropped: str = "lost"  # or the station it comes back to


Corners = tuple[tuple[float, float], ...]  # x, y [m]


class Solid(NamedTuple):
    """What stands on the field and a robot cannot drive through."""

    name: str  # as a sentence says it
    corners: Corners
    pose: Pose | None  # where the robot stands at it


@dataclass(frozen=True)
class Station:
    """Where elements come from. One robot at a time."""

    name: str
    pose: Pose
    gives: str
    stock: int | None  # None: unlimited; also the upper limit of what refilling leaves there
    refill_count: int  # elements per refill, 0: never
    refill_us: int
    line: int
    outline: Corners = ()  # none: nothing there to run into


@dataclass(frozen=True)
class Place:
    """Where elements go, and what they earn there."""

    name: str
    pose: Pose
    takes: str
    room: int | None  # None: unlimited
    points: dict[str, float]  # by period name, every period of the game is a key
    points_when_full: float
    clearing_us: int | None  # None: full for good
    line: int
    orientation: str = ""  # how it wants what it takes; empty: anyhow
    outline: Corners = ()


@dataclass(frozen=True)
class Bonus:
    """Points for each whole set of elements over some places."""

    name: str
    each: dict[str, int]  # place -> elements of a set
    points: float
    at_most: int | None


@dataclass(frozen=True)
class Possession:
    """How many elements a robot may have in hand, and what one more costs."""

    limit: int
    penalty: float


@dataclass(frozen=True)
class EndCondition:
    """Something that earns points where it is so when the match ends."""

    name: str
    points: float
    pose: Pose | None  # the robot's centre stands within `within` of it
    within: float
    best_of: str  # of all that are so under this name the best counts; empty: it counts by itself
    line: int


@dataclass(frozen=True)
class Game:
    path: Path
    name: str
    length: float
    width: float
    periods: tuple[Period, ...]
    endgame_us: int | None  # the last so many µs of the last period
    elements: dict[str, Element]
    stations: dict[str, Station]
    places: dict[str, Place]
    obstacles: tuple[Corners, ...]
    bonuses: tuple[Bonus, ...] = ()
    penalties: dict[str, float] = field(default_factory=dict)  # outcome -> points that it costs
    possession: Possession | None = None
    at_end: dict[str, EndCondition] = field(default_factory=dict)

    @property
    def solids(self) -> tuple[Solid, ...]:
        """Obstacles, and stations and places that state an outline."""
        spots: tuple[Station | Place, ...] = (*self.stations.values(), *self.places.values())
        return (
            *(Solid(f"obstacle {n} of the game", each, None) for n, each in enumerate(self.obstacles, 1)),
            *(Solid(f"the {spot.name}", spot.outline, spot.pose) for spot in spots if spot.outline),
        )

    def period_at(self, at_us: int) -> str:
        """The period an instant belongs to; the last instant of one is still its own."""
        end = 0
        for period in self.periods:
            end += period.duration_us
            if at_us <= end:
                return period.name
        return self.periods[-1].name

    def period_of(self, routine: str, at_us: int) -> str:
        """Where what a routine does at an instant belongs: to its own period, also in its first instant; what is done
        in the endgame, or by none, to that of the instant."""
        known = any(period.name == routine for period in self.periods)
        return routine if known else self.period_at(at_us)


# --- robot --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class BatteryState:
    name: str
    open_circuit: float
    resistance: float  # at once
    line: int
    polarisation: float = 0.0  # ohm, sinks in slowly
    settling: float = 20.0  # s, its time constant
    capacity: float | None = None  # C
    falls: float = 0.0  # V that the open circuit loses over the capacity


@dataclass(frozen=True)
class Rail:
    name: str
    voltage: float
    current_limit: float  # inf: none stated
    regulator: str  # "switching" or "linear"
    dropout: float  # V the bus must lie above the rail
    line: int


@dataclass(frozen=True)
class Fuse:
    """A fuse or thermal breaker: its body lags behind the square of the current."""

    rating: float  # A
    time: float  # s
    line: int


@dataclass(frozen=True)
class Heat:
    """Thermal part of a motor's sheet."""

    winding_to_case: float  # K/W
    case_to_air: float
    winding_time: float  # s
    case_time: float
    limit: float  # degC, of the winding
    magnets: str | None = None  # "ferrite" or "neodymium"; None: not stated


@dataclass(frozen=True)
class Motor:
    """A data sheet. None where the sheet does not say."""

    name: str
    voltage: float
    free_speed: float  # rad/s
    free_current: float | None
    stall_torque: float | None
    stall_current: float | None
    rotor_inertia: float | None  # of the rotor itself, before the internal ratio
    internal_ratio: float | None  # None: not stated (a bare motor, or unknown)
    stall_torque_is: str  # "after_friction" or "before_friction"
    source: str
    line: int
    heat: Heat | None = None


@dataclass(frozen=True)
class GearStage:
    ratio: float  # driver turns : driven turns; above 1 slows down
    efficiency: float | None
    back_efficiency: float | None  # None: 2 - 1/efficiency
    inertia: float = 0.0  # of the driven shaft, kg m²
    line: int = 0


@dataclass(frozen=True)
class MotorUse:
    count: int
    motor: str


@dataclass(frozen=True)
class MechanismSpec:
    """One mechanism as the file describes it.

    `values` holds every key of the kind's PARAMETERS, missing ones filled by their default (None where there
    is none): floats are `Quantity`, pairs and lists are tuples, a block is a nested dict, `stages` a tuple of
    GearStage, `motors` a MotorUse, `names` a dict word -> coordinate [m or rad].
    """

    name: str
    kind: str
    coordinate: str  # "length", "angle" or "word"
    values: dict[str, Any]
    line: int
    lines: dict[str, int] = field(default_factory=dict)  # key -> line

    @property
    def keeps_to_its_heading(self) -> bool:
        """A drive that moves along its heading only."""
        return self.kind == "tank"

    @property
    def servo(self) -> dict[str, Any] | None:
        """Keys of the hobby servo that drives it; None: motors do."""
        return self.values if self.kind in ("servo", "claw") else self.values.get("servo")

    @property
    def rail(self) -> str | None:
        """The rail its servo hangs on; None: straight on the battery."""
        return None if self.servo is None else self.servo["rail"]


@dataclass(frozen=True)
class OrderRule:
    mechanism: str
    may_move_when: tuple[
        tuple[str, str, Target], ...
    ]  # (mechanism, "above", "below" or "at", coordinate or word)
    line: int


@dataclass(frozen=True)
class Reset:
    """A device that resets below some volts of the bus, and what stands still while it is off."""

    name: str
    below: float  # V
    back_above: float  # V
    back_after: float  # s without a break at or above those
    stops: str  # "motors", "program", or a rail
    line: int


@dataclass(frozen=True)
class Robot:
    path: Path
    name: str
    mass: float
    length: float  # along its heading
    width: float
    loop_us: int
    battery: tuple[BatteryState, ...]  # strongest first
    rails: dict[str, Rail]
    motors: dict[str, Motor]
    mechanisms: dict[str, MechanismSpec]
    order: tuple[OrderRule, ...]
    fuse: Fuse | None = None  # behind the battery
    brown_out: dict[str, float] = field(default_factory=dict)  # device -> V of the bus below which it resets
    resets: tuple[Reset, ...] = ()  # those of them that act on the run
    tilt: float = 0.0  # nose up [rad]
    # mechanisms that take no part in a run, and where they stand [m, rad]: the loads of others hang on it
    standing: dict[str, float] = field(default_factory=dict)


# --- plan ---------------------------------------------------------------------------------------------

Target = float | str  # coordinate [m or rad], or the word of a `measured` mechanism


@dataclass(frozen=True)
class Goal:
    """Where a mechanism is sent: its coordinate (or word), and how the file said it."""

    mechanism: str
    target: Target
    text: str
    line: int


@dataclass(frozen=True)
class Step:
    line: int


@dataclass(frozen=True)
class MoveStep(Step):
    """`move: {lift: 0.42 m, arm: up}`; targets in file order. Does not block."""

    goals: tuple[Goal, ...]
    measured: tuple[float, ...] = ()  # stopwatch times from the command to the arrival [s]


@dataclass(frozen=True)
class DriveStep(Step):
    """`drive: rack` (a station, a place) or `drive: [x, y, heading]`, `through` points. Does not block."""

    mechanism: str  # the drive's name
    to: str  # name of the station or place, or the pose as written
    pose: Pose
    allowance: float  # 0.25 lengthens expected runs by a quarter, never nominal ones
    through: tuple[tuple[float, float], ...] = ()  # points by which it goes [m]
    corner: float | None = None  # least radius of the curve that rounds each point [m]
    smooth: bool = False  # one curve through all points
    along: bool = False  # it turns on the way
    measured: tuple[float, ...] = ()  # as of MoveStep


@dataclass(frozen=True)
class SourceNumber:
    """The number in the robot's own code that a time was read from."""

    file: Path
    language: str  # "java", "kotlin", "python", "c", "cpp"
    name: str  # "CLAW_CLOSE_MS", "autonomous: sleep 3"
    line: int  # of the number, as are the next
    column: int
    start: int  # bytes from the start of the file
    end: int
    text: str  # the literal as it stands: "350L"
    unit: str  # "ms", "s", "us", "ns"
    whole: bool  # it has to stay a whole number of its unit
    computed: bool  # several numbers make it, or another time reads it too: it cannot be changed alone
    made_of: tuple[int, ...] = ()  # of a computed one: where its literals start


StandsAt = tuple[str, int, int]  # file, line and column


@dataclass(frozen=True)
class EffortStep(Step):
    """`effort: {lift: 80 %, toward: 0.6 m, for: 500 ms}`: open loop; the timer does stop the mechanism."""

    mechanism: str
    effort: float  # 0..1; the sign follows from `toward`
    toward: float
    text: str
    duration_us: int
    after: str | float | None  # "brake", "coast", an effort that presses on, None: the control's
    source: SourceNumber | None = None  # of a duration that stands in the robot's code
    written_at: StandsAt | None = None  # of one that stands in the plan


@dataclass(frozen=True)
class ZeroStep(Step):
    """`zero: {lift: 0 m, effort: 30 %}`: against its stop or a switch, where its encoder is set."""

    mechanism: str
    position: float
    text: str
    effort: float


@dataclass(frozen=True)
class PawlStep(Step):
    """`ratchet: {hook: released}`, or engaged."""

    mechanism: str
    engaged: bool
    after_us: int


@dataclass(frozen=True)
class DriveForStep(Step):
    """`effort: {drive: 60 %, toward: 0.8 m, for: 1 s}`: the same of a drive, from where it stands."""

    mechanism: str
    effort: float  # 0..1; the sign follows from `by`
    by: float  # m along its line, or rad of a turn in place
    direction: float | None  # of the line, from its heading [rad]; None: it turns
    text: str
    duration_us: int
    after: str | float | None  # as of EffortStep
    source: SourceNumber | None = None  # as of EffortStep
    written_at: StandsAt | None = None


@dataclass(frozen=True)
class SpinStep(Step):
    """`spin: {intake: 80 %}`: a roller turns from now on at this share of full effort, 0 % stops it; or at a speed."""

    mechanism: str
    effort: float
    speed: float | None = None  # [rad/s], held by its speed loop; None: the effort
    text: str = ""
    measured: tuple[float, ...] = ()  # as of MoveStep


@dataclass(frozen=True)
class Past:
    """A point on a mechanism's way: a share of its move under way, or a position it passes."""

    mechanism: str
    share: float | None
    position: float | None


@dataclass(frozen=True)
class WaitStep(Step):
    """A wait blocks. Exactly one of duration_us, arrival, until_us, past is set."""

    duration_us: int | None = None
    arrival: bool = False
    until_us: int | None = None  # an instant on the match clock
    past: Past | None = None
    at_most_us: int | None = None  # with arrival or past
    purpose: str | None = None  # "settling", "driver", "stagger", "search": such a wait times nothing
    allowance: float = 0.0
    measured: tuple[float, ...] = ()  # stopwatch times of the move(s) it times [s]
    source: SourceNumber | None = None  # of a duration that stands in the robot's code
    written_at: StandsAt | None = None  # of a duration that stands in the plan
    limit_source: SourceNumber | None = None  # as of the duration, of the limit
    limit_at: StandsAt | None = None


@dataclass(frozen=True)
class Need:
    """A position within a tolerance at the instant the acting step begins."""

    mechanism: str
    target: Target | Pose  # Pose for the drive
    text: str  # "0.42 m within 15 mm"
    within: float  # m or rad; 0 for words
    heading_within: float | None  # drive only
    moving: bool  # True: speed does not matter
    line: int


@dataclass(frozen=True)
class ActStep(Step):
    """What pick, place and hand over share. They give the command in `by` themselves and do not block."""

    by: Goal
    needs: tuple[Need, ...]
    otherwise: str  # the declared outcome: dropped, missed, left, stuck (`else` in the file)
    succeeds: float  # probability; nominal runs take it as 1
    tries: int
    each_us: int | None
    measured: tuple[float, ...]


@dataclass(frozen=True)
class PickStep(ActStep):
    element: str
    station: str


@dataclass(frozen=True)
class PlaceStep(ActStep):
    place: str
    count: int | None  # how many of what is held; None: all that is in hand
    thrown_by: str | None = None  # the flywheel that each of them slows down


@dataclass(frozen=True)
class HandOverStep(ActStep):
    """What the giver holds passes to the receiver when `by` (the receiver's closing) has arrived.

    From then on both hold it; `both_hold_us` later the giver is sent to `release`, where that is stated.
    """

    giver: str
    release: Goal | None = None
    both_hold_us: int = 0


@dataclass(frozen=True)
class SequenceStep(Step):
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class TogetherStep(Step):
    branches: tuple[SequenceStep, ...]


@dataclass(frozen=True)
class RepeatStep(Step):
    """`repeat: until period_end` (times None) or `repeat: 4`."""

    times: int | None
    steps: SequenceStep


@dataclass(frozen=True)
class RunStep(Step):
    """`run: deliver`. The routine is inlined where it stands."""

    routine: str  # with what it is given: "deliver (post: low_row)"


@dataclass(frozen=True)
class FirstStep(Step):
    """Branches side by side until one of them is through; the others are cut, their mechanisms carry on."""

    branches: tuple[SequenceStep, ...]


@dataclass(frozen=True)
class TryStep(Step):
    """Steps that are left, and begun anew, when an acting step in them fails or a limit runs out."""

    steps: SequenceStep
    tries: int
    at_most_us: int | None  # for all tries together
    otherwise: SequenceStep | None  # None: it has failed for whatever it stands in
    limit_source: SourceNumber | None = None  # of a limit that stands in the robot's code
    limit_at: StandsAt | None = None  # of one that stands in the plan


@dataclass(frozen=True)
class Condition:
    """Something that is so or not when it is asked."""

    kind: str  # "holds", "clock", "points", "room", "stock", "seen"
    name: str = ""  # mechanism, place, station or sense
    element: str | None = None  # of holds; None: anything
    least: float | None = None  # at least so many, or so late [µs]
    below: float | None = None  # fewer than so many, or earlier than [µs]
    negated: bool = False

    @property
    def said(self) -> str:
        """As a plan writes it."""
        low, high = self.least or 0.0, self.below
        if self.kind == "holds":
            count = f"{low:g} " if low > 1.0 else ""
            what = count + (self.element or "anything") if high is None else "nothing"
            text = f"holds {self.name}: {what}"
        elif self.kind == "clock":
            text = f"clock after {low / 1e6:g} s" if high is None else f"clock before {high / 1e6:g} s"
        elif self.kind == "points":
            text = f"points at_least {low:g}" if high is None else f"points below {high:g}"
        else:
            text = f"seen {self.name}" if self.kind == "seen" else f"{self.kind} {self.name}: {low:g}"
        return f"not {text}" if self.negated else text


@dataclass(frozen=True)
class WhenStep(Step):
    conditions: tuple[Condition, ...]  # all of them
    steps: SequenceStep
    otherwise: SequenceStep | None


@dataclass(frozen=True)
class LeaveStep(Step):
    what: str  # "repeat": the innermost around it, "period"


@dataclass(frozen=True)
class LetGoStep(Step):
    mechanism: str


@dataclass(frozen=True)
class SenseStep(Step):
    """Looks until something is seen, at most so long; blocks."""

    name: str
    station: str | None  # something is there while this station has stock; None: always
    every_us: int
    latency_us: int
    sees: float  # chance at each look that what is there is seen
    false_alarm: float  # chance at each look that something is seen where nothing is
    at_most_us: int


@dataclass(frozen=True)
class Start:
    pose: Pose | None
    positions: dict[str, Target]
    holds: dict[str, tuple[str, ...]]  # mechanism -> elements
    line: int = 0


@dataclass(frozen=True)
class Endgame:
    begin_us: int  # on the match clock
    steps: SequenceStep
    line: int


@dataclass(frozen=True)
class Driver:
    reaction_us: int
    periods: tuple[str, ...]


@dataclass(frozen=True)
class Pattern:
    """Somebody who uses a station or place every so often."""

    name: str
    uses: str
    every_us: int
    stays_us: int
    takes: int  # elements each time
    begins_us: int
    line: int = 0


@dataclass(frozen=True)
class Defender:
    """Somebody who holds up a drive with some chance."""

    name: str
    chance: float
    delay_us: int
    periods: tuple[str, ...]
    line: int = 0


@dataclass(frozen=True)
class Partner:
    """A second robot of the alliance, by its own plan."""

    name: str
    plan: Plan
    line: int = 0


@dataclass(frozen=True)
class Plan:
    path: Path
    name: str
    game: Game
    robot: Robot
    guard_us: int
    start: Start
    routines: dict[str, SequenceStep]
    periods: dict[str, SequenceStep]  # period name -> its steps (a period without steps is idle)
    endgame: Endgame | None
    text: tuple[str, ...] = ()  # the plan file's lines, for reports
    at_end: dict[str, tuple[Need, ...]] = field(default_factory=dict)  # what makes the game's conditions so
    orientations: dict[str, tuple[Need, ...]] = field(
        default_factory=dict
    )  # and how a place wants what it takes
    driver: Driver | None = None
    patterns: tuple[Pattern, ...] = ()
    defenders: tuple[Defender, ...] = ()
    partner: Partner | None = None


@dataclass(frozen=True)
class Remark:
    """Something `simbot check` says beside the values: an assumption, a doubt, or what follows from them."""

    kind: str  # "assumed", "doubt" or "follows"
    file: str
    line: int
    key: str
    text: str
