"""Winch: winds in a cord against a constant load.

Geometry: the coordinate is the cord wound in [m]; the load pulls it out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simbot.physics.kinds.common import CORD_RATING, DAMPING, DRIVEN, FRICTION, STATIC, TRAVEL
from simbot.physics.kinds.drum import DRUM, LAYERED, Phase, width_faults, wound
from simbot.physics.kinds.drum import shaft_per_travel as shaft_per_travel
from simbot.physics.outline import Disc, Line, Outline
from simbot.physics.tables import GRAVITY, Reduced
from simbot.scenario.parameters import Parameter

NAME = "winch"
COORDINATE = "length"
SUMMARY = "winch with a constant load"
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    CORD_RATING,
    DRUM,
    *LAYERED,
    Parameter(
        "load", "force", "pull on the cord that is there all the time", default=0.0, low=0.0, high=20000.0
    ),
    Parameter(
        "load_mass",
        "mass",
        "mass that hangs on the cord (its weight is added to `load`)",
        default=0.0,
        low=0.0,
        high=500.0,
    ),
    Parameter(
        "moving_mass",
        "mass",
        "mass that moves with the cord and does not hang on it",
        default=0.0,
        low=0.0,
        high=500.0,
    ),
    FRICTION,
    STATIC,
    DAMPING,
)

EXAMPLE = """\
motors: 1 x NAME
gearing: [{ratio: 2:1}]   # efficiency not stated: 25 to 50 % in all
travel: [0 m, 0.5 m]
drum_diameter: 30 mm
"""
SKETCH = r"""
         (  O  )   `drum_diameter`, turned by `motors` through `gearing`
               |
               |   ---  high end of `travel`: wound in
               |    ^
               |    |   q: cord wound in
             [ m ]  v   `load_mass` hangs on the cord, `load` pulls besides;
               |   ---  low end of `travel`: paid out
               V        `moving_mass` moves along and does not hang
            `load`      `friction`: sliding, at the cord
"""
CLEAR = 0.1  # of the travel between drum and load when all is wound in, for the drawing alone

impossible = width_faults


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a winch; a `payload` [kg] hangs on the cord."""
    hanging = float(p["load_mass"]) + payload
    low, high = (float(end) for end in p["travel"])
    pull = float(p["load"]) + GRAVITY * hanging
    lifted = Phase.constant(high, hanging + float(p["moving_mass"]), pull)
    friction = float(p["friction"])
    return Reduced(
        wound(p, low, [lifted]),
        2.0 / p["drum_diameter"],
        friction,
        friction * float(p["static_friction"]),
        float(p["damping"]),
        0.0,  # a cord pulls; it does not push
    )


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view; the origin is the drum's axle, the load hangs below (or, lifting the robot, it is the robot)."""
    low, high = (float(end) for end in p["travel"])
    drum = float(p["drum_diameter"]) / 2.0
    size = 0.04 * (high - low) + 0.5 * drum
    hangs = -(high - q) - CLEAR * (high - low) - drum
    corners = (
        (drum - size, hangs),
        (drum + size, hangs),
        (drum + size, hangs - 2 * size),
        (drum - size, hangs - 2 * size),
    )
    return (
        Disc((0.0, 0.0), drum, "frame"),
        Line(((drum, 0.0), (drum, hangs)), "cord"),
        Line(corners, "load", True),
    )
