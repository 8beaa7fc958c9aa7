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
SETTLES = {"when": BRANCH, "do": [wait("1 s", **{"for": "settling"})], "otherwise": [wait("20 ms")]}
LEAVES = {"when": {"holds": {"hand": "ball"}}, "do": [], "otherwise": [{"leave": "repeat"}]}


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
    # a `try` is left anywhere
    [{"try": [wait("0.5 s"), *sent("shut")], "at_most": "0.2 s"}, NEED],
    [{"try": [wait("0.5 s"), *sent("shut")], "at_most": "0.2 s", "otherwise": [NEED]}],
    [{"move": {"other": "shut"}}, {"try": [wait("0.1 s"), wait("1 s")], "at_most": "0.2 s"}, wait("arrival"), NEED],
    # so is a repeat
    [{"move": {"other": "shut"}}, {"repeat": 2, "steps": [LEAVES, wait("arrival")]}, NEED],
    # a timed wait goes on before it is there, and an arrival is then waited for no more
    [{"move": {"other": "shut"}}, SETTLES, wait("arrival"), NEED],
    [{"move": {"other": "shut"}}, {"when": BRANCH, "do": [wait("20 ms")]}, wait("20 ms"), wait("arrival"), NEED],
])  # fmt: skip
def test_what_may_be_met_is_not_told(steps, tmp_path):
    assert not list(contrary_needs(a_plan(tmp_path, steps)))


def test_after_a_step_that_fails_a_need_is_met_where_it_was_before(tmp_path):
    fails = pick(needs={"other": "shut"})
    plan = a_plan(tmp_path, [{"try": [fails, wait("0.3 s"), *sent("shut")]}, NEED])
    (state,) = run(plan).states
    unmet = {found.line for found in state.findings if found.kind == "need_unmet"}
    ((line, _, text),) = contrary_needs(plan)
    assert unmet == {line} and "needed at shut" in text


def with_mast(folder, mast, steps):
    """A plan of a robot that has one more mechanism, `mast`, at the lower end of its travel."""
    sheet = {"voltage": "12 V", "free_speed": "330 rpm", "free_current": "0.4 A"}
    sheet |= {"stall_torque": "2.4 N*m", "stall_current": "9.4 A", "rotor_inertia": "3e-3 kg*m^2"}
    hands = {name: {"kind": "measured", "time": "0.2 s"} for name in ("hand", "other")}
    start = {"hand": "open", "other": "open", "mast": mast["travel"][0]}
    robot = {"motors": {"coil": sheet}, "mechanisms": {**hands, "mast": mast}}
    return a_plan(folder, steps, robot=robot, start=start)


HOLDS = {"loop": "position", "p": "15 /m", "window": "12 mm"}
SLIDE = {"kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": "1:1", "efficiency": "95 %"}],
         "drum_diameter": "50 mm", "moving_mass": "1.6 kg", "friction": "5 N", "travel": ["0 m", "0.6 m"],
         "control": HOLDS}  # fmt: skip
SERVO = {"speed": "0.2 s/60deg", "stall_torque": "1 N*m", "at": "6 V", "window": "2 deg"}
CRANK = {"kind": "slider_crank", "servo": SERVO, "travel": ["10 deg", "170 deg"], "crank": "60 mm", "coupler": "180 mm",
         "slider_mass": "0.1 kg"}  # fmt: skip
CLAW = {"kind": "claw", **SERVO, "travel": ["0 deg", "90 deg"], "jaw": "70 mm", "contact": "25 deg"}


@pytest.mark.parametrize(("mast", "to", "needed", "told"), [
    (SLIDE, "0.4 m", "0.428 m within 15 mm", True), (SLIDE, "0.4 m", "0.426 m within 15 mm", False),
    ({**SLIDE, "zero_drift": "1 mm ± 1 mm"}, "0.4 m", "0.428 m within 15 mm", False),
    ({**SLIDE, "backlash": "5 mm"}, "0.4 m", "0.428 m within 15 mm", False),
    ({**SLIDE, "control": {"window": "12 mm"}}, "0.4 m", "0 m within 15 mm", True),
    ({**SLIDE, "control": {"window": "12 mm", "after": "coast"}}, "0.4 m", "0 m within 15 mm", False),
    (CRANK, "90 deg", "96 deg within 3 deg", True), (CRANK, "90 deg", "94 deg within 3 deg", False),
    ({"kind": "servo", **SERVO, "travel": ["0 deg", "90 deg"]}, "80 deg", "86 deg within 3 deg", True),
    ({"kind": "servo", **SERVO, "travel": ["0 deg", "90 deg"]}, "80 deg", "84 deg within 3 deg", False),
    (CLAW, "80 deg", "30 deg within 5 deg", False),  # where it is held
])  # fmt: skip
def test_what_may_stand_elsewhere_than_it_was_sent_is_not_told(mast, to, needed, told, tmp_path):
    steps = [*sent(to, mechanism="mast"), pick(needs={"mast": needed})]
    assert bool(list(contrary_needs(with_mast(tmp_path, mast, steps)))) is told


def test_a_need_that_is_met_after_one_way_of_a_branch_is_not_told(tmp_path):
    need = pick(needs={"mast": "0 m within 100 mm moving"})
    plan = with_mast(tmp_path, SLIDE, [{"move": {"mast": "0.4 m"}}, SETTLES, wait("arrival"), need])
    (state,) = run(plan).states
    assert not [found for found in state.findings if found.kind == "need_unmet"]
    assert not list(contrary_needs(plan))


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


@pytest.mark.parametrize(("goes", "told"), [
    (["0 m"], True), (["0.1 m"], True), (["0.1 m", "0.4 m"], True), (["0.5 m"], False), (["0.6 m"], False),
])  # fmt: skip
def test_a_need_beyond_all_places_that_the_plan_names_is_told(goes, told, tmp_path, capsys):
    """The demo's high row at 0.62 m within 15 mm, the window of its loop 10 mm, and 40 % of its way beyond."""
    folder = Path(__file__).parents[2] / "scenarios" / "night-market"
    for name in ("game.yaml", "robot.yaml"):
        (tmp_path / name).write_text((folder / name).read_text(encoding="utf-8"), encoding="utf-8")
    moves = "\n".join(f"    - move: {{lift: {to}}}\n    - wait: 10 ms" for to in goes)
    (tmp_path / "plan.yaml").write_text(
        "simbot: 1\nplan:\n  name: high\n  game: game.yaml\n  robot: robot.yaml\n"
        "  start: {pose: [2.60 m, 0.42 m, -90 deg], lift: 0 m, arm: out, gripper: shut, holds: {gripper: lantern}}\n"
        f"  autonomous:\n{moves}\n"
        "    - place: {into: high_row, by: {gripper: open}, needs: {lift: 0.62 m within 15 mm}, else: dropped}\n",
        encoding="utf-8",
    )
    assert status(["check", str(tmp_path / "plan.yaml")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert ("nothing in the plan sends it that far: never met" in out) == told


def test_a_period_that_the_plan_forgot_is_told(tmp_path, capsys):
    folder = Path(__file__).parents[2] / "scenarios" / "night-market"
    for name in ("game.yaml", "robot.yaml"):
        (tmp_path / name).write_text((folder / name).read_text(encoding="utf-8"), encoding="utf-8")
    text = (folder / "tins.yaml").read_text(encoding="utf-8")

    def told(text):
        (tmp_path / "tins.yaml").write_text(text, encoding="utf-8")
        assert status(["check", str(tmp_path / "tins.yaml")]) == 0
        return " ".join(capsys.readouterr().out.split())

    words = "plan.autonomous: no step of the plan is for this period: 20 s of it go by"
    assert words not in told(text)
    begin, end = text.index("  autonomous:"), text.index("  driver_controlled:")
    assert words in told(text[:begin] + text[end:])
    begin, end = text.index("  driver_controlled:"), text.index("  endgame:")
    without = text[:begin] + text[end:]
    assert "plan.driver_controlled: no step of the plan is for this period: 80 s of it go by" in told(without)
    assert "go by" not in told(without.replace("begin: 20 s before_end", "begin: 100 s before_end"))
