"""What changes are worth, ranked, each with its interval from the one zero line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simbot.report.figures import style
from simbot.report.figures.studied import draw_interval
from simbot.report.figures.style import DASHES, EDGE, HAIR, INK, NOTE, QUIET, RULE, WIDTH

LINE, BAR, AXIS = 2.6, 4.2, 6.0  # mm
BOLD = 1.13  # wider than the plain face


def figure_worth(document: Mapping[str, Any]) -> Figure | None:
    """Changes ranked by what they are worth; None where there are none. Those that change nothing are only named."""
    changes = [*document["changes"], *([document["together"]] if document.get("together") else [])]
    if not changes:
        return None
    nothing = [str(one["change"]) for one in changes if not any([one["points"], *(one["interval"] or [])])]
    drawn = [one for one in changes if str(one["change"]) not in nothing]
    title = f"What each change is worth to {style.plain(str(document['plan']))}"
    base = float(document["base"]["value"])
    below = (
        f"Points a match, one change at a time, {document['runs']} matches each under the same luck; as it is "
        f"{base:.1f}. Bar: 95 % interval; an open dot cannot be told from nothing."
    )
    rest = style.folded(f"No difference at all: {'; '.join(nothing)}.", NOTE) if nothing else []
    names = [_name(one) for one in drawn]
    tops = [sum(LINE * len(name) + BAR for name in names[:row]) for row in range(len(names) + 1)]
    top = style.head_height(title, below)
    figure = style.sheet(top + tops[-1] + (AXIS if drawn else 0.0) + 2.9 * len(rest) + (2.0 if rest else 0.0))
    style.head(figure, title, below)
    if drawn:
        axes = style.panel(figure, top, tops[-1])
        _scale(axes, drawn, tops[-1])
        for one, name, at in zip(drawn, names, tops, strict=False):
            _change(axes, at, one, name)
    at = top + tops[-1] + (AXIS + 1.0 if drawn else 0.0)
    for line in rest:
        style.write(figure, at, line, NOTE, color=QUIET)
        at += 2.9
    return figure


def _told(one: Mapping[str, Any]) -> str:
    text, interval = style.signed(float(one["points"]), 1), one["interval"]
    if interval is None:
        return text
    return f"{text}  ({style.signed(float(interval[0]), 1)} to {style.signed(float(interval[1]), 1)})"


def _name(one: Mapping[str, Any]) -> list[str]:
    room = WIDTH - 2 * EDGE - style.measured(_told(one), NOTE) - 3.0
    return style.folded(str(one["change"]), NOTE, room / BOLD)[:3]


def _scale(axes: Axes, drawn: list[Mapping[str, Any]], height: float) -> None:
    ends = [float(end) for one in drawn for end in (one["interval"] or [one["points"]])]
    low, high = min(0.0, *ends), max(0.0, *ends)
    span = (high - low) or 1.0
    axes.set_xlim(low - (0.04 * span if low < 0.0 else 0.0), high + 0.04 * span)
    axes.set_ylim(height, 0.0)
    style.zero_line(axes)
    style.ticks(axes, "points", sign=True)


def _change(axes: Axes, top: float, one: Mapping[str, Any], name: list[str]) -> None:
    begin, end = axes.get_xlim()
    mm = (end - begin) / (WIDTH - 2 * EDGE)
    look: Any = {"fontsize": NOTE, "va": "top", "bbox": style.blank(), "zorder": 5}
    for row, line in enumerate(name):
        axes.text(begin + 0.8 * mm, top + 0.4 + LINE * row, line, weight="bold", **look)
    axes.text(end, top + 0.4, _told(one), color=QUIET, ha="right", **look)
    value, interval = float(one["points"]), one["interval"]
    low, high = (value, value) if interval is None else (float(interval[0]), float(interval[1]))
    y = top + LINE * len(name) + 2.0
    axes.plot((begin, end), (y, y), color=HAIR, linewidth=0.4, zorder=0)
    axes.plot((0.0, value), (y, y), color=RULE, linewidth=0.7, linestyle=DASHES[2], zorder=2)
    draw_interval(axes, low, value, high, y, INK)
