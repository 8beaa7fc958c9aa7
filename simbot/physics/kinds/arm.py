"""Arm on a pivot, lifted against gravity.

Geometry: the coordinate is the arm's angle from the horizontal, up positive [rad]; gravity acts at
`centre` from the pivot.
"""

from __future__ import annotations

from simbot.physics.kinds.common import DAMPING, DRIVEN, FRICTION, STATIC, TRAVEL
from simbot.scenario.parameters import Parameter

NAME = "arm"
COORDINATE = "angle"
SUMMARY = "arm on a pivot under gravity"
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    Parameter("moving_mass", "mass", "of all that turns", required=True, low=0.0, open_low=True, high=200.0),
    Parameter("centre", "length", "from the pivot to the mass centre", required=True, low=0.0, high=5.0),
    Parameter("length", "length", "from the pivot to what it holds; none: the mass centre", low=0.0, high=5.0),
    Parameter("inertia", "inertia", "about the mass centre; none: a rod whose centre is `centre` from the pivot",
              low=0.0, high=500.0),
    FRICTION,
    STATIC,
    DAMPING,
)
