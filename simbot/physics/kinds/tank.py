"""Tank drivetrain: drives along its heading, turns in place. See `drive` for geometry and keys.

All wheels driven; in a turn they scrub sideways with the moment c mu W wheelbase/2.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simbot.physics.kinds.drive import (
    COORDINATE,
    PARAMETERS,
    Leg,
    WheelGroup,
    leg,
    outline,
    turning_inertia,
)
from simbot.physics.tables import GRAVITY

NAME = "tank"
SUMMARY = "tank drivetrain"
SKETCH = r"""
       front ^  heading
     [|]------[|]  ---       wheels of `wheel_diameter`, `wheel_inertia`
      |        |    |        `grip`: wheel on floor
      |   ^ q  |    | `wheelbase`
      |   |    |    |        q: distance on the line; in a turn: heading
     [|]------[|]  ---       `turning_inertia`: about its centre
      |<`track`>|            `motors` through `gearing`; `scrub`
"""
__all__ = ["COORDINATE", "NAME", "PARAMETERS", "SKETCH", "SUMMARY", "outline", "straight", "turn"]


def straight(p: Mapping[str, Any], mass: float, motors: int, direction: float) -> Leg:
    """A straight line along the heading; `direction` (0 or pi) changes nothing."""
    groups = (WheelGroup(motors, 2.0 / p["wheel_diameter"], 1.0, p["grip"] * mass * GRAVITY),)
    return leg(p, mass, float(p["friction"]), 0.0, groups)


def turn(p: Mapping[str, Any], mass: float, motors: int, size: tuple[float, float]) -> Leg:
    """A turn in place about the centre."""
    lever = p["track"] / 2.0
    grip = p["grip"] * mass * GRAVITY
    groups = (WheelGroup(motors, 2.0 * lever / p["wheel_diameter"], 1.0, grip * lever),)
    scrub = p["scrub"] * grip * p["wheelbase"] / 2.0
    return leg(p, turning_inertia(p, mass, size), float(p["friction"]) * lever, scrub, groups)
