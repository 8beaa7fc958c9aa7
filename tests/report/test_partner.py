"""What `simbot run` prints of a second robot."""

from __future__ import annotations

from io import StringIO

from stopwatches import a_plan, place, wait

from simbot.api import run
from simbot.report.document import run_document
from simbot.report.terminal import print_run

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
