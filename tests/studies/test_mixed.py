"""Two plans in one match, where what is best can be worked out on paper."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest
from stopwatches import a_plan, pick, wait

from simbot.cli import status
from simbot.report.compare_document import compare_document
from simbot.report.compared import print_compared
from simbot.report.document import schema_text
from simbot.scenario.model import RepeatStep
from simbot.studies.asked import Asked
from simbot.studies.further import Wanted, compare_further
from simbot.studies.ledger import Ledger
from simbot.studies.mixed import mixture, why_not

ASKED = Asked(80, 3, ("full",))
POSE = ["1 m", "1 m", "0 deg"]


def quiet(what):
    return lambda done, total: None


def a_side(folder, name, into, time, change=None):
    """A place for 3 balls of 10 points in 2 s each, and one without end of 3 points in 1 s each; 20 s."""
    folder.mkdir(exist_ok=True)
    places = {
        "shelf": {"pose": POSE, "takes": "ball", "points": 10, "room": 3},
        "box": {"pose": POSE, "takes": "ball", "points": 3},
    }
    put = {"place": {"into": into, "by": {"hand": "open"}, "else": "dropped"}}
    routine = [pick(), wait(time), put, wait("0.5 s")]
    steps = [{"repeat": "until period_end", "steps": [{"run": "cycle"}]}]
    more = {"routines": {"cycle": routine}, "name": name, **(change or {})}
    return a_plan(folder, steps, "20.4 s", {"places": places}, **more)


def sides(tmp_path):
    return [
        a_side(tmp_path / "a", "shelf", "shelf", "1.5 s"),
        a_side(tmp_path / "b", "box", "box", "0.5 s"),
    ]


def test_the_best_order_fills_the_place_with_little_room_first(tmp_path, capsys):
    import sys

    plans = sides(tmp_path)
    with Ledger("compare", plans, ASKED) as ledger:
        result, more = compare_further(ledger, plans, ASKED, Wanted(mixed=True), quiet)
    found = more.mixtures
    # the shelf alone 30, the box alone 20 balls: 60; three times the shelf (6 s), then 14 balls: 30 + 42
    assert (found.alone, found.alone_points) == ("box", 60.0)
    best = found.tried[0]
    assert (best.first, best.rounds, best.then, best.points) == ("shelf", 3, "box", 72.0)
    assert found.difference.mean.value == 12.0
    points = {(one.first, one.rounds): one.points for one in found.tried}
    assert points["shelf", 1] == 10 + 18 * 3 and points["shelf", 2] == 20 + 16 * 3
    assert points["box", 10] == 30 + 30  # ten balls, then the shelf
    document = json.loads(json.dumps(compare_document(result, more)))
    jsonschema.Draft202012Validator(json.loads(schema_text("compare"))).validate(document)
    print_compared(result, sys.stdout, more)
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80
    assert "3 rounds of shelf, then box, is the best mixture; it brings +12.0 points" in " ".join(
        text.split()
    )


def test_routines_of_one_name_stay_apart(tmp_path):
    shelf, box = sides(tmp_path)
    both = mixture(shelf, box, 2)
    assert set(both.routines) == {"cycle", "box: cycle"}
    first, second = both.periods["only"].steps
    assert isinstance(first, RepeatStep) and (first.times, second.times) == (2, None)
    assert second.steps.steps[0].routine == "box: cycle" and first.steps.steps[0].routine == "cycle"


def test_what_cannot_be_mixed_is_told(tmp_path, capsys):
    shelf, box = sides(tmp_path)
    assert why_not(shelf, box) == ""
    heavier = replace(box, robot=replace(box.robot, mass=7.0))
    assert why_not(shelf, heavier) == "shelf and box have different robots"
    once = replace(box, periods={"only": replace(box.periods["only"], steps=())})
    assert why_not(shelf, once) == "box repeats nothing until the end of only"
    files = [str(tmp_path / name / "plan.yaml") for name in "aba"]
    assert status(["compare", *files, "--mix"]) == 2
    assert "--mix: two plans are mixed, 3 were given" in capsys.readouterr().err
    assert status(["compare", *files[:2], "--endgame"]) == 2
    assert "none of the plans has an endgame" in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--json", "--csv"])
def test_the_command_writes_all_of_it(tmp_path, capsys, option):
    sides(tmp_path)
    files = [str(tmp_path / name / "plan.yaml") for name in "ab"]
    assert status(["compare", *files, "--mix", "--runs", "20", option, "-"]) == 0
    out = capsys.readouterr().out
    if option == "--json":
        assert json.loads(out)["mixed"]["mixtures"][0]["points"] == 72.0
    else:
        assert out.startswith("table,whose,what,") and 'mixed,shelf,"3, then box",72.0,,,points' in out
