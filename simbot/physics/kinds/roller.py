"""Roller intake: no travel to speak of, it turns until told otherwise.

Geometry: the coordinate is the roller's angle [rad]; `spin` sets its effort. An element that is pulled in is not
felt by it; how long that takes is worked out by `simbot check`.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, sin, sqrt
from typing import Any

from simbot.physics.kinds.common import DAMPING, DRIVEN, OF_A_TRAVEL, STATIC
from simbot.physics.outline import Disc, Line, Outline
from simbot.physics.tables import Reduced, Segment
from simbot.scenario.parameters import Parameter

SPEED_CONTROL = Parameter(
    "speed_control",
    "block",
    "how the code holds a speed, as in `spin: {shooter: 3000 rpm}`",
    block=(
        Parameter(
            "p",
            "speed_gain",
            "effort per unit of speed that is missing; none: full effort at a tenth of its free speed",
            low=0.0,
        ),
        Parameter(
            "feed_forward",
            "share",
            "of the effort that its own model asks for at that speed and nominal voltage",
            default=1.0,
            low=0.0,
            high=2.0,
        ),
        Parameter(
            "window",
            "angular_speed",
            "there means no further than this from the speed asked for; none: 2 % of it",
            low=0.0,
            open_low=True,
        ),
    ),
)

NAME = "roller"
COORDINATE = "angle"
SUMMARY = "roller intake"
PARAMETERS = (
    *(each for each in DRIVEN if each.key not in ("holding_brake", "encoder", *OF_A_TRAVEL)),
    Parameter(
        "inertia",
        "inertia",
        "of the rollers about their axle, without the motor's rotor",
        required=True,
        low=0.0,
        high=10.0,
    ),
    Parameter("friction", "torque", "sliding friction at the axle", default=0.0, low=0.0),
    STATIC,
    DAMPING,
    SPEED_CONTROL,
    Parameter(
        "pull_in",
        "block",
        "how it pulls in an element; none: not asked",
        block=(
            Parameter("diameter", "length", "of the rollers", required=True, low=0.002, high=1.0),
            Parameter(
                "grip",
                "number",
                "friction coefficient of roller on element",
                required=True,
                low=0.01,
                high=5.0,
            ),
            Parameter(
                "press", "force", "of the rollers on the element", required=True, low=0.0, open_low=True
            ),
            Parameter("element_mass", "mass", "of the element", required=True, low=0.0, open_low=True),
            Parameter(
                "length", "length", "way that it is pulled", required=True, low=0.0, open_low=True, high=5.0
            ),
        ),
    ),
)
EXAMPLE = """\
motors: 1 x NAME
inertia: 2e-4 kg*m^2
"""
SKETCH = r"""
            .---.
          /       \     q: angle turned, without end; `spin` sets the effort
         |   (O)   |    `inertia`: of the rollers about their axle
          \       /     `friction`, `damping`: at the axle
            '---'       `motors` through `gearing`
       [ element ]----------->|   `pull_in`: how it draws an element in
"""

DRAWN_RADIUS = 0.025  # m: no key states a roller's size
ANY_ANGLE = 1e9  # rad: a roller has no stops


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a roller: its inertia, and no load (an element inside is not felt)."""
    friction = float(p["friction"])
    segment = Segment(-ANY_ANGLE, ANY_ANGLE, float(p["inertia"]), 0.0)
    return Reduced((segment,), 1.0, friction, friction * float(p["static_friction"]), float(p["damping"]))


def pull_in_time(p: Mapping[str, Any], speed: float) -> float:
    """Time to pull an element in [s]; `speed`: of the rollers [rad/s].

    It slips with a = mu N/m until it is as fast as the rim, u, and then goes along: u/(2 a) + L/u where
    u^2 < 2 a L, else it slips all the way: sqrt(2 L/a).
    """
    a = float(p["grip"]) * float(p["press"]) / float(p["element_mass"])
    u, way = speed * float(p["diameter"]) / 2.0, float(p["length"])
    return u / (2.0 * a) + way / u if u * u < 2.0 * a * way else sqrt(2.0 * way / a)


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """View along the axle, which is the origin; drawn as 25 mm where `pull_in` does not tell its size."""
    pulled = p.get("pull_in")
    radius = DRAWN_RADIUS if not pulled else float(pulled["diameter"]) / 2.0
    edge = (radius * cos(q), radius * sin(q))
    return (
        Disc((0.0, 0.0), radius, "moving"),
        Disc((0.0, 0.0), 0.2 * radius, "frame"),
        Line(((0.0, 0.0), edge), "moving"),
    )
