"""Where the robot's outline runs into what stands on the field on its way, or out of the field.

What touches an obstacle, or the outline of a station or place, is told. Where the robot comes to stand or comes from
it may stand against the outline, and anywhere against the field's border, as deep as its window is: no deeper than
its code tells apart.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from math import ceil, hypot, radians
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

from simbot.analysis.results import Finding
from simbot.physics.move import DriveTo
from simbot.physics.plant import Plant
from simbot.physics.route import Curve, Leg
from simbot.routine.trace import MoveRecord, Trace
from simbot.scenario.model import Game, Plan, Pose, Solid

if TYPE_CHECKING:
    from shapely import Geometry

Array = npt.NDArray[np.float64]
Ways = list[tuple[Leg, float, float]]

TURN = radians(0.1)  # between two outlines of a turn
PIECE = 0.01  # m: between two outlines on a curve
LEAST = 1e-3  # m: more or less than that is not told apart


def path_findings(plan: Plan, trace: Trace, plant: Plant, drives: frozenset[str]) -> Iterator[Finding]:
    """One finding for every command of the drive and everything that its way touches or leaves."""
    solids = Solids(plan)
    comes_from = plan.start.pose
    first = True
    for record in trace.moves:
        if record.move.mechanism not in drives:
            continue
        goes_to = record.move.command.pose if isinstance(record.move.command, DriveTo) else None
        way = Driven(record, plant, (float(plan.robot.length), float(plan.robot.width)))
        window = float(plan.robot.mechanisms[record.move.mechanism].values["control"]["window"])
        yield from solids.touched(way, window, (comes_from, goes_to))
        yield from _left(way, plan.game, window, first)
        comes_from, first = goes_to, False


class Driven:
    """The way of one command of the drive."""

    def __init__(self, record: MoveRecord, plant: Plant, size: tuple[float, float]) -> None:
        self.record, self.plant, self.size = record, plant, size
        cut = record.move.cut_us
        self.begin_us, self.end_us = record.move.start_us, plant.now_us if cut is None else cut
        self.ways: Ways = plant.ways(self.begin_us, self.end_us)
        centres = np.array([point for way in self.ways for point in _centres(*way)])
        reach = hypot(*size) / 2.0 + LEAST
        self.low, self.high = centres.min(axis=0) - reach, centres.max(axis=0) + reach

    def may_meet(self, corners: Array) -> bool:
        """Whether the box in which it stays overlaps that of some corners."""
        return bool((self.low <= corners.max(axis=0)).all() and (corners.min(axis=0) <= self.high).all())

    def first(self, fulfils: Callable[[Ways], bool]) -> int | None:
        """First instant at which what is driven so far fulfils something that more of it does too."""
        if not fulfils(self.ways):
            return None
        begin = self.begin_us
        return first_instant(lambda at_us: fulfils(self.plant.ways(begin, at_us)), begin - 1, self.end_us)

    def finding(self, at_us: int, does: str, as_if: str) -> Finding:
        pose = self.plant.pose(at_us)
        step = self.record.step
        return Finding(
            kind="path_blocked",
            step=step,
            line=self.record.line,
            at_us=at_us,
            mechanism=self.record.move.mechanism,
            about=does,
            text=(
                f"step {step} ({self.record.label}) {does}, its centre at {pose.x:.2f} m, "
                f"{pose.y:.2f} m: the run goes on as if {as_if}"
            ),
        )


def first_instant(fulfilled: Callable[[int], bool], before_us: int, at_us: int) -> int:
    """First instant at which something is so that stays so; it is at the later one, and not at the earlier."""
    while at_us - before_us > 1:
        middle = (before_us + at_us) // 2
        before_us, at_us = (before_us, middle) if fulfilled(middle) else (middle, at_us)
    return at_us


class Solids:
    """What stands on the field; polygons are made once something comes near one."""

    def __init__(self, plan: Plan) -> None:
        self.all = [(solid, np.array(solid.corners)) for solid in plan.game.solids]
        self.made: dict[str, Geometry] = {}

    def touched(
        self, way: Driven, window: float, stands: tuple[Pose | None, Pose | None]
    ) -> Iterator[Finding]:
        """`stands`: where the robot comes from and goes to."""
        for solid, corners in self.all:
            if not way.may_meet(corners):
                continue
            size = way.size
            if solid.pose is not None and solid.pose in stands:
                size = (max(LEAST, size[0] - 2.0 * window), max(LEAST, size[1] - 2.0 * window))
            at_us = way.first(_touching(self._made(solid), size))
            if at_us is not None:
                yield way.finding(at_us, f"touches {solid.name}", "it were not there")

    def _made(self, solid: Solid) -> Geometry:
        import shapely

        if solid.name not in self.made:
            self.made[solid.name] = shapely.make_valid(shapely.Polygon(solid.corners))
        return self.made[solid.name]


def _touching(solid: Geometry, size: tuple[float, float]) -> Callable[[Ways], bool]:
    import shapely

    return lambda ways: any(shapely.intersects(swept(*way, size), solid).any() for way in ways)


class Border(NamedTuple):
    """One side of the field."""

    axis: int
    at: float
    outwards: float  # -1.0 or 1.0

    def beyond(self, points: Array) -> float:
        """How far the furthest of some points is out [m]."""
        return float((self.outwards * (points[..., self.axis] - self.at)).max())


def _left(way: Driven, game: Game, window: float, first: bool) -> Iterator[Finding]:
    """Where it leaves the field; what was out already where it began is told of the first command alone."""
    if min(way.low) >= -window and max(way.high - (game.length, game.width)) <= window:
        return
    sides = ((0, 0.0, -1.0), (1, 0.0, -1.0), (0, game.length, 1.0), (1, game.width, 1.0))
    for border in (Border(*side) for side in sides):
        if border.beyond(np.array((way.low, way.high))) <= window:
            continue
        begins = corners_of([way.plant.pose(way.begin_us)], way.size)
        most = window if first else max(window, border.beyond(begins) + LEAST)
        at_us = way.first(partial(_leaves, border, most, way.size))
        if at_us is not None:
            name = f"{'xy'[border.axis]} = {border.at:g} m"
            yield way.finding(at_us, f"leaves the field at {name}", "it had no border")


def _leaves(border: Border, most: float, size: tuple[float, float], ways: Ways) -> bool:
    return any(border.beyond(outlines(*way, size)) > most for way in ways)


def outlines(leg: Leg, low: float, high: float, size: tuple[float, float]) -> Array:
    """Corners of the robot's outline on a leg from one coordinate to another, close to one another; shape (n, 4, 2)."""
    pieces = max(1, ceil((high - low) / TURN)) if leg.turning else 1
    if isinstance(leg, Curve):
        pieces = max(1, ceil((high - low) / PIECE))
        return corners_of([leg.pose(low + (high - low) * n / pieces) for n in range(pieces + 1)], size)
    return corners_of(np.linspace(row_of(leg.pose(low)), row_of(leg.pose(high)), pieces + 1), size)


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
    return hulls(outlines(leg, low, high, size))


def hulls(corners: Array) -> npt.NDArray[np.object_]:
    """The hull of every outline and the next one."""
    import shapely

    pairs = np.concatenate((corners[:-1], corners[1:]), axis=1)
    found: npt.NDArray[np.object_] = shapely.convex_hull(shapely.multipoints(pairs))
    return found


def corners_of(poses: Array | list[Pose], size: tuple[float, float]) -> Array:
    """Corners of outlines at poses, rows of x, y and heading; shape (n, 4, 2)."""
    rows = np.array([row_of(pose) for pose in poses]) if isinstance(poses, list) else poses
    half, side = size[0] / 2.0, size[1] / 2.0
    ends = np.array(((half, side), (half, -side), (-half, -side), (-half, side)))
    c, s = np.cos(rows[:, 2:]), np.sin(rows[:, 2:])
    x = rows[:, :1] + c * ends[:, 0] - s * ends[:, 1]
    y = rows[:, 1:2] + s * ends[:, 0] + c * ends[:, 1]
    return np.stack((x, y), axis=2)


def row_of(pose: Pose) -> tuple[float, float, float]:
    return pose.x, pose.y, pose.heading


def _centres(leg: Leg, low: float, high: float) -> list[tuple[float, float]]:
    """Points of its centre's way, in whose box it stays."""
    ends = [(pose.x, pose.y) for pose in (leg.pose(low), leg.pose(high))]
    if isinstance(leg, Curve) and leg.curve is not None:
        ends += zip(leg.curve.x, leg.curve.y, strict=True)
    return ends
