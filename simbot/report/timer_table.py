"""Timers as a table for a spreadsheet: name, old, new, floor, arrival, reason (CSV, RFC 4180, times in ms)."""

from __future__ import annotations

import csv
import io

from simbot.report.patch import CAUTION, DEFER
from simbot.report.tuned_limits import limit_remarks, limit_text, unit_of
from simbot.studies.tune_results import Limit, TuneResult

HEAD = ("name", "old_ms", "new_ms", "floor_ms", "arrival_ms", "reason")
STARTS_A_FORMULA = (
    "=",
    "+",
    "-",
    "@",
    "\t",
    "\r",
    "\n",
    "\uff1d",
    "\uff0b",
    "\uff0d",
    "\uff20",
)  # full width, too


def table_text(result: TuneResult) -> str:
    """One row a timer, one a parameter of the controller, and the caution as the last."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(HEAD)
    for timer in result.timers:
        times = (timer.now_us, timer.suggested_us, timer.floor_us, timer.arrival_us)
        writer.writerow([safe_cell(timer.name), *map(_ms, times), safe_cell(timer.reason)])
    for limit in result.limits:
        writer.writerow(
            [safe_cell(f"{limit.name} [{unit_of(limit)}]"), "", "", "", "", safe_cell(_limit(limit))]
        )
    writer.writerow(["caution", "", "", "", "", f"{CAUTION} {DEFER}"])
    return out.getvalue()


def _limit(limit: Limit) -> str:
    """A parameter of the controller, whose unit is not that of the columns, in words."""
    side = "below" if limit.key == "loop" else "above"
    parts = [f"now {limit_text(limit, limit.now)}"]
    if limit.impossible is not None:
        parts.append(f"impossible above {limit_text(limit, limit.impossible)}")
    if limit.no_gain is not None:
        parts.append(f"no gain {side} {limit_text(limit, limit.no_gain)}")
    if limit.changed:
        parts.append(f"better {limit_text(limit, limit.suggested)}")
    return "; ".join([*parts, *limit_remarks(limit)])


def safe_cell(text: str) -> str:
    """Text that no spreadsheet takes for a formula."""
    return f"'{text}" if text.lstrip(" ").startswith(STARTS_A_FORMULA) else text


def _ms(time_us: int | None) -> str:
    return "" if time_us is None else f"{time_us / 1000:.10g}"
