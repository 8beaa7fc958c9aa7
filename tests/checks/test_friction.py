"""Friction, rest, locking gears and stops: what must stand still stands still, to the last bit. Derived."""

from __future__ import annotations

from math import exp, log

import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot, winding

from simbot.physics import layout as L
from simbot.physics.move import PushFor


def slide(**more: object) -> Words:
    return {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "100 %"}],
        "drum_diameter": "40 mm", "moving_mass": "3.2 kg", "friction": "0 N", "travel": ["-2 m", "2 m"],
        "control": {"loop": "full_effort", "window": "3 m", "after": "coast"}, **more,
    }  # fmt: skip


def test_it_comes_to_rest_where_its_friction_outweighs_what_pulls() -> None:
    """2 kg, 5 N of friction: +12 N for 0.5 s, then -4 N: at rest for good from 0.888889 s, at 0.777778 m (closed form).

    A motor that hardly feels its speed: at free speed it would go 10 000 m/s, which leaves 2e-4 of its force to that.
    """
    push, pull, rub, mass = 12.0, 4.0, 5.0, 2.0
    v = (push - rub) / mass * 0.5
    time, way = 0.5 + v * mass / (pull + rub), 0.5 * v * 0.5 + 0.5 * v**2 * mass / (pull + rub)
    assert (time, way) == pytest.approx((0.888889, 0.777778), abs=6e-7)
    reach = slide(incline="0 deg", moving_mass="2 kg", friction="5 N", travel=["-1 m", "2 m"])
    reach["gearing"] = [{"ratio": 0.04, "efficiency": "100 %"}]
    strong = winding(1.2e-3, 6e-4, 0.0)  # 12 V: 6 N m, and 12 N through 0.04 turns per 20 mm
    plant = a_plant(a_robot({"reach": reach}, {"coil": strong}), seconds=3.0, reach=0.0)
    plant.command("reach", PushFor(1.0, 2.0, 500_000, "brake"))
    plant.advance(500_000)
    plant.command("reach", PushFor(1.0 / 3.0, -1.0, 2_000_000, "brake"))
    plant.advance(3_000_000)
    assert plant.position("reach") == pytest.approx(way, rel=3e-4)
    assert plant.speed("reach", round(time * 1e6) - 300) > 0.0
    assert plant.speed("reach", round(time * 1e6) + 300) == 0.0
    assert plant.speed("reach", 2_400_000) == 0.0


def test_coasting_to_rest() -> None:
    """26.5 kg, 3 N s/m, 8 N at 0.6 m/s: at rest after 1.792644 s and 0.519616 m, and for good."""
    mass, damping, drag, speed = 26.5, 3.0, 8.0, 0.6
    time = mass / damping * log(1.0 + damping * speed / drag)
    way = mass / damping * (speed - drag / damping * log(1.0 + damping * speed / drag))
    assert (time, way) == pytest.approx((1.792644, 0.519616), abs=6e-7)
    reach = slide(incline="0 deg", moving_mass="26.5 kg", damping="3 N*s/m", friction="8 N")
    plant = a_plant(a_robot({"reach": reach}, {"coil": winding(1.0, 0.02, 0.0)}), seconds=4.0, reach=0.0)
    plant.advance(20_000)
    w, m = plant.arrays.w, plant.arrays.at["reach"]
    w[m + L.SPEED], w[L.DIRTY] = speed, 1.0
    plant.advance(4_000_000)
    assert plant.position("reach") == pytest.approx(way, abs=2e-6)
    assert plant.speed("reach") == 0.0
    stopped = 20_000 + round(time * 1e6)
    assert plant.speed("reach", stopped - 100) == pytest.approx(drag / mass * 1e-4, rel=0.05)
    assert plant.speed("reach", stopped + 5) == 0.0


def test_held_by_friction_it_does_not_creep() -> None:
    """A slide of 3.2 kg on 40 N of friction at 31.4 N: not a micrometre in 10 s."""
    plant = a_plant(a_robot({"lift": slide(friction="40 N")}, {"coil": SMALL}), lift=0.5)
    plant.advance(10_000_000)
    assert 3.2 * G < 40.0
    assert plant.position("lift") == 0.5


@pytest.mark.parametrize(("share", "moves"), [(0.99, False), (1.01, True)])
def test_breaking_loose(share: float, moves: bool) -> None:
    """Friction at rest 1.5 times the sliding one: it is that which a push has to overcome, then it runs away."""
    static = 1.5 * 10.0
    volts = share * static / (1000.0 * 0.02) * 1.0  # 1000 rad/m, k 0.02, 1 ohm
    reach = slide(incline="0 deg", friction="10 N", static_friction=1.5)
    plant = a_plant(a_robot({"reach": reach}, {"coil": winding(1.0, 0.02, 1e-6)}, (volts, 0.0)), reach=0.0)
    plant.command("reach", PushFor(1.0, 1.0, 200_000))
    plant.advance(200_000)
    assert (plant.position("reach") > 0.0) is moves
    if moves:
        net, drag, mass = share * static - 10.0, (1000.0 * 0.02) ** 2 / 1.0, 3.2 + 1e6 * 1e-6
        assert plant.speed("reach", 1000) == pytest.approx(
            net / drag * (1.0 - exp(-drag / mass * 1e-3)), rel=1e-5
        )


@pytest.mark.parametrize(("efficiency", "holds"), [("45 %", True), ("80 %", False)])
def test_gears_that_lock_hold_without_effort(efficiency: str, holds: bool) -> None:
    """At 50 % and below a load cannot drive its motor back; above, it sinks, the motor open."""
    lift = slide(gearing=[{"ratio": 20, "efficiency": efficiency}])
    plant = a_plant(a_robot({"lift": lift}, {"coil": SMALL}), lift=0.5)
    plant.advance(2_000_000)
    assert (plant.position("lift") == 0.5) is holds


def test_stop_takes_all_motion() -> None:
    """Against its stop it rests, its motor stalled: the battery pays V²/R for as long."""
    lift = slide(control={"loop": "full_effort", "window": "1 mm", "after": "100 %"}, travel=["0 m", "0.3 m"])
    plant = a_plant(a_robot({"lift": lift}, {"coil": SMALL}, (12.0, 0.0)), lift=0.0)
    a_move(plant, "lift", 0.3)
    plant.advance(2_000_000)
    assert plant.position("lift") == 0.3 and plant.speed("lift") == 0.0
    before = plant.energy()
    plant.advance(3_000_000)
    assert plant.energy() - before == pytest.approx(12.0 * 9.2, rel=1e-9)
