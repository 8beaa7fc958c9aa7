"""Tank drivetrain: drives along its heading, turns in place. See `drive` for geometry and keys.

Its grip is mu times the weight on the driven wheels (see `drive.grip_along`); in a turn all of them scrub
sideways with the moment c mu W wheelbase/2.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.physics.kinds import drive
from simbot.physics.kinds.drive import (
    CENTRE_AHEAD,
    COORDINATE,
    DRIVEN_WHEELS,
    SCRUB,
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
from simbot.physics.tables import GRAVITY

Array = npt.NDArray[np.float64]

NAME = "tank"
HOLONOMIC = False
SUMMARY = "tank drivetrain"
PARAMETERS = (*drive.PARAMETERS, DRIVEN_WHEELS, CENTRE_AHEAD, SCRUB)
EXAMPLE = """\
motors: 4 x NAME
wheel_diameter: 96 mm
grip: 0.9
"""
SKETCH = r"""
       front ^  heading
     [|]------[|]  ---       wheels of `wheel_diameter`, `wheel_inertia`
      |        |    |        `grip`: wheel on floor
      |   ^ q  |    | `wheelbase`
      |   |    |    |        q: distance on the line; in a turn: heading
     [|]------[|]  ---       `turning_inertia`: about its centre
      |<`track`>|            `motors` through `gearing`; `scrub`
"""
__all__ = [
    "COORDINATE",
    "NAME",
    "PARAMETERS",
    "SKETCH",
    "SUMMARY",
    "grip_along",
    "impossible",
    "outline",
    "rolls",
    "scrub_moment",
    "shaft_per_travel",
    "straight",
    "turn",
]


def straight(p: Mapping[str, Any], mass: float, motors: int, direction: float) -> Leg:
    """A straight line along the heading; `direction` (0 or pi) changes nothing."""
    most, back = grip_along(p, mass, 0.0)
    groups = (WheelGroup(motors, 2.0 / p["wheel_diameter"], 1.0, most, most_back=back),)
    return leg(p, mass, float(p["friction"]), 0.0, groups)


def turn(p: Mapping[str, Any], mass: float, motors: int, size: tuple[float, float]) -> Leg:
    """A turn in place about the centre."""
    lever = p["track"] / 2.0
    grip = grip_turning(p, mass) * lever
    groups = (WheelGroup(motors, 2.0 * lever / p["wheel_diameter"], 1.0, grip),)
    return leg(p, turning_inertia(p, mass, size), float(p["friction"]) * lever, scrub_moment(p, mass), groups)


def scrub_moment(p: Mapping[str, Any], mass: float) -> float:
    """What its wheels' slipping sideways takes in any turn [N m]."""
    return float(p["scrub"] * p["grip"] * mass * GRAVITY * p["wheelbase"] / 2.0)


def rolls(p: Mapping[str, Any], direction: Array, turns: Array) -> Array:
    """How far each wheel rolls per length of a way [rad/m], shape (4, n): left, right, right, left.

    The outer side rolls 1 + track/2 x turns, the inner one 1 - track/2 x turns; backwards the same.
    """
    turned = float(p["track"]) / 2.0 * turns * np.sign(np.cos(direction))
    return np.array((1.0 - turned, 1.0 + turned, 1.0 + turned, 1.0 - turned)) / (
        float(p["wheel_diameter"]) / 2.0
    )


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Plan view."""
    return plan_view(p, q, (0.0, 0.0, 0.0, 0.0))
