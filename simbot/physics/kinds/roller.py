"""Roller intake (or flywheel): no travel to speak of, it turns until told otherwise.

Geometry: the coordinate is the roller's angle [rad]; `spin` sets its effort.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, sin
from typing import Any

from simbot.physics.kinds.common import DAMPING, DRIVEN, OF_A_TRAVEL, STATIC
from simbot.physics.outline import Disc, Line, Outline
from simbot.physics.tables import Reduced, Segment
from simbot.scenario.parameters import Parameter

NAME = "roller"
COORDINATE = "angle"
SUMMARY = "roller intake"
PARAMETERS = (
    *(each for each in DRIVEN if each.key not in ("holding_brake", *OF_A_TRAVEL)),
    Parameter(
        "inertia",
        "inertia",
        "of the rollers about their axle, without the motor's rotor",
        required=True,
        low=0.0,
        high=10.0,
    ),
    Parameter("friction", "torque", "sliding friction at the axle", default=0.0, low=0.0),
    STATIC,
    DAMPING,
)
SKETCH = r"""
            .---.
          /       \     q: angle turned, without end; `spin` sets the effort
         |   (O)   |    `inertia`: of the rollers about their axle
          \       /     `friction`, `damping`: at the axle
            '---'       `motors` through `gearing`
"""

DRAWN_RADIUS = 0.025  # m: no key states a roller's size
ANY_ANGLE = 1e9  # rad: a roller has no stops


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a roller: its inertia, and no load (an element inside is not felt)."""
    friction = float(p["friction"])
    segment = Segment(-ANY_ANGLE, ANY_ANGLE, float(p["inertia"]), 0.0)
    return Reduced((segment,), 1.0, friction, friction * float(p["static_friction"]), float(p["damping"]))


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """View along the axle, which is the origin; its size is not stated and drawn as 25 mm."""
    edge = (DRAWN_RADIUS * cos(q), DRAWN_RADIUS * sin(q))
    return (
        Disc((0.0, 0.0), DRAWN_RADIUS, "moving"),
        Disc((0.0, 0.0), 0.2 * DRAWN_RADIUS, "frame"),
        Line(((0.0, 0.0), edge), "moving"),
    )
