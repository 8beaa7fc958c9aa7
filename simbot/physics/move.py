"""Commands, and a move: one command given to one mechanism, and what became of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil, inf
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.route import Route
from simbot.physics.stance import Places
from simbot.physics.ways import Bend
from simbot.scenario.model import Pose, Target

if TYPE_CHECKING:
    from simbot.physics.plant import Plant

Array = npt.NDArray[np.float64]
NEVER_US = 1 << 62
SPEEDS = -1.0  # in place of a speed limit: the set is a window of speeds (see record)
ON_TIME = 1e-3  # µs: a crossing this little after a microsecond counts as on it


# never changed, as if frozen, which takes three times as long to make
@dataclass(slots=True, unsafe_hash=True)
class GoTo:
    """Go to a position under the mechanism's own control (a word for a `measured` one)."""

    target: Target


# never changed, as if frozen
@dataclass(slots=True, unsafe_hash=True)
class DriveTo:
    """Drive to a pose on the field: straight lines at a fixed heading, turns in place, a stop at each point; or a
    curve by the points."""

    pose: Pose
    through: tuple[tuple[float, float], ...] = ()
    bend: Bend | None = None  # None: it stops at every point


@dataclass(frozen=True)
class PushFor:
    """Open-loop effort for a time: 0 <= effort <= 1 towards `toward`; zero from the first tick at or after."""

    effort: float
    toward: float
    duration_us: int
    after: str | float | None = None  # "brake", "coast", an effort 0..1 that presses on; None: the control's


@dataclass(frozen=True)
class DriveFor:
    """A drive's open-loop effort for a time, meant to go a distance `by` [m] in a direction from its heading [rad].

    Direction None: to turn in place by an angle [rad].
    """

    effort: float
    by: float
    direction: float | None
    duration_us: int
    after: str | float | None = None  # as of PushFor


@dataclass(frozen=True)
class Rezero:
    """Drive a mechanism to its stop, or to a switch that is closed from `position` to the nearer end of the travel, and
    set its encoder to that position at the tick at which it is seen there."""

    position: float
    effort: float


@dataclass(frozen=True)
class Spin:
    """Turn from now on with this effort (-1..1); 0 stops it (the control's `after`).

    A flywheel that throws elements at this instant is slowed down by each of them first.
    """

    effort: float
    throws: int = 0


@dataclass(frozen=True)
class SpinTo:
    """Come to a speed and hold it under the mechanism's own speed loop [rad/s]; not 0. `throws`: as of Spin."""

    speed: float
    throws: int = 0


Command = GoTo | DriveTo | PushFor | DriveFor | Rezero | Spin | SpinTo


def microseconds(t: float) -> int:
    """Round an instant up to the next microsecond."""
    return ceil(t * 1e6 - ON_TIME)


class Begun(NamedTuple):
    """What the kernel's array had of a mechanism right after a command to it."""

    position: float  # [m, rad]
    speed: float
    low: float  # ends of its travel
    high: float
    control: float  # see layout
    target: float
    touch: float
    touched: bool
    charge: float  # that the battery had given until then [C]


def begun_with(w: Array, m: int) -> Begun:
    """What is kept of a plant's array when a mechanism at an offset has its command."""
    of: Any = w.data
    return Begun(
        of[m + L.Q],
        of[m + L.SPEED],
        of[m + L.Q_LO],
        of[m + L.Q_HI],
        of[m + L.CONTROL],
        of[m + L.TARGET_PENDING],
        of[m + L.TOUCH],
        of[m + L.TOUCHED] == 1.0,
        of[L.CHARGE],
    )


@dataclass(frozen=True)
class Stopwatch:
    """A move of a `measured` mechanism: where it was, where it goes, when it is there."""

    start_us: int
    before: str
    word: str
    there_us: int  # NEVER_US: it does not get there
    why: str = ""  # of one that does not


class Move:
    """One command given to one mechanism, and what became of it. Made by `Plant.command` only.

    Attributes
    ----------
    mechanism : str
    command : Command
    start_us : int
    start_position : float | str     [m or rad]; of a drive: along its line; of a speed: [rad/s], as are the next
    start_speed : float              [m/s or rad/s]
    target : float | str             [m or rad]; of a drive: along its line
    window : float                   half-width of the target set; 0 for `measured`
    slower_than : float              inf where no speed limit is part of the set
    touch : bool                     the target is a hard stop: arrived when touched
    zero_off : float                 by which its encoder's zero moved the target [m or rad]
    play : float                         that its motors cross before it moves, upwards positive [m or rad]
    cut_us : int | None              the instant a later command took the mechanism over
    pawls : set of bool              its ratchet's pawl was engaged, or (False) out, at some time of it
    """

    __slots__ = (
        "_begun",
        "_floor",
        "_lag",
        "_payload",
        "_places",
        "_plant",
        "_route",
        "_tail",
        "_twin",
        "command",
        "cut_us",
        "mechanism",
        "pawls",
        "play",
        "slower_than",
        "start_position",
        "start_speed",
        "start_us",
        "stopwatch",
        "target",
        "touch",
        "window",
        "zero_off",
    )

    def __init__(self, plant: Plant, mechanism: str, command: Command) -> None:
        self._plant = plant
        self.mechanism = mechanism
        self.command = command
        self.start_us = plant.now_us
        self.cut_us: int | None = None
        self.pawls = {mechanism not in plant._pawls_out}
        self.start_position: float | str = 0.0
        self.start_speed = 0.0
        self.target: float | str = 0.0
        self.window = 0.0
        self.slower_than = inf
        self.touch = False
        self.zero_off = self.play = 0.0
        self.stopwatch: Stopwatch | None = None
        self._tail: Callable[[], Plant] | None = None  # the plant at the takeover
        self._twin: Plant | None = None  # as it goes on from there
        self._begun: Begun | None = None
        self._route: Route | None = None
        self._payload = 0.0
        self._places: Places = ()
        self._floor: tuple[float | None] | None = None
        self._lag: float | None = None

    @property
    def plant(self) -> Plant:
        """What it was given to."""
        return self._plant

    @property
    def payload(self) -> float:
        """What the mechanism carried when it was given [kg]."""
        return self._payload

    def arrival_us(self) -> int | None:
        """Instant at which it is inside its target set and stays: until the later command, else for good.

        Taken over before that, it is what would have come if nothing more were commanded. None: never.
        May be asked at any time: before the end of the run it is what will come if nothing more is commanded.
        """
        if self.stopwatch is not None:
            return None if self.stopwatch.there_us == NEVER_US else self.stopwatch.there_us
        if isinstance(self.command, Spin):
            return self.start_us
        plant = self._plant
        if self.cut_us is not None:
            since = plant._set_since(self, self.cut_us)
            return since if since is not None else self._for_good(self._ahead(), plant.horizon_us)
        plant._settle(self)
        return self._for_good(plant, plant._covered_us())

    def _for_good(self, plant: Plant, at_us: int) -> int | None:
        """Since when it has been inside at the end; None where it hunts: it would only leave again."""
        since = plant._set_since(self, at_us)
        if since is not None and at_us >= plant.horizon_us and plant._hunts(self, since):
            return None
        return since

    def arrived_for_real(self) -> bool:
        """False where the mechanism was taken over before it had arrived (the arrival is a prediction: `cut`)."""
        if self.cut_us is None:
            return True
        if self.stopwatch is not None:
            return self.stopwatch.there_us <= self.cut_us
        return isinstance(self.command, Spin) or self._plant._set_since(self, self.cut_us) is not None

    def first_inside_us(self) -> int | None:
        """First instant inside the target set, whether it stayed or not."""
        if self.stopwatch is not None or isinstance(self.command, Spin):
            return self.arrival_us()
        plant = self._plant
        if self.cut_us is None:
            plant._settle(self)
            return plant._first_in_set(self, self.start_us, plant._covered_us())
        seen = plant._first_in_set(self, self.start_us, self.cut_us)
        return seen if seen is not None else self._ahead()._first_in_set(self, self.cut_us, plant.horizon_us)

    def ends_at(self) -> float | str:
        """Where it rests, or was when it was taken over (or would be at the end)."""
        if self.stopwatch is not None:
            return self.stopwatch.before if self.stopwatch.why else self.stopwatch.word
        plant = self._plant
        if self.cut_us is not None and self.arrived_for_real():
            if isinstance(self.command, SpinTo):
                return plant.speed(self.mechanism, self.cut_us)
            return plant.position(self.mechanism, self.cut_us)
        last = self.onward()
        if isinstance(self.command, SpinTo):
            return last._raw(self.mechanism, plant.horizon_us / 1e6)[1]
        return last._position_at(self.mechanism, plant.horizon_us / 1e6)

    def went(self) -> tuple[float, float]:
        """How far an effort for a time takes it in the end, and how far it is meant to [m, rad]."""
        return self.onward()._went(self)

    def reason(self) -> str:
        """For a move that never arrives: where it ends and what holds it there, as a clause."""
        if self.stopwatch is not None:
            return self.stopwatch.why
        last = self.onward()
        since = last._set_since(self, last.horizon_us)
        if since is not None and last._hunts(self, since):
            return "it leaves its window again and again"
        return last._why(self)

    def resets(self) -> tuple[str, ...]:
        """Of a move that arrives: what left it without power before that, how often, and when first."""
        arrival = self.arrival_us()
        if arrival is None or self.stopwatch is not None:
            return ()
        last = self._plant if self.cut_us is None else self._ahead()
        return tuple(dict(last._went_dark(self, arrival / 1e6)))

    def floor_s(self) -> float | None:
        """Least time any control could take into the same set [s]; None for `measured` or where there is none."""
        if self.stopwatch is not None or isinstance(self.command, Spin):
            return None
        if self._floor is None:
            from simbot.physics.floor import floor_of

            self._floor = (floor_of(self._plant, self),)
        return self._floor[0]

    def note_pawl(self, engaged: bool) -> None:
        """The pawl of its ratchet is taken out of its teeth now, or let in."""
        self.pawls.add(engaged)
        self._floor = None

    def lag(self) -> float | None:
        """Farthest it was behind its motion profile until it was taken over [m, rad]; None without a profile."""
        if self._begun is None or self._begun.control != L.PROFILED:
            return None
        if self.cut_us is None:
            self._plant._settle(self)
            return float(self._plant.arrays.w[self._plant.arrays.at[self.mechanism] + L.LAG_MAX])
        return self._lag

    def forget(self) -> None:
        """Let go of what was kept of its beginning and of what would have come: nothing more will be asked of it."""
        self._tail = self._twin = self._begun = None

    def onward(self) -> Plant:
        """The plant at its horizon as this command leaves it, if no later one had taken over."""
        last = self._plant if self.cut_us is None else self._ahead()
        last._reach(self._plant.horizon_us)
        return last

    def _ahead(self) -> Plant:
        """The plant as it would have gone on from the takeover if nothing more had been commanded."""
        if self._twin is None:
            assert self._tail is not None
            self._twin = self._tail()
        self._twin._reach(self._plant.horizon_us)
        return self._twin
