"""The course of a run as polylines, for a drawing that has to be small: positions, the pose, the bus voltage.

A polyline keeps the instants that it takes for a straight line between two of them to be right within a stated
tolerance. Instants are microseconds of the match clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simbot.analysis.course import EVERY_US, course_of
from simbot.analysis.course import Course as Sampled
from simbot.physics.build import DRIVES, SPINNING
from simbot.physics.move import DriveTo
from simbot.physics.plant import Plant
from simbot.routine.trace import Trace

Array = npt.NDArray[np.float64]
Instants = npt.NDArray[np.int64]

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
    sampled : course.Course
        The samples that they were made from.
    """

    end_us: int
    mechanisms: tuple[Course, ...]
    pose_at_us: Instants
    pose: Array
    bus_at_us: Instants
    bus: Array
    sampled: Sampled


def courses_of(plant: Plant, trace: Trace) -> Courses:
    """The courses of a run that is over."""
    course = course_of(plant, trace.horizon_us)
    at_us = np.rint(course.t * 1e6).astype(np.int64)
    pose = course.poses.copy()
    pose[:, 2] = np.unwrap(pose[:, 2])
    kept = thinned(at_us, pose, POSE_TOLERANCE)
    used = {record.move.mechanism for record in trace.moves}
    names = [name for name in plant.robot.mechanisms if name in used]
    bus_at, bus = _bus(course)
    return Courses(
        trace.horizon_us,
        tuple(_course(name, plant, trace, course, at_us) for name in names),
        at_us[kept],
        pose[kept],
        bus_at,
        bus,
        course,
    )


def _course(name: str, plant: Plant, trace: Trace, course: Sampled, at_us: Instants) -> Course:
    spec = plant.robot.mechanisms[name]
    if spec.coordinate == "word":
        return _words(name, plant, trace)
    if spec.kind in DRIVES:
        measures, values = "to_go", _to_go(trace, name, course, at_us)
    elif spec.kind in SPINNING:
        measures, values = "angular_speed", np.array([plant.speed(name, int(at)) for at in at_us])
    else:
        measures, values = spec.coordinate, course.positions[name]
    kept = thinned(at_us, values[:, None], (TOLERANCES.get(measures, 1e-3),))
    return Course(name, measures, at_us[kept], values[kept])


def _words(name: str, plant: Plant, trace: Trace) -> Course:
    """A measured mechanism: where it is, and -1 while it goes to another place."""
    words: dict[str, float] = {}
    at_us: list[int] = []
    values: list[float] = []
    for begin, end, word in plant.stays(name):
        if begin > trace.horizon_us:
            break
        at_us.append(begin)
        values.append(words.setdefault(word, float(len(words))) if word else -1.0)
        if end is not None:
            at_us.append(end)
            values.append(-1.0)
    return Course(name, "word", np.array(at_us, dtype=np.int64), np.array(values), tuple(words))


def _to_go(trace: Trace, name: str, course: Sampled, at_us: Instants) -> Array:
    """Straight distance to where the drive was last sent [m]; 0 before it is sent anywhere."""
    out = np.zeros(len(at_us))
    moves = [record.move for record in trace.moves if record.move.mechanism == name]
    ends = [move.start_us for move in moves[1:]] + [trace.horizon_us + 1]
    for move, until in zip(moves, ends, strict=True):
        now = (at_us >= move.start_us) & (at_us < until)
        if isinstance(move.command, DriveTo):
            goal = move.command.pose
            out[now] = np.hypot(course.poses[now, 0] - goal.x, course.poses[now, 1] - goal.y)
        else:
            out[now] = np.abs(course.positions[name][now] - float(move.target))
    return out


def _bus(course: Sampled) -> tuple[Instants, Array]:
    """The least voltage within every sample, so that no dip is lost."""
    numbers, first = np.unique(np.floor(course.bus_t * 1e6 / EVERY_US).astype(np.int64), return_index=True)
    least = np.minimum.reduceat(course.bus_v, first)
    at_us = numbers * EVERY_US
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
