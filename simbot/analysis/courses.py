"""Where everything is over a run: positions, the pose and the bus voltage as polylines, for whoever draws them.

A polyline keeps the instants that it takes for a straight line between two of them to be right within a stated
tolerance. Instants are microseconds of the match clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simbot.physics.build import DRIVES, SPINNING
from simbot.physics.move import DriveTo
from simbot.physics.plant import Plant
from simbot.routine.trace import Trace

Array = npt.NDArray[np.float64]
Instants = npt.NDArray[np.int64]

SAMPLE_US = 20_000
TOLERANCES = {"length": 2e-4, "angle": 1e-3, "angular_speed": 0.5}  # m, rad, rad/s
POSE_TOLERANCE = (1e-3, 1e-3, 5e-3)  # m, m, rad
BUS_TOLERANCE = 0.03  # V


@dataclass(frozen=True)
class Course:
    """One mechanism over a run.

    Parameters
    ----------
    mechanism : str
    measures : str
        "length" [m], "angle" [rad], "angular_speed" [rad/s], "to_go" (of a drive: distance to where it is sent [m])
        or "word".
    at_us : (n,) int array
        Instants; of words: those since which each holds.
    values : (n,) array
        Of words: their numbers in `words`; -1 on the way to another.
    words : tuple of str
    """

    mechanism: str
    measures: str
    at_us: Instants
    values: Array
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Courses:
    """All that moves in one run.

    Parameters
    ----------
    end_us : int
    mechanisms : tuple of Course
        Those that were given a command, in the order of the robot file.
    pose_at_us : (n,) int array
    pose : (n, 3) array
        x, y [m], heading [rad], without jumps by whole turns.
    bus_at_us : (k,) int array
    bus : (k,) array
        Least bus voltage of each sample [V].
    """

    end_us: int
    mechanisms: tuple[Course, ...]
    pose_at_us: Instants
    pose: Array
    bus_at_us: Instants
    bus: Array


def courses_of(plant: Plant, trace: Trace) -> Courses:
    """The courses of a run that is over."""
    starts = [record.move.start_us for record in trace.moves]
    grid = np.unique(np.concatenate((np.arange(0, trace.horizon_us + 1, SAMPLE_US), starts))).astype(np.int64)
    grid = grid[grid <= plant.now_us]
    poses = [plant.pose(int(at_us)) for at_us in grid]
    pose = np.array([(one.x, one.y, one.heading) for one in poses])
    pose[:, 2] = np.unwrap(pose[:, 2])
    kept = thinned(grid, pose, POSE_TOLERANCE)
    used = {record.move.mechanism for record in trace.moves}
    names = [name for name in plant.robot.mechanisms if name in used]
    bus_at, bus = _bus(plant)
    return Courses(
        int(grid[-1]),
        tuple(_course(name, plant, trace, grid, pose) for name in names),
        grid[kept],
        pose[kept],
        bus_at,
        bus,
    )


def _course(name: str, plant: Plant, trace: Trace, grid: Instants, pose: Array) -> Course:
    spec = plant.robot.mechanisms[name]
    if spec.coordinate == "word":
        return _words(name, trace)
    if spec.kind in DRIVES:
        measures, values = "to_go", _to_go(plant, trace, name, grid, pose)
    elif spec.kind in SPINNING:
        measures, values = "angular_speed", np.array([plant.speed(name, int(at)) for at in grid])
    else:
        measures = spec.coordinate
        values = np.array([float(plant.position(name, int(at))) for at in grid])
    kept = thinned(grid, values[:, None], (TOLERANCES.get(measures, 1e-3),))
    return Course(name, measures, grid[kept], values[kept])


def _words(name: str, trace: Trace) -> Course:
    """A measured mechanism: where it is, and -1 while it goes to another place."""
    words: dict[str, float] = {}
    at_us: list[int] = []
    values: list[float] = []

    def note(when_us: int, word: float) -> None:
        at_us.append(when_us)
        values.append(word)

    for record in trace.moves:
        watch = record.move.stopwatch
        if record.move.mechanism != name or watch is None:
            continue
        if not at_us:
            note(0, words.setdefault(watch.before, 0.0) if watch.before else -1.0)
        there = words.setdefault(watch.word, float(len(words)))
        if watch.there_us > watch.start_us:
            note(watch.start_us, -1.0)
        if watch.there_us <= trace.horizon_us:
            note(watch.there_us, there)
    return Course(name, "word", np.array(at_us, dtype=np.int64), np.array(values), tuple(words))


def _to_go(plant: Plant, trace: Trace, name: str, grid: Instants, pose: Array) -> Array:
    """Straight distance to where the drive was last sent [m]; 0 before it is sent anywhere."""
    out = np.zeros(len(grid))
    moves = [record.move for record in trace.moves if record.move.mechanism == name]
    for number, move in enumerate(moves):
        until = moves[number + 1].start_us if number + 1 < len(moves) else int(grid[-1]) + 1
        now = (grid >= move.start_us) & (grid < until)
        if isinstance(move.command, DriveTo):
            goal = move.command.pose
            out[now] = np.hypot(pose[now, 0] - goal.x, pose[now, 1] - goal.y)
        else:
            here = np.array([float(plant.position(name, int(at))) for at in grid[now]])
            out[now] = np.abs(here - float(move.target))
    return out


def _bus(plant: Plant) -> tuple[Instants, Array]:
    """The least voltage within every sample, so that no dip is lost."""
    at, volts = plant.bus_rows()
    bins = np.floor(at * 1e6 / SAMPLE_US).astype(np.int64)
    numbers, first = np.unique(bins, return_index=True)
    least = np.minimum.reduceat(volts, first)
    at_us = numbers * SAMPLE_US
    kept = thinned(at_us, least[:, None], (BUS_TOLERANCE,))
    return at_us[kept], least[kept]


def thinned(at: Instants, values: Array, tolerances: tuple[float, ...]) -> npt.NDArray[np.intp]:
    """Rows to keep so that straight lines between them miss no other by more than the tolerances.

    Ramer (1972), Douglas and Peucker (1973), with the distance taken along the values.

    Parameters
    ----------
    at : (n,) int array
        Increasing.
    values : (n, k) array
    tolerances : k floats
    """
    scaled = values / np.array(tolerances)
    keep = np.zeros(len(at), dtype=bool)
    keep[[0, -1]] = True
    spans = [(0, len(at) - 1)]
    while spans:
        first, last = spans.pop()
        if last - first < 2:
            continue
        share = (at[first + 1 : last] - at[first]) / (at[last] - at[first])
        line = scaled[first] + share[:, None] * (scaled[last] - scaled[first])
        off = np.abs(scaled[first + 1 : last] - line).max(axis=1)
        worst = int(off.argmax())
        if off[worst] > 1.0:
            middle = first + 1 + worst
            keep[middle] = True
            spans += [(first, middle), (middle, last)]
    return np.flatnonzero(keep)
