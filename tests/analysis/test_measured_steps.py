"""Stopwatch times beside the command itself: held against its own arrival."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path

import pytest
from stopwatches import a_plan, wait

import simbot.starter
from simbot import api
from simbot.physics.kinds import KINDS
from simbot.report.document import run_document
from simbot.report.terminal import print_run
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import load_plan

STARTER = Path(simbot.starter.__file__).parent


def test_a_move_that_was_timed_stands_beside_its_arrival(tmp_path):
    """0.2 s on paper, 0.22 s and 0.24 s by the stopwatch."""
    steps = [{"move": {"hand": "shut"}, "measured": ["0.22 s", "0.24 s"]}, wait("0.5 s")]
    result, out = api.run(a_plan(tmp_path, steps)), StringIO()
    print_run(result, result.states[0], out)
    (move,) = run_document(result)["states"]["full"]["moves"]
    assert (move["arrival_s"], move["measured_s"], move["measured_each_s"]) == (0.2, 0.23, [0.22, 0.24])
    assert "0.200 s    0.230 s  1.15, mean of 2" in out.getvalue()


def test_its_own_time_goes_before_that_of_the_wait(tmp_path):
    timed = wait("0.5 s", measured="0.4 s")
    steps = [{"move": {"hand": "shut"}, "measured": "0.3 s"}, {"move": {"other": "shut"}}, timed]
    moves = run_document(api.run(a_plan(tmp_path, steps)))["states"]["full"]["moves"]
    assert [move["measured_s"] for move in moves] == [0.3, 0.4]


def of_starter(tmp_path, steps):
    """A plan of the robot that `simbot start` hands out, with a flywheel on it."""
    (tmp_path / "game.yaml").write_text((STARTER / "game.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    robot = (STARTER / "robot.yaml").read_text(encoding="utf-8")
    wheel = (
        "    wheel: {kind: roller, motors: 1 x gearmotor, gearing: [{ratio: 1:1, efficiency: 95 %}], "
        "inertia: 2e-4 kg*m^2, speed_control: {window: 10 rpm}}\n"
    )
    (tmp_path / "robot.yaml").write_text(f"{robot.rstrip()}\n{wheel}", encoding="utf-8")
    start = {"pose": ["1 m", "1.8 m", "180 deg"], "lift": "0 m", "claw": "open"}
    plan = {"name": "near", "game": "game.yaml", "robot": "robot.yaml", "start": start, "autonomous": steps}
    path = tmp_path / "plan.yaml"
    path.write_text(json.dumps({"simbot": 1, "plan": plan}), encoding="utf-8")
    return load_plan(path, KINDS)[0]


def test_a_drive_and_a_speed_may_be_timed_too(tmp_path):
    steps = [
        {"drive": "shelf", "measured": "2 s"},
        {"wait": "arrival"},
        {"spin": {"wheel": "200 rpm"}, "measured": "0.5 s"},
        {"wait": "1 s"},
    ]
    (state,) = api.run(of_starter(tmp_path, steps), ["fresh"]).states
    assert [(move.mechanism, move.measured_s) for move in state.moves] == [
        ("drive", (2.0,)),
        ("wheel", (0.5,)),
    ]


@pytest.mark.parametrize(
    ("step", "says"),
    [
        (
            {"move": {"lift": "0.3 m", "claw": "shut"}, "measured": "1 s"},
            "not say which of lift, claw was timed",
        ),
        ({"spin": {"wheel": "80 %"}, "measured": "1 s"}, "arrives nowhere that could be timed"),
        ({"move": {"lift": "0.3 m"}, "measured": "1 m"}, "this is a length"),
    ],
)
def test_times_that_are_those_of_no_move_are_refused(tmp_path, step, says):
    with pytest.raises(ScenarioError) as caught:
        of_starter(tmp_path, [step, {"wait": "1 s"}])
    (problem,) = caught.value.problems
    assert problem.key.endswith("measured") and problem.line == 1
    assert says in problem.text


def test_of_a_push_and_a_zeroing_the_wait_has_the_time(tmp_path):
    for step in (
        {"effort": {"lift": "50 %", "toward": "0.3 m", "for": "300 ms"}, "measured": "1 s"},
        {"zero": {"lift": "0 m", "effort": "30 %"}, "measured": "1 s"},
    ):
        with pytest.raises(ScenarioError) as caught:
            of_starter(tmp_path, [step, {"wait": "1 s"}])
        (problem,) = caught.value.problems
        assert problem.wanted == "`measured` beside the wait that follows"
