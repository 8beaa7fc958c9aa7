"""How many mechanisms there is room for in the kernel's lists of what moves."""

from __future__ import annotations

import pytest
from builders import SMALL, Words, a_plant, a_robot

from simbot.physics import layout as L
from simbot.physics.move import PushFor
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Pose
from simbot.scenario.robot_file import MOST

LIFT: Words = {
    "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "90 %"}],
    "drum_diameter": "40 mm", "moving_mass": "1 kg", "friction": "6 N", "travel": ["0 m", "0.9 m"], "cord": "pulls",
    "control": {"loop": "full_effort", "window": "5 mm"},
}  # fmt: skip
DRIVE: Words = {
    "kind": "mecanum", "motors": "4 x coil", "gearing": [{"ratio": 15, "efficiency": "90 %"}],
    "wheel_diameter": "96 mm", "track": "300 mm", "wheelbase": "300 mm", "centre_height": "100 mm", "grip": 0.8,
    "friction": "5 N",
}  # fmt: skip


def many(count: int) -> Words:
    """Lifts that all let their cords hang, and a drive whose wheels may all slide."""
    return {"drive": DRIVE, **{f"lift{number}": LIFT for number in range(1, count)}}


def test_as_many_as_may_be_fit_with_all_their_rotors() -> None:
    robot = a_robot(many(MOST), {"coil": SMALL}, (13.0, 1e-3))
    lifts = [name for name in robot.mechanisms if name != "drive"]
    plant = a_plant(robot, 1.0, pose=Pose(1.0, 1.0, 0.0), **dict.fromkeys(lifts, 0.8))
    assert plant.arrays.w[L.N_MECH] + plant.arrays.w[L.N_ROTOR] <= L.MAX_MECH
    for name in lifts:
        plant.command(name, PushFor(1.0, 0.0, 200_000))
    plant.advance(150_000)
    assert plant.arrays.w[L.N_LIVE] == 2 * len(lifts)
    assert len({float(plant.position(name)) for name in lifts}) == 1
    assert all(plant.arrays.is_apart(name) for name in lifts)


def test_more_are_refused() -> None:
    with pytest.raises(ScenarioError) as raised:
        a_robot(many(MOST + 1), {"coil": SMALL})
    assert f"at most {MOST}" in str(raised.value)
