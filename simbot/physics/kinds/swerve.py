"""Swerve drivetrain: four wheels, each steered by itself; moves in any direction. See `drive` for the rest.

The wheels roll along the way, so that speed is the same in every direction and grip is mu times the weight
on the driven wheels; in a turn each stands across its lever, v_i = w x r_i. Before a line or a turn the wheels
are steered, each by 90 degrees at the most since it rolls both ways; nothing moves meanwhile.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import atan2, hypot, pi, remainder
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.physics.kinds import drive
from simbot.physics.kinds.drive import (
    CENTRE_AHEAD,
    COORDINATE,
    DRIVEN_WHEELS,
    Leg,
    WheelGroup,
    grip_along,
    grip_turning,
    impossible,
    leg,
    plan_view,
    shaft_per_travel,
    turning_inertia,
)
from simbot.physics.outline import Outline
from simbot.physics.route import Angles
from simbot.scenario.parameters import Parameter

Array = npt.NDArray[np.float64]

NAME = "swerve"
HOLONOMIC = True
SUMMARY = "swerve drivetrain: four wheels, each steered by itself"
PARAMETERS = (
    *drive.PARAMETERS,
    DRIVEN_WHEELS,
    CENTRE_AHEAD,
    Parameter(
        "steering_speed",
        "servo_speed",
        "at which every wheel is steered, as in `0.15 s/60deg` or `400 deg/s`",
        required=True,
        low=0.0,
        open_low=True,
    ),
)
__all__ = [
    "COORDINATE",
    "NAME",
    "PARAMETERS",
    "SUMMARY",
    "grip_along",
    "impossible",
    "outline",
    "rolls",
    "shaft_per_travel",
    "straight",
    "turn",
]

EXAMPLE = """\
motors: 4 x NAME
wheel_diameter: 75 mm
grip: 1.0
steering_speed: 0.12 s/60deg
"""
SKETCH = """
seen from above        <---- wheelbase ---->
                      /=/                 /=/  ^     /=/ wheel, steered at
                                               |     steering_speed
                                o------>     track   driven: all, front
                                 heading       |     or rear wheels
                      /=/                 /=/  v
"""


def straight(p: Mapping[str, Any], mass: float, motors: int, direction: float) -> Leg:
    """A straight line in a direction from the heading [rad]; the same in every direction."""
    most, back = grip_along(p, mass, direction)
    groups = (WheelGroup(motors, 2.0 / p["wheel_diameter"], 1.0, most, most_back=back),)
    return leg(p, mass, float(p["friction"]), 0.0, groups)


def turn(p: Mapping[str, Any], mass: float, motors: int, size: tuple[float, float]) -> Leg:
    """A turn in place: every wheel's lever is its distance from the centre."""
    lever = hypot(p["wheelbase"], p["track"]) / 2.0
    grip = grip_turning(p, mass) * lever
    groups = (WheelGroup(motors, 2.0 * lever / p["wheel_diameter"], 1.0, grip),)
    return leg(p, turning_inertia(p, mass, size), float(p["friction"]) * lever, 0.0, groups)


def rolls(p: Mapping[str, Any], direction: Array, turns: Array) -> Array:
    """How far each wheel rolls per length of a way [rad/m], shape (4, n): front left, front right, rear right, left."""
    ahead, aside = _at_wheels(p, direction, turns)
    return np.hypot(ahead, aside) / (float(p["wheel_diameter"]) / 2.0)


def rolls_at(p: Mapping[str, Any], direction: Array, turns: Array) -> Array:
    """How the wheels stand along a way [rad], shape (4, n)."""
    ahead, aside = _at_wheels(p, direction, turns)
    return np.arctan2(aside, ahead)


def _at_wheels(p: Mapping[str, Any], direction: Array, turns: Array) -> tuple[Array, Array]:
    """Velocity of each wheel's centre over that of the robot: t + turns x r_i, ahead and aside."""
    half, side = float(p["wheelbase"] or 0.0) / 2.0, float(p["track"] or 0.0) / 2.0
    x, y = np.array((half, half, -half, -half))[:, None], np.array((side, -side, -side, side))[:, None]
    return np.cos(direction) - turns * y, np.sin(direction) + turns * x


def steered(p: Mapping[str, Any], direction: float | None) -> Angles:
    """How the wheels stand on a line in a direction from the heading, or (None) in a turn in place [rad]."""
    if direction is not None:
        return (direction,) * 4
    across = atan2(p["wheelbase"], -p["track"])  # across the lever (wheelbase, track)/2
    return (across, pi - across, across, pi - across)


def steering_time(p: Mapping[str, Any], before: Angles, after: Angles) -> float:
    """Time to steer all wheels at once [s], each the shorter way to the same line (it rolls both ways)."""
    angle = max(abs(remainder(new - old, pi)) for old, new in zip(before, after, strict=True))
    return angle / float(p["steering_speed"])


def steered_for(p: Mapping[str, Any], before: Angles, after: Angles, time: float) -> Angles:
    """How the wheels stand after some time [s] of steering."""
    most = float(p["steering_speed"]) * time
    ways = [remainder(new - old, pi) for old, new in zip(before, after, strict=True)]
    first, second, third, fourth = (
        old + max(-most, min(way, most)) for old, way in zip(before, ways, strict=True)
    )
    return first, second, third, fourth


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Plan view, the wheels straight ahead."""
    return plan_view(p, q, (0.0, 0.0, 0.0, 0.0))
