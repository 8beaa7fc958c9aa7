"""The timeline of a run: a lane a mechanism, every wait under its travel, what a wait breaks, the bus voltage below."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simbot.analysis.results import Finding, MoveResult, NeedResult
from simbot.physics.build import DRIVES
from simbot.report.figures import style
from simbot.report.figures.key import draw_key
from simbot.report.figures.marks import draw_wait
from simbot.report.figures.style import ALARM, DASHES, EDGE, HAIR, INK, NOTE, PAPER, PLANS, QUIET, RULE, WIDTH
from simbot.report.summary import breaks, has_target, waits_for_arrival
from simbot.studies.shown import Shown

LANE, TRAVEL, BAR = 12.0, 4.6, 1.3  # mm: a lane, the travel line in it, the bar under it
CODE, BUS, AXIS, KEY = 8.8, 11.0, 6.0, 7.5
MOST_S = 14.0  # a longer cycle is cut
BEFORE_S, AFTER_S = 0.3, 0.5
SMALL = 5.5  # pt
ENDS = 8.5  # mm on the right, for the values at the ends of a lane


@dataclass(frozen=True)
class Window:
    """What of a run is drawn [s], and its name."""

    begin: float
    end: float
    name: str


def window_of(shown: Shown) -> Window:
    """The cycle in which something first breaks, else the whole cycle whose time is next to the mean."""
    ends = [at * 1e-6 for at in shown.state.deliveries_at_us]
    begins = [0.0, *ends[:-1]]
    broken = next((found for found in shown.state.findings if found.fails), None)
    last = shown.course.t[-1]
    if broken is not None:
        at = broken.at_us * 1e-6
        number = sum(end < at for end in ends)
        begin = ends[number - 1] if number else 0.0
        end = ends[number] if number < len(ends) else last
        begin, end = _shortened(begin, end, at)
        return Window(max(0.0, begin - BEFORE_S), min(last, end + AFTER_S), "where it first breaks")
    if not ends:
        return Window(0.0, min(last, MOST_S), "its first seconds")
    mean = shown.state.cycle_time_s or 0.0
    whole = list(zip(begins, ends, strict=True))[1:] or [(0.0, ends[0])]
    begin, end = _shortened(*min(whole, key=lambda cycle: abs(cycle[1] - cycle[0] - mean)))
    return Window(max(0.0, begin - BEFORE_S), min(last, end + AFTER_S), "a cycle of usual length")


def _shortened(begin: float, end: float, at: float | None = None) -> tuple[float, float]:
    if end - begin <= MOST_S:
        return begin, end
    if at is None or at < begin + MOST_S:
        return begin, begin + MOST_S
    return at - 0.7 * MOST_S, at + 0.3 * MOST_S


def figure_timeline(shown: Shown, window: Window | None = None) -> Figure:
    """One cycle of a run on one battery state."""
    window = window or window_of(shown)
    state = shown.state
    moves = [move for move in state.moves if has_target(move) and _touches(move, window)]
    lanes = [name for name in shown.plan.robot.mechanisms if any(move.mechanism == name for move in moves)]
    title = f"{shown.plan.name}: does every wait outlast its move?"
    below = f"NOMINAL run on {state.name}, {state.open_circuit:.4g} V; {window.name}."
    below += " The flag must stand right of the dot."
    height = style.head_height(title, below) + KEY + CODE + LANE * len(lanes) + BUS + AXIS
    figure = style.sheet(height)
    top = style.head(figure, title, below)
    draw_key(style.panel(figure, top, KEY))
    top += KEY
    code = _lane(figure, top, CODE, window)
    axes = {name: _lane(figure, top + CODE + LANE * row, LANE, window) for row, name in enumerate(lanes)}
    for name in lanes:
        _travel(axes[name], shown, name, window)
        _waits(axes[name], [move for move in moves if move.mechanism == name], window)
    _needs(code, axes, shown, window)
    bus = _lane(figure, top + CODE + LANE * len(lanes), BUS, window)
    _bus(bus, shown, window)
    return figure


def _touches(move: MoveResult, window: Window) -> bool:
    start = move.start_at_us * 1e-6
    end = start + max(move.arrival_us or 0, move.timer_us or 0) * 1e-6
    return start < window.end and end > window.begin


def _lane(figure: Figure, top: float, height: float, window: Window) -> Axes:
    axes = style.panel(figure, top, height, right=EDGE + ENDS)
    axes.set_xlim(window.begin, window.end)
    axes.set_ylim(0.0, height)
    axes.tick_params(bottom=False, labelbottom=False)
    axes.set_xticks([])
    for second in _seconds(window):
        axes.axvline(second, color=HAIR, linewidth=0.4, zorder=0)
    style.zero_line(axes, window.begin)
    axes.plot((0.0, 1.0), (1.0, 1.0), color=HAIR, linewidth=0.4, clip_on=False, transform=axes.transAxes)
    return axes


def _seconds(window: Window) -> range:
    return range(int(np.ceil(window.begin)), int(np.floor(window.end)) + 1)


def _per_mm(window: Window) -> float:
    return (window.end - window.begin) / (WIDTH - 2 * EDGE - ENDS)


# --- a lane -------------------------------------------------------------------------------------------


def _travel(axes: Axes, shown: Shown, name: str, window: Window) -> None:
    """Name, ends, and the line travelled between its stops."""
    mm = _per_mm(window)
    axes.text(
        window.begin + mm, LANE - 0.7, style.fitted(name, NOTE, 24.0), fontsize=NOTE, weight="bold", va="top"
    )
    values = shown.course.positions.get(name)
    if values is None:
        return
    t = shown.course.t
    there = (t >= window.begin) & (t <= window.end)
    low, high = float(values[there].min()), float(values[there].max())
    span = high - low or 1.0
    low_y = LANE - 2.6 - TRAVEL
    y = low_y + (values[there] - low) / span * TRAVEL
    axes.plot(t[there], y, color=PLANS[0], linewidth=1.0, zorder=3, solid_joinstyle="round")
    if shown.plan.robot.mechanisms[name].kind in DRIVES:
        return
    angle = shown.plan.robot.mechanisms[name].coordinate == "angle"
    for value, at in ((low, low_y), (high, low_y + TRAVEL)):
        text = f"{degrees(value):.0f}°" if angle else f"{value:.2f} m"
        axes.text(window.end + mm, at, text, fontsize=SMALL, color=QUIET, va="center")


def _waits(axes: Axes, moves: list[MoveResult], window: Window) -> None:
    mm = _per_mm(window)
    starts = [move.start_at_us * 1e-6 for move in moves]
    before = window.begin + mm
    for number, (move, start) in enumerate(zip(moves, starts, strict=True)):
        end = draw_wait(axes, move, start, 0.6, BAR, mm)
        after = min([window.end + ENDS * mm, *starts[number + 1 :]])
        timed = not waits_for_arrival(move) and move.margin_us is not None and move.verdict is not None
        if timed and (end <= window.end + 1.2 * mm or breaks(move)):
            end = max(end, _margin(axes, move, (before, start, end, after), mm))
        before = max(before, end)


def _margin(axes: Axes, move: MoveResult, at: tuple[float, float, float, float], mm: float) -> float:
    """Verdict and margin behind the bar, or before it, or the margin alone, as there is room; where it ends [s]."""
    before, start, end, after = at
    margin = style.signed((move.margin_us or 0) / 1000)
    look: Any = {"fontsize": SMALL, "va": "center", "color": ALARM if breaks(move) else QUIET}
    look |= {"weight": "bold"} if breaks(move) else {}
    look |= {"bbox": style.blank(), "zorder": 4}
    for text in (f"{move.verdict} {margin}", margin):
        wide = style.measured(text, SMALL) * mm * (1.15 if breaks(move) else 1.0)
        if wide <= after - end:
            axes.text(end, 0.6 + BAR / 2, text, **look)
            return end + wide + 0.5 * mm
        if wide + mm <= start - before:
            axes.text(start - 0.8 * mm, 0.6 + BAR / 2, text, ha="right", **look)
            break
    return end


# --- the code -----------------------------------------------------------------------------------------


def _needs(code: Axes, lanes: dict[str, Axes], shown: Shown, window: Window) -> None:
    """A diamond for each acting step, dropped to the lanes that it needs; what fails is told first."""
    acts: dict[tuple[int, int], list[NeedResult]] = {}
    for need in shown.state.needs:
        if window.begin <= need.at_us * 1e-6 <= window.end:
            acts.setdefault((need.step, need.at_us), []).append(need)
    mm = _per_mm(window)
    code.text(window.begin + mm, CODE - 0.7, "code", fontsize=NOTE, weight="bold", va="top")
    code.plot((window.begin, window.end), (1.6, 1.6), color=INK, linewidth=0.7)
    taken: list[tuple[float, float]] = []
    for (_, at_us), needs in sorted(acts.items(), key=lambda act: all(need.met for need in act[1])):
        at, failed = at_us * 1e-6, not all(need.met for need in needs)
        colour = ALARM if failed else INK
        look: Any = {"markerfacecolor": colour if failed else PAPER, "markeredgecolor": colour}
        code.plot(at, 1.6, "D", markersize=4.0, markeredgewidth=0.8, zorder=6, **look)
        _told(code, at, _name_of(shown, needs[0], failed), failed, taken, window)
        for need in needs:
            if need.mechanism in lanes:
                _drop(lanes, shown, need, at)


def _name_of(shown: Shown, need: NeedResult, failed: bool) -> str:
    """The step; of one that fails what comes of it."""
    verb = "pick" if need.line in {pick.line for pick in shown.state.picks} else "place"
    name = f"{need.step} {verb}"
    found = _found(shown, need) if failed else None
    if found is None:
        return name
    late = "" if not found.late_us else f", {found.late_us / 1000:.0f} ms too early"
    return style.plain(f"{name}: {found.outcome or 'fails'}{late}")


def _found(shown: Shown, need: NeedResult) -> Finding | None:
    same = (one for one in shown.state.findings if (one.step, one.at_us) == (need.step, need.at_us))
    return next((one for one in same if one.fails), None)


def _told(
    code: Axes, at: float, text: str, failed: bool, taken: list[tuple[float, float]], window: Window
) -> None:
    """The step's name over its diamond, where there is room."""
    mm = _per_mm(window)
    half = style.measured(text, SMALL) * mm * (0.58 if failed else 0.5)
    middle = min(max(at, window.begin + mm + half), window.end + ENDS * mm - half)
    begin, end = middle - half, middle + half
    if all(end + 0.8 * mm <= other or begin - 0.8 * mm >= until for other, until in taken):
        taken.append((begin, end))
        weight, colour = ("bold", ALARM) if failed else ("normal", INK)
        code.text(middle, 3.6, text, fontsize=SMALL, color=colour, weight=weight, ha="center", va="bottom")


def _drop(lanes: dict[str, Axes], shown: Shown, need: NeedResult, at: float) -> None:
    """The dotted line from the code to the lane, with a ring where the need is met and a cross where it is not."""
    colour = INK if need.met else ALARM
    for name, axes in lanes.items():
        axes.axvline(at, color=RULE if need.met else ALARM, linewidth=0.6, linestyle=DASHES[2], zorder=1)
        if name == need.mechanism:
            values = shown.course.positions.get(name)
            low_y, y = LANE - 2.6 - TRAVEL, LANE - 2.6 - TRAVEL / 2
            if values is not None:
                low, high = _range(shown, name, axes)
                here = float(np.interp(at, shown.course.t, values))
                y = low_y + (here - low) / ((high - low) or 1.0) * TRAVEL
            look: Any = {"markersize": 3.6, "markeredgecolor": colour, "markeredgewidth": 0.8, "zorder": 6}
            axes.plot(at, y, "o" if need.met else "x", markerfacecolor=PAPER, **look)
            return


def _range(shown: Shown, name: str, axes: Axes) -> tuple[float, float]:
    """Least and greatest position on the axes."""
    begin, end = axes.get_xlim()
    t, values = shown.course.t, shown.course.positions[name]
    there = values[(t >= begin) & (t <= end)]
    return float(there.min()), float(there.max())


# --- the bus and the key ------------------------------------------------------------------------------


def _bus(axes: Axes, shown: Shown, window: Window) -> None:
    t, v = shown.course.bus_t, shown.course.bus_v
    there = (t >= window.begin) & (t <= window.end)
    ends = np.array((window.begin, window.end))
    begins, last = np.interp(ends, t, v)
    t, v = np.array((ends[0], *t[there], ends[1])), np.array((begins, *v[there], last))
    low = float(np.floor(v.min()))
    high = max(low + 1.0, float(np.ceil(v.max())))
    axes.set_ylim(low - 0.22 * (high - low), high + 0.4 * (high - low))
    axes.plot(t, v, color=INK, linewidth=0.8, zorder=3)
    per_mm = _per_mm(window)
    axes.text(
        window.begin + per_mm, axes.get_ylim()[1], "bus voltage", fontsize=NOTE, weight="bold", va="top"
    )
    for value in (low, high):
        axes.axhline(value, color=HAIR, linewidth=0.4, zorder=0)
        axes.text(window.end + per_mm, value, f"{value:.0f} V", fontsize=SMALL, color=QUIET, va="center")
    worst = int(np.argmin(v))
    axes.plot(t[worst], v[worst], "o", color=INK, markersize=2.6, zorder=5)
    right = t[worst] > (window.begin + 2 * window.end) / 3
    axes.text(
        t[worst] + (-1 if right else 1) * per_mm,
        v[worst],
        f"{v[worst]:.1f} V",
        fontsize=SMALL,
        weight="bold",
        va="center",
        ha="right" if right else "left",
        bbox=style.blank(),
        zorder=7,
    )
    axes.spines["bottom"].set_visible(True)
    axes.tick_params(bottom=True, labelbottom=True)
    seconds = [
        at
        for at in _seconds(window)
        if (at - _seconds(window)[0]) % (2 if len(_seconds(window)) > 11 else 1) == 0
    ]
    axes.set_xticks(seconds, [f"{at} s" if at == seconds[0] else f"{at}" for at in seconds])
