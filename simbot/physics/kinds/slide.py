"""Slide on a spool: stages drawn by a cord, continuous (one cord through all) or cascade (each carries the next).

Geometry: the coordinate is the travel of the tip along the rails [m]; `incline` is the rails' angle from
the robot's horizontal. With the cord's travel s = tip/n for a cascade of n stages, stage i (bottom first) moves i s.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from math import cos, inf, pi, sin
from typing import Any

from simbot.physics.kinds.common import (
    CORD_RATING,
    DAMPING,
    DRIVEN,
    STANCE,
    STATIC,
    TRAVEL,
    gravity_of,
    tilt_of,
)
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
        "stage_travel",
        "length",
        "how far each stage of a continuous slide goes, bottom first; none: all equally far",
        shape="list",
        low=0.0,
        open_low=True,
    ),
    Parameter(
        "order",
        "choice",
        "which stage of a continuous slide goes up first; none: whichever asks for the least pull",
        choices=("top_first", "bottom_first"),
    ),
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
    Parameter(
        "friction",
        "force",
        "sliding friction as felt at the cord; a list: of each joint, bottom first",
        shape="one_or_list",
        default=0.0,
        low=0.0,
        reason="no friction stated; a real one never has none",
    ),
    STATIC,
    DAMPING,
    *STANCE,
)

EXAMPLE = """\
motors: 2 x NAME
gearing: [{ratio: 2:1}]   # efficiency not stated: 25 to 50 % in all
travel: [0 m, 0.75 m]
drum_diameter: 35 mm
moving_mass: 1.2 kg
"""
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


def shaft_per_travel(p: Mapping[str, Any]) -> float:
    """Turns of the spool per travel of the tip [rad/m]."""
    share = 1.0 / stages_of(p) if p["rigging"] == "cascade" else 1.0
    return share * 2.0 / float(p["drum_diameter"])


def stages_of(p: Mapping[str, Any]) -> int:
    """How many stages move."""
    return max(int(p["stages"]), len(_listed(p["moving_mass"])))


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a slide with `payload` [kg] at its tip.

    Cascade of n stages: stage i moves i times as far as the cord, so M = sum(i² m_i)/n² and
    Q = g sin(incline) sum(i m_i)/n at the tip, and the cord's friction (of all joints together) is felt there
    as a n-th part. Continuous: one joint moves at a time and carries all stages above it, with the friction of
    that joint; on the way down in reverse. Textbook mechanics.
    """
    masses = [float(mass) for mass in _listed(p["moving_mass"])]
    n = stages_of(p)
    slope = gravity_of(p) * sin(p["incline"] + tilt_of(p))
    low, high = (float(end) for end in p["travel"])
    least = 0.0 if p["cord"] == "pulls" else -inf
    ratio = float(p["static_friction"])
    if p["rigging"] == "cascade":
        if len(masses) == 1:
            masses = [masses[0] / n] * n
        mass = sum((i + 1) ** 2 * m for i, m in enumerate(masses)) / n**2 + payload
        load = slope * (sum((i + 1) * m for i, m in enumerate(masses)) / n + payload)
        segments: tuple[Segment, ...] = (Segment(low, high, mass, load),)
        friction = sum(float(each) for each in _listed(p["friction"])) / n
    else:
        segments = tuple(_continuous(p, masses, payload, slope))
        friction = segments[0].friction or 0.0
    return Reduced(segments, shaft_per_travel(p), friction, friction * ratio, float(p["damping"]), least)


def _listed(given: Any) -> tuple[Any, ...]:
    return given if isinstance(given, tuple) else (given,)


def _continuous(p: Mapping[str, Any], masses: list[float], payload: float, slope: float) -> Iterator[Segment]:
    """Stretches of the travel in the order in which the joints move."""
    low, high = (float(end) for end in p["travel"])
    ways, rubs = p.get("stage_travel"), _rubs(p, len(masses))
    ratio = float(p["static_friction"])
    joints = rising_order(p, slope)
    begin = low
    for number, joint in enumerate(joints):
        way = (high - low) / len(masses) if ways is None else float(ways[joint])
        end = high if number + 1 == len(joints) else begin + way
        moving = sum(masses[joint:]) + payload
        rub = rubs[joint]
        yield Segment(begin, end, moving, slope * moving, friction=rub, static=ratio * rub)
        begin = end


def _rubs(p: Mapping[str, Any], count: int) -> list[float]:
    given = [float(each) for each in _listed(p["friction"])]
    return given * count if len(given) == 1 else given


def rising_order(p: Mapping[str, Any], slope: float) -> list[int]:
    """Joints of a continuous slide (0: the lowest) in the order in which they move upwards.

    Joint k moves when the cord's pull reaches slope * (mass of the stages above it) + its friction: the one that
    asks for least goes first, the upper of two that ask for the same. What is held weighs on all alike.
    """
    masses = [float(mass) for mass in _listed(p["moving_mass"])]
    count = len(masses)
    if p.get("order") == "bottom_first":
        return list(range(count))
    if p.get("order") == "top_first":
        return list(reversed(range(count)))
    rubs = _rubs(p, count)
    return sorted(range(count), key=lambda k: (slope * sum(masses[k:]) + rubs[k], -k))


def comes_down_otherwise(p: Mapping[str, Any]) -> bool:
    """Whether friction would let the joints come down in another order than the reverse of the way up."""
    if p["rigging"] == "cascade" or p.get("order") is not None:
        return False
    masses = [float(mass) for mass in _listed(p["moving_mass"])]
    rubs, slope = _rubs(p, len(masses)), GRAVITY * sin(p["incline"])
    back = list(reversed(rising_order(p, slope)))
    pulls = [slope * sum(masses[k:]) - rubs[k] for k in back]  # the pull at which each begins to give way
    return any(later > first + 1e-9 for first, later in pairwise(pulls))


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view; the origin is the lower end of the rails. Stages as long as their share of the travel asks for."""
    given = p["moving_mass"]
    n = max(int(p["stages"]), len(given) if isinstance(given, tuple) else 1)
    low, high = (float(end) for end in p["travel"])
    step, drum = (high - low) / n, float(p["drum_diameter"]) / 2.0
    ways = [float(way) for way in p.get("stage_travel") or [step] * n]
    long, apart = step * (1.0 + OVERLAP), max(0.05 * (high - low), 0.6 * drum)
    along, across = (cos(p["incline"]), sin(p["incline"])), (sin(p["incline"]), -cos(p["incline"]))

    def at(s: float, side: float) -> Point:
        return (s * along[0] + side * across[0], s * along[1] + side * across[1])

    out = q - low
    drawn = [out / n] * n  # how far each joint is out, the lowest first
    if p["rigging"] != "cascade" and n > 1:
        left = out
        for joint in rising_order(p, GRAVITY * sin(p["incline"])):
            drawn[joint] = min(left, ways[joint])
            left -= drawn[joint]
    shapes: list[Line | Disc] = [Line((at(0.0, 0.0), at(long, 0.0)), "frame")]
    for number in range(1, n + 1):
        gone = sum(drawn[:number])
        shapes.append(Line((at(gone, number * apart), at(gone + long, number * apart)), "moving"))
    tip = at(out + long, n * apart)
    shapes.append(Disc(at(-drum, -drum), drum, "frame"))
    shapes.append(Line((at(-drum, 0.0), at(long, 0.5 * apart), at(out + 0.05 * long, n * apart)), "cord"))
    shapes.append(Disc(tip, 0.4 * apart, "load"))
    return tuple(shapes)
