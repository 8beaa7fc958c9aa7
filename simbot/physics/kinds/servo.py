"""Hobby servo: claw, wrist or gate, with its own loop inside.

Geometry: the coordinate is the horn's angle [rad].
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from simbot.physics.kinds.common import TRAVEL
from simbot.physics.kinds.servo_keys import SERVO_LOOP, SERVO_SHEET
from simbot.physics.tables import GRAVITY, Reduced, Segment, tabulate
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
    Parameter("on", "word", "the mechanism that carries what this one holds"),
    Parameter("named", "names", "words for positions"),
    Parameter("counts", "counts_scale", "counts per unit of travel, so that targets can be counts"),
)


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a servo: what turns with it, and its weight where `load_angle` is given (payload at `load_at`)."""
    mass, reach = float(p["load_mass"]) + payload, float(p["load_at"])
    inertia = float(p["load_inertia"]) + mass * reach**2
    low, high = (float(end) for end in p["travel"])
    if p["load_angle"] is None or mass * reach == 0.0:
        return Reduced((Segment(low, high, inertia, 0.0),), 1.0, 0.0, 0.0)
    moment, zero = GRAVITY * mass * reach, float(p["load_angle"])
    segment = tabulate(
        low,
        high,
        lambda q: (np.full_like(q, inertia), np.zeros_like(q), np.zeros_like(q)),
        lambda q: (moment * np.cos(q + zero), -moment * np.sin(q + zero)),
    )
    return Reduced((segment,), 1.0, 0.0, 0.0)
