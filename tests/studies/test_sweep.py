"""Sweeps: what a range answers, nothing hidden, the same from any number of processes."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import jsonschema
import pytest
from builders import SMALL, robot_text
from stopwatches import a_plan, pick, place, wait

from simbot.cli import status
from simbot.physics.kinds import KINDS
from simbot.report.document import schema_text
from simbot.scenario.load import load_robot
from simbot.scenario.pruned import pruned
from simbot.studies import sweep as engine
from simbot.studies.sweep import Point
from simbot.studies.sweep_answer import best_along, runs_of, top_regions
from simbot.studies.sweep_asked import OF_A_MATCH
from simbot.studies.sweep_points import Look

SCENARIOS = Path(__file__).parents[2] / "scenarios"
LIFT = {
    "kind": "slide", "motors": "1 x m", "gearing": [{"ratio": 20, "efficiency": "80 %"}], "drum_diameter": "38 mm",
    "moving_mass": "3.2 kg", "friction": "8 N ± 4 N", "travel": ["0 m", "0.75 m"],
    "control": {"loop": "full_effort", "window": "1 mm"},
}  # fmt: skip
SHORT = f"plan.only.0.steps.1.wait=100:500:{50} ms"


def a_lift(folder: Path, **more: object) -> str:
    file = folder / "robot.yaml"
    text = robot_text({"lift": {**LIFT, **more}}, {"m": SMALL}, (13.2, 0.15))
    file.write_text(text, encoding="utf-8")
    return str(file)


def document(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> dict:
    """What `simbot sweep` writes as JSON, held against its schema."""
    capsys.readouterr()
    assert status(["sweep", *words, "--json", "-"]) == code
    found = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(json.loads(schema_text("sweep"))).validate(found)
    return found


def printed(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> list[str]:
    capsys.readouterr()
    assert status(["sweep", *words]) == code
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80 and all(line.isascii() for line in lines)
    return lines


def rounds(second: str = "0.3 s") -> list:
    return [{"repeat": 10, "steps": [pick(), wait("0.3 s"), place(), wait(second)]}]


# --- a plan -------------------------------------------------------------------------------------------


def test_a_wait_is_best_as_short_as_the_hand_allows(tmp_path, capsys):
    """The hand takes 0.2 s: a shorter wait leaves before it holds, and every further one costs its time a cycle."""
    a_plan(tmp_path, rounds())
    found = document(capsys, str(tmp_path / "plan.yaml"), SHORT, "--by", "points")
    assert found["best"] == [200] and found["now"]["at"] == [300]
    for point in found["points"]:
        values = point["looks"]["full"]["values"]
        late = point["at"][0] < 200
        assert values["points"] == (0 if late else 10)
        assert (values["failures"] > 0) == late
        if not late:
            assert values["cycle"] == pytest.approx(
                point["at"][0] / 1000 + 0.27, abs=1e-9
            )  # 0.3 s nine times
    lines = printed(capsys, str(tmp_path / "plan.yaml"), SHORT)
    assert lines[0].startswith("The plan scores most, 10 points, with only.0.steps.1.wait 200 ms")
    told = " ".join(lines)
    assert "At 100 ms: 0 points, 100.0 % worse than the best of the range" in told and "fails: " in told


def test_two_waits_have_a_map_and_a_ridge(tmp_path, capsys):
    a_plan(tmp_path, rounds())
    other = "plan.only.0.steps.3.wait=200:600:100 ms"
    words = (str(tmp_path / "plan.yaml"), SHORT, other, "--by", "cycle")
    found = document(capsys, *words)
    assert len(found["points"]) == 9 * 5 and found["best"] == [200, 200]
    assert [point[1] for point in found["ridge"]] == [200] * 7  # where it scores at all
    lines = printed(capsys, *words)
    assert lines[0].startswith("The plan has the shortest cycle, 0.38 s")
    rows = [line for line in lines if line[10:11] == "|"]
    assert len(rows) == 9 and rows[0].split("|")[1].split() == ["!"] * 5 and "@" in rows[2]


def test_a_line_without_a_difference_has_no_ridge(tmp_path, capsys):
    """Below 200 ms nothing scores, whatever the other wait is: no cell of those lines is the best of them."""
    a_plan(tmp_path, rounds())
    words = (str(tmp_path / "plan.yaml"), SHORT, "plan.only.0.steps.3.wait=200:600:100 ms", "--by", "points")
    assert [point[0] for point in document(capsys, *words)["ridge"]] == [200, 250, 300, 350, 400, 450, 500]
    rows = [line for line in printed(capsys, *words) if line[10:11] == "|"]
    assert [set(row.split("|")[1].split()) for row in rows[:2]] == [{"."}] * 2
    nowhere = [*words[:1], "plan.only.0.steps.1.wait=50:150:50 ms", *words[2:]]
    assert document(capsys, *nowhere)["ridge"] == []
    told = " ".join(printed(capsys, *nowhere))
    assert "The ridge" not in told and "cells are within 2 % of the best" in told


def test_any_number_of_processes_gives_the_same_bytes(tmp_path, capsys):
    a_plan(tmp_path, rounds())
    texts = []
    for workers in ("1", "2", "7"):
        assert status(["sweep", str(tmp_path / "plan.yaml"), SHORT, "--workers", workers, "--json", "-"]) == 0
        texts.append(capsys.readouterr().out)
    assert texts[0] == texts[1] == texts[2]


def test_a_plan_is_held_against_drawn_robots(tmp_path, capsys):
    a_plan(tmp_path, rounds())
    words = (str(tmp_path / "plan.yaml"), SHORT, "--want", "cycle <= 0.52 s; points >= 10")
    found = document(capsys, *words)
    fitting = [point["at"][0] for point in found["points"] if all(each["holds"] for each in point["wanted"])]
    assert fitting == [200, 250]
    assert all(each["share"] == 1.0 for each in found["points"][2]["wanted"])  # nothing has a spread
    assert printed(capsys, *words)[0].startswith("only.0.steps.1.wait 200 ms to 250 ms does what you want")


def lifting(
    folder: Path, friction: str = "8 N ± 4 N", waits: str = "1500:2000:50 ms", **more: object
) -> list[str]:
    """A ball is placed once a lift is up, after a wait that is swept."""
    hands = {name: {"kind": "measured", "time": "0.2 s"} for name in ("hand", "other")}
    robot = {"motors": {"m": SMALL}, "mechanisms": {**hands, "lift": {**LIFT, "friction": friction, **more}}}
    steps = [{"move": {"lift": "0.75 m"}}, wait("1 s"), place(needs={"lift": "0.75 m within 30 mm"})]
    start = {"hand": "shut", "other": "open", "lift": "0 m", "holds": {"hand": ["ball"]}}
    a_plan(folder, steps, "20 s", robot=robot, start=start)
    return [str(folder / "plan.yaml"), f"plan.only.1.wait={waits}"]


def test_a_plan_s_wish_says_what_it_hangs_on_where_it_holds_only_in_the_middle(tmp_path, capsys):
    words = [*lifting(tmp_path), "--want", "points >= 1"]
    found = document(capsys, *words)
    wishes = {point["at"][0]: point["wanted"][0] for point in found["points"]}
    surely = [at for at, wish in wishes.items() if wish["holds_at_every_spread"]]
    only = [at for at, wish in wishes.items() if wish["holds"] and not wish["holds_at_every_spread"]]
    assert only and surely and max(only) < min(surely)
    for at in only:
        assert wishes[at]["share"] < 1.0 and wishes[at]["worst"] == 0.0 and not wishes[at]["guessed"]
        assert wishes[at]["most_by"] in (
            "lift.friction at its high end",
            None,
        )  # some are drawn beyond its end
    assert wishes[min(only)]["most_by"] is not None
    # the lift with its friction at that end holds from about where drawn ones do
    stiff = document(capsys, *words, "--set", "robot.mechanisms.lift.friction=12 N")
    first = next(point["at"][0] for point in stiff["points"] if point["wanted"][0]["holds"])
    assert abs(min(surely) - first) <= 75.0
    assert found["best_wanted"][0] in surely
    lines = " ".join(" ".join(printed(capsys, *words)).split())
    assert "it breaks by lift.friction at its high end" in lines and "of 20 drawn robots" in lines
    assert f"{min(surely):g} ms to 2000 ms does what you want at every spread" in lines


def test_a_plan_s_wish_that_hangs_on_a_guess_is_shown_as_such(tmp_path, capsys):
    words = [*lifting(tmp_path, "8 N", "2700:3300:100 ms", gearing=[{"ratio": 20}]), "--want", "points >= 1"]
    found = document(capsys, *words)
    hangs = [
        each for point in found["points"] if (each := point["wanted"][0])["holds_at_every_spread"] is False
    ]
    assert hangs and any(each["guessed"] and "efficiency" in each["most_by"] for each in hangs)
    assert "a GUESS that nobody measured" in " ".join(" ".join(printed(capsys, *words)).split())


def test_a_wish_about_matches_with_chance_holds_surely_where_its_interval_does(tmp_path, capsys):
    steps = [pick(), wait("0.3 s"), place(succeeds="70 %"), wait("0.3 s")]
    a_plan(tmp_path, [{"repeat": 10, "steps": steps}])
    key = "plan.only.0.steps.2.place.succeeds=60:90:5 %"
    found = document(capsys, str(tmp_path / "plan.yaml"), key, "--matches", "20", "--want", "mean >= 7.5")
    for point in found["points"]:
        drawn, wish = point["looks"]["full"]["drawn"]["points"], point["wanted"][0]
        assert wish["holds"] == (drawn["value"] >= 7.5)
        if wish["holds"]:
            assert wish["worst"] == drawn["interval"][0]
            assert wish["holds_at_every_spread"] == (drawn["interval"][0] >= 7.5)
    held = [point["wanted"][0]["holds_at_every_spread"] for point in found["points"]]
    assert True in held and False in held
    told = " ".join(
        " ".join(
            printed(capsys, str(tmp_path / "plan.yaml"), key, "--matches", "20", "--want", "mean >= 7.5")
        ).split()
    )
    assert "where the whole 95 % interval fulfils it" in told and "at both its ends" not in told


# --- a mechanism --------------------------------------------------------------------------------------


def test_values_that_stall_or_cannot_be_are_rows_that_say_so(tmp_path, capsys):
    file = a_lift(tmp_path)
    words = (file, "lift", "ratio=0:20:2", "--by", "inside")
    found = document(capsys, *words)
    assert len(found["points"]) == 11
    refused, weak, *_, last = found["points"]
    assert refused["fault"].startswith("too small") and refused["looks"] == {}
    assert "stalled" in weak["looks"]["only"]["reason"] and weak["looks"]["only"]["values"]["stall"] > 1.0
    assert last["looks"]["only"]["values"]["inside"] is not None
    lines = printed(capsys, *words)
    assert any(line.split()[:3] == ["0", "not", "run:"] for line in lines)
    assert any(line.split()[0] == "2" and "stalled" in line for line in lines if line.strip())
    status(["sweep", *words, "--csv", "-"])
    rows = list(csv.reader(io.StringIO(capsys.readouterr().out)))
    assert rows[0][:3] == ["what", "robot.mechanisms.lift.gearing.0.ratio", "battery"]
    assert [row[0] for row in rows[1:]] == ["grid"] * 11 + ["now", "caution"]
    assert rows[1][-1].startswith("too small") and "stalled" in rows[2][-1]


def test_wishes_hold_over_the_spread_or_only_in_the_middle(tmp_path, capsys):
    """Friction 8 N +- 4 N: the worst arrival is that of 12 N, the worst current that of the sticky end, too."""
    file = a_lift(tmp_path)
    words = (file, "lift", "drum=20:60 mm", "--points", "9")
    one = document(capsys, *words, "--by", "inside", "--want", "inside <= 1.65 s")
    bad = document(capsys, *words, "--by", "inside", "--set", "robot.mechanisms.lift.friction=12 N")
    surely, only = [], []
    for point, worst in zip(one["points"], bad["points"], strict=True):
        wish = point["wanted"][0]
        there = worst["looks"]["only"]["values"]["inside"]
        if wish["holds"]:
            assert wish["worst"] == pytest.approx(there)
            assert wish["holds_at_every_spread"] == (there <= 1.65) and not wish["guessed"]
            assert wish["most_by"] == "lift.friction at its high end"
            (surely if there <= 1.65 else only).append(point["at"][0])
        else:
            assert point["looks"]["only"]["values"]["inside"] > 1.65
    assert surely and only
    lines = printed(capsys, *words, "--by", "inside", "--want", "inside <= 1.65 s")
    assert f"lift.drum_diameter {surely[0]:g} mm" in lines[0]
    assert any(line.startswith("Wanted: inside <= 1.65 s, only") for line in lines)
    assert all(any(line.startswith(f" ? {value:g} ") for line in lines) for value in only)


def test_a_value_that_hangs_on_a_guess_is_shown_as_such(tmp_path, capsys):
    file = a_lift(tmp_path, gearing=[{"ratio": 20}], friction="8 N")
    words = (file, "lift", "drum=20:60 mm", "--points", "9", "--by", "inside", "--want", "inside <= 3 s")
    found = document(capsys, *words)
    hangs = [
        point["wanted"][0]
        for point in found["points"]
        if point["wanted"][0]["holds"] and not point["wanted"][0]["holds_at_every_spread"]
    ]
    assert hangs and all(each["guessed"] and "efficiency" in each["most_by"] for each in hangs)
    assert "a GUESS that nobody measured" in " ".join(printed(capsys, *words))


def test_parts_are_run_themselves_and_may_stand_in_a_file(tmp_path, capsys):
    file = a_lift(tmp_path)
    (tmp_path / "drums.txt").write_text("30 mm  # in the box\n3.5 cm, 2 in\n\n", encoding="utf-8")
    words = (file, "lift", "drum=20:60 mm", "--points", "5", "--by", "inside")
    found = document(capsys, *words, "--parts", str(tmp_path / "drums.txt"))
    assert found["quantities"][0]["parts"] == [30, 35, 50.8]
    assert [point["at"] for point in found["parts"]] == [[30], [35], [50.8]]
    right = document(capsys, file, "lift", "drum=35:36 mm", "--points", "2", "--by", "inside")
    assert found["parts"][1]["looks"] == right["points"][0]["looks"]
    lines = printed(capsys, *words, "--parts", "30,35,50.8")
    assert any(line.startswith("Of the parts take lift.drum_diameter ") for line in lines)


def test_many_wishes_fit_the_screen(capsys):
    robot = str(SCENARIOS / "night-market" / "robot.yaml")
    wish = "arrival <= 0.75 s, fresh, tired; stall <= 50 %; current <= 20 A"
    lines = printed(capsys, robot, "lift", "drum=50:60:10 mm", "--to", "0.4 m", "--want", wish)
    assert "Wanted: arrival <= 0.75 s, fresh; arrival <= 0.75 s, tired;" in " ".join(" ".join(lines).split())


def test_the_nearest_says_by_how_much_it_misses(capsys):
    """No value will do: the one whose worst miss is the least share of its bound; else the ends of those that do."""
    robot = str(SCENARIOS / "night-market" / "robot.yaml")
    words = (robot, "lift", "drum=30:60:10 mm", "--to", "0.4 m", "--want")

    def missing(point, arrival, current):
        values = point["looks"]["mid-event"]["values"]
        return values["arrival"] - arrival, values["current"] - current

    found = document(capsys, *words, "arrival <= 0.3 s; current <= 1 A")
    missed = {tuple(point["at"]): missing(point, 0.3, 1.0) for point in found["points"]}
    at = min(missed, key=lambda each: max(missed[each][0] / 0.3, missed[each][1] / 1.0))
    told = " ".join(" ".join(printed(capsys, *words, "arrival <= 0.3 s; current <= 1 A")).split())
    late, over = missed[at]
    assert (
        f"nearest: lift.drum_diameter {at[0]:g} mm: arrival <= 0.3 s, mid-event, missed by {late:.3f} s; "
        f"current <= 1 A, mid-event, missed by {over:.1f} A"
    ) in told
    times = [point["looks"]["mid-event"]["values"]["arrival"] for point in found["points"]]
    bound = sum(sorted(times)[1:3]) / 2  # two of the four will do
    fits = [time <= bound for time in times]
    side, at = ("below", fits.index(True) - 1) if fits.index(True) else ("above", fits.index(False))
    told = " ".join(" ".join(printed(capsys, *words, f"arrival <= {bound:.4f} s")).split())
    assert "nearest" not in told and f"What binds {side}" in told
    assert f"arrival <= {bound:.4f} s, mid-event, missed by {times[at] - bound:.3f} s" in told


def test_every_battery_state_has_its_best(capsys):
    robot = str(SCENARIOS / "night-market" / "robot.yaml")
    lines = printed(capsys, robot, "lift", "drum=30:40:5 mm", "--to", "0.4 m", "--battery", "all")
    assert {line.split()[2] for line in lines if line.startswith("On the ")} == {"fresh", "tired"}


def test_what_makes_no_difference_is_said_to(capsys):
    """The arm has another motor."""
    robot = str(SCENARIOS / "night-market" / "robot.yaml")
    lines = printed(capsys, robot, "arm", "motors.wheel.stall_torque=10:20 kgf*cm", "--points", "3")
    assert lines[0].startswith(
        "motors.wheel.stall_torque makes no difference to the arm in this range: arrival"
    )


def test_a_score_that_is_the_same_everywhere_is_best_nowhere(capsys):
    """The lift's ratio moves its currents, and the fixed waits of the demo hide the rest."""
    plan = str(SCENARIOS / "night-market" / "lanterns.yaml")
    lines = printed(capsys, plan, "lift.ratio=1.5:3", "--points", "3")
    told = " ".join(lines[:2])
    assert told.startswith(
        "The plan scores 107 points whatever lift.gearing.0.ratio is in this range, on the mid-"
    )
    assert "choose by something else." in told


def test_what_makes_no_difference_is_said_to_beside_values_that_cannot_be(tmp_path, capsys):
    """A lift that is alone does not feel the robot's mass, and a robot of 0 kg is none."""
    lines = printed(capsys, a_lift(tmp_path), "lift", "robot.mass=0:4:1 kg", "--by", "inside")
    assert lines[0].startswith("mass makes no difference to the lift in this range: first time inside")
    assert any(line.split()[:3] == ["0", "not", "run:"] for line in lines)


def test_what_knows_two_ends_only_cannot_be_swept_alone(capsys):
    robot = str(SCENARIOS / "mechanisms" / "cylinder.yaml")
    assert status(["sweep", robot, "flap", "bore=10:20 mm"]) == 2
    assert "flap is a cylinder: it knows two ends" in capsys.readouterr().err


def test_what_was_run_when_it_is_stopped_is_told(tmp_path, capsys, monkeypatch):
    file = a_lift(tmp_path)
    look, seen = engine.look_at, []

    def stopped(*what):
        seen.append(what)
        if len(seen) > 4:
            raise KeyboardInterrupt
        return look(*what)

    monkeypatch.setattr(engine, "look_at", stopped)
    lines = printed(capsys, file, "lift", "drum=20:60 mm", "--points", "9", "--by", "inside", code=130)
    assert "STOPPED: 3 of 9 values were run." in lines


@pytest.mark.parametrize(("words", "told"), [
    (["lift", "drum_diamter=20:60mm"], "given: 'drum_diamter'; did you mean 'drum_diameter'\\?; would do: "),
    (["lift", "drum=20:60"], "drum=20:60: a number without its unit, given: '20:60'; would do: a length in mm"),
    (["lift", "drum=20:60 kg"], "this is a mass, given: '20:60 kg'; would do: a length"),
    (["lift", "drum=60:20 mm"], "the range runs backwards, given: '60:20'; would do: 20:60"),
    (["lift", "drum=-20:80:20 mm"], "too small, given: '-20:80:20 mm'; would do: at least 1 mm"),
    (["lift", "drum=20:20 mm"], "the range ends where it begins"),
    (["lift", "drum=20 mm"], "no range of numbers, given: '20 mm'; would do: FROM:TO with their unit"),
    (["lift", "drum=20,5:60 mm"], "no range of numbers, given: '20,5:60 mm'"),
    (["lift", "drum=20 mm:6 cm"], "two units in one range"),
    (["lift", "drum=20:60:0 mm"], "given: '0'; would do: more than 0, up to 40"),
    (["lift", "drumm=20:60 mm"], "did you mean 'drum_diameter'?"),
    (["lift", "drum=20:60:50 mm"], "the step does not fit the range, given: '50'"),
    (["lift", "drum=0:60:0.001 mm"], "too many values, given: '60001'; would do: at most 2001"),
    (["lift", "kind=1:2"], "robot.mechanisms.lift.kind is 'slide', which is no number to sweep"),
    (["lift", "travel=1:2 m"], "several numbers are meant by that, given: 'travel'; would do: robot.mechanisms"),
    (["lift", "control=1:2"], "a mapping is wanted, given: '1:2'"),
    (["robot.mechanisms.lift.drum=1:2 mm"], r"is a robot file; name one of its mechanisms behind it \(lift\), or"),
    (["lit", "drum=20:60mm"], "no mechanism 'lit'; it has lift; did you mean 'lift'"),
    (["lift"], "one quantity or two, as KEY=FROM:TO"),
    (["lift", "drum=20:60mm", "drum=1:2mm"], "both quantities are robot.mechanisms.lift.drum_diameter"),
    (["lift", "drum=20:60mm", "--parts", "bolts"], "--parts bolts: no values, and no such file"),
    (["lift", "drum=20:60mm", "--parts", "1,2 kg"], "no value of lift.drum_diameter, given: '2 kg'"),
    (["lift", "drum=20:60mm", "--by", "arival"], "--by arival: would do: arrival, .*did you mean 'arrival'"),
    (["lift", "drum=20:60mm", "--want", "arival <= 1 s"], "nothing is called 'arival'.*did you mean 'arrival'"),
    (["lift", "drum=20:60mm", "--want", "arrival = 1 s"], "NAME <= VALUE is needed"),
    (["lift", "drum=20:60mm", "--want", "arrival <= 1 kg"], "this is a mass, given: '1 kg'"),
    (["lift", "drum=20:60mm", "--want", "arrival <= 1 s, onl"], "no battery state 'onl'.*did you mean 'only'"),
    (["lift", "drum=20:60mm", "--battery", "onl"], "no battery state 'onl'; it has only, or all"),
    (["lift", "drum=20:60mm", "--to", "3 m"], "--to 3 m: outside the travel of lift"),
    (["lift", "drum=20:60mm", "--turn", "90 deg"], "--turn 90 deg: an angle that a drive turns in place"),
    (["lift", "drum=20:60mm", "--points", "1"], "--points 1: two or more are wanted"),
    (["lift", "drum=20:60mm", "--workers", "0"], "--workers 0: at least one is wanted"),
    (["lift", "drum=20:60mm", "--set", "robot.mechanisms.lift.drum_diameter=3 mm"], "it is swept already"),
])  # fmt: skip
def test_a_mistake_has_one_clear_message(words, told, tmp_path, capsys):
    file = a_lift(tmp_path)
    assert status(["sweep", file, *words]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1 and re.search(told, lines[0]), lines


def test_no_guess_leads_into_another_refusal(tmp_path, capsys):
    """The nearest key is a list: a number of it is wanted, and each that is offered is taken."""
    file = a_lift(tmp_path, rigging="cascade", stages=2, moving_mass=["1 kg", "2.2 kg"])
    for written in ("movin_mass", "robot.mechanisms.lift.movin_mass", "mass", "moving_mass"):
        assert status(["sweep", file, "lift", f"{written}=1:2 kg"]) == 2
        (line,) = capsys.readouterr().err.splitlines()
        offered = line.partition("would do: ")[2].split(", ")
        assert offered == [f"robot.mechanisms.lift.moving_mass.{n}" for n in (0, 1)], line
    assert status(["sweep", file, "lift", f"{offered[1]}=1:2:1 kg"]) == 0


def test_what_belongs_to_one_mechanism_is_told_of_a_plan(tmp_path, capsys):
    a_plan(tmp_path, rounds())
    assert status(["sweep", str(tmp_path / "plan.yaml"), SHORT, "--to", "1 m"]) == 2
    assert "--to 1 m: it belongs to one mechanism alone" in capsys.readouterr().err


def test_the_best_value_names_what_moves_it_most(tmp_path, capsys):
    """Each end is what a sweep with that value stated says there; all else is smaller, and guesses are called so."""
    words = ["lift", "drum=30:50:10 mm", "--by", "inside"]
    file = a_lift(tmp_path)
    found = document(capsys, file, *words)
    (best,) = found["best"]
    moved = {hang["quantity"]: (hang["at_low_end"], hang["at_high_end"]) for hang in found["hangs_on"]}
    apart = [max(ends) - min(ends) for ends in moved.values()]
    assert apart == sorted(apart, reverse=True) and next(iter(moved)) == "lift.friction"
    for end, force in zip(moved["lift.friction"], ("4 N", "12 N"), strict=True):
        a_lift(tmp_path, friction=force)
        there = document(capsys, file, *words)
        point = next(each for each in there["points"] if each["at"] == [best])
        assert point["looks"]["only"]["values"]["inside"] == pytest.approx(end, abs=2e-6)
    a_lift(tmp_path)
    told = " ".join(printed(capsys, file, *words))
    low, high = moved["lift.friction"]
    most = "What moves first time inside the target at the best value most, from the low to the high end of its spread"
    assert f"{most}: lift.friction, {low:.3f} s to {high:.3f} s" in told
    a_lift(tmp_path, friction="8 N", gearing=[{"ratio": 20}])
    guessed = document(capsys, file, *words)["hangs_on"][0]
    assert guessed["quantity"] == "lift.gearing.0.efficiency" and guessed["assumed"]
    assert f"{most}: lift.gearing.0.efficiency (assumed)," in " ".join(printed(capsys, file, *words))


def test_what_has_no_spread_moves_no_best_value(tmp_path, capsys):
    file = a_lift(
        tmp_path, friction="8 N", gearing=[{"ratio": 20, "efficiency": "80 %", "back_efficiency": "70 %"}]
    )
    words = ["lift", "drum=30:50:10 mm", "--by", "inside"]
    found = document(capsys, file, *words)
    assert found["hangs_on"] == []
    assert "What moves" not in " ".join(printed(capsys, file, *words))


# --- the pieces ---------------------------------------------------------------------------------------


ROBOTS = [
    path for path in sorted(SCENARIOS.rglob("*.yaml")) if "\nrobot:" in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("path", ROBOTS, ids=lambda path: path.stem)
def test_a_pruned_robot_has_the_same_mechanism(path):
    trees = {}
    whole = load_robot(path, KINDS, {}, trees)[0]
    root, lines = trees[path]
    for name, spec in whole.mechanisms.items():
        small = load_robot(path, KINDS, {}, {path: (pruned(root, name), lines)})[0]
        assert small.mechanisms[name] == spec
        use = spec.values.get("motors")
        assert use is None or small.motors[use.motor] == whole.motors[use.motor]
        assert small.battery == whole.battery and small.rails == whole.rails and small.mass == whole.mass


def test_unbroken_runs_of_values():
    chosen = [True, True, False, True, False, False, True]
    assert runs_of([None] * 7, chosen) == [(0, 1), (3, 3), (6, 6)]  # type: ignore[list-item]


def test_a_sweep_counts_as_doubtful_what_a_move_lists(tmp_path, capsys):
    assert status(["start", str(tmp_path / "new")]) == 0
    file = str(tmp_path / "new" / "robot.yaml")
    capsys.readouterr()
    assert status(["move", file, "lift", "--to", "0.5 m"]) == 0
    listed = re.search(r"Assumed or doubtful: (\w+)", capsys.readouterr().out)[1]
    swept = " ".join(printed(capsys, file, "lift", "drum=30:60:30mm", "--to", "0.5 m"))
    assert f"assumed or doubtful: {listed} (simbot move lists them)" in swept


def test_a_value_that_is_good_by_itself_is_no_best_beside_a_plateau():
    values = [20.0, 134.0, 20.0, 20.0, 134.0, 134.0, 134.0]
    points = [
        Point((325.0 + 25.0 * n,), (Look("full", {"points": each, "rate": 1.0 - 0.01 * n}),))
        for n, each in enumerate(values)
    ]
    points_a_match, rate = OF_A_MATCH["points"], OF_A_MATCH["rate"]
    best = best_along(points, points_a_match, rate)
    assert best is points[4]  # the fastest of 4 to 6, though 1 is faster
    assert [region[:2] for region in top_regions(points, best, points_a_match)] == [(1, 1), (4, 6)]
    assert best_along(points[:4], points_a_match, rate) is points[1]
