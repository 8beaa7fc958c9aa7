"""Keys that several kinds share: what drives a mechanism, and how it is controlled.

A kind picks from these and adds its own geometry.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simbot.physics.springs import FORCES
from simbot.physics.tables import GRAVITY
from simbot.scenario.parameters import Parameter

WINDOW = Parameter(
    "window",
    "coordinate",
    "inside means no further than this from the target",
    low=0.0,
    open_low=True,
    left_out="2 % of the travel, of a drive 25 mm",
)

CONTROL = Parameter(
    "control",
    "block",
    "how the code drives it",
    block=(
        Parameter(
            "loop",
            "choice",
            "full effort until in the window, a position loop, or a motion profile",
            choices=("full_effort", "position", "profile"),
            left_out="position where p is stated, else full_effort",
        ),
        Parameter("effort", "share", "most effort it may use", default=1.0, low=0.0, high=1.0, open_low=True),
        WINDOW,
        Parameter(
            "slower_than", "coordinate_speed", "inside also means no faster than this", low=0.0, open_low=True
        ),
        Parameter("p", "proportional_gain", "effort per unit of error", low=0.0, needed="by a position loop"),
        Parameter("i", "integral_gain", "effort per unit of error and second", default=0.0, low=0.0),
        Parameter("d", "derivative_gain", "effort taken away per unit of speed", default=0.0, low=0.0),
        Parameter(
            "speed", "coordinate_speed", "speed of a profile", low=0.0, open_low=True, needed="by a profile"
        ),
        Parameter(
            "acceleration",
            "coordinate_acceleration",
            "acceleration of a profile",
            low=0.0,
            open_low=True,
            needed="by a profile",
        ),
        Parameter("jerk", "coordinate_jerk", "jerk of a profile; none: a trapezoid", low=0.0, open_low=True),
        Parameter(
            "latency", "time", "from the tick that measures to the output", default=0.0, low=0.0, high=0.3
        ),
        Parameter(
            "after",
            "word",
            "brake (motor shorted), coast (open) or an effort that presses on, once it has arrived",
            default="brake",
        ),
    ),
)

BREAKER = Parameter(
    "breaker",
    "block",
    "fuse or thermal breaker of each of its motors",
    block=(
        Parameter(
            "rating", "current", "the current that it carries for ever", required=True, low=0.0, open_low=True
        ),
        Parameter(
            "time",
            "time",
            "its time constant; it opens when the square of current over rating, lagging by it, passes 1.44",
            default=12.0,
            low=0.01,
            high=600.0,
            reason="a thermal breaker, from memory",
        ),
    ),
)

ENCODER = (
    Parameter(
        "zero",
        "coordinate",
        "true position less measured one after zeroing, at the start too; its spread is that of each zeroing",
        default=0.0,
    ),
    Parameter("zero_drift", "coordinate", "by which the zero moves with every move", default=0.0),
    Parameter(
        "backlash",
        "coordinate",
        "play between its encoder at the motor and its load, as felt at the load",
        default=0.0,
        low=0.0,
    ),
)

HOLDING = (
    Parameter("on", "word", "the mechanism that carries what this one holds"),
    Parameter(
        "room", "count", "elements that it can hold at once; none: as many as it is given", low=1, high=1000
    ),
)

DRIVEN = (
    Parameter("motors", "motors", "how many of which motor, as in `2 x wheel`", required=True),
    Parameter(
        "gearing",
        "stages",
        "gear stages from the motor on; `[]`: direct, nothing is lost; left out: direct, with what `simbot check` "
        "lists as lost",
    ),
    Parameter(
        "current_limit", "current", "controller's limit on the current of each motor", low=0.0, open_low=True
    ),
    Parameter(
        "battery_current_limit",
        "current",
        "controller's limit on what each motor takes from the battery",
        low=0.0,
        open_low=True,
    ),
    BREAKER,
    Parameter(
        "stalls_at_most",
        "time",
        "longest time at rest with more than half of its stall current; none: not watched",
        low=0.0,
        open_low=True,
    ),
    Parameter(
        "stop_rating",
        "energy",
        "what its hard stops can take in one hit; none: not watched",
        low=0.0,
        open_low=True,
    ),
    Parameter("holding_brake", "flag", "a brake holds it wherever it stops", default=False),
    *HOLDING,
    Parameter("named", "names", "words for positions"),
    Parameter(
        "counts",
        "counts_scale",
        "encoder counts per unit of travel, so that targets can be counts; none: by `encoder` and gearing",
    ),
    Parameter(
        "encoder",
        "angle_counts_scale",
        "counts per turn of the motor's output shaft; `counts` beside it is held against what gearing makes of it",
        low=0.0,
        open_low=True,
    ),
    CONTROL,
    *ENCODER,
    *FORCES,
)
OF_A_TRAVEL = (
    "named",
    "counts",
    *(each.key for each in ENCODER),
    *(each.key for each in FORCES),
)  # no meaning for what only turns on

TRAVEL = Parameter(
    "travel", "coordinate", "lowest and highest position, both hard stops", shape="pair", required=True
)
FRICTION = Parameter(
    "friction",
    "coordinate_friction",
    "sliding friction, the same at every speed",
    default=0.0,
    low=0.0,
    reason="no friction stated; a real one never has none",
)
STATIC = Parameter(
    "static_friction", "ratio", "friction at rest over sliding friction", default=1.0, low=1.0, high=3.0
)
DAMPING = Parameter("damping", "coordinate_damping", "friction in proportion to speed", default=0.0, low=0.0)


STANCE = (
    Parameter(
        "faces",
        "choice",
        "the side of the robot to which it works; matters on a robot that stands tilted",
        default="forward",
        choices=("forward", "backward", "left", "right"),
    ),
    Parameter(
        "tipped_by",
        "word",
        "the mechanism whose angle turns this one: angles from the horizontal count from there",
    ),
)


def tilt_of(p: Mapping[str, Any]) -> float:
    """Angle by which the robot's stance lifts the mechanism's own horizontal [rad]; 0 on level ground."""
    return float(p.get("tilt") or 0.0)


def gravity_of(p: Mapping[str, Any]) -> float:
    """Gravity in the plane in which it works [m/s²]: less than the whole where the robot leans sideways to it."""
    return GRAVITY * float(p.get("upright", 1.0))


CORD_RATING = Parameter(
    "cord_rating", "force", "greatest pull that its cord may take; none: not watched", low=0.0, open_low=True
)
