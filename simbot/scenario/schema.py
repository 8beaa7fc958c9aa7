"""Shapes of the mappings in game, robot and plan files; those of mechanisms are made from their kinds."""

# annotations are values here, not texts: pydantic would have each compiled again at every start

from typing import Annotated, Any

from pydantic import Field

from simbot.scenario.fields import (
    Count,
    Duration,
    ExactPeriod,
    ExactTime,
    Lasting,
    Length,
    Period,
    PoseShape,
    Shape,
    Share,
    Size,
    Time,
    Word,
    choice,
    quantity,
    read_after,
    read_points,
    read_refill,
    read_times,
    read_wait,
    reader,
)
from simbot.scenario.parameters import Quantity

# Values typed Any are mappings or lists that are read piece by piece, so that every mistake is found.

# --- game ---------------------------------------------------------------------------------------------


class GameShape(Shape):
    name: Word = Field(description="a name")
    field: Any = Field(description="the field's size, such as {length: 4.5 m, width: 3.2 m}")
    periods: Any = Field(description="periods and their lengths, such as {autonomous: 20 s}")
    endgame: Duration | None = None
    elements: Any = None
    stations: Any = None
    places: Any = None
    obstacles: Any = None
    bonuses: Any = None
    penalties: Any = None
    possession: Any = None
    at_end: Any = None


class FieldShape(Shape):
    length: Size = Field(description="a length along x")
    width: Size = Field(description="a length along y")


class ElementShape(Shape):
    mass: Annotated[Quantity, quantity("mass", low=0.0, high=100)] = Quantity(0.0, text="none stated")
    when_dropped: Word = "lost"


Corners = Annotated[
    list[tuple[Length, Length]], Field(min_length=3, description="corners, such as [[1 m, 1 m], …]")
]


class StationShape(Shape):
    pose: PoseShape = Field(description="x, y and heading of the robot's centre, such as [1 m, 1 m, 90 deg]")
    gives: Word = Field(description="an element's name")
    outline: Corners | None = None
    stock: Count | None = None
    refill: Annotated[Any, reader(read_refill)] = None


class PlaceShape(Shape):
    pose: PoseShape = Field(description="x, y and heading of the robot's centre, such as [1 m, 1 m, 90 deg]")
    takes: Word = Field(description="an element's name")
    outline: Corners | None = None
    room: Annotated[Quantity, quantity("count", low=1, high=100000)] | None = None
    points: Annotated[Any, reader(read_points)] = Field(description="a number, or one for each period")
    points_when_full: Annotated[Quantity, quantity("number")] = Quantity(0.0)
    clearing: Time | None = None
    orientation: Word = ""


class BonusShape(Shape):
    each: Any = Field(description="what makes a set, such as {low_row: 1, high_row: 1}")
    points: Annotated[Quantity, quantity("number")] = Field(description="points for each whole set")
    at_most: Annotated[Quantity, quantity("count", low=1, high=100000)] | None = None


class PossessionShape(Shape):
    limit: Annotated[Quantity, quantity("count", low=1, high=1000)] = Field(
        description="how many elements a robot may have in hand"
    )
    penalty: Annotated[Quantity, quantity("number", low=0.0)] = Quantity(0.0)


class AtEndShape(Shape):
    points: Annotated[Quantity, quantity("number")] = Field(description="points for it")
    pose: PoseShape | None = None
    within: Annotated[Quantity, quantity("length", low=0.0, open_low=True)] | None = None
    best_of: Word = ""


class ObstacleShape(Shape):
    polygon: Corners


# --- robot --------------------------------------------------------------------------------------------


class RobotShape(Shape):
    name: Word = Field(description="a name")
    mass: Annotated[Quantity, quantity("mass", low=0.0, high=1000, open_low=True)] = Field(
        description="a mass such as 12 kg"
    )
    size: tuple[Size, Size] = Field(
        description="lengths along and across its heading, such as [430 mm, 420 mm]"
    )
    loop: Annotated[Quantity, quantity("time", low=1e-4, high=1.0)] = Field(
        description="the period of its control loop, such as 20 ms"
    )
    tilt: Annotated[Quantity, quantity("angle", low=-1.0, high=1.0)] = Quantity(0.0, text="0 deg")
    battery: Any = Field(description="the battery's states")
    fuse: Any = None
    brown_out: Any = None
    rails: Any = None
    motors: Any = None
    mechanisms: Any = Field(description="mechanisms by their names")
    order: Any = None


class ResetShape(Shape):
    below: Annotated[Quantity, quantity("voltage", low=0.0, high=100.0, open_low=True)] = Field(
        description="volts of the bus below which it resets"
    )
    back_above: Annotated[Quantity, quantity("voltage", low=0.0, high=100.0, open_low=True)] = Field(
        description="volts from which it comes back"
    )
    back_after: Annotated[Quantity, quantity("time", low=0.01, high=600.0)] = Field(
        description="how long the bus has to stay there first; of a program also the time it takes to start"
    )
    stops: Word = Field(
        description="a rail, `motors` (their controllers) or `program` (the code, with all of it)"
    )


class BatteryShape(Shape):
    states: Any = None
    chemistry: Annotated[str, choice("nimh", "lead_acid")] | None = None
    cells: Annotated[Quantity, quantity("count", low=1, high=100)] | None = None
    capacity: Annotated[Quantity, quantity("charge", low=0.0, open_low=True)] | None = None
    falls: Annotated[Quantity, quantity("voltage", low=0.0, high=100)] | None = None
    polarisation: Any = None


class PolarisationShape(Shape):
    share: Annotated[Quantity, quantity("share", low=0.0, high=10.0)] = Field(
        description="what sinks in slowly, as a share of the state's resistance, such as 50 %"
    )
    settling: Annotated[Quantity, quantity("time", low=0.01, high=3600)] | None = None


class MeasuredShape(Shape):
    resting: Annotated[Quantity, quantity("voltage", low=0.0, high=100, open_low=True)] = Field(
        description="volts without load, such as 13.1 V"
    )
    loaded: Annotated[Quantity, quantity("voltage", low=0.0, high=100, open_low=True)] = Field(
        description="volts under the load, such as 11.9 V"
    )
    load: Annotated[Quantity, quantity("current", low=0.0, high=1000, open_low=True)] = Field(
        description="the load's current, such as 10 A"
    )


class BatteryStateShape(Shape):
    open_circuit: Annotated[Quantity, quantity("voltage", low=0.0, high=100, open_low=True)] = Field(
        description="volts without load, such as 13.2 V"
    )
    resistance: Annotated[Quantity, quantity("resistance", low=0.0, high=10)] = Field(
        description="a resistance such as 0.15 ohm"
    )


class RailShape(Shape):
    voltage: Annotated[Quantity, quantity("voltage", low=0.0, high=100, open_low=True)] = Field(
        description="volts such as 6 V"
    )
    current_limit: Annotated[Quantity, quantity("current", low=0.0, open_low=True)] | None = None
    regulator: Annotated[str, choice("switching", "linear")] = "switching"
    dropout: Annotated[Quantity, quantity("voltage", low=0.0, high=20)] = Quantity(0.0)


class FuseShape(Shape):
    rating: Annotated[Quantity, quantity("current", low=0.0, high=1000, open_low=True)] = Field(
        description="the current that it carries for ever, such as 20 A"
    )
    time: Annotated[Quantity, quantity("time", low=0.01, high=600)] | None = None


class HeatShape(Shape):
    winding_to_case: Annotated[
        Quantity, quantity("thermal_resistance", low=0.0, high=1000, open_low=True)
    ] = Field(description="the sheet's thermal resistance, such as 3 K/W")
    case_to_air: Annotated[Quantity, quantity("thermal_resistance", low=0.0, high=1000, open_low=True)] = (
        Field(description="the sheet's thermal resistance, such as 8 K/W")
    )
    winding_time: Annotated[Quantity, quantity("time", low=0.1, high=10000)] = Field(
        description="the sheet's thermal time constant of the winding, such as 36 s"
    )
    case_time: Annotated[Quantity, quantity("time", low=1.0, high=100000)] = Field(
        description="the sheet's thermal time constant of the case, such as 960 s"
    )
    limit: Annotated[Quantity, quantity("temperature", low=40.0, high=250.0)] | None = None
    magnets: Annotated[str, choice("ferrite", "neodymium")] | None = None


class PointShape(Shape):
    speed: Annotated[Quantity, quantity("angular_speed", low=0.0, high=20000)] = Field(
        description="a speed such as 3000 rpm"
    )
    torque: Annotated[Quantity, quantity("torque", low=0.0, high=1e4)] = Field(
        description="the torque that it gives there, such as 0.12 N*m"
    )
    current: Annotated[Quantity, quantity("current", low=0.0, high=1e4)] | None = None


class MotorShape(Shape):
    voltage: Annotated[Quantity, quantity("voltage", low=0.0, high=100, open_low=True)] = Field(
        description="the sheet's volts, such as 12 V"
    )
    free_speed: Annotated[Quantity, quantity("angular_speed", low=0.0, high=20000, open_low=True)] | None = (
        None
    )
    free_current: Annotated[Quantity, quantity("current", low=0.0, high=1000)] | None = None
    stall_torque: Annotated[Quantity, quantity("torque", low=0.0, high=1e4, open_low=True)] | None = None
    stall_current: Annotated[Quantity, quantity("current", low=0.0, high=1e4, open_low=True)] | None = None
    rotor_inertia: Annotated[Quantity, quantity("inertia", low=0.0, high=1.0)] | None = None
    internal_ratio: Annotated[Quantity, quantity("ratio", low=0.0, high=1e5, open_low=True)] | None = None
    stall_torque_is: Annotated[str, choice("after_friction", "before_friction")] = "after_friction"
    points: Any = None
    heat: Any = None
    source: Word = ""


class StageShape(Shape):
    ratio: Annotated[Quantity, quantity("ratio", low=1e-3, high=1e4)] = Field(
        description="driver turns : driven turns, such as 3:1"
    )
    efficiency: Annotated[Quantity, quantity("share", low=0.0, high=1.0, open_low=True)] | None = None
    back_efficiency: Annotated[Quantity, quantity("share", low=-10.0, high=1.0)] | None = None
    inertia: Annotated[Quantity, quantity("inertia", low=0.0, high=10.0)] = Quantity(0.0)


class OrderShape(Shape):
    mechanism: Word = Field(description="the mechanism that has to wait")
    may_move_when: dict[str, Word] = Field(
        min_length=1, description="such as {lift: above 0.30 m}, of a measured one {hook: at free}"
    )


# --- plan ---------------------------------------------------------------------------------------------


class PlanShape(Shape):
    name: Word = Field(description="a name")
    game: Word = Field(description="the game's file")
    robot: Word = Field(description="the robot's file")
    change: Any = None
    guard: Time = Quantity(0.05, text="50 ms")
    start: Any = Field(
        description="where everything stands at first, such as {pose: [1 m, 1 m, 0 deg], lift: 0 m}"
    )
    routines: Any = None
    endgame: Any = None
    at_end: Any = None
    orientations: Any = None
    driver: Any = None
    others: Any = None


class DriverShape(Shape):
    reaction: Duration = Field(description="from what is seen to the next command, such as 250 ms ± 80 ms")
    periods: list[Word] = Field(
        description="the periods in which a person drives, such as [driver_controlled]"
    )


class PatternShape(Shape):
    """Somebody else who uses a station or a place at times of his own."""

    uses: Word = Field(description="a station or a place")
    every: Period = Field(description="from one use to the next, such as 9 s ± 3 s")
    stays: Duration = Field(description="how long each time, such as 2 s")
    takes: Annotated[Quantity, quantity("count", low=0, high=100)] = Quantity(0.0)
    begins: Time = Quantity(0.0, text="0 s")


class DefenderShape(Shape):
    defends: Annotated[Quantity, quantity("share", low=0.0, high=1.0)] = Field(
        description="the chance that a drive is held up, such as 20 %"
    )
    delay: Duration = Field(description="for how long, such as 1.5 s ± 0.5 s")
    periods: list[Word] | None = None


class PartnerShape(Shape):
    plan: Word = Field(description="the other robot's plan file")


class EndgameShape(Shape):
    begin: Word = Field(description="an instant such as 22 s before_end")
    steps: Any = Field(description="a list of steps")


class MoveShape(Shape):
    move: dict[str, Word] = Field(min_length=1)
    measured: Annotated[Any, reader(read_times)] = ()


class DriveShape(Shape):
    drive: Any
    through: Any = None
    corner: Annotated[Quantity, quantity("length", low=0.005, high=20.0)] | None = Field(
        default=None, description="least radius of the curve by which each point of `through` is rounded"
    )
    curve: Annotated[str, choice("smooth")] | None = Field(
        default=None, description="smooth: one curve through all points of `through`"
    )
    turn: Annotated[str, choice("along")] | None = Field(
        default=None, description="along: the heading turns on the way and not after it"
    )
    allowance: Annotated[Quantity, quantity("share", low=0.0, high=10.0)] = Quantity(0.0)
    measured: Annotated[Any, reader(read_times)] = ()


class EffortShape(Shape):
    effort: Any


class ZeroShape(Shape):
    zero: Any


class EffortKeys(Shape):
    toward: Word = Field(
        description="the position it is meant to reach; of a drive a distance ahead (or back), or an angle to turn"
    )
    direction: Annotated[Quantity, quantity("angle")] | None = Field(
        default=None, description="of a drive that moves in any direction: of its line, from its heading"
    )
    duration: Lasting = Field(
        alias="for",
        description="a time such as 500 ms, or a number in the robot's code: {from: FILE, name: NAME}",
    )
    after: Annotated[Any, reader(read_after)] = None


class PawlShape(Shape):
    ratchet: dict[str, Annotated[str, choice("released", "engaged")]] = Field(
        min_length=1, description="mechanisms with a ratchet: released or engaged"
    )


class ZeroKeys(Shape):
    effort: Annotated[Quantity, quantity("share", low=0.0, high=1.0, open_low=True)] = Field(
        default=Quantity(0.3, text="30 %"), description="with which it is driven there, such as 30 %"
    )


class SpinShape(Shape):
    spin: dict[str, Word] = Field(
        min_length=1, description="an effort such as 80 %, or a speed such as 3000 rpm"
    )
    measured: Annotated[Any, reader(read_times)] = ()


class WaitShape(Shape):
    wait: Annotated[Any, reader(read_wait)] = Field(
        description="a time, times that were seen, `arrival`, `until` an instant or a position, or a number in the "
        "robot's code: {from: FILE, name: NAME}"
    )
    at_most: Lasting | None = None
    purpose: Annotated[str, choice("settling", "driver", "stagger", "search")] | None = Field(
        default=None, alias="for"
    )
    allowance: Annotated[Quantity, quantity("share", low=0.0, high=10.0)] = Quantity(0.0)
    measured: Annotated[Any, reader(read_times)] = ()


class SourceShape(Shape):
    """`wait: {from: code/Timing.java, name: CLAW_CLOSE_MS}`, or a literal in a call."""

    file: Word = Field(alias="from", description="a source file, by its path from the plan")
    name: Word | None = None
    method: Word | None = None
    call: Word | None = None
    number: Annotated[Quantity, quantity("count", low=1, high=10000)] | None = None
    of: Annotated[Quantity, quantity("count", low=1, high=10000)] | None = Field(
        default=None, description="how many such calls there were when the plan was written"
    )
    argument: Annotated[Quantity, quantity("count", low=1, high=20)] | None = None
    unit: Annotated[str, choice("ms", "s", "us", "ns")] | None = None


class ActShape(Shape):
    by: Any = Field(description="the command it gives, such as {gripper: open}")
    needs: Any = None
    otherwise: Annotated[str, choice("dropped", "missed", "left", "stuck")] | None = Field(
        default=None, alias="else"
    )
    succeeds: Share = Quantity(1.0)
    tries: Annotated[Quantity, quantity("count", low=1, high=100)] = Quantity(1.0)
    each: Duration | None = None
    measured: Annotated[Any, reader(read_times)] = ()


class PickShape(ActShape):
    element: Word = Field(description="what it takes")
    station: Word = Field(alias="from", description="the station it takes it from")


class PlaceStepShape(ActShape):
    into: Word = Field(description="the place it goes into")
    count: Annotated[Quantity, quantity("count", low=1, high=100)] | None = None
    thrown_by: Word | None = Field(default=None, description="the flywheel that throws it there")


class HandOverShape(ActShape):
    giver: Word = Field(alias="from", description="the mechanism that gives")
    release: Any = None
    both_hold: ExactTime = Quantity(0.0, text="0 s")


class OuterShape(Shape):
    """The step around a pick, a place, a hand over, together or run: one key."""

    pick: Any = None
    place: Any = None
    hand_over: Any = None
    together: Any = None
    first: Any = None
    run: Any = None


class RunShape(Shape):
    run: Word = Field(description="a routine's name")
    given: Any = Field(default=None, alias="with")


class TryShape(Shape):
    attempt: Any = Field(alias="try", description="a list of steps")
    tries: Annotated[Quantity, quantity("count", low=1, high=1000)] = Quantity(1.0)
    at_most: Lasting | None = None
    otherwise: Any = None


class WhenShape(Shape):
    when: Any = Field(description="conditions, such as {holds: {gripper: lantern}}")
    do: Any = Field(description="a list of steps")
    otherwise: Any = None


class LeaveShape(Shape):
    leave: Annotated[str, choice("repeat", "period")]


class LetGoShape(Shape):
    let_go: Word = Field(description="the mechanism that drops what it has in hand")


class SenseShape(Shape):
    sense: Word = Field(description="a name for what it finds out, to be asked for by `when: {seen: …}`")
    station: Word | None = Field(default=None, alias="of")
    every: ExactPeriod = Field(description="the time between looks, such as 50 ms")
    latency: ExactTime = Quantity(0.0, text="0 s")
    sees: Share = Quantity(1.0)
    false_alarm: Share = Quantity(0.0)
    at_most: ExactPeriod = Field(description="how long it looks, such as 1 s")


class RepeatShape(Shape):
    repeat: Word = Field(description="`until period_end` or a number")
    steps: Any = Field(description="a list of steps")
