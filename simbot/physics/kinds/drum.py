"""A drum on which the cord is wound in layers: each lies a cord's diameter further out than the one below.

Used by kinds that wind in a cord; not a kind itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from math import inf, pi
from typing import Any, NamedTuple

import numpy as np

from simbot.physics.tables import Knots, Segment, tabulate
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

Slopes = tuple[Knots, Knots, Knots]
LAYERS = 40  # more than any drum of such a robot takes; a cord that needs more is a slip of units

DRUM = Parameter(
    "drum_diameter",
    "length",
    "of the drum, to the middle of the cord's first layer",
    required=True,
    low=0.001,
    high=0.5,
)
LAYERED = (
    Parameter(
        "drum_width",
        "length",
        "between its flanges; none: the cord lies in one layer",
        low=0.001,
        high=1.0,
    ),
    Parameter("cord_diameter", "length", "of the cord, with `drum_width`", low=1e-4, high=0.05),
)


class Phase(NamedTuple):
    """A stretch of the cord from the end of the one before to `end` [m].

    `mass` and `load` give M, M', M'' and Q, Q'. `met` is the inertia that takes part when the phase is entered
    from a lighter one (momentum is kept): a phase that begins without an impact has that of the one before.
    """

    end: float
    mass: Callable[[Knots], Slopes]
    load: Callable[[Knots], tuple[Knots, Knots]]
    met: float
    steady: bool

    @classmethod
    def constant(cls, end: float, mass: float, load: float, met: float | None = None) -> Phase:
        return cls(
            end,
            lambda q: (np.full_like(q, mass), np.zeros_like(q), np.zeros_like(q)),
            lambda q: (np.full_like(q, load), np.zeros_like(q)),
            mass if met is None else met,
            met is None or met == mass,
        )


def shaft_per_travel(p: Mapping[str, Any]) -> float | None:
    """Turns of the drum per length of cord [rad/m]; None: in layers it is not the same everywhere."""
    return 2.0 / float(p["drum_diameter"]) if p["drum_width"] is None else None


def width_faults(p: Mapping[str, Any]) -> Iterator[tuple[str, Fault]]:
    """What cannot be of a drum with layers."""
    width, cord = p["drum_width"], p["cord_diameter"]
    if (width is None) != (cord is None):
        missing, given = ("cord_diameter", "drum_width") if cord is None else ("drum_width", "cord_diameter")
        yield given, Fault(f"`{given}` says nothing without `{missing}`", p[given].text, "both, or neither")
    elif width is not None:
        low, high = p["travel"]
        if width < cord:
            yield (
                "drum_width",
                Fault(
                    "not one turn of the cord fits between the flanges", width.text, f"at least {cord.text}"
                ),
            )
        elif len(layers(p["drum_diameter"] / 2.0, width, cord, high - low)) > LAYERS:
            yield (
                "drum_width",
                Fault(f"the cord would lie in more than {LAYERS} layers", width.text, "a wider drum"),
            )


def layers(radius: float, width: float, cord: float, length: float) -> list[float]:
    """Cord lengths at which each layer is full [m], from a bare drum; the last is beyond `length`."""
    turns = width / cord
    full: list[float] = []
    while (full[-1] if full else 0.0) < length and len(full) <= LAYERS:
        full.append((full[-1] if full else 0.0) + turns * 2.0 * pi * (radius + len(full) * cord))
    return full


def wound(p: Mapping[str, Any], low: float, phases: Sequence[Phase]) -> tuple[Segment, ...]:
    """Segments from `low` through the phases, cut where a layer of the cord ends.

    The drum is bare (but for what fastens the cord) at `low`. A layer's radius is constant; over the first half
    turn of the next one (the cord climbs on the one below) it grows by the cord's diameter as 3 x² - 2 x³, so
    that the ratio never jumps. Factor of the ratio: radius of the first layer over that at q.
    """
    width, cord = p["drum_width"], p["cord_diameter"]
    radius = float(p["drum_diameter"]) / 2.0
    high = phases[-1].end
    edges: list[tuple[float, float, float]] = []  # from here on: radius, growth over this stretch
    if width is None:
        edges.append((low, radius, 0.0))
    else:
        begin = low
        for number, full in enumerate(layers(radius, float(width), float(cord), high - low)):
            at = radius + number * float(cord)
            if number > 0:
                edges.append((begin, at - float(cord), float(cord)))
                begin += pi * (at - 0.5 * float(cord))
            edges.append((begin, at, 0.0))
            begin = low + full
    edges.append((inf, 0.0, 0.0))
    segments = []
    start = low
    for phase in phases:
        for (at, inner, grows), (to, _, _) in pairwise(edges):
            begin, end = max(start, at), min(phase.end, to)
            if end - begin > 1e-9:
                segments.append(_stretch(begin, end, phase, radius, (at, to, inner, grows)))
        start = phase.end
    return tuple(segments)


def _stretch(
    begin: float, end: float, phase: Phase, radius: float, layer: tuple[float, float, float, float]
) -> Segment:
    at, to, inner, grows = layer

    def factor(q: Knots) -> tuple[Knots, Knots, Knots]:
        x = (q - at) / (to - at) if grows else np.zeros_like(q)
        r = inner + grows * x * x * (3.0 - 2.0 * x)
        slope = grows * 6.0 * x * (1.0 - x) / (to - at)
        bend = grows * 6.0 * (1.0 - 2.0 * x) / (to - at) ** 2
        return radius / r, -radius * slope / r**2, radius * (2.0 * slope**2 / r**3 - bend / r**2)

    if phase.steady and inner == radius and grows == 0.0:
        at_begin = np.array([begin])
        return Segment(begin, end, float(phase.mass(at_begin)[0][0]), float(phase.load(at_begin)[0][0]))
    return replace(tabulate(begin, end, phase.mass, phase.load, factor), mass=phase.met)
