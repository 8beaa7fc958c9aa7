"""Small scenarios with their right answers, to the microsecond.

The expected numbers come from an independent program (closed forms where there are any, Runge-Kutta of fourth
order at 50 µs otherwise), checked a second way; none of them was made by simbot. That program let rotors turn with
their robot while its wheels slide: the floors of the drive in example 08 have them by themselves since, and
`test_sliding_floors.py` proves those from the given ones.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from simbot.analysis.results import Finding, MoveResult, NeedResult, PickResult, RunResult, StateResult
from simbot.api import run
from simbot.physics.kinds import KINDS
from simbot.scenario.load import load_plan

DATA = Path(__file__).parent / "data"
ARRIVAL, FLOOR = 5e-6, 20e-6  # s
VOLTS = 1e-4
POSITION, SPEED = (
    2e-6,
    2e-5,
)  # m or rad, and per second: what is lost by moving a check 5 µs along at full speed
EXACT = 1e-9
PRINTED = 1e-6  # means and rates are printed to six decimals

Row = dict[str, Any]

MOVE_TOLERANCE = {
    "start_at_s": EXACT, "timer_s": EXACT, "timer_written_s": EXACT, "seen_arrival_s": EXACT,
    "floor_s": FLOOR, "arrival_s": ARRIVAL, "first_inside_s": ARRIVAL, "margin_s": ARRIVAL,
    "need_margin_s": ARRIVAL,
    "from": POSITION, "to": POSITION, "ends_at": POSITION, "speed_at_start": SPEED,
}  # fmt: skip
NEED_TOLERANCE = {"at_s": EXACT, "position": POSITION, "needs": POSITION, "within": EXACT, "speed": SPEED,
                  "margin_s": ARRIVAL}  # fmt: skip
PICK_TOLERANCE = {"begins_at_s": EXACT, "held_at_s": ARRIVAL}
FINDING_TOLERANCE = {"at_s": ARRIVAL, "late_s": ARRIVAL}


def expected_of(example: str) -> Row:
    return json.loads((DATA / example / "expected.json").read_text(encoding="utf-8"))


def cases() -> list[tuple[str, str, str]]:
    return [
        (folder.name, plan, state)
        for folder in sorted(DATA.iterdir())
        for plan, right in expected_of(folder.name)["plans"].items()
        for state in right["states"]
    ]


@cache
def result_of(example: str, plan: str) -> RunResult:
    loaded, _ = load_plan(DATA / example / plan, KINDS)
    return run(loaded)


def s(time_us: int | None) -> float | None:
    return None if time_us is None else time_us * 1e-6


def move_row(move: MoveResult) -> Row:
    return {
        "line": move.line, "mechanism": move.mechanism, "start_at_s": s(move.start_at_us),
        "floor_s": s(move.floor_us), "arrival_s": s(move.arrival_us), "timer_s": s(move.timer_us),
        "timer_written_s": s(move.timer_written_us), "margin_s": s(move.margin_us),
        "need_margin_s": s(move.need_margin_us), "verdict": move.verdict, "consequence": move.consequence,
        "cut": move.cut, "from": move.start_position, "speed_at_start": move.start_speed, "to": move.target,
        "seen_arrival_s": s(move.seen_arrival_us), "first_inside_s": s(move.first_inside_us),
        "ends_at": move.ends_at,
    }  # fmt: skip


def need_row(need: NeedResult) -> Row:
    return {
        "line": need.line, "at_s": s(need.at_us), "mechanism": need.mechanism, "cause": need.cause_line,
        "position": need.position, "speed": need.speed, "needs": need.target, "within": need.within,
        "met": need.met, "margin_s": s(need.margin_us),
    }  # fmt: skip


def pick_row(pick: PickResult) -> Row:
    return {"line": pick.line, "begins_at_s": s(pick.begins_at_us), "held_at_s": s(pick.held_at_us),
            "outcome": pick.outcome}  # fmt: skip


def finding_row(found: Finding) -> Row:
    return {
        "kind": found.kind, "line": found.line, "at_s": s(found.at_us), "mechanism": found.mechanism,
        "cause": found.cause_line, "late_s": s(found.late_us), "outcome": found.outcome,
        "mechanisms": list(found.mechanisms),
    }  # fmt: skip


def differences(where: str, right: Row, got: Row, tolerance: dict[str, float]) -> list[str]:
    """Every key of the right row that the got one has wrong."""
    wrong = []
    for key, value in right.items():
        mine = got[key]
        if isinstance(value, float | int) and not isinstance(value, bool) and isinstance(mine, float | int):
            if abs(value - mine) > tolerance.get(key, 0.0) + 5e-8:  # positions are printed to seven decimals
                wrong.append(f"{where} {key}: {mine} instead of {value}")
        elif value != mine:
            wrong.append(f"{where} {key}: {mine!r} instead of {value!r}")
    return wrong


def as_distance(row: Row) -> Row:
    """A drive's coordinate counts from wherever its line begins: what can be compared is how far it goes."""
    kept = {key: value for key, value in row.items() if key not in ("to", "position", "needs", "speed")}
    return {**kept, "from": abs(row["to"] - row["from"])} if "from" in row else kept


def rows_wrong(what: str, right: list[Row], got: list[Row], tolerance: dict[str, float]) -> list[str]:
    wrong = []
    if len(right) != len(got):
        lines = [row["line"] for row in got]
        wrong.append(f"{len(got)} {what} (lines {lines}) instead of {len(right)}")
    for index, (mine, row) in enumerate(zip(got, right, strict=False)):
        where = f"{what}[{index}] line {row['line']}"
        if row.get("mechanism") == "drive":
            mine, row = as_distance(mine), as_distance(row)
        wrong += differences(where, row, mine, tolerance)
    return wrong


def totals_wrong(right: Row, got: StateResult) -> list[str]:
    wrong = []
    row = {
        "cycles": got.cycles, "cycle_time_s": got.cycle_time_s, "points_per_s": got.points_per_s,
        "bus_min_v": got.bus_min_v, "passes": got.passes,
    }  # fmt: skip
    tolerance = {"cycle_time_s": PRINTED, "points_per_s": PRINTED, "bus_min_v": VOLTS}
    wrong += differences("totals", {key: right[key] for key in row}, row, tolerance)
    wrong += differences("points", right["points"], dict(got.points), {})
    if "time" in right:
        assert got.time is not None
        time = {f"{name}_s": getattr(got.time, f"{name}_s")
                for name in ("driving", "moving", "stations", "timers", "given_away")}  # fmt: skip
        wrong += differences("time", right["time"], time, dict.fromkeys(time, ARRIVAL))
        assert sum(time.values()) == pytest.approx(got.cycle_time_s, abs=1e-9)
    deliveries = [s(at_us) for at_us in got.deliveries_at_us]
    if deliveries != pytest.approx(right.get("deliveries_at_s", []), abs=EXACT):
        wrong.append(f"deliveries: {deliveries} instead of {right.get('deliveries_at_s', [])}")
    return wrong


def state_wrong(right: Row, got: StateResult) -> list[str]:
    """All differences between the right answers and ours, in words."""
    before = right.get("rows_listed_before_s", float("inf"))
    wrong = totals_wrong(right, got)
    moves = [move_row(move) for move in got.moves if s(move.start_at_us) < before]
    needs = [need_row(need) for need in got.needs if s(need.at_us) < before]
    picks = [pick_row(pick) for pick in got.picks if s(pick.begins_at_us) < before]
    wrong += rows_wrong("moves", right["moves"], moves, MOVE_TOLERANCE)
    wrong += rows_wrong("needs", right.get("needs", []), needs, NEED_TOLERANCE)
    wrong += rows_wrong("picks", right.get("picks", []), picks, PICK_TOLERANCE)
    wrong += rows_wrong("findings", right["findings"], [finding_row(one) for one in got.findings],
                        FINDING_TOLERANCE)  # fmt: skip
    return wrong


@pytest.mark.parametrize(("example", "plan", "state"), cases())
def test_state(example: str, plan: str, state: str) -> None:
    right = expected_of(example)["plans"][plan]["states"][state]
    got = next(one for one in result_of(example, plan).states if one.name == state)
    assert state_wrong(right, got) == []


@pytest.mark.parametrize(("example", "plan"), sorted({case[:2] for case in cases()}))
def test_states_side_by_side(example: str, plan: str) -> None:
    right = expected_of(example)["plans"][plan]
    got = result_of(example, plan)
    assert got.weakest_state_that_passes == right["weakest_state_that_passes"]
    assert list(got.failing_states) == right["failing_states"]
    assert got.guard_us == round(expected_of(example)["guard_s"] * 1e6)


def test_same_files_same_results() -> None:
    first, second = (run(load_plan(DATA / "03_short_wait" / "plan.yaml", KINDS)[0]) for _ in range(2))
    assert first == second
