"""Names of units that the own table does not list, looked up in pint: loaded on the first such name only."""

from __future__ import annotations

import warnings
from functools import cache
from typing import Any

Powers = tuple[int, ...]
_BASES = {"meter": 0, "kilogram": 1, "second": 2, "ampere": 3, "radian": 4, "kelvin": 6}


@cache
def registry() -> Any:
    """The one pint registry; its cache lies in the user's cache folder where that can be written."""
    import pint
    from platformdirs import user_cache_path

    try:
        folder = user_cache_path("simbot") / "units"
        folder.mkdir(parents=True, exist_ok=True)
        return pint.UnitRegistry(cache_folder=folder)
    except (OSError, ValueError, EOFError):  # no such folder, not writable, full, or a damaged cache
        return pint.UnitRegistry()


def look_up(word: str) -> tuple[float, Powers] | None:
    """Factor to SI and powers of m, kg, s, A, rad, count, K of a unit's name; None where there is no such unit."""
    if not word.isascii() or not word.isalpha():
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            base = registry().Quantity(1.0, word).to_base_units()
            parts = base.unit_items()
            offset = registry().Quantity(0.0, word).to_base_units().magnitude
        except Exception:  # whatever pint or its parser makes of an arbitrary word: it is no unit
            return None
    powers = [0] * 7
    for name, power in parts:
        if name not in _BASES or power != int(power):
            return None
        powers[_BASES[name]] = int(power)
    if offset or not parts:
        return None
    return float(base.magnitude), tuple(powers)
