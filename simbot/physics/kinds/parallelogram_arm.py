"""Parallelogram arm (virtual four-bar): what it carries stays level while the arm swings.

Geometry: the coordinate is the arm's angle from the horizontal, up positive [rad]. Two equal links, or one link
and a chain, keep the carrier at one angle, so that carrier and payload move along a circle of the links' length
without turning: where on the carrier they sit changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import cos, sin
from typing import Any

import numpy as np

from simbot.physics.kinds.arm_keys import ARM_MASS, arm_faults, arm_mass
from simbot.physics.kinds.common import DAMPING, DRIVEN, FRICTION, STANCE, STATIC, TRAVEL, gravity_of, tilt_of
from simbot.physics.outline import Disc, Line, Outline
from simbot.physics.tables import Reduced, tabulate
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

NAME = "parallelogram_arm"
COORDINATE = "angle"
SUMMARY = "parallelogram arm whose load stays level"
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    Parameter("length", "length", "of its links, from pivot to pivot", required=True, low=0.005, high=5.0),
    *ARM_MASS,
    Parameter("carried_mass", "mass", "of the carrier, which stays level", default=0.0, low=0.0, high=200.0),
    FRICTION,
    STATIC,
    DAMPING,
    *STANCE,
)
EXAMPLE = """\
motors: 1 x NAME
gearing: [{ratio: 2:1}]   # efficiency not stated: 25 to 50 % in all
travel: [-30 deg, 60 deg]
length: 300 mm
moving_mass: 0.5 kg
centre: 150 mm
"""
SKETCH = r"""
                           __--o---+---------+
               length __--     |   | carrier |  carried_mass and payload:
                 __--       __-o---+---------+  level at every angle
 counterweight  o      __--
        (##)--__|  __--   moving_mass at centre: both links together
                o-  ) coordinate
  - - - - - - - O - - - - - - - -  level
              motor
"""


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables with `payload` [kg]: M = J + m l² (constant), Q = g (sum of m r of the links + m l) cos(q)."""
    own = arm_mass(p)
    reach, carried = float(p["length"]), float(p["carried_mass"]) + payload
    inertia = own.inertia + carried * reach**2
    moment, tilt = gravity_of(p) * (own.moment + carried * reach), tilt_of(p)
    low, high = (float(end) for end in p["travel"])
    segment = tabulate(
        low,
        high,
        lambda q: (np.full_like(q, inertia), np.zeros_like(q), np.zeros_like(q)),
        lambda q: (moment * np.cos(q + tilt), -moment * np.sin(q + tilt)),
    )
    friction = float(p["friction"])
    return Reduced((segment,), 1.0, friction, friction * float(p["static_friction"]), float(p["damping"]))


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[tuple[str | int, ...], Fault]]:
    return arm_faults(p)


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view, origin at the motor's pivot: both links, the carrier between their ends, a counterweight."""
    reach, tilt = float(p["length"]), tilt_of(p)
    gap, angle = 0.2 * reach, q + tilt
    up = (-gap * sin(tilt), gap * cos(tilt))
    end = (reach * cos(angle), reach * sin(angle))
    shapes: Outline = (
        Line(((0.0, 0.0), up), "frame"),
        Line(((0.0, 0.0), end), "moving"),
        Line((up, (end[0] + up[0], end[1] + up[1])), "moving"),
        Line((end, (end[0] + up[0], end[1] + up[1])), "load"),
    )
    if p["counterweight"] is not None:
        back = float(p["counterweight"]["at"])
        shapes += (Disc((-back * cos(angle), -back * sin(angle)), 0.1 * reach, "moving"),)
    return shapes
