"""Documents of studies for pages under test: invented numbers in the published form."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from simbot import __version__
from simbot.report.document import FORMAT

Document = dict[str, Any]


def _head(kind: str) -> Document:
    return {"simbot": __version__, "format": FORMAT, "document": kind}


def _figure(value: float, low: float, high: float) -> Document:
    return {"value": value, "interval": [low, high]}


def _points(mean: float) -> Document:
    named = {"mean": mean, "sd": 12.0, "p10": mean - 17.0, "p50": mean + 1.0, "p90": mean + 14.0}
    return {
        key: value
        for name, value in named.items()
        for key, value in ((name, value), (f"{name}_interval", [value - 2.0, value + 2.0]))
    }


def _tally(mean: float) -> list[Document]:
    return [{"points": mean + 5.0 * step, "matches": 20 - 4 * abs(step)} for step in range(-4, 5)]


def _break_even(plan: str) -> Document:
    return {
        "quantity": "place into high_row succeeds", "plan": plan, "unit": "1", "now": 0.85, "turns_at": 0.64,
        "turns": "below", "interval": [0.52, 0.77], "told": True, "resistance_ohm": None,
        "tried_to": 0.0, "ahead_there": -9.0,
        "text": "the other wins only if it succeeds less than 64 % (you said 85 %)",
    }  # fmt: skip


def compare(first: str = "lanterns", second: str = "tins") -> Document:
    plans = [
        {
            "name": name, "points": _points(mean), "matches": _tally(mean), "nominal_points": mean + 15.0,
            "cycles": 11.5, "runs": 120,
            "cycle_time_s": 9.25, "points_per_cycle": 7.5, "points_of_cycles": 86.25, "points_per_s": 0.81,
        }
        for name, mean in ((first, 91.4), (second, 84.1))
    ]  # fmt: skip
    pair = {
        "first": first, "second": second, "difference": _figure(7.3, 3.1, 11.5),
        "chance_first_wins": _figure(0.68, 0.6, 0.75), "chance_tie": 0.02, "chance_first_wins_day": 0.9,
        "luck_sd": 14.0, "ignorance_sd": 4.0, "ignorance_sd_at_most": None, "settled": True,
        "days_needed": 4, "matches_needed": 53, "matches_for_half_width_1": 900, "moved_most_by": None,
        "matches": _tally(7.3),
    }  # fmt: skip
    return {
        **_head("compare"), "seed": 7, "runs": 120, "battery": ["mid-event"], "stopped_when_settled": True,
        "stopped": False, "missing": [],
        "plans": plans, "pairs": [pair], "break_even": [_break_even(first)], "break_even_runs": 40,
        "break_even_failed": 0, "endgame": None,
        "mixed": None, "failed": [],
    }  # fmt: skip


def worth(plan: str = "lanterns") -> Document:
    def one(change: str, points: float, half: float) -> Document:
        return {
            "change": change,
            "points": points,
            "interval": [points - half, points + half],
            "mean_points": 91.4 + points,
        }

    changes = [
        one("the timer in line 31 100 ms longer", 9.5, 2.5),
        one("robot.mass 500 g less", 0.4, 1.1),
        one("robot.mass 500 g more", -2.2, 1.3),
    ]
    return {
        **_head("worth"), "plan": plan, "seed": 7, "runs": 120, "battery": ["mid-event"],
        "base": _figure(91.4, 89.0, 94.0), "changes": changes, "together": None, "uncertainty": None, "failed": [],
        "stopped": False, "timer_lines": [31],
    }  # fmt: skip


def write_studies(folder: Path) -> None:
    """One document each of what the page shows, and one that it has to leave out."""
    folder.mkdir()
    for name, document in (("compare", compare()), ("worth", worth()), ("other", worth("some other plan"))):
        (folder / f"{name}.json").write_text(json.dumps(document), encoding="utf-8")
