"""Limits in messages: in the unit that the user wrote, the SI value beside it."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from simbot.scenario.errors import ValueFault
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
    unit, factor = unit_as_written(text, dimension)
    si = f"{rounded(value, way)} {DIMENSIONS[dimension].si}"
    return si if factor == 1.0 else f"{rounded(value / factor, way)} {unit} ({si})"


def rounded(value: float, way: int = 0, digits: int = 4) -> str:
    """A number to four digits, up or down where it is a limit."""
    if value == 0.0 or not way:
        return f"{value:.{digits}g}"
    exact = Decimal(repr(value))
    step = Decimal(1).scaleb(exact.adjusted() - digits + 1)
    near = exact.quantize(step)
    if abs(near - exact) <= abs(exact) * Decimal("1e-12"):  # what the product of a factor leaves over
        return f"{float(near):.{digits}g}"
    mode = ROUND_CEILING if way > 0 else ROUND_FLOOR
    return f"{float(exact.quantize(step, rounding=mode)):.{digits}g}"
