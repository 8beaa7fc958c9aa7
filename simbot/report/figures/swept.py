"""A sweep: one quantity as a line with what lies within 2 % of the best, both ends with their reasons; two as a map."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from simbot.report.figures import style
from simbot.report.figures.style import ALARM, DASHES, EDGE, HAIR, INK, NOTE, PAPER, PLANS, QUIET, TEXT, WIDTH

Document = Mapping[str, Any]
PLOT, AXIS, ENDS = 34.0, 9.0, 2.7  # mm
NEAR, FAIR = 0.02, 0.10
UNITS = {
    "arrival": "s", "cycle": "s", "points": "points", "rate": "points/s", "current": "A", "heat": "J", "energy": "J",
}  # fmt: skip


def figure_sweep(document: Document) -> Figure | None:
    """None where nothing could be run."""
    axes = document["quantities"]
    if not any(point["looks"] for point in document["points"]):
        return None
    return _line(document, axes[0]) if len(axes) == 1 else _map(document, axes)


def _title(document: Document) -> str:
    who = document.get("mechanism") or document.get("file") or "the plan"
    over = " and ".join(_name(one) for one in document["quantities"])
    return f"{who}: {str(document['by']).replace('_', ' ')} over {over}"


def _name(axis: Document) -> str:
    return str(axis["key"]).rpartition(".")[2].replace("_", " ")


def _value(document: Document, point: Document, state: str) -> float | None:
    look = point["looks"].get(state)
    value = None if look is None else look["values"].get(document["by"])
    return None if value is None else float(value)


# --- one quantity -------------------------------------------------------------------------------------


def _line(document: Document, axis: Document) -> Figure:
    states, points = list(document["battery"]), document["points"]
    below = (
        f"NOMINAL; battery {states[0]} drawn full. Band: within 2 % of the best (dot). Ring: as it is now."
    )
    title = _title(document)
    ends = [_end(points[0], axis, states[0]), _end(points[-1], axis, states[0])] if len(points) > 1 else []
    lines = [line for text in ends for line in style.folded(text, NOTE)]
    top = style.head_height(title, below)
    figure = style.sheet(top + PLOT + AXIS + ENDS * len(lines) + 1.0)
    style.head(figure, title, below)
    axes = style.panel(figure, top, PLOT, left=EDGE + 9.0, right=EDGE + 2.0)
    at = [float(point["at"][0]) for point in points]
    axes.set_xlim(min(at), max(at) if max(at) > min(at) else min(at) + 1.0)
    _band(axes, document)
    for number, state in enumerate(states):
        _course(axes, document, points, state, number)
    _marks(axes, document, states[0])
    _upright(axes, UNITS.get(str(document["by"]), ""))
    style.zero_line(axes, axes.get_xlim()[0])
    style.ticks(axes, str(axis.get("unit") or ""))
    axes.set_xlabel(_name(axis), fontsize=NOTE, labelpad=1.5)
    at_mm = top + PLOT + AXIS
    for line in lines:
        style.write(figure, at_mm, line, NOTE, color=QUIET)
        at_mm += ENDS
    return figure


def _course(axes: Axes, document: Document, points: Sequence[Document], state: str, number: int) -> None:
    pairs = [(float(point["at"][0]), _value(document, point, state)) for point in points]
    x = [at for at, _ in pairs]
    y = [float("nan") if value is None else value for _, value in pairs]
    colour = PLANS[0] if number == 0 else QUIET
    look: Any = {"color": colour, "linewidth": 1.4 if number == 0 else 0.8, "zorder": 4 - number}
    axes.plot(x, y, linestyle=DASHES[number % len(DASHES)], **look)
    known = [(at, value) for at, value in pairs if value is not None]
    if number and known:
        axes.text(known[-1][0], known[-1][1], state, fontsize=5.5, color=colour, ha="right", va="bottom")
    for at, value in pairs:
        if value is None and number == 0:
            axes.plot(
                at, 0.03, "x", color=ALARM, markersize=3.0, transform=axes.get_xaxis_transform(), zorder=6
            )


def _band(axes: Axes, document: Document) -> None:
    flat = document.get("flat")
    if flat is not None:
        low, high = float(flat["from"]), float(flat["to"])
        axes.axvspan(low, high, facecolor="#e6eeeb", edgecolor="none", zorder=0)
        for end in (low, high):
            axes.axvline(end, color=QUIET, linewidth=0.5, linestyle=DASHES[2], zorder=1)


def _marks(axes: Axes, document: Document, state: str) -> None:
    best, now = document.get("best"), document.get("now")
    for point in document["points"]:
        value = _value(document, point, state)
        if best is not None and list(point["at"]) == list(best) and value is not None:
            axes.plot(float(best[0]), value, "o", color=PLANS[0], markersize=4.6, zorder=6, clip_on=False)
            text = (
                f" best {value:.4g} {UNITS.get(str(document['by']), '')}".rstrip()
                + f" at {float(best[0]):.4g} "
            )
            look: Any = {"fontsize": TEXT, "weight": "bold", "va": "top", "zorder": 7, "bbox": style.blank()}
            side = _side(axes, float(best[0]))
            axes.text(float(best[0]), 0.99, text, ha=side, transform=axes.get_xaxis_transform(), **look)
    for point, mark in [(now, "o"), *((part, "D") for part in document.get("parts") or ())]:
        value = None if point is None else _value(document, point, state)
        if value is not None:
            axes.plot(
                float(point["at"][0]),
                value,
                mark,
                markersize=7.0 if mark == "o" else 3.4,
                markerfacecolor="none" if mark == "o" else PAPER,
                markeredgecolor=INK,
                markeredgewidth=0.8,
                zorder=5,
            )


def _side(axes: Axes, at: float) -> str:
    begin, end = axes.get_xlim()
    return "right" if at > begin + 0.55 * (end - begin) else "left"


def _upright(axes: Axes, unit: str) -> None:
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.12 * (high - low))
    axes.tick_params(labelleft=True)
    axes.locator_params(axis="y", nbins=5)
    ticks = [at for at in axes.get_yticks() if low <= at <= high]
    texts = [f"{at:.6g}".replace("-", "\u2212") for at in ticks]
    axes.set_yticks(
        ticks, [f"{text} {unit}".rstrip() if k == len(ticks) - 1 else text for k, text in enumerate(texts)]
    )
    axes.grid(True, axis="y", color=HAIR, linewidth=0.4)
    axes.set_axisbelow(True)


def _end(point: Document, axis: Document, state: str) -> str:
    """One end of the range: how much worse it is, and what holds it back there."""
    at = f"At {float(point['at'][0]):.4g} {axis.get('unit') or ''}".rstrip()
    if point.get("fault") or state not in point["looks"]:
        return f"{at}: {point.get('fault') or 'nothing could be run'}"
    look, less = point["looks"][state], point.get("worse_than_best")
    text = "as good as the best" if not less else f"{100 * float(less):.1f} % worse than the best"
    if less is None:
        text = "no value"
    causes = sorted(look.get("held_by", {}).items(), key=lambda one: -float(one[1]))[:2]
    share = all(0.0 <= float(value) <= 1.0 for _, value in look.get("held_by", {}).items())
    named = [
        f"{name.replace('_', ' ')} {100 * float(v):.0f} %"
        if share
        else f"{name.replace('_', ' ')} {float(v):.2f} s"
        for name, v in causes
        if v
    ]
    if look.get("reason"):
        return f"{at}: {text}; {look['reason']}"
    return f"{at}: {text}" + (f"; most time goes to {', '.join(named)}" if named else "")


# --- two quantities -----------------------------------------------------------------------------------


def _map(document: Document, quantities: Sequence[Document]) -> Figure:
    """A field for every pair of values: full within 2 % of the best, hatched within 10 %, a cross: nothing runs."""
    title = _title(document)
    below = f"NOMINAL; battery {document['battery'][0]}. Full: within 2 % of the best (ring);"
    below += " hatched: within 10 %; cross: none."
    top = style.head_height(title, below)
    x_values, y_values = (sorted({float(value) for value in one["values"]}) for one in quantities)
    height = min(60.0, max(24.0, 5.0 * len(y_values)))
    figure = style.sheet(top + height + AXIS + 3.0)
    style.head(figure, title, below)
    axes = style.panel(figure, top + 2.5, height, left=EDGE + 12.0)
    axes.set_xlim(-0.5, len(x_values) - 0.5)
    axes.set_ylim(-0.5, len(y_values) - 0.5)
    for point in document["points"]:
        x, y = x_values.index(float(point["at"][0])), y_values.index(float(point["at"][1]))
        _field(axes, x, y, point.get("worse_than_best"))
        if document.get("best") is not None and list(point["at"]) == list(document["best"]):
            look: Any = {"markerfacecolor": PAPER, "markeredgecolor": INK, "markeredgewidth": 1.0}
            axes.plot(x, y, "o", markersize=4.5, zorder=5, **look)
    axes.tick_params(labelleft=True)
    for values, setter, axis, most in (
        (x_values, axes.set_xticks, quantities[0], 8),
        (y_values, axes.set_yticks, quantities[1], 12),
    ):
        every = -(-len(values) // most)
        places = list(range(0, len(values), every))
        unit = f" {axis.get('unit') or ''}".rstrip()
        setter(places, [f"{values[k]:.4g}{unit if k == 0 else ''}" for k in places])
    axes.set_xlabel(_name(quantities[0]), fontsize=NOTE, labelpad=1.5)
    width = WIDTH - 2 * EDGE
    style.write(figure, top - 0.5, style.fitted(_name(quantities[1]), NOTE, width), NOTE, color=QUIET)
    return figure


def _field(axes: Axes, x: int, y: int, less: float | None) -> None:
    if less is None:
        axes.plot(x, y, "x", color=ALARM, markersize=3.0, markeredgewidth=0.8)
        return
    near = float(less) <= NEAR
    look: Any = {
        "facecolor": PLANS[0] if near else PAPER,
        "edgecolor": PLANS[0] if near else HAIR,
        "linewidth": 0.5,
    }
    if not near and float(less) <= FAIR:
        look |= {"edgecolor": PLANS[0], "hatch": "//////"}
    axes.add_patch(Rectangle((x - 0.44, y - 0.44), 0.88, 0.88, **look))
