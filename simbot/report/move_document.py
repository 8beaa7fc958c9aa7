"""The JSON document of `simbot move`; see `document` for how it is written."""

from __future__ import annotations

from collections.abc import Sequence
from math import isinf
from typing import Any

from simbot import __version__
from simbot.analysis.move_results import Holding, MoveNumbers, OneMove, Pull, StateNumbers, Tables, Turning
from simbot.report.document import FORMAT, Document, rounded
from simbot.report.one_move import about, cautions_of, last_start_at, last_start_before_end
from simbot.scenario.model import Remark


def move_document(move: OneMove, remarks: Sequence[Remark], until: float | None) -> Document:
    return {
        "simbot": __version__,
        "format": FORMAT,
        "document": "move",
        "robot": move.robot.name,
        "mechanism": move.spec.name,
        "kind": move.spec.kind,
        "coordinate_unit": move.unit,
        "loads_kg": [rounded(load) for load in move.loads],
        "until_s": rounded(until),
        "others_stand_at": {name: rounded(q) for name, q in move.others.items()},
        "assumed": [f"{remark.key}: {remark.text}" for remark in about(move.spec, remarks)],
        "cautions": list(cautions_of(move)),
        "states": {state.name: _state(move, state, until) for state in move.states},
        "tables": None if move.tables is None else _tables(move.tables),
    }


def _state(move: OneMove, state: StateNumbers, until: float | None) -> Document:
    first = state.moves[0]
    return {
        "open_circuit_v": rounded(state.open_circuit),
        "resistance_ohm": rounded(state.resistance),
        **_numbers(first),
        "moves": [
            {
                "start": rounded(one.way.start),
                "target": rounded(one.way.target),
                "turning": one.way.turning,
                "load_kg": rounded(one.load),
                "first_inside_s": rounded(one.first_inside_s),
                "reason": one.reason or None,
                "resets": list(one.resets),
                "motor_heat_j": rounded(one.heat_j),
                "lifting_j": rounded(one.lifting_j),
                "motor_current_peak_a": rounded(one.motor_peak_a),
                "bus_min_v": rounded(one.bus_min_v),
                "speed_max": rounded(one.speed_max),
                "stall_at": rounded(one.stall_at),
                **_numbers(one),
            }
            for one in state.moves
        ],
        "holding": [_holding(one) for one in state.holdings],
        "pull": [_pull(one, until) for one in state.pulls],
        "times": [
            {"angle_rad": rounded(angle), "arrival_s": rounded(arrival)} for angle, arrival in state.times
        ],
        "turning": None if state.turning is None else _turning(state.turning),
    }


def _numbers(one: MoveNumbers) -> Document:
    return {
        "floor_s": rounded(one.floor_s),
        "arrival_s": rounded(one.arrival_s),
        "battery_energy_j": rounded(one.energy_j),
        "current_peak_a": rounded(one.current_peak_a),
        "stall_share_max": rounded(one.stall_share_max),
        "limited_by": {cause: rounded(share) for cause, share in one.limited_by.items()},
    }


def _holding(one: Holding) -> Document:
    fall: dict[str, Any] | None = None
    if one.fall is not None:
        fall = {
            "start": rounded(one.fall.start),
            "end": rounded(one.fall.end),
            "lasts_s": rounded(one.fall.lasts_s),
            "speed_max": rounded(one.fall.speed_max),
            "braked_s": rounded(one.fall.braked_s),
            "wire_off_lasts_s": rounded(one.fall.loose_s),
            "wire_off_speed_max": rounded(one.fall.loose_speed_max),
        }
    return {
        "load_kg": rounded(one.load),
        "holds_without_power": one.holds_off,
        "holds_at_ends_of_spreads": one.holds_off_surely,
        "at": rounded(one.at),
        "motor_current_a": rounded(one.motor_current_a),
        "battery_current_a": None if isinf(one.battery_current_a) else rounded(one.battery_current_a),
        "heat_w": rounded(one.heat_w),
        "fall": fall,
        "drops_onto_tooth": rounded(one.onto_tooth),
        "over_centre": [
            {
                "stop": rounded(lock.stop),
                "centre": rounded(lock.centre),
                "held_by": "push towards the crank" if lock.inwards else "pull outwards",
                "motor_current_a": rounded(lock.motor_current_a),
            }
            for lock in one.locks
        ],
    }


def _pull(one: Pull, until: float | None) -> Document:
    before = last_start_before_end(one)
    return {
        "load_kg": rounded(one.load),
        "stall_share": rounded(one.stall_share),
        "steady_speed": rounded(one.speed),
        "time_s": rounded(one.time_s),
        "first_reach_s": rounded(one.reached_s),
        "holds_without_power": one.holds.holds_off,
        "last_start_before_end_s": rounded(before),
        "last_start_at_s": rounded(last_start_at(one, until)),
    }


def _turning(one: Turning) -> Document:
    return {
        "steady_speed": rounded(one.steady),
        "left_after_throw": rounded(one.left),
        "thrown_with": rounded(one.thrown),
        "back_after_s": rounded(one.back_s),
        "pull_in_s": rounded(one.pull_in_s),
    }


def _tables(tables: Tables) -> Document:
    return {
        "volts_v": rounded(tables.volts),
        "celsius": rounded(tables.celsius),
        "magnets": tables.magnets,
        "load_kg": rounded(tables.load),
        "rows": [
            {
                "position": rounded(row.q),
                "inertia": rounded(row.mass),
                "inertia_with_rotors": rounded(row.moved),
                "load": rounded(row.load),
                "ratio": rounded(row.ratio),
                "stall_force": rounded(row.force),
                "free_speed": rounded(row.speed),
            }
            for row in tables.rows
        ],
    }
