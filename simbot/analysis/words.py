"""Numbers as the sentences of findings say them."""

from __future__ import annotations

from collections.abc import Sequence
from math import degrees, pi


def ms(time_us: int) -> str:
    """A duration: `130 ms`, `2.6 ms`."""
    value = time_us / 1000
    return f"{value:.0f} ms" if abs(value) >= 9.5 else f"{value:.2g} ms"


def clock(at_us: int) -> str:
    """An instant of the match: `12.340 s`."""
    return f"{at_us * 1e-6:.3f} s"


def extent(value: float | str, coordinate: str) -> str:
    """A position, or a way from one to another: `0.42 m`, `61.3 deg`; a word is itself."""
    if isinstance(value, str):
        return value
    if coordinate == "angular_speed":
        return f"{value * 30.0 / pi:.4g} rpm"
    return f"{degrees(value):.1f} deg" if coordinate == "angle" else f"{value:.4g} m"


def the(mechanism: str) -> str:
    """`the lift`; a name that may be a plural as one that any verb goes with: `the mechanism slides`."""
    plural = mechanism.endswith("s") and not mechanism.endswith(("ss", "us", "is"))
    return f"the {'mechanism ' if plural else ''}{mechanism}"


def counted(number: int, what: str) -> str:
    """How many: `1 match`, `2 matches`, `1 day`."""
    plural = "es" if what.endswith("ch") else "s"
    return f"{number} {what}{'' if number == 1 else plural}"


def often(times: int) -> str:
    """How often, to stand behind what happens: nothing for once, ` twice`, ` 12 times`."""
    return {1: "", 2: " twice"}.get(times, f" {times} times")


def times(count: int) -> str:
    """How often: `once`, `twice`, `3 times`."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def listed(names: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`; nothing of none."""
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else "".join(names)
