"""What `simbot match` prints of two robots, and of where points are lost."""

from __future__ import annotations

import json
from io import StringIO

import jsonschema
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.report.document import schema_text
from simbot.report.match_document import match_document
from simbot.report.matched import WIDTH, print_matched
from simbot.studies.asked import Asked
from simbot.studies.match import study


def played(plan, runs=100):  # type: ignore[no-untyped-def]
    """The study, and what is printed of it as one line."""
    result = study(plan, Asked(runs, 3, ("full",)), lambda done, total: None)
    out = StringIO()
    print_matched(result, out)
    assert all(len(line) <= WIDTH for line in out.getvalue().splitlines())
    return result, out.getvalue()


def test_points_of_two_robots_are_told_apart_and_add_up(tmp_path):
    a_plan(tmp_path, [pick(succeeds="50 %"), wait("0.3 s"), place(), wait("0.3 s")])
    (tmp_path / "plan.yaml").rename(tmp_path / "second.yaml")
    steps = [{"repeat": 3, "steps": [pick(), wait("0.3 s"), place(), wait("0.3 s")]}]
    result, said = played(a_plan(tmp_path, steps, others={"friend": {"plan": "second.yaml"}}))
    assert "points a match of both robots together" in " ".join(said.split())
    own = result.periods["only"].value
    assert own == 3.0 and 0.0 < result.second.value < 1.0
    assert own + result.second.value == pytest.approx(result.points.mean.value)
    rows = {one.reason: one.points for one in result.lost}
    assert rows == pytest.approx({"what the second robot earns less": 1.0 - result.second.value})
    assert result.rest == pytest.approx(0.0, abs=1e-9)
    document = json.loads(json.dumps(match_document(result)))
    jsonschema.Draft202012Validator(json.loads(schema_text("match"))).validate(document)
    assert document["partner_points"]["value"] == pytest.approx(result.second.value)


def test_of_one_robot_nothing_is_said_of_a_second(tmp_path):
    result, said = played(a_plan(tmp_path, [pick(), wait("0.3 s"), place(), wait("0.3 s")]), 20)
    assert result.second is None and "both" not in said and "second" not in said
