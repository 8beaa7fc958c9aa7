"""Drivetrains on the field: mecanum and tank, straight lines at a fixed heading and turns in place.

Geometry: the coordinate is the distance along the line [m], or the heading in a turn (radians). A mecanum
robot keeps its heading and moves along the straight line, then turns; a tank turns towards (or away from)
its goal, drives, and turns to the heading asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from simbot.physics.kinds.common import DAMPING, DRIVEN, OF_A_TRAVEL
from simbot.physics.outline import Line, Outline, Point
from simbot.physics.tables import Reduced, Segment
from simbot.scenario.parameters import Parameter

COORDINATE = "length"
PARAMETERS = (
    *(each for each in DRIVEN if each.key not in ("on", *OF_A_TRAVEL)),
    Parameter("wheel_diameter", "length", "of the wheels", required=True, low=0.01, high=1.0),
    Parameter("wheelbase", "length", "between front and rear axles", low=0.02, high=3.0),
    Parameter("track", "length", "between left and right wheels", low=0.02, high=3.0),
    Parameter("grip", "number", "friction coefficient of wheel on floor", required=True, low=0.05, high=3.0),
    Parameter(
        "friction",
        "force",
        "rolling and inner friction, as felt at the floor",
        default=0.0,
        low=0.0,
        reason="no friction stated; a real one never has none",
    ),
    Parameter(
        "static_friction", "ratio", "friction at rest over sliding friction", default=1.0, low=1.0, high=3.0
    ),
    DAMPING,
    Parameter("wheel_inertia", "inertia", "of each wheel about its axle", default=0.0, low=0.0, high=1.0),
    Parameter(
        "turning_inertia",
        "inertia",
        "of the robot about its centre; none: an even plate of its size",
        low=0.0,
        open_low=True,
        high=200.0,
    ),
    Parameter(
        "scrub",
        "share",
        "tank: sideways drag in a turn, as a share of grip x weight x wheelbase / 2",
        default=0.5,
        default_spread=0.3,
        low=0.0,
        high=1.0,
        reason="common practice, no source",
    ),
    Parameter(
        "turn",
        "block",
        "control of a turn in place; none: the straight line's, scaled by half the track",
        block=(
            Parameter("p", "turn_proportional_gain", "effort per radian of error", low=0.0),
            Parameter("d", "turn_derivative_gain", "effort taken away per rad/s", default=0.0, low=0.0),
            Parameter(
                "window",
                "angle",
                "inside means no further than this from the heading",
                low=0.0,
                open_low=True,
            ),
            Parameter(
                "slower_than",
                "angular_speed",
                "inside also means no faster than this",
                low=0.0,
                open_low=True,
            ),
        ),
    ),
)


@dataclass(frozen=True)
class WheelGroup:
    """Wheels that turn alike: how many motors, their shaft's angle per unit of travel, their share of the effort."""

    motors: int
    per_travel: float
    share: float
    most: float  # greatest force or torque on the robot that its grip allows
    inertia: float = 0.0  # of its wheels, as felt along the coordinate


@dataclass(frozen=True)
class Leg:
    """A drivetrain on one straight line or in one turn, reduced to its coordinate."""

    reduced: Reduced
    groups: tuple[WheelGroup, ...]


ENDLESS = 1e6  # m, rad: a leg has no stops of its own


def leg(
    p: Mapping[str, Any], mass: float, friction: float, extra: float, groups: tuple[WheelGroup, ...]
) -> Leg:
    """Assemble a leg: rolling friction, what comes on top of it (scrub), each group with its wheels' inertia.

    Wheels stand between the gears and the floor: grip bounds what the floor gives, after their inertia.
    """
    motors = sum(group.motors for group in groups)
    each = max(4, motors) / motors * float(p["wheel_inertia"])
    turning = tuple(replace(group, inertia=group.motors * each * group.per_travel**2) for group in groups)
    reduced = Reduced(
        (Segment(-ENDLESS, ENDLESS, mass, 0.0),),
        1.0,
        friction + extra,
        friction * float(p["static_friction"]) + extra,
        float(p["damping"]),
    )
    return Leg(reduced, turning)


def turning_inertia(p: Mapping[str, Any], mass: float, size: tuple[float, float]) -> float:
    """Inertia about the centre [kg m²]: as given, or that of an even plate of the robot's size."""
    if p["turning_inertia"] is not None:
        return float(p["turning_inertia"])
    return mass * (size[0] ** 2 + size[1] ** 2) / 12.0


LENGTH, WIDTH = 0.3, 0.3  # m: drawn where a robot states no wheelbase and no track
WHEEL_WIDTH = 0.4  # of its diameter, for the drawing alone


def outline(p: Mapping[str, Any], q: float, rollers: bool = False) -> Outline:
    """Plan view; the origin is where the robot's centre stood at coordinate 0, x its heading.

    `rollers`: the lines of contact of a mecanum wheel, at 45 degrees.
    """
    half_base, half_track = float(p["wheelbase"] or LENGTH) / 2.0, float(p["track"] or WIDTH) / 2.0
    radius = float(p["wheel_diameter"]) / 2.0
    wide = WHEEL_WIDTH * radius

    def box(x: float, y: float, dx: float, dy: float) -> tuple[Point, ...]:
        return ((x - dx, y - dy), (x + dx, y - dy), (x + dx, y + dy), (x - dx, y + dy))

    shapes = [Line(box(q, 0.0, half_base + radius, max(half_track - wide, wide)), "frame", True)]
    for x in (q - half_base, q + half_base):
        for y in (-half_track, half_track):
            shapes.append(Line(box(x, y, radius, wide), "moving", True))
            if rollers:
                lean = wide if (x - q) * y < 0.0 else -wide
                shapes.append(Line(((x - lean, y - wide), (x + lean, y + wide)), "moving"))
    shapes.append(Line(((q, 0.0), (q + half_base, 0.0)), "load"))
    return tuple(shapes)
