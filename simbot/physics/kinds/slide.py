"""Slide on a spool: stages drawn by a cord, continuous (one cord through all) or cascade (each carries the next).

Geometry: the coordinate is the travel of the tip along the rails [m]; `incline` is the rails' angle from
the horizontal. With the cord's travel s = tip/n for a cascade of n stages, stage i (bottom first) moves i s.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import inf, pi, sin
from typing import Any

from simbot.physics.kinds.common import CORD_RATING, DAMPING, DRIVEN, FRICTION, STATIC, TRAVEL
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
