"""What `simbot move` says of a cylinder: strokes on one fill, what holds it, options that say nothing of it."""

from __future__ import annotations

import json
from math import pi
from pathlib import Path

import jsonschema
import pytest
from builders import SMALL, a_plant, a_robot

from simbot import api
from simbot.cli import status
from simbot.physics.move import GoTo
from simbot.report.document import schema_text
from simbot.report.one_cylinder import cylinder_document, cylinder_lines, told
from simbot.scenario.errors import SimbotError

DEMO = Path(__file__).parent.parent.parent / "scenarios" / "mechanisms" / "cylinder.yaml"
AIR = 101325.0  # Pa, standard atmosphere (ISO 2533)
PSI = 0.45359237 * 9.80665 / 0.0254**2  # Pa, from the exact pound, gravity and inch
TIMED = {
    "kind": "cylinder", "bore": "20 mm", "rod": "8 mm", "stroke": "100 mm", "tank": "400 ml", "supply": "90 psi",
    "regulator": "50 psi", "time": "0.21 s", "time_in": "0.17 s", "least_pressure": "25 psi",
}  # fmt: skip
BY_AIR = {
    "kind": "cylinder", "bore": "20 mm", "rod": "8 mm", "stroke": "100 mm", "tank": "250 ml", "supply": "5 bar",
    "regulator": "4 bar", "conductance": "0.4 l/s/bar", "moving_mass": "0.6 kg", "load": "40 N", "friction": "12 N",
}  # fmt: skip


def robot_with(**cylinders):
    return a_robot(cylinders, {"m": SMALL})


def test_strokes_on_one_fill_follow_the_gas_law():
    """Isothermal: p V of the tank falls by what the stroke takes; below the regulator tank and cylinder share.

    Hose and end space are full of the outer air as it begins, and at the cylinder's pressure as it ends.
    """
    one = api.strokes(robot_with(it=TIMED), "it")
    tank, regulated, room, number = 90 * PSI + AIR, 50 * PSI + AIR, 4e-4, 0
    dead = 0.1 * pi / 4 * 0.02**2 * 0.1
    while True:
        out = number % 2 == 0
        takes = pi / 4 * (0.02**2 - (0.0 if out else 0.008**2)) * 0.1
        left = tank - (regulated * takes + (regulated - AIR) * dead) / room
        at_end = regulated
        if left < regulated:
            left = at_end = (tank * room + AIR * dead) / (room + takes + dead)
        stroke = one.strokes[number]
        assert stroke.outwards is out
        assert (stroke.tank, stroke.at_end) == pytest.approx((tank - AIR, at_end - AIR))
        assert stroke.push == pytest.approx((at_end - AIR) * takes / 0.1)
        if at_end - AIR < 25 * PSI:
            break
        assert stroke.time_s == (0.21 if out else 0.17)
        tank, number = left, number + 1
    assert one.done == number == len(one.strokes) - 1 > 4
    assert one.strokes[-1].time_s is None and "bar" in one.strokes[-1].reason


def test_its_strokes_are_those_of_a_run():
    robot = robot_with(it=BY_AIR)
    one, plant = api.strokes(robot, "it"), a_plant(robot, 60.0)
    for stroke in one.strokes:
        move = plant.command("it", GoTo("out" if stroke.outwards else "in"))
        arrival = move.arrival_us()
        if stroke.time_s is None:
            assert arrival is None and move.reason() == stroke.reason
        else:
            assert arrival is not None and (arrival - plant.now_us) / 1e6 == pytest.approx(
                stroke.time_s, abs=1e-6
            )
        plant.advance(plant.now_us + 2_000_000)
    assert one.done > 3 and one.strokes[one.done - 2].time_s > one.strokes[one.done % 2].time_s


def test_what_holds_it():
    """Statics: out against 40 N with 12 N of friction takes 28 N on the piston; a load pulls it in by itself."""
    one = api.strokes(robot_with(it=BY_AIR), "it")
    assert one.holds_out_pa == pytest.approx(28.0 / (pi / 4 * 0.02**2))
    assert (one.holds_in_pa, one.without_air) == (0.0, "in")
    rubs = api.strokes(robot_with(it={**BY_AIR, "friction": "45 N"}), "it")
    assert (rubs.holds_out_pa, rubs.without_air) == (0.0, "")
    lifted = api.strokes(robot_with(it={**BY_AIR, "load": "-40 N"}), "it")
    assert (lifted.holds_out_pa, lifted.without_air) == (0.0, "out")
    assert lifted.holds_in_pa == pytest.approx(28.0 / (pi / 4 * (0.02**2 - 0.008**2)))
    weak = {**BY_AIR, "single_acting": True, "return_spring": "5 N", "load": "-40 N"}
    assert api.strokes(robot_with(it=weak), "it").holds_in_pa is None


SPRUNG = {**BY_AIR, "single_acting": True, "return_spring": "60 N", "load": "0 N"}
SHARED = {key: value for key, value in TIMED.items() if key not in ("tank", "supply")}


@pytest.mark.parametrize(("more", "words"), [
    (TIMED, "the file cannot tell"), (BY_AIR, "With the air let out it goes in by itself."), (SPRUNG, "no air"),
    ({**SHARED, "tank_of": "other"}, "Its tank is that of other, whose strokes take air too."),
    ({**TIMED, "supply": "20 psi", "regulator": "20 psi", "least_pressure": "19 psi"}, "0 strokes on one fill"),
])  # fmt: skip
def test_what_is_printed_fits_and_follows_its_schema(more, words):
    robot = robot_with(it=more, other=TIMED)
    one = api.strokes(robot, "it")
    lines = list(cylinder_lines(one, []))
    assert words in "\n".join(lines).replace("\n ", " ")
    assert all(len(line) <= 80 and line.isascii() for line in lines)
    assert "Compressed air is stored energy" in "\n".join(lines)
    document = cylinder_document(one, [])
    jsonschema.validate(document, json.loads(schema_text("strokes")))
    if words.startswith("0"):
        assert [state for _, state in told(one)] == ["fails"] and document["strokes_on_one_fill"] == 0


def test_pressures_are_in_the_unit_of_the_file():
    text = "\n".join(cylinder_lines(api.strokes(robot_with(it=TIMED), "it"), []))
    assert " psi" in text and "   1 out full tank                     90          50        25" in text


@pytest.mark.parametrize("more", [
    ("--from", "in"), ("--to", "out"), ("--turn", "3 deg"), ("--load", "1 kg"), ("--until", "9 s"), ("--tables",),
    ("--volts", "9 V"), ("--celsius", "30"), ("--battery", "rested"), ("--figure", "a.png"),
])  # fmt: skip
def test_options_that_say_nothing_of_it_are_refused(more, capsys):
    assert status(["move", str(DEMO), "flap", *more]) == 2
    assert f"{' '.join(more)}: flap is a cylinder" in capsys.readouterr().err


def test_the_command(tmp_path, capsys):
    target = tmp_path / "strokes.json"
    assert status(["move", str(DEMO), "flap", "--json", str(target)]) == 0
    assert capsys.readouterr().out.startswith("flap of Puffer: cylinder, alone on its air")
    assert json.loads(target.read_text(encoding="utf-8"))["strokes_on_one_fill"] == 5


def test_a_name_that_is_no_cylinder():
    with pytest.raises(SimbotError, match="no cylinder 'ti'; it has it"):
        api.strokes(robot_with(it=TIMED), "ti")
