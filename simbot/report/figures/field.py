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
KNOT_S, STOOD_S, STILL = 0.2, 0.4, 2e-3  # s, s, m a sample
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
        f"From above, NOMINAL, {shown.state.name}, {t[0]:.1f} to {t[-1]:.1f} s, {window.name}. A knot each 0.2 s: knots "
        "far apart mean fast. A ring is a stop, with its seconds. Solid: where it began, pale: where it ends."
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
    for corners in game.obstacles:
        look: Any = {"facecolor": PAPER, "edgecolor": QUIET, "hatch": "xxxx", "linewidth": 0.6}
        axes.add_patch(Polygon(corners, closed=True, zorder=1, **look))
    taken: list[tuple[float, float, float]] = []
    for kind, group in (("s", game.stations), ("D", game.places)):
        for name, one in group.items():
            _spot(axes, game, name, one.pose, kind, taken)


def _spot(
    axes: Axes, game: Game, name: str, pose: Pose, mark: str, taken: list[tuple[float, float, float]]
) -> None:
    axes.plot(pose.x, pose.y, mark, markersize=3.4, markerfacecolor=PAPER, markeredgecolor=QUIET, markeredgewidth=0.8, zorder=2)  # fmt: skip
    per_mm = game.length / (WIDTH - 2 * EDGE)
    half = style.measured(name, SMALL) * per_mm / 2
    x = min(max(pose.x, half + per_mm), game.length - half - per_mm)
    line = 2.4 * per_mm
    up = pose.y < game.width - 6.0 * per_mm
    for step in range(1, 6):
        y = pose.y + (1 if up else -1) * line * step
        if all(abs(y - other) >= 0.95 * line or abs(x - at) > half + room for at, other, room in taken):
            break
    taken.append((x, y, half))
    axes.text(x, y, style.fitted(name, SMALL, 30.0), fontsize=SMALL, color=QUIET, ha="center", va="center", zorder=7, bbox=style.blank())  # fmt: skip


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
    axes.add_patch(Polygon(nose, closed=True, facecolor=face if face != "none" else PAPER, edgecolor=edge, linewidth=0.7, zorder=5))  # fmt: skip


def stops_of(t: Array, poses: Array) -> list[Stop]:
    """Where it stood for longer than 0.4 s; stops at the same spot are added up."""
    still = np.hypot(*np.diff(poses[:, :2], axis=0).T) < STILL
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
        axes.plot(stop.x, stop.y, "o", markersize=6.4, markerfacecolor="none", markeredgecolor=PLANS[0], markeredgewidth=1.0, zorder=6)  # fmt: skip
        right = stop.x > 0.82 * wide
        y = stop.y - 2.6 * mm if stop.y > 0.12 * high else stop.y + 2.6 * mm
        axes.text(stop.x + (-2.0 if right else 2.0) * mm, y, f"{stop.seconds:.2f} s", fontsize=NOTE, weight="bold", color=PLANS[0], ha="right" if right else "left", va="center", zorder=8, bbox=style.blank())  # fmt: skip
