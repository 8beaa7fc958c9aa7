"""A fit: measured against predicted, what is left over beneath, and the estimates with their intervals in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from simbot.report.figures import style
from simbot.report.figures.style import ALARM, DASHES, EDGE, HAIR, INK, NOTE, PAPER, PLANS, QUIET, RULE

Document = Mapping[str, Any]
SQUARE, REST, AXIS, LINE = 48.0, 17.0, 8.0, 2.8  # mm


def figure_fit(document: Document) -> Figure | None:
    """None where nothing measured has a prediction. Rows are those of `compared`: measured and predicted times."""
    rows = [row for row in document["compared"] if _timed(row)]
    if not rows:
        return None
    title = f"{document.get('plan') or 'Fit'}: measured against predicted"
    below = (
        "A dot a condition, its bar two standard deviations of the mean; ring: as the files had it before the fit. "
        "On the line they agree."
    )
    told = [line for text in _estimates(document) for line in style.folded(text, NOTE)]
    top = style.head_height(title, below)
    figure = style.sheet(top + SQUARE + REST + 2 * AXIS + LINE * len(told) + 1.0)
    style.head(figure, title, below)
    most = 1.06 * max(max(_number(row, "measured"), _number(row, "predicted")) for row in rows)
    axes = style.panel(figure, top, SQUARE, left=EDGE + 9.0)
    _against(axes, rows, most)
    _left_over(style.panel(figure, top + SQUARE + AXIS, REST, left=EDGE + 9.0), rows, most)
    at = top + SQUARE + REST + 2 * AXIS
    for line in told:
        style.write(figure, at, line, NOTE, color=INK)
        at += LINE
    return figure


def _timed(row: Document) -> bool:
    return row["unit"] == "s" and row["measured"] is not None and row["predicted"] is not None


def _number(row: Document, key: str) -> float:
    return float(row[key])


def _error(row: Document) -> float:
    """Two standard deviations of the mean of the trials; 0 where no spread is told."""
    sd, trials = row["sd"], row["trials"] or 1
    return 0.0 if sd is None else 2.0 * float(sd) / float(trials) ** 0.5


def _against(axes: Axes, rows: Sequence[Document], most: float) -> None:
    axes.set_xlim(0.0, most)
    axes.set_ylim(0.0, most)
    axes.plot((0.0, most), (0.0, most), color=RULE, linewidth=0.8)
    axes.text(0.02 * most, 0.97 * most, "measured", fontsize=NOTE, weight="bold", va="top")
    for row in rows:
        x, y, off = _number(row, "predicted"), _number(row, "measured"), bool(row["off"])
        colour, before = ALARM if off else PLANS[0], row["predicted_before"]
        if before is not None:
            axes.plot((float(before), x), (y, y), color=RULE, linewidth=0.6, linestyle=DASHES[2], zorder=1)
            look: Any = {"markerfacecolor": PAPER, "markeredgecolor": QUIET, "markeredgewidth": 0.7}
            axes.plot(float(before), y, "o", markersize=3.2, zorder=2, **look)
        axes.errorbar(
            x, y, _error(row), fmt="X" if off else "o", color=colour, markersize=3.6, elinewidth=0.8, zorder=4
        )
        if off:
            right = x > 0.6 * most
            text = style.fitted(str(row["what"]), 5.5, 32.0)
            axes.text(
                x + (-0.02 if right else 0.02) * most,
                y,
                text,
                fontsize=5.5,
                color=ALARM,
                va="bottom",
                ha="right" if right else "left",
            )
    _upright(axes, False)
    style.zero_line(axes)
    style.ticks(axes, "s")


def _left_over(axes: Axes, rows: Sequence[Document], most: float) -> None:
    axes.set_xlim(0.0, most)
    rest = [_number(row, "measured") - _number(row, "predicted") for row in rows]
    wide = 1.25 * max(abs(value) + _error(row) for value, row in zip(rest, rows, strict=True)) or 1.0
    axes.set_ylim(-wide, wide)
    axes.axhline(0.0, color=RULE, linewidth=0.8)
    for value, row in zip(rest, rows, strict=True):
        colour = ALARM if row["off"] else PLANS[0]
        axes.errorbar(
            _number(row, "predicted"),
            value,
            _error(row),
            fmt="X" if row["off"] else "o",
            color=colour,
            markersize=3.2,
            elinewidth=0.8,
            zorder=4,
        )
    axes.text(
        0.02 * most,
        0.95 * wide,
        "measured less predicted",
        fontsize=NOTE,
        weight="bold",
        va="top",
        bbox=style.blank(),
        zorder=6,
    )
    _upright(axes, True)
    style.zero_line(axes)
    style.ticks(axes, "s")
    axes.set_xlabel("predicted", fontsize=NOTE, labelpad=1.5)


def _upright(axes: Axes, sign: bool) -> None:
    low, high = axes.get_ylim()
    axes.tick_params(labelleft=True)
    axes.locator_params(axis="y", nbins=5 if not sign else 4)
    ticks = [at for at in axes.get_yticks() if low <= at <= high]
    digits = 3 if high < 0.05 else 2 if high < 1.0 else 1
    texts = [style.signed(at, digits) if sign and at else f"{at:.{digits}f}" for at in ticks]
    axes.set_yticks(ticks, [f"{text} s" if k == len(ticks) - 1 else text for k, text in enumerate(texts)])
    axes.grid(True, axis="y", color=HAIR, linewidth=0.4)
    axes.set_axisbelow(True)


def _estimates(document: Document) -> list[str]:
    texts = []
    for one in document["parameters"]:
        unit = f" {one['unit']}" if one.get("unit") else ""
        if one.get("estimate") is None:
            texts.append(f"{one['name']}: these measurements do not tell it.")
            continue
        low, high = one.get("interval") or (None, None)
        ends = ["open" if end is None else f"{float(end):.4g}" for end in (low, high)]
        texts.append(f"{one['name']}: {float(one['estimate']):.4g}{unit} (95 %: {ends[0]} to {ends[1]}).")
    return texts
