"""Flywheel: spins up to a speed and throws elements, losing some of it to each.

Geometry: the coordinate is the wheel's angle [rad]; `spin` sets its effort or its speed. What a throw takes of it at
`speed` and how long it takes to come back at full effort are worked out by `simbot check`; in a run each element
that it throws slows it down.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import cos, inf, log, sin
from typing import Any, NamedTuple

from simbot.physics.kinds import roller
from simbot.physics.outline import Disc, Line, Outline
from simbot.physics.tables import Reduced
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

NAME = "flywheel"
COORDINATE = "angle"
SUMMARY = "flywheel that throws elements"
PARAMETERS = (
    *(each for each in roller.PARAMETERS if each.key != "pull_in"),
    Parameter("speed", "angular_speed", "that it is to have for a throw", required=True, low=0.0, open_low=True),
    Parameter("diameter", "length", "of its rim", required=True, low=0.005, high=1.0),
    Parameter("element_mass", "mass", "of what it throws", required=True, low=0.0, open_low=True, high=20.0),
    Parameter(
        "exit_share", "share",
        "speed of the element over the rim's as it leaves: 50 % rolling along a fixed hood, 100 % between two wheels",
        default=0.5, low=0.05, high=1.0, reason="rolls between the rim and a fixed hood",
    ),
)  # fmt: skip
EXAMPLE = """\
motors: 1 x NAME
inertia: 2e-3 kg*m^2
speed: 250 rpm
diameter: 90 mm
element_mass: 60 g
"""
SKETCH = """\
              ______  hood (fixed)
            /        ( ) element_mass  -> exit_share x rim speed
           (   ____
            ( /    \\
             |  O   |  diameter, inertia, speed
              \\____/
"""


class SpinUp(NamedTuple):
    """Full effort from a standing start: final speed [rad/s] and time constant [s]."""

    final: float
    tau: float

    def time(self, begin: float, end: float) -> float:
        """From one speed to another [s]; inf where the second is not below the final one."""
        return inf if end >= self.final else self.tau * log((self.final - begin) / (self.final - end))


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[str, Fault]]:
    """A wheel without inertia has nothing to give."""
    if p["inertia"] <= 0.0:
        yield "inertia", Fault("a flywheel stores its energy in it", p["inertia"].text, "more than 0")


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a flywheel: those of a roller."""
    return roller.reduce(p, payload)


def left_after_throw(p: Mapping[str, Any], turning: float) -> float:
    """Share of the speed left as an element leaves; `turning`: inertia of wheel and rotors [kg m²].

    Moment of momentum about the axle is kept while the rim slips on the element: J w1 = J w2 + m s w2 r².
    """
    taken = float(p["element_mass"]) * float(p["exit_share"]) * (float(p["diameter"]) / 2.0) ** 2
    return turning / (turning + taken)


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view, origin on the axle."""
    radius = float(p["diameter"]) / 2.0
    spoke = Line(((0.0, 0.0), (radius * cos(q), radius * sin(q))), "moving")
    return Disc((0.0, 0.0), radius, "moving"), spoke, Disc((0.0, 1.3 * radius), 0.3 * radius, "load")
