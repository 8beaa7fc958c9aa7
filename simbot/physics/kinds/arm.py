"""Arm on a pivot, lifted against gravity.

Geometry: the coordinate is the arm's angle from the horizontal, up positive [rad]; gravity acts at
`centre` from the pivot.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, sin
from typing import Any

import numpy as np

from simbot.physics.kinds.common import (
    DAMPING,
    DRIVEN,
    FRICTION,
    STANCE,
    STATIC,
    TRAVEL,
    gravity_of,
    tilt_of,
)
from simbot.physics.outline import Disc, Line, Outline
from simbot.physics.tables import Reduced, tabulate
from simbot.scenario.parameters import Parameter

NAME = "arm"
COORDINATE = "angle"
SUMMARY = "arm on a pivot under gravity"
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    Parameter("moving_mass", "mass", "of all that turns", required=True, low=0.0, open_low=True, high=200.0),
    Parameter("centre", "length", "from the pivot to the mass centre", required=True, low=0.0, high=5.0),
    Parameter(
        "length", "length", "from the pivot to what it holds; none: the mass centre", low=0.0, high=5.0
    ),
    Parameter(
        "inertia",
        "inertia",
        "about the mass centre; none: a rod whose centre is `centre` from the pivot",
        low=0.0,
        high=500.0,
    ),
    Parameter(
        "extension",
        "block",
        "what moves out along the arm on another mechanism; not part of `moving_mass`",
        block=(
            Parameter(
                "by", "word", "the mechanism that moves it out; its travel adds to `length`", required=True
            ),
            Parameter("mass", "mass", "of all that moves out", required=True, low=0.0, high=200.0),
            Parameter(
                "centre",
                "length",
                "from the pivot to its mass centre with that mechanism at 0",
                required=True,
                low=0.0,
                high=5.0,
            ),
            Parameter(
                "share",
                "share",
                "how far its mass centre goes for the way of the tip",
                default=1.0,
                low=0.0,
                high=1.0,
            ),
        ),
    ),
    FRICTION,
    STATIC,
    DAMPING,
    *STANCE,
)

SKETCH = r"""
                               o  what it holds
                             /
                           /     `length`: pivot to what it holds
                         /
                      (G)  `moving_mass`, at `centre` from the pivot
                     /     `inertia`: about G
                   /
                 /  \  q: angle from the horizontal, up positive,
               /     |    between the ends of `travel` (90 deg: upright)
             (O)- - - - - - -  0 deg
            pivot    `motors` through `gearing`, `friction`
"""


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of an arm with `payload` [kg] at its end: M = J + m l² (constant), Q = m g l cos(q + tilt).

    What lies on it counts as a point that stands still while the arm moves.
    """
    mass, centre = float(p["moving_mass"]), float(p["centre"])
    reach = centre if p["length"] is None else float(p["length"])
    own = mass * centre**2 / 3.0 if p["inertia"] is None else float(p["inertia"])
    on_it, out = p.get("extension"), float(p.get("extended", 0.0))
    reach += out
    inertia = own + mass * centre**2 + payload * reach**2
    moment = mass * centre + payload * reach
    if on_it:
        place = float(on_it["centre"]) + float(on_it["share"]) * out
        inertia += float(on_it["mass"]) * place**2
        moment += float(on_it["mass"]) * place
    moment, tilt = moment * gravity_of(p), tilt_of(p)
    low, high = (float(end) for end in p["travel"])
    segment = tabulate(
        low,
        high,
        lambda q: (np.full_like(q, inertia), np.zeros_like(q), np.zeros_like(q)),
        lambda q: (moment * np.cos(q + tilt), -moment * np.sin(q + tilt)),
    )
    friction = float(p["friction"])
    return Reduced((segment,), 1.0, friction, friction * float(p["static_friction"]), float(p["damping"]))


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view; the origin is the pivot."""
    centre = float(p["centre"])
    reach = centre if p["length"] is None else float(p["length"])
    size = max(reach, centre, 0.02)
    tip, middle = (reach * cos(q), reach * sin(q)), (centre * cos(q), centre * sin(q))
    end = tip if reach >= centre else middle
    return (
        Line(((-0.3 * size, 0.0), (0.3 * size, 0.0)), "ground"),
        Line(((0.0, 0.0), end), "moving"),
        Disc((0.0, 0.0), 0.05 * size, "frame"),
        Disc(middle, 0.025 * size, "moving"),
        Disc(tip, 0.05 * size, "load"),
    )
