"""What `simbot move` comes to, as plain records: everything a report may print. SI; None means absent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simbot.scenario.model import MechanismSpec, Robot


@dataclass(frozen=True)
class Way:
    """From where to where, at rest at first [m, rad]; of a drive: from 0, `turning` in place or straight ahead."""

    start: float
    target: float
    turning: bool = False


@dataclass(frozen=True)
class Series:
    """Course of a move for a drawing; all arrays shape (n,)."""

    t: np.ndarray
    q: np.ndarray
    v: np.ndarray
    current: np.ndarray  # battery
    motor_current: np.ndarray  # one motor
    bus: np.ndarray


@dataclass(frozen=True)
class MoveNumbers:
    """One way, with one load, on one battery state."""

    way: Way
    load: float  # kg
    floor_s: float | None
    arrival_s: float | None
    first_inside_s: float | None  # of a move that never arrives, or leaves again before it does
    reason: str  # of a move that never arrives
    energy_j: float  # from the battery's terminals; this and the rest to the arrival, or first entry (see Bench.move)
    heat_j: float  # in the motors' windings
    lifting_j: float  # into weight and springs
    current_peak_a: float  # battery
    motor_peak_a: float  # one motor
    bus_min_v: float
    speed_max: float
    stall_share_max: float | None  # None: nothing but the load itself can bring it there
    stall_at: float
    limited_by: dict[str, float]
    series: Series
    resets: tuple[str, ...] = ()  # of a move that arrives: what left it without power on its way


@dataclass(frozen=True)
class Fall:
    """What happens when it is let go, no brake set: its controller off, whose diodes feed the battery from its motors
    where they turn fast enough, or its motors' leads open.
    """

    start: float
    end: float
    lasts_s: float | None  # None: it still moves after ten seconds
    speed_max: float
    braked_s: float | None  # the same with the motors shorted
    loose_s: float | None  # with a wire off: as lasts_s and speed_max
    loose_speed_max: float


@dataclass(frozen=True)
class Lock:
    """A linkage over its centre, against its stop."""

    stop: float
    centre: float
    inwards: bool  # a push towards the crank holds it there, else a pull outwards
    motor_current_a: (
        float  # that its load as it is asks for there; 0: it presses it onto the stop, or friction holds
    )


@dataclass(frozen=True)
class Holding:
    """At rest along the whole travel, with one load, on one battery state."""

    load: float
    holds_off: bool
    holds_off_surely: bool  # at the unfavourable end of every spread, too
    at: float  # where holding takes most
    motor_current_a: float
    battery_current_a: float  # inf: more than the battery can give
    heat_w: float  # in all motors
    fall: Fall | None
    onto_tooth: float | None = None  # greatest drop until a tooth of its ratchet holds it; None: none does
    locks: tuple[Lock, ...] = ()


@dataclass(frozen=True)
class Pull:
    """A winch's pull with one load."""

    load: float
    stall_share: float | None
    speed: float
    time_s: float | None  # to where it stays; None: it never does
    reached_s: float | None  # the same, or when it first gets there and sags
    holds: Holding


@dataclass(frozen=True)
class Turning:
    """A roller or flywheel at full effort."""

    steady: float  # [rad/s]
    left: float | None  # share of its speed that a throw leaves; None: it throws nothing
    thrown: float | None  # speed of what it throws [m/s]
    back_s: float | None  # from there to its own speed again; None: never, or it throws nothing
    pull_in_s: float | None  # of an element at its steady speed; None: not asked, or it does not turn


@dataclass(frozen=True)
class StateNumbers:
    name: str
    open_circuit: float
    resistance: float
    moves: tuple[MoveNumbers, ...]  # ways by loads
    holdings: tuple[Holding, ...]  # one a load; none for what gravity does not touch
    pulls: tuple[Pull, ...]
    times: tuple[tuple[float, float | None], ...]  # of a servo: angle, arrival
    turning: Turning | None  # of what only turns


@dataclass(frozen=True)
class Row:
    """The mechanism as the integrator sees it, at one position."""

    q: float
    mass: float  # without rotors
    moved: float  # with them
    load: float
    ratio: float  # motor's turns per unit of travel [1/m, 1]
    force: float  # stalled, at the tables' voltage
    speed: float  # there, free of load and of all friction but the motors' own


@dataclass(frozen=True)
class Tables:
    volts: float
    celsius: float
    magnets: str | None  # of its motors' sheet; None: not stated, their field is taken as it is cold
    load: float
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class OneMove:
    robot: Robot
    spec: MechanismSpec
    unit: str  # of its coordinate here: "m" or "rad"
    ways: tuple[Way, ...]
    loads: tuple[float, ...]
    states: tuple[StateNumbers, ...]  # strongest first
    tables: Tables | None
    others: dict[str, float]  # mechanisms that its load hangs on, and where they stand meanwhile [m, rad]
