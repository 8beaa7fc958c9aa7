"""Names in columns that are too narrow for them; and how many decimals a difference of points needs."""

from __future__ import annotations


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
