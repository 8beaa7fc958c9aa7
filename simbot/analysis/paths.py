"""Where the robot's outline runs into an obstacle of the game on its way."""

from __future__ import annotations

from math import ceil, cos, radians, sin
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from simbot.analysis.results import Finding
from simbot.analysis.words import clock
from simbot.physics.plant import Plant
from simbot.physics.route import Curve, Leg
from simbot.routine.trace import MoveRecord, Trace
from simbot.scenario.model import Plan, Pose

if TYPE_CHECKING:
    from shapely import Geometry

TURN = radians(0.1)  # between two outlines of a turn
PIECE = 0.01  # m: between two outlines on a curve


def path_findings(plan: Plan, trace: Trace, plant: Plant, drives: frozenset[str]) -> list[Finding]:
    """One finding for every command of the drive and every obstacle that its way touches."""
    if not plan.game.obstacles:
        return []
    import shapely

    size = (float(plan.robot.length), float(plan.robot.width))
    obstacles = [shapely.make_valid(shapely.Polygon(corners)) for corners in plan.game.obstacles]
    found = []
    for record in trace.moves:
        if record.move.mechanism in drives:
            for number, obstacle in enumerate(obstacles, 1):
                at_us = _first_touch(record, plant, obstacle, size)
                if at_us is not None:
                    found.append(_finding(record, number, at_us, plant.pose(at_us)))
    return found


def _first_touch(
    record: MoveRecord, plant: Plant, obstacle: Geometry, size: tuple[float, float]
) -> int | None:
    """First instant of a move at which what its outline has swept touches an obstacle."""
    import shapely

    begin, end = record.move.start_us, record.move.cut_us
    end = plant.now_us if end is None else end

    def touches(until_us: int) -> bool:
        return any(
            shapely.intersects(swept(*way, size), obstacle).any() for way in plant.ways(begin, until_us)
        )

    if not touches(end):
        return None
    low, high = begin - 1, end
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if touches(middle) else (middle, high)
    return high


def swept(leg: Leg, low: float, high: float, size: tuple[float, float]) -> npt.NDArray[np.object_]:
    """Polygons that together are what the outline of a robot sweeps on a leg from one coordinate to another.

    Parameters
    ----------
    low, high : float
        Coordinates [m, rad].
    size : (length, width)
        Of the outline [m].

    Each is the hull of two outlines: exact on a line; in a turn it is too large by length/2 tan(TURN/2) at the most.
    On a curve it is as coarse as its pieces.
    """
    import shapely

    pieces = max(1, ceil((high - low) / TURN)) if leg.turning else 1
    if isinstance(leg, Curve):
        pieces = max(1, ceil((high - low) / PIECE))
    poses = [leg.pose(low + (high - low) * number / pieces) for number in range(pieces + 1)]
    corners = np.array([_corners(pose, size) for pose in poses])
    hulls: npt.NDArray[np.object_] = shapely.convex_hull(
        shapely.multipoints(np.concatenate((corners[:-1], corners[1:]), axis=1))
    )
    return hulls


def _corners(pose: Pose, size: tuple[float, float]) -> list[tuple[float, float]]:
    c, s = cos(pose.heading), sin(pose.heading)
    half, side = size[0] / 2.0, size[1] / 2.0
    ends = ((half, side), (half, -side), (-half, -side), (-half, side))
    return [(pose.x + c * x - s * y, pose.y + s * x + c * y) for x, y in ends]


def _finding(record: MoveRecord, number: int, at_us: int, pose: Pose) -> Finding:
    where = f"its centre at {pose.x:.2f} m, {pose.y:.2f} m"
    return Finding(
        kind="path_blocked",
        step=record.step,
        line=record.line,
        at_us=at_us,
        mechanism=record.move.mechanism,
        about=f"obstacle {number}",
        text=(
            f"step {record.step} ({record.label}) touches obstacle {number} of the game at {clock(at_us)}, {where}: "
            f"the run goes on as if it were not there"
        ),
    )
