"""A drive command that takes over another one while the robot still moves: what speed is kept, and what is braked.

Shorted motors: M v' = -b v - F, so v = (v0 + F/b) e^(-b t/M) - F/b. Derivation; another direction is begun at the
first tick at which no more than 0.1 m/s (0.5 rad/s) is left.
"""

from __future__ import annotations

from math import cos, exp, hypot, pi, radians, sin

import pytest
from builders import RPM, Words, a_plant, a_robot, seconds

from simbot.physics.move import DriveFor, DriveTo
from simbot.physics.plant import Plant
from simbot.scenario.model import Pose

STALL, FREE, RADIUS, MASS, WHEEL = 2.4, 300.0 * RPM, 0.05, 12.0, 0.001
FELT, SLOPE, DRAG = MASS + 4 * WHEEL / RADIUS**2, 4 * STALL / RADIUS / (FREE * RADIUS), 6.0
TICK = 0.02
START = Pose(2.0, 2.0, 0.0)
MOTOR = {
    "voltage": "12 V", "free_speed": "300 rpm", "free_current": "0 A", "stall_torque": f"{STALL} N*m",
    "rotor_inertia": "1e-15 kg*m^2", "internal_ratio": 1, "source": "illustrative",
}  # fmt: skip


def a_drive(kind: str, **more: object) -> Plant:
    wheels: Words = {
        "kind": kind, "motors": "4 x wheel", "gearing": [{"ratio": 1, "efficiency": "100 %"}],
        "wheel_diameter": "100 mm", "wheelbase": "300 mm", "track": "360 mm", "grip": 3.0, "friction": f"{DRAG} N",
        "wheel_inertia": f"{WHEEL} kg*m^2", "turning_inertia": "0.3 kg*m^2",
        "control": {"loop": "position", "p": "6 /m", "d": "0.6 s/m", "window": "20 mm", "slower_than": "60 mm/s"},
        **({"steering_speed": "0.1 s/60deg"} if kind == "swerve" else {}), **more,
    }  # fmt: skip
    robot = a_robot({"drive": wheels}, {"wheel": MOTOR}, mass=f"{MASS} kg")
    return a_plant(robot, pose=START)


def under_way(kind: str, at_us: int = 1_000_000) -> tuple[Plant, float, float]:
    """Sent ahead by 6 m, some time ago; the way it has come and its speed."""
    plant = a_drive(kind)
    plant.command("drive", DriveTo(Pose(8.0, 2.0, 0.0)))
    plant.advance(at_us)
    return plant, plant.pose().x - START.x, plant.speed("drive")


def braked(speed: float, slow: float = 0.1) -> tuple[float, float]:
    """Time until the first tick at which it is slow, and the way until then."""
    ratio, t = SLOPE / FELT, 0.0

    def at(t: float) -> float:
        return (speed + DRAG / SLOPE) * exp(-ratio * t) - DRAG / SLOPE

    while at(t) > slow:
        t += TICK
    return t, (speed - at(t)) / ratio - DRAG / SLOPE * t


@pytest.mark.parametrize("kind", ["mecanum", "swerve"])
def test_across_it_brakes_first(kind: str) -> None:
    """Then it is as if it had stood where the braking ends, at that instant."""
    plant, way, speed = under_way(kind)
    assert speed > 0.5
    lasts, further = braked(speed)
    stop = START.x + way + further
    move = plant.command("drive", DriveTo(Pose(stop, 4.0, 0.0)))
    plant.advance(1_000_000 + round(lasts * 1e6))
    assert plant.pose().x == pytest.approx(stop, abs=1e-6)
    assert plant.pose().y == pytest.approx(START.y, abs=1e-12)
    arrival = seconds(move.arrival_us())
    again = seconds(a_drive(kind).command("drive", DriveTo(Pose(2.0, 4.0, 0.0))).arrival_us())
    assert arrival - 1.0 - lasts == pytest.approx(again, abs=2e-6)


def test_along_it_goes_on_as_fast() -> None:
    for goal in (Pose(9.0, 2.0, 0.0), Pose(9.0, 2.2, 0.0)):
        plant, _, speed = under_way("mecanum")
        plant.command("drive", DriveTo(goal))
        along = (goal.x - plant.pose().x) / hypot(goal.x - plant.pose().x, goal.y - START.y)
        assert plant.speed("drive") == pytest.approx(speed * along, rel=1e-9)


def test_back_it_turns_round_by_its_own_control() -> None:
    plant, way, speed = under_way("mecanum")
    plant.command("drive", DriveTo(Pose(2.0, 2.0, 0.0)))
    assert plant.speed("drive") == pytest.approx(-speed)  # seen along its new line
    plant.advance(1_100_000)
    assert plant.pose().x > START.x + way


@pytest.mark.parametrize("degrees", [20.0, 90.0, 170.0])
def test_nothing_vanishes(degrees: float) -> None:
    """However it is sent on, its speed over the floor does not fall by more than 0.1 m/s at one instant."""
    plant, _, speed = under_way("mecanum")
    here = plant.pose()
    angle = radians(degrees)
    plant.command("drive", DriveTo(Pose(here.x + 2.0 * cos(angle), here.y + 2.0 * sin(angle), 0.0)))
    before = speed
    for t in range(1_000_000, 2_500_000, 500):
        plant.advance(t)
        now = abs(plant.speed("drive"))
        assert before - now < 0.11
        before = now


def test_a_tank_brakes_before_it_turns() -> None:
    plant, way, speed = under_way("tank")
    plant.command("drive", DriveTo(Pose(3.0, 4.0, pi / 2.0)))
    lasts, further = braked(speed)
    plant.advance(1_000_000 + round(lasts * 1e6))
    assert plant.pose().x - START.x == pytest.approx(way + further, abs=1e-6)
    assert plant.pose().heading == 0.0
    plant.advance(plant.now_us + 200_000)
    assert plant.pose().heading != 0.0


def test_a_turn_is_braked_before_it_drives() -> None:
    plant = a_drive("mecanum", friction="0 N")
    plant.command("drive", DriveTo(Pose(2.0, 2.0, 3.0)))
    plant.advance(400_000)
    before = plant.pose().heading
    plant.command("drive", DriveTo(Pose(4.0, 2.0, 0.0)))
    plant.advance(420_000)
    assert plant.pose().heading > before + 0.01 and plant.pose().x == 2.0


def test_effort_aside_is_given_after_braking() -> None:
    """Its time runs from the command on."""
    plant, way, speed = under_way("mecanum")
    lasts, further = braked(speed)
    plant.command("drive", DriveFor(0.6, 1.0, pi / 2.0, 500_000))
    plant.advance(1_000_000 + round(lasts * 1e6))
    assert plant.pose().x - START.x == pytest.approx(way + further, abs=1e-6)
    plant.advance(1_500_000)
    fresh = a_drive("mecanum")
    fresh.command("drive", DriveFor(0.6, 1.0, pi / 2.0, 500_000 - round(lasts * 1e6)))
    fresh.advance(500_000 - round(lasts * 1e6))
    assert plant.pose().y == pytest.approx(fresh.pose().y, abs=1e-6)


def test_the_floor_counts_the_braking() -> None:
    plant, _, _ = under_way("mecanum")
    move = plant.command("drive", DriveTo(Pose(3.0, 4.0, 0.0)))
    rest = a_drive("mecanum")
    legs = move._route.ahead  # type: ignore[union-attr]
    there = legs[-1].to - legs[-1].at
    alone = rest.command("drive", DriveTo(Pose(2.0, 2.0 + there, 0.0))).floor_s()
    floor = move.floor_s()
    assert alone is not None and floor is not None
    assert alone - 0.05 < floor < seconds(move.arrival_us()) - 1.0
