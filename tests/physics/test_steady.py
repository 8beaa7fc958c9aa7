"""What turns at a constant effort and has its speed costs nothing more, and stands in nobody's way."""

from __future__ import annotations

import sys
from math import pi
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "checks"))
from builders import SMALL, a_move, a_plant, a_robot

from simbot.physics.motor import completed_sheet, motor_model
from simbot.physics.move import GoTo, Spin

WHEEL = {"kind": "roller", "motors": "1 x coil", "gearing": [{"ratio": 3}], "inertia": "1e-4 kg*m^2"}
SLIDE = {
    "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20}], "drum_diameter": "40 mm", "moving_mass": "1 kg",
    "friction": "4 N", "incline": "0 deg", "travel": ["0 m", "0.6 m"],
    "control": {"loop": "full_effort", "window": "5 mm"},
}  # fmt: skip


def test_a_steady_wheel_takes_few_steps_and_its_speed_is_that_of_the_circuit() -> None:
    """Without friction of its own: i = (V - k w)/R carries the motor's torque alone, V = E - R0 i."""
    robot = a_robot({"wheel": WHEEL}, {"coil": SMALL}, (12.6, 0.2))
    plant = a_plant(robot)
    plant.command("wheel", Spin(1.0))
    plant.advance(10_000_000)
    rows = plant._rows
    plant.advance(50_000_000)
    assert plant._rows - rows < 5
    motor = motor_model(completed_sheet(robot.motors["coil"])[0])
    current = motor.friction / motor.constant
    turns = (12.6 - (0.2 + motor.resistance) * current) / motor.constant / 3.0
    assert plant.speed("wheel") == pytest.approx(turns, rel=1e-7)
    turned = float(plant.position("wheel")) - float(plant.position("wheel", 10_000_000))
    assert turned == pytest.approx(40.0 * turns, rel=1e-7)
    assert turned > 2.0 * pi


def test_an_arrival_beside_it_is_known_without_running_to_the_end() -> None:
    plant = a_plant(a_robot({"wheel": WHEEL, "lift": SLIDE}, {"coil": SMALL}, (12.6, 0.2)), lift=0.0)
    plant.command("wheel", Spin(1.0))
    plant.advance(4_000_000)
    lift = a_move(plant, "lift", 0.4)
    arrival = lift.arrival_us()
    assert arrival is not None
    assert plant._covered_us() < 0.6 * plant.horizon_us
    plant.command("lift", GoTo(0.4))
    plant.advance(plant.horizon_us)
    assert plant.inside_since("lift", 0.4, 0.005, None, plant.horizon_us) == arrival
