"""Figures of studies, from their JSON documents: scores, differences, what changes are worth.

A document is data: what it lacks is left out, and what is no number of it is refused with the file's name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simbot.report.classes import Classes, classes_of
from simbot.report.figures import style
from simbot.report.figures.style import (
    DASHES,
    EDGE,
    HAIR,
    HATCHES,
    INK,
    NOTE,
    PAPER,
    PLANS,
    QUIET,
    TEXT,
    WIDTH,
)

Document = Mapping[str, Any]
PLOT, ROW, AXIS = 28.0, 5.0, 6.0  # mm
NAME_ROW = 3.4
MOST_CLASSES = 24


def tally_of(rows: Sequence[Document]) -> dict[float, int]:
    return {float(row["points"]): int(row["matches"]) for row in rows}


# --- scores -------------------------------------------------------------------------------------------


def figure_scores(document: Document) -> Figure:
    """Distributions over one another, and their p10, p50 and p90, of a document of match or compare."""
    named = document.get("plans") or [{**document, "name": document["plan"]}]
    own = document.get("threshold") if document.get("alliance") is None else None
    threshold = None if own is None else float(own)
    seed, battery = document["seed"], ", ".join(document["battery"])
    tallies = [tally_of(one["matches"]) for one in named]
    classes = classes_of(tallies, MOST_CLASSES)
    title = "What a match scores"
    runs = min(each.total for each in classes)
    below = f"EXPECTED, with chance: {runs} matches, seed {seed}, battery {battery}. Tick, dot, tick: p10, p50, p90."
    top = style.head_height(title, below)
    rows = (NAME_ROW + ROW) * len(named)
    figure = style.sheet(top + PLOT + AXIS + 1.0 + rows)
    style.head(figure, title, below)
    first, last = _extent(classes[0], threshold)
    axes = style.panel(figure, top, PLOT, right=EDGE + 4.0)
    most = max(count / each.total for each in classes for count in each.counts)
    for number, (one, each) in enumerate(zip(named, classes, strict=True)):
        _outline(axes, each, number, str(one["name"]))
    axes.set_xlim(first, last)
    axes.set_ylim(0.0, most * 1.22)
    _shares(axes, most)
    style.zero_line(axes, first)
    below_axes = style.panel(figure, top + PLOT + AXIS + 1.0, rows, right=EDGE + 4.0)
    below_axes.set_xlim(first, last)
    below_axes.set_ylim(rows, 0.0)
    below_axes.set_xticks([])
    for number, one in enumerate(named):
        _quantiles(below_axes, (NAME_ROW + ROW) * number, number, one)
    style.zero_line(below_axes, first)
    if threshold is not None:
        for each_axes in (axes, below_axes):
            each_axes.axvline(threshold, color=INK, linewidth=0.8, linestyle=DASHES[3], zorder=3)
        axes.text(threshold, most * 1.21, f" {threshold:g}", fontsize=NOTE, weight="bold", va="top")
    return figure


def _extent(classes: Classes, threshold: float | None) -> tuple[float, float]:
    last = classes.first + classes.step * len(classes.counts)
    ends = [classes.first, last, *(() if threshold is None else (threshold,))]
    low = 0.0 if 0.0 <= min(ends) <= 0.6 * max(ends) else min(ends)
    return low, max(ends) + 0.02 * (max(ends) - low)


def _outline(axes: Axes, classes: Classes, number: int, name: str) -> None:
    """Steps of one plan: a face in its hatch, an edge in its dash, its name at its highest class."""
    colour, hatch = PLANS[number % len(PLANS)], HATCHES[number % len(HATCHES)]
    edges = [classes.first + classes.step * k for k in range(len(classes.counts) + 1)]
    shares = [count / classes.total for count in classes.counts]
    axes.stairs(shares, edges, color=colour, linewidth=1.1, linestyle=DASHES[number % len(DASHES)], zorder=3)
    if hatch is None:
        axes.stairs(shares, edges, fill=True, color=colour, alpha=0.25, linewidth=0.0, zorder=1)
    else:
        axes.stairs(
            shares,
            edges,
            fill=True,
            facecolor="none",
            edgecolor=colour,
            hatch=hatch,
            linewidth=0.0,
            alpha=0.6,
        )


def _shares(axes: Axes, most: float) -> None:
    step = next(each for each in (0.02, 0.05, 0.1, 0.2, 0.25, 0.5) if each * 4 >= most)
    level = step
    while level <= most:
        axes.axhline(level, color=HAIR, linewidth=0.4, zorder=0)
        axes.text(
            axes.get_xlim()[0],
            level,
            f" {100 * level:.0f} % of matches" if level == step else f" {100 * level:.0f} %",
            fontsize=5.5,
            color=QUIET,
            va="bottom",
            zorder=5,
        )
        level += step
    style.ticks(axes, "points", whole=True)


def _quantiles(axes: Axes, top: float, number: int, one: Document) -> None:
    points = one["points"]
    low, middle, high = (float(points[key]) for key in ("p10", "p50", "p90"))
    colour, y = PLANS[number % len(PLANS)], top + NAME_ROW + 1.2
    begin, end = axes.get_xlim()
    mm = (end - begin) / (WIDTH - 2 * EDGE - 4.0)
    mean = f"mean {float(points['mean']):.1f}"
    interval = points.get("mean_interval")
    if interval is not None:
        mean += f" ({float(interval[0]):.1f} to {float(interval[1]):.1f})"
    name = style.fitted(str(one["name"]), TEXT, 34.0)
    axes.text(begin + 0.8 * mm, top + 0.4, name, fontsize=TEXT, weight="bold", color=colour, va="top")
    axes.text(
        end + 4.0 * mm,
        top + 0.4,
        mean,
        fontsize=NOTE,
        color=QUIET,
        va="top",
        ha="right",
        bbox=style.blank(),
        zorder=6,
    )
    axes.plot((low, high), (y, y), color=colour, linewidth=1.2, linestyle=DASHES[number % len(DASHES)])
    for at in (low, high):
        axes.plot((at, at), (y - 0.8, y + 0.8), color=colour, linewidth=1.2)
    axes.plot(middle, y, "o", color=colour, markersize=3.6)
    for at, side, step in ((low, "right", -1.0), (high, "left", 1.0)):
        axes.text(at + step * mm, y, f"{at:.0f}", fontsize=NOTE, color=INK, va="center", ha=side)
    axes.text(
        middle,
        y + 1.0,
        f"{middle:.0f}",
        fontsize=NOTE,
        weight="bold",
        va="top",
        ha="center",
        bbox=style.blank(),
        zorder=6,
    )


# --- the difference -----------------------------------------------------------------------------------


def figure_difference(document: Document, number: int) -> Figure:
    """Match by match, the first plan's points less the second's, of a pair of compare; mean and interval below."""
    pair = document["pairs"][number]
    seed, battery = document["seed"], ", ".join(document["battery"])
    first, second = (style.fitted(str(pair[key]), NOTE, 28.0) for key in ("first", "second"))
    (classes,) = classes_of([tally_of(pair["matches"])], MOST_CLASSES)
    mean = float(pair["difference"]["value"])
    interval = pair["difference"]["interval"]
    title = f"{first} less {second}, match by match"
    below = f"Same luck for both: {classes.total} matches, seed {seed}, battery {battery}."
    top = style.head_height(title, below)
    figure = style.sheet(top + PLOT + AXIS + 8.0)
    style.head(figure, title, below)
    axes = style.panel(figure, top, PLOT)
    edges = [classes.first + classes.step * k for k in range(len(classes.counts) + 1)]
    shares = [count / classes.total for count in classes.counts]
    wide = max(abs(edges[0]), abs(edges[-1])) * 1.04
    axes.set_xlim(-wide, wide)
    axes.set_ylim(0.0, max(shares) * 1.3)
    axes.stairs(shares, edges, fill=True, color=PLANS[0], alpha=0.25, linewidth=0.0, zorder=1)
    axes.stairs(shares, edges, color=PLANS[0], linewidth=1.0, zorder=3)
    style.zero_line(axes)
    wins = float(pair["chance_first_wins"]["value"])
    ties = float(pair.get("chance_tie") or 0.0)
    high = max(shares) * 1.28
    left = f"{second} wins {100 * (1 - wins - ties):.0f} %"
    for at, text, side in ((-wide, left, "left"), (wide, f"{first} wins {100 * wins:.0f} %", "right")):
        axes.text(at, high, text, fontsize=TEXT, weight="bold", ha=side, va="top")
    style.ticks(axes, "points", sign=True, whole=True)
    _mean(style.panel(figure, top + PLOT + AXIS, 7.0), mean, interval, wide)
    return figure


def _mean(axes: Axes, mean: float, interval: Sequence[float] | None, wide: float) -> None:
    axes.set_xlim(-wide, wide)
    axes.set_ylim(0.0, 7.0)
    axes.set_xticks([])
    style.zero_line(axes)
    low, high = (mean, mean) if interval is None else (float(interval[0]), float(interval[1]))
    draw_interval(axes, low, mean, high, 5.2, PLANS[0])
    text = f"mean {style.signed(mean, 1)}"
    if interval is not None:
        text += f" ({style.signed(low, 1)} to {style.signed(high, 1)}, 95 %)"
    side = "left" if mean >= 0.0 else "right"
    away = 0.03 * wide if mean >= 0.0 else -0.03 * wide
    axes.text(away, 3.8, text, fontsize=NOTE, va="top", ha=side)


def draw_interval(axes: Axes, low: float, middle: float, high: float, y: float, colour: str) -> None:
    """A 95 % interval and its middle; an open dot cannot be told from nothing."""
    told = low > 0.0 or high < 0.0
    axes.plot((low, high), (y, y), color=colour, linewidth=1.2, zorder=5, solid_capstyle="butt")
    for at in (low, high):
        axes.plot((at, at), (y - 0.7, y + 0.7), color=colour, linewidth=1.2, zorder=5)
    axes.plot(
        middle,
        y,
        "o",
        markersize=3.8,
        markerfacecolor=colour if told else PAPER,
        markeredgecolor=colour,
        markeredgewidth=0.9,
        zorder=6,
    )
