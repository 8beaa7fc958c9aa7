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


def match_rows(document: Document) -> Iterable[Row]:
    """Many matches of one plan; the last rows are how many matches had so many points."""
    whose, points = document["plan"], document["points"]
    yield from _points(whose, points)
    for key, what, unit in (
        ("nominal_points", "points without chance", "points"),
        ("luck_sd", "spread (sd) from match to match of one day", "points"),
        ("ignorance_sd", "spread (sd) by what is not known of the robot", "points"),
        ("runs", "matches", "1"),
        ("cycle_time_s", "cycle time", "s"),
        ("nominal_cycle_time_s", "cycle time without chance", "s"),
        ("threshold", "threshold", "points"),
        ("chance_order_broken", "chance that an order rule is broken", "1"),
    ):
        yield ("plan", whose, what, document[key], None, None, unit)
    for key, what in (
        ("cycles", "cycles a match"),
        ("chance_clean", "chance that nothing fails"),
        ("chance_to_reach", "chance to reach the threshold"),
    ):
        yield ("plan", whose, what, *_figure(document[key]), "1")
    for sd, what in (("sd", "spread (sd)"), ("p10", "one day in ten below"), ("p90", "one day in ten above")):
        yield ("average of a day", whose, what, document["day_mean"][sd], None, None, "points")
    if document["alliance"]:
        yield from _points(f"{whose} with its partner", document["alliance"])
    for period, figure in document["periods"].items():
        yield ("period", whose, f"points in {period}", *_figure(figure), "points")
    for one in document["lost"]:
        yield ("lost", whose, one["reason"], one["points"], None, None, "points")
        yield ("lost", whose, f"{one['reason']}: share of matches", one["share_of_matches"], None, None, "1")
        if one["seconds"]:
            yield ("lost", whose, f"{one['reason']}: time a match", one["seconds"], None, None, "s")
    yield ("lost", whose, "all else", document["lost_otherwise"], None, None, "points")
    for name, state in document["states"].items():
        yield ("battery", name, "points without chance", state["nominal_points"], None, None, "points")
        yield ("battery", name, "matches", state["runs"], None, None, "1")
        yield ("battery", name, "points a match", *_figure(state["points"]), "points")
    yield _failed(document)
    for one in document["matches"]:
        what = f"matches with {one['points']:g} points"
        yield ("matches by points", whose, what, one["matches"], None, None, "1")


def _points(whose: str, points: Document) -> Iterable[Row]:
    """A distribution."""
    for key, what in (
        ("mean", "points a match"),
        ("sd", "spread (sd) of one match"),
        ("p10", "one match in ten below"),
        ("p50", "half of the matches below"),
        ("p90", "one match in ten above"),
    ):
        ends = points[f"{key}_interval"] or (None, None)
        yield ("plan", whose, what, points[key], *ends, "points")


def _figure(figure: Document | None) -> tuple[object, ...]:
    """A value and the ends of its interval."""
    return (None, None, None) if figure is None else (figure["value"], *(figure["interval"] or (None, None)))


def _failed(document: Document) -> Row:
    count = len(document["failed"])
    return ("failed", "", "matches that could not be played, and are left out", count, None, None, "1")


def compare_rows(document: Document) -> Iterable[Row]:
    """A comparison."""
    for plan in document["plans"]:
        yield from _points(plan["name"], plan["points"])
        for key, what, unit in (
            ("nominal_points", "points without chance", "points"),
            ("runs", "matches", "1"),
            ("cycles", "cycles a match", "1"),
            ("cycle_time_s", "cycle time", "s"),
            ("points_of_cycles", "points a match from whole cycles", "points"),
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
            yield ("pair", whose, what, *_figure(pair[key]), unit)
        for key, what in (
            ("chance_tie", "chance of a tie"),
            ("chance_first_wins_day", "chance that the first wins a day, by its average over ten"),
            ("matches_needed", "matches to settle it"),
        ):
            yield ("pair", whose, what, pair[key], None, None, "1")
        moved = pair.get("moved_most_by")
        if moved is not None:
            what = f"change at the {moved['end']} end of {moved['quantity']}"
            yield ("pair", whose, what, moved["points"], *moved["interval"], "points")
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
    yield _failed(document)


def worth_rows(document: Document) -> Iterable[Row]:
    """What changes are worth, and where the uncertainty comes from."""
    whose = document["plan"]
    base = document["base"]
    yield ("plan", whose, "points a match", *_figure(base), "points")
    for one in (*document["changes"], *([document["together"]] if document["together"] else ())):
        ends = one["interval"] or (None, None)
        yield ("change", whose, one["change"], one["points"], *ends, "points")
    for source in (document["uncertainty"] or {"sources": ()})["sources"]:
        what = source["quantity"]
        yield ("first-order index", whose, what, source["first_order"], *source["first_order_interval"], "1")
        yield ("total index", whose, what, source["total"], *source["total_interval"], "1")
    yield _failed(document)
