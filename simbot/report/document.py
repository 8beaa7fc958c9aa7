"""The JSON document of a run: SI values with the unit in the key, the same bytes for the same result.

Instants end in `_at_s`, durations in `_s`; both are exact to the microsecond. What is absent is null.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from simbot import __version__
from simbot.analysis.results import (
    FallResult,
    Finding,
    MoveResult,
    NeedResult,
    PickResult,
    RunResult,
    StateResult,
    TimeShares,
    WaitResult,
)
from simbot.routine.trace import Award, Choice

FORMAT = 1
SCHEMAS = ("run", "move", "strokes", "tune", "match", "compare", "worth", "sweep", "fit")

Document = dict[str, Any]


def to_text(document: Document) -> str:
    """The document as JSON text, ending in one newline."""
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def schema_text(name: str) -> str:
    """The published JSON Schema of a command's document."""
    return files("simbot.report").joinpath("schemas", f"{name}.schema.json").read_text(encoding="utf-8")


def run_document(run: RunResult) -> Document:
    """The document of `simbot run`."""
    return {
        "simbot": __version__,
        "format": FORMAT,
        "document": "run",
        "plan": run.plan,
        "game": run.game,
        "robot": run.robot,
        "guard_s": _s(run.guard_us),
        "weakest_state_that_passes": run.weakest_state_that_passes,
        "failing_states": list(run.failing_states),
        "cautions": list(run.cautions),
        "match": None if run.match is None else {"number": run.match[0], "seed": run.match[1]},
        "states": {state.name: _state(state) for state in run.states},
    }


def _s(time_us: int | None) -> float | None:
    return None if time_us is None else time_us / 1_000_000


def rounded(value: float | None) -> float | None:
    """Six decimals, and never a minus zero."""
    return None if value is None else round(float(value), 6) + 0.0


def _place(value: float | str | None) -> float | str | None:
    return value if isinstance(value, str) else rounded(value)


def _state(state: StateResult) -> Document:
    return {
        "open_circuit_v": rounded(state.open_circuit),
        "resistance_ohm": rounded(state.resistance),
        "passes": state.passes,
        "passes_if": state.passes_if,
        "cycles": state.cycles,
        "cycle_time_s": rounded(state.cycle_time_s),
        "cycle_time_sd_s": rounded(state.cycle_time_sd_s),
        "points_per_s": rounded(state.points_per_s),
        "points": {name: rounded(value) for name, value in state.points.items()},
        "partner_points": rounded(state.partner_points),
        "time": None if state.time is None else _time(state.time),
        "unfinished": state.unfinished or None,
        "deliveries_at_s": [_s(at_us) for at_us in state.deliveries_at_us],
        "bus_min_v": rounded(state.bus_min_v),
        "bus_min_at_s": _s(state.bus_min_at_us),
        "current_peak_a": rounded(state.current_peak_a),
        "current_mean_a": rounded(state.current_mean_a),
        "over_fuse_s": rounded(state.over_fuse_s),
        "battery_energy_j": rounded(state.energy_j),
        "acting_steps": state.acting_steps,
        "acting_steps_without_needs": state.acting_steps_without_needs,
        "moves": [_move(move) for move in state.moves],
        "needs": [_need(need) for need in state.needs],
        "picks": [_pick(pick) for pick in state.picks],
        "waits": [_wait(one) for one in state.waits],
        "choices": [_choice(one) for one in state.choices],
        "falls": [_fall(one) for one in state.falls],
        "awards": [_award(one) for one in state.awards],
        "findings": [_finding(found) for found in state.findings],
    }


def _time(time: TimeShares) -> Document:
    return {
        "driving_s": rounded(time.driving_s),
        "moving_s": rounded(time.moving_s),
        "timers_s": rounded(time.timers_s),
        "stations_s": rounded(time.stations_s),
        "given_away_s": rounded(time.given_away_s),
    }


def _move(move: MoveResult) -> Document:
    return {
        "step": move.step,
        "line": move.line,
        "mechanism": move.mechanism,
        "label": move.label,
        "period": move.period,
        "repeat": move.repeat,
        "start_at_s": _s(move.start_at_us),
        "floor_s": _s(move.floor_us),
        "arrival_s": _s(move.arrival_us),
        "first_inside_s": _s(move.first_inside_us),
        "seen_arrival_s": _s(move.seen_arrival_us),
        "timer_s": _s(move.timer_us),
        "timer_written_s": _s(move.timer_written_us),
        "wait_line": move.wait_line,
        "margin_s": _s(move.margin_us),
        "need_margin_s": _s(move.need_margin_us),
        "verdict": move.verdict,
        "consequence": move.consequence,
        "measured_s": rounded(sum(move.measured_s) / len(move.measured_s)) if move.measured_s else None,
        "measured_each_s": [rounded(value) for value in move.measured_s],
        "cut": move.cut,
        "start_position": _place(move.start_position),
        "start_speed": rounded(move.start_speed),
        "target": _place(move.target),
        "lag": rounded(move.lag),
        "ends_at": _place(move.ends_at),
        "reason": move.reason or None,
    }


def _need(need: NeedResult) -> Document:
    return {
        "step": need.step,
        "line": need.line,
        "at_s": _s(need.at_us),
        "mechanism": need.mechanism,
        "cause": need.cause_line,
        "position": _place(need.position),
        "speed": rounded(need.speed),
        "target": _place(need.target),
        "within": rounded(need.within),
        "off": None if need.off is None else rounded(need.off.off),
        "tolerance_used": None if need.off is None else rounded(need.off.share),
        "met": need.met,
        "margin_s": _s(need.margin_us),
        "narrow": list(need.narrow),
        "missing_wait_s": _s(need.missing_wait_us),
    }


def _pick(pick: PickResult) -> Document:
    return {
        "step": pick.step,
        "line": pick.line,
        "begins_at_s": _s(pick.begins_at_us),
        "held_at_s": _s(pick.held_at_us),
        "outcome": pick.outcome,
        "spare_s": _s(pick.spare_us),
        "narrow": pick.narrow,
    }


def _wait(wait: WaitResult) -> Document:
    return {
        "step": wait.step,
        "line": wait.line,
        "kind": wait.kind,
        "began_at_s": _s(wait.began_at_us),
        "ended_at_s": _s(wait.ended_at_us),
        "planned_s": _s(wait.planned_us),
        "limit_s": _s(wait.limit_us),
        "ended": wait.ended,
    }


def _choice(choice: Choice) -> Document:
    return {
        "step": choice.step,
        "line": choice.line,
        "at_s": _s(choice.at_us),
        "kind": choice.kind,
        "about": choice.about or None,
        "chosen": choice.chosen,
    }


def _fall(one: FallResult) -> Document:
    fall, pose = one.fall, one.pose
    return {
        "step": fall.step,
        "line": fall.line,
        "at_s": _s(fall.at_us),
        "mechanism": fall.mechanism,
        "element": fall.element,
        "outcome": fall.outcome,
        "points": rounded(fall.points),
        "back_to": one.back_to,
        "x_m": None if pose is None else rounded(pose.x),
        "y_m": None if pose is None else rounded(pose.y),
        "heading_rad": None if pose is None else rounded(pose.heading),
    }


def _award(award: Award) -> Document:
    return {
        "kind": award.kind,
        "name": award.name,
        "line": award.line,
        "at_s": _s(award.at_us),
        "points": rounded(award.points),
        "of_fall": award.of_fall,
    }


def _finding(found: Finding) -> Document:
    return {
        "kind": found.kind,
        "step": found.step,
        "line": found.line or None,
        "file": found.file,
        "at_s": _s(found.at_us),
        "mechanism": found.mechanism,
        "about": found.about,
        "cause": found.cause_line,
        "cause_step": found.cause_step,
        "late_s": _s(found.late_us),
        "outcome": found.outcome,
        "fails": found.fails,
        "text": found.text,
        "mechanisms": list(found.mechanisms),
    }
