"""The JSON document of `simbot match`: points, seconds and shares; the same bytes for the same study."""

from __future__ import annotations

from simbot import __version__
from simbot.report.document import FORMAT, Document, rounded
from simbot.studies.match import MatchResult
from simbot.studies.statistics import Distribution, Figure


def match_document(result: MatchResult) -> Document:
    """The document of a study; nothing in it depends on the number of workers."""
    asked = result.asked
    return {
        "simbot": __version__,
        "format": FORMAT,
        "document": "match",
        "plan": result.plan.name,
        "game": result.plan.game.name,
        "robot": result.plan.robot.name,
        "seed": asked.seed,
        "runs": result.points.runs,
        "days": result.points.days,
        "battery": list(dict.fromkeys(asked.states)),
        "stopped": result.stopped or None,
        "nominal_points": rounded(result.nominal),
        "points": distribution(result.points),
        "matches": matches(result.tally),
        "day_mean": {
            "sd": rounded(result.points.day_sd),
            "p10": rounded(result.points.day_p10),
            "p90": rounded(result.points.day_p90),
        },
        "luck_sd": rounded(result.points.luck_sd),
        "ignorance_sd": rounded(result.points.ignorance_sd),
        "ignorance_sd_at_most": rounded(result.points.ignorance_most),
        "alliance": None if result.alliance is None else distribution(result.alliance),
        "periods": {name: figure(each) for name, each in result.periods.items()},
        "partner_points": None if result.second is None else figure(result.second),
        "cycles": figure(result.cycles),
        "cycle_time_s": rounded(result.cycle_time_s),
        "nominal_cycle_time_s": rounded(result.nominal_cycle_s),
        "waits_longer_s": {who: rounded(seconds) for who, seconds in result.added_s.items()},
        "chance_clean": figure(result.clean),
        "stood_still": {reason: rounded(share) for reason, share in result.stood.items()},
        "stood_still_lines": {reason: list(result.lines.get(reason, ())) for reason in result.stood},
        "chance_order_broken": rounded(result.order_broken),
        "threshold": rounded(asked.threshold),
        "chance_to_reach": None if result.reaches is None else figure(result.reaches),
        "lost": [
            {
                "reason": one.reason,
                "points": rounded(one.points),
                "seconds": rounded(one.seconds),
                "share_of_matches": rounded(one.share),
                "lines": list(result.lines.get(one.reason, ())),
            }
            for one in result.lost
        ],
        "lost_otherwise": rounded(result.rest),
        "states": {
            state.name: {
                "nominal_points": rounded(state.nominal),
                "runs": state.runs,
                "points": None if state.mean is None else figure(state.mean),
            }
            for state in result.states
        },
        "days_for_half_width_1": result.days_for_a_point,
        "match_at_p10": result.replay[0],
        "match_at_p90": result.replay[1],
        "failed": [{"match": record.number, "why": record.fault} for record in result.faults],
    }


def figure(of: Figure) -> Document:
    """A figure and its interval."""
    return {"value": rounded(of.value), "interval": _interval(of)}


def _interval(figure: Figure) -> list[float | None] | None:
    return None if figure.interval is None else [rounded(end) for end in figure.interval]


def matches(tally: dict[float, int]) -> list[Document]:
    """Matches by their points, or by their difference in points."""
    return [{"points": rounded(points), "matches": times} for points, times in tally.items()]


def distribution(points: Distribution) -> Document:
    """The figures of one match."""
    return {
        "mean": rounded(points.mean.value),
        "mean_interval": _interval(points.mean),
        "sd": rounded(points.sd.value),
        "sd_interval": _interval(points.sd),
        "p10": rounded(points.p10.value),
        "p10_interval": _interval(points.p10),
        "p50": rounded(points.p50.value),
        "p50_interval": _interval(points.p50),
        "p90": rounded(points.p90.value),
        "p90_interval": _interval(points.p90),
    }
