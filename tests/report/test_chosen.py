"""What a run tells of how the steps that choose ended, and of every wait."""

from __future__ import annotations

import json
from io import StringIO

import jsonschema
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot import api
from simbot.report.document import run_document, schema_text, to_text
from simbot.report.terminal import print_run
from simbot.studies.one_match import run_of_match

MOVE = {"move": {"hand": "shut"}}
LOOK = {"sense": "eye", "of": "bin", "every": "50 ms", "latency": "30 ms", "at_most": "100 ms"}
EMPTY = {"stations": {"bin": {"pose": ["1 m", "1 m", "0 deg"], "gives": "ball", "stock": 0}}}
EARLY = pick(needs={"other": "up"})
SEEN = {"when": {"seen": "eye"}, "do": [wait("0.1 s")]}


def ran(tmp_path, steps, **more):
    """What is printed, and the document's only state."""
    result, out = api.run(a_plan(tmp_path, steps, **more)), StringIO()
    print_run(result, result.states[0], out)
    return out.getvalue(), document_of(result)


def document_of(result):
    document = json.loads(to_text(run_document(result)))
    jsonschema.Draft202012Validator(json.loads(schema_text("run"))).validate(document)
    return document["states"]["full"]


@pytest.mark.parametrize(
    ("steps", "game", "kind", "chosen", "at_s"),
    [
        ([{"first": [[MOVE, wait("arrival")], [wait("0.1 s")]]}], {}, "first", "branch 2 of 2", 0.1),
        ([{"first": [[MOVE, wait("arrival")], [wait("0.3 s")]]}], {}, "first", "branch 1 of 2", 0.2),
        ([LOOK], {}, "sense", "seen", 0.08),
        ([LOOK], EMPTY, "sense", "not seen", 0.1),
        ([LOOK, SEEN], {}, "when", "do", 0.08),
        ([LOOK, SEEN], EMPTY, "when", "neither", 0.1),
        ([LOOK, {**SEEN, "otherwise": [wait("0.1 s")]}], EMPTY, "when", "otherwise", 0.1),
        ([{"try": [pick(), wait("0.3 s")], "tries": 2}], {}, "try", "try 1 of 2", 0.3),
        ([{"try": [EARLY], "tries": 2}], {}, "try", "failed", 0.0),
        ([{"try": [EARLY], "tries": 2, "otherwise": [wait("1 s")]}], {}, "try", "otherwise", 0.0),
        (
            [{"repeat": 1, "steps": [{"try": [wait("0.1 s"), {"leave": "repeat"}], "tries": 2}]}],
            {}, "try", "left in try 1 of 2", 0.1,
        ),
    ],
)  # fmt: skip
def test_how_a_step_that_chooses_ended_is_told(tmp_path, steps, game, kind, chosen, at_s):
    text, state = ran(tmp_path, steps, game=game)
    (found,) = (one for one in state["choices"] if one["kind"] == kind)
    assert (found["chosen"], found["at_s"]) == (chosen, at_s)
    about = f" {found['about']}" if found["about"] else ""
    assert f" line {found['line']:>3}  {kind}{about}: {chosen} at {at_s:.2f} s" in text


def test_of_repeats_each_way_is_counted(tmp_path):
    """One ball in the bin: seen and taken, and then not seen any more."""
    game = {"stations": {"bin": {"pose": ["1 m", "1 m", "0 deg"], "gives": "ball", "stock": 1}}}
    take = [pick(), wait("0.3 s"), place(), wait("0.3 s")]
    steps = [{"repeat": 3, "steps": [LOOK, {"when": {"seen": "eye"}, "do": take}]}]
    text, _ = ran(tmp_path, steps, game=game)
    assert "sense eye: seen at 0.08 s, not seen twice, first at 0.78 s" in text
    assert "when seen eye: do at 0.08 s, neither twice, first at 0.78 s" in text


def test_a_match_with_chance_tells_its_own(tmp_path):
    """A false alarm each time where nothing is."""
    plan = a_plan(tmp_path, [{**LOOK, "false_alarm": "100 %"}], game=EMPTY)
    (choice,) = document_of(run_of_match(plan, 1, 0, plan.robot.battery[0]))["choices"]
    assert choice["chosen"] == "seen"


def test_where_nothing_is_chosen_nothing_is_said_of_it(tmp_path):
    text, state = ran(tmp_path, [wait("0.3 s")])
    assert "How the steps" not in text and state["choices"] == []


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        ([wait("0.3 s")], ("time", 0.0, 0.3, 0.3, None, "time")),
        ([wait("0.3 s", **{"for": "search"})], ("search", 0.0, 0.3, 0.3, None, "time")),
        ([wait("until 2 s")], ("until", 0.0, 2.0, 2.0, None, "time")),
        ([MOVE, wait("arrival")], ("arrival", 0.0, 0.2, None, None, "arrival")),
        ([MOVE, wait("arrival", at_most="0.5 s")], ("arrival", 0.0, 0.2, None, 0.5, "arrival")),
        ([MOVE, wait("arrival", at_most="0.1 s")], ("arrival", 0.0, 0.1, None, 0.1, "limit")),
        ([wait("20 s")], ("time", 0.0, 5.0, 20.0, None, "cut")),
        ([LOOK], ("sense", 0.0, 0.08, None, 0.1, "seen")),
        ([{"try": [pick()]}], ("closing", 0.0, 0.2, None, None, "time")),
    ],
)
def test_every_wait_is_told_with_how_it_ended(tmp_path, steps, told):
    _, state = ran(tmp_path, steps, lasts="5 s")
    keys = ("kind", "began_at_s", "ended_at_s", "planned_s", "limit_s", "ended")
    assert [tuple(one[key] for key in keys) for one in state["waits"]] == [told]


@pytest.mark.parametrize(("asked", "said"), [
    ({"holds": {"hand": "nothing"}}, "holds hand: nothing"),
    ({"holds": {"hand": "anything"}}, "holds hand: anything"),
    ({"holds": {"hand": "2 ball"}}, "holds hand: 2 ball"),
    ({"not": {"holds": {"hand": "ball"}}, "clock": "before 10 s"}, "clock before 10 s and not holds hand: ball"),
    ({"clock": "after 2 s"}, "clock after 2 s"),
    ({"points": "below 30"}, "points below 30"),
    ({"points": "at_least 30"}, "points at_least 30"),
    ({"room": {"box": 1}, "stock": {"bin": 2}}, "room box: 1 and stock bin: 2"),
])  # fmt: skip
def test_what_a_when_asked_is_told_as_the_plan_has_it(tmp_path, asked, said):
    text, state = ran(tmp_path, [{"when": asked, "do": [wait("0.1 s")]}])
    (chosen,) = state["choices"]
    assert chosen["about"] == said and f"when {said}: " in " ".join(text.split())
