"""Kinds that aim, lift a robot, hold an element or spin, against closed forms and an independent integrator."""

from __future__ import annotations

from math import radians, sin
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builders import G, Words, a_move, a_plant, a_robot, seconds, winding
from scipy.integrate import solve_ivp

from simbot.physics.kinds import KINDS, turret
from simbot.physics.plant import PushFor
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import load_plan
from simbot.scenario.parameters import Quantity

R, K, J = 1.3, 0.02, 1.2e-5  # ohm, N m/A, kg m²: an invented winding without friction
MOTOR = winding(R, K, J)
YARD = Path(__file__).parents[2] / "scenarios" / "mechanisms"
TURRET: Words = {
    "kind": "turret", "motors": "1 x m", "gearing": [{"ratio": "60:1", "efficiency": "100 %"}],
    "inertia": "0.1 kg*m^2", "off_axis_mass": "1.2 kg", "off_axis": "0.15 m", "off_axis_angle": "20 deg",
    "travel": ["-200 deg", "200 deg"], "control": {"loop": "full_effort", "window": "2 deg"},
}  # fmt: skip


def crossing(rates: Any, start: list[float], at: float) -> float:
    """Time at which the first component reaches a value, by an integrator of its own [s]."""

    def hit(_: float, y: Any) -> float:
        return float(y[0] - at)

    hit.terminal = True  # type: ignore[attr-defined]
    return float(solve_ivp(rates, (0.0, 20.0), start, events=hit, rtol=1e-10, atol=1e-12).t_events[0][0])


# --- turret -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "sent", "travels"),
    [
        (190.0, -150.0, -340.0),  # 210 is outside: it unwinds
        (100.0, -150.0, -250.0),
        (0.0, 190.0, -170.0),  # the same direction, nearer the other way round
        (170.0, 190.0, 20.0),
        (-100.0, 350.0, 90.0),  # only whole turns away is 350 inside
        (100.0, -160.0, 100.0),  # the end itself, 200
    ],
)
def test_a_turret_takes_the_nearest_turn_that_its_wires_allow(
    start: float, sent: float, travels: float
) -> None:
    plant = a_plant(a_robot({"it": TURRET}, {"m": MOTOR}), 5.0, it=radians(start))
    move = a_move(plant, "it", radians(sent))
    assert move.target == pytest.approx(radians(start + travels), abs=1e-12)
    assert move.first_inside_us() is not None
    plain = a_plant(a_robot({"it": {**TURRET, "wraps": False}}, {"m": MOTOR}), 5.0, it=radians(start))
    if abs(sent) <= 200.0:
        assert a_move(plain, "it", radians(sent)).target == pytest.approx(radians(sent), abs=1e-12)


def test_a_need_of_a_turret_is_met_a_turn_away() -> None:
    plant = a_plant(a_robot({"it": TURRET}, {"m": MOTOR}), 5.0, it=radians(190.0))
    assert plant.inside_since("it", radians(-170.0), 0.01, None, 0) == 0
    assert plant.inside_since("it", radians(-150.0), 0.01, None, 0) is None
    assert plant.leaves_at("it", radians(-170.0), 0.01, 0, 0) is None


def test_a_target_that_no_turn_brings_inside_is_a_mistake(tmp_path: Path) -> None:
    for name in ("turret.yaml", "turret-plan.yaml", "yard.yaml"):
        text = (YARD / name).read_text(encoding="utf-8").replace("[-200 deg, 200 deg]", "[-100 deg, 200 deg]")
        (tmp_path / name).write_text(
            text.replace("turret: behind_right", "turret: 230 deg"), encoding="utf-8"
        )
    robot = tmp_path / "turret.yaml"
    robot.write_text(
        robot.read_text(encoding="utf-8").replace(", behind_right: -150 deg", ""), encoding="utf-8"
    )
    with pytest.raises(ScenarioError) as caught:
        load_plan(tmp_path / "turret-plan.yaml", KINDS)
    (problem,) = caught.value.problems
    assert (problem.line, problem.given) == (11, "230 deg")
    assert problem.wanted == "-100 deg to 200 deg"
    assert "no number of turns" in problem.text


def test_a_pitched_turret_falls_to_the_back() -> None:
    """Full effort from -60 to 100 degrees on a stance lifted by 25 degrees."""
    robot = a_robot({"it": TURRET}, {"m": MOTOR})
    robot.mechanisms["it"].values["tilt"] = Quantity(radians(25.0))
    plant = a_plant(robot, 5.0, it=radians(-60.0))
    move = plant.command("it", PushFor(0.3, radians(100.0), 5_000_000))
    gears, inertia = 60.0, 0.1 + 60.0**2 * J

    def rates(_: float, y: Any) -> list[float]:
        weight = -1.2 * G * 0.15 * sin(radians(25.0)) * sin(y[0] + radians(20.0))
        torque = gears * K * (0.3 * 12.0 - K * gears * y[1]) / R
        return [y[1], (torque - weight) / inertia]

    independent = crossing(rates, [radians(-60.0), 0.0], radians(98.0))
    assert seconds(move.first_inside_us()) == pytest.approx(independent, abs=2e-6)


def test_weight_of_a_pitched_turret() -> None:
    """Q is the slope of the height of its mass, and is zero and stable at the back."""
    values = a_robot({"it": TURRET}, {"m": MOTOR}).mechanisms["it"].values | {"tilt": radians(10.0)}
    segment = turret.reduce(values, 0.0).segments[0]
    assert segment.knots is not None
    q = np.linspace(segment.low, segment.high, len(segment.knots))
    height = 1.2 * G * 0.15 * sin(radians(10.0)) * np.cos(q + radians(20.0))
    assert segment.knots[1:-1, 3] == pytest.approx(np.gradient(height, q)[1:-1], abs=1e-4)
    lowest = radians(160.0)
    assert np.interp(lowest, q, segment.knots[:, 3]) == pytest.approx(0.0, abs=1e-4)
    assert np.interp(lowest, q, segment.knots[:, 4]) > 0.0
