"""The short way to one mechanism's acceleration gives what the full evaluation gives.

It is taken where a mechanism moves alone; beside another one, on a battery without resistance, everything is evaluated
in full and the two do not feel each other.
"""

from __future__ import annotations

import sys
from math import pi, radians
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "checks"))
from builders import SMALL, Words, a_move, a_plant, a_robot

from simbot.physics import layout as L
from simbot.physics.move import PushFor, Spin

GEARS = [{"ratio": 60, "efficiency": "85 %"}]
ARM = {
    "kind": "arm", "motors": "2 x coil", "gearing": GEARS, "moving_mass": "1.5 kg", "centre": "0.25 m",
    "friction": "0.2 N*m", "damping": "0.05 N*m*s/rad", "travel": ["-30 deg", "170 deg"],
    "control": {"loop": "full_effort", "window": "2 deg", "effort": "80 %"},
}  # fmt: skip
LINKAGE = {
    "kind": "four_bar", "motors": "1 x coil", "gearing": GEARS, "ground": "100 mm", "crank": "250 mm",
    "coupler": "110 mm", "rocker": "255 mm", "friction": "0.1 N*m", "travel": ["50 deg", "160 deg"],
    "parts": [{"link": "coupler", "mass": "0.6 kg"}, {"link": "crank", "mass": "0.3 kg"}],
    "control": {"loop": "full_effort", "window": "2 deg"},
}  # fmt: skip
WHEEL = {"kind": "roller", "motors": "1 x coil", "gearing": [{"ratio": 3}], "inertia": "1e-3 kg*m^2"}


@pytest.mark.parametrize(
    ("mechanism", "start", "target"),
    [(ARM, -25.0, 150.0), (ARM, 150.0, -20.0), (LINKAGE, 55.0, 150.0), (LINKAGE, 150.0, 55.0)],
)
def test_alone_and_beside_another(mechanism: Words, start: float, target: float) -> None:
    arrivals, places = [], []
    for beside in (False, True):
        robot = a_robot({"it": mechanism, "wheel": WHEEL}, {"coil": SMALL}, (12.6, 0.0))
        plant = a_plant(robot, it=radians(start))
        if beside:
            plant.command("wheel", Spin(1.0))
        move = a_move(plant, "it", radians(target))
        plant.advance(100_000)
        assert (plant.arrays.w[L.QUICK] == 1.0) != beside
        arrivals.append(move.first_inside_us())
        places.append(float(plant.position("it", 100_000)))
    assert arrivals[0] is not None and arrivals[1] is not None
    assert abs(arrivals[0] - arrivals[1]) <= 1
    assert places[0] == pytest.approx(places[1], abs=1e-7 * pi)


def test_a_resting_neighbour_that_draws_counts() -> None:
    """A stalled winch on the same battery, held by friction or by its load: the arm is as slow."""
    arrivals = []
    for load, friction in (("0 N", "5000 N"), ("4000 N", "40 N")):
        stalled = {"kind": "winch", "motors": "1 x coil", "gearing": [{"ratio": 5}], "drum_diameter": "40 mm",
                   "load": load, "friction": friction, "travel": ["0 m", "1 m"]}  # fmt: skip
        robot = a_robot({"it": ARM, "winch": stalled}, {"coil": SMALL}, (12.6, 0.2))
        plant = a_plant(robot, it=radians(-25.0), winch=0.0)
        plant.command("winch", PushFor(1.0, 1.0, 5_000_000))
        arrivals.append(a_move(plant, "it", radians(150.0)).first_inside_us())
        plant.advance(100_000)
        assert plant.arrays.w[L.QUICK] == 1.0
    alone = a_plant(a_robot({"it": ARM}, {"coil": SMALL}, (12.6, 0.2)), it=radians(-25.0))
    free = a_move(alone, "it", radians(150.0)).first_inside_us()
    assert arrivals[0] == arrivals[1] is not None and free is not None
    assert arrivals[0] > 1.05 * free
