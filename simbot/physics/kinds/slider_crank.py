"""Slider-crank: a crank, turned by motors or a servo, moves a slider through a coupler, up to and over dead centre.

Geometry: the coordinate is the crank's angle from the slide's direction [rad], anticlockwise; at 0 crank and
coupler are in line and the slider is farthest out. With offset e (of the slide's line from the crank's pivot)

    x = a cos(q) + sqrt(b² - (a sin(q) - e)²)

so that without losses a torque T at the crank pushes the slider with T/|dx/dq|: without bound at the dead
centres, where the inertia felt at the crank is least and stays finite. Past the dead centre and against a stop a
push along the slide holds the crank there, without current.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import asin, ceil, floor, pi, radians, sin, tau
from typing import Any, NamedTuple

import numpy as np

from simbot.physics.kinds.common import DAMPING, FRICTION, STANCE, STATIC, TRAVEL, gravity_of, tilt_of
from simbot.physics.kinds.linkage_keys import (
    ends_of_spreads,
    in_degrees,
    link,
    part_faults,
    part_of,
    parts_on,
)
from simbot.physics.kinds.servo_keys import EITHER, driver_faults
from simbot.physics.linkage import (
    Body,
    Course,
    Triple,
    Values,
    inertia_of,
    leverage_of,
    steady,
    stretches,
    turned,
    weight_of,
)
from simbot.physics.outline import Disc, Line, Outline, Point
from simbot.physics.springs import with_path_friction
from simbot.physics.tables import Knots, Reduced
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

NAME = "slider_crank"
COORDINATE = "angle"
SUMMARY = "slider-crank, by motors or a servo, over its dead centre"
LINKS = ("crank", "coupler")
LENGTHS = ("crank", "coupler", "offset")
STEEPEST = radians(85.0)  # of the coupler to the slide: steeper, it jams; common practice, no source
PAST = radians(30.0)  # over its centre; further on it is a stroke like any other; common practice, no source
PARAMETERS = (
    *EITHER,
    TRAVEL,
    link("crank", "from its pivot to the coupler"),
    link("coupler", "from the crank to the slider"),
    Parameter(
        "offset",
        "length",
        "from the crank's pivot to the slide's line, left of the slide's direction positive",
        default=0.0,
        low=-1.0,
        high=1.0,
    ),
    Parameter(
        "incline",
        "angle",
        "of the slide's direction (away from the crank) from the horizontal",
        default=0.0,
        low=-pi,
        high=pi,
    ),
    Parameter("slider_mass", "mass", "of all that slides", required=True, low=0.0, high=100.0),
    parts_on(LINKS, required=False),
    Parameter(
        "load",
        "force",
        "push on the slider towards the crank that is there all the time; negative: a pull outwards",
        default=0.0,
        low=-5000.0,
        high=5000.0,
    ),
    Parameter(
        "slider_friction",
        "force",
        "sliding friction of the slider on its slide",
        default=0.0,
        low=0.0,
        high=5000.0,
    ),
    FRICTION,
    STATIC,
    DAMPING,
    *STANCE,
)
EXAMPLE = """\
motors: 1 x NAME
gearing: [{ratio: 2:1}]   # efficiency not stated: 25 to 50 % in all
travel: [10 deg, 170 deg]
crank: 60 mm
coupler: 180 mm
slider_mass: 0.5 kg
"""
SKETCH = r"""
               o___                          a push on the slider (load)
        crank /    ---___ coupler            turns the crank away from 0 ...
             /           ---___   +--------+
            / ) coordinate      --o slider | <-- load      - - > slide's
        - -O- - - - - - - - - - - +--------+ - - - - - - -      direction,
          motor             (line: offset from the pivot)      at incline

        O===o=======o  0: dead centre. ... to either side: a stop just past
                       0 holds that push without current.
"""


def motion(p: Mapping[str, Any], q: Knots) -> dict[str, tuple[Course, Course]]:
    """Of crank and coupler: the course of the first joint and of the angle; x is the slide's direction."""
    a, b, e = (float(p[key]) for key in LENGTHS)
    angle = steady(q)
    joint = turned(a, angle)
    zero = np.zeros_like(joint.at)
    beta = np.arcsin((e - joint.at.imag) / b)
    cosine, sine = b * np.cos(beta), b * np.sin(beta)
    d1 = -joint.d1.imag / cosine
    d2 = (-joint.d2.imag + sine * d1**2) / cosine
    d3 = (-joint.d3.imag + 3.0 * sine * d1 * d2 + cosine * d1**3) / cosine
    return {
        "crank": (Course(zero, zero, zero, zero), angle),
        "coupler": (joint, Course(beta, d1, d2, d3)),
    }


def slider(p: Mapping[str, Any], q: Knots) -> Course:
    """Course of the slider, origin at the crank's pivot; its d1 is what a torque at the crank is divided by."""
    joint, angle = motion(p, q)["coupler"]
    return joint + turned(float(p["coupler"]), angle)


def bodies(p: Mapping[str, Any], payload: float, q: Knots) -> list[Body]:
    """The slider with its payload, first, and all parts."""
    moves = motion(p, q)
    found = [Body(float(p["slider_mass"]) + payload, slider(p, q))]
    for part in p["parts"] or ():
        base, angle = moves[part["link"]]
        mass, arm, own = part_of(part, float(p[part["link"]]))
        found.append(Body(mass, base + turned(arm, angle), own, angle))
    return found


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables with `payload` [kg] on the slider: M = sum(m |r'|² + I angle'²), Q = g sum(m y') + load x'."""
    low, high = (float(end) for end in p["travel"])
    lifted = float(p["incline"]) + tilt_of(p)
    push = float(p["load"])

    def tables(q: Knots) -> tuple[Triple, tuple[Knots, Knots], None]:
        masses = bodies(p, payload, q)
        weight, slope = weight_of(masses, lifted, gravity_of(p))
        course = masses[0].place
        return inertia_of(masses), (weight + push * course.d1.real, slope + push * course.d2.real), None

    def measure(q: Knots) -> tuple[tuple[Values, ...], ...]:
        masses, course = bodies(p, 1.0, q), slider(p, q)
        return inertia_of(masses), (course.d1.real, course.d2.real), leverage_of(masses)

    segments = stretches(low, high, tables, measure)
    friction, static = float(p["friction"]), float(p["static_friction"])
    reduced = Reduced(segments, 1.0, friction, friction * static, float(p["damping"]))
    turns = tuple(dead_centres(p, low, high))
    return with_path_friction(
        reduced, lambda q: slider(p, q).at.real, float(p["slider_friction"]), static, turns
    )


def dead_centres(p: Mapping[str, Any], low: float, high: float) -> Iterator[float]:
    """Where the slider turns around: crank and coupler in line, sin(q) = e/(b + a) or -e/(b - a)."""
    a, b, e = (float(p[key]) for key in LENGTHS)
    for first, sine in ((0.0, e / (a + b)), (pi, e / (b - a) if b != a else 2.0)):
        if abs(sine) > 1.0:
            continue
        outer = asin(sine) if first == 0.0 else pi + asin(sine)
        yield from (
            outer + k * tau for k in range(ceil((low - outer) / tau), floor((high - outer) / tau) + 1)
        )


class OverCentre(NamedTuple):
    """A stop just past a dead centre: a push along the slide holds the crank against it."""

    stop: float  # [rad]
    centre: float  # [rad]
    inwards: bool  # the push that holds it: towards the crank, else a pull outwards


def over_centres(p: Mapping[str, Any]) -> Iterator[OverCentre]:
    """Ends of the travel that lie past a dead centre, no further than PAST."""
    low, high = (float(end) for end in p["travel"])
    centres = [*dead_centres(p, low, high)]
    for stop, side in ((low, 1.0), (high, -1.0)):
        past = [centre for centre in centres if 0.0 < side * (centre - stop) <= PAST]
        if past:
            rises = side * float(slider(p, np.array([stop])).d1.real[0])
            yield OverCentre(stop, min(past, key=lambda each: abs(each - stop)), rises > 0.0)


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[tuple[str | int, ...], Fault]]:
    """No driver or two; a coupler that stands too steep to the slide somewhere on the travel."""
    yield from driver_faults(p)
    yield from part_faults(p)
    low, high = (float(end) for end in p["travel"])
    first, last = ceil((low - pi / 2) / pi), floor((high - pi / 2) / pi)
    turns = [low, high, *(pi / 2 + k * pi for k in range(first, min(last, first + 1) + 1))]
    for number, (a, b, e) in enumerate(each.values() for each in ends_of_spreads(p, LENGTHS)):
        steep = [q for q in turns if abs(a * sin(q) - e) > b * sin(STEEPEST)]
        if steep:
            how = " with its lengths at the ends of their spreads" if number else ""
            yield (
                ("coupler",),
                Fault(
                    f"it stands across the slide, or does not reach it, with the crank at "
                    f"{in_degrees(steep[0])}{how}: there it jams",
                    p["coupler"].text,
                    "a longer coupler, a shorter crank or a shorter travel",
                ),
            )
            return


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view, origin at the crank's pivot: crank, coupler, the slider on its line."""
    lifted = complex(np.exp(1j * (float(p["incline"]) + tilt_of(p))))
    a, b, e = (float(p[key]) for key in LENGTHS)

    def point(z: complex) -> Point:
        return ((z * lifted).real, (z * lifted).imag)

    at = complex(slider(p, np.array([q])).at[0])
    joint = a * complex(np.exp(1j * q))
    size = 0.15 * a
    corners = (at + 2.0 * size * (x + 1j * y) for x, y in ((-1, -0.7), (1, -0.7), (1, 0.7), (-1, 0.7)))
    return (
        Line((point(complex(0.0, e)), point(complex(a + b, e))), "frame"),
        Disc(point(0.0), size, "frame"),
        Line((point(0.0), point(joint), point(at)), "moving"),
        Line(tuple(point(corner) for corner in corners), "load", closed=True),
    )
