"""Facts that teams know of their own mechanisms, found in the model. Common practice, no source."""

from __future__ import annotations

from math import pi, sqrt

import pytest
from builders import RPM, SMALL, Words, a_move, a_plant, a_robot

from simbot.physics import layout as L
from simbot.physics.assumptions import physics_remarks
from simbot.physics.build import Models
from simbot.physics.follows import consequences
from simbot.physics.motion import Circuit
from simbot.physics.statics import steady_speed
from simbot.scenario.errors import ScenarioError
from simbot.scenario.given import position_given, way_given

FAST: Words = {
    "voltage": "12 V", "free_speed": "1150 rpm", "free_current": "0.2 A", "stall_current": "9 A",
    "rotor_inertia": "1e-5 kg*m^2", "internal_ratio": 1, "source": "illustrative",
}  # fmt: skip


def lift(**more: object) -> Words:
    return {
        "kind": "slide", "motors": "2 x coil", "gearing": [{"ratio": "20:1", "efficiency": "90 %"}],
        "drum_diameter": "40 mm", "moving_mass": "2 kg", "friction": "6 N", "travel": ["0 m", "0.7 m"],
        "control": {"loop": "full_effort", "window": "5 mm"}, **more,
    }  # fmt: skip


def test_a_belt_of_one_to_one_changes_no_speed() -> None:
    """1150 rpm through 2:1 and a belt of 1:1 leaves 575 rpm at the wheel."""
    for stages in ([{"ratio": "2:1"}], [{"ratio": "2:1"}, {"ratio": "1:1", "efficiency": "95 %"}]):
        wheel = {"kind": "roller", "motors": "1 x coil", "gearing": stages, "inertia": "1e-4 kg*m^2"}
        robot = a_robot({"it": wheel}, {"coil": FAST}, (12.0, 0.0))
        speed = steady_speed(Models(robot).get("it"), Circuit(robot.battery[0]), 0.0, 1.0)
        assert speed == pytest.approx(575 * RPM, rel=1e-9)


def test_two_hundred_grams_less_are_faster() -> None:
    """Taking 200 g off the moving stages shortens the lift, and by less than in proportion to the mass."""
    took = []
    for mass in ("2 kg", "1.8 kg"):
        plant = a_plant(a_robot({"lift": lift(moving_mass=mass)}, {"coil": SMALL}, (12.5, 0.15)))
        at = a_move(plant, "lift", 0.6).first_inside_us()
        assert at is not None
        took.append(at)
    gain = took[0] - took[1]
    assert 2_000 < gain < 0.1 * took[0]


DRIVE: Words = {
    "kind": "tank", "motors": "4 x coil", "gearing": [{"ratio": "20:1", "efficiency": "90 %"}], "grip": 0.9,
    "wheel_diameter": "100 mm", "wheelbase": "300 mm", "track": "360 mm", "encoder": "28 counts/rev",
}  # fmt: skip
GEARED: Words = {
    "motors": "2 x coil", "gearing": [{"ratio": "20:1", "efficiency": "90 %"}], "encoder": "28 counts/rev",
}  # fmt: skip
ONE_TURN = {  # 560 counts, in what the coordinate measures
    "slide": ({"drum_diameter": "40 mm", "moving_mass": "2 kg", "travel": ["0 m", "0.7 m"]}, pi * 0.04),
    "cascade": (
        {"kind": "slide", "drum_diameter": "40 mm", "moving_mass": ["1 kg"] * 3, "travel": ["0 m", "0.7 m"],
         "rigging": "cascade", "stages": 3},
        3.0 * pi * 0.04,
    ),
    "rack": ({"pinion_diameter": "30 mm", "moving_mass": "2 kg", "travel": ["0 m", "0.3 m"]}, pi * 0.03),
    "lead_screw": (
        {"pitch": "2 mm", "starts": 4, "mean_diameter": "7 mm", "moving_mass": "2 kg", "travel": ["0 m", "0.3 m"]},
        0.008,
    ),
    "arm": ({"moving_mass": "1 kg", "centre": "0.2 m", "travel": ["0 deg", "120 deg"]}, 2.0 * pi),
    "winch": (
        {"drum_diameter": "30 mm", "load_mass": "9 kg", "travel": ["0 m", "0.4 m"]},
        pi * 0.03,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", ONE_TURN)
def test_counts_by_encoder_and_gearing(name: str) -> None:
    """28 counts a turn and 20:1 are 560 a turn of the last shaft; what the motors are built for says the same."""
    keys, way = ONE_TURN[name]
    robot = a_robot({"it": {"kind": name, **GEARED, **keys}}, {"coil": SMALL})
    spec = robot.mechanisms["it"]
    assert float(spec.values["counts"]) == pytest.approx(560 / way)
    assert position_given("--to", "140 counts", spec) == pytest.approx(way / 4)
    row = Models(robot).get("it").groups[0]
    assert float(row[L.G_RATIO]) * 28 / (2 * pi) == pytest.approx(560 / way)
    told = [one.text for one in consequences(robot) if one.key.endswith("encoder")]
    assert len(told) == 1 and "by its encoder and gears" in told[0]


@pytest.mark.parametrize(("kind", "rolls"), [("tank", 1.0), ("mecanum", 1.0), ("x_drive", sqrt(0.5))])
def test_counts_of_a_drive(kind: str, rolls: float) -> None:
    """560 counts a turn of a wheel; X wheels roll 1/sqrt(2) of the way ahead. Its window and gain may be counts."""
    loop = {"loop": "position", "p": "0.002 /counts", "window": "56 counts"}
    robot = a_robot({"it": {**DRIVE, "kind": kind, "control": loop}}, {"coil": SMALL})
    spec, right = robot.mechanisms["it"], 560 * rolls / (pi * 0.1)
    assert way_given("--to", "1120 counts", spec) == pytest.approx(1120 / right)
    assert float(spec.values["control"]["window"]) == pytest.approx(56 / right)
    assert float(spec.values["control"]["p"]) == pytest.approx(0.002 * right)
    assert float(Models(robot).get("it").groups[0, L.G_RATIO]) * 28 / (2 * pi) == pytest.approx(right)


def test_counts_of_a_drive_are_held_against_its_encoder() -> None:
    robot = a_robot({"it": {**DRIVE, "counts": "0.9 counts/mm"}}, {"coil": SMALL})
    (told,) = [one.text for one in physics_remarks(robot) if one.key.endswith("counts")]
    assert "1.7825 counts/mm" in told


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({**DRIVE, "turn": {"p": "0.01 /counts"}}, "turn.p"),  # they measure a way, no angle
        ({"kind": "roller", **GEARED, "inertia": "1e-4 kg*m^2"}, "encoder"),
    ],
)
def test_counts_where_they_say_nothing(given: Words, words: str) -> None:
    with pytest.raises(ScenarioError, match=words):
        a_robot({"it": given}, {"coil": SMALL})


def test_an_encoder_of_a_drum_in_layers_gives_no_counts() -> None:
    keys = {**ONE_TURN["winch"][0], "drum_width": "10 mm", "cord_diameter": "2 mm"}
    robot = a_robot({"it": {"kind": "winch", **GEARED, **keys}}, {"coil": SMALL})
    (told,) = [one for one in physics_remarks(robot) if one.key.endswith("encoder")]
    assert told.kind == "doubt" and "state `counts`" in told.text


def counted(counts: str) -> list[str]:
    robot = a_robot({"lift": lift(encoder="28 counts/rev", counts=counts)}, {"coil": SMALL})
    return [one.text for one in physics_remarks(robot) if one.kind == "doubt" and one.key.endswith("counts")]


def test_counts_that_the_gearing_does_not_give_are_told() -> None:
    """28 counts a turn, 20:1, a drum of 40 mm: 560 counts on 125.66 mm of cord."""
    right = 28 * 20 / (pi * 40.0)
    assert not counted(f"{right:.6f} counts/mm")
    assert not counted(f"{1.04 * right:.6f} counts/mm")
    told = counted(f"{0.5 * right:.6f} counts/mm")
    assert len(told) == 1
    assert (
        "4.4563 counts/mm" in told[0]
        and "is taken here as 2 times the position that the robot would go to" in told[0]
    )
