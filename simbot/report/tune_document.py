"""The JSON document of `simbot tune`: SI values with the unit in the key; what is absent is null."""

from __future__ import annotations

from collections.abc import Mapping

from simbot import __version__
from simbot.analysis.missing_waits import MissingWait
from simbot.report.document import FORMAT, Document, rounded
from simbot.report.match_document import figure
from simbot.report.patch import CAUTION, DEFER, written
from simbot.report.tuned_early import early_document
from simbot.report.tuned_start import start_document
from simbot.studies.chance import Chance, ChanceTotals
from simbot.studies.tune_results import (
    Limit,
    Overlaps,
    PathOf,
    RuleResult,
    Totals,
    TunedTimer,
    TuneResult,
    weakest_that_passes,
)


def tune_document(result: TuneResult) -> Document:
    """The document of `simbot tune`."""
    return {
        "simbot": __version__,
        "format": FORMAT,
        "document": "tune",
        "plan": result.plan,
        "game": result.game,
        "robot": result.robot,
        "kind": result.kind,
        "battery": result.battery,
        "holds_on": list(result.asked),
        "guard_s": _s(result.guard_us),
        "timers": [_timer(timer) for timer in result.timers],
        "missing_waits": [_missing(wait) for wait in result.waits],
        "before": _totals(result.before[result.battery], _chances(result, before=True), result.battery),
        "after": _totals(result.after[result.battery], _chances(result, before=False), result.battery),
        "states": {
            name: {
                "before": _totals(result.before[name], _chances(result, before=True), name),
                "after": _totals(result.after[name], _chances(result, before=False), name),
            }
            for name in result.before
        },
        "weakest_state_that_passes": {
            "before": weakest_that_passes(result.before),
            "after": weakest_that_passes(result.after),
        },
        "chance": None if result.chance is None else _chance(result.chance),
        "paths": [_path(path) for path in result.overlaps.paths],
        "overlaps": _overlaps(result.overlaps),
        "rule": None if result.rule is None else _rule(result.rule),
        "seen_early": [early_document(one) for one in result.early],
        "start_delay": None if result.start is None else start_document(result.start),
        "controller": [_limit(limit) for limit in result.limits],
        "cautions": [CAUTION, DEFER],
    }


def _s(time_us: int | None) -> float | None:
    return None if time_us is None else time_us / 1_000_000


def _chances(result: TuneResult, before: bool) -> Mapping[str, ChanceTotals] | None:
    if result.chance is None:
        return None
    return result.chance.before if before else result.chance.after


def _chance(chance: Chance) -> Document:
    return {
        "matches_each": chance.matches,
        "seed": chance.seed,
        "gain_points": figure(chance.gain),
        "faults": list(chance.faults),
    }


def _totals(totals: Totals, chances: Mapping[str, ChanceTotals] | None = None, state: str = "") -> Document:
    chance = chances.get(state) if chances else None
    return {
        "cycles": totals.cycles,
        "cycle_time_s": rounded(totals.cycle_time_s),
        "points_per_s": rounded(totals.points_per_s),
        "points": rounded(totals.points),
        "passes": totals.passes,
        "chance_clean": None if chance is None else figure(chance.clean),
        "chance_timers_hold": None if chance is None else figure(chance.held),
        "points_with_chance": None if chance is None else figure(chance.points),
    }


def _timer(timer: TunedTimer) -> Document:
    source = timer.source
    return {
        "step": timer.step,
        "line": timer.line,
        "name": timer.name,
        "what": timer.what,
        "moves": list(timer.labels),
        "now_s": _s(timer.now_us),
        "suggested_s": _s(timer.suggested_us),
        "suggested_text": written(timer),
        "reason": timer.reason,
        "floor_s": _s(timer.floor_us),
        "arrival_s": _s(timer.arrival_us),
        "times": timer.times,
        "gain_s": _s(timer.gain_us),
        "chance_enough": None if timer.enough_now is None else figure(timer.enough_now),
        "chance_enough_tuned": None if timer.enough_tuned is None else figure(timer.enough_tuned),
        "failure_costs_points": None if timer.cost is None else rounded(timer.cost.failure),
        "second_costs_points": None if timer.cost is None else rounded(timer.cost.second),
        "source": None
        if source is None
        else {
            "file": source.file.as_posix(),
            "line": source.line,
            "column": source.column,
            "text": source.text or None,
            "unit": source.unit,
            "computed": source.computed,
        },
        "states": {
            state.state: {
                "times": state.times,
                "floor_s": _s(state.floor_us),
                "arrival_s": _s(state.arrival_us),
                "timer_s": _s(state.real_us),
                "margin_s": _s(state.margin_us),
                "verdict": state.verdict or None,
                "consequence": state.consequence,
                "tuned_margin_s": _s(state.tuned_margin_us),
            }
            for state in timer.states
        },
        "needs": [
            {
                "state": need.state,
                "line": need.line,
                "mechanism": need.mechanism,
                "margin_s": _s(need.margin_us),
                "missed": need.missed,
            }
            for need in timer.needs
        ],
    }


def _missing(wait: MissingWait) -> Document:
    return {
        "line": wait.line,
        "step": wait.step,
        "needs": [" at ".join(need) for need in wait.needs],
        "wait_s": _s(wait.wait_us),
    }


def _path(path: PathOf) -> Document:
    return {
        "period": path.period,
        "length_s": _s(path.length_us),
        "waits": [
            {
                "line": one.line,
                "moves": one.label,
                "duration_s": _s(one.duration_us),
                "slack_s": _s(one.slack_us),
                "critical": one.critical,
            }
            for one in path.activities
        ],
    }


def _overlaps(overlaps: Overlaps) -> Document:
    return {
        "proposals": [
            {
                "lines": list(one.lines),
                "beside": list(one.beside),
                "moves": list(one.labels),
                "beside_moves": list(one.beside_labels),
                "saves_s": _s(one.saves_us),
                "saves_least_s": _s(one.saves_least_us),
                "cycle_saves_s": _s(one.cycle_saves_us),
                "points": rounded(one.points),
            }
            for one in overlaps.proposals
        ],
        "together": list(overlaps.together),
        "together_saves_s": _s(overlaps.together_saves_us),
        "together_cycle_saves_s": _s(overlaps.together_cycle_saves_us),
        "rejected": overlaps.rejected,
    }


def _limit(limit: Limit) -> Document:
    unit = (
        "s"
        if limit.key == "loop"
        else f"{'rad' if limit.turns else 'm'}/s{'^2' * (limit.key == 'acceleration')}"
    )
    return {
        "name": limit.name,
        "mechanism": limit.mechanism,
        "key": limit.key,
        "line": limit.line,
        "unit": unit,
        "now": rounded(limit.now),
        "impossible_above": rounded(limit.impossible),
        "no_gain_above": None if limit.key == "loop" else rounded(limit.no_gain),
        "no_gain_below": rounded(limit.no_gain) if limit.key == "loop" else None,
        "followed_now": limit.follows,
        "followed_again_above": limit.uneven,
        "arrival_s": _s(limit.arrival_us),
        "best_arrival_s": _s(limit.best_us),
        "suggested": rounded(limit.suggested),
        "gain_s": _s(limit.gain_us),
        "held_by": limit.held or None,
        "moves": limit.moves,
        "tried": [rounded(value) for value in limit.tried],
        "loops": [{"loop_s": rounded(loop), "gain_s": _s(gain)} for loop, gain in limit.steps],
    }


def _rule(rule: RuleResult) -> Document:
    return {
        "text": rule.text,
        "timers": [
            {
                "line": timer.line,
                "name": timer.name,
                "base_s": _s(timer.base_us),
                "rule_s_per_v": rounded(timer.rule_slope),
                "right_s_per_v": rounded(timer.right_slope),
                "states": {
                    state.state: {
                        "volts_v": rounded(state.volts),
                        "rule_s": _s(state.rule_us),
                        "arrival_s": _s(state.arrival_us),
                        "error_s": _s(state.error_us),
                        "verdict": state.verdict,
                    }
                    for state in timer.states
                },
            }
            for timer in rule.timers
        ],
        "after": {name: _totals(totals) for name, totals in rule.after.items()},
    }
