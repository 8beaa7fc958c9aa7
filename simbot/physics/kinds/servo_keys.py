"""Keys of a hobby servo: as a mechanism of its own, or as what drives a linkage in place of motors."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from math import radians
from typing import Any

from simbot.physics.kinds.common import DRIVEN
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

SERVO_SHEET = (
    Parameter(
        "speed", "servo_speed", "catalogue speed, as in 0.12 s/60deg", required=True, low=0.1, high=60.0
    ),
    Parameter("stall_torque", "torque", "catalogue stall torque", required=True, low=1e-4, high=100.0),
    Parameter(
        "at",
        "voltage",
        "volts at which the catalogue gives speed and torque",
        required=True,
        low=1.0,
        high=30.0,
    ),
    Parameter("rail", "word", "the rail it hangs on; none: straight on the battery"),
)
SERVO_LOOP = (
    Parameter(
        "window",
        "coordinate",
        "inside means no further than this from the target",
        default=radians(2.0),
        low=0.0,
        open_low=True,
        reason="common practice, no source",
    ),
    Parameter(
        "band",
        "angle",
        "full effort beyond this error",
        default=radians(5.0),
        default_spread=radians(2.5),
        low=0.0,
        open_low=True,
        reason="common practice, no source",
    ),
    Parameter(
        "dead_band",
        "angle",
        "no effort within this error",
        default=radians(1.0),
        low=0.0,
        reason="common practice, no source",
    ),
    Parameter(
        "friction",
        "share",
        "friction as a share of stall torque",
        default=0.05,
        default_spread=0.02,
        low=0.0,
        high=0.9,
        reason="common practice, no source",
    ),
    Parameter(
        "rotor_time",
        "time",
        "rotor inertia = this x stall torque / free speed",
        default=0.045,
        default_spread=0.015,
        low=0.001,
        high=1.0,
        reason="from memory",
    ),
    Parameter(
        "frame",
        "time",
        "period of its signal; a nominal command waits half of it",
        default=0.020,
        low=0.0,
        high=0.1,
    ),
    Parameter("stall_current", "current", "catalogue stall current", low=0.0, open_low=True),
    Parameter("count", "count", "servos side by side on one axle", default=1, low=1, high=4),
)
SERVO = Parameter(
    "servo",
    "block",
    "a hobby servo that drives it directly, with its own loop, in place of motors",
    block=(*SERVO_SHEET, *SERVO_LOOP),
)
OF_MOTORS = (
    "gearing",
    "current_limit",
    "battery_current_limit",
    "breaker",
    "stalls_at_most",
    "holding_brake",
    "control",
    "zero",
    "zero_drift",
    "backlash",
)
EITHER = tuple(
    each
    for one in DRIVEN
    for each in (
        (replace(one, required=False, needed="unless `servo`"), SERVO) if one.key == "motors" else (one,)
    )
)


def driver_faults(p: Mapping[str, Any]) -> Iterator[tuple[tuple[str, ...], Fault]]:
    """Of motors and a servo there is one, and a servo has no use for the keys of motors."""
    if p["motors"] is None and p["servo"] is None:
        yield (
            (),
            Fault("nothing drives it", "neither motors nor a servo", "motors: 1 x NAME, or servo: {...}"),
        )
    if p["servo"] is None:
        return
    if p["motors"] is not None:
        yield ("motors",), Fault("motors and a servo together", "both", "one of the two")
    for key in OF_MOTORS:
        if p[key]:
            yield (key,), Fault("a servo has its own gears and its own loop", key, f"no `{key}`, or motors")
