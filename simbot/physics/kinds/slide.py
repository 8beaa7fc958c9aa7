"""Slide on a spool: stages drawn by a cord, continuous (one cord through all) or cascade (each carries the next).

Geometry: the coordinate is the travel of the tip along the rails [m]; `incline` is the rails' angle from
the horizontal. With the cord's travel s = tip/n for a cascade of n stages, stage i (bottom first) moves i s.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import cos, inf, pi, sin
from typing import Any

from simbot.physics.kinds.common import CORD_RATING, DAMPING, DRIVEN, FRICTION, STATIC, TRAVEL
from simbot.physics.outline import Disc, Line, Outline, Point
from simbot.physics.tables import GRAVITY, Reduced, Segment
from simbot.scenario.parameters import Parameter

NAME = "slide"
COORDINATE = "length"
SUMMARY = "spool slide, continuous or cascade"
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    CORD_RATING,
    Parameter(
        "drum_diameter",
        "length",
        "diameter of the spool, to the middle of the cord",
        required=True,
        low=0.001,
        high=0.5,
    ),
    Parameter(
        "moving_mass",
        "mass",
        "of each moving stage, bottom first; one number is the whole of a single stage",
        shape="one_or_list",
        required=True,
        low=0.0,
        open_low=True,
        high=200.0,
    ),
    Parameter(
        "rigging",
        "choice",
        "how the cord draws the stages",
        default="continuous",
        choices=("continuous", "cascade"),
    ),
    Parameter("stages", "count", "moving stages", default=1, low=1, high=8),
    Parameter(
        "incline", "angle", "of the rails from the horizontal", default=pi / 2, low=-pi / 2, high=pi / 2
    ),
    Parameter(
        "cord",
        "choice",
        "pulls: lowered by its weight alone; pulls_both_ways: a loop of cord",
        default="pulls_both_ways",
        choices=("pulls_both_ways", "pulls"),
    ),
    FRICTION,
    STATIC,
    DAMPING,
)

SKETCH = r"""
                   o payload   ---  high end of `travel`
                   |            ^
             |     | stage 2    |   q: travel of the tip along the rails
             |     |            |
       |     | stage 1          v
       |     |                 ---  low end of `travel`
       | foot                       `stages`, `moving_mass`: bottom first
       |                            `rigging`, `cord`: how a cord draws them
      (O) `drum_diameter`, turned by `motors` through `gearing`
     - - - - `incline`: rails from the horizontal; `friction` at the cord
"""
OVERLAP = 0.15  # of a stage's length that stays in the one below, for the drawing alone


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a slide with `payload` [kg] at its tip.

    Cascade of n stages: stage i moves i times as far as the cord, so M = sum(i² m_i)/n² and
    Q = g sin(incline) sum(i m_i)/n at the tip, and the cord's friction is felt there as a n-th part.
    Continuous: the joint that costs least tension moves, the topmost first; each stop reached picks the
    next stage up.
    """
    given = p["moving_mass"]
    masses = [float(mass) for mass in (given if isinstance(given, tuple) else (given,))]
    n = max(int(p["stages"]), len(masses))
    slope = GRAVITY * sin(p["incline"])
    low, high = (float(end) for end in p["travel"])
    lever = 2.0 / p["drum_diameter"]
    least = 0.0 if p["cord"] == "pulls" else -inf
    friction = float(p["friction"])
    if p["rigging"] == "cascade":
        if len(masses) == 1:
            masses = [masses[0] / n] * n
        mass = sum((i + 1) ** 2 * m for i, m in enumerate(masses)) / n**2 + payload
        load = slope * (sum((i + 1) * m for i, m in enumerate(masses)) / n + payload)
        segments: tuple[Segment, ...] = (Segment(low, high, mass, load),)
        share = 1.0 / n
    else:
        share = 1.0
        segments = tuple(_continuous(masses, payload, slope, low, high))
    return Reduced(
        segments,
        lever * share,
        friction * share,
        friction * share * float(p["static_friction"]),
        float(p["damping"]),
        least,
    )


def _continuous(
    masses: list[float], payload: float, slope: float, low: float, high: float
) -> Iterator[Segment]:
    """Equal stretches of the travel, the topmost stage first; each adds the mass of the stage below."""
    moving = payload
    step = (high - low) / len(masses)
    for number, mass in enumerate(reversed(masses)):
        moving += mass
        end = high if number + 1 == len(masses) else low + (number + 1) * step
        yield Segment(low + number * step, end, moving, slope * moving)


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view; the origin is the lower end of the rails. Stages as long as their share of the travel asks for."""
    given = p["moving_mass"]
    n = max(int(p["stages"]), len(given) if isinstance(given, tuple) else 1)
    low, high = (float(end) for end in p["travel"])
    step, drum = (high - low) / n, float(p["drum_diameter"]) / 2.0
    long, apart = step * (1.0 + OVERLAP), max(0.05 * (high - low), 0.6 * drum)
    along, across = (cos(p["incline"]), sin(p["incline"])), (sin(p["incline"]), -cos(p["incline"]))

    def at(s: float, side: float) -> Point:
        return (s * along[0] + side * across[0], s * along[1] + side * across[1])

    out = q - low
    shapes: list[Line | Disc] = [Line((at(0.0, 0.0), at(long, 0.0)), "frame")]
    for number in range(1, n + 1):
        if p["rigging"] == "cascade":
            gone = out * number / n
        else:
            gone = max(0.0, out - (n - number) * step)
        shapes.append(Line((at(gone, number * apart), at(gone + long, number * apart)), "moving"))
    tip = at(out + long, n * apart)
    shapes.append(Disc(at(-drum, -drum), drum, "frame"))
    shapes.append(Line((at(-drum, 0.0), at(long, 0.5 * apart), at(out + 0.05 * long, n * apart)), "cord"))
    shapes.append(Disc(tip, 0.4 * apart, "load"))
    return tuple(shapes)
