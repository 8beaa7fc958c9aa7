"""The field from above with the ways that were driven: a knot each 0.2 s, a ring where it stood, with the seconds."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, hypot, sin
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from simbot.report.figures import style
from simbot.report.figures.style import DASHES, EDGE, HAIR, INK, NOTE, PAPER, PLANS, QUIET, RULE, WIDTH
from simbot.report.figures.timeline import Window, window_of
from simbot.scenario.model import Game, Pose
from simbot.studies.shown import Shown

Array = npt.NDArray[np.float64]
KNOT_S, STOOD_S = 0.2, 0.4  # s
STILL, UNTURNED = 2e-3, 5e-3  # m, rad a sample
SMALL = 5.5  # pt
NEAR = 0.25  # m: stops so close are one


@dataclass
class Stop:
    x: float
    y: float
    seconds: float


def figure_field(shown: Shown, window: Window | None = None) -> Figure | None:
    """One cycle on the field; None where the robot has no drive or never leaves its place."""
    window = window or window_of(shown)
    t, poses = shown.course.t, shown.course.poses
    there = (t >= window.begin) & (t <= window.end)
    t, poses = t[there], poses[there]
    if not len(t) or float(np.ptp(poses[:, :2], axis=0).max()) < STILL:
        return None
    game = shown.plan.game
    title = f"{shown.plan.name}: where the robot drives"
    below = (
        f"From above, NOMINAL, {shown.state.name}, {t[0]:.1f} to {t[-1]:.1f} s, {window.name}. A knot each 0.2 s: "
        "knots far apart mean fast. A ring is where it stands, with its seconds. Full outline: where it begins, "
        "dashed: where it ends."
    )
    top = style.head_height(title, below)
    wide = WIDTH - 2 * EDGE
    height = wide * game.width / game.length
    figure = style.sheet(top + height + 6.5)
    style.head(figure, title, below)
    axes = style.panel(figure, top, height)
    axes.set_xlim(0.0, game.length)
    axes.set_ylim(0.0, game.width)
    _ground(axes, game)
    _way(axes, t, poses)
    size = (shown.plan.robot.length, shown.plan.robot.width)
    for pose, face, edge in ((poses[0], INK, INK), (poses[-1], "none", RULE)):
        _robot(axes, Pose(*(float(value) for value in pose)), size, face, edge)
    _stops(axes, stops_of(t, poses))
    style.ticks(axes, "m")
    return figure


def _ground(axes: Axes, game: Game) -> None:
    """Border, obstacles, and a mark at every station (square) and place (diamond) towards which the robot stands."""
    axes.add_patch(
        Rectangle(
            (0.0, 0.0), game.length, game.width, fill=False, edgecolor=INK, linewidth=0.9, clip_on=False
        )
    )
    for metre in range(1, int(np.ceil(max(game.length, game.width)))):
        axes.axvline(metre, color=HAIR, linewidth=0.4, zorder=0)
        axes.axhline(metre, color=HAIR, linewidth=0.4, zorder=0)
    for corners in (solid.corners for solid in game.solids):
        look: Any = {"facecolor": PAPER, "edgecolor": QUIET, "hatch": "xxxx", "linewidth": 0.6}
        axes.add_patch(Polygon(corners, closed=True, zorder=1, **look))
    spots: dict[tuple[float, float], list[tuple[str, str]]] = {}
    for mark, group in (("s", game.stations), ("D", game.places)):
        for name, one in group.items():
            spots.setdefault((round(one.pose.x, 3), round(one.pose.y, 3)), []).append((name, mark))
    taken: list[tuple[float, float, float, float]] = []
    for (x, y), names in spots.items():
        for _, mark in names:
            axes.plot(
                x,
                y,
                mark,
                markersize=3.4,
                markerfacecolor=PAPER,
                markeredgecolor=QUIET,
                markeredgewidth=0.8,
                zorder=2,
            )
        _names(axes, game, [name for name, _ in names], (x, y), taken)


def _names(
    axes: Axes,
    game: Game,
    names: list[str],
    at: tuple[float, float],
    taken: list[tuple[float, float, float, float]],
) -> None:
    """The names of what lies at a spot, under one another, above it or below it, clear of other names."""
    per_mm = game.length / (WIDTH - 2 * EDGE)
    texts = [style.fitted(name, SMALL, 30.0) for name in names]
    half = max(style.measured(text, SMALL) for text in texts) * per_mm / 2
    high, line = 2.3 * per_mm * len(texts), 1.2 * per_mm
    x = min(max(at[0], half + per_mm), game.length - half - per_mm)
    below = at[1] + line + high > game.width - per_mm
    for step in range(6):
        away = line + (high + 0.2 * per_mm) * step
        low = at[1] - away - high if below else at[1] + away
        box = (x - half, low, x + half, low + high)
        if not any(_overlap(box, other) for other in taken):
            break
    taken.append(box)
    axes.text(
        x,
        low + high / 2,
        "\n".join(texts),
        fontsize=SMALL,
        color=QUIET,
        ha="center",
        va="center",
        linespacing=1.05,
        zorder=7,
        bbox=style.blank(),
    )


def _overlap(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _way(axes: Axes, t: Array, poses: Array) -> None:
    axes.plot(poses[:, 0], poses[:, 1], color=PLANS[0], linewidth=1.1, zorder=3, solid_joinstyle="round")
    knots = np.arange(np.ceil(t[0] / KNOT_S) * KNOT_S, t[-1], KNOT_S)
    x, y = (np.interp(knots, t, poses[:, column]) for column in (0, 1))
    axes.plot(x, y, "o", color=PLANS[0], markersize=2.0, markeredgewidth=0.0, zorder=4)


def _robot(axes: Axes, pose: Pose, size: tuple[float, float], face: str, edge: str) -> None:
    """Its outline, and a nose on the side it looks to."""
    c, s = cos(pose.heading), sin(pose.heading)

    def at(along: float, across: float) -> tuple[float, float]:
        return pose.x + c * along - s * across, pose.y + s * along + c * across

    half, side = size[0] / 2, size[1] / 2
    corners = [at(half, side), at(half, -side), at(-half, -side), at(-half, side)]
    dash = "-" if face != "none" else DASHES[1]
    axes.add_patch(
        Polygon(corners, closed=True, fill=False, edgecolor=edge, linewidth=0.9, linestyle=dash, zorder=5)
    )
    nose = [at(half, 0.45 * side), at(half, -0.45 * side), at(half + 0.22 * size[0], 0.0)]
    axes.add_patch(
        Polygon(
            nose,
            closed=True,
            facecolor=face if face != "none" else PAPER,
            edgecolor=edge,
            linewidth=0.7,
            zorder=5,
        )
    )


def stops_of(t: Array, poses: Array) -> list[Stop]:
    """Where it stood for longer than 0.4 s and did not turn; stops at the same spot are added up."""
    turned = np.abs(np.sin(np.diff(poses[:, 2]) / 2.0)) * 2.0
    still = (np.hypot(*np.diff(poses[:, :2], axis=0).T) < STILL) & (turned < UNTURNED)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], still.astype(int), [0]))))
    stops: list[Stop] = []
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        seconds = float(t[end] - t[begin])
        if seconds < STOOD_S:
            continue
        x, y = float(poses[begin, 0]), float(poses[begin, 1])
        same = next((stop for stop in stops if hypot(stop.x - x, stop.y - y) < NEAR), None)
        if same is None:
            stops.append(Stop(x, y, seconds))
        else:
            same.seconds += seconds
    return stops


def _stops(axes: Axes, stops: list[Stop]) -> None:
    wide, high = axes.get_xlim()[1], axes.get_ylim()[1]
    mm = wide / (WIDTH - 2 * EDGE)
    for stop in stops:
        axes.plot(
            stop.x,
            stop.y,
            "o",
            markersize=6.4,
            markerfacecolor="none",
            markeredgecolor=PLANS[0],
            markeredgewidth=1.0,
            zorder=6,
        )
        right = stop.x > 0.82 * wide
        y = stop.y - 2.6 * mm if stop.y > 0.12 * high else stop.y + 2.6 * mm
        axes.text(
            stop.x + (-2.0 if right else 2.0) * mm,
            y,
            f"{stop.seconds:.2f} s",
            fontsize=NOTE,
            weight="bold",
            color=PLANS[0],
            ha="right" if right else "left",
            va="center",
            zorder=8,
            bbox=style.blank(),
        )
