"""The JSON document of `simbot compare`."""

from __future__ import annotations

from simbot import __version__
from simbot.report.document import FORMAT, Document, rounded
from simbot.report.ended import clock_document, mixture_document
from simbot.report.match_document import distribution, figure, matches
from simbot.report.turned import break_even_rows
from simbot.studies.compare import CompareResult
from simbot.studies.further import NOTHING_FURTHER, Further
from simbot.studies.moved import Mover


def compare_document(result: CompareResult, more: Further = NOTHING_FURTHER) -> Document:
    """The document of a comparison; nothing in it depends on the number of workers."""
    return {
        "simbot": __version__,
        "format": FORMAT,
        "document": "compare",
        "seed": result.asked.seed,
        "runs": result.runs,
        "battery": list(dict.fromkeys(result.asked.states)),
        "stopped_when_settled": result.stopped,
        "stopped": more.stopped,
        "missing": list(more.missing),
        "plans": [
            {
                "name": side.plan.name,
                "runs": len(own),
                "points": distribution(side.points),
                "matches": matches(side.tally),
                "nominal_points": rounded(side.nominal.total),
                "cycles": rounded(side.cycles),
                "cycle_time_s": rounded(side.cycle_time_s),
                "points_of_cycles": rounded(side.points_of_cycles),
                "points_per_cycle": rounded(side.points_per_cycle),
                "points_per_s": rounded(side.points_per_s),
            }
            for side, own in zip(result.sides, result.records, strict=True)
        ],
        "pairs": [
            {
                "first": result.sides[pair.first].plan.name,
                "second": result.sides[pair.second].plan.name,
                "difference": figure(pair.difference.mean),
                "chance_first_wins": figure(pair.difference.first_wins),
                "chance_tie": rounded(pair.difference.ties),
                "chance_first_wins_day": rounded(pair.difference.first_wins_day),
                "luck_sd": rounded(pair.difference.luck_sd),
                "ignorance_sd": rounded(pair.difference.ignorance_sd),
                "ignorance_sd_at_most": rounded(pair.difference.ignorance_most),
                "settled": pair.difference.sure,
                "days_needed": pair.difference.days_needed,
                "matches_needed": pair.difference.matches_needed,
                "matches_for_half_width_1": pair.difference.matches_for_a_point,
                "moved_most_by": mover_document(pair.difference.mover),
                "matches": matches(pair.difference.tally),
            }
            for pair in result.pairs
        ],
        "break_even": None if more.break_evens is None else break_even_rows(more.break_evens),
        "break_even_runs": None if more.break_evens is None else more.break_evens.runs,
        "break_even_failed": None if more.break_evens is None else more.break_evens.failed,
        "endgame": clock_document(more.clocks),
        "mixed": mixture_document(more.mixtures),
        "failed": [
            {"plan": name, "match": record.number, "why": record.fault} for name, record in result.faults
        ],
    }


def mover_document(mover: Mover | None) -> Document | None:
    """What is not known and moves a difference most."""
    if mover is None:
        return None
    return {
        "quantity": mover.unknown.text,
        "assumed": mover.unknown.assumed,
        "end": "upper" if mover.upper else "lower",
        "points": rounded(mover.points),
        "interval": [rounded(end) for end in mover.interval],
    }
