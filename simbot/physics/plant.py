"""The robot's mechanisms on one battery, carried through time by commands: what the sequencer talks to.

Instants are integer microseconds of the match clock. The plant never decides what happens next: it is told
to go to an instant (`advance`), given a command (`command`), and asked what would come if nothing more were
commanded (`first_seen_us`, `Move.arrival_us`). A crossing is rounded UP to the next microsecond.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from simbot.scenario.model import BatteryState, Pose, Robot, Start, Target


@dataclass(frozen=True)
class GoTo:
    """Go to a position under the mechanism's own control (a word for a `measured` one)."""

    target: Target


@dataclass(frozen=True)
class DriveTo:
    """Drive to a pose on the field: straight lines at a fixed heading, turns in place."""

    pose: Pose


@dataclass(frozen=True)
class PushFor:
    """Open-loop effort for a time: 0 <= effort <= 1 towards `toward`; zero from the first tick at or after."""

    effort: float
    toward: float
    duration_us: int
    after: str | float | None = None  # "brake", "coast", an effort 0..1 that presses on; None: the control's


@dataclass(frozen=True)
class Spin:
    """Turn from now on with this effort (-1..1); 0 stops it (the control's `after`)."""

    effort: float


Command = GoTo | DriveTo | PushFor | Spin


class Move:
    """One command given to one mechanism, and what became of it. Made by `Plant.command` only.

    Attributes
    ----------
    mechanism : str
    command : Command
    start_us : int
    start_position : float | str     [m or rad]; of a drive: along its line
    start_speed : float              [m/s or rad/s]
    target : float | str             [m or rad]; of a drive: along its line
    window : float                   half-width of the target set; 0 for `measured`
    slower_than : float              inf where no speed limit is part of the set
    touch : bool                     the target is a hard stop: arrived when touched
    cut_us : int | None              the instant a later command took the mechanism over
    """

    mechanism: str
    command: Command
    start_us: int
    start_position: float | str
    start_speed: float
    target: float | str
    window: float
    slower_than: float
    touch: bool
    cut_us: int | None

    def arrival_us(self) -> int | None:
        """Instant at which it is inside its target set and stays: until the later command, else for good.

        Taken over before that, it is what would have come if nothing more were commanded. None: never.
        May be asked at any time: before the end of the run it is what will come if nothing more is commanded.
        """
        raise NotImplementedError

    def arrived_for_real(self) -> bool:
        """False where the mechanism was taken over before it had arrived (the arrival is a prediction: `cut`)."""
        raise NotImplementedError

    def first_inside_us(self) -> int | None:
        """First instant inside the target set, whether it stayed or not."""
        raise NotImplementedError

    def ends_at(self) -> float | str:
        """Where it rests, or was when it was taken over (or would be at the end)."""
        raise NotImplementedError

    def reason(self) -> str:
        """For a move that never arrives: where it ends and what holds it there, as a clause."""
        raise NotImplementedError

    def floor_s(self) -> float | None:
        """Least time any control could take into the same set [s]; None for `measured` or where there is none."""
        raise NotImplementedError


class Plant:
    """All mechanisms of one robot on one battery state.

    Parameters
    ----------
    robot : Robot
    battery : BatteryState
    start : Start
        Start pose, positions and what is held. A mechanism not named starts at the lower end of its travel.
    horizon_us : int
        End of the last period: "for good" means until then.
    tolerance : float
        Relative tolerance of the integrator.
    """

    def __init__(
        self, robot: Robot, battery: BatteryState, start: Start, horizon_us: int, tolerance: float = 1e-7
    ) -> None:
        raise NotImplementedError

    now_us: int

    def tick_at_or_after(self, at_us: int) -> int:
        """First control tick at or after an instant; ticks count from the start of the match."""
        raise NotImplementedError

    def advance(self, to_us: int) -> None:
        """Carry everything to an instant with the present commands (to_us >= now_us)."""
        raise NotImplementedError

    def command(self, mechanism: str, command: Command) -> Move:
        """Give a command now. It starts from where the mechanism is and as fast as it is."""
        raise NotImplementedError

    def set_payload(self, mechanism: str, mass: float) -> None:
        """Mass [kg] that `mechanism` carries from now on: momentum is kept when it grows, speed when it falls."""
        raise NotImplementedError

    def first_seen_us(self, moves: Iterable[Move], limit_us: int) -> int | None:
        """First tick >= now at which code would SEE all these moves inside their sets, if nothing more is
        commanded; None if not before or at limit_us."""
        raise NotImplementedError

    def position(self, mechanism: str, at_us: int | None = None) -> float | str:
        """Where it is (now or at an earlier instant) [m, rad or word]; of a drive: along its present line."""
        raise NotImplementedError

    def speed(self, mechanism: str, at_us: int | None = None) -> float:
        raise NotImplementedError

    def pose(self, at_us: int | None = None) -> Pose:
        """The robot's centre and heading."""
        raise NotImplementedError

    def inside_since(
        self, mechanism: str, target: Target | Pose, within: float, slower_than: float | None, at_us: int,
        heading_within: float | None = None,
    ) -> int | None:
        """Instant since which the position has been within the tolerance of the target, and no faster than
        `slower_than` (None: any speed), without a break up to at_us (<= now); None if it is not met at at_us.
        0 where it has been so from the start."""
        raise NotImplementedError

    def inside_for_good_from(
        self, mechanism: str, target: Target | Pose, within: float, slower_than: float | None, at_us: int,
        heading_within: float | None = None,
    ) -> int | None:
        """Instant (> at_us) from which it would be met for good with the command it has at at_us, if nothing
        more were commanded after that; None: never."""
        raise NotImplementedError

    def leaves_at(
        self, mechanism: str, target: Target | Pose, within: float, from_us: int, to_us: int,
        heading_within: float | None = None,
    ) -> int | None:
        """First instant in [from_us, to_us] (<= now) at which its position is outside the tolerance."""
        raise NotImplementedError

    def slower_than(self, mechanism: str) -> float | None:
        """The speed limit of the mechanism's own target set, None where it states none."""
        raise NotImplementedError

    def moves(self) -> list[Move]:
        """All moves so far, in the order in which they were commanded."""
        raise NotImplementedError

    def lowest_bus(self) -> tuple[float, int]:
        """Lowest bus voltage so far [V] and its instant."""
        raise NotImplementedError

    def currents(self) -> tuple[float, float]:
        """Peak and mean battery current so far [A]."""
        raise NotImplementedError

    def energy(self) -> float:
        """Energy that has left the battery's terminals so far [J]."""
        raise NotImplementedError
