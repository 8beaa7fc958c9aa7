"""What kinds share whose load is one carriage on straight rails."""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, pi, sin
from typing import Any

from simbot.physics.kinds.common import DAMPING, FRICTION, STANCE, STATIC, TRAVEL, gravity_of, tilt_of
from simbot.physics.outline import Line, Outline, Point
from simbot.physics.tables import Reduced, Segment
from simbot.scenario.parameters import Parameter

CARRIAGE = (
    TRAVEL,
    Parameter(
        "moving_mass",
        "mass",
        "of all that moves along the rails",
        required=True,
        low=0.0,
        open_low=True,
        high=200.0,
    ),
    Parameter(
        "incline", "angle", "of the rails from the horizontal", default=pi / 2, low=-pi / 2, high=pi / 2
    ),
    FRICTION,
    STATIC,
    DAMPING,
    *STANCE,
)


def carriage(p: Mapping[str, Any], payload: float, per_travel: float) -> Reduced:
    """A carriage with `payload` [kg]: M = m, Q = m g sin(incline); per_travel in rad/m."""
    mass = float(p["moving_mass"]) + payload
    low, high = (float(end) for end in p["travel"])
    friction = float(p["friction"])
    segment = Segment(low, high, mass, mass * gravity_of(p) * sin(float(p["incline"]) + tilt_of(p)))
    return Reduced(
        (segment,), per_travel, friction, friction * float(p["static_friction"]), float(p["damping"])
    )


def along(p: Mapping[str, Any], s: float, across: float = 0.0) -> Point:
    """The point `s` along the rails and `across` to their left [m]; the origin is where the coordinate is 0."""
    angle = float(p["incline"]) + tilt_of(p)
    return (s * cos(angle) - across * sin(angle), s * sin(angle) + across * cos(angle))


def carriage_outline(p: Mapping[str, Any], q: float, width: float) -> Outline:
    """Rails over the travel and the carriage, a box of this width on them."""
    low, high = (float(end) for end in p["travel"])
    corners = ((-0.5, 0.0), (0.5, 0.0), (0.5, 1.0), (-0.5, 1.0))
    box = tuple(along(p, q + width * x, width * y) for x, y in corners)
    return (Line((along(p, low), along(p, high)), "frame"), Line(box, "moving", closed=True))
