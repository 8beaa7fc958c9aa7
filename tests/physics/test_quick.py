"""The short way to accelerations gives what the full evaluation gives.

A servo that moves on the battery itself has everything evaluated in full; without resistance nobody feels it.
"""

from __future__ import annotations

import sys
from math import pi, radians
from pathlib import Path
from typing import Any

import pytest

sys.path.append(str(Path(__file__).parents[1] / "checks"))
from builders import SMALL, Words, a_move, a_plant, a_robot

from simbot.physics import layout as L
from simbot.physics.bus import evaluate
from simbot.physics.compiled import entry
from simbot.physics.move import DriveTo, GoTo, PushFor, Spin
from simbot.physics.quick import quick_rates
from simbot.scenario.model import Pose


@entry
def rates(w: Any, tab: Any, short: bool) -> Any:
    """Accelerations at the trial state, the one way or the other."""
    if short:
        quick_rates(w, tab)
    else:
        evaluate(w, tab)


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
SERVO = {
    "kind": "servo", "speed": "2 s/60deg", "stall_torque": "1 N*m", "at": "6 V", "travel": ["0 deg", "120 deg"],
    "range": "300 deg", "window": "2 deg",
}  # fmt: skip
MECANUM = {
    "kind": "mecanum", "motors": "4 x coil", "gearing": [{"ratio": 20}], "wheel_diameter": "100 mm",
    "wheelbase": "300 mm", "track": "300 mm", "grip": 1.0, "friction": "8 N",
    "control": {"loop": "full_effort", "effort": "40 %", "window": "20 mm"},
}  # fmt: skip


@pytest.mark.parametrize(
    ("mechanism", "start", "target"),
    [(ARM, -25.0, 150.0), (ARM, 150.0, -20.0), (LINKAGE, 55.0, 150.0), (LINKAGE, 150.0, 55.0)],
)
def test_alone_and_beside_a_servo(mechanism: Words, start: float, target: float) -> None:
    arrivals, places = [], []
    for beside in (False, True):
        robot = a_robot({"it": mechanism, "servo": SERVO}, {"coil": SMALL}, (12.6, 0.0))
        plant = a_plant(robot, it=radians(start), servo=0.0)
        if beside:
            plant.command("servo", GoTo(2.0))
        move = a_move(plant, "it", radians(target))
        plant.advance(100_000)
        quick, series = plant.arrays.w[L.QUICK], plant.arrays.w[L.STRAIGHT]
        if mechanism is LINKAGE:
            assert (quick == 1.0) == (not beside)
        elif not beside:
            assert quick + series == 1.0  # an arm's is a series where that gets far enough
        arrivals.append(move.first_inside_us())
        places.append(float(plant.position("it", 100_000)))
    assert arrivals[0] is not None and arrivals[1] is not None
    assert abs(arrivals[0] - arrivals[1]) <= 1
    assert places[0] == pytest.approx(places[1], abs=1e-7 * pi)


@pytest.mark.parametrize("fed", [{}, {"rail": "rail"}])
def test_every_rate_of_many_that_move(fed: Words) -> None:
    """Tables, two groups on one mechanism, gears driven back, a wheel, a servo that holds or moves: to rounding."""
    mechanisms = {
        "arm": ARM, "linkage": LINKAGE, "wheel": WHEEL, "drive": MECANUM, "servo": {**SERVO, **fed},
    }  # fmt: skip
    rails = {"rail": {"voltage": "5 V", "current_limit": "5 A", "regulator": "switching"}}
    robot = a_robot(mechanisms, {"coil": SMALL}, (12.6, 0.1), rails=rails)
    plant = a_plant(robot, arm=radians(150.0), linkage=radians(55.0), servo=0.5)
    plant.command("wheel", Spin(1.0))
    plant.command("arm", GoTo(radians(-20.0)))
    plant.command("linkage", GoTo(radians(150.0)))
    plant.command("drive", DriveTo(Pose(1.0, 0.3, 0.0)))
    if fed:
        plant.command("servo", GoTo(1.9))
    for at_us in range(30_000, 400_000, 37_000):
        plant.advance(at_us)
        w, tab = plant.arrays.w.copy(), plant.arrays.tab
        live = [int(m) for m in w[L.LIVE : L.LIVE + int(w[L.N_LIVE])]]
        assert w[L.QUICK] == 1.0 and len(live) == 4 + len(fed)
        for m in live:
            w[m + L.Q_NEXT], w[m + L.V_NEXT] = w[m + L.Q] * 0.99, w[m + L.SPEED] * 1.02
        in_full, short = w.copy(), w.copy()
        rates(in_full, tab, False)
        rates(short, tab, True)
        for at in (L.V, L.I, *(m + L.A_NEXT for m in live)):
            assert short[at] == pytest.approx(in_full[at], rel=1e-12, abs=1e-11)


@pytest.mark.parametrize(
    ("mechanism", "start", "target", "way"),
    [(ARM, -25.0, 150.0, L.STRAIGHT), (LINKAGE, 55.0, 150.0, L.QUICK)],
)
def test_a_resting_neighbour_that_draws_counts(
    mechanism: Words, start: float, target: float, way: int
) -> None:
    """A stalled winch on the same battery, held by friction or by its load: what moves is as slow."""
    arrivals = []
    for load, friction in (("0 N", "5000 N"), ("4000 N", "40 N")):
        stalled = {"kind": "winch", "motors": "1 x coil", "gearing": [{"ratio": 5}], "drum_diameter": "40 mm",
                   "load": load, "friction": friction, "travel": ["0 m", "1 m"]}  # fmt: skip
        robot = a_robot({"it": mechanism, "winch": stalled}, {"coil": SMALL}, (12.6, 0.2))
        plant = a_plant(robot, it=radians(start), winch=0.0)
        plant.command("winch", PushFor(1.0, 1.0, 5_000_000))
        arrivals.append(a_move(plant, "it", radians(target)).first_inside_us())
        plant.advance(100_000)
        assert plant.arrays.w[way] == 1.0
    alone = a_plant(a_robot({"it": mechanism}, {"coil": SMALL}, (12.6, 0.2)), it=radians(start))
    free = a_move(alone, "it", radians(target)).first_inside_us()
    assert arrivals[0] == arrivals[1] is not None and free is not None
    assert arrivals[0] > 1.05 * free
