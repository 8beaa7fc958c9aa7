"""The JSON document of `simbot sweep`; see `document` for how it is written."""

from __future__ import annotations

from math import isfinite

from simbot import __version__
from simbot.report.document import FORMAT, Document, rounded
from simbot.report.match_document import figure
from simbot.report.swept_chance import candidates
from simbot.studies.statistics import Figure
from simbot.studies.sweep import Point, SweepResult
from simbot.studies.sweep_answer import best_point, best_wanted, flat_of, loss, ridge_of, tie_of
from simbot.studies.sweep_chance import Drawn
from simbot.studies.sweep_points import Look, OneMechanism


def sweep_document(result: SweepResult) -> Document:
    """The document of a sweep; nothing in it depends on the number of workers."""
    asked, subject = result.asked, result.subject
    best = best_point(result)
    chosen = best_wanted(result) if asked.wishes else None
    return {
        "simbot": __version__,
        "format": FORMAT,
        "document": "sweep",
        "file": subject.path.name,
        "mechanism": subject.mechanism if isinstance(subject, OneMechanism) else None,
        "battery": list(asked.states),
        "by": asked.by.name,
        "matches": asked.matches,
        "seed": asked.seed if asked.matches else None,
        "quantities": [
            {
                "key": axis.key,
                "unit": axis.unit,
                "values": list(axis.values),
                "now": axis.now,
                "parts": list(axis.parts),
            }
            for axis in asked.axes
        ],
        "stopped": result.stopped,
        "hangs_on": [
            {
                "quantity": hang.name,
                "assumed": hang.assumed,
                "at_low_end": rounded(hang.low),
                "at_high_end": rounded(hang.high),
            }
            for hang in result.hangs
        ],
        "best": None if best is None else list(best.at),
        "flat": _flat(result, best),
        "ridge": [list(point.at) for point in ridge_of(result.points, asked.by, tie_of(result))]
        if len(asked.axes) == 2
        else [],
        "wanted": [
            {
                "measure": wish.measure,
                "at_most": wish.most,
                "bound": rounded(wish.bound),
                "battery": wish.state,
                "text": wish.text,
            }
            for wish in asked.wishes
        ],
        "can_be_best": [list(point.at) for point in candidates(result)],
        "best_wanted": None if chosen is None else list(chosen.at),
        "now": None if result.now is None else _point(result, result.now, best),
        "points": [_point(result, point, best) for point in result.points],
        "parts": [_point(result, point, best) for point in result.parts],
    }


def _flat(result: SweepResult, best: Point | None) -> Document | None:
    if best is None or len(result.asked.axes) != 1:
        return None
    flat = flat_of(result.points, best, result.asked.by)
    return {
        "from": flat.low,
        "to": flat.high,
        "reaches_first": flat.to_low_end,
        "reaches_last": flat.to_high_end,
    }


def _point(result: SweepResult, point: Point, best: Point | None) -> Document:
    less = None if best is None else loss(point, best, result.asked.by)
    return {
        "at": list(point.at),
        "worse_than_best": rounded(less) if less is not None and isfinite(less) else None,
        "fault": point.fault or None,
        "looks": {look.state: _look(look) for look in point.looks},
        "wanted": [
            {
                "holds": holds,
                "holds_at_every_spread": point.spreads[number].holds if point.spreads else None,
                "worst": rounded(point.spreads[number].worst) if point.spreads else None,
                "most_by": point.spreads[number].blame or None if point.spreads else None,
                "guessed": point.spreads[number].guessed if point.spreads else None,
                "share": rounded(point.spreads[number].share) if point.spreads else None,
            }
            for number, holds in enumerate(point.holds)
        ],
    }


def _look(look: Look) -> Document:
    return {
        "values": {name: rounded(value) for name, value in look.values.items()},
        "held_by": {name: rounded(value) for name, value in look.held_by.items()},
        "reason": look.reason or None,
        "drawn": None if look.drawn is None else _drawn(look.drawn),
    }


def _drawn(drawn: Drawn) -> Document:
    return {
        "points": _figure(drawn.mean),
        "points_per_s": _figure(drawn.rate),
        "matches": len(drawn.points),
        "failed": drawn.failed,
        "why_failed": drawn.fault or None,
    }


def _figure(value: Figure | None) -> Document | None:
    return None if value is None else figure(value)
