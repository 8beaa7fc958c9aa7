"""Mecanum drivetrain: moves in any direction at a fixed heading. See `drive` for geometry and keys.

Rollers at 45 degrees; all weight evenly on the four wheels. In a direction phi from the heading, wheels turn
with cos(phi) +- sin(phi) over their radius, and the grip along the roller axes allows
mu W/(sqrt(2) (|cos phi| + |sin phi|)): 0.7071 of mu W straight ahead, 0.5 diagonally.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, sin, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.physics.kinds.drive import (
    COORDINATE,
    PARAMETERS,
    Leg,
    WheelGroup,
    impossible,
    leg,
    plan_view,
    turning_inertia,
)
from simbot.physics.outline import Outline
from simbot.physics.tables import GRAVITY

Array = npt.NDArray[np.float64]

NAME = "mecanum"
HOLONOMIC = True
SUMMARY = "mecanum drivetrain"
EXAMPLE = """\
motors: 4 x NAME
wheel_diameter: 96 mm
grip: 0.8
"""
SKETCH = r"""
       front ^  heading
     [/]------[/]  ---       wheels of `wheel_diameter`, `wheel_inertia`
      |        |    |        `grip`: wheel on floor
      |   ^ q  |    | `wheelbase`
      |   |    |    |        q: distance on the line; in a turn: heading
     [/]------[/]  ---       `turning_inertia`: about its centre
      |<`track`>|            `motors` through `gearing`; `friction`
"""
__all__ = [
    "COORDINATE",
    "NAME",
    "PARAMETERS",
    "SKETCH",
    "SUMMARY",
    "impossible",
    "outline",
    "rolls",
    "straight",
    "turn",
]


def straight(p: Mapping[str, Any], mass: float, motors: int, direction: float) -> Leg:
    """A straight line in a direction from the heading [rad]."""
    return in_pairs(p, mass, motors, direction, p["wheel_diameter"] / 2.0)


def in_pairs(p: Mapping[str, Any], mass: float, motors: int, direction: float, radius: float) -> Leg:
    """A straight line of wheels that push along two axes at 45 degrees, each pair of them alike.

    Parameters
    ----------
    direction : float
        From the heading [rad].
    radius : float
        A wheel's travel along the floor per radian, over cos(direction) +- sin(direction) [m].
    """
    first, second = abs(cos(direction) + sin(direction)), abs(cos(direction) - sin(direction))
    big, small = max(first, second), min(first, second)
    grip = p["grip"] * mass * GRAVITY / sqrt(2.0) / 2.0
    if big - small < 1e-9:
        return leg(
            p, mass, float(p["friction"]), 0.0, (WheelGroup(motors, big / radius, 1.0, 2.0 * grip * big),)
        )
    groups = [WheelGroup(motors - motors // 2, big / radius, 1.0, grip * big)]
    if small > 1e-6 and motors > 1:
        groups.append(WheelGroup(motors // 2, small / radius, small / big, grip * small * small / big))
    return leg(p, mass, float(p["friction"]), 0.0, tuple(groups), motors)


def turning_lever(p: Mapping[str, Any]) -> float:
    """How far a wheel's force acts from the centre in a turn in place [m]."""
    return float(p["wheelbase"] + p["track"]) / 2.0


def turn(p: Mapping[str, Any], mass: float, motors: int, size: tuple[float, float]) -> Leg:
    """A turn in place: every wheel's lever is half the sum of wheelbase and track."""
    lever = turning_lever(p)
    grip = p["grip"] * mass * GRAVITY / sqrt(2.0) * lever
    groups = (WheelGroup(motors, lever / (p["wheel_diameter"] / 2.0), 1.0, grip),)
    return leg(p, turning_inertia(p, mass, size), float(p["friction"]) * lever, 0.0, groups)


def rolls(p: Mapping[str, Any], direction: Array, turns: Array) -> Array:
    """How far each wheel rolls per length of a way [rad/m], shape (4, n): front left, front right, rear right, left.

    Parameters
    ----------
    direction, turns : ndarray, shape (n,)
        Of travel from the heading [rad], and the heading's change per length [rad/m].
    """
    lever = ((p["wheelbase"] or 0.0) + (p["track"] or 0.0)) / 2.0
    return omni(direction, lever * turns) / (float(p["wheel_diameter"]) / 2.0)


def omni(direction: Array, turned: Array) -> Array:
    """Ways of four wheels that push along two axes at 45 degrees: ahead, aside, and turned with a lever."""
    ahead, aside = np.cos(direction), np.sin(direction)
    first, second = ahead - aside, ahead + aside
    return np.array((first - turned, second + turned, first + turned, second - turned))


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Plan view, with the lean of the rollers that touch the floor."""
    return plan_view(p, q, (0.0, 0.0, 0.0, 0.0), rollers=True)
