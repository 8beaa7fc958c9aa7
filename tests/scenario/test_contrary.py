"""Needs that a plan contradicts itself: told where it is certain, and what is told fails in the run as well."""

from __future__ import annotations

from pathlib import Path

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.api import run
from simbot.cli import status
from simbot.scenario.contrary import contrary_needs


def sent(where, how="arrival", mechanism="other"):
    return [{"move": {mechanism: where}}, wait(how)]


NEED = pick(needs={"other": "open"})
BRANCH = {"holds": {"hand": "ball"}}


@pytest.mark.parametrize("steps", [
    [*sent("shut"), NEED],
    [*sent("open"), *sent("shut"), wait("1 s"), NEED],
    [pick(needs={"other": "shut"})],
    [{"move": {"other": "shut", "hand": "open"}}, wait("arrival"), NEED],
    [{"when": BRANCH, "do": sent("shut"), "otherwise": sent("shut")}, NEED],
    [*sent("shut"), {"when": BRANCH, "do": sent("open", mechanism="hand")}, NEED],
    [{"together": [sent("shut"), sent("open", mechanism="hand")]}, NEED],
    [*sent("shut"), {"repeat": 3, "steps": [NEED, wait("0.3 s"), place(), wait("0.3 s")]}],
    [{"repeat": 3, "steps": [*sent("shut"), NEED, wait("0.3 s"), place(), wait("0.3 s")]}],
    [*sent("shut"), {"try": [NEED, wait("0.3 s")], "tries": 2, "otherwise": [wait("0.1 s", **{"for": "settling"})]}],
])  # fmt: skip
def test_a_need_that_its_plan_contradicts_is_told_and_unmet(steps, tmp_path):
    plan = a_plan(tmp_path, steps)
    ((line, key, text),) = contrary_needs(plan)
    (state,) = run(plan).states
    unmet = [found for found in state.findings if found.kind == "need_unmet"]
    assert {found.line for found in unmet} == {line} and key == "needs.other"
    assert text.startswith("the other is needed at ") and text.endswith("never met")


@pytest.mark.parametrize("steps", [
    [*sent("open"), NEED],
    [*sent("shut", "0.3 s"), NEED],  # who knows how long it takes
    [{"move": {"other": "shut"}}, NEED],  # it has not left yet
    [{"move": {"other": "shut"}}, {"wait": "arrival", "at_most": "0.1 s"}, NEED],
    [*sent("shut"), {"when": BRANCH, "do": sent("open")}, NEED],
    [{"first": [sent("shut"), [wait("0.1 s")]]}, NEED],
    [*sent("shut"), {"together": [sent("open"), [NEED, wait("0.3 s")]]}],
    [{"repeat": 3, "steps": [pick(needs={"other": "shut"}), wait("0.3 s"), place(), *sent("shut")]}],
    [{"repeat": 3, "steps": [NEED, wait("0.3 s"), place(), wait("0.3 s"), *sent("shut")]}],
    [*sent("shut"), {"try": [NEED, *sent("open")], "tries": 2}],
])  # fmt: skip
def test_what_may_be_met_is_not_told(steps, tmp_path):
    assert not list(contrary_needs(a_plan(tmp_path, steps)))


def test_the_end_of_a_period_may_cut_anything(tmp_path):
    game = {"periods": {"first": "5 s", "only": "20 s"}}
    told = [*sent("shut"), pick(needs={"other": "open"})]
    assert list(contrary_needs(a_plan(tmp_path, told, game=game)))
    assert not list(contrary_needs(a_plan(tmp_path, [NEED], game=game, first=sent("shut"))))
    # what no period commands stays as it starts
    assert list(contrary_needs(a_plan(tmp_path, [pick(needs={"other": "shut"})], game=game, first=[])))


def test_lengths_and_places_have_their_windows(tmp_path, capsys):
    starter = Path("simbot/starter")
    for name in ("game", "robot", "plan"):
        (tmp_path / f"{name}.yaml").write_bytes((starter / f"{name}.yaml").read_bytes())
    plan = tmp_path / "plan.yaml"
    text = plan.read_text(encoding="utf-8").replace("wait: 800 ms", "wait: arrival")

    def doubts(old: str, new: str) -> str:
        assert old in text
        plan.write_text(text.replace(old, new), encoding="utf-8")
        assert status(["check", str(plan)]) == 0
        return " ".join(capsys.readouterr().out.split()).partition("Doubtful")[2]

    line = text[: text.index("- place:")].count("\n") + 1
    for height, told in (("0.42 m", False), ("0.426 m", False), ("0.43 m", True), ("0.37 m", True)):
        said = doubts("lift: 0.40 m within", f"lift: {height} within")  # windows: 15 mm and the lift's own 12
        assert (f"plan.yaml:{line} needs.lift: the lift is needed at {height} within 15 mm" in said) is told
    assert "the drive is needed at tray within 25 mm" in doubts("drive: shelf within", "drive: tray within")
    assert "never met" not in doubts("drive: shelf within", "drive: shelf within")
