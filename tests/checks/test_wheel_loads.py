"""Loads on the single wheels of mecanum and X drives, and which wheel slips first.

Loads are found a second way: a rigid body on four alike springs (the usual rule for four points of support, from
memory), its plane of support solved from vertical balance and moments about both axes. Wheels at 45 degrees hold
mu N/sqrt(2) along straight ahead (the force across it is balanced by their neighbours).
"""

from __future__ import annotations

from math import cos, radians, sin, sqrt
from types import ModuleType

import numpy as np
import pytest
from builders import G, Words, a_plant, a_robot
from scipy.optimize import brentq
from test_drive import GEARMOTOR, MASS, RADIUS, drive, values

from simbot.physics.assumptions import physics_remarks
from simbot.physics.follows import consequences
from simbot.physics.kinds import mecanum, x_drive
from simbot.physics.move import DriveTo
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Pose

BASE, TRACK, GRIP = 0.30, 0.36, 0.7
WHEELS = np.array([[BASE, TRACK], [BASE, -TRACK], [-BASE, -TRACK], [-BASE, TRACK]]) / 2.0
WAYS = np.array([[1.0, -1.0], [1.0, 1.0], [1.0, -1.0], [1.0, 1.0]])  # the way that each wheel rolls


def loads(force: float, direction: float, height: float, ahead: float, left: float) -> np.ndarray:
    """On each wheel [N], with a force at the floor along a direction, `height` below the mass centre."""
    x, y = WHEELS.T
    plane = np.column_stack((np.ones(4), x, y))  # load of a wheel: c0 + c1 x + c2 y
    wanted = [
        MASS * G,
        MASS * G * ahead - force * height * cos(direction),
        MASS * G * left - force * height * sin(direction),
    ]
    return plane @ np.linalg.solve(plane.T @ plane, wanted)


def holds(direction: float) -> tuple[np.ndarray, np.ndarray]:
    """Of each wheel: force along the direction per load, and its share of all while none slips."""
    rolls = np.abs(WAYS @ [cos(direction), sin(direction)])
    return GRIP / sqrt(2.0) * rolls**2 / rolls.max(), rolls**2 / (rolls**2).sum()


PLACES = [(0.12, 0.0, 0.0), (0.0, 0.05, 0.0), (0.15, 0.04, -0.03), (0.10, -0.03, 0.05)]


@pytest.mark.parametrize("kind", [mecanum, x_drive])
@pytest.mark.parametrize("degrees", [0.0, 20.0, 45.0, 90.0, 160.0, 180.0, -70.0])
@pytest.mark.parametrize(("height", "ahead", "left"), PLACES)
def test_the_lightest_wheel_slips_first(
    kind: ModuleType, degrees: float, height: float, ahead: float, left: float
) -> None:
    direction = radians(degrees)
    p = values(grip=GRIP, centre_height=height, centre_ahead=ahead, centre_left=left)
    groups = kind.straight(p, MASS, 4, direction).groups
    per_load, share = holds(direction)

    def room(force: float) -> float:
        spare = per_load * loads(force, direction, height, ahead, left) - share * force
        return float(spare[share > 1e-9].min())

    first = brentq(room, 0.0, 1e4)
    told = min(group.most / (group.motors * (group.per_travel**2) / total(groups)) for group in groups)
    assert told == pytest.approx(first, rel=1e-9)


def total(groups: tuple[mecanum.WheelGroup, ...]) -> float:
    return sum(group.motors * group.per_travel**2 for group in groups)


@pytest.mark.parametrize("kind", [mecanum, x_drive])
@pytest.mark.parametrize("degrees", [0.0, 30.0, 45.0, 90.0, 180.0])
@pytest.mark.parametrize(("height", "ahead", "left"), PLACES)
def test_all_wheels_together_hold_as_much_as_with_even_loads(
    kind: ModuleType, degrees: float, height: float, ahead: float, left: float
) -> None:
    p = values(grip=GRIP, centre_height=height, centre_ahead=ahead, centre_left=left)
    even = kind.straight(values(grip=GRIP), MASS, 4, radians(degrees)).groups
    own = kind.straight(p, MASS, 4, radians(degrees)).groups
    assert sum(group.most for group in own) == pytest.approx(sum(group.most for group in even))
    assert sum(group.most_back or 0.0 for group in own) == pytest.approx(sum(group.most for group in even))
    assert sum(group.motors for group in own) == sum(group.motors for group in even)
    size = (0.4, 0.4)
    turning = kind.turn(p, MASS, 4, size).groups, kind.turn(values(grip=GRIP), MASS, 4, size).groups
    assert sum(g.most for g in turning[0]) == pytest.approx(turning[1][0].most)
    if ahead and left:  # each wheel by what stands on it
        rest = np.sort(loads(0.0, 0.0, height, ahead, left)) / (MASS * G)
        assert [g.most / turning[1][0].most for g in turning[0]] == pytest.approx(rest)


def test_a_wheel_that_a_drawn_mass_centre_lifts_holds_nothing() -> None:
    p = values(grip=GRIP, centre_ahead=0.10, centre_left=0.10)
    for groups in (mecanum.straight(p, MASS, 4, 0.0).groups, mecanum.turn(p, MASS, 4, (0.4, 0.4)).groups):
        assert min(group.most for group in groups) == 0.0


def test_wheels_that_share_motors_help_one_another() -> None:
    p = values(grip=GRIP, centre_height=0.15)
    assert len(mecanum.straight(p, MASS, 2, 0.0).groups) == 1


def start(degrees: float, stall: float, **more: object) -> float:
    """Acceleration at the start [m/s^2], through a file and the integrator: the way of the first 2 ms."""
    motor = {**GEARMOTOR, "stall_torque": f"{stall!r} N*m"}
    wheels: Words = drive("mecanum", grip=GRIP, wheel_inertia="0 kg*m^2", **more)
    robot = a_robot({"drive": wheels}, {"wheel": motor}, (12.0, 0.0), mass=f"{MASS} kg")
    plant = a_plant(robot, pose=Pose(9.0, 9.0, 0.0))
    way = (cos(radians(degrees)), sin(radians(degrees)))
    plant.command("drive", DriveTo(Pose(9.0 + 5.0 * way[0], 9.0 + 5.0 * way[1], 0.0)))
    plant.advance(2_000)
    pose = plant.pose()
    return 2.0 * ((pose.x - 9.0) * way[0] + (pose.y - 9.0) * way[1]) / 0.002**2


@pytest.mark.parametrize("degrees", [0.0, 90.0, 180.0])
@pytest.mark.parametrize("part", [0.6, 0.98, 1.1, 1.3, 3.0])
def test_a_start_with_a_high_mass_centre(degrees: float, part: float) -> None:
    """Motors that bring a part of what the lightest wheels hold: before they slip, between, and where all slip.

    While one axle (or side) slips, F = c N_light(F) + F_motors/2 with N_light falling as F grows: the derivation
    solved for F; runs hold the lighter wheels at the force at which they began, up to 4 % more in between.
    """
    height = 0.12
    across = BASE if degrees != 90.0 else TRACK
    c, weight = GRIP / sqrt(2.0), MASS * G
    slips = c * weight / (1.0 + 2.0 * c * height / across)  # F/2 = c (W/2 - F h/across)
    pushed = part * slips
    either = (c * weight / 2.0 + pushed / 2.0) / (1.0 + c * height / across)
    right = pushed if part < 1.0 else min(either, c * weight)
    stall = pushed * RADIUS / 4.0
    found = start(degrees, stall, centre_height=f"{height} m") * MASS
    assert found == pytest.approx(right, rel=0.01 if part < 1.0 or part > 2.0 else 0.04)
    if part < 1.0:
        even = start(degrees, stall) * MASS
        assert found == pytest.approx(even, rel=1e-9)
    if 1.0 < part < 1.2:  # the wheels that slip are noticed
        assert found < 0.99 * start(degrees, stall) * MASS


def test_what_check_says_of_wheel_loads() -> None:
    def said(**more: object) -> str:
        robot = a_robot(
            {"drive": drive("mecanum", grip=GRIP, **more)}, {"wheel": GEARMOTOR}, mass=f"{MASS} kg"
        )
        return " ".join(remark.text for remark in (*physics_remarks(robot), *consequences(robot)))

    assert "evenly on its wheels, also while it speeds up or brakes (no centre_height stated)" in said()
    text = said(centre_height="120 mm")
    c = GRIP / sqrt(2.0)
    assert f"speeding up at {c * G / (1.0 + 2.0 * c * 0.12 / BASE):.3g} m/s^2" in text
    assert "on each wheel as its mass centre has it" in text and "no centre_height" not in text
    assert "the lighter wheels begin to slip" in text and "no run shows" not in text


@pytest.mark.parametrize(
    ("more", "without", "told"),
    [
        ({"centre_left": "30 mm"}, "track", "each side depends on the track"),
        ({"centre_height": "120 mm"}, "track", "centre_height.*each side depends on the track"),
        ({"centre_left": "190 mm"}, "", "not between the sides"),
        ({"centre_ahead": "-160 mm"}, "", "not between the axles"),
        (
            {"centre_ahead": "-80 mm", "centre_left": "90 mm"},
            "",
            r"three wheels.*less than 84 mm \(0\.084 m\) to either",
        ),
    ],
)
def test_a_centre_that_cannot_be(more: Words, without: str, told: str) -> None:
    wheels = drive("mecanum", **more)
    wheels.pop(without, None)
    with pytest.raises(ScenarioError, match=told):
        a_robot({"drive": wheels}, {"wheel": GEARMOTOR})
