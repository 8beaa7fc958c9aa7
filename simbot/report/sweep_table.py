"""A sweep as a table for a spreadsheet: one row a value and battery state (CSV, RFC 4180)."""

from __future__ import annotations

import csv
import io

from simbot.report.swept_rows import cause
from simbot.report.timer_table import safe_cell
from simbot.studies.sweep import Point, SweepResult
from simbot.studies.sweep_asked import Measure
from simbot.studies.sweep_chance import Drawn

INTERVALS = ("mean_from [points]", "mean_to [points]", "mean_rate_from [points/s]", "mean_rate_to [points/s]")
CAUTION = "A simulated time is no permission: event rules, inspectors and a qualified adult decide."


def table_text(result: SweepResult) -> str:
    """Grid, then parts, then what the files say; measures in the units of their heads."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    axes = [f"{axis.key} [{axis.unit}]" if axis.unit else axis.key for axis in result.asked.axes]
    heads = [_head(each) for each in result.measures.values()]
    wishes = [wish.text for wish in result.asked.wishes]
    drawn = [*INTERVALS] if result.asked.matches else []
    writer.writerow(
        ["what", *axes, "battery", *heads, *drawn, "held_back_by", *wishes, "wanted_surely", "reason"]
    )
    now = [] if result.now is None else [result.now]
    for what, points in (("grid", result.points), ("part", result.parts), ("now", now)):
        for point in points:
            writer.writerows(_rows(result, what, point))
    writer.writerow(["caution", CAUTION])
    return out.getvalue()


def _head(measure: Measure) -> str:
    return f"{measure.name} [{measure.unit}]" if measure.unit else measure.name


def _rows(result: SweepResult, what: str, point: Point) -> list[list[str]]:
    values = [f"{value:.10g}" for value in point.at]
    count = len(result.asked.wishes)
    wished = ["yes" if holds else "no" for holds in point.holds] or ["no"] * count
    surely = ["" if not count else "yes" if point.fits_surely else "no"]
    fault = safe_cell(point.fault)
    drawn = INTERVALS if result.asked.matches else ()
    if not point.looks:
        return [[what, *values, "", *[""] * (len(result.measures) + len(drawn)), "", *wished, *surely, fault]]
    rows = []
    for number, look in enumerate(point.looks):
        seen = [look.values[each.name] for each in result.measures.values()]
        factors = [each.factor for each in result.measures.values()]
        cells = [
            "" if value is None else f"{value * by:.10g}" for value, by in zip(seen, factors, strict=True)
        ]
        held = cause(Point(point.at, point.looks[number:]))
        ends = _ends(look.drawn) if drawn else []
        reason = safe_cell(look.reason)
        rows.append([what, *values, look.state, *cells, *ends, held, *wished, *surely, reason])
    return rows


def _ends(drawn: Drawn | None) -> list[str]:
    """Ends of the intervals of what was drawn; empty where there are none."""
    figures = (None, None) if drawn is None else (drawn.mean, drawn.rate)
    return [
        "" if figure is None or figure.interval is None else f"{figure.interval[end]:.10g}"
        for figure in figures
        for end in (0, 1)
    ]
