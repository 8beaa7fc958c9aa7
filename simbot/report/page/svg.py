"""Pieces of SVG as text. All text is escaped here; places along an axis are shares of its length in per cent.

A drawing whose places are per cents fits any width without its type growing or shrinking.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from textwrap import wrap

Value = str | float | int
LINE = 15  # from one line of a text to the next


def number(value: float, digits: int = 1) -> str:
    """Shortest decimal text with at most so many digits after the point."""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def tag(name: str, body: str = "", **attributes: Value | None) -> str:
    """An element; `body` is markup. `_` in a name stands for `-`, a last one for nothing, None leaves it out."""
    parts = []
    for key, value in attributes.items():
        if value is None:
            continue
        text = number(value, 2) if isinstance(value, float) else str(value)
        parts.append(f' {key.rstrip("_").replace("_", "-")}="{escape(text)}"')
    head = f"<{name}{''.join(parts)}"
    return f"{head}>{body}</{name}>" if body else f"{head}/>"


def words(
    text: str, x: Value, y: Value, class_: str | None = None, anchor: str | None = None, **more: Value
) -> str:
    """A line of text."""
    return tag("text", escape(text), x=x, y=y, class_=class_, text_anchor=anchor, **more)


def folded(
    text: str, x: Value, y: float, most: int, class_: str | None = None, dx: float = 0.0
) -> tuple[list[str], float]:
    """A text in lines of at most so many characters, the first one at y, and where the last one stands."""
    lines = wrap(text, most) or [""]
    out = [words(line, x, y + LINE * number, class_, dx=dx) for number, line in enumerate(lines)]
    return out, y + LINE * (len(lines) - 1)


def title(text: str) -> str:
    return f"<title>{escape(text)}</title>"


def percent(value: float, whole: float) -> str:
    """Share of an axis."""
    return f"{number(100.0 * value / whole if whole else 0.0, 3)}%"


def drawing(body: Iterable[str], height: float, label: str, **more: Value | None) -> str:
    """A drawing as wide as its place."""
    return tag(
        "svg",
        "".join(body),
        width="100%",
        height=height,
        role="img",
        aria_label=label,
        focusable="false",
        **more,
    )


def stretched(body: str, width: float, height: float, **more: Value | None) -> str:
    """A part with coordinates of its own along the width; its lines keep their strength."""
    return tag(
        "svg", body, height=height, viewBox=f"0 0 {number(width)} {number(height)}", preserveAspectRatio="none",
        **{"width": "100%", **more},
    )  # fmt: skip


def polyline(points: Sequence[tuple[float, float]], class_: str) -> str:
    text = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return tag("polyline", points=text, class_=class_, vector_effect="non-scaling-stroke")
