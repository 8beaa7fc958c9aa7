"""Scissor lift: crossed links in cells; a screw draws its feet together, or a motor turns a lowest link.

Geometry: the coordinate is the height from its feet to its top [m]. With n cells of links of length l at the angle
phi from the base, h = n l sin(phi), and the feet stand l cos(phi) apart. One foot and the top's joint above it
are fixed, the others slide. A weight W on top asks n W cot(phi) of the screw: most when it is folded flat.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import asin, cos, radians, sin, tau
from typing import Any

import numpy as np

from simbot.physics.kinds.common import DAMPING, DRIVEN, FRICTION, STANCE, STATIC, TRAVEL, gravity_of, tilt_of
from simbot.physics.kinds.linkage_keys import ends_of_spreads, link
from simbot.physics.kinds.screw import SCREW, lead_of, screw_faults, screw_stages
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
from simbot.physics.tables import Knots, Reduced
from simbot.scenario.errors import Fault
from simbot.scenario.model import GearStage
from simbot.scenario.parameters import Parameter
from simbot.scenario.units_told import told

NAME = "scissor"
COORDINATE = "length"
SUMMARY = "scissor lift, by a screw or a motor at a lowest link"
FLATTEST, STEEPEST = radians(2.0), radians(88.0)  # of its links: beyond, it jams; common practice, no source
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    Parameter("cells", "count", "crosses of two links, one on the other", required=True, low=1, high=12),
    link("link", "length of a link from end joint to end joint"),
    Parameter("link_mass", "mass", "of each of the 2 x cells links", default=0.0, low=0.0, high=20.0),
    Parameter("top_mass", "mass", "of all that rides on top", required=True, low=0.0, high=200.0),
    Parameter(
        "screw",
        "block",
        "the screw that draws its feet together; none: the motor turns a lowest link at the fixed foot",
        block=SCREW,
    ),
    FRICTION,
    STATIC,
    DAMPING,
    *STANCE,
)
EXAMPLE = """\
motors: 2 x NAME
travel: [0.1 m, 0.6 m]
cells: 3
link: 260 mm
top_mass: 0.8 kg
"""
SKETCH = r"""
       +----------------+   top_mass and payload
       o_              _o                  height: coordinate,
        \ - _      _ - /                   h = cells x link x sin(phi)
         \     - -    /   cell 2
          o_  -   -  _o
          / - _  _ - \
         /    _- -_   \   cell 1
        o - -  )phi - - o
   fixed foot             foot, drawn to the left by the screw;
                          without a screw the motor turns the link at the
                          fixed foot
"""


def phi_of(p: Mapping[str, Any], h: Knots) -> Course:
    """Angle of the links from the base over the height [m]: sin(phi) = h/(cells link)."""
    whole = int(p["cells"]) * float(p["link"])
    phi = np.arcsin(h / whole)
    d1 = 1.0 / (whole * np.cos(phi))
    return Course(phi, d1, d1**2 * np.tan(phi), d1**3 * (1.0 + 3.0 * np.tan(phi) ** 2))


def bodies(p: Mapping[str, Any], payload: float, h: Knots) -> list[Body]:
    """The top with its payload, first, and the pairs of links; x from the fixed foot to the sliding one."""
    n, mass, length = int(p["cells"]), float(p["link_mass"]), float(p["link"])
    rise, phi = steady(h), phi_of(p, h)
    half = turned(0.5 * length, phi)
    found = [Body(float(p["top_mass"]) + payload, _scaled(rise, 1j))]
    if mass > 0.0:
        for cell in range(n):
            up = _scaled(rise, 1j * (cell + 0.5) / n)
            aside = Course(half.at.real, half.d1.real, half.d2.real, half.d3.real)
            found.append(Body(2.0 * mass, aside + up, 2.0 * mass * length**2 / 12.0, phi))
    return found


def _scaled(course: Course, by: complex) -> Course:
    return Course(course.at * by, course.d1 * by, course.d2 * by, course.d3 * by)


def factor_of(p: Mapping[str, Any], h: Knots) -> tuple[Knots, Knots, Knots]:
    """How the ratio runs with the height: as tan(phi) by a screw, as 1/cos(phi) by a link that turns."""
    phi = phi_of(p, h)
    tan, sec = np.tan(phi.at), 1.0 / np.cos(phi.at)
    if p["screw"] is not None:
        return tan, sec**2 * phi.d1, 2.0 * sec**2 * tan * phi.d1**2 + sec**2 * phi.d2
    return sec, sec * tan * phi.d1, (sec * tan**2 + sec**3) * phi.d1**2 + sec * tan * phi.d2


def shaft_per_travel(p: Mapping[str, Any]) -> None:
    """Not the same at every height."""
    return None


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables with `payload` [kg] on top: M, Q of the bodies; ratio (2 pi/lead) tan(phi)/n, or dphi/dh."""
    low, high = (float(end) for end in p["travel"])
    n, tilt = int(p["cells"]), tilt_of(p)
    if p["screw"] is not None:
        per_travel = tau / lead_of(p["screw"]) / n
    else:
        per_travel = 1.0 / (n * float(p["link"]))

    def tables(h: Knots) -> tuple[Triple, tuple[Knots, Knots], Triple]:
        masses = bodies(p, payload, h)
        return inertia_of(masses), weight_of(masses, tilt, gravity_of(p)), factor_of(p, h)

    def measure(h: Knots) -> tuple[tuple[Values, ...], ...]:
        masses = bodies(p, 1.0, h)
        return inertia_of(masses), leverage_of(masses), factor_of(p, h)

    segments = stretches(low, high, tables, measure)
    friction = float(p["friction"])
    return Reduced(
        segments, per_travel, friction, friction * float(p["static_friction"]), float(p["damping"])
    )


def own_stages(p: Mapping[str, Any]) -> tuple[GearStage, ...]:
    """Its screw's loss, where a screw drives it."""
    return () if p["screw"] is None else screw_stages(p["screw"])


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[tuple[str, ...], Fault]]:
    """Links folded flat or stretched straight within the travel; a screw that jams."""
    if p["screw"] is not None:
        for path, fault in screw_faults(p["screw"]):
            yield ("screw", *path), fault
    low, high = (float(end) for end in p["travel"])
    for number, lengths in enumerate(ends_of_spreads(p, ("link",))):
        whole = int(p["cells"]) * lengths["link"]
        first, last = whole * sin(FLATTEST), whole * sin(STEEPEST)
        if low < first or high > last:
            how = " with its links at the ends of their spread" if number else ""
            what = "folded flat it cannot be driven up" if low < first else "it is not as tall as that"
            given = p["travel"][0 if low < first else 1].text
            inside = f"{told(first, 'length', given, 1)} to {told(last, 'length', given, -1)}"
            yield ("travel",), Fault(what + how, given, f"a travel inside {inside}")
            return


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view, origin at the fixed foot: base, crosses, and what rides on top."""
    n, length = int(p["cells"]), float(p["link"])
    phi = asin(q / (n * length))
    width, step = length * cos(phi), q / n
    turn = complex(np.exp(1j * tilt_of(p)))

    def point(x: float, y: float) -> Point:
        z = complex(x, y) * turn
        return (z.real, z.imag)

    shapes: Outline = (
        Line((point(0.0, 0.0), point(length, 0.0)), "frame"),
        Disc((0.0, 0.0), 0.03 * length, "frame"),
    )
    for cell in range(n):
        low, high = cell * step, (cell + 1) * step
        shapes += (
            Line((point(0.0, low), point(width, high)), "moving"),
            Line((point(width, low), point(0.0, high)), "moving"),
        )
    corners = ((0.0, q), (length, q), (length, q + 0.1 * length), (0.0, q + 0.1 * length))
    return (*shapes, Line(tuple(point(*corner) for corner in corners), "load", closed=True))
