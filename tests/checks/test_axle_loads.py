"""Weight on the axles of a drive: at rest, speeding up, braking; what one driven axle can push.

Traction-limited acceleration of a rear- or front-driven car (Gillespie, Fundamentals of Vehicle Dynamics, ch. 2;
Wong, Theory of Ground Vehicles, ch. 3; both from memory): a = mu g b/(L - mu h) on the rear wheels, mu g c/(L + mu h)
on the front ones, b and c from the mass centre to the front and the rear axle. Axle loads are found a second way, from
the balance of a plane body, solved as linear equations.
"""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from builders import G, a_plant, a_robot
from test_drive import GEARMOTOR, MASS, drive, values

from simbot.physics.assumptions import physics_remarks
from simbot.physics.follows import consequences
from simbot.physics.kinds import swerve, tank
from simbot.physics.kinds.drive import on_front
from simbot.physics.move import DriveTo
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Pose, Robot

BASE = 0.30
GRIP = 0.4


def axle_loads(acceleration: float, height: float, ahead: float) -> tuple[float, float]:
    """Front and rear [N]: vertical balance, and moments about the mass centre of floor forces m a, h below it."""
    matrix = [[1.0, 1.0], [BASE / 2 - ahead, -(BASE / 2 + ahead)]]
    front, rear = np.linalg.solve(matrix, [MASS * G, -MASS * acceleration * height])
    return float(front), float(rear)


def textbook(driven: str, sign: float, height: float, ahead: float) -> float:
    """Greatest acceleration [m/s^2] ahead (+1) or backwards, which is the same car turned around."""
    to_front, to_rear = BASE / 2 - ahead, BASE / 2 + ahead
    if sign < 0.0:
        driven, to_front, to_rear = {"rear": "front", "front": "rear"}[driven], to_rear, to_front
    if driven == "rear":
        return GRIP * G * to_front / (BASE - GRIP * height)
    return GRIP * G * to_rear / (BASE + GRIP * height)


@pytest.mark.parametrize("driven", ["rear", "front"])
@pytest.mark.parametrize(("height", "ahead"), [(0.0, 0.05), (0.15, 0.0), (0.15, 0.05), (0.15, -0.06)])
def test_traction_limited_acceleration(driven: str, height: float, ahead: float) -> None:
    p = values(driven=driven, centre_height=height, centre_ahead=ahead, grip=GRIP)  # type: ignore[arg-type]
    for kind in (tank, swerve):
        group = kind.straight(p, MASS, 4, 0.0).groups[0]  # type: ignore[arg-type]
        assert group.most / MASS == pytest.approx(textbook(driven, 1.0, height, ahead))
        assert group.most_back is not None
        assert group.most_back / MASS == pytest.approx(textbook(driven, -1.0, height, ahead))
        for force, sign in (
            (group.most, 1.0),
            (group.most_back, -1.0),
        ):  # it is mu times what stands on that axle
            front, rear = axle_loads(sign * force / MASS, height, ahead)
            assert force == pytest.approx(GRIP * (rear if driven == "rear" else front))


@pytest.mark.parametrize(("driven", "sign"), [("rear", 1.0), ("rear", -1.0), ("front", 1.0), ("front", -1.0)])
def test_a_start_at_the_grip(driven: str, sign: float) -> None:
    """Through a file and the integrator: the way of the first 50 ms."""
    more = {"grip": GRIP, "driven": driven, "centre_height": "150 mm", "centre_ahead": "-50 mm"}
    more["wheel_inertia"] = "0 kg*m^2"
    robot = a_robot({"drive": drive("tank", **more)}, {"wheel": GEARMOTOR}, (12.0, 0.0), mass=f"{MASS} kg")
    plant = a_plant(robot, pose=Pose(12.0, 2.0, 0.0))
    plant.command("drive", DriveTo(Pose(12.0 + 9.0 * sign, 2.0, 0.0)))
    plant.advance(50_000)
    right = 0.5 * textbook(driven, sign, 0.15, -0.05) * 0.05**2
    assert sign * (plant.pose().x - 12.0) == pytest.approx(right, rel=1e-6)


def test_all_wheels_driven_use_all_of_the_weight() -> None:
    p = values(centre_height=0.15, centre_ahead=0.05)  # type: ignore[arg-type]
    for kind in (tank, swerve):
        group = kind.straight(p, MASS, 4, 0.0).groups[0]  # type: ignore[arg-type]
        assert group.most == group.most_back == pytest.approx(0.7 * MASS * G)


def test_braking_loads_the_front() -> None:
    p = values(centre_height=0.15, centre_ahead=0.02)  # type: ignore[arg-type]
    for acceleration in (-4.0, -1.0, 0.0, 2.0, 6.0):
        front, rear = axle_loads(acceleration, 0.15, 0.02)
        assert on_front(p, acceleration) == pytest.approx(front / (front + rear))
    assert on_front(p, 30.0) == 0.0 and on_front(p, -30.0) == 1.0


def test_a_turn_in_place_stands_on_what_the_driven_axle_carries() -> None:
    p = values(driven="rear", centre_height=None, centre_ahead=0.06)  # type: ignore[arg-type]
    leg = tank.turn(p, MASS, 4, (0.4, 0.4))  # type: ignore[arg-type]
    _, rear = axle_loads(0.0, 0.0, 0.06)
    assert leg.groups[0].most == pytest.approx(0.7 * rear * p["track"] / 2.0)
    aside = swerve.straight(p, MASS, 4, pi / 2.0)  # type: ignore[arg-type]
    assert aside.groups[0].most == pytest.approx(0.7 * rear)


def a_tank(**more: object) -> Robot:
    return a_robot({"drive": drive("tank", **more)}, {"wheel": GEARMOTOR}, mass=f"{MASS} kg")


def test_which_wheels_lose_load_is_told() -> None:
    """Percentages and limits from the plane body; equal motors: half the force on the wheels that lose load."""
    robot = a_tank(grip=0.7, centre_height="100 mm", centre_ahead="20 mm")
    told = [r.text for r in consequences(robot) if r.kind == "follows" and r.key.endswith("centre_height")]
    assert len(told) == 1
    for acceleration in (0.0, 0.7 * G, -0.7 * G):
        front, rear = axle_loads(acceleration, 0.1, 0.02)
        shares = f"its front wheels carry {front / MASS / G:.0%} and its rear wheels {rear / MASS / G:.0%}"
        assert shares in told[0]
    slips = []
    for sign in (1.0, -1.0):  # unknown: acceleration, load of the axle in front of the motion
        matrix = [[MASS / 2.0, -0.7], [MASS * 0.1, BASE]]
        slips.append(np.linalg.solve(matrix, [0.0, MASS * G * (BASE / 2 + sign * 0.02)])[0])
    assert f"begin to slip speeding up at {slips[0]:.3g} m/s^2 and braking at {slips[1]:.3g} m/s^2" in told[0]
    assert not [r for r in consequences(a_tank()) if "wheels carry" in r.text]


def test_the_nearer_axle_is_the_one_it_tips_over() -> None:
    robot = a_tank(grip=0.7, centre_height="200 mm", centre_ahead="50 mm")
    told = next(r for r in physics_remarks(robot) if r.key.endswith("centre_height"))
    limit = G * 0.1 / 0.2
    assert axle_loads(-limit, 0.2, 0.05)[1] == pytest.approx(0.0, abs=1e-9)
    assert f"along its heading it tips above {limit:.3g} m/s^2" in told.text and told.kind == "doubt"


@pytest.mark.parametrize("ahead", ["150 mm", "-200 mm"])
def test_a_mass_centre_that_is_not_between_the_axles(ahead: str) -> None:
    with pytest.raises(ScenarioError, match="not between the axles"):
        a_tank(centre_ahead=ahead)


def test_a_mass_centre_needs_a_wheelbase() -> None:
    wheels = drive("tank", centre_ahead="20 mm")
    del wheels["wheelbase"]
    with pytest.raises(ScenarioError, match=r"centre_ahead.*wheelbase"):
        a_robot({"drive": wheels}, {"wheel": GEARMOTOR})
