"""A screw and its nut as the last stage of a chain of gears.

Raising, a nut returns tan(l)/tan(l + phi) of the work put into its screw; driven back by its load, the screw
gets tan(l - phi)/tan(l) of the nut's: zero or less locks. l is the lead angle at the mean diameter,
tan(phi) = mu/cos(flank angle).

Source: Shigley's Mechanical Engineering Design, "The mechanics of power screws" (raising and lowering torque,
collar left out; the thread's angle as 1/cos), from memory; derivable from a block on an incline.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import atan, cos, pi, radians, tan
from typing import Any

from simbot.scenario.errors import Fault
from simbot.scenario.model import GearStage
from simbot.scenario.parameters import Parameter, Quantity

SCREW = (
    Parameter(
        "pitch",
        "length",
        "from one thread to the next; its lead is `starts` times as much",
        required=True,
        low=1e-4,
        high=0.1,
    ),
    Parameter("starts", "count", "threads side by side on the screw", default=1, low=1, high=12),
    Parameter(
        "mean_diameter",
        "length",
        "of the thread, half way up its flank",
        required=True,
        low=1e-3,
        high=0.1,
    ),
    Parameter(
        "thread_friction",
        "ratio",
        "coefficient of friction between screw and nut",
        default=0.15,
        default_spread=0.05,
        low=0.0,
        high=0.8,
        reason="greased steel in bronze or plastic, 0.1 to 0.2, from memory",
    ),
    Parameter(
        "flank_angle",
        "angle",
        "of the thread's flank from square; 0 of a square thread",
        default=radians(15.0),
        low=0.0,
        high=radians(45.0),
        reason="metric trapezoidal thread, 30 degrees between its flanks (ISO 2901), from memory",
    ),
    Parameter("screw_inertia", "inertia", "of the screw about its axis", default=0.0, low=0.0, high=1.0),
)


def lead_of(p: Mapping[str, Any]) -> float:
    """Travel of the nut per turn [m]."""
    return float(p["pitch"]) * int(p["starts"])


def angles(p: Mapping[str, Any]) -> tuple[float, float]:
    """Lead angle and angle of friction [rad]."""
    lead_angle = atan(lead_of(p) / (pi * float(p["mean_diameter"])))
    return lead_angle, atan(float(p["thread_friction"]) / cos(float(p["flank_angle"])))


def screw_stages(p: Mapping[str, Any]) -> tuple[GearStage, ...]:
    """The screw's own inertia, before its thread's loss, and the thread."""
    lead_angle, friction = angles(p)
    one = Quantity(1.0)
    forward = Quantity(tan(lead_angle) / tan(lead_angle + friction))
    back = Quantity(tan(lead_angle - friction) / tan(lead_angle))
    return (
        GearStage(one, one, one, Quantity(float(p["screw_inertia"])), 0),
        GearStage(one, forward, back, Quantity(0.0), 0),
    )


def screw_faults(p: Mapping[str, Any]) -> Iterator[tuple[tuple[str, ...], Fault]]:
    """So steep a thread, with so much friction, that its nut jams."""
    worst = {key: p[key] + getattr(p[key], "spread", 0.0) for key in ("pitch", "thread_friction")}
    lead_angle, friction = angles({**p, **worst})
    if lead_angle + friction >= radians(89.0):
        yield (
            ("pitch",),
            Fault(
                "so steep a thread jams its nut, whatever the motor",
                p["pitch"].text,
                "a smaller pitch, or fewer starts",
            ),
        )
