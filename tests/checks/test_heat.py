"""Temperature of a motor: two heat stores against scipy's integrator, the adiabatic closed form and the balance.

Two-body model with a resistance that rises: motor catalogues' usual equations; the numbers are derived for
invented stores of 12 and 120 J/K behind 3 and 8 K/W.
"""

from __future__ import annotations

from math import log, sqrt

import numpy as np
import pytest
from builders import SMALL, a_move, a_plant, a_robot
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from simbot.physics.heat import AIR, RISE_OF_R, HeatModel
from simbot.physics.motor import motor_model
from simbot.physics.move import PushFor

R = 12.0 / 9.2 * 1.01965  # any winding
MODEL = HeatModel(12.0, 120.0, 3.0, 8.0, 125.0, R)


def integrated(model: HeatModel, rises: tuple[float, float], square: float, span: float) -> np.ndarray:
    def rates(_t: float, y: np.ndarray) -> list[float]:
        heat = square * model.resistance * (1.0 + RISE_OF_R * y[0])
        across = (y[0] - y[1]) / model.inner
        return [(heat - across) / model.winding, (across - y[1] / model.outer) / model.case]

    return solve_ivp(rates, (0.0, span), rises, rtol=1e-11, atol=1e-11, method="DOP853").y[:, -1]


@given(st.floats(0.0, 300.0), st.floats(0.01, 200.0), st.floats(0.0, 80.0), st.floats(0.0, 40.0))
def test_against_an_integration(square: float, span: float, winding: float, case: float) -> None:
    if square * R * RISE_OF_R * span / 12.0 > 20.0:
        return  # it has long burnt
    got = MODEL.after((winding, case), square, span)
    assert got == pytest.approx(integrated(MODEL, (winding, case), square, span), rel=1e-7, abs=1e-7)


def test_thirty_watts_for_a_minute() -> None:
    """+76.0698 K and +7.2216 K without the rise of resistance (derived by scipy's matrix exponential)."""
    flat = HeatModel(12.0, 120.0, 3.0, 8.0, 125.0, 1e-9)  # 30 W that hardly depend on temperature
    a = flat.after((0.0, 0.0), 30.0 / 1e-9, 60.0)
    assert integrated(flat, (0.0, 0.0), 30.0 / 1e-9, 60.0) == pytest.approx(a, rel=1e-7)
    matrix = np.array([[-1 / 36.0, 1 / 36.0], [1 / 360.0, -(1 / 3.0 + 1 / 8.0) / 120.0]])
    value, vector = np.linalg.eig(matrix)
    steady = np.linalg.solve(matrix, [-30.0 / 12.0, 0.0])
    rises = steady - (vector @ np.diag(np.exp(60.0 * value)) @ np.linalg.inv(vector)) @ steady
    assert rises == pytest.approx([76.0698, 7.2216], abs=1e-4)


@pytest.mark.parametrize(("magnets", "loss"), [("ferrite", 0.0020), ("neodymium", 0.0011), (None, 0.0)])
def test_magnets_weaken_with_the_case(magnets: str | None, loss: float) -> None:
    """Remanence: ferrite -0.20 %/K, neodymium -0.11 %/K (from memory). A stalled motor heats for 40 s, then moves.

    The speed that it then runs at without load is (V - R I0)/k, with k I0 its friction: R and k as the two stores have
    them after i² t, found by an integration.
    """
    heat = {"winding_to_case": "3 K/W", "case_to_air": "8 K/W", "winding_time": "36 s", "case_time": "90 s"}
    motor = {**SMALL, "heat": {**heat, **({"magnets": magnets} if magnets else {})}}
    rack = {
        "kind": "rack", "motors": "1 x m", "gearing": [], "pinion_diameter": "4 mm", "moving_mass": "10 g",
        "incline": "0 deg", "travel": ["0 m", "40 m"], "control": {"loop": "full_effort", "window": "1 mm"},
    }  # fmt: skip
    plant = a_plant(a_robot({"it": rack}, {"m": motor}, (4.0, 0.0)), 70.0)
    plant.command("it", PushFor(1.0, 0.0, 40_000_000, "brake"))
    plant.advance(40_000_000)
    a_move(plant, "it", 40.0)
    plant.advance(42_000_000)
    sheet = motor_model(a_robot({"it": rack}, {"m": motor}).motors["m"])
    r, k = sheet.resistance, sheet.constant
    model = HeatModel(12.0, 11.25, 3.0, 8.0, 125.0, r)
    squares = (4.0 / r) ** 2  # the stalled current does not follow the resistance until the next command
    winding, case = integrated(model, (0.0, 0.0), squares, 40.0)
    assert case > 10.0
    hot = r * (1.0 + RISE_OF_R * winding)
    weak = k * (1.0 - loss * case)
    speed = (4.0 - sheet.friction / weak * hot) / weak
    assert plant.speed("it") == pytest.approx(speed * 0.002, rel=2e-5)


def test_no_balance_above_the_runaway_current() -> None:
    """i² R a (R12 + R2) = 1: above it held current heats without end (closed form)."""
    critical = 1.0 / sqrt(R * RISE_OF_R * 11.0)
    below = MODEL.after((0.0, 0.0), (0.9 * critical) ** 2, 1e6)
    heat = (0.9 * critical) ** 2 * R
    assert below[0] == pytest.approx(heat * 11.0 / (1.0 - heat * RISE_OF_R * 11.0), rel=1e-6)
    assert MODEL.after((0.0, 0.0), (1.1 * critical) ** 2, 1e4)[0] > 10.0 * below[0]


def test_how_long_a_stalled_motor_lasts() -> None:
    """To 125 degC: 9.2 A held 10.1977 s, on 12 V 16.9559 s, its torque 0.790 of the cold one after 10 s; no balance
    above 4.2112 A. Resistance of the sheet at 20 degC; derived with scipy's integrator.
    """
    cold = 12.0 / 9.2
    warm = cold * (1.0 + 0.00393 * (AIR - 20.0))
    model = HeatModel(12.0, 120.0, 3.0, 8.0, 125.0, warm)
    assert 1.0 / sqrt(cold * 0.00393 * 11.0) == pytest.approx(4.2112, abs=5e-5)
    held = brentq(lambda span: model.after((0.0, 0.0), 9.2**2, span)[0] - 100.0, 1.0, 30.0)
    assert held == pytest.approx(10.1977, abs=5e-5)
    rises, step = [(0.0, 0.0)], 0.002
    while rises[-1][0] < 100.0:
        current = 12.0 / (warm * model.factor(rises[-1][0]))
        rises.append(model.after(rises[-1], current**2, step))
    assert (len(rises) - 1) * step == pytest.approx(16.9559, abs=2.0 * step)
    assert 1.0 / model.factor(rises[round(10.0 / step)][0]) == pytest.approx(0.790, abs=5e-4)


def test_short_spans_are_adiabatic() -> None:
    """C1 T' = i² R (1 + a T): a T = e^(a i² R t/C1) - 1, nothing leaves in 20 ms."""
    rise = MODEL.after((0.0, 0.0), 9.2**2, 0.02)[0]
    exact = (np.expm1(RISE_OF_R * 9.2**2 * R * 0.02 / 12.0)) / RISE_OF_R
    assert rise == pytest.approx(exact, rel=1e-3)
    assert log(MODEL.factor(100.0)) == pytest.approx(
        log(1.0 + 0.00393 * 100.0 / (1.0 + 0.00393 * (AIR - 20.0)))
    )
