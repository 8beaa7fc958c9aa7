"""Where the mean cycle's time goes, plan beside plan, each part from the same zero line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simbot.report.figures import style
from simbot.report.figures.style import HATCHES, NOTE, PAPER, PLANS, TEXT
from simbot.studies.shown import Shown

PARTS = (
    ("driving_s", "driving", "to the arrival"),
    ("moving_s", "moving", "mechanisms under way while it stands"),
    ("stations_s", "at stations and places", "waiting for them"),
    ("timers_s", "timers", "marked waits, and the guard"),
    ("given_away_s", "given away", "beyond the guard"),
)
BAR, GAP, LABEL, SUM = 2.2, 2.0, 3.2, 4.0  # mm


def figure_cycle(plans: Sequence[Shown]) -> Figure | None:
    """None where no plan has a whole cycle."""
    timed = [(number, shown) for number, shown in enumerate(plans) if shown.state.time is not None]
    if not timed:
        return None
    state = plans[0].state.name
    title, below = "Where one cycle's seconds go", f"NOMINAL, {state}: mean over whole cycles."
    group = LABEL + BAR * len(timed) + GAP
    height = style.head_height(title, below) + SUM * len(timed) + group * len(PARTS) + 6.0
    figure = style.sheet(height)
    top = style.head(figure, title, below)
    most = max(getattr(shown.state.time, key) for _, shown in timed for key, _, _ in PARTS) or 1.0
    for number, shown in timed:
        _sum(figure, top, number, shown)
        top += SUM
    axes = style.panel(figure, top, group * len(PARTS), right=14.0)
    axes.set_xlim(0.0, most)
    axes.set_ylim(group * len(PARTS), 0.0)
    style.zero_line(axes)
    for row, (key, name, note) in enumerate(PARTS):
        _part(axes, row * group, key, name, note, timed)
    style.ticks(axes, "s")
    return figure


def _sum(figure: Figure, top: float, number: int, shown: Shown) -> None:
    """The plan's mark, its name, and its mean cycle."""
    axes = style.panel(figure, top, 2.4, right=style.WIDTH - style.EDGE - 5.0)
    axes.set_xticks([])
    axes.set_xlim(0.0, 1.0)
    axes.barh(0.0, 1.0, **_face(number))
    rate = "" if shown.state.points_per_s is None else f", {shown.state.points_per_s:.2f} points a second"
    text = f"{shown.plan.name}: {shown.state.cycle_time_s:.2f} s a cycle{rate}"
    style.write(figure, top + 0.2, style.fitted(text, TEXT, 68.0), left=8.5)


def _face(number: int) -> dict[str, Any]:
    colour, hatch = PLANS[number % len(PLANS)], HATCHES[number % len(HATCHES)]
    face = {"color": colour} if hatch is None else {"color": PAPER, "edgecolor": colour, "hatch": hatch}
    return {**face, "linewidth": 0.5}


def _part(axes: Axes, top: float, key: str, name: str, note: str, timed: Sequence[tuple[int, Shown]]) -> None:
    wide = axes.get_xlim()[1] / (style.WIDTH - style.EDGE - 14.0)
    axes.text(0.8 * wide, top + LABEL - 0.6, name, fontsize=NOTE, weight="bold", va="baseline")
    away = (style.measured(name, NOTE) * 1.15 + 2.2) * wide
    axes.text(away, top + LABEL - 0.6, note, fontsize=NOTE, color=style.QUIET, va="baseline")
    for row, (number, shown) in enumerate(timed):
        value = getattr(shown.state.time, key)
        y = top + LABEL + BAR * (row + 0.5)
        axes.barh(y, value, height=BAR * 0.86, **_face(number))
        axes.text(value + 0.8 * wide, y, f"{value:.2f}", fontsize=NOTE, va="center", clip_on=False)
