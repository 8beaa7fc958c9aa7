"""X drivetrain: four omni wheels at 45 degrees across the corners; moves in any direction. See `drive`.

In a direction phi from the heading a wheel rolls (cos(phi) +- sin(phi))/sqrt(2) of the way, so that its robot
is sqrt(2) times as fast as its wheels roll straight ahead and as fast diagonally. Grip acts along each wheel's
plane and allows mu W/(sqrt(2) (|cos phi| + |sin phi|)), as with mecanum wheels, with loads as told there.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import pi, sqrt
from typing import Any

from simbot.physics.kinds.drive import (
    COORDINATE,
    Leg,
    impossible,
    leg,
    plan_view,
    turning_inertia,
)
from simbot.physics.kinds.mecanum import ON_ROLLERS, Array, in_pairs, omni, turning_groups
from simbot.physics.outline import Outline
from simbot.physics.tables import GRAVITY

NAME = "x_drive"
HOLONOMIC = True
PARAMETERS = ON_ROLLERS
SUMMARY = "X drivetrain: four omni wheels at 45 degrees"
__all__ = [
    "COORDINATE",
    "NAME",
    "PARAMETERS",
    "SUMMARY",
    "impossible",
    "outline",
    "rolls",
    "shaft_per_travel",
    "straight",
    "turn",
]

EXAMPLE = """\
motors: 4 x NAME
wheel_diameter: 96 mm
grip: 0.8
"""
SKETCH = """
seen from above        <---- wheelbase ---->
                      //                   \\\\  ^     //  omni wheel
                                               |
                                o------>     track   every wheel rolls at
                                 heading       |     45 deg to the heading
                      \\\\                   //  v
"""


def shaft_per_travel(p: Mapping[str, Any]) -> float:
    """Turns of a wheel per way straight ahead [rad/m]: it rolls 1/sqrt(2) of it."""
    return sqrt(2.0) / float(p["wheel_diameter"])


def straight(p: Mapping[str, Any], mass: float, motors: int, direction: float) -> Leg:
    """A straight line in a direction from the heading [rad]."""
    return in_pairs(p, mass, motors, direction, sqrt(2.0) * p["wheel_diameter"] / 2.0)


def turn(p: Mapping[str, Any], mass: float, motors: int, size: tuple[float, float]) -> Leg:
    """A turn in place: every wheel pushes at (wheelbase + track)/(2 sqrt(2)) from the centre.

    Friction sits at the wheels, so it does the same work per angle of a wheel as on a line: straight ahead a wheel
    rolls 1/sqrt(2) of the way, in a turn the lever times the angle, and F becomes sqrt(2) lever F.
    """
    lever = (p["wheelbase"] + p["track"]) / 2.0 / sqrt(2.0)
    grip = p["grip"] * mass * GRAVITY * lever
    groups = turning_groups(p, motors, lever / (p["wheel_diameter"] / 2.0), grip)
    return leg(p, turning_inertia(p, mass, size), float(p["friction"]) * sqrt(2.0) * lever, 0.0, groups)


def rolls(p: Mapping[str, Any], direction: Array, turns: Array) -> Array:
    """As of mecanum: each wheel rolls 1/sqrt(2) of that."""
    lever = ((p["wheelbase"] or 0.0) + (p["track"] or 0.0)) / 2.0
    return omni(direction, lever * turns) / (sqrt(2.0) * float(p["wheel_diameter"]) / 2.0)


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Plan view."""
    return plan_view(p, q, (-pi / 4.0, pi / 4.0, -pi / 4.0, pi / 4.0))
