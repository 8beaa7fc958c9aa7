"""A plant without physics for tests: every mechanism moves at one constant speed, or takes a stopwatch time.

Same interface as the real plant; exact, because every motion is a straight line in time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise

from simbot.physics.move import Command, DriveTo, GoTo, Move, PushFor, Spin
from simbot.physics.plant import Plant
from simbot.physics.route import Leg
from simbot.scenario.model import Plan, Pose


@dataclass
class Track:
    """One mechanism: its speed [1/s] or, for words, its time [µs]; what it was commanded and when."""

    speed: float = 0.0
    time_us: int = 0
    window: float = 0.0
    words: bool = False
    moves: list[StraightMove] = field(default_factory=list)
    start: float | str = 0.0


class StraightMove(Move):
    def __init__(self, plant: StopwatchPlant, mechanism: str, command: Command, track: Track) -> None:
        self._plant, self.mechanism, self.command, self.track = plant, mechanism, command, track
        self.start_us = plant.now_us
        self.start_position = plant.position(mechanism)
        self.start_speed = 0.0
        if isinstance(command, GoTo):
            self.target = command.target
        elif isinstance(command, DriveTo):
            self.target = command.pose.x
        elif isinstance(command, PushFor):
            self.target = command.toward
        else:
            self.target = self.start_position
        self.window, self.slower_than, self.touch, self.cut_us = track.window, float("inf"), False, None
        self.zero_off = 0.0

    @property
    def rests_us(self) -> float:
        if self.track.words:
            return self.start_us + (0 if self.start_position == self.target else self.track.time_us)
        return self.start_us + abs(self.target - self.start_position) / self.track.speed * 1e6

    def at(self, at_us: int) -> float | str:
        if self.track.words:
            return self.target if at_us >= self.rests_us else self.start_position
        way = self.track.speed * (at_us - self.start_us) * 1e-6
        gap = self.target - self.start_position
        return self.target if way >= abs(gap) else self.start_position + (way if gap > 0 else -way)

    def arrival_us(self) -> int | None:
        if self.track.words:
            return int(self.rests_us)
        gap = abs(self.target - self.start_position) - self.window
        return self.start_us if gap <= 0 else self.start_us + ceil(gap / self.track.speed * 1e6)

    def arrived_for_real(self) -> bool:
        return self.cut_us is None or self.arrival_us() <= self.cut_us

    def first_inside_us(self) -> int | None:
        return self.arrival_us()

    def ends_at(self) -> float | str:
        return self.at(self._plant.horizon_us if self.cut_us is None else self.cut_us)

    def reason(self) -> str:
        return "nothing holds it there"

    def lag(self) -> float | None:
        return None

    def floor_s(self) -> float | None:
        return None if self.track.words else (self.arrival_us() - self.start_us) * 1e-6


def ceil(value: float) -> int:
    return -int(-(value - 1e-6) // 1)


class StopwatchPlant(Plant):
    """Give `tracks` by mechanism; `loop_us` is the control's tick."""

    def __init__(self, tracks: dict[str, Track], horizon_us: int, loop_us: int = 20_000) -> None:
        self.names = []
        self._resets = None
        self.tracks, self.horizon_us, self.loop_us, self.now_us = tracks, horizon_us, loop_us, 0
        self.given: list[Move] = []
        self.payloads: list[tuple[int, str, float]] = []

    def tick_at_or_after(self, at_us: int) -> int:
        return -(-at_us // self.loop_us) * self.loop_us

    def advance(self, to_us: int) -> None:
        assert to_us >= self.now_us
        self.now_us = to_us

    def command(self, mechanism: str, command: Command) -> Move:
        track = self.tracks[mechanism]
        move = StraightMove(self, mechanism, command, track)
        if track.moves:
            track.moves[-1].cut_us = self.now_us
        track.moves.append(move)
        self.given.append(move)
        return move

    def set_payload(self, mechanism: str, mass: float) -> None:
        self.payloads.append((self.now_us, mechanism, mass))

    def first_seen_us(self, moves: Iterable[Move], limit_us: int) -> int | None:
        seen = self.tick_at_or_after(max([self.now_us, *(move.arrival_us() for move in moves)]))
        return seen if seen <= limit_us else None

    def position(self, mechanism: str, at_us: int | None = None) -> float | str:
        at_us = self.now_us if at_us is None else at_us
        track = self.tracks[mechanism]
        before = [move for move in track.moves if move.start_us <= at_us]
        return before[-1].at(at_us) if before else track.start

    def speed(self, mechanism: str, at_us: int | None = None) -> float:
        return 0.0

    def pose(self, at_us: int | None = None) -> Pose:
        return Pose(self.position("drive", at_us), 0.0, 0.0)

    def ways(self, from_us: int, to_us: int) -> list[tuple[Leg, float, float]]:
        """Where it ends: on a stopwatch's way nothing is in the way."""
        return [(Leg(False, self.pose(to_us), 0.0, 0.0), 0.0, 0.0)]

    def _inside(self, mechanism: str, target: object, within: float, at_us: int) -> bool:
        position = self.position(mechanism, at_us)
        if isinstance(position, str):
            return position == target
        goal = target.x if isinstance(target, Pose) else target
        return abs(position - goal) <= within + 1e-12

    def _changes(self, mechanism: str, from_us: int, to_us: int) -> list[int]:
        """Instants between which a mechanism moves along a straight line."""
        marks = {from_us, to_us}
        for move in self.tracks[mechanism].moves:
            for at in (move.start_us, ceil(move.rests_us), ceil(move.rests_us) - 1):
                if from_us <= at <= to_us:
                    marks.add(at)
        return sorted(marks)

    def _turns(self, mechanism: str, target: object, within: float, from_us: int, to_us: int) -> list[int]:
        """Every instant at which inside becomes outside or the other way round, by bisection."""
        marks = self._changes(mechanism, from_us, to_us)
        fine = set(marks)
        if not self.tracks[
            mechanism
        ].words:  # the nearest point of a pass parts its entering from its leaving
            goal = target.x if isinstance(target, Pose) else target
            for low, high in pairwise(marks):
                begin, end = self.position(mechanism, low), self.position(mechanism, high)
                if min(begin, end) < goal < max(begin, end):
                    fine.add(low + round((high - low) * (goal - begin) / (end - begin)))
        turns = []
        for low, high in pairwise(sorted(fine)):
            was = self._inside(mechanism, target, within, low)
            if self._inside(mechanism, target, within, high) != was:
                while high - low > 1:
                    middle = (low + high) // 2
                    if self._inside(mechanism, target, within, middle) == was:
                        low = middle
                    else:
                        high = middle
                turns.append(high)
        return turns

    def inside_since(self, mechanism, target, within, slower_than, at_us, heading_within=None):  # type: ignore[no-untyped-def]
        if not self._inside(mechanism, target, within, at_us):
            return None
        return max(self._turns(mechanism, target, within, 0, at_us), default=0)

    def inside_for_good_from(self, mechanism, target, within, slower_than, at_us, heading_within=None):  # type: ignore[no-untyped-def]
        if not self._inside(mechanism, target, within, self.horizon_us):
            return None
        return max(self._turns(mechanism, target, within, at_us, self.horizon_us))

    def leaves_at(self, mechanism, target, within, from_us, to_us, heading_within=None):  # type: ignore[no-untyped-def]
        if not self._inside(mechanism, target, within, from_us):
            return from_us
        return min(self._turns(mechanism, target, within, from_us, to_us), default=None)

    def slower_than(self, mechanism: str) -> float | None:
        return None

    def moves(self) -> list[Move]:
        return self.given

    def lowest_bus(self) -> tuple[float, int]:
        return 13.0, 0

    def currents(self) -> tuple[float, float]:
        return 0.0, 0.0

    def collapsed_at(self) -> float | None:
        return None

    def energy(self) -> float:
        return 0.0


def plant_for(plan: Plan, **tracks: Track) -> StopwatchPlant:
    """A plant at the start of a plan, with the tracks given by name."""
    horizon = sum(period.duration_us for period in plan.game.periods)
    for name, track in tracks.items():
        track.start = plan.start.positions.get(name, track.start)
    return StopwatchPlant(tracks, horizon, plan.robot.loop_us)


def words(time_s: float) -> Track:
    """A mechanism with a stopwatch time."""
    return Track(time_us=round(time_s * 1e6), words=True, start="")


def straight(speed: float, window: float = 0.01) -> Track:
    """A mechanism at a constant speed."""
    return Track(speed=speed, window=window)


__all__ = ["Spin", "StopwatchPlant", "Track", "plant_for", "straight", "words"]
