"""Names in columns that are too narrow for them; counts and lists in words; decimals that a difference needs."""

from __future__ import annotations

from collections.abc import Sequence


def cut(text: str, width: int) -> str:
    """A label of at most `width` signs: first without its "to", then without its middle; names differ at their ends."""
    if len(text) > width:
        text = text.replace(" to ", " ", 1)
    if len(text) <= width:
        return text
    tail = (width - 2) // 3
    return f"{text[: width - 2 - tail]}..{text[len(text) - tail :]}"


def digits_apart(points: float) -> int:
    """Decimals with which a difference that is not 0 does not look like it."""
    size = abs(points)
    return 1 if size >= 0.05 or size == 0.0 else 2 if size >= 0.005 else 3


def times(count: int) -> str:
    """How often: `once`, `twice`, `3 times`."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def listed(names: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
