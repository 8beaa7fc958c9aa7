"""What a run tells of what fell and of penalties: which element, when, where, at what step, what it cost."""

from __future__ import annotations

import json
import math
from io import StringIO

import jsonschema
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot import api
from simbot.report.document import run_document, schema_text, to_text
from simbot.report.terminal import print_run

POSE = ["1 m", "1 m", "0 deg"]
LOADED = {"hand": "shut", "other": "open", "holds": {"hand": ["ball", "ball"]}}


def told(tmp_path, steps, game, start=LOADED):
    """What is printed, and the document's only state."""
    result, out = api.run(a_plan(tmp_path, steps, game=game, start=start)), StringIO()
    print_run(result, result.states[0], out)
    assert all(len(line) <= 80 for line in out.getvalue().splitlines())
    document = json.loads(to_text(run_document(result)))
    jsonschema.Draft202012Validator(json.loads(schema_text("run"))).validate(document)
    return out.getvalue(), document["states"]["full"]


def test_what_is_let_go_is_told_with_instant_step_and_cost(tmp_path):
    steps = [
        wait("0.3 s", **{"for": "stagger"}),
        {"let_go": "hand"},
        {"move": {"hand": "open"}},
        wait("0.3 s"),
    ]
    text, state = told(tmp_path, steps, {"penalties": {"dropped": 3}})
    lines = (tmp_path / "plan.yaml").read_text(encoding="utf-8").splitlines()
    line = next(number for number, one in enumerate(lines, 1) if "let_go" in one)
    said = "step 2: ball falls from the hand, it is lost; dropped: -3 points each time full twice, first at 0.30 s."
    assert f"line {line} {said}" in " ".join(text.split())
    assert "  penalties in these                       -6" in text
    assert [(one["line"], one["step"], one["at_s"], one["points"]) for one in state["falls"]] == [
        (line, 2, 0.3, -3.0)
    ] * 2
    assert state["points"]["total"] == sum(one["points"] for one in state["awards"]) == -6.0
    assert all(one["of_fall"] and one["kind"] == "penalty" for one in state["awards"])


def test_where_the_robot_stood_and_where_the_element_comes_back_to_are_told(tmp_path):
    start = {**LOADED, "pose": POSE, "holds": {"hand": ["ball"]}}
    steps = [place(needs={"other": "up"}), wait("0.3 s")]
    text, state = told(tmp_path, steps, {"elements": {"ball": {"when_dropped": "bin"}}}, start)
    said = " ".join(text.split())
    assert "step 1: ball falls from the hand, back at the bin full once, at 0.00 s, robot at 1.00 m" in said
    (fell,) = state["falls"]
    assert (fell["x_m"], fell["y_m"], fell["heading_rad"], fell["back_to"]) == (1.0, 1.0, 0.0, "bin")
    assert fell["points"] == 0.0 and "penalties" not in text


@pytest.mark.parametrize("cost", [1, 2.5])
def test_a_penalty_without_a_fall_is_told_once(tmp_path, cost):
    steps = [pick(needs={"other": "up"}), wait("0.3 s")]
    text, state = told(tmp_path, steps, {"penalties": {"missed": cost}}, {"hand": "open", "other": "open"})
    assert (
        f"missed: -{cost} point{'' if cost == 1 else 's'} each time\n          full once, at 0.00 s." in text
    )
    assert state["falls"] == [] and [one["of_fall"] for one in state["awards"]] == [False]


def test_headings_are_told_within_one_turn(tmp_path):
    start = {**LOADED, "pose": ["1 m", "1 m", "270 deg"], "holds": {"hand": ["ball"]}}
    text, state = told(tmp_path, [place(needs={"other": "up"}), wait("0.3 s")], {}, start)
    (fell,) = state["falls"]
    assert fell["heading_rad"] == pytest.approx(-math.pi / 2) and "-90 deg" in text


def test_where_nothing_falls_nothing_is_said_of_it(tmp_path):
    text, state = told(tmp_path, [place(), wait("0.3 s")], {})
    assert "What fell" not in text and "penalties" not in text
    assert state["falls"] == state["awards"] == []
