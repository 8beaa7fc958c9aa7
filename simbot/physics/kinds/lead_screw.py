"""Lead screw: a nut on a turning screw carries the load; with a flat enough thread it holds without current.

Geometry: the coordinate is the nut's travel along the screw [m]; `incline` is the screw's angle from the
horizontal. Whether it locks follows from its lead angle and its friction.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import tau
from typing import Any

from simbot.physics.kinds.carriage import CARRIAGE, along, carriage, carriage_outline
from simbot.physics.kinds.common import DRIVEN
from simbot.physics.kinds.screw import SCREW, lead_of, screw_faults, screw_stages
from simbot.physics.outline import Line, Outline
from simbot.physics.tables import Reduced
from simbot.scenario.errors import Fault
from simbot.scenario.model import GearStage

NAME = "lead_screw"
COORDINATE = "length"
SUMMARY = "nut on a lead screw"
PARAMETERS = (*DRIVEN, *SCREW, *CARRIAGE)
EXAMPLE = """\
motors: 1 x NAME
travel: [0 m, 0.3 m]
pitch: 2 mm
mean_diameter: 7 mm
moving_mass: 1.5 kg
"""
SKETCH = r"""
            incline 90 deg:        thread, unrolled over one turn:
      high  =+=
             |                                     . '|
             |   <- screw                     . '     |  lead =
        +----|----+                      . '          |  starts x pitch
        | nut and |  moving_mass    . ' )lead angle   |
        | load    |                '------------------+
        +----|----+                   pi x mean_diameter
             |
      low   =+=      it locks where the lead angle is below the angle of
           motor     friction: tan = thread_friction / cos(flank_angle)
"""


def shaft_per_travel(p: Mapping[str, Any]) -> float:
    """Turns of the screw per travel [rad/m]."""
    return tau / lead_of(p)


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a nut with `payload` [kg]: M = m, Q = m g sin(incline), ratio 2 pi/lead (loss: own_stages)."""
    return carriage(p, payload, shaft_per_travel(p))


def own_stages(p: Mapping[str, Any]) -> tuple[GearStage, ...]:
    """The thread's loss, after those of the gearing."""
    return screw_stages(p)


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[tuple[str, ...], Fault]]:
    return screw_faults(p)


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view, origin where the coordinate is 0: the screw and the nut on it."""
    diameter = float(p["mean_diameter"])
    low, high = (float(end) for end in p["travel"])
    screw = tuple(
        along(p, end, side * diameter) for end, side in ((low, -1), (low, 1), (high, 1), (high, -1))
    )
    return (*carriage_outline(p, q, 4.0 * diameter), Line(screw, "frame", closed=True))
