"""The marks of a wait: solid bar floor, hollow bar to the arrival, dot arrival, post with a flag timer."""

from __future__ import annotations

from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle

from simbot.analysis.results import MoveResult
from simbot.report.figures.style import ALARM, INK, PAPER
from simbot.report.summary import breaks, no_arrival, waits_for_arrival

DOT, POST = 3.2, 0.8  # pt


def draw_wait(axes: Axes, move: MoveResult, start: float, y: float, high: float, per_mm: float) -> float:
    """One wait on an axis of seconds, its bar from y up by `high`; where it ends [s].

    per_mm: seconds a millimetre, for what keeps its size.
    """
    floor, arrival, timer = (
        None if each is None else each * 1e-6 for each in (move.floor_us, move.arrival_us, move.timer_us)
    )
    broken, waits = breaks(move), waits_for_arrival(move)
    colour = ALARM if broken else INK
    travel = arrival if arrival is not None else max(timer or 0.0, floor or 0.0) + 3.0 * per_mm
    if move.unfinished_us is not None:
        travel = move.unfinished_us * 1e-6
    _bar(axes, start, travel, y, high, fill=False)
    if floor is not None:
        _bar(axes, start, min(floor, travel), y, high, fill=True)
    if timer is not None and not waits and timer < travel:
        _missing(axes, start + timer, travel - timer, y, high, colour)
    middle, end = y + high / 2, start + travel
    if arrival is None:
        axes.text(end + per_mm, middle, no_arrival(move), fontsize=5.5, color=colour, va="center")
        end += 6.0 * per_mm
    else:
        _dot(axes, end, middle, waits)
    if timer is not None and not waits:
        if timer > travel:
            axes.plot(
                (start + travel, start + timer), (middle, middle), ":", color=INK, linewidth=0.8, zorder=3
            )
        _flag(axes, start + timer, y, high, per_mm, colour, broken, move.consequence == "harmless")
    return max(end, start + (timer or 0.0)) + 1.2 * per_mm


def _bar(axes: Axes, start: float, length: float, y: float, high: float, fill: bool) -> None:
    face = INK if fill else PAPER
    axes.add_patch(
        Rectangle((start, y), length, high, facecolor=face, edgecolor=INK, linewidth=0.5, zorder=2.5)
    )


def _missing(axes: Axes, start: float, length: float, y: float, high: float, colour: str) -> None:
    look: dict[str, Any] = {"facecolor": PAPER, "edgecolor": colour, "linewidth": 0.5, "hatch": "//////"}
    axes.add_patch(Rectangle((start, y), length, high, zorder=2.7, **look))


def _dot(axes: Axes, x: float, y: float, waits: bool) -> None:
    axes.plot(x, y, "o", color=INK, markersize=DOT, markeredgewidth=0.0, zorder=5)
    if waits:
        ring: Any = {"markerfacecolor": "none", "markeredgecolor": INK, "markeredgewidth": 0.5}
        axes.plot(x, y, "o", markersize=DOT + 2.4, zorder=5, **ring)


def _flag(
    axes: Axes, x: float, y: float, high: float, per_mm: float, colour: str, full: bool, hatched: bool
) -> None:
    top = y + 2.4 * high
    axes.plot((x, x), (y - 0.2 * high, top), color=colour, linewidth=POST, zorder=6, solid_capstyle="butt")
    corners = ((x, top), (x + 1.5 * per_mm, top - 0.35 * high), (x, top - 0.7 * high))
    face = colour if full else PAPER
    hatch = "/////////" if hatched else None
    axes.add_patch(
        Polygon(
            corners, facecolor=face, edgecolor=colour, linewidth=0.5, hatch=hatch, zorder=6, joinstyle="miter"
        )
    )
