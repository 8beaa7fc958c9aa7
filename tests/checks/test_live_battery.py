"""A battery whose voltage sinks with time and charge, and what currents heat, against an integration of its own.

The law (textbook equivalent circuit: one resistor at once, one resistor with a capacitor): V = E - Vc - R0 I,
Vc' = (R1 I - Vc)/tau, E falls in proportion to the charge taken.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders import LARGE, SMALL, G, a_move, a_plant, a_robot, seconds
from scipy.integrate import quad_vec, solve_ivp
from scipy.linalg import expm

from simbot.physics import layout as L
from simbot.physics.move import PushFor
from simbot.physics.plant import Plant
from simbot.scenario.model import BatteryState, Fuse, Robot

E, R0, R1, TAU = 13.2, 0.10, 0.05, 20.0
CAPACITY, FALLS = 3000.0, 40.0  # C, V: far steeper than any, to be seen
R = 12.0 / 9.2
K = (12.0 - 0.25 * R) / (5800 * 2 * np.pi / 60)
RATIO, DRUM, MASS, FRICTION, ETA = 20.0, 0.02, 4.0, 6.0, 0.9
SLIDE = {
    "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": RATIO, "efficiency": "90 %"}],
    "drum_diameter": "40 mm", "moving_mass": f"{MASS} kg", "friction": f"{FRICTION} N", "travel": ["0 m", "0.9 m"],
    "control": {"loop": "full_effort", "window": "5 mm"},
}  # fmt: skip
FUSE = Fuse(500.0, 2.0, 0)  # never opens: heat is integrated where something asks for it
LIVE = BatteryState("live", E, R0, 0, R1, TAU, CAPACITY, FALLS)


def robot() -> Robot:
    made = a_robot({"lift": SLIDE}, {"coil": SMALL}, (E, R0))
    return replace(made, battery=(LIVE,), fuse=FUSE)


def rising(t: float, y: np.ndarray) -> np.ndarray:
    """q, v, polarisation, charge, energy, integral of i²; lifting at full effort."""
    _, v, vc, charge, _, _ = y
    g = RATIO / DRUM
    emf = K * g * v
    i = (E - FALLS * charge / CAPACITY - vc - emf) / (R + R0)
    friction = K * 0.25
    torque = K * i - friction
    mass = MASS + 1e-5 * g**2 * ETA
    force = ETA * g * torque - MASS * G - FRICTION
    volts = E - FALLS * charge / CAPACITY - vc - R0 * i
    return np.array([v, force / mass, (R1 * i - vc) / TAU, i, volts * i, i * i])


def test_a_lift_on_a_sinking_battery() -> None:
    plant = a_plant(robot())
    move = a_move(plant, "lift", 0.8)
    plant.advance(3_000_000)

    def there(_t: float, y: np.ndarray) -> float:
        return float(y[0] - 0.795)

    there.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(rising, (0.0, 5.0), np.zeros(6), rtol=1e-11, atol=1e-13, events=there, method="DOP853")
    assert seconds(move.first_inside_us()) == pytest.approx(found.t_events[0][0], abs=2e-6)
    stiff = a_plant(replace(robot(), battery=(BatteryState("stiff", E, R0, 0),)))
    assert seconds(a_move(stiff, "lift", 0.8).first_inside_us()) < found.t_events[0][0] - 0.005

    again = a_plant(robot())
    a_move(again, "lift", 0.8)
    again.advance(500_000)
    half = solve_ivp(rising, (0.0, 0.5), np.zeros(6), rtol=1e-11, atol=1e-13, method="DOP853").y[:, -1]
    assert again.energy() == pytest.approx(half[4], rel=1e-7)
    assert again.currents()[1] * 0.5 == pytest.approx(half[3], rel=1e-7)
    row = again._log[again._rows - 1]
    assert row[L.LOG_MECH + L.LOG_HEATS] == pytest.approx(half[5], rel=1e-6)
    assert row[L.LOG_SQUARED] == pytest.approx(half[5], rel=1e-6)
    assert row[L.LOG_MECH + L.LOG_AMPS1] == pytest.approx(rising(0.5, half)[3], rel=1e-7)


def test_splitting_a_run_on_a_sinking_battery_moves_nothing() -> None:
    whole, split = a_plant(robot()), a_plant(robot())
    first, second = a_move(whole, "lift", 0.8), a_move(split, "lift", 0.8)
    whole.advance(3_000_000)
    for at_us in range(7_321, 3_000_000, 7_321):
        split.advance(at_us)
    split.advance(3_000_000)
    one, two = first.first_inside_us(), second.first_inside_us()
    assert one is not None and two is not None and abs(one - two) <= 1
    assert whole.energy() == pytest.approx(split.energy(), rel=1e-8)


def pushing(seconds_held: float) -> Plant:
    """A lift that pushes against the top of its travel with 30 % effort for 15 s: nothing moves."""
    made = replace(
        a_robot({"lift": SLIDE}, {"coil": SMALL}, (E, R0)), battery=(replace(LIVE, falls=0.0),), fuse=FUSE
    )
    plant = a_plant(made, lift=0.9)
    plant.command("lift", PushFor(0.3, 0.9, 15_000_000))
    plant.advance(round(seconds_held * 1e6))
    return plant


def test_the_battery_sinks_and_recovers_while_nothing_moves() -> None:
    """At rest the circuit is linear: its exponential, by scipy's matrix function."""
    duty = 0.3
    plant = pushing(15.0)
    row = plant._log[plant._rows - 1]
    assert row[L.LOG_MECH + L.LOG_SPEED1] == 0.0
    load = R / duty**2  # what a stalled motor at this duty looks like from the bus
    slope = -(1.0 + R1 / (R0 + load)) / TAU
    step = np.array([[slope, R1 * E / (R0 + load) / TAU], [0.0, 0.0]])
    vc = (expm(15.0 * step) @ np.array([0.0, 1.0]))[0]
    volts = (E - vc) * load / (R0 + load)
    assert row[L.LOG_V1] == pytest.approx(volts, rel=1e-8)

    def current(t: float) -> float:
        return float((E - (expm(t * step) @ np.array([0.0, 1.0]))[0]) / (R0 + load))

    charge = quad_vec(current, 0.0, 15.0, epsrel=1e-11)[0]
    assert row[L.LOG_CHARGE] == pytest.approx(charge, rel=1e-7)
    assert row[L.LOG_MECH + L.LOG_HEATS] == pytest.approx(
        quad_vec(lambda t: (current(t) / duty) ** 2, 0.0, 15.0, epsrel=1e-11)[0], rel=1e-7
    )
    plant = pushing(19.0)  # it has let go at 15 s, and falls to its brake's slow sinking
    assert 0.0 < plant.arrays.w[L.VRC] < vc


def test_fifteen_amps_for_ten_seconds() -> None:
    """13.2 V behind 0.10 and 0.05 ohm, 20 s: 11.7 V at once, 13.2 - 15 (0.1 + 0.05 (1 - e^-0.5)) after 10 s.

    A stalled motor that its controller holds to 15 A from the battery.
    """
    slide = {**SLIDE, "motors": "1 x big", "battery_current_limit": "15 A"}
    made = a_robot({"lift": slide}, {"big": LARGE}, (E, R0))
    plant = a_plant(replace(made, battery=(replace(LIVE, falls=0.0),)), lift=0.9)
    plant.command("lift", PushFor(1.0, 0.9, 12_000_000))
    plant.advance(1_000)
    assert plant._log[plant._rows - 1, L.LOG_V0] == pytest.approx(11.7, abs=1e-4)
    plant.advance(10_000_000)
    row = plant._log[plant._rows - 1]
    assert row[L.LOG_V1] == pytest.approx(11.404898, abs=1e-6)
    assert row[L.LOG_I1] == pytest.approx(15.0, rel=1e-9)
