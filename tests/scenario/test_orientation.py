"""Places that want their element held some way, and what makes it so."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.analysis.states import state_result
from simbot.routine.match import play
from simbot.scenario.check import plan_doubts
from simbot.scenario.errors import ScenarioError

BOX = {
    "places": {
        "box": {"pose": ["1 m", "1 m", "0 deg"], "takes": "ball", "points": 1, "orientation": "upright"}
    }
}
UPRIGHT = {"orientations": {"upright": {"other": "up"}}}
TURN = {"move": {"other": "up"}}


def told(plan):
    trace, plant = play(plan, plan.robot.battery[0])
    return [one.text for one in state_result(plan, plan.robot.battery[0], plant, trace).findings], trace


def test_an_element_is_placed_only_as_its_place_wants_it(tmp_path):
    # the other takes 200 ms to turn it: 100 ms are too short, and the ball falls; 200 ms do
    for time, text in (("0.1 s", ["the hand opened 100 ms before the other was at up"]), ("0.2 s", [])):
        steps = [pick(), wait("0.3 s"), TURN, wait(time), place(), wait("0.3 s")]
        findings, trace = told(a_plan(tmp_path, steps, game=BOX, **UPRIGHT))
        assert [one.startswith(start) for one, start in zip(findings, text, strict=True)] == [True] * len(
            text
        )
        assert len(trace.deliveries) == (not text)


def test_a_step_that_states_its_own_need_keeps_it(tmp_path):
    plan = a_plan(tmp_path, [pick(), wait("0.3 s"), place(needs={"other": "open"})], game=BOX, **UPRIGHT)
    assert told(plan)[0] == []


def test_an_orientation_that_nothing_makes_so_is_doubted_and_an_unknown_one_refused(tmp_path):
    plan = a_plan(tmp_path, [pick(), wait("0.3 s"), place(), place()], game=BOX)
    (doubt,) = [one.text for one in plan_doubts(plan) if one.key == "place"]
    assert doubt.startswith("the box wants its ball upright, and nothing says what makes it so")
    with pytest.raises(ScenarioError, match="no such orientation of a place, given: 'upright'"):
        a_plan(tmp_path, [], **UPRIGHT)
    with pytest.raises(ScenarioError, match="did you mean 'upright'"):
        a_plan(tmp_path, [], game=BOX, orientations={"upwright": {"other": "up"}})


def test_an_orientation_of_which_nothing_is_stated_is_refused(tmp_path):
    for given, line in (({}, 6), (None, 5)):
        with pytest.raises(ScenarioError) as caught:
            a_plan(tmp_path, [], game=BOX, orientations={"upright": given})
        (problem,) = caught.value.problems
        assert (problem.key, problem.line) == ("plan.orientations.upright", line)
    with pytest.raises(ScenarioError, match=r"so, given: '\{\}'; would do: wrist: 90 deg within 5 deg"):
        a_plan(tmp_path, [], game=BOX, orientations={"upright": {}})
