"""Four-bar linkage: a motor turns the crank, a coupler carries the load, a rocker guides it.

Geometry: the coordinate is the crank's angle from the line through the two fixed pivots [rad], anticlockwise;
that line stands at `ground_angle` from the horizontal. `branch` says which of the two ways of closing the links
it is built in; it stays in it, so the travel must not come to where coupler and rocker are in line.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import acos, inf, pi, radians, tau
from typing import Any

import numpy as np

from simbot.physics.kinds.common import DAMPING, DRIVEN, FRICTION, STANCE, STATIC, TRAVEL, gravity_of, tilt_of
from simbot.physics.kinds.linkage_keys import (
    ends_of_spreads,
    in_degrees,
    link,
    part_faults,
    part_of,
    parts_on,
)
from simbot.physics.linkage import (
    Body,
    Course,
    Triple,
    Values,
    closed_loop,
    inertia_of,
    leverage_of,
    steady,
    stretches,
    turned,
    weight_of,
)
from simbot.physics.outline import Disc, Line, Outline
from simbot.physics.tables import Knots, Reduced
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

NAME = "four_bar"
COORDINATE = "angle"
SUMMARY = "four-bar linkage under gravity"
LINKS = ("crank", "coupler", "rocker")
LENGTHS = ("ground", *LINKS)
NEAREST = radians(1.0)  # to where coupler and rocker are in line: there it jams; common practice, no source
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    link("ground", "between the two fixed pivots, crank's to rocker's"),
    link("crank", "from the crank's pivot to the coupler; the motor turns it"),
    link("coupler", "from the crank's joint to the rocker's"),
    link("rocker", "from the rocker's pivot to the coupler"),
    Parameter(
        "ground_angle",
        "angle",
        "of the line from the crank's pivot to the rocker's, from the horizontal",
        default=0.0,
    ),
    Parameter(
        "branch",
        "choice",
        "of the two ways to close the links: open, or crossed (both seen with the crank between 0 and 180 deg)",
        default="open",
        choices=("open", "crossed"),
    ),
    parts_on(LINKS),
    Parameter("holds_on", "choice", "the link that holds its payload", default="coupler", choices=LINKS),
    Parameter(
        "holds_at",
        "length",
        "from that link's first joint along it to the payload; none: its other joint",
        low=-3.0,
        high=3.0,
    ),
    Parameter(
        "holds_aside",
        "length",
        "from that link's line to the payload, left positive",
        default=0.0,
        low=-3.0,
        high=3.0,
    ),
    FRICTION,
    STATIC,
    DAMPING,
    *STANCE,
)
EXAMPLE = """\
motors: 1 x NAME
gearing: [{ratio: 2:1}]   # efficiency not stated: 25 to 50 % in all
travel: [40 deg, 140 deg]
ground: 100 mm
crank: 40 mm
coupler: 120 mm
rocker: 80 mm
parts: [{link: coupler, mass: 200 g}]
"""
SKETCH = r"""
                 coupler        __o
                      ____-----    \      a part: at, along its link from
          o----------     + part    \     its first joint (the crank's
         /                           \    side; the rocker's from its
 crank  /                             \   pivot), and aside, to the left
       / ) coordinate                  \  rocker
      O---------------------------------O
    motor          ground               pivot
          (the line stands at ground_angle from the horizontal)
"""


def motion(p: Mapping[str, Any], q: Knots) -> dict[str, tuple[Course, Course]]:
    """Of each link: the course of its first joint and of its angle; the origin is the crank's pivot."""
    d, a, b, c = (float(p[key]) for key in LENGTHS)
    angle = steady(q)
    joint = turned(a, angle)
    across = joint.at - d
    reach = abs(across)
    inside = np.arccos((c**2 + reach**2 - b**2) / (2.0 * c * reach))
    gamma = np.angle(across) + (inside if p["branch"] == "crossed" else -inside)
    beta = np.angle(d + c * np.exp(1j * gamma) - joint.at)
    coupler, rocker = closed_loop(b, c, beta, gamma, joint)
    zero = np.zeros_like(joint.at)
    return {
        "crank": (Course(zero, zero, zero, zero), angle),
        "coupler": (joint, coupler),
        "rocker": (Course(zero + d, zero, zero, zero), rocker),
    }


def bodies(p: Mapping[str, Any], payload: float, q: Knots) -> list[Body]:
    """All masses and the payload, with their courses."""
    moves = motion(p, q)
    found = []
    for part in p["parts"]:
        base, angle = moves[part["link"]]
        mass, arm, own = part_of(part, float(p[part["link"]]))
        found.append(Body(mass, base + turned(arm, angle), own, angle))
    on = p["holds_on"]
    at = float(p[on]) if p["holds_at"] is None else float(p["holds_at"])
    base, angle = moves[on]
    found.append(Body(payload, base + turned(complex(at, float(p["holds_aside"])), angle)))
    return found


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a four-bar with `payload` [kg], a point mass: M = sum(m |r'|² + I angle'²), Q = g sum(m y')."""
    low, high = (float(end) for end in p["travel"])
    lifted = float(p["ground_angle"]) + tilt_of(p)

    def tables(q: Knots) -> tuple[Triple, tuple[Knots, Knots], None]:
        masses = bodies(p, payload, q)
        return inertia_of(masses), weight_of(masses, lifted, gravity_of(p)), None

    def measure(q: Knots) -> tuple[tuple[Values, ...], ...]:
        masses = bodies(p, 1.0, q)
        return inertia_of(masses), leverage_of(masses)

    segments = stretches(low, high, tables, measure)
    friction = float(p["friction"])
    return Reduced(segments, 1.0, friction, friction * float(p["static_friction"]), float(p["damping"]))


def closes_within(lengths: Mapping[str, float], near: float) -> tuple[float, float] | None:
    """The open interval of crank angles around `near` in which the links close [rad]; None: they do not there.

    Coupler and rocker are in line where the crank's joint is their sum, or their difference, from the rocker's
    pivot.
    """
    d, a, b, c = (lengths[key] for key in LENGTHS)
    least, most = ((a**2 + d**2 - (b + way * c) ** 2) / (2.0 * a * d) for way in (1.0, -1.0))
    if not least < np.cos(near) < most:
        return None
    low, high = -inf, inf
    for bound in (least, most):
        if abs(bound) <= 1.0:
            for toggle in (acos(bound), -acos(bound)):
                below = toggle + tau * np.floor((near - toggle) / tau)
                low, high = max(low, float(below)), min(high, float(below) + tau)
    return low, high


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[tuple[str | int, ...], Fault]]:
    """Links that do not close on the whole travel, or hardly."""
    if not p["parts"]:
        yield ("parts",), Fault("at least one mass is wanted", "none", "such as {link: coupler, mass: 200 g}")
    yield from part_faults(p)
    low, high = (float(end) for end in p["travel"])
    given = f"[{p['travel'][0].text}, {p['travel'][1].text}]"
    middle = 0.5 * (low + high)
    for number, lengths in enumerate(ends_of_spreads(p, LENGTHS)):
        how = " with its lengths at the ends of their spreads" if number else ""
        room = closes_within(lengths, middle)
        if room is None:
            yield (
                ("travel",),
                Fault(
                    f"the four links do not close with the crank at {in_degrees(middle)}{how}",
                    given,
                    _where(lengths),
                ),
            )
            return
        first, last = room[0] + NEAREST, room[1] - NEAREST
        if low < first or high > last:
            at = room[0] if low < first else room[1]
            yield (
                ("travel",),
                Fault(
                    f"coupler and rocker are in line at {in_degrees(at)}{how}: there it jams, and no further it goes",
                    given,
                    f"a travel inside {in_degrees(first)} to {in_degrees(last)}",
                ),
            )
            return


def _where(lengths: Mapping[str, float]) -> str:
    """In words: where such links close at all."""
    for near in np.linspace(0.0, 2.0 * pi, 721):
        room = closes_within(lengths, float(near))
        if room is not None:
            low, high = room
            if low == -inf:
                return "any angle"
            return f"a travel inside {in_degrees(low + NEAREST)} to {in_degrees(high - NEAREST)}"
    return "lengths of which the longest is shorter than the other three together"


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view, origin at the crank's pivot: the four links, their parts, and where it holds."""
    moves = motion(p, np.array([q]))
    lifted = complex(np.exp(1j * (float(p["ground_angle"]) + tilt_of(p))))

    def point(name: str, arm: complex) -> tuple[float, float]:
        base, angle = moves[name]
        z = complex((base.at + turned(arm, angle).at)[0]) * lifted
        return (z.real, z.imag)

    size = 0.05 * float(p["crank"])
    pivots = (point("crank", 0.0), point("rocker", 0.0))
    shapes: Outline = (Line(pivots, "frame"), *(Disc(at, size, "frame") for at in pivots))
    for name in LINKS:
        shapes += (Line((point(name, 0.0), point(name, float(p[name]))), "moving"),)
    for part in p["parts"]:
        if part["at"] is not None:
            shapes += (Disc(point(part["link"], part_of(part, float(p[part["link"]]))[1]), size, "moving"),)
    on = p["holds_on"]
    at = float(p[on]) if p["holds_at"] is None else float(p["holds_at"])
    return (*shapes, Disc(point(on, complex(at, float(p["holds_aside"]))), 2.0 * size, "load"))
