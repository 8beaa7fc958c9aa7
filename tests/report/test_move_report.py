"""What `simbot move` says of the demo's mechanisms: text, document and figure."""

from __future__ import annotations

import json
from math import degrees, pi
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from builders import LARGE, SMALL, a_robot

from simbot import api
from simbot.analysis.one_move import tables_of
from simbot.cli import status
from simbot.physics.assumptions import physics_remarks
from simbot.physics.kinds import KINDS
from simbot.report.chart import HEIGHT, LABEL, WIDTH, chart
from simbot.report.document import schema_text, to_text
from simbot.report.figures.move import draw_move, figure_of
from simbot.report.move_document import move_document
from simbot.report.one_move import cautions_of, last_start_at, last_start_before_end, move_lines
from simbot.scenario.load import load_robot

ROBOT, REMARKS = load_robot(
    Path(__file__).parent.parent.parent / "scenarios" / "night-market" / "robot.yaml", KINDS
)
REMARKS = [*REMARKS, *physics_remarks(ROBOT)]
NAMES = [name for name, spec in ROBOT.mechanisms.items() if spec.kind != "measured"]
FALLS = {
    "kind": "arm", "motors": "1 x m", "gearing": [{"ratio": "40:1", "efficiency": "85 %"}],
    "moving_mass": "1.5 kg", "centre": "0.25 m", "travel": ["-20 deg", "90 deg"],
    "control": {"loop": "full_effort", "window": "2 deg"},
}  # fmt: skip


HOIST = {
    "kind": "hoist", "motors": "1 x m", "gearing": [{"ratio": "80:1", "efficiency": "60 %"}],
    "drum_diameter": "24 mm", "load_mass": "12 kg", "slack": "0.1 m", "friction": "4 N", "travel": ["0 m", "0.4 m"],
    "holding_brake": True, "control": {"loop": "full_effort", "window": "5 mm"},
}  # fmt: skip


@pytest.fixture(scope="module")
def moves():
    tables = tables_of(ROBOT, "arm", 0.3, 11.0, 60.0)
    told = {name: api.move(ROBOT, name, loads=(0.3,)) for name in NAMES}
    told["arm"] = api.move(ROBOT, "arm", loads=(0.3,), tables=tables)
    told["hoist"] = api.move(a_robot({"it": HOIST}, {"m": SMALL}, (12.6, 0.15)), "it")
    told["turn"] = api.move(ROBOT, "drive", turn=1.5)
    told["falls"] = api.move(a_robot({"it": FALLS}, {"m": SMALL}, (12.6, 0.15)), "it")
    return told


def test_where_a_turret_would_go_a_shorter_way_in_a_plan_is_said():
    turret = {
        "kind": "turret", "motors": "1 x m", "gearing": [{"ratio": "60:1"}], "inertia": "0.06 kg*m^2",
        "travel": ["-200 deg", "200 deg"], "control": {"loop": "full_effort", "window": "2 deg"},
    }  # fmt: skip
    robot = a_robot({"it": turret}, {"m": SMALL}, (12.6, 0.15))
    text = " ".join(" ".join(move_lines(api.move(robot, "it"), (), robot.battery[0].name, None)).split())
    assert "from -200 deg it goes to -160 deg instead" in text
    short = api.move(robot, "it", -0.5, 0.5)
    assert "as written" not in " ".join(move_lines(short, (), robot.battery[0].name, None))


def test_every_mechanism_that_hangs_on_others_says_where_they_stand(capsys):
    file = str(ROBOT.path.parents[1] / "mechanisms" / "carried.yaml")
    for name, said in (("arm", "reach at 0 m"), ("reach", "arm at -20 deg"), ("wrist", "arm at -20 deg")):
        assert status(["move", file, name]) == 0
        assert f"at the lower end of its travel: {said}" in " ".join(capsys.readouterr().out.split())
    assert status(["move", file, "arm", "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["others_stand_at"] == {"reach": 0.0}
    jsonschema.validate(document, json.loads(schema_text("move")))
    assert status(["sweep", file, "arm", "centre=10cm:30cm:10cm", "--to", "60deg"]) == 0
    assert "nothing in hand, reach at 0 m" in " ".join(capsys.readouterr().out.split())


CASES = [*NAMES, "turn", "falls", "hoist"]


def said(move, until=None):
    battery = move.states[len(move.states) // 2].name
    return list(move_lines(move, REMARKS, battery, until))


@pytest.mark.parametrize("name", CASES)
def test_text_is_plain_and_fits(moves, name):
    lines = said(moves[name])
    assert all(line.isascii() and len(line) <= 80 and line == line.rstrip() for line in lines)
    text = "\n".join(lines)
    assert "NOMINAL" in text and "simulated time is never permission" in text
    for word in ("floor", "arrival", "energy from the battery", "Held back by"):
        assert word in text


@pytest.mark.parametrize("name", CASES)
def test_document_follows_its_schema_and_says_the_same(moves, name):
    move = moves[name]
    document = json.loads(to_text(move_document(move, REMARKS, None)))
    jsonschema.Draft202012Validator(json.loads(schema_text("move"))).validate(document)
    for state in move.states:
        told, first = document["states"][state.name], state.moves[0]
        assert told["arrival_s"] == first.arrival_s
        assert told["current_peak_a"] == pytest.approx(first.current_peak_a, abs=1e-6)
        assert sum(told["limited_by"].values()) == pytest.approx(1.0, abs=1e-5)
        assert len(told["moves"]) == len(move.ways) * len(move.loads)
    assert to_text(move_document(move, REMARKS, None)) == to_text(move_document(move, REMARKS, None))


def test_numbers_of_the_table_are_those_of_the_result(moves):
    lift = moves["lift"]
    lines = said(lift)
    title = next(k for k, line in enumerate(lines) if line.startswith("0 m to 0.75 m, nothing in hand "))
    block = lines[title : title + 14]
    for label, value in (
        ("energy from the battery", lambda one: f"{one.energy_j:.1f}"),
        ("battery current, peak", lambda one: f"{one.current_peak_a:.1f}"),
        ("held back by speed", lambda one: f"{100 * one.limited_by['speed']:.0f}"),
    ):
        row = next(line for line in block if label in line).replace("%", "").split()
        assert row[-3:] == [value(state.moves[0]) for state in lift.states]
    bars = next(line for line in lines if line.startswith("   tired "))
    assert bars.split()[-1] == f"{lift.states[2].moves[0].arrival_s * 1000:.0f}"


def test_pull_sheet_counts_back_from_the_end(moves):
    text = "\n".join(said(moves["winch"], 120.0))
    (row,) = [line for line in text.splitlines() if "nothing" not in line and "match clock" in line][:1]
    before = [last_start_before_end(state.pulls[0]) for state in moves["winch"].states]
    assert row.split()[-3:] == [f"{120.0 - each:.1f}" for each in before]
    slowest = moves["winch"].states[-1].pulls[0]
    assert 0.05 <= before[-1] - slowest.time_s <= 0.15 + 1e-9
    assert "A winch that lifts a robot" in text
    assert "match clock" not in "\n".join(said(moves["winch"]))


def test_a_pull_for_which_there_is_no_time_is_said(moves):
    """The match clock begins at 0: a last start before that is none."""
    pulls = {state.name: state.pulls[0] for state in moves["winch"].states}
    before = {name: last_start_before_end(pull) for name, pull in pulls.items()}
    until = sum(sorted(before.values())[-2:]) / 2.0  # the slowest state has no time for it
    lines = said(moves["winch"], until)
    row = next(line for line in lines if line.startswith(" last start, on the match clock"))
    assert [word == "none" for word in row.split()[-3:]] == [each > until for each in before.values()]
    assert f"By {until:g} s it cannot be done on {max(before, key=before.get)}:" in " ".join(lines)
    assert [last_start_at(pull, 1.0) for pull in pulls.values()] == [None] * 3


def test_what_only_turns_has_its_top_speed_in_rpm():
    wheel = {"kind": "roller", "motors": "1 x m", "inertia": "1e-3 kg*m^2"}
    move = api.move(a_robot({"it": wheel}, {"m": SMALL}, (12.6, 0.15)), "it")
    (row,) = [line for line in said(move) if line.startswith(" top speed")]
    right = move.states[0].moves[0].speed_max * 30.0 / pi
    assert row.split() == ["top", "speed", "[rpm]", f"{right:.0f}"] and right > 1000.0


def test_a_hoist_has_its_sheet_and_its_cautions(moves):
    text = "\n".join(said(moves["hoist"], 150.0))
    (pull,) = moves["hoist"].states[0].pulls
    row = next(line for line in text.splitlines() if "match clock" in line)
    assert row.split()[-1] == f"{150.0 - last_start_before_end(pull):.1f}"
    assert "Pull sheet, 0.4 m" in text and "A hoist that lifts a robot" in text


def test_servo_has_its_table_and_all_others_none(moves):
    gripper = said(moves["gripper"])
    start = next(k for k, line in enumerate(gripper) if line.startswith("Moves from 0 deg: angle"))
    for (angle, time), line in zip(moves["gripper"].states[0].times, gripper[start + 1 :], strict=False):
        assert line.split()[:2] == [f"{degrees(angle):.4g}", "deg"]
        assert 0 <= int(line.split()[2]) - 1000 * time < 1.001
    assert not any("angle, arrival" in line for name in ("lift", "arm") for line in said(moves[name]))


def test_what_falls_is_said_with_its_speed_and_a_caution(moves):
    move = moves["falls"]
    text = " ".join(" ".join(said(move)).split())
    fall = move.states[0].holdings[0].fall
    assert "NO" in text and f"Let go at {round(degrees(fall.start), 1):g} deg" in text
    assert f"as fast as {degrees(fall.speed_max):.4g} deg/s" in text
    assert any("does not surely hold without power" in caution for caution in cautions_of(move))
    assert not any("does not surely hold" in caution for caution in cautions_of(moves["winch"]))


def test_a_pull_that_sags_and_one_on_a_ratchet_say_so():
    winch = {**HOIST, "kind": "winch", "holding_brake": False}
    del winch["slack"]
    for more, words in (
        ({}, ("stays there NO", "holds with the power off NO", "gets there and sags back out of its window")),
        ({"ratchet": {"pitch": "4 mm"}}, ("stays there yes", "the power off yes", "at most 0.004 m", "by its teeth")),
    ):  # fmt: skip
        move = api.move(a_robot({"it": {**winch, **more}}, {"m": SMALL}, (12.6, 0.15)), "it")
        text = " ".join(" ".join(said(move)).split())
        assert all(word in text for word in words), text
        reached = move.states[0].pulls[0].reached_s
        assert f"time [s] {reached:.2f}" in text
        document = move_document(move, [], 150.0)
        jsonschema.validate(document, json.loads(schema_text("move")))
        (pull,) = document["states"]["only"]["pull"]
        assert pull["last_start_before_end_s"] >= pull["first_reach_s"] + 0.05


def test_a_linkage_over_its_centre_is_said_with_its_caution():
    crank = {
        "kind": "slider_crank", "motors": "1 x m", "gearing": [{"ratio": "60:1", "efficiency": "80 %"}],
        "crank": "60 mm", "coupler": "180 mm", "slider_mass": "0.5 kg", "travel": ["-6 deg", "160 deg"],
        "control": {"loop": "full_effort", "window": "1 deg"},
    }  # fmt: skip
    caution = (
        "A real one flexes, wears and is shaken: let a stop carry the push and a latch or pin keep it there"
    )
    for load, words in (
        ("40 N", "It needs no current there."),
        ("-400 N", "takes it off the stop unless each motor"),
    ):
        move = api.move(a_robot({"it": {**crank, "load": load}}, {"m": SMALL}, (12.6, 0.15)), "it")
        text = " ".join(" ".join(said(move)).split())
        assert (
            "against its stop at -6 deg (6 deg past the dead centre), nothing in hand: a push along its"
            in text
        )
        assert words in text and caution in text
        jsonschema.validate(move_document(move, [], None), json.loads(schema_text("move")))


def test_a_flywheels_own_speed_and_dip_and_a_rollers_pull_in_are_said(capsys):
    file = str(ROBOT.path.parents[1] / "mechanisms" / "flywheel.yaml")
    robot, _ = load_robot(file, KINDS)
    said_of = {}
    for name in ("wheel", "intake"):
        assert status(["move", file, name]) == 0
        said_of[name] = " ".join(capsys.readouterr().out.split())
    turning = [state.turning for state in api.move(robot, "wheel").states]
    asked = float(robot.mechanisms["wheel"].values["speed"]) * 30 / np.pi
    assert f" up to its {asked:.4g} rpm, nothing in hand" in said_of["wheel"]
    for words in (
        "takes of its speed " + " ".join(f"{100 * (1 - one.left):.2f} %" for one in turning),
        "which is back after [s] " + " ".join(f"{one.back_s:.3f}" for one in turning),
    ):
        assert words in said_of["wheel"]
    assert "glasses on, nobody in front of it" in said_of["wheel"]
    drawn = [state.turning.pull_in_s for state in api.move(robot, "intake").states]
    assert "pulled in within [s] " + " ".join(f"{one:.3f}" for one in drawn) in said_of["intake"]
    assert status(["move", file, "wheel", "--json", "-"]) == 0
    jsonschema.validate(json.loads(capsys.readouterr().out), json.loads(schema_text("move")))


def test_where_diodes_brake_a_fall_the_wires_off_is_said_beside_it(moves):
    rack = {
        "kind": "rack", "motors": "1 x m", "gearing": [{"ratio": "10:1", "efficiency": "100 %"}],
        "pinion_diameter": "1 in", "travel": ["0 m", "2 m"], "moving_mass": "2 kg", "incline": "60 deg",
        "control": {"loop": "full_effort", "window": "3 mm"},
    }  # fmt: skip
    move = api.move(a_robot({"it": rack}, {"m": SMALL}, (12.6, 0.15)), "it", 0.0, 0.2)
    fall, text = move.states[0].holdings[0].fall, " ".join(" ".join(said(move)).split())
    assert "its controller off (whose diodes brake it), it back-drives to 0 m" in text
    assert f"as fast as {fall.speed_max:.3g} m/s; with a wire off it takes {fall.loose_s:.2f} s" in text
    assert fall.loose_speed_max > 1.05 * fall.speed_max
    assert "a wire off, it back-drives" in " ".join(" ".join(said(moves["falls"])).split())


def test_tables_are_printed_where_asked(moves):
    text = "\n".join(said(moves["arm"]))
    assert "At 11 V without sag, motors at 60 degrees C, 300 g in hand" in text
    assert "with rotors" not in "\n".join(said(moves["lift"]))


def test_what_is_assumed_of_it_is_said_and_of_others_is_not(moves):
    gripper, lift = (" ".join(" ".join(said(moves[name])).split()) for name in ("gripper", "lift"))
    assert "mechanisms.gripper.band: 5 deg +/- 2.5 deg" in gripper
    assert "rails.servo_rail" in gripper and "gate" not in gripper
    assert (
        "Assumed or doubtful: 1. - mechanisms.lift.gearing: back_efficiency" in lift and "turning" not in lift
    )
    assert "With a spread: mechanisms.lift.friction" in lift


def test_chart_marks_both_ends():
    t = np.linspace(0.0, 2.0, 50)
    lines = list(chart([("*", t, t * 3.0), ("+", t / 2, 6.0 - 3.0 * t)], "m"))
    assert len(lines) == HEIGHT + 2
    assert lines[0].endswith("o") and len(lines[0]) == LABEL + 2 + WIDTH
    assert lines[0].split()[0] == "6" and lines[HEIGHT - 1].split()[0] == "0"
    assert lines[HEIGHT - 1][LABEL + 2] == "*"
    assert lines[-1].split() == ["0", "2", "s"]
    assert all("*" in line or "+" in line or "o" in line for line in lines[:HEIGHT])


@pytest.mark.parametrize("name", CASES)
def test_panels_of_the_figure_do_not_overlap_and_are_labelled(moves, name):
    move = moves[name]
    figure = figure_of(move, move.states[0].name)
    figure.canvas.draw()
    boxes = [axes.get_tightbbox() for axes in figure.axes]
    texts = [text.get_window_extent() for text in figure.texts]
    everything = [*boxes, *texts]
    for k, one in enumerate(everything):
        for other in everything[k + 1 :]:
            assert not one.overlaps(other)
        assert figure.bbox.x0 <= one.x0 and one.x1 <= figure.bbox.x1
        assert figure.bbox.y0 <= one.y0 and one.y1 <= figure.bbox.y1
    for axes in figure.axes:
        assert "[" in axes.get_ylabel()
    assert "[s]" in figure.axes[-1].get_xlabel() and "[m]" in figure.axes[0].get_xlabel()


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_figures_are_written_and_the_same_every_time(moves, ending, tmp_path):
    files = [tmp_path / f"{number}.{ending}" for number in range(2)]
    for file in files:
        draw_move(moves["lift"], "tired", str(file))
    first, second = (file.read_bytes() for file in files)
    assert len(first) > 5000 and first == second


def test_a_tank_is_drawn_and_told_too():
    tank = {
        "kind": "tank", "motors": "4 x m", "gearing": [{"ratio": "10:1"}], "wheel_diameter": "100 mm",
        "wheelbase": "400 mm", "track": "500 mm", "grip": 1.0,
    }  # fmt: skip
    move = api.move(a_robot({"it": tank}, {"m": LARGE}, (12.6, 0.02), mass="50 kg"), "it", target=2.0)
    assert "2 m ahead" in "\n".join(said(move))
    assert move.states[0].moves[0].limited_by["grip"] > 0.0
