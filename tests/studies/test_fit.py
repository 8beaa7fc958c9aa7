"""Unknowns from measured times: synthetic truth comes back, what cannot be told is said, the impossible refused.

All robots here are invented; the truth of each test is a robot with other numbers, measured with errors that are
drawn.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from dataclasses import replace
from io import StringIO
from math import sqrt
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from scipy import stats

from simbot.cli import status
from simbot.physics.kinds import KINDS
from simbot.report.document import schema_text
from simbot.report.fit_document import fit_csv, fit_document
from simbot.report.fit_patch import fit_patch
from simbot.report.fitted import answer, print_fitted
from simbot.scenario.errors import SimbotError
from simbot.scenario.load import load_plan
from simbot.scenario.measured import Condition, Measured
from simbot.scenario.measured_file import read_measured
from simbot.studies.fit import fit
from simbot.studies.fit_data import data_of
from simbot.studies.fit_results import Compared, FitAsked, Fitted
from simbot.studies.fit_unknowns import Source, likelihood_of, named_unknowns
from simbot.studies.predicted import Predictor, bench_time
from simbot.studies.slips import slips_of
from simbot.studies.unknowns import Unknown

MORE = """  motors:
    coil:
      {voltage: 12 V, free_speed: 400 rpm, free_current: 0.3 A, stall_torque: 19 kgf*cm, stall_current: 9 A,
       rotor_inertia: 9e-6 kg*m^2, internal_ratio: 15, source: invented}
"""
LIFT = """    lift:
      kind: slide
      motors: 1 x coil
      gearing: [{ratio: 2, efficiency: 85 % ± 20 %}]   # a guess
      drum_diameter: 40 mm
      moving_mass: 2.5 kg
      friction: 8 N ± 60 %   # of the rails
      travel: [0 m, 0.7 m]
      holding_brake: true
      control: {loop: full_effort, window: 10 mm}
    hand: {kind: measured, time: 0.3 s}
"""
BODY = """  autonomous:
    - move: {lift: 0.5 m}
    - wait: arrival
    - pick: {element: puck, from: tray, by: {hand: shut}, else: missed, succeeds: 80 % ± 10 %}
    - wait: 400 ms
    - move: {lift: 0 m}
    - wait: arrival
"""
STATES = """
      fresh: {open_circuit: 13.6 V, resistance: 0.10 ohm}
      mid-event: {open_circuit: 13.0 V, resistance: 0.16 ohm}
      tired: {open_circuit: 12.4 V, resistance: 0.28 ohm ± 30 %}"""
EFFICIENCY = "robot.mechanisms.lift.gearing.0.efficiency"
FRICTION = "robot.mechanisms.lift.friction"
UP = ("0 m", "0.6 m")
DOWN = ("0.6 m", "0 m")


def silent(done, total):
    pass


@pytest.fixture
def plan(folder):
    return folder.write(BODY, LIFT, start="{hand: open}", states=STATES, more=MORE)


def true_time(plan, way, battery, load=0.0, **changed):
    """Time of the lift with a load [kg] and with other numbers [s]."""
    other = load_plan(plan.path, KINDS, changed)[0]
    states = {state.name: state for state in other.robot.battery}
    start, target = (float(end.split()[0]) for end in way)
    return bench_time(
        other.robot, states[battery], Condition("move", battery, "lift", start, target, load=load)
    )


def table(plan, rows, head="what,from,to,value,rate,battery,load"):
    path = plan.path.parent / "measured.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def fitted(plan, path, *unknowns, **asked):
    rows = read_measured(path, plan, "mid-event")
    return fit(Source(plan.path, plan, KINDS, {}), path, rows, unknowns, FitAsked(**asked), silent)


def filmed(rng, way, battery, time, trials, sd=0.004, fps=120, load=0.0):
    """Rows of a video: begin and end fall anywhere between two frames."""
    for _ in range(trials):
        begin = rng.random()
        frames = int(np.floor(begin + (time + rng.normal(0.0, sd)) * fps))
        yield f"lift,{way[0]},{way[1]},{frames} frames,{fps} fps,{battery},{load:g} kg"


# --- truth comes back ---------------------------------------------------------------------------------


def test_truth_lies_in_the_interval_as_often_as_is_said(plan):
    """Friction of one move from 2 x 4 trials, by stopwatch with its shift and by video, 200 times: 95 % within what
    a binomial count of 200 allows with a chance of 0.1 %."""
    unknown = Source(plan.path, plan, KINDS, {}).numbers()
    given = next(each for each in unknown if each.key == FRICTION)
    friction = Source(plan.path, plan, KINDS, {}).unknown(given, "friction")
    truth, reaction, fps = 11.0, 0.2, 60.0
    conditions = [Condition("move", "fresh", "lift", 0.0, 0.6), Condition("move", "tired", "lift", 0.0, 0.6)]
    predictor = Predictor(plan, [friction], conditions)
    times = predictor(np.array([truth]))
    rng = np.random.Generator(np.random.PCG64(11))
    inside, runs = 0, 200
    for _ in range(runs):
        shift = rng.normal(0.0, reaction / 4)
        measured = []
        for condition, time in zip(conditions, times, strict=True):
            for trial in range(4):
                real = time + rng.normal(0.0, 0.02)
                if trial % 2:
                    value = real + shift + rng.normal(0.0, sqrt(2.0) * reaction / 4)
                    measured.append(Measured(1, "up", condition, value, "stopwatch"))
                else:
                    value = np.floor(rng.random() + real * fps) / fps
                    measured.append(Measured(1, "up", condition, value, "frames", 1 / fps))
        data = data_of(measured, conditions, reaction, predictor)
        whole = likelihood_of(data, predictor, [friction], np.array([8.0]))
        best = whole.solve()
        profile = whole.profile(best, 0, (0,))
        low = -np.inf if profile.low is None else profile.low
        high = np.inf if profile.high is None else profile.high
        inside += low <= truth <= high
    least, most = stats.binom.ppf((0.0005, 0.9995), runs, 0.95)
    assert least <= inside <= most


def test_three_unknowns_come_back_together(plan):
    """Both directions, with a load and without, on two batteries: 8 moves tell losses, friction and battery apart."""
    truth = {EFFICIENCY: "74 %", FRICTION: "11 N", "robot.battery.states.tired.resistance": "0.35 ohm"}
    rng = np.random.Generator(np.random.PCG64(5))
    rows = [
        row
        for way in (UP, DOWN)
        for battery in ("fresh", "tired")
        for load in (0.0, 1.0)
        for row in filmed(
            rng, way, battery, true_time(plan, way, battery, load, **truth), 8, 0.002, 240, load
        )
    ]
    result = fitted(plan, table(plan, rows), "lift.efficiency", "lift.friction", "tired.resistance")
    for each, expected in zip(result.fitted, (74.0, 11.0, 0.35), strict=True):
        assert each.interval[0] < expected < each.interval[1]
        assert each.interval[1] - each.interval[0] < 0.6 * expected
    assert all(abs(row.ratio - 1.0) < 0.02 and not row.off for row in result.compared)
    assert result.outliers == () and result.cautions == ()
    assert answer(result).startswith("lift.efficiency is 7")


def test_without_names_it_fits_what_the_data_tell_better_than_the_file(plan):
    rng = np.random.Generator(np.random.PCG64(6))
    truth = {FRICTION: "11 N"}
    rows = [
        row
        for way in (UP, DOWN)
        for row in filmed(rng, way, "fresh", true_time(plan, way, "fresh", **truth), 8)
    ]
    result = fitted(plan, table(plan, rows))
    names = [each.unknown.name for each in result.fitted]
    assert result.chosen and names == ["lift.efficiency"]
    assert result.left == ("lift.friction",)  # they do the same; on the tired battery nothing was measured
    for each in result.fitted:
        low, high = each.interval
        assert high is None or low is None or (high - low) / 2 < each.unknown.spread


# --- what is not told ---------------------------------------------------------------------------------


def test_one_move_on_one_battery_cannot_tell_efficiency_from_friction(plan):
    truth = {FRICTION: "11 N"}
    rng = np.random.Generator(np.random.PCG64(7))
    rows = list(filmed(rng, UP, "fresh", true_time(plan, UP, "fresh", **truth), 10))
    result = fitted(plan, table(plan, rows), "lift.efficiency", "lift.friction")
    assert [each.estimate for each in result.fitted] == [None, None]
    assert "cannot tell lift.efficiency and lift.friction apart" in answer(result)
    _, (low, high) = result.fitted[1].if_held  # with the efficiency as in the file, which here is true
    assert low < 11.0 < high
    patch = fit_patch(result)
    assert patch.changed == 0 and len(patch.by_hand) == 2
    assert result.next and "lift" in result.next[0].text  # another move or load tells them
    stream = StringIO()
    print_fitted(result, stream)
    text = stream.getvalue()
    assert "not told" in text and "an adult" in text and "stall" in text


def test_what_nothing_measured_depends_on_is_not_told(plan):
    rng = np.random.Generator(np.random.PCG64(8))
    rows = list(filmed(rng, UP, "fresh", true_time(plan, UP, "fresh"), 6))
    result = fitted(plan, table(plan, rows), "tired.resistance", "lift.friction")
    assert result.fitted[0].estimate is None and result.fitted[0].if_held is None
    assert result.fitted[1].estimate is not None
    assert "say next to nothing about battery.tired.resistance" in answer(result)
    assert result.condition is None


# --- the impossible -----------------------------------------------------------------------------------


def test_a_mean_above_the_free_speed_is_refused(plan):
    """Free speed of the slide: 400 rpm x 13.6/12, over 2, on a drum of 40 mm: 0.475 m/s; 0.59 m take 1.242 s."""
    free = 400 * 2 * np.pi / 60 * 13.6 / 12 / 2 * 0.02
    assert free == pytest.approx(0.475, abs=5e-4)
    rows = ["lift,0 m,0.6 m,1.10 s,120 fps,fresh", "lift,0 m,0.6 m,1.12 s,120 fps,fresh"]
    with pytest.raises(
        SimbotError, match=r"above the free speed, 0.475 m/s, from standstill.*rolling start"
    ) as told:
        fitted(plan, table(plan, rows), "lift.friction")
    assert "measured.csv:2:" in str(told.value)


def test_the_impossible_is_refused_where_nothing_can_be_chosen_to_fit_too(plan):
    """One single time tells nothing better than the file; that no lift is so fast is what there is to say of it."""
    path = table(plan, ["lift,0 m,0.6 m,0.6 s,,fresh"])
    with pytest.raises(SimbotError, match=r"csv:2:1: value: .*above the free speed.*rolling start"):
        fitted(plan, path)
    path = table(plan, ["lift,0 m,0.6 m,1.5 s,,fresh"])
    with pytest.raises(SimbotError, match="these measurements tell none of the numbers"):
        fitted(plan, path)


def test_a_mean_that_may_be_the_stopwatch_is_doubted_not_refused(plan):
    """1.365 s is too short for any friction, but within what a stopwatch leaves open."""
    rows = ["lift,0 m,0.6 m,1.36 s,,fresh", "lift,0 m,0.6 m,1.37 s,,fresh"]
    result = fitted(plan, table(plan, rows), "lift.friction")
    assert len(result.cautions) == 1 and "not possible" in result.cautions[0]


def test_a_stopwatch_that_is_off_by_more_than_a_reaction_is_doubted(plan):
    """Filmed times tell the friction; those of the stopwatch on the same moves are late by what is added."""
    rng = np.random.Generator(np.random.PCG64(10))
    times = {way: true_time(plan, way, "fresh", **{FRICTION: "11 N"}) for way in (UP, DOWN)}
    rows = [row for way, time in times.items() for row in filmed(rng, way, "fresh", time, 5)]

    def cautions(late):
        pressed = [f"lift,{way[0]},{way[1]},{time + late:.2f} s,,fresh," for way, time in times.items()]
        return fitted(plan, table(plan, [*rows, *pressed, *pressed]), "lift.friction").cautions

    assert cautions(0.05) == ()
    (told,) = cautions(0.5)
    assert told.startswith("the stopwatch's times are 0.5") and "explains 0.1 s of that at most" in told


@pytest.mark.parametrize("method", ["50 s,,fresh,", "6000 frames,120 fps,fresh,"])
def test_a_time_that_is_far_too_long_for_any_value_is_said_to_be_so_and_is_no_scatter(plan, method):
    """Three trials alike: what is off is no chance. Of one that any friction explains nothing is said."""
    result = fitted(plan, table(plan, [f"lift,{UP[0]},{UP[1]},{method}"] * 3), EFFICIENCY)
    (told,) = result.cautions
    assert told.startswith("lift 0 m to 0.6 m on fresh: 50.000 s were measured and ")
    assert "no value of what is fitted explains all these times" in told
    out = StringIO()
    print_fitted(result, out)
    assert "From trial to trial" not in out.getvalue() and "(sd) about what is fitted" in out.getvalue()
    slow = true_time(plan, UP, "fresh", **{FRICTION: "20 N"})
    rows = filmed(np.random.Generator(np.random.PCG64(3)), UP, "fresh", slow, 5)
    assert fitted(plan, table(plan, list(rows)), FRICTION).cautions == ()


def test_wide_rows_fit_the_screen(plan):
    """Long names of mechanisms, batteries and units, an outlier in every place that has a mark."""
    given = next(each for each in Source(plan.path, plan, KINDS, {}).numbers() if each.key == EFFICIENCY)
    unit = "kgf*cm/rad"
    given = replace(
        given, key="robot.mechanisms.arm_that_reaches_over_the_high_row.friction", text=f"0.25 {unit}"
    )
    unknown = Unknown(given, "arm_that_reaches_over_the_high_row.friction", 0.0, 0.0, 9.0, ())
    told = Fitted(unknown, 0.271, (0.252, 0.289), without=0.27)
    hidden = Fitted(unknown, None, None, (unknown.name,) * 2, (0.337, (0.252, 0.351)))
    row = Compared(
        "arm_that_reaches_over_the_high_row out to in with 1.25 kg", "stopwatch", "at the end", 12, 123.456, 0.1, None,
        123.456, 12.345, True, (2,),
    )  # fmt: skip
    one = fitted(plan, table(plan, ["lift,0 m,0.6 m,1.5 s,120 fps,fresh,"]), "lift.friction")
    result = replace(
        one, fitted=(told, hidden), compared=(row, replace(row, text="lift")), rests_on=(), next=()
    )
    stream = StringIO()
    print_fitted(result, stream)
    lines = stream.getvalue().splitlines()
    assert max(map(len, lines)) <= 80
    assert sum(line.endswith("12.345!") for line in lines) == 2
    assert any(line.endswith(f"0.271   0.252 to 0.289 {unit}") for line in lines)


def test_an_impossible_cycle_is_refused(tmp_path):
    """A lift up and down, two drives and both hands within half a second."""
    assert status(["start", str(tmp_path / "new")]) == 0
    plan = load_plan(tmp_path / "new" / "plan.yaml", KINDS)[0]
    path = table(plan, ["cycle,0.5 s"], "what,value")
    with pytest.raises(SimbotError, match=r"0.500 s is not possible; no value of the unknowns") as told:
        fitted(plan, path, "lift.friction", matches=2)
    assert "measured.csv:2:" in str(told.value)


def test_a_number_that_set_gives_is_told_so_by_any_of_its_names(plan):
    path = table(plan, ["lift,0 m,0.6 m,1.5 s,120 fps,fresh"])
    rows = read_measured(path, plan, "mid-event")
    for name in ("lift.friction", FRICTION):
        with pytest.raises(SimbotError, match=f"--unknown {name}: --set {FRICTION} gives it already"):
            source = Source(plan.path, plan, KINDS, {FRICTION: "5 N ± 30 %"})
            fit(source, path, rows, [name], FitAsked(), silent)


# --- outliers, counts, lines, cycles ------------------------------------------------------------------


def test_a_gross_slip_among_trials_is_named_and_left_out(plan):
    rng = np.random.Generator(np.random.PCG64(9))
    rows = list(filmed(rng, UP, "fresh", true_time(plan, UP, "fresh", **{FRICTION: "11 N"}), 5))
    clean = fitted(plan, table(plan, rows), "lift.friction")
    rows.insert(3, "lift,0 m,0.6 m,15.1 s,120 fps,fresh")
    result = fitted(plan, table(plan, rows), "lift.friction")
    assert result.slips == (3,) and result.outliers == () and result.compared[0].trials == 5
    assert result.fitted[0].estimate == clean.fitted[0].estimate
    assert result.fitted[0].interval == clean.fitted[0].interval
    (told,) = fit_document(result)["outliers"]
    assert (told["line"], told["left_out"]) == (5, True)
    stream = StringIO()
    print_fitted(result, stream)
    assert stream.getvalue().count("Outlier") == 1 and "left out of the fit: 15.100 s" in stream.getvalue()


def test_what_differs_by_no_more_than_a_stopwatch_does_is_no_slip():
    condition = Condition("move", "fresh", "lift", 0.0, 0.6)

    def trials(*values):
        return [Measured(2, "lift", condition, value, "stopwatch") for value in values]

    assert slips_of(trials(0.70, 0.70, 0.70, 0.70, 0.80), 0.2) == ()
    assert slips_of(trials(0.70, 0.71, 0.69, 0.70, 7.0), 0.2) == (4,)
    assert slips_of(trials(0.7, 7.0), 0.2) == ()


def test_an_estimate_at_the_edge_of_what_arrives_is_a_limit(tmp_path):
    """Ten times as long as the starter's lift takes; with more and more friction it never arrives, before that late."""
    assert status(["start", str(tmp_path / "new")]) == 0
    plan = load_plan(tmp_path / "new" / "plan.yaml", KINDS)[0]
    rows = [f"lift,0 m,0.4 m,{time} s,,mid-event" for time in (7.0, 7.1, 6.9)]
    result = fitted(plan, table(plan, rows), "lift.friction")
    assert result.outliers == result.slips == ()  # all of them alike are none
    (one,) = result.fitted
    assert one.limit == "most" and one.interval[1] is None
    assert "at the limit of what can be simulated, at most" in answer(result)
    assert fit_patch(result).changed == 0
    jsonschema.Draft202012Validator(json.loads(schema_text("fit"))).validate(fit_document(result))


def test_a_success_rate_comes_from_counts(plan):
    """17 of 20 and 15 of 20: 80 %; the interval of the likelihood ratio, solved here directly."""
    line = next(n for n, text in enumerate(plan.path.read_text().splitlines(), 1) if "pick" in text)
    rows = [f"line {line},,,17 of 20,,", f"line {line},,,15 of 20,,"]
    result = fitted(plan, table(plan, rows), "pick.succeeds")
    one = result.fitted[0]

    def rise(p):
        return 2 * (stats.binom.logpmf(32, 40, 0.8) - stats.binom.logpmf(32, 40, p))

    assert one.estimate == pytest.approx(80.0, abs=0.01)
    for end in one.interval:
        assert rise(end / 100) == pytest.approx(1.96**2, rel=0.06)
    assert result.compared[0].trials == 40


def test_a_line_of_the_plan_is_measured_in_its_run(plan):
    lines = plan.path.read_text().splitlines()
    up = next(n for n, text in enumerate(lines, 1) if "lift: 0.5 m" in text)
    down = next(n for n, text in enumerate(lines, 1) if "lift: 0 m" in text)
    whole = Predictor(load_plan(plan.path, KINDS, {FRICTION: "11 N"})[0], [], [
        Condition("line", "fresh", "lift", line=up), Condition("line", "fresh", "lift", line=down)])  # fmt: skip
    times = whole(np.array([]))
    way = ("0 m", "0.5 m")
    assert times[0] == pytest.approx(true_time(plan, way, "fresh", **{FRICTION: "11 N"}), abs=2e-6)
    rows = [
        f"line {up},,,{times[0]:.4f} s,1000 fps,fresh",
        f"line {down} lift,,,{times[1]:.4f} s,1000 fps,fresh",
    ]
    result = fitted(plan, table(plan, [*rows, *rows]), "lift.friction")
    assert result.fitted[0].estimate == pytest.approx(11.0, abs=0.2)


def test_an_allowance_comes_from_cycle_times(tmp_path):
    """Picks and places by stopwatch mechanisms: a cycle is 2 x 0.3 s and a wait of 2 s that is (1 + allowance) long."""
    from stopwatches import a_plan, pick, place, wait

    cycle = [
        pick(),
        wait("0.3 s"),
        {"wait": "2 s", "for": "driver", "allowance": "20 %"},
        place(),
        wait("0.3 s"),
    ]
    plan = a_plan(tmp_path, [{"repeat": 20, "steps": cycle}])
    rows = [f"cycle,,,{value} s,1000 fps,full" for value in (3.4, 3.41, 3.39, 3.4)]
    result = fitted(plan, table(plan, rows), "allowance", matches=2)
    one = result.fitted[0]
    assert one.estimate == pytest.approx(40.0, abs=1.5)
    assert one.interval[0] < 40.0 < one.interval[1]


# --- what comes out -----------------------------------------------------------------------------------


def a_result(plan, seed=5):
    rng = np.random.Generator(np.random.PCG64(seed))
    rows = [
        row
        for way in (UP, DOWN)
        for row in filmed(
            rng, way, "fresh", true_time(plan, way, "fresh", **{EFFICIENCY: "74 %", FRICTION: "11 N"}), 8
        )
    ]
    return table(plan, rows)


def test_documents_fit_their_schema_and_the_screen(plan):
    path = a_result(plan)
    result = fitted(plan, path, "lift.efficiency", "lift.friction")
    document = json.loads(json.dumps(fit_document(result)))
    jsonschema.Draft202012Validator(json.loads(schema_text("fit"))).validate(document)
    assert document["parameters"][0]["estimate_si"] == pytest.approx(
        document["parameters"][0]["estimate"] / 100
    )
    again = fitted(plan, path, "lift.efficiency", "lift.friction")
    assert json.loads(json.dumps(fit_document(again))) == document  # the same seed, the same bytes
    stream = StringIO()
    print_fitted(result, stream)
    lines = stream.getvalue().splitlines()
    assert max(map(len, lines)) <= 80 and lines[0].startswith("lift.efficiency is")
    rows = fit_csv(result).splitlines()
    assert rows[0].startswith("what,battery,method,trials") and len(rows) == 3


@pytest.mark.skipif(shutil.which("git") is None, reason="needs git")
def test_the_patch_applies_and_keeps_everything_else(plan):
    result = fitted(plan, a_result(plan), "lift.efficiency", "lift.friction")
    folder = plan.path.parent
    patch = fit_patch(result)
    assert patch.changed == 2
    before = (folder / "robot.yaml").read_text(encoding="utf-8")
    (folder / "fit.patch").write_bytes(patch.data)
    subprocess.run(["git", "apply", "fit.patch"], cwd=folder, check=True)
    after = (folder / "robot.yaml").read_text(encoding="utf-8")
    assert "# a guess" in after and "# of the rails" in after
    changed = [b for a, b in zip(before.splitlines(), after.splitlines(), strict=True) if a != b]
    assert len(changed) == 2 and all("±" in line for line in changed)
    spec = load_plan(plan.path, KINDS)[0].robot.mechanisms["lift"]
    one, other = result.fitted
    assert float(spec.values["gearing"][0].efficiency) == pytest.approx(one.estimate / 100, rel=0.01)
    assert float(spec.values["friction"]) == pytest.approx(other.estimate, rel=0.05)
    half = max(abs(end - other.estimate) for end in other.interval)
    assert spec.values["friction"].spread == pytest.approx(half, rel=0.05)


def test_the_command(plan, capsys):
    path = a_result(plan)
    given = ["fit", str(plan.path), str(path), "--unknown", "lift.friction", "--unknown", EFFICIENCY]
    out = plan.path.parent / "out.json"
    assert status([*given, "--json", str(out), "--patch", "-"]) == 0
    printed = capsys.readouterr()
    assert printed.out.startswith("# Fitted to 16 measurements") and "+      friction:" in printed.out
    assert "2 numbers change" in printed.err
    assert json.loads(out.read_text())["document"] == "fit"
    assert status([*given[:3], "--unknown", "lift.frction"]) == 2
    assert "did you mean" in capsys.readouterr().err
    assert status([*given[:3], "--unknown", "resistance"]) == 2
    assert "several numbers are meant by that" in capsys.readouterr().err
    assert status([*given, "--csv", "-", "--json", "-"]) == 2
    assert status([*given, "--set", f"{FRICTION}=9 N"]) == 2
    assert status([*given, "--reaction", "fast"]) == 2
    sys.stdout.flush()


def test_names_need_not_be_whole(plan):
    numbers = Source(Path(plan.path), plan, KINDS, {}).numbers()
    from simbot.scenario.given_numbers import number_named

    for name in ("lift.efficiency", "robot.lift.efficiency", EFFICIENCY):
        assert number_named(name, numbers, "--unknown").key == EFFICIENCY


def test_an_unknown_may_be_named_by_its_line(plan):
    source = Source(Path(plan.path), plan, KINDS, {})
    line = next(each.line for each in source.numbers() if each.key == FRICTION)
    (found,) = named_unknowns(source, [f"robot.line{line}.friction"])
    assert found.given.key == FRICTION
    with pytest.raises(SimbotError, match=f"--unknown robot.line{line}.efficiency: there is no such key"):
        named_unknowns(source, [f"robot.line{line}.efficiency"])
