"""The JSON document of `simbot fit`, and its measurements as CSV."""

from __future__ import annotations

import csv
import io

from simbot import __version__
from simbot.report.document import FORMAT, Document, rounded
from simbot.report.fitted import answer
from simbot.report.timer_table import safe_cell
from simbot.scenario.measured import TRIES
from simbot.studies.fit_results import Compared, FitResult, Fitted, Interval

COLUMNS = (
    "what", "battery", "method", "trials", "measured", "sd", "predicted_before", "predicted", "ratio", "unit", "off",
    "lines",
)  # fmt: skip


def fit_document(result: FitResult) -> Document:
    """The document of a fit."""
    return {
        "simbot": __version__,
        "format": FORMAT,
        "document": "fit",
        "plan": result.plan.name,
        "seed": result.asked.seed,
        "answer": answer(result),
        "reaction_s": rounded(result.asked.reaction),
        "chosen_from_spreads": result.chosen,
        "left_as_in_file": list(result.left),
        "parameters": [_parameter(each) for each in result.fitted],
        "condition": rounded(result.condition),
        "scatter_s": rounded(result.scatter),
        "stopwatch_shift_s": rounded(result.shift),
        "compared": [_compared(row) for row in result.compared],
        "outliers": [
            {"line": result.measured[place].line, "what": result.measured[place].text, "measured_s": rounded(
                result.measured[place].value), "left_out": place in result.slips}
            for place in sorted((*result.slips, *result.outliers))
        ],
        "rests_on": [
            {"name": rest.name, "value": rest.text, "moves": [rounded(move) for move in rest.moves]}
            for rest in result.rests_on
        ],
        "measure_next": [
            {
                "what": one.text,
                "battery": one.battery,
                "parameter": one.unknown,
                "half_width_now": rounded(one.before),
                "half_width_then": rounded(one.after),
            }
            for one in result.next
        ],
        "cautions": list(result.cautions),
    }  # fmt: skip


def _interval(interval: Interval | None) -> list[float | None] | None:
    return None if interval is None else [rounded(end) for end in interval]


def _parameter(each: Fitted) -> Document:
    unknown, interval = each.unknown, each.interval
    si: list[float | None] | None = None
    if interval is not None:
        ends = [None if end is None else unknown.si(end) for end in interval]
        si = [rounded(end) for end in (ends if unknown.leaves[0].power > 0 else ends[::-1])]
    return {
        "name": unknown.name,
        "key": unknown.given.key,
        "unit": unknown.given.unit,
        "given": unknown.given.number,
        "told": each.estimate is not None,
        "estimate": rounded(each.estimate),
        "interval": _interval(interval),
        "estimate_si": None if each.estimate is None else rounded(unknown.si(each.estimate)),
        "interval_si": si,
        "not_told_apart_from": list(each.not_from),
        "estimate_if_others_as_given": None if each.if_held is None else rounded(each.if_held[0]),
        "interval_if_others_as_given": None if each.if_held is None else _interval(each.if_held[1]),
        "inflation": rounded(each.inflation) if each.estimate is not None else None,
        "estimate_without_outliers": rounded(each.without),
        "limit": each.limit,
    }


def _compared(row: Compared) -> Document:
    return {
        "what": row.text,
        "battery": row.battery or None,
        "method": row.method,
        "trials": row.trials,
        "unit": "share" if row.method == TRIES else "s",
        "measured": rounded(row.measured),
        "sd": rounded(row.sd),
        "predicted_before": rounded(row.before),
        "predicted": rounded(row.predicted),
        "ratio": rounded(row.ratio),
        "off": row.off,
        "lines": list(row.lines),
    }


def fit_csv(result: FitResult) -> str:
    """Measured against predicted as CSV, a row a condition and method."""
    text = io.StringIO()
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for row in result.compared:
        cells = _compared(row)
        cells["lines"] = " ".join(map(str, row.lines))
        cells = {key: safe_cell(cell) if isinstance(cell, str) else cell for key, cell in cells.items()}
        writer.writerow({column: "" if cells[column] is None else cells[column] for column in COLUMNS})
    return text.getvalue()
