"""Turret: turns about the robot's upright axis between two stops that may lie more than a turn apart.

Geometry: the coordinate is its angle, anticlockwise seen from above [rad], 0 straight ahead. Level, gravity does
nothing to it; with the robot's front lifted by `tilt` a mass off the axis wants to turn to the back.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, sin
from typing import Any

import numpy as np

from simbot.physics.kinds.common import DAMPING, DRIVEN, FRICTION, STATIC, TRAVEL, gravity_of, tilt_of
from simbot.physics.outline import Disc, Line, Outline
from simbot.physics.tables import Reduced, Segment, tabulate
from simbot.scenario.parameters import Parameter

NAME = "turret"
COORDINATE = "angle"
SUMMARY = "turret, its travel limited by its wires"
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    Parameter(
        "inertia",
        "inertia",
        "of all that turns, about the axis",
        required=True,
        low=0.0,
        open_low=True,
        high=500.0,
    ),
    Parameter(
        "off_axis_mass",
        "mass",
        "part of it that is not balanced about the axis",
        default=0.0,
        low=0.0,
        high=200.0,
    ),
    Parameter(
        "off_axis", "length", "from the axis to the centre of that mass", default=0.0, low=0.0, high=5.0
    ),
    Parameter(
        "off_axis_angle", "angle", "from straight ahead to that mass when the turret stands at 0", default=0.0
    ),
    Parameter(
        "length",
        "length",
        "from the axis to what it holds; none: on the axis",
        default=0.0,
        low=0.0,
        high=5.0,
    ),
    Parameter(
        "wraps",
        "flag",
        "whole turns are added to a target so that it is the nearest inside the travel",
        default=True,
    ),
    FRICTION,
    STATIC,
    DAMPING,
    Parameter(
        "faces",
        "choice",
        "where its angle 0 points; matters on a robot that stands tilted",
        default="forward",
        choices=("forward", "backward"),
    ),
)
EXAMPLE = """\
motors: 1 x NAME
gearing: [{ratio: 2:1}]   # efficiency not stated: 25 to 50 % in all
travel: [-180 deg, 180 deg]
inertia: 0.05 kg*m^2
"""
SKETCH = """\
                 front, 0                          front lifted by tilt:
                    |     . off_axis_mass             ___---
                    |    /                      ___--- turret
        travel      |   /  off_axis       ___---______________ level
     high  ....     |  /               Q = -m g off_axis sin(tilt)
          .    .    | /                      x sin(angle + off_axis_angle)
         (      )   O---------- right  (seen from above: anticlockwise is
          .    .   axis                 positive; length: axis to payload)
     low   ....
"""


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a turret with `payload` [kg] at `length`, in its zero direction.

    Height of a mass m at radius e: e sin(tilt) cos(angle), hence Q = -m g e sin(tilt) sin(angle): lowest at the
    back. M is `inertia` and the payload's.
    """
    low, high = (float(end) for end in p["travel"])
    reach, ahead = float(p["length"]), float(p["off_axis_angle"])
    moment = gravity_of(p) * float(p["off_axis_mass"]) * float(p["off_axis"]) * sin(tilt_of(p))
    held = gravity_of(p) * payload * reach * sin(tilt_of(p))
    inertia = float(p["inertia"]) + payload * reach**2
    if moment == 0.0 and held == 0.0:
        segment = Segment(low, high, inertia, 0.0)
    else:
        segment = tabulate(
            low,
            high,
            lambda q: (np.full_like(q, inertia), np.zeros_like(q), np.zeros_like(q)),
            lambda q: (
                -moment * np.sin(q + ahead) - held * np.sin(q),
                -moment * np.cos(q + ahead) - held * np.cos(q),
            ),
        )
    friction = float(p["friction"])
    return Reduced((segment,), 1.0, friction, friction * float(p["static_friction"]), float(p["damping"]))


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Plan view, x ahead and y to the left, origin on the axis."""
    reach = float(p["length"]) or float(p["off_axis"]) or 0.15
    arm = Line(((0.0, 0.0), (reach * cos(q), reach * sin(q))), "moving")
    shapes: Outline = (Disc((0.0, 0.0), 0.4 * reach, "frame"), arm)
    if float(p["off_axis_mass"]) > 0.0 and float(p["off_axis"]) > 0.0:
        at, angle = float(p["off_axis"]), q + float(p["off_axis_angle"])
        shapes += (Disc((at * cos(angle), at * sin(angle)), 0.1 * reach, "load"),)
    return shapes
