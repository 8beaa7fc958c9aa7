"""Numbers of limits in messages: a limit that is typed as it is told will do."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

LEFT_OVER = Decimal("1e-12")  # relative: what the product of a factor leaves over


def beside(value: float, si: str, written: tuple[str, float], way: int = 0) -> str:
    """A value [SI] in a unit of this factor with the SI value beside it: `0.84 in (0.02134 m)`."""
    unit, factor = written
    in_si = f"{rounded(value, way)} {si}".strip()
    return in_si if factor == 1.0 else f"{rounded(value / factor, way)} {unit} ({in_si})"


def rounded(value: float, way: int = 0, digits: int = 4) -> str:
    """A number to four digits, up or down where it is a limit."""
    if value == 0.0 or not way:
        return f"{value:.{digits}g}"
    exact = Decimal(repr(value))
    step = Decimal(1).scaleb(exact.adjusted() - digits + 1)
    near = exact.quantize(step)
    if abs(near - exact) <= abs(exact) * LEFT_OVER:
        return f"{float(near):.{digits}g}"
    mode = ROUND_CEILING if way > 0 else ROUND_FLOOR
    return f"{float(exact.quantize(step, rounding=mode)):.{digits}g}"
