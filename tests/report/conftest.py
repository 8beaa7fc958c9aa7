"""A run made by hand: every kind of bar once, three battery states, invented numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from simbot.analysis.results import (
    Finding,
    MoveResult,
    NeedResult,
    PickResult,
    RunResult,
    StateResult,
    TimeShares,
)


def make_move(**changes: Any) -> MoveResult:
    """A snug move: floor 650, arrival 860, timer 900 ms; the margin follows from what is changed."""
    given: dict[str, Any] = {
        "step": 2,
        "line": 23,
        "mechanism": "lift",
        "label": "lift to 0.42 m",
        "start_at_us": 1_000_000,
        "floor_us": 650_000,
        "arrival_us": 860_000,
        "first_inside_us": None,
        "seen_arrival_us": None,
        "timer_us": 900_000,
        "timer_written_us": 900_000,
        "wait_line": 24,
        "need_margin_us": None,
        "verdict": "snug",
        "consequence": None,
        "measured_s": (),
        "cut": False,
        "start_position": 0.0,
        "start_speed": 0.0,
        "target": 0.42,
        "lag": None,
        "ends_at": None,
        "reason": "",
        "period": "autonomous",
        "repeat": 0,
    }
    given.update(changes)
    if "margin_us" not in given:
        timed = given["timer_us"] is not None and given["arrival_us"] is not None
        given["margin_us"] = given["timer_us"] - given["arrival_us"] if timed else None
    return MoveResult(**given)


def make_moves() -> tuple[MoveResult, ...]:
    return (
        make_move(),
        make_move(repeat=1, start_at_us=9_000_000, arrival_us=850_000),
        make_move(
            step=4,
            line=26,
            mechanism="arm",
            label="arm to 118 deg",
            start_at_us=1_900_000,
            floor_us=370_000,
            arrival_us=510_000,
            timer_us=450_000,
            timer_written_us=450_000,
            wait_line=27,
            verdict="short",
            consequence="breaking",
            need_margin_us=-60_000,
            measured_s=(0.55, 0.57, 0.53),
        ),
        make_move(
            step=6,
            line=29,
            mechanism="drive",
            label="drive to low_sockets",
            floor_us=430_000,
            arrival_us=560_000,
            seen_arrival_us=560_000,
            timer_us=560_000,
            timer_written_us=None,
            wait_line=30,
        ),
        make_move(
            step=8,
            line=33,
            floor_us=430_000,
            arrival_us=620_000,
            timer_us=450_000,
            timer_written_us=450_000,
            label="lift to 0 m",
            wait_line=34,
            verdict="short",
            consequence="harmless",
            need_margin_us=1_380_000,
        ),
        make_move(
            step=12,
            line=38,
            mechanism="gripper",
            label="gripper to open",
            floor_us=170_000,
            arrival_us=250_000,
            timer_us=610_000,
            timer_written_us=600_000,
            wait_line=39,
            verdict="slack",
        ),
        make_move(
            step=13,
            line=41,
            mechanism="wrist",
            label="wrist to 90 deg",
            floor_us=360_000,
            arrival_us=480_000,
            timer_us=200_000,
            timer_written_us=200_000,
            wait_line=42,
            verdict="impossible",
            consequence="harmless",
            need_margin_us=None,
        ),
        make_move(
            step=14,
            line=43,
            mechanism="flap",
            label="flap to up",
            floor_us=None,
            arrival_us=350_000,
            timer_us=None,
            timer_written_us=None,
            wait_line=None,
            verdict=None,
        ),
        make_move(
            step=15,
            line=44,
            mechanism="hook",
            label="hook to 0.60 m",
            floor_us=900_000,
            arrival_us=None,
            timer_us=1_000_000,
            timer_written_us=1_000_000,
            wait_line=45,
            verdict="never",
            consequence="harmless",
            ends_at=0.31,
            reason="it stalls at 0.31 m",
            target=0.6,
        ),
    )


def make_finding(**changes: Any) -> Finding:
    given: dict[str, Any] = {
        "kind": "need_unmet",
        "step": 5,
        "line": 28,
        "at_us": 2_350_000,
        "mechanism": "arm",
        "cause_line": 26,
        "cause_step": 4,
        "late_us": 60_000,
        "outcome": "dropped",
        "text": "Line 27 waits 450 ms for the arm, which needs 510 ms: at line 28 it stands at 109 deg, "
        "the place needs 118 deg within 4 deg, and the lantern is dropped.",
        "fails": True,
    }
    return Finding(**(given | changes))


def make_state(**changes: Any) -> StateResult:
    given: dict[str, Any] = {
        "name": "mid-event",
        "open_circuit": 13.2,
        "resistance": 0.15,
        "cycles": 9,
        "cycle_time_s": 7.35,
        "cycle_time_sd_s": 0.12,
        "points_per_s": 1.63,
        "points": {"autonomous": 10.0, "driver_controlled": 58.0, "endgame": 17.0, "total": 85.0},
        "time": TimeShares(3.07, 1.18, 0.3, 2.33, 0.47),
        "unfinished": "",
        "deliveries_at_us": (2_350_000, 9_700_000),
        "bus_min_v": 9.1,
        "bus_min_at_us": 3_200_000,
        "current_peak_a": 27.4,
        "current_mean_a": 6.1,
        "energy_j": 7900.0,
        "moves": make_moves(),
        "needs": (
            NeedResult(5, 28, 2_350_000, "arm", 26, 1.902, 0.4, 2.059, 0.0698, False, -60_000),
            NeedResult(5, 28, 2_350_000, "lift", 23, 0.418, 0.0, 0.42, 0.015, True, 450_000),
        ),
        "picks": (PickResult(11, 36, 5_000_000, 5_250_000, "held"),),
        "findings": (make_finding(), make_finding(at_us=9_700_000, late_us=58_000)),
        "acting_steps": 14,
        "acting_steps_without_needs": 2,
        "passes": False,
    }
    return StateResult(**(given | changes))


def make_run(**changes: Any) -> RunResult:
    fresh = make_state(
        name="fresh",
        open_circuit=13.8,
        resistance=0.11,
        findings=(),
        passes=True,
        bus_min_v=10.2,
        moves=tuple(
            replace(move, arrival_us=440_000, margin_us=10_000, verdict="snug", consequence=None)
            if move.line == 26
            else move
            for move in make_moves()
        ),
    )
    tired = make_state(
        name="tired", open_circuit=12.6, resistance=0.25, bus_min_v=7.9, unfinished="One sentence."
    )
    given: dict[str, Any] = {
        "plan": "lanterns",
        "plan_path": "some/where/lanterns.yaml",
        "game": "Night Market",
        "robot": "Firefly",
        "guard_us": 50_000,
        "loop_us": 10_000,
        "states": (fresh, make_state(), tired),
        "weakest_state_that_passes": "fresh",
        "failing_states": ("mid-event", "tired"),
        "cautions": ("A caution of this run.",),
    }
    return RunResult(**(given | changes))


@pytest.fixture
def run_result() -> RunResult:
    return make_run()


@pytest.fixture
def move() -> Callable[..., MoveResult]:
    return make_move


@pytest.fixture
def state() -> Callable[..., StateResult]:
    return make_state


@pytest.fixture
def finding() -> Callable[..., Finding]:
    return make_finding
