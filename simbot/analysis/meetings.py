"""Where the outlines of a plan's two robots touch: one on its way, the other parked or on its own.

Both are looked at from the second robot, which stands still there while the first goes round it. Between two instants
the first sweeps the hull of its two outlines: at FINE_US, of robots that turn by 6 rad/s, that is right to half a
millimetre (derivation: r (1 - cos(w t/2)), r 0.6 m).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import hypot
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.analysis.paths import Array, corners_of, first_instant, hulls, row_of
from simbot.analysis.results import Finding
from simbot.physics.build import DRIVES
from simbot.physics.plant import Plant
from simbot.routine.trace import MoveRecord, Trace
from simbot.scenario.model import Partner, Plan

COARSE_US, FINE_US = 100_000, 10_000
# by which two robots come nearer between coarse instants than straight lines would: two times a t²/8, a 4 g
SLACK = 0.1  # m
STILL = 1e-6  # m, rad


class Robot:
    """One of the two: its outline, and where it is."""

    def __init__(self, plan: Plan, trace: Trace, plant: Plant | None) -> None:
        self.drives = {name for name, spec in plan.robot.mechanisms.items() if spec.kind in DRIVES}
        self.size = (float(plan.robot.length), float(plan.robot.width))
        self.reach = hypot(*self.size) / 2.0
        self.sent = [record for record in trace.moves if record.move.mechanism in self.drives]
        self.plant = plant if self.sent else None
        self.start = plan.start.pose

    def rows(self, at_us: npt.NDArray[np.int64]) -> Array:
        """Rows of x, y and heading at instants."""
        if self.plant is None:
            assert self.start is not None
            return np.array([row_of(self.start)] * len(at_us))
        return np.array([row_of(self.plant.pose(int(each))) for each in at_us])

    def last(self, at_us: int) -> MoveRecord | None:
        """The command of its drive that was given last."""
        return next((record for record in reversed(self.sent) if record.move.start_us <= at_us), None)


def meeting_findings(plan: Plan, trace: Trace, plant: Plant) -> Iterator[Finding]:
    """One finding for every command of either drive on whose way they begin to touch."""
    if plan.partner is None or trace.partner is None:
        return
    other = plan.partner.plan
    second = trace.partner.moves[0].move.plant if trace.partner.moves else None
    robots = Robot(plan, trace, plant), Robot(other, trace.partner, second)
    if plan.start.pose is None or other.start.pose is None:
        return
    told: set[tuple[int, int]] = set()
    for at_us, moved in _touches(*robots, trace.horizon_us):
        sent = tuple(robot.last(at_us) for robot in robots)
        key = (id(sent[0]), id(sent[1]))
        if key not in told:
            told.add(key)
            yield _finding(plan.partner, robots, sent[0], at_us, moved)


def _touches(mine: Robot, other: Robot, until_us: int) -> Iterator[tuple[int, tuple[bool, bool]]]:
    """Instants at which they begin to touch, and which of the two moves there."""
    coarse = np.unique(np.append(np.arange(0, until_us, COARSE_US), until_us))
    a, b = mine.rows(coarse), other.rows(coarse)
    apart = b[:, :2] - a[:, :2]
    between = np.hypot(*np.diff(apart, axis=0).T)
    nearest = np.hypot(*apart.T)
    nearest = (nearest[:-1] + nearest[1:] - between) / 2.0 - SLACK
    moves = _moves(a) | _moves(b)
    moves[0] = True
    close = moves & (nearest <= mine.reach + other.reach)
    for begin, end in zip(coarse[:-1][close], coarse[1:][close], strict=True):
        yield from _touches_within(mine, other, int(begin), int(end))


def _moves(rows: Array) -> Any:
    """Whether it is elsewhere at the next instant."""
    return np.abs(np.diff(rows, axis=0)).max(axis=1) > STILL


def _touches_within(
    mine: Robot, other: Robot, begin_us: int, end_us: int
) -> Iterator[tuple[int, tuple[bool, bool]]]:
    import shapely

    at = np.unique(np.append(np.arange(begin_us, end_us, FINE_US), end_us))
    a, b = mine.rows(at), other.rows(at)
    seen = _seen_from(a, b, mine.size)
    box = shapely.Polygon(corners_of(np.zeros((1, 3)), other.size)[0])
    there = shapely.intersects(shapely.polygons(seen), box)
    for n in np.flatnonzero(shapely.intersects(hulls(seen), box)):
        moved = bool(_moves(a)[n]), bool(_moves(b)[n])
        if not there[n]:
            yield (
                first_instant(
                    partial(_touch_until, mine, other, int(at[n]), box), int(at[n]), int(at[n + 1])
                ),
                moved,
            )
        elif at[n] == 0:
            yield 0, moved


def _touch_until(mine: Robot, other: Robot, begin_us: int, box: object, at_us: int) -> bool:
    import shapely

    at = np.array((begin_us, at_us))
    return bool(shapely.intersects(hulls(_seen_from(mine.rows(at), other.rows(at), mine.size)), box).any())


def _seen_from(rows: Array, other: Array, size: tuple[float, float]) -> Array:
    """Corners of outlines as seen from another robot."""
    away = corners_of(rows, size) - other[:, None, :2]
    c, s = np.cos(other[:, 2:]), np.sin(other[:, 2:])
    return np.stack((c * away[..., 0] + s * away[..., 1], c * away[..., 1] - s * away[..., 0]), axis=2)


def _finding(
    partner: Partner,
    robots: tuple[Robot, Robot],
    sent: MoveRecord | None,
    at_us: int,
    moved: tuple[bool, bool],
) -> Finding:
    (x, y, _), (other_x, other_y, _) = (robot.rows(np.array((at_us,)))[0] for robot in robots)
    name = f"the other robot ({partner.name})"
    step = "this robot, not yet sent anywhere," if sent is None else f"step {sent.step} ({sent.label})"
    if moved == (False, True):
        stands = step if sent is None else f"this robot, which stands since {step},"
        does = f"{name} runs into {stands}"
    else:
        does = f"{step} touches {name} {'on its way' if moved[1] else 'where that stands,'}"
    return Finding(
        kind="path_blocked",
        step=0 if sent is None else sent.step,
        line=partner.line if sent is None else sent.line,
        at_us=at_us,
        mechanism=None if sent is None else sent.move.mechanism,
        text=(
            f"{does}, this one's centre at {x:.2f} m, {y:.2f} m, the other's at {other_x:.2f} m, "
            f"{other_y:.2f} m: the run goes on as if they passed through one another"
        ),
    )
