"""Facts that teams know of their own mechanisms, found in the model. Common practice, no source."""

from __future__ import annotations

from math import pi

import pytest
from builders import RPM, SMALL, Words, a_move, a_plant, a_robot

from simbot.physics.assumptions import physics_remarks
from simbot.physics.build import Models
from simbot.physics.motion import Circuit
from simbot.physics.statics import steady_speed

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
