"""The figure of `simbot move`: the mechanism to scale, beside its course over time."""

from __future__ import annotations

from math import degrees
from typing import Any

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from simbot.analysis.move_results import OneMove, StateNumbers
from simbot.physics.build import DRIVES
from simbot.physics.kinds import KINDS
from simbot.physics.outline import Disc, Shape
from simbot.report.figures.style import HAIR, INK, NO_DATE, PLANS, QUIET, RULE, STYLE

DRAWN = PLANS[0]  # the state asked for, solid; the others quiet and dashed: colour is never the only sign
DASHES: tuple[Any, ...] = ("--", ":", "-.", (0, (1, 3)))
PLAN_VIEW = (*DRIVES, "turret")
BETWEEN = 3  # positions drawn between the two ends
DOTS = 150  # per inch: it is wider than the other figures
LARGE: Any = {
    **STYLE,
    "font.size": 9.0,
    "axes.labelsize": 9.0,
    "axes.labelcolor": INK,
    "xtick.labelsize": 9.0,
    "ytick.labelsize": 9.0,
    "xtick.major.size": 3.5,
    "ytick.major.size": 3.5,
    "axes.linewidth": 0.8,
}


def draw_move(move: OneMove, battery: str, file: str) -> None:
    """Write the figure of the first way, nothing in hand, to a .png, .svg or .pdf file."""
    with matplotlib.rc_context(LARGE):
        form = file.rsplit(".", 1)[-1].lower()
        figure_of(move, battery).savefig(file, format=form, dpi=DOTS, metadata=NO_DATE[form])


def figure_of(move: OneMove, battery: str) -> Figure:
    """Mechanism on the left, four courses over one time on the right."""
    figure = Figure(figsize=(11.0, 7.2))
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(
        4,
        2,
        width_ratios=(1.0, 1.35),
        left=0.085,
        right=0.9,
        top=0.83,
        bottom=0.085,
        wspace=0.28,
        hspace=0.24,
    )
    figure.text(0.085, 0.95, _title(move), fontsize=15, weight="bold")
    figure.text(
        0.085, 0.918, f"From rest, nothing in hand, alone on the battery. NOMINAL: {battery} drawn solid.",
        color=QUIET,
    )  # fmt: skip
    _mechanism(figure.add_subplot(grid[:, 0]), move)
    shared = None
    for row, panel in enumerate(_panels(move)):
        axes = figure.add_subplot(grid[row, 1], sharex=shared)
        shared = shared or axes
        _course(axes, move, battery, *panel, last=row == 3)
    figure.align_ylabels()
    return figure


def _title(move: OneMove) -> str:
    way = move.ways[0]
    if "travel" in move.spec.values:
        where = f"{_told(move, way.start)} to {_told(move, way.target)}"
    elif move.spec.kind not in DRIVES:
        where = "up to speed"
    else:
        where = f"turn by {_told(move, way.target)}" if way.turning else f"{_told(move, way.target)} ahead"
    return f"{move.spec.name} of {move.robot.name}, {where}"


def _told(move: OneMove, q: float) -> str:
    return f"{degrees(q):.4g}°" if move.unit == "rad" else f"{q:.4g} m"


# --- the mechanism ------------------------------------------------------------------------------------


def _mechanism(axes: Any, move: OneMove) -> None:
    """Its outline to scale at both ends and between; what stands still is drawn once."""
    way = move.ways[0]
    values = move.spec.values
    outline = KINDS[move.spec.kind].outline
    if way.turning:  # the outline goes along a line; a turn is drawn where it begins
        places = np.array([0.0])
    else:
        places = np.linspace(way.start, way.target, BETWEEN + 2)
    still = set(outline(values, float(places[0]))) & set(outline(values, float(places[-1])))
    if len(places) == 1:
        still = set()
    last = len(places) - 1
    for number in (*range(1, last), *dict.fromkeys((0, last))):  # the ends lie on top
        colour = RULE if 0 < number < last else INK if number == 0 and last else DRAWN
        for shape in outline(values, float(places[number])):
            if shape not in still:
                _draw(axes, shape, colour, number in (0, last))
    for shape in outline(values, float(places[0])):
        if shape in still:
            _draw(axes, shape, INK, True)
    axes.set_aspect("equal", adjustable="datalim")
    axes.margins(0.12)
    axes.set_xlabel("forward [m]" if not _planned(move) else "along [m]")
    axes.set_ylabel("up [m]" if not _planned(move) else "across [m]")
    axes.set_title(_key(move, way.turning), loc="left", fontsize=9.0, color=QUIET, pad=8)
    _bare(axes)
    axes.grid(True, color=HAIR, linewidth=0.6)
    axes.set_axisbelow(True)


def _planned(move: OneMove) -> bool:
    return move.spec.kind in PLAN_VIEW


def _key(move: OneMove, turning: bool) -> str:
    if turning:
        return "To scale, plan view, where it turns"
    view = "plan view" if _planned(move) else "side view"
    return f"To scale, {view}.\nBlack: where it starts, blue: where it goes."


def _draw(axes: Any, shape: Shape, colour: str, strong: bool) -> None:
    from matplotlib.patches import Circle, Polygon

    width = {"cord": 0.8, "ground": 0.8, "spring": 1.0}.get(shape.role, 2.0 if strong else 1.0)
    style = "--" if shape.role in ("cord", "ground") else "-"
    if isinstance(shape, Disc):
        full = shape.role == "load"
        axes.add_patch(
            Circle(shape.centre, shape.radius, fill=full, facecolor=colour, edgecolor=colour, linewidth=width)
        )
        axes.update_datalim(
            [(shape.centre[0] + s * shape.radius, shape.centre[1] + s * shape.radius) for s in (-1, 1)]
        )
    elif shape.closed:
        axes.add_patch(Polygon(shape.points, fill=False, edgecolor=colour, linewidth=width))
        axes.update_datalim(shape.points)
    else:
        x, y = zip(*shape.points, strict=True)
        axes.plot(x, y, color=colour, linewidth=width, linestyle=style, solid_capstyle="round")


# --- the course ---------------------------------------------------------------------------------------


def _panels(move: OneMove) -> list[tuple[str, str, float]]:
    """What is drawn over time: its name in the series, its label, its factor."""
    angle = move.unit == "rad"
    factor = degrees(1.0) if angle else 1.0
    return [
        ("q", f"position [{'°' if angle else 'm'}]", factor),
        ("v", f"speed [{'°/s' if angle else 'm/s'}]", factor),
        ("current", "battery current [A]", 1.0),
        ("bus", "bus voltage [V]", 1.0),
    ]


def _course(axes: Any, move: OneMove, battery: str, name: str, label: str, factor: float, last: bool) -> None:
    others = iter(DASHES * len(move.states))
    ends = []
    for state in move.states:
        drawn = state.name == battery
        series = state.moves[0].series
        values = getattr(series, name) * factor
        axes.plot(
            series.t, values, color=DRAWN if drawn else QUIET, linewidth=1.8 if drawn else 1.0,
            linestyle="-" if drawn else next(others), zorder=3 if drawn else 2,
        )  # fmt: skip
        axes.plot(series.t[-1], values[-1], "o", color=DRAWN if drawn else QUIET, markersize=4, clip_on=False)
        ends.append((float(series.t[-1]), float(values[-1]), state))
    axes.set_ylabel(label)
    axes.margins(x=0.0, y=0.1)
    longest = max(float(state.moves[0].series.t[-1]) for state in move.states)
    axes.set_xlim(0.0, longest * 1.02)
    _bare(axes)
    axes.grid(True, axis="y", color=HAIR, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(labelbottom=last)
    if last:
        axes.set_xlabel("time since the command [s]")
    if name == "q":
        _name_ends(axes, move, ends, battery, factor)


def _name_ends(
    axes: Any, move: OneMove, ends: list[tuple[float, float, StateNumbers]], battery: str, factor: float
) -> None:
    """Each state's name and arrival beside the axes, one under the other, with its dash."""
    way = move.ways[0]
    if "travel" in move.spec.values or move.spec.kind in DRIVES:
        axes.axhline(way.target * factor, color=RULE, linewidth=0.8, zorder=1)
    others = iter(DASHES * len(ends))
    for number, (_, _, state) in enumerate(ends):
        drawn = state.name == battery
        arrival = state.moves[0].arrival_s
        told = "never" if arrival is None else f"{arrival * 1000:.0f} ms"
        y = 0.93 - 0.34 * number
        axes.plot(
            [1.03, 1.10], [y, y], transform=axes.transAxes, clip_on=False, color=DRAWN if drawn else QUIET,
            linewidth=1.8 if drawn else 1.0, linestyle="-" if drawn else next(others),
        )  # fmt: skip
        axes.text(
            1.03, y - 0.05, f"{state.name}\n{told}", transform=axes.transAxes, va="top", fontsize=8.5,
            color=DRAWN if drawn else QUIET, linespacing=1.1,
        )  # fmt: skip


def _bare(axes: Any) -> None:
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
