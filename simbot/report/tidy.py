"""CSV of what a document says, one number a row: table, whose, what, value, the ends of its interval, unit."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from simbot.report.document import Document
from simbot.report.timer_table import safe_cell

COLUMNS = ("table", "whose", "what", "value", "low", "high", "unit")
Row = tuple[object, ...]


def csv_text(rows: Iterable[Row]) -> str:
    """Rows under their heading; what is absent is empty."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow([_cell(each) for each in row])
    return text.getvalue()


def _cell(value: object) -> object:
    if value is None:
        return ""
    return safe_cell(value) if isinstance(value, str) else value


def compare_rows(document: Document) -> Iterable[Row]:
    """A comparison."""
    for plan in document["plans"]:
        ends = plan["points"]["mean_interval"] or (None, None)
        yield ("plan", plan["name"], "points a match", plan["points"]["mean"], *ends, "points")
        for key, what, unit in (
            ("nominal_points", "points without chance", "points"),
            ("runs", "matches", "1"),
            ("cycles", "cycles a match", "1"),
            ("cycle_time_s", "cycle time", "s"),
            ("points_per_cycle", "points a cycle", "points"),
            ("points_per_s", "points a second", "points/s"),
        ):
            yield ("plan", plan["name"], what, plan[key], None, None, unit)
    for pair in document["pairs"]:
        whose = f"{pair['first']} less {pair['second']}"
        for key, what, unit in (
            ("difference", "points a match", "points"),
            ("chance_first_wins", "chance that the first wins", "1"),
        ):
            yield ("pair", whose, what, pair[key]["value"], *(pair[key]["interval"] or (None, None)), unit)
    for one in document["break_even"] or ():
        ends = one["interval"] or (None, None)
        yield ("break-even", one["plan"], one["quantity"], one["turns_at"], *ends, one["unit"])
        yield ("now", one["plan"], one["quantity"], one["now"], None, None, one["unit"])
    for clock in document["endgame"] or ():
        safe = clock["last_safe_start_left_s"]
        yield ("endgame", clock["plan"], "last safe start, left", safe, None, None, "s")
        ends = clock["success_needed_interval"] or (None, None)
        yield ("endgame", clock["plan"], "success needed", clock["success_needed"], *ends, "1")
        for row in clock["by_success"]:
            what = f"latest start that pays, left, success {row['success']:g}"
            yield ("endgame", clock["plan"], what, row["latest_start_left_s"], None, None, "s")
            what = f"gain at the last safe start, success {row['success']:g}"
            ends = row["gain_at_last_safe_start_interval"] or (None, None)
            yield ("endgame", clock["plan"], what, row["gain_at_last_safe_start"], *ends, "points")
    for one in (document["mixed"] or {"mixtures": ()})["mixtures"]:
        yield (
            "mixed",
            one["first"],
            f"{one['rounds']}, then {one['then']}",
            one["points"],
            None,
            None,
            "points",
        )


def worth_rows(document: Document) -> Iterable[Row]:
    """What changes are worth, and where the uncertainty comes from."""
    whose = document["plan"]
    base = document["base"]
    yield ("plan", whose, "points a match", base["value"], *(base["interval"] or (None, None)), "points")
    for one in (*document["changes"], *([document["together"]] if document["together"] else ())):
        ends = one["interval"] or (None, None)
        yield ("change", whose, one["change"], one["points"], *ends, "points")
    for source in (document["uncertainty"] or {"sources": ()})["sources"]:
        what = source["quantity"]
        yield ("first-order index", whose, what, source["first_order"], *source["first_order_interval"], "1")
        yield ("total index", whose, what, source["total"], *source["total_interval"], "1")
