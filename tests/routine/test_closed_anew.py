"""A hand that is sent again to where it is closing goes on closing: one closing takes one element."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.analysis.states import state_result
from simbot.routine.match import play

SHUT = {"move": {"hand": "shut"}}
STAGGER = wait("100 ms", **{"for": "stagger"})


def told(tmp_path, steps, **more):
    plan = a_plan(tmp_path, steps, "2 s", **more)
    trace, plant = play(plan, plan.robot.battery[0])
    state = state_result(plan, plan.robot.battery[0], plant, trace)
    return state, [(one.outcome, one.held_at_us) for one in state.picks], state.points["total"]


@pytest.mark.parametrize(
    ("again", "picks"),
    [
        ([SHUT], [("held", 200_000)]),
        ([pick()], [("taken over", None), ("held", 200_000)]),
        ([pick(), pick()], [("taken over", None), ("taken over", None), ("held", 200_000)]),
        ([pick(needs={"other": "up"})], [("held", 200_000), ("missed", None)]),
    ],
)
def test_the_same_again_goes_on(tmp_path, again, picks):
    state, outcomes, points = told(tmp_path, [pick(), STAGGER, *again, wait("300 ms"), place()])
    assert outcomes == picks and points == 1
    assert state.passes == ("missed" not in dict(outcomes))


def test_so_it_does_where_one_period_follows_another(tmp_path):
    game = {"periods": {"only": "2 s", "then": "2 s"}}
    steps = [wait("1.9 s", **{"for": "settling"}), pick()]
    state, outcomes, points = told(tmp_path, steps, game=game, then=[pick(), wait("300 ms"), place()])
    assert outcomes == [("taken over", None), ("held", 2_100_000)] and points == 1 and state.passes


def test_a_retry_takes_its_own_pick_over(tmp_path):
    steps = [{"try": [pick(), STAGGER, pick()], "tries": 2}, place()]
    _, outcomes, points = told(tmp_path, steps)
    assert outcomes == [("taken over", None), ("held", 200_000)] and points == 1


def test_something_else_with_the_same_closing_says_so(tmp_path):
    pose = ["1 m", "1 m", "0 deg"]
    game = {"stations": {name: {"pose": pose, "gives": "ball"} for name in ("bin", "heap")}}
    steps = [pick(), STAGGER, pick(**{"from": "heap"}), wait("300 ms"), place()]
    state, outcomes, _ = told(tmp_path, steps, game=game)
    assert [outcome for outcome, _ in outcomes] == ["missed", "held"]
    (found,) = [one for one in state.findings if one.kind == "pick_lost"]
    assert "step 3 closed the hand for something else before it had closed, 100 ms before" in found.text


def test_sent_elsewhere_it_is_lost(tmp_path):
    state, outcomes, _ = told(tmp_path, [pick(), STAGGER, {"move": {"hand": "open"}}, wait("300 ms")])
    assert [outcome for outcome, _ in outcomes] == ["missed"] and not state.passes
    assert any("the hand was sent elsewhere before it had closed" in one.text for one in state.findings)
