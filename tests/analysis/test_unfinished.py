"""A move that the end of the match cuts off is not one that never arrives."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, wait
from test_never import WEAK

from simbot import api
from simbot.analysis.better_timer import rounded_up
from simbot.report.bars import draw
from simbot.report.page import say
from simbot.report.summary import advise_timers, fold_moves, no_arrival
from simbot.report.terminal import _bar_line
from simbot.studies.tune import tune

LIFT = WEAK["mechanisms"]["lift"]
STRONG = {**WEAK, "mechanisms": {"lift": {**LIFT, "gearing": [{"ratio": "20:1"}], "moving_mass": "1 kg"}}}
# 12 V without load: 6000 rpm / 20 on 20 mm of radius is 0.63 m/s: 0.4 m take longer than 0.6 s


def state_of(tmp_path, steps, robot, lasts="2 s"):
    return api.run(a_plan(tmp_path, steps, lasts, robot=robot, start={"lift": "0 m"})).states[0]


@pytest.mark.parametrize("had_ms", [500, 100, 10])
def test_a_move_under_way_at_the_end_is_told_as_cut_off(tmp_path, had_ms):
    pause = wait(f"{2000 - had_ms} ms", **{"for": "settling"})
    state = state_of(tmp_path, [pause, {"move": {"lift": "0.4 m"}}, wait("arrival")], STRONG)
    (move,) = state.moves
    assert move.arrival_us is None and move.verdict is None and move.unfinished_us == had_ms * 1000
    assert move.reason == f"the match ended before it was there, {had_ms / 1000:.2f} s after its command"
    assert no_arrival(move) == "cut off" and "not there at the end of the match" in say.sentence(move)
    bar = draw(move, 10_000, 100)
    assert len(bar) == had_ms // 10 and set(bar) <= set("#-")
    assert state.passes
    assert _bar_line(move, 20_000, "").plain.endswith(f" cut off at {had_ms} ms")


def test_one_that_was_taken_over_so_late_that_it_could_not_have_arrived_is_too(tmp_path):
    steps = [wait("1.5 s"), {"move": {"lift": "0.4 m"}}, wait("300 ms"), {"move": {"lift": "0 m"}}]
    up, down = state_of(tmp_path, steps, STRONG).moves
    assert up.cut and up.unfinished_us == 500_000 and down.unfinished_us == 200_000


def test_what_stands_is_not(tmp_path):
    (move,) = state_of(tmp_path, [{"move": {"lift": "0.4 m"}}, wait("300 ms")], WEAK).moves
    assert move.unfinished_us is None and no_arrival(move) == "never" and "stalled" in move.reason


def test_nor_what_arrives(tmp_path):
    (move,) = state_of(tmp_path, [{"move": {"lift": "0.4 m"}}, wait("arrival")], STRONG).moves
    assert move.arrival_us is not None and move.unfinished_us is None and move.reason == ""


def test_a_push_that_the_end_cuts_off_is_no_finding(tmp_path):
    push = {"effort": {"lift": "80 %", "toward": "0.4 m", "for": "700 ms"}}
    state = state_of(tmp_path, [wait("1.8 s"), push], STRONG)
    assert state.moves[-1].unfinished_us == 200_000 and not state.findings


def test_of_repeats_one_that_the_end_cuts_off_hides_nothing(tmp_path):
    """Three times the timer is too short; the fourth time the match ends before the lift is there."""
    steps = [
        {"move": {"lift": "0.4 m"}},
        wait("500 ms"),
        pick(needs={"lift": "0.4 m within 20 mm"}),
        wait("1 s"),
        {"move": {"lift": "0 m"}},
        wait("1.5 s"),
    ]
    robot = {**STRONG, "mechanisms": {**STRONG["mechanisms"], "hand": {"kind": "measured", "time": "0.2 s"}}}
    start = {"lift": "0 m", "hand": "open"}
    plan = a_plan(
        tmp_path, [{"repeat": "until period_end", "steps": steps}], "9.6 s", robot=robot, start=start
    )
    result = api.run(plan)
    *whole, last = [move for move in result.states[0].moves if move.label == "lift to 0.4 m"]
    assert last.unfinished_us == 600_000 and last.verdict == "never" and len(whole) == 3
    needed = max(move.arrival_us for move in whole)
    folded = fold_moves(result.states[0].moves)
    worst = next(fold.worst for fold in folded.values() if fold.worst.label == "lift to 0.4 m")
    assert worst.arrival_us in {move.arrival_us for move in whole}
    (advice,) = [one for one in advise_timers(result) if "lift to 0.4 m" in one.labels]
    assert advice.suggested_us == rounded_up(needed + plan.guard_us, plan.robot.loop_us, 1000)
    (timer,) = [one for one in tune(plan).timers if one.line == advice.line]
    assert timer.suggested_us >= advice.suggested_us
