"""Outlines of robots that stand on the field, and whether they overlap."""

from __future__ import annotations

from itertools import pairwise
from math import cos, sin

from simbot.scenario.model import Plan, Pose, Robot

Point = tuple[float, float]


def start_doubt(plan: Plan, partner: Plan) -> str | None:
    """What is wrong with where two robots stand at the start; None: nothing."""
    mine, theirs = plan.start.pose, partner.start.pose
    if (
        mine is None
        or theirs is None
        or not overlap(outline(plan.robot, mine), outline(partner.robot, theirs))
    ):
        return None
    return (
        f"both robots cannot stand there: the other one starts at [{theirs.x:.4g} m, {theirs.y:.4g} m], and their "
        "outlines overlap; a station or place there counts as this one's"
    )


def outline(robot: Robot, pose: Pose) -> list[Point]:
    """Corners of a robot, in turn."""
    ahead, aside = robot.length / 2, robot.width / 2
    c, s = cos(pose.heading), sin(pose.heading)
    corners = ((ahead, aside), (-ahead, aside), (-ahead, -aside), (ahead, -aside))
    return [(pose.x + x * c - y * s, pose.y + x * s + y * c) for x, y in corners]


def overlap(first: list[Point], second: list[Point]) -> bool:
    """Whether two rectangles share more than an edge: no line along a side of either parts them."""
    for corners in (first, second):
        for (ax, ay), (bx, by) in pairwise(corners[:3]):
            along = (bx - ax, by - ay)
            mine, theirs = ([x * along[0] + y * along[1] for x, y in each] for each in (first, second))
            if max(mine) <= min(theirs) + 1e-9 or max(theirs) <= min(mine) + 1e-9:
                return False
    return True
