"""How to read a wait: one of them drawn, with the names of its parts."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle

from simbot.report.figures.style import ALARM, EDGE, INK, PAPER, QUIET, WIDTH

SMALL = 5.5  # pt
HIGH = 1.3


def draw_key(axes: Axes) -> None:
    """A row of the marks in their order, each beside its name."""
    wide = WIDTH - 2 * EDGE
    axes.set_xlim(0.0, wide)
    axes.set_ylim(0.0, 7.5)
    axes.set_xticks([])
    upper, lower = 5.4, 2.2
    axes.add_patch(Rectangle((0.3, upper - HIGH / 2), 5, HIGH, facecolor=INK, edgecolor=INK, linewidth=0.5))
    _name(axes, 6.0, upper, "floor, nothing is faster")
    axes.add_patch(
        Rectangle((30.0, upper - HIGH / 2), 5, HIGH, facecolor=PAPER, edgecolor=INK, linewidth=0.5)
    )
    _name(axes, 35.7, upper, "still moving")
    axes.plot(52.5, upper, "o", color=INK, markersize=3.2, markeredgewidth=0)
    _name(axes, 54.0, upper, "arrival")
    flag(axes, 65.0, upper, INK, False)
    _name(axes, 67.2, upper, "timer")
    axes.add_patch(
        Rectangle(
            (0.3, lower - HIGH / 2), 5, HIGH, facecolor=PAPER, edgecolor=INK, linewidth=0.5, hatch="//////"
        )
    )
    _name(axes, 6.0, lower, "missing")
    axes.plot((16.5, 21.0), (lower, lower), ":", color=INK, linewidth=0.8)
    _name(axes, 21.7, lower, "given away")
    for size, face in ((3.2, INK), (5.6, "none")):
        axes.plot(
            36.0, lower, "o", markersize=size, markerfacecolor=face, markeredgecolor=INK, markeredgewidth=0.5
        )
    _name(axes, 37.9, lower, "waits for it")
    flag(axes, 52.0, lower, ALARM, True)
    _name(axes, 54.2, lower, "breaks what follows", ALARM)


def flag(axes: Axes, x: float, y: float, colour: str, full: bool) -> None:
    axes.plot((x, x), (y - 1.1, y + 1.5), color=colour, linewidth=0.8, solid_capstyle="butt")
    axes.add_patch(
        Polygon(
            ((x, y + 1.5), (x + 1.5, y + 1.05), (x, y + 0.6)),
            facecolor=colour if full else PAPER,
            edgecolor=colour,
            linewidth=0.5,
        )
    )


def _name(axes: Axes, x: float, y: float, text: str, colour: str = QUIET) -> None:
    axes.text(x, y, text, fontsize=SMALL, color=colour, va="center")
