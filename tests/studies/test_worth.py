"""What changes are worth: against what can be worked out on paper, and changes relative to what a file says."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from io import StringIO

import jsonschema
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.cli import status
from simbot.cli.worth import _variants as variants_of
from simbot.report import worthed
from simbot.report.document import schema_text
from simbot.report.worthed import print_worth, worth_document
from simbot.scenario.errors import SimbotError
from simbot.scenario.load import trees_of
from simbot.scenario.model import ActStep, WaitStep
from simbot.scenario.plan_file import all_steps
from simbot.scenario.relative import changed_text, changed_texts, text_of
from simbot.studies.asked import Asked
from simbot.studies.ledger import Ledger
from simbot.studies.sources import sources_of
from simbot.studies.statistics import Figure
from simbot.studies.usual_changes import usual_changes
from simbot.studies.worth import worth, worths

ASKED = Asked(300, 3, ("full",))


def silent(done, total):
    pass


def rounds(percent):
    return [{"repeat": 10, "steps": [pick(), wait("0.3 s"), place(succeeds=f"{percent} %"), wait("0.3 s")]}]


def test_ten_places_that_succeed_more_often_are_worth_that_much(tmp_path, capsys):
    plan = a_plan(tmp_path, rounds(70))
    variants = {"surer": a_plan(tmp_path, rounds(80)), "less sure": a_plan(tmp_path, rounds(60))}
    result = worth(plan, variants, a_plan(tmp_path, rounds(80)), ASKED, silent)
    assert [each.change for each in result.changes] == ["surer", "less sure"]
    for each, expected in zip(result.changes, (1.0, -1.0), strict=True):
        # the luck that both share does not widen it, and the rest of it is known
        assert each.difference.mean.interval == pytest.approx((expected, expected), abs=1e-9)
    assert result.together.difference.mean == result.changes[0].difference.mean
    document = json.loads(json.dumps(worth_document(result)))
    jsonschema.Draft202012Validator(json.loads(schema_text("worth"))).validate(document)
    print_worth(result, sys.stdout)
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("surer is worth most: +") and max(map(len, lines)) <= 80


def test_changes_that_change_no_match_are_told_in_a_sentence(tmp_path, capsys):
    plan = a_plan(tmp_path, rounds(70))
    changes = {"surer": a_plan(tmp_path, rounds(80)), "one idle": plan, "other idle": plan}
    result = worth(plan, changes, None, ASKED, silent)
    print_worth(result, sys.stdout)
    lines = capsys.readouterr().out.splitlines()
    assert "Not one of these matches scores otherwise with: one idle; other idle." in lines
    assert [line.split("  ")[0] for line in lines if "+1.0 to +1.0" in line][1:] == ["surer"]
    assert len(worth_document(result)["changes"]) == 3
    print_worth(replace(result, changes=result.changes[1:]), sys.stdout)
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "None of the changes surely brings points." and "95 % interval" not in "".join(lines)


def test_changes_that_change_few_matches_are_called_guesses(tmp_path, capsys):
    plan = a_plan(tmp_path, rounds(70))
    result = worth(plan, {"surer": a_plan(tmp_path, rounds(80))}, None, ASKED, silent)
    (change,) = result.changes
    for tally, told in (({0.0: 291, 2.0: 9}, True), ({0.0: 290, 2.0: 10}, False)):
        seldom = replace(change, difference=replace(change.difference, tally=tally))
        print_worth(replace(result, changes=(seldom,)), sys.stdout)
        printed = " ".join(capsys.readouterr().out.split())
        assert ("Fewer than 10 of the matches differ with: surer;" in printed) == told


def test_the_answer_is_the_best_of_what_is_sure(tmp_path):
    """The greatest guess may be none: what surely brings points is told, with the guess beside it."""
    plan = a_plan(tmp_path, rounds(70))
    result = worth(plan, {"sure": a_plan(tmp_path, rounds(80)), "other": plan}, None, ASKED, silent)
    sure, other = result.changes

    def answer(*changes):
        text = StringIO()
        print_worth(replace(result, changes=changes), text)
        return " ".join(text.getvalue().split("\n\n")[0].split())

    wide = replace(other, difference=replace(other.difference, mean=Figure(2.0, (-0.5, 4.5))))
    least = replace(sure, difference=replace(sure.difference, mean=Figure(0.02, (0.01, 0.03))))
    assert answer(sure, other) == "sure is worth most: +1.0 points a match (+1.0 to +1.0)."
    assert answer(wide, sure) == (
        "Of what surely brings points, sure is worth most: +1.0 points a match (+1.0 to +1.0); "
        "other may be worth more: +2.0 points a match (-0.5 to +4.5)."
    )
    assert answer(least) == "sure is worth most: +0.02 points a match (+0.01 to +0.03)."
    assert answer(wide) == "None of the changes surely brings points."


def test_progress_comes_to_its_end(tmp_path):
    """What is told last is that all is done: then the line is full."""
    plan = a_plan(tmp_path, rounds(70))
    told = []
    with Ledger("worth", [plan], ASKED) as ledger:
        asked = replace(ASKED, runs=3)
        worths(ledger, plan, {"same": a_plan(tmp_path, rounds(75))}, None, asked, lambda *n: told.append(n))
        assert told[-1] == (6, 6)
        sources_of(ledger, plan, asked, 16, lambda *n: told.append(n))
    assert told[-1] == (32, 32)


@pytest.mark.parametrize(("given", "change", "text"), [
    ("0.6 kg ± 3 %", "-200 g", "0.4 kg ± 3 %"), ("85 %", "+10 %", "93.5 %"), ("600 ms", "-20 %", "480 ms"),
    (".5 kg", "- 10 %", "0.45 kg"), ("85 % ± 6 %", "+5 %", "89.25 % ± 6 %"), ("0 mm", "+2 mm", "2 mm"),
    ("38 mm", "+2 mm", "40 mm"), ("15 kgf*cm", "-1 kgf*cm", "14 kgf*cm"), ("1 lb", "+1 kg", "3.204622622 lb"),
])  # fmt: skip
def test_a_change_may_be_relative_to_what_the_file_says(given, change, text):
    assert changed_text(given, change, "key") == text


@pytest.mark.parametrize(("given", "change"), [
    ("open", "+10 %"), ("0.6 kg", "-20 mm"), ("6 N", "+x %"), ("6 N", "+5 %%"), ("6 N", "+5 % ± 2 %"),
    ("6 N", "+ %"), ("6 N", "+1 N ± 1 N"),
])  # fmt: skip
def test_a_change_that_fits_nothing_is_told(given, change):
    with pytest.raises(SimbotError, match="--change key="):
        changed_text(given, change, "key")


@pytest.mark.parametrize(
    ("given", "said"), [("0.6 kg", "unit is missing, such as that of 0.6 kg"), ("2:1", "no share")]
)
def test_a_change_without_a_unit_is_told_so_where_there_is_one(given, said):
    with pytest.raises(SimbotError, match=said):
        changed_text(given, "-200", "key")


def test_the_text_at_a_path_is_the_file_s_with_what_is_laid_over_it(tmp_path):
    a_plan(tmp_path, rounds(70), change={"robot.mass": "6 kg"})
    trees = trees_of(tmp_path / "plan.yaml", {"robot.loop": "20 ms"})
    assert text_of(trees, "robot.mass") == "6 kg"
    assert text_of(trees, "robot.loop") == "20 ms"
    assert text_of(trees, "plan.only.0.steps.2.place.succeeds") == "70 %"
    assert text_of(trees, "game.nothing.there") is None


def test_a_list_of_stages_is_changed_together():
    """A share scales each; an amount is spread in proportion, so that it is the sum's: by hand."""
    masses = ["0.6 kg ± 5 %", "900 g ± 20 g"]
    assert changed_texts(masses, "-5 %", "lift.mass") == ["0.57 kg ± 5 %", "855 g ± 20 g"]
    assert changed_texts(masses, "-150 g", "lift.mass") == ["0.54 kg ± 5 %", "810 g ± 20 g"]
    assert changed_texts(["+0.6 kg"], "-150 g", "lift.mass") == ["0.45 kg"]
    for change, told in {
        "-1.5 kg": "all 2 values of that list together are 1.5 kg",
        "-1 mm": "no amount",
    }.items():
        with pytest.raises(SimbotError, match=f"--change lift.mass={change}: .*{told}"):
            changed_texts(masses, change, "lift.mass")


def test_a_change_of_a_cascade_s_mass_is_one_of_all_its_stages(tmp_path, capsys):
    lift = {"kind": "slide", "rigging": "cascade", "stages": 2, "motors": "1 x m", "drum_diameter": "38 mm"}
    lift |= {"moving_mass": ["0.6 kg", "0.9 kg"], "friction": "6 N", "travel": ["0 m", "0.75 m"]}
    sheet = {"voltage": "12 V", "free_speed": "300 rpm", "stall_torque": "2 N*m", "stall_current": "9 A"}
    hands = {name: {"kind": "measured", "time": "0.2 s"} for name in ("hand", "other")}
    robot = {"motors": {"m": {**sheet, "source": "invented"}}, "mechanisms": {**hands, "lift": lift}}
    a_plan(tmp_path, rounds(70), robot=robot, start={"hand": "open", "other": "open", "lift": "0 m"})
    path = tmp_path / "plan.yaml"

    def masses(given, change):
        variants, _ = variants_of(path, given, {"robot.lift.mass": change})
        ((label, plan),) = variants.items()
        return label, [float(each) for each in plan.robot.mechanisms["lift"].values["moving_mass"]]

    label, found = masses({}, "-150 g")
    assert label == "robot.lift.mass=-150 g (in proportion: 0.54 kg, 0.81 kg)"
    assert found == pytest.approx([0.54, 0.81]) and masses({}, "-5 %")[1] == pytest.approx([0.57, 0.855])
    assert masses({"robot.mechanisms.lift.moving_mass": "[1 kg, 2 kg]"}, "-300 g")[1] == pytest.approx(
        [0.9, 1.8]
    )
    assert status(["worth", str(path), "--change", "lift.mass=1 kg"]) == 2
    assert "several numbers are meant" in capsys.readouterr().err
    for value, meant in (("1 kg", "moving_mass.0, {}.moving_mass.1"), ("[1 kg, 2 kg]", "moving_mass'?")):
        assert status(["check", str(path), "--set", f"robot.lift.mass={value}"]) == 2
        told = capsys.readouterr().err.rstrip()
        assert "robot.mechanisms.lift." + meant.format("robot.mechanisms.lift") in told, told
    for key, value in (("moving_mass.1", "1 kg"), ("moving_mass", "[1 kg, 2 kg]")):
        assert status(["check", str(path), "--set", f"robot.mechanisms.lift.{key}={value}"]) == 0


def test_the_usual_changes_are_other_plans(tmp_path):
    plan = a_plan(tmp_path, rounds(70))
    changes = usual_changes(plan, ("full",))
    surer = changes["every pick and place succeeds 5 percentage points more often"]
    assert [float(each.succeeds) for each in all_steps(surer) if isinstance(each, ActStep)][
        1
    ] == pytest.approx(0.75)
    assert "robot 10 % lighter" in changes
    assert all(each != plan for each in changes.values())


def test_the_usual_changes_have_each_timer_as_it_is_tuned(tmp_path):
    # the hand takes 0.2 s: with the plan's 50 ms of guard 0.25 s would do for either wait
    steps = [pick(), wait("0.3 s"), place(succeeds="70 %"), wait("0.5 s")]
    plan = a_plan(tmp_path, [{"repeat": 10, "steps": steps}])
    changes = usual_changes(plan, ("full",))
    timers = {name: each for name, each in changes.items() if " waits " in name or "timers" in name}
    assert [name.split(" waits ")[-1] for name in timers] == [
        "250 ms, not 300 ms", "250 ms, not 500 ms", "all timers as simbot tune sets them",
    ]  # fmt: skip
    durations = [
        [step.duration_us for step in all_steps(each) if isinstance(step, WaitStep)]
        for each in timers.values()
    ]
    assert durations == [[250_000, 500_000], [300_000, 250_000], [250_000, 250_000]]


def test_the_command_takes_both_ways_of_writing_a_change(tmp_path, capsys):
    a_plan(tmp_path, rounds(70))
    key = "plan.only.0.steps.2.place.succeeds"
    code = status(
        ["worth", str(tmp_path / "plan.yaml"), "--runs", "20", "--change", f"{key}=+10 %", "--json", "-"]
    )
    document = json.loads(capsys.readouterr().out)
    assert code == 0 and [each["change"] for each in document["changes"]] == [f"{key}=+10 %"]
    assert status(["worth", str(tmp_path / "plan.yaml"), "--change", "robot.mos=-1 kg"]) == 2


@pytest.mark.parametrize(("change", "told"), [
    ("robot.mas=5 kg", "robot.mas: unknown key"), ("robot.mass=5 m", "robot.mass: this is a length"),
    ("robot.mass=-200 kg", "robot.mass"),
])  # fmt: skip
def test_what_is_wrong_with_a_change_is_told_of_the_change(change, told, tmp_path, capsys):
    a_plan(tmp_path, rounds(70))
    assert status(["worth", str(tmp_path / "plan.yaml"), "--change", change]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith(f"simbot: --change {change}: {told}") and "--set" not in line


def test_a_change_s_key_may_be_short_as_a_sweep_s(tmp_path, capsys):
    a_plan(tmp_path, rounds(70))
    asked = ["worth", str(tmp_path / "plan.yaml"), "--runs", "2", "--unknowns", "0", "--csv", "-"]
    means = []
    for key in ("plan.only.0.steps.2.place.succeeds", "place.succeeds", "plan.steps.place.succ"):
        assert status([*asked, "--change", f"{key}=-50 %"]) == 0
        means.append(capsys.readouterr().out.replace(key, "KEY"))
    assert means[0] == means[1] == means[2]
    both = ["--change", "robot.mass=-1 kg", "--change", "robot.mass=-2 kg"]
    assert status([*asked, *both]) == 2
    assert "robot.mass is -1 kg by another --change already" in capsys.readouterr().err
    both = ["--change", "robot.mass=-1 kg", "--change", "mass=-2 kg"]
    assert status([*asked, *both]) == 2
    assert "robot.mass is changed twice, by robot.mass=-1 kg too" in capsys.readouterr().err


@pytest.mark.parametrize(("change", "told"), [
    ("place.suceeds=+5 %", "did you mean 'place.succeeds'?"), ("robot.lop=-5 %", "did you mean 'robot.loop'?"),
    ("plan.only.0.steps.2.place.success=+5 %", "did you mean 'plan.only.0.steps.2.place.succeeds'?"),
])  # fmt: skip
def test_a_change_of_no_number_has_the_nearest_guess(change, told, tmp_path, capsys):
    a_plan(tmp_path, rounds(70))
    assert status(["worth", str(tmp_path / "plan.yaml"), "--change", change]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith(f"simbot: --change {change}: there is no such number") and line.endswith(told)


def test_a_share_is_said_to_be_one(tmp_path, capsys):
    """85 % changed by +10 % is 93.5 %, not 95 %: the text says so, and only where there is such a change."""
    a_plan(tmp_path, rounds(70))
    asked = ["worth", str(tmp_path / "plan.yaml"), "--runs", "2", "--unknowns", "0", "--change"]
    assert status([*asked, "place.succeeds=+10 %"]) == 0
    assert "+10 % makes 77 % of 70 %" in " ".join(capsys.readouterr().out.split())
    assert status([*asked, "place.succeeds=80 %"]) == 0
    assert "makes" not in capsys.readouterr().out


def test_timers_are_said_to_stay(tmp_path, capsys):
    """A change of gearing leaves every time as the plan has it, which hides what it could gain; none: nothing said."""
    a_plan(tmp_path, rounds(70))
    asked = ["worth", str(tmp_path / "plan.yaml"), "--runs", "2", "--unknowns", "0", "--json"]
    document = tmp_path / "worth.json"
    assert status([*asked, str(document)]) == 0
    assert "Timers stay as the plan has them, but where a change names one" in " ".join(
        capsys.readouterr().out.split()
    )
    lines = (tmp_path / "plan.yaml").read_text(encoding="utf-8").splitlines()
    own = [number for number, line in enumerate(lines, 1) if "wait: 0.3 s" in line]
    assert json.loads(document.read_text(encoding="utf-8"))["timer_lines"] == own != []
    a_plan(tmp_path, [{"repeat": 10, "steps": [pick(), wait("arrival"), place(), wait("arrival")]}])
    assert status([*asked, str(document)]) == 0
    assert "Timers" not in capsys.readouterr().out
    assert json.loads(document.read_text(encoding="utf-8"))["timer_lines"] == []


def test_stopped_while_the_answer_is_written_it_is_still_kept(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path / "cache"))
    a_plan(tmp_path, rounds(70))
    asked = ["worth", str(tmp_path / "plan.yaml"), "--runs", "2", "--unknowns", "0", "--workers", "1"]
    asked += ["--change", "place.succeeds=80 %"]

    def stop(*what):
        raise KeyboardInterrupt

    with monkeypatch.context() as pressed:
        pressed.setattr(worthed, "print_worth", stop)
        assert status(asked) == 130
    assert "4 matches that were played are kept; the same command goes on" in capsys.readouterr().err
    assert status(asked) == 0
    assert "going on after 4 matches" in capsys.readouterr().err
    assert not list(tmp_path.rglob("studies/*"))
