"""What `simbot run` prints of a second robot."""

from __future__ import annotations

import json
from io import StringIO

import jsonschema
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.api import run
from simbot.physics.kinds import KINDS
from simbot.report.document import run_document, schema_text, to_text
from simbot.report.terminal import print_run
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import load_plan

LOADED = {"hand": "shut", "other": "shut", "holds": {"hand": ["ball"], "other": ["ball"]}}


def rows(tmp_path, others):  # type: ignore[no-untyped-def]
    second = {"place": {"into": "box", "by": {"other": "open"}, "else": "dropped"}}
    a_plan(tmp_path, [place(), wait("0.3 s"), second, wait("0.3 s")], start=LOADED)
    (tmp_path / "plan.yaml").rename(tmp_path / "second.yaml")
    result = run(a_plan(tmp_path, [place(), wait("0.3 s")], start=LOADED, **others))
    out = StringIO()
    print_run(result, result.states[0], out)
    lines = [line.strip().rsplit(maxsplit=1) for line in out.getvalue().splitlines() if " points" in line]
    return {line[0]: line[1] for line in lines if len(line) == 2}


def test_points_of_a_partner_stand_below_the_robot_s_own(tmp_path):
    found = rows(tmp_path, {"others": {"friend": {"plan": "second.yaml"}}})
    assert found["points in all, nominal"] == "1"
    assert found["points of the partner"] == "2"
    assert found["points of both robots"] == "3"


def test_without_a_partner_nothing_is_said_of_one(tmp_path):
    found = rows(tmp_path, {})
    assert found["points in all, nominal"] == "1"
    assert not any("partner" in name or "both" in name for name in found)


def test_the_document_has_them_beside_the_robot_s_own(tmp_path):
    a_plan(tmp_path, [place(), wait("0.3 s")], start=LOADED)
    (tmp_path / "plan.yaml").rename(tmp_path / "second.yaml")
    result = run(a_plan(tmp_path, [wait("0.3 s")], start=LOADED, others={"friend": {"plan": "second.yaml"}}))
    (state,) = run_document(result)["states"].values()
    assert (state["points"]["total"], state["partner_points"]) == (0.0, 1.0)
    (alone,) = run_document(run(a_plan(tmp_path, [wait("0.3 s")], start=LOADED)))["states"].values()
    assert alone["partner_points"] is None


def test_others_in_a_nominal_run_are_named_and_how_long_the_second_robot_waits(tmp_path):
    pose = ["1 m", "1 m", "0 deg"]
    game = {"stations": {"bin": {"pose": pose, "gives": "ball", "stock": 1}}}
    twice = [step for _ in range(2) for step in (pick(), wait("0.3 s"), place(), wait("0.3 s"))]
    a_plan(tmp_path, twice, game=game)
    (tmp_path / "plan.yaml").rename(tmp_path / "second.yaml")
    others = {
        "friend": {"plan": "second.yaml"},
        "guest": {"uses": "bin", "every": "50 s", "stays": "1 s", "takes": 0},
    }
    result, out = run(a_plan(tmp_path, [], game=game, others=others)), StringIO()
    print_run(result, result.states[0], out)
    said = " ".join(out.getvalue().split())
    assert "no traffic but friend and guest, no driver" in said
    lines = (tmp_path / "second.yaml").read_text(encoding="utf-8").splitlines()
    line = [number for number, text in enumerate(lines, 1) if "pick:" in text][1]
    assert (
        f"the second robot (second.yaml, line {line}): step 5 stands 99.4 s waiting: the bin is empty" in said
    )
    document = json.loads(to_text(run_document(result)))
    jsonschema.Draft202012Validator(json.loads(schema_text("run"))).validate(document)
    (found,) = (one for one in document["states"]["full"]["findings"] if one["kind"] == "waits_long")
    assert (found["file"], found["line"], found["step"]) == ("second.yaml", line, 5)


def alliance(tmp_path, mine=None, theirs=None):
    """Two robots with a plan each, which state changes of their own."""
    for changes, name in ((theirs, "second.yaml"), (mine, "first.yaml")):
        changed = {"change": changes} if changes else {}
        a_plan(tmp_path, [wait("until 1 s before_end"), place()], start=LOADED, **changed)
        (tmp_path / "plan.yaml").rename(tmp_path / name)
    first = tmp_path / "first.yaml"
    named = "name: paper"
    indent = next(line for line in first.read_text().splitlines() if named in line).partition(named)[0]
    others = f"others: {{friend: {{plan: second.yaml}}}}\n{indent}{named}"
    first.write_text(first.read_text().replace(named, others))
    return first


LONGER = {"game.periods.only": "40 s"}


def test_both_robots_play_the_game_that_the_plan_changes(tmp_path):
    for plan in (
        load_plan(alliance(tmp_path), KINDS, LONGER)[0],
        load_plan(alliance(tmp_path, LONGER), KINDS)[0],
        load_plan(alliance(tmp_path, None, {"game.periods.only": "50 s"}), KINDS, LONGER)[0],
        load_plan(alliance(tmp_path, LONGER, LONGER), KINDS)[0],
    ):
        assert plan.partner is not None
        assert [each.game.periods[0].duration_us for each in (plan, plan.partner.plan)] == [40_000_000] * 2
        waits = [each.periods["only"].steps[0].until_us for each in (plan, plan.partner.plan)]
        assert waits == [39_000_000] * 2
    weight = {"robot.mass": "7 kg"}
    plan = load_plan(alliance(tmp_path), KINDS, weight)[0]
    assert (plan.robot.mass, plan.partner.plan.robot.mass) == (7.0, 5.0)  # that is the first robot's alone


def test_a_partner_whose_plan_changes_the_game_by_itself_is_told(tmp_path):
    with pytest.raises(ScenarioError, match="its plan changes the game that both play"):
        load_plan(alliance(tmp_path, None, LONGER), KINDS)


def test_a_partner_in_another_game_is_told_that_and_not_what_follows_from_it(tmp_path):
    """Its places, and what is laid over the game, are of no interest then."""
    first = alliance(tmp_path)
    (tmp_path / "game.yaml").rename(tmp_path / "other.yaml")
    text = (tmp_path / "other.yaml").read_text(encoding="utf-8")
    (tmp_path / "game.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "other.yaml").write_text(text.replace("box:", "chest:"), encoding="utf-8")
    second = tmp_path / "second.yaml"
    second.write_text(second.read_text(encoding="utf-8").replace("game.yaml", "other.yaml"), encoding="utf-8")
    for changes in ({}, {"game.places.box.points": "2"}):
        with pytest.raises(ScenarioError) as caught:
            load_plan(first, KINDS, changes)
        (problem,) = caught.value.problems
        assert problem.key == "plan.others.friend" and problem.given == "second.yaml"
        assert problem.text == "it plays another game, other.yaml"


@pytest.mark.parametrize("change", [{"game.perids.only": "40 s"}, {"game.periods.only": "40"}])
def test_a_mistake_in_a_change_of_the_game_is_told_once(tmp_path, change):
    with pytest.raises(ScenarioError) as caught:
        load_plan(alliance(tmp_path), KINDS, change)
    assert len([each for each in caught.value.problems if each.file.startswith("--set")]) == 1
