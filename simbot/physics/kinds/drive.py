"""Drivetrains on the field: mecanum and tank, straight lines at a fixed heading and turns in place.

Geometry: the coordinate is the distance along the line [m], or the heading in a turn (radians). A mecanum
robot keeps its heading and moves along the straight line, then turns; a tank turns towards (or away from)
its goal, drives, and turns to the heading asked for.
"""

from __future__ import annotations

from simbot.physics.kinds.common import DAMPING, DRIVEN
from simbot.scenario.parameters import Parameter

COORDINATE = "length"
PARAMETERS = (
    *DRIVEN,
    Parameter("wheel_diameter", "length", "of the wheels", required=True, low=0.01, high=1.0),
    Parameter("wheelbase", "length", "between front and rear axles", low=0.02, high=3.0),
    Parameter("track", "length", "between left and right wheels", low=0.02, high=3.0),
    Parameter("grip", "number", "friction coefficient of wheel on floor", required=True, low=0.05, high=3.0),
    Parameter("friction", "force", "rolling and inner friction, as felt at the floor", default=0.0, low=0.0,
              reason="no friction stated; a real one never has none"),
    Parameter("static_friction", "ratio", "friction at rest over sliding friction", default=1.0, low=1.0, high=3.0),
    DAMPING,
    Parameter("wheel_inertia", "inertia", "of each wheel about its axle", default=0.0, low=0.0, high=1.0),
    Parameter("turning_inertia", "inertia", "of the robot about its centre; none: an even plate of its size",
              low=0.0, open_low=True, high=200.0),
    Parameter("scrub", "share", "tank: sideways drag in a turn, as a share of grip x weight x wheelbase / 2",
              default=0.5, default_spread=0.3, low=0.0, high=1.0, reason="common practice, no source"),
    Parameter("turn", "block", "control of a turn in place; none: the straight line's, scaled by half the track", block=(
        Parameter("p", "turn_proportional_gain", "effort per radian of error", low=0.0),
        Parameter("d", "turn_derivative_gain", "effort taken away per rad/s", default=0.0, low=0.0),
        Parameter("window", "angle", "inside means no further than this from the heading", low=0.0, open_low=True),
        Parameter("slower_than", "angular_speed", "inside also means no faster than this", low=0.0, open_low=True),
    )),
)
