"""Limits in messages: in the unit that the user wrote, the SI value beside it."""

from __future__ import annotations

from simbot.scenario.errors import ValueFault
from simbot.scenario.limits import beside
from simbot.scenario.unit_table import DIMENSIONS
from simbot.scenario.units import NO_SCALE, SPREAD, factor_of, number


def unit_as_written(text: str, dimension: str) -> tuple[str, float]:
    """The unit of a text and its factor to SI, such as ("psi", 6894.757) of `100 psi`; else the SI unit and 1.

    What is written with a scale of the mechanism's own (counts, a share of the range) counts as SI.
    """
    kind = DIMENSIONS[dimension]
    try:
        _, unit = number(SPREAD.split(text)[0], text, "")
        return unit, factor_of(unit, kind, text, NO_SCALE)
    except ValueFault:
        return kind.si, 1.0


def told(value: float, dimension: str, text: str, way: int = 0) -> str:
    """A value in the unit of `text` with the SI value beside it: `0.84 in (0.02134 m)`; in SI alone where that is it.

    Parameters
    ----------
    value : float
        SI.
    text : str
        As the user wrote a value of this dimension.
    way : int
        1 rounds up, -1 down, so that a limit that is typed as it is told will do; 0 to the nearest.
    """
    return beside(value, DIMENSIONS[dimension].si, unit_as_written(text, dimension), way)
