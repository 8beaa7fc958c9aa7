"""A servo on more volts than its sheet is for is doubted: what feeds it, and by how much."""

import pytest
from builders import a_robot

from simbot.physics.follows import consequences

SHEET = {"speed": "0.12 s/60deg", "stall_torque": "15 kgf*cm", "at": "6 V"}
ALONE = {"kind": "servo", **SHEET, "travel": ["0 deg", "150 deg"]}
CRANK = {
    "kind": "slider_crank", "servo": SHEET, "travel": ["10 deg", "160 deg"], "crank": "20 mm", "coupler": "80 mm",
    "slider_mass": "0.1 kg",
}  # fmt: skip


def doubts(mechanism, volts=12.8, **more):
    robot = a_robot({"it": mechanism}, {}, (volts, 0.15), **more)
    return [each for each in consequences(robot) if each.kind == "doubt"]


@pytest.mark.parametrize(("mechanism", "key"), [(ALONE, "at"), (CRANK, "servo")])
def test_a_servo_without_a_rail_on_a_12_v_battery(mechanism, key):
    (doubt,) = doubts(mechanism)
    assert doubt.key == f"robot.mechanisms.it.{key}"
    assert "straight on the battery: up to 12.8 V, and its sheet is for 6 V" in doubt.text
    assert "2.1 times" in doubt.text and "name its `rail`" in doubt.text


def test_a_rail_of_too_many_volts():
    rails = {"high": {"voltage": "8.4 V", "current_limit": "5 A", "regulator": "switching"}}
    (doubt,) = doubts({**ALONE, "rail": "high"}, rails=rails)
    assert "high feeds it: up to 8.4 V" in doubt.text and "1.4 times" in doubt.text


def test_volts_near_the_sheets_are_no_doubt():
    six = {"r": {"voltage": "6 V", "current_limit": "5 A", "regulator": "switching"}}
    assert not doubts({**ALONE, "rail": "r"}, rails=six)
    assert not doubts(
        {**ALONE, "at": "4.8 V", "rail": "r"}, rails=six
    )  # sheets give 4.8 V and 6 V, from memory
    assert not doubts({**ALONE, "at": "7.4 V"}, volts=8.4)  # two cells, full
    assert not doubts(ALONE, volts=4.0)
