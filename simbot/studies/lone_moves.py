"""The moves of a routine, each alone and from rest, on a robot with other numbers in its file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import atan2, cos, hypot, sin
from typing import Any

from simbot.physics.build import DRIVES, Models
from simbot.physics.kinds import KINDS
from simbot.physics.move import Command, DriveFor, DriveTo, GoTo, Move, PushFor
from simbot.physics.plant import Plant
from simbot.routine.match import TOLERANCE
from simbot.routine.trace import MoveRecord, Trace
from simbot.scenario.model import BatteryState, Pose, Robot, Start, Target

HORIZON_US = 30_000_000  # how long a lone move is watched
ALIKE = 1e-3  # m or rad: starts that differ by less are one
MOST = 12  # moves of one mechanism


@dataclass(frozen=True)
class LoneMove:
    """One command as the routine gives it, from where the robot then stands."""

    mechanism: str
    command: Command
    start: Start
    payload: float  # kg
    line: int  # of the first that is like it
    times: int  # in the run

    @property
    def timed(self) -> bool:
        """Whether it is open loop: an effort for a time."""
        return isinstance(self.command, PushFor | DriveFor)


def lone_moves(trace: Trace, robot: Robot) -> list[LoneMove]:
    """Every different move of a run that has physics, those that differ by a hair as one; at most so many each.

    A drive's is each straight line that it drives, without the turns.
    """
    found: dict[Any, LoneMove] = {}
    for record in trace.moves:
        for one in _of(record, robot):
            key = (one.mechanism, one.command, one.payload, _rounded(one.start.positions.get(one.mechanism)))
            known = found.get(key)
            found[key] = one if known is None else replace(known, times=known.times + 1)
    count: dict[str, int] = {}
    kept = []
    for one in found.values():
        count[one.mechanism] = count.get(one.mechanism, 0) + 1
        if count[one.mechanism] <= MOST:
            kept.append(one)
    return kept


def _rounded(place: Target | None) -> int | None:
    return None if place is None or isinstance(place, str) else round(place / ALIKE)


def _of(record: MoveRecord, robot: Robot) -> Iterator[LoneMove]:
    move, name = record.move, record.move.mechanism
    spec, plant = robot.mechanisms[name], record.move.plant
    if move.stopwatch is not None or not isinstance(move.command, GoTo | DriveTo | PushFor | DriveFor):
        return
    at = move.start_us
    others = (other for other in plant.names if robot.mechanisms[other].kind not in DRIVES)
    positions = {other: plant.position(other, at) for other in others}
    if spec.kind not in DRIVES:
        yield LoneMove(name, move.command, Start(None, positions, {}), move.payload, record.line, 1)
        return
    start = Start(Pose(0.0, 0.0, 0.0), positions, {})
    if isinstance(move.command, DriveFor) or (isinstance(move.command, DriveTo) and move.command.bend):
        yield LoneMove(name, move.command, Start(plant.pose(at), positions, {}), move.payload, record.line, 1)
    elif isinstance(move.command, DriveTo):
        for goal in _lines(plant.pose(at), move.command, KINDS[spec.kind].HOLONOMIC):
            yield LoneMove(name, DriveTo(goal), start, move.payload, record.line, 1)


def _lines(pose: Pose, command: DriveTo, holonomic: bool) -> Iterator[Pose]:
    """Each straight line of a drive, seen from the robot at its begin: it keeps its heading."""
    points = [(pose.x, pose.y), *command.through, (command.pose.x, command.pose.y)]
    for (x, y), (to_x, to_y) in pairwise(points):
        length = hypot(to_x - x, to_y - y)
        if length > ALIKE:
            way = atan2(to_y - y, to_x - x) - pose.heading if holonomic else 0.0
            yield Pose(_grained(length * cos(way)), _grained(length * sin(way)), 0.0)


def _grained(length: float) -> float:
    return round(length / ALIKE) * ALIKE


class Alone:
    """Plays lone moves on one battery state."""

    def __init__(self, models: Models, battery: BatteryState) -> None:
        self.models = models
        self.battery = battery

    def play(self, moves: Sequence[LoneMove], robot: Robot) -> list[Move]:
        """Each move alone on a robot that differs from the models' own by its controls or its loop only."""
        models = self.models.under(robot)
        played = []
        for one in moves:
            plant = Plant(robot, self.battery, one.start, HORIZON_US, TOLERANCE, models)
            plant.set_payload(one.mechanism, one.payload)
            played.append(plant.command(one.mechanism, one.command))
        return played
