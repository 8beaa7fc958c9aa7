"""Rack and pinion: a pinion drives a carriage along straight rails, both ways.

Geometry: the coordinate is the carriage's travel along the rails [m]; `incline` is the rails' angle from the
horizontal.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simbot.physics.kinds.carriage import CARRIAGE, along, carriage, carriage_outline
from simbot.physics.kinds.common import DRIVEN
from simbot.physics.outline import Disc, Outline
from simbot.physics.tables import Reduced
from simbot.scenario.parameters import Parameter

NAME = "rack"
COORDINATE = "length"
SUMMARY = "rack and pinion at an incline"
PARAMETERS = (
    *DRIVEN,
    Parameter(
        "pinion_diameter",
        "length",
        "pitch diameter of the pinion: module x teeth",
        required=True,
        low=0.001,
        high=0.5,
    ),
    *CARRIAGE,
)
EXAMPLE = """\
motors: 1 x NAME
gearing: [{ratio: 2:1}]   # efficiency not stated: 25 to 50 % in all
travel: [0 m, 0.4 m]
pinion_diameter: 30 mm
moving_mass: 0.8 kg
"""
SKETCH = r"""
                          / high
                  +----+ /
                 / load /        travel: along the rails from low to high,
                +----+ /         0 wherever you like
                   //////  rack
                  / (O)    <- pinion_diameter: where the teeth meet
                 /   motor
            low /
               / ) incline
              /__________  level
"""


def shaft_per_travel(p: Mapping[str, Any]) -> float:
    """Turns of the pinion per travel [rad/m]."""
    return 2.0 / float(p["pinion_diameter"])


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a carriage with `payload` [kg]: M = m, Q = m g sin(incline), ratio 2/pinion_diameter."""
    return carriage(p, payload, shaft_per_travel(p))


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view, origin where the coordinate is 0: rails, carriage, and the pinion at the middle of the travel."""
    diameter = float(p["pinion_diameter"])
    low, high = (float(end) for end in p["travel"])
    pinion = Disc(along(p, 0.5 * (low + high), -0.5 * diameter), 0.5 * diameter, "moving")
    return (*carriage_outline(p, q, 2.0 * diameter), pinion)
