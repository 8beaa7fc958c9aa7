"""Names of steps in columns that are too narrow for them."""

from __future__ import annotations


def cut(text: str, width: int) -> str:
    """A label of at most `width` signs: first without its "to", then without its middle; names differ at their ends."""
    if len(text) > width:
        text = text.replace(" to ", " ", 1)
    if len(text) <= width:
        return text
    tail = (width - 2) // 3
    return f"{text[: width - 2 - tail]}..{text[len(text) - tail :]}"
