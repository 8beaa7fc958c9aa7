"""Slide on a spool: stages drawn by a cord, continuous (one cord through all) or cascade (each carries the next).

Geometry: the coordinate is the travel of the tip along the rails [m]; `incline` is the rails' angle from
the horizontal. With the cord's travel s = tip/n for a cascade of n stages, stage i (bottom first) moves i s.
"""

from __future__ import annotations

from math import pi

from simbot.physics.kinds.common import DAMPING, DRIVEN, FRICTION, STATIC, TRAVEL
from simbot.scenario.parameters import Parameter

NAME = "slide"
COORDINATE = "length"
SUMMARY = "spool slide, continuous or cascade"
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    Parameter("drum_diameter", "length", "diameter of the spool, to the middle of the cord", required=True,
              low=0.001, high=0.5),
    Parameter("moving_mass", "mass", "of each moving stage, bottom first; one number is the whole of a single stage",
              shape="one_or_list", required=True, low=0.0, open_low=True, high=200.0),
    Parameter("rigging", "choice", "how the cord draws the stages", default="continuous",
              choices=("continuous", "cascade")),
    Parameter("stages", "count", "moving stages", default=1, low=1, high=8),
    Parameter("incline", "angle", "of the rails from the horizontal", default=pi / 2, low=-pi / 2, high=pi / 2),
    Parameter("cord", "choice", "pulls: lowered by its weight alone; pulls_both_ways: a loop of cord",
              default="pulls_both_ways", choices=("pulls_both_ways", "pulls")),
    FRICTION,
    STATIC,
    DAMPING,
)
