"""Control loops: a position loop on a motor that lags, seen at ticks, and how efforts are held between them.

Derived; the same loop is integrated here at a fine step, its output held between ticks.
"""

from __future__ import annotations

from math import exp

import numpy as np
import pytest
from builders import Words, a_move, a_plant, a_robot, winding
from scipy.integrate import solve_ivp

VF, TAU = 0.6, 0.05  # free speed [m/s] and time constant of the slide [s]
R, K, DRUM = 0.5, 0.02, 0.04
RATIO = 12.0 / K / VF * DRUM / 2.0  # rad/rad
GEAR = RATIO / (DRUM / 2.0)
MASS = TAU * (GEAR * K) ** 2 / R


def slide(loop: Words) -> Words:
    return {
        "kind": "slide", "incline": "0 deg", "motors": "1 x coil", "drum_diameter": f"{DRUM} m",
        "gearing": [{"ratio": RATIO, "efficiency": "100 %"}], "moving_mass": f"{MASS!r} kg", "friction": "0 N",
        "travel": ["-1 m", "2 m"], "control": loop,
    }  # fmt: skip


def held(
    period: float, p: float, d: float, goal: float, until: float, latency: float = 0.0
) -> list[tuple[float, float]]:
    """Position and speed at every tick of x' = v, v' = (u vf - v)/tau with u decided on ticks: exact steps."""
    x, v, u, out = 0.0, 0.0, 0.0, []
    decided = 0.0

    def step(t: float) -> None:
        nonlocal x, v
        x += u * VF * t + (v - u * VF) * TAU * (1.0 - exp(-t / TAU))
        v = u * VF + (v - u * VF) * exp(-t / TAU)

    for _ in range(round(until / period) + 1):
        out.append((x, v))
        decided = float(np.clip(p * (goal - x) - d * v, -1.0, 1.0))
        if latency > 0.0:
            step(latency)
        u = decided
        step(period - latency)
    return out


@pytest.mark.parametrize("period", [0.005, 0.020, 0.050])
@pytest.mark.parametrize(("d", "latency"), [(0.0, 0.0), (0.3, 0.0), (0.0, 0.004)])
def test_position_loop_at_its_ticks(period: float, d: float, latency: float) -> None:
    """Proportional band of 60 mm, 0.75 m to go: the state at each tick to a micrometre."""
    loop = {
        "loop": "position",
        "p": f"{1 / 0.06!r} /m",
        "d": f"{d} s/m",
        "window": "10 mm",
        "latency": f"{latency} s",
    }
    robot = a_robot({"reach": slide(loop)}, {"coil": winding(R, K, 0.0)}, loop=f"{1000 * period} ms")
    plant = a_plant(robot, tolerance=1e-9, reach=0.0)
    a_move(plant, "reach", 0.75)
    plant.advance(2_000_000)
    right = held(period, 1 / 0.06, d, 0.75, 1.9, latency)
    for n in range(1, len(right), 3):
        us = round(n * period * 1e6)
        assert plant.position("reach", us) == pytest.approx(right[n][0], abs=1e-6)
        assert plant.speed("reach", us) == pytest.approx(right[n][1], abs=1e-5)


def test_a_fast_loop_is_a_continuous_one() -> None:
    """Continuous, the window of 10 mm is entered at 1.30658 s and overshot by 4.02 mm; 1 ms ticks come close."""
    own = solve_ivp(
        lambda _t, y: [y[1], (np.clip((0.75 - y[0]) / 0.06, -1, 1) * VF - y[1]) / TAU], (0, 3), [0, 0],
        rtol=1e-9, atol=1e-10, max_step=0.01, dense_output=True,
    )  # fmt: skip
    times = np.linspace(0, 3, 300001)
    path = own.sol(times)[0]
    enters, over = float(times[np.argmax(path > 0.74)]), float(path.max() - 0.75)
    assert enters == pytest.approx(1.30658, abs=2e-5)
    assert over == pytest.approx(4.02e-3, abs=1e-5)
    loop = {"loop": "position", "p": f"{1 / 0.06!r} /m", "window": "10 mm"}
    plant = a_plant(a_robot({"reach": slide(loop)}, {"coil": winding(R, K, 0.0)}, loop="1 ms"), reach=0.0)
    move = a_move(plant, "reach", 0.75)
    assert move.first_inside_us() == pytest.approx(enters * 1e6, abs=600)  # half a tick late on average
    plant.advance(3_000_000)
    top = max(float(plant.position("reach", us)) for us in range(1_300_000, 2_000_000, 1000)) - 0.75
    assert top == pytest.approx(over, rel=0.03)


def test_overshoot_of_full_effort() -> None:
    """Full effort until the window is seen, then shorted: it goes on for v tau and what the tick came late."""
    loop = {"loop": "full_effort", "window": "30 mm"}
    plant = a_plant(a_robot({"reach": slide(loop)}, {"coil": winding(R, K, 0.0)}), reach=0.0)
    a_move(plant, "reach", 0.75)
    plant.advance(2_500_000)
    seen = next(n for n in range(1, 200) if VF * (0.02 * n - TAU * (1 - exp(-0.02 * n / TAU))) >= 0.72) * 0.02
    v = VF * (1 - exp(-seen / TAU))
    where = VF * (seen - TAU * (1 - exp(-seen / TAU)))
    assert plant.position("reach") == pytest.approx(where + v * TAU, abs=2e-6)


def test_integral_waits_while_saturated() -> None:
    """An integral that ran on under full effort would overshoot by centimetres; frozen it ends on the target."""
    loop = {"loop": "position", "p": "12 /m", "i": "6 /m/s", "window": "5 mm"}
    plant = a_plant(a_robot({"reach": slide(loop)}, {"coil": winding(R, K, 0.0)}), reach=0.0)
    a_move(plant, "reach", 0.75)
    plant.advance(8_000_000)
    top = max(float(plant.position("reach", us)) for us in range(0, 8_000_000, 10_000))
    assert top < 0.75 + 0.02
    assert plant.position("reach") == pytest.approx(0.75, abs=1e-3)
