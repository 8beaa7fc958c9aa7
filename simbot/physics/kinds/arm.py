"""Arm on a pivot, lifted against gravity.

Geometry: the coordinate is the arm's angle from the horizontal, up positive [rad]; gravity acts at
`centre` from the pivot, or on each of `parts`; a counterweight sits on the other side.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from simbot.physics.kinds.arm_keys import ARM_MASS, arm_faults, arm_mass
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
from simbot.physics.outline import Disc, Line, Outline, Point
from simbot.physics.tables import Reduced, tabulate
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

NAME = "arm"
COORDINATE = "angle"
SUMMARY = "arm on a pivot under gravity"
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    *ARM_MASS,
    Parameter(
        "length", "length", "from the pivot to what it holds; none: the mass centre", low=0.0, high=5.0
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

EXAMPLE = """\
motors: 1 x NAME
gearing: [{ratio: 2:1}]   # efficiency not stated: 25 to 50 % in all
travel: [-30 deg, 90 deg]
moving_mass: 0.6 kg
centre: 180 mm
"""
SKETCH = r"""
                                  ___---(load)   length: to what it holds
                           ___--- x
                    ___---        centre: moving_mass, or a list of parts
             ___--- ) coordinate
     (##)---O - - - - - - - - - - - - - - - -  level
    counter-  pivot, motor
    weight, at
"""


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of an arm with `payload` [kg] at its end: M = J + m l² (constant), Q = g (sum of m r) cos(q + tilt).

    What lies on it counts as a point that stands still while the arm moves.
    """
    own = arm_mass(p)
    reach = own.centre if p["length"] is None else float(p["length"])
    on_it, out = p.get("extension"), float(p.get("extended", 0.0))
    reach += out
    inertia = own.inertia + payload * reach**2
    moment = own.moment + payload * reach
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


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[tuple[str | int, ...], Fault]]:
    return arm_faults(p)


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view, origin at the pivot: the arm to what it holds, its mass centre, a counterweight."""
    centre = arm_mass(p).centre
    reach = centre if p["length"] is None else float(p["length"])
    across = complex(np.exp(1j * (q + tilt_of(p))))

    def point(at: float) -> Point:
        return ((at * across).real, (at * across).imag)

    size = 0.05 * max(abs(reach), abs(centre), 0.02)
    shapes: Outline = (
        Disc((0.0, 0.0), size, "frame"),
        Line((point(0.0), point(max(reach, centre))), "moving"),
        Disc(point(centre), size, "moving"),
        Disc(point(reach), 2.0 * size, "load"),
    )
    if p["counterweight"] is not None:
        back = -float(p["counterweight"]["at"])
        shapes += (Line((point(0.0), point(back)), "moving"), Disc(point(back), 2.0 * size, "moving"))
    return shapes
