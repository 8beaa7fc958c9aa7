"""Needs that are met and nearly were not: in time, or in their tolerance."""

from __future__ import annotations

import json
from io import StringIO
from math import radians
from pathlib import Path

import jsonschema
import pytest
from stopwatches import a_plan, pick, place, wait

import simbot.starter
from simbot import api
from simbot.physics.kinds import KINDS
from simbot.report.document import run_document, schema_text, to_text
from simbot.report.terminal import print_run
from simbot.scenario.load import load_plan

STARTER = Path(simbot.starter.__file__).parent
LOADED = {"hand": "shut", "other": "open", "holds": {"hand": ["ball"]}}


def printed(result):
    out = StringIO()
    print_run(result, result.states[0], out)
    assert all(len(line) <= 80 for line in out.getvalue().splitlines())
    return out.getvalue()


def needs_of(result):
    document = json.loads(to_text(run_document(result)))
    jsonschema.Draft202012Validator(json.loads(schema_text("run"))).validate(document)
    return [need for state in document["states"].values() for need in state["needs"]]


@pytest.mark.parametrize(
    ("waits", "told"),
    [
        (wait("220 ms"), ["time"]),  # the other takes 200 ms: 20 ms to spare, the guard is 50 ms
        (wait("250 ms"), []),  # a guard to spare
        (wait("arrival"), []),  # it waits for it
        (wait("180 ms"), []),  # not met at all: a finding tells that
    ],
)
def test_a_need_is_narrow_in_time_within_the_guard(tmp_path, waits, told):
    steps = [{"move": {"other": "shut"}}, waits, place(needs={"other": "shut"}), wait("0.5 s")]
    result = api.run(a_plan(tmp_path, steps, start=LOADED))
    assert [need["narrow"] for need in needs_of(result)] == [told]
    text = printed(result)
    assert ("Met narrowly: for less than 50 ms" in text) == bool(told)
    if told:
        line = result.states[0].needs[0].line
        assert f" line {line:>3}  other at shut: full 20 ms, once" in text
        assert result.states[0].findings == () and result.failing_states == ()


def test_of_many_narrow_needs_the_narrowest_are_told(tmp_path):
    """Each 5 ms less wide than the one before; six are told, in the order in which they happen."""
    steps = []
    for n in range(8, 0, -1):
        again = [{"move": {"other": "shut"}}, wait(f"{200 + n * 5} ms"), place(needs={"other": "shut"})]
        steps += [*again, {"move": {"other": "open", "hand": "shut"}}, wait("0.3 s")]
    start = {"hand": "shut", "other": "open", "holds": {"hand": ["ball"] * 8}}
    robot = {"loop": "5 ms"}
    text = printed(api.run(a_plan(tmp_path, steps, start=start, robot=robot)))
    rows = [line for line in text.splitlines() if "other at shut: full" in line]
    assert [row.split("full ")[1] for row in rows] == [f"{n * 5} ms, once" for n in (6, 5, 4, 3, 2)] + [
        "5.0 ms, once"
    ]
    assert "and 2 more, less narrow" in text


def test_a_pick_is_narrow_that_holds_just_before_what_it_needs_is_left(tmp_path):
    steps = [pick(needs={"other": "open"}), wait("230 ms"), {"move": {"other": "shut"}}, wait("0.5 s")]
    result = api.run(a_plan(tmp_path, steps))
    (state,) = json.loads(to_text(run_document(result)))["states"].values()
    (held,) = state["picks"]
    assert (held["spare_s"], held["narrow"]) == (0.03, True)
    assert "it held before what it needs was left: full 30 ms, once" in printed(result)


def starter(tmp_path, steps, start):
    """A plan of the robot that `simbot start` hands out."""
    for name in ("game.yaml", "robot.yaml"):
        (tmp_path / name).write_text((STARTER / name).read_text(encoding="utf-8"), encoding="utf-8")
    plan = {"name": "near", "game": "game.yaml", "robot": "robot.yaml", "start": start, "autonomous": steps}
    path = tmp_path / "plan.yaml"
    path.write_text(json.dumps({"simbot": 1, "plan": plan}), encoding="utf-8")
    return api.run(load_plan(path, KINDS)[0], ["fresh"])


def at_rest(tmp_path, within):
    start = {"pose": ["1 m", "1 m", "0 deg"], "lift": "0 m", "claw": "shut", "holds": {"claw": ["block"]}}
    put = {"into": "shelf", "by": {"claw": "open"}, "needs": {"lift": f"0.4 m within {within}"}}
    steps = [{"move": {"lift": "0.4 m"}}, {"wait": "3 s"}, {"place": {**put, "else": "dropped"}}]
    return starter(tmp_path, steps, start)


def test_a_need_is_narrow_in_the_last_tenth_of_its_tolerance(tmp_path):
    (need,) = needs_of(at_rest(tmp_path, "50 mm"))
    off = abs(need["position"] - need["target"])
    assert need["off"] == pytest.approx(off, abs=2e-6) and off > 1e-3
    assert need["tolerance_used"] == pytest.approx(off / 0.05, abs=1e-4) and need["narrow"] == []
    (need,) = needs_of(at_rest(tmp_path, f"{off * 1000 / 0.89:.5f} mm"))
    assert need["narrow"] == []
    within = f"{off * 1000 / 0.95:.5f}"
    result = at_rest(tmp_path, f"{within} mm")
    (need,) = needs_of(result)
    assert need["narrow"] == ["tolerance"] and need["tolerance_used"] == pytest.approx(0.95, abs=1e-3)
    assert f"fresh {off * 1000:.3g} of {float(within):.3g} mm, once" in " ".join(printed(result).split())


def test_of_a_drive_the_heading_counts_too(tmp_path):
    """It stands where it is needed, 2.9 deg of 3 aside; and no step has to bring it there."""
    start = {
        "pose": ["2.6 m", "1.8 m", "182.9 deg"],
        "lift": "0 m",
        "claw": "shut",
        "holds": {"claw": ["block"]},
    }
    put = {"into": "shelf", "by": {"claw": "open"}, "else": "dropped"}
    steps = [
        {"place": {**put, "needs": {"drive": "shelf within 25 mm and 3 deg"}}},
        {"wait": "1 s"},
    ]
    result = starter(tmp_path, steps, start)
    (need,) = needs_of(result)
    assert need["off"] == pytest.approx(radians(2.9), abs=1e-6) and need["narrow"] == ["tolerance"]
    assert "fresh 2.9 of 3 deg, once" in " ".join(printed(result).split())
