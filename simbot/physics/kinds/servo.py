"""Hobby servo: claw, wrist or gate, with its own loop inside.

Geometry: the coordinate is the horn's angle [rad].
"""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, sin
from typing import Any

import numpy as np

from simbot.physics.kinds.common import HOLDING, STANCE, TRAVEL, gravity_of, tilt_of
from simbot.physics.kinds.servo_keys import SERVO_LOOP, SERVO_SHEET
from simbot.physics.outline import Disc, Line, Outline
from simbot.physics.springs import FORCES
from simbot.physics.tables import Reduced, Segment, tabulate
from simbot.scenario.parameters import Parameter

NAME = "servo"
COORDINATE = "angle"
SUMMARY = "hobby servo: claw, wrist, gate"
PARAMETERS = (
    *SERVO_SHEET,
    TRAVEL,
    Parameter(
        "range", "angle", "angle between the two ends of its signal, for `of range`", low=0.0, open_low=True
    ),
    *SERVO_LOOP,
    Parameter("load_mass", "mass", "mass that turns with it, at `load_at`", default=0.0, low=0.0, high=20.0),
    Parameter("load_at", "length", "distance of that mass from the axle", default=0.0, low=0.0, high=2.0),
    Parameter(
        "load_angle",
        "angle",
        "angle of that mass from the horizontal when the servo stands at 0; "
        "none: the axle stands upright and gravity does nothing",
    ),
    Parameter(
        "load_inertia", "inertia", "inertia that turns with it, besides `load_mass`", default=0.0, low=0.0
    ),
    *HOLDING,
    Parameter("named", "names", "words for positions"),
    Parameter("counts", "counts_scale", "counts per unit of travel, so that targets can be counts"),
    *FORCES,
    *STANCE,
)

EXAMPLE = """\
speed: 0.12 s/60deg
stall_torque: 15 kgf*cm
at: 6 V
travel: [0 deg, 150 deg]
"""
SKETCH = r"""
                          [m]  `load_mass`, `load_inertia`
                        /
                      /    `load_at`: from the axle
           horn     /  \
             \    /     |  q, between the ends of `travel`
      +--------(O)------+- - - -  0: `load_angle` from the horizontal
      |  servo  axle    |         (none: the axle stands upright)
      +-----------------+  `speed` and `stall_torque` at `at` volts,
            | `rail`        `count` of them on one axle
"""
HORN = 0.025  # m: length drawn where no `load_at` is given


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a servo: what turns with it, and its weight where `load_angle` is given (payload at `load_at`)."""
    mass, reach = float(p["load_mass"]) + payload, float(p["load_at"])
    inertia = float(p["load_inertia"]) + mass * reach**2
    low, high = (float(end) for end in p["travel"])
    if p["load_angle"] is None or mass * reach == 0.0:
        return Reduced((Segment(low, high, inertia, 0.0),), 1.0, 0.0, 0.0)
    moment, zero = gravity_of(p) * mass * reach, float(p["load_angle"]) + tilt_of(p)
    segment = tabulate(
        low,
        high,
        lambda q: (np.full_like(q, inertia), np.zeros_like(q), np.zeros_like(q)),
        lambda q: (moment * np.cos(q + zero), -moment * np.sin(q + zero)),
    )
    return Reduced((segment,), 1.0, 0.0, 0.0)


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """View along the axle, which is the origin; 0 is drawn level where no `load_angle` is given."""
    reach = float(p["load_at"]) or HORN
    angle = q + float(p["load_angle"] or 0.0)
    tip = (reach * cos(angle), reach * sin(angle))
    body = 0.4 * HORN
    shapes: list[Line | Disc] = [
        Line(
            ((-2.5 * body, -body), (1.5 * body, -body), (1.5 * body, body), (-2.5 * body, body)),
            "frame",
            True,
        ),
        Disc((0.0, 0.0), 0.5 * body, "frame"),
        Line(((0.0, 0.0), tip), "moving"),
    ]
    if p["load_mass"] > 0.0:
        shapes.append(Disc(tip, 0.06 * reach, "load"))
    return tuple(shapes)
