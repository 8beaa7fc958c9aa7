"""Drivetrains: grip by a linear programme, kinematics, straight lines and turns in place.

Source of the wheel matrix: Lynch and Park, Modern Robotics, eq. 13.10 (from memory; rank 3 read).
"""

from __future__ import annotations

from math import cos, exp, inf, pi, radians, sin, sqrt

import numpy as np
import pytest
from builders import RPM, SMALL, G, Words, a_move, a_plant, a_robot, a_run, seconds
from scipy.integrate import solve_ivp
from scipy.optimize import linprog
from scipy.special import lambertw

from simbot.physics.kinds import mecanum, tank, x_drive
from simbot.physics.move import DriveTo
from simbot.scenario.model import Pose

# gearmotor: 312 rpm, 24.3 kgf cm x 0.9; its rotor left out; 12 kg robot on wheels of radius 48 mm
STALL, FREE = 0.9 * 24.3 * 0.0980665, 312 * RPM
RADIUS, MASS, WHEEL = 0.048, 12.0, 0.0012
FELT = MASS + 4 * WHEEL / RADIUS**2
FORCE, SLOPE = 4 * STALL / RADIUS, 4 * STALL / RADIUS / (FREE * RADIUS)

GEARMOTOR = {
    "voltage": "12 V", "free_speed": "312 rpm", "free_current": "0 A", "stall_torque": f"{STALL!r} N*m",
    "rotor_inertia": "1e-15 kg*m^2", "internal_ratio": 1, "source": "illustrative",
}  # fmt: skip


def drive(kind: str = "tank", **more: object) -> Words:
    return {
        "kind": kind, "motors": "4 x wheel", "gearing": [{"ratio": 1, "efficiency": "100 %"}],
        "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "360 mm", "grip": 3.0,
        "friction": "0 N",
        "wheel_inertia": "0.0012 kg*m^2", "turning_inertia": "0.32 kg*m^2",
        "control": {"loop": "full_effort", "window": "20 mm"},
        **({"steering_speed": "0.1 s/60deg"} if kind == "swerve" else {}), **more,
    }  # fmt: skip


def values(**more: float) -> dict[str, float]:
    return {"wheel_diameter": 2 * RADIUS, "wheelbase": 0.30, "track": 0.36, "grip": 0.7, "friction": 0.0,
            "static_friction": 1.0, "damping": 0.0, "wheel_inertia": WHEEL,
            "turning_inertia": 0.32, "scrub": 0.5, "driven": "all", "centre_height": None,
            "centre_ahead": 0.0, "centre_left": 0.0, **more}  # fmt: skip


def polygon(direction: float) -> float:
    """Greatest force along a direction, without any across, of four wheels that grip along their rollers."""
    axes = np.array([[cos(a), sin(a)] for a in np.radians([-45, 45, -45, 45])]).T
    along, across = np.array([cos(direction), sin(direction)]), np.array([-sin(direction), cos(direction)])
    best = linprog(-(along @ axes), A_eq=[across @ axes], b_eq=[0.0], bounds=[(-0.25, 0.25)] * 4)
    return float(-best.fun)


@pytest.mark.parametrize("degrees", [0, 10, 22.5, 45, 60, 90, 135, 180, -30])
def test_grip_of_mecanum_and_omni_wheels(degrees: float) -> None:
    """Of mu times weight: 0.7071 ahead and sideways, 0.5 diagonally."""
    phi = radians(degrees)
    right = polygon(phi)
    for kind in (mecanum, x_drive):
        leg = kind.straight(values(), MASS, 4, phi)  # type: ignore[arg-type]
        assert sum(group.most for group in leg.groups) / (0.7 * MASS * G) == pytest.approx(right, rel=1e-9)
    assert right == pytest.approx(sqrt(0.5) / (abs(cos(phi)) + abs(sin(phi))))
    if degrees in (0, 90, 180):
        assert right == pytest.approx(0.7071, abs=5e-5)
    if degrees == 45:
        assert right == pytest.approx(0.5)


def test_grip_of_a_tank() -> None:
    leg = tank.straight(values(), MASS, 4, 0.0)  # type: ignore[arg-type]
    assert sum(group.most for group in leg.groups) == pytest.approx(0.7 * MASS * G)


L_W = 0.15 + 0.235
MATRIX = np.array([[-L_W, 1, -1], [L_W, 1, 1], [L_W, 1, -1], [-L_W, 1, 1]]) / 0.0475  # FL, FR, RR, RL


@pytest.mark.parametrize(
    ("twist", "wheels"),
    [
        ((0, 0.5, 0), (10.526316, 10.526316, 10.526316, 10.526316)),
        ((0, 0, 0.5), (-10.526316, 10.526316, -10.526316, 10.526316)),
        ((1, 0, 0), (-8.105263, 8.105263, 8.105263, -8.105263)),
        ((0.3, 0.4, -0.2), (10.2, 6.642105, 15.063158, 1.778947)),
    ],
)
def test_wheel_speeds_of_mecanum(twist: tuple[float, ...], wheels: tuple[float, ...]) -> None:
    """The published matrix, and that our legs turn the same wheels as fast."""
    assert np.linalg.matrix_rank(MATRIX) == 3
    assert np.linalg.pinv(MATRIX) @ MATRIX @ twist == pytest.approx(twist)
    assert pytest.approx(wheels, abs=6e-7) == MATRIX @ twist
    p = values(wheel_diameter=0.095, wheelbase=0.47, track=0.30)
    turn, x, y = twist
    if turn == 0:
        leg = mecanum.straight(p, MASS, 4, np.arctan2(y, x))  # type: ignore[arg-type]
        fastest = max(group.per_travel for group in leg.groups) * np.hypot(x, y)
        assert fastest == pytest.approx(np.max(np.abs(MATRIX @ twist)))
    elif x == 0 and y == 0:
        leg = mecanum.turn(p, MASS, 4, (0.4, 0.4))  # type: ignore[arg-type]
        assert leg.groups[0].per_travel * turn == pytest.approx(np.max(np.abs(MATRIX @ twist)))


@pytest.mark.parametrize("degrees", [0, 20, 30, 45, 77, 90])
def test_both_pairs_of_mecanum_wheels(degrees: float) -> None:
    """Wheel speeds of the two pairs in any direction, and their share of the effort."""
    phi = radians(degrees)
    right = sorted(set(np.round(np.abs(MATRIX @ [0.0, cos(phi), sin(phi)]), 9)), reverse=True)
    leg = mecanum.straight(values(wheel_diameter=0.095), MASS, 4, phi)  # type: ignore[arg-type]
    got = sorted({round(group.per_travel, 9) for group in leg.groups}, reverse=True)
    assert got == pytest.approx([each for each in right if each > 1e-6])
    for group in leg.groups:
        assert group.share == pytest.approx(group.per_travel / max(other.per_travel for other in leg.groups))


def distance(volts: float, effort: float, drag: float, t: float) -> float:
    """m v' = F effort V/12 - slope v - drag."""
    speed = (FORCE * effort * volts / 12.0 - drag) / SLOPE
    tau = FELT / SLOPE
    return speed * (t - tau * (1.0 - exp(-t / tau)))


@pytest.mark.parametrize("kind", ["tank", "mecanum", "swerve"])
@pytest.mark.parametrize(("volts", "right"), [(11.5, 0.728833), (12.5, 0.797560), (13.5, 0.866286)])
def test_straight_for_a_second(kind: str, volts: float, right: float) -> None:
    """60 % effort against 8 N for 1 s: 8 % more volts go 8.6 % further."""
    assert distance(volts, 0.6, 8.0, 1.0) == pytest.approx(right, abs=6e-7)
    own = solve_ivp(
        lambda _t, y: [y[1], (FORCE * 0.6 * volts / 12 - SLOPE * y[1] - 8) / FELT], (0, 1), [0, 0], rtol=1e-12
    )
    assert own.y[0, -1] == pytest.approx(right, abs=6e-7)
    control = {"loop": "full_effort", "window": "20 mm", "effort": "60 %"}
    wheels = drive(kind, friction="8 N", control=control)
    robot = a_robot({"drive": wheels}, {"wheel": GEARMOTOR}, (volts, 0.0), mass="12 kg")
    plant = a_plant(robot, pose=Pose(2.0, 2.0, 0.0))
    plant.command("drive", DriveTo(Pose(9.0, 2.0, 0.0)))
    plant.advance(1_000_000)
    assert plant.pose().x - 2.0 == pytest.approx(right, abs=1e-6)


def test_turn_in_place() -> None:
    """90 degrees from rest to the near edge of nothing: 0.323265 s with scrub, 0.277797 s without."""
    half = 0.18
    inertia = 0.32 + 4 * WHEEL / RADIUS**2 * half**2
    scrub = 0.5 * 0.7 * MASS * G * 0.30 / 2.0
    force, slope = FORCE * half, SLOPE * half**2
    for share, load, right in ((0.5, scrub, 0.323265), (0.0, 0.0, 0.277797)):
        speed, tau = (force - load) / slope, inertia / slope
        z = pi / 2.0 / (speed * tau) + 1.0
        own = tau * (z + lambertw(-np.exp(-z)).real)
        assert own == pytest.approx(right, abs=6e-7)
        leg = tank.turn(values(scrub=share), MASS, 4, (0.4, 0.4))  # type: ignore[arg-type]
        assert leg.reduced.segments[0].mass + leg.groups[0].inertia == pytest.approx(inertia)
        assert leg.reduced.friction == pytest.approx(load)
        assert heading_after(own, grip=3.0, scrub=f"{100 * share * 0.7 / 3.0!r} %") == pytest.approx(
            pi / 2.0, abs=5e-6
        )


def heading_after(t: float, **more: object) -> float:
    wheels = drive(turn={"window": "0.05 deg"}, **more)
    robot = a_robot({"drive": wheels}, {"wheel": GEARMOTOR}, (12.0, 0.0), mass="12 kg", loop="1 ms")
    plant = a_plant(robot, pose=Pose(2.0, 2.0, 0.0))
    plant.command("drive", DriveTo(Pose(2.0, 2.0, pi / 2.0)))
    plant.advance(round(t * 1e6))
    return plant.pose().heading


def test_turn_at_the_grip() -> None:
    """Full effort asks for more than the floor holds at first; then the grip alone turns the robot."""
    scrub, most = 0.5 * 0.7 * MASS * G * 0.30 / 2.0, 0.7 * MASS * G * 0.18
    inertia = 0.32 + 4 * WHEEL / RADIUS**2 * 0.18**2

    def slope(_t: float, y: list[float]) -> list[float]:
        moment = FORCE * 0.18 - SLOPE * 0.18**2 * y[1]
        return [y[1], min((moment - scrub) / inertia, (most - scrub) / 0.32)]

    right = solve_ivp(slope, (0.0, 0.3), [0.0, 0.0], rtol=1e-11, atol=1e-12, max_step=0.002)
    assert heading_after(0.3, grip=0.7, scrub="50 %") == pytest.approx(right.y[0, -1], abs=5e-6)


@pytest.mark.parametrize(
    ("kind", "share"), [("tank", 1.0), ("swerve", 1.0), ("mecanum", sqrt(0.5)), ("x_drive", sqrt(0.5))]
)
def test_start_at_the_grip(kind: str, share: float) -> None:
    """Strong motors on slippery ground: the grip alone accelerates the robot, whatever its wheels weigh."""
    robot = a_robot({"drive": drive(kind, grip=0.3)}, {"wheel": GEARMOTOR}, (12.0, 0.0), mass="12 kg")
    plant = a_plant(robot, pose=Pose(2.0, 2.0, 0.0))
    plant.command("drive", DriveTo(Pose(12.0, 2.0, 0.0)))
    plant.advance(50_000)
    a = 0.3 * share * G
    assert plant.pose().x - 2.0 == pytest.approx(0.5 * a * 0.05**2, rel=1e-6)


@pytest.mark.parametrize(("kind", "share"), [("tank", 1.0), ("mecanum", sqrt(0.5))])
def test_start_at_the_grip_with_light_wheels(kind: str, share: float) -> None:
    """The same with wheels of no inertia: mu g, or mu g/sqrt(2) on mecanum wheels."""
    wheels = drive(kind, grip=0.3, wheel_inertia="0 kg*m^2")
    robot = a_robot({"drive": wheels}, {"wheel": GEARMOTOR}, (12.0, 0.0), mass="12 kg")
    plant = a_plant(robot, pose=Pose(2.0, 2.0, 0.0))
    plant.command("drive", DriveTo(Pose(12.0, 2.0, 0.0)))
    plant.advance(50_000)
    assert plant.pose().x - 2.0 == pytest.approx(0.5 * 0.3 * share * G * 0.05**2, rel=1e-6)


def test_strafing_is_as_fast_and_diagonals_are_slower() -> None:
    """Speed over wheel speed x radius: 1/(|cos| + |sin|), by which wheel turns fastest."""
    for degrees in (0.0, 30.0, 45.0, 90.0):
        phi = radians(degrees)
        robot = a_robot({"drive": drive("mecanum")}, {"wheel": GEARMOTOR}, (12.0, 0.0), mass="12 kg")
        plant = a_plant(robot, pose=Pose(2.0, 2.0, 0.0))
        plant.command("drive", DriveTo(Pose(2.0 + 15.0 * cos(phi), 2.0 + 15.0 * sin(phi), 0.0)))
        plant.advance(5_000_000)
        rows = np.array([[1, -1], [1, 1], [1, -1], [1, 1]]) @ [cos(phi), sin(phi)]
        assert plant.speed("drive") == pytest.approx(FREE * RADIUS / np.max(np.abs(rows)), rel=1e-6)


def test_stopping_shorted_and_open() -> None:
    """From 0.8 m/s against 8 N: 77 mm with the motors shorted, 563 mm with open leads.

    Shorted M v' = -b v - F; open M v' = -F; the same robot through a file, its effort taken away at a tick.
    """
    felt, drag = FELT, 8.0
    for after, right in (("brake", 0.077), ("coast", 0.563)):
        control = {"loop": "full_effort", "window": "5 m", "after": after}
        wheels = drive("tank", friction="8 N", control=control)
        robot = a_robot({"drive": wheels}, {"wheel": GEARMOTOR}, (12.0, 0.0), mass="12 kg")
        plant = a_plant(robot, pose=Pose(0.0, 2.0, 0.0))
        plant.command("drive", DriveTo(Pose(6.0, 2.0, 0.0)))
        plant.advance(9_000_000)
        off = plant.pose().x
        speeds = [(t, plant.speed("drive", t)) for t in range(0, 2_000_000, 1000)]
        at = max(t for t, v in speeds if plant.pose(t).x < 1.0 + 1e-9)
        tick = plant.tick_at_or_after(at)
        v = plant.speed("drive", tick)
        if after == "coast":
            stop = felt * v * v / 2.0 / drag
        else:
            stop = felt / SLOPE * (v - drag / SLOPE * np.log(1.0 + SLOPE * v / drag))
        assert off - plant.pose(tick).x == pytest.approx(stop, rel=2e-3)
        own = {"brake": felt / SLOPE * (0.8 - drag / SLOPE * np.log(1.0 + SLOPE * 0.8 / drag)),
               "coast": felt * 0.64 / 2.0 / drag}[after]  # fmt: skip
        assert own == pytest.approx(right, abs=6e-4)


def test_floor_of_a_straight_line() -> None:
    """Into a window at any speed nothing beats full effort, the grip permitting: Lambert's W again."""
    result = a_run([{"drive": ["4 m", "2 m", "0 deg"]}, {"wait": "arrival"}], {"drive": drive()},
                   {"wheel": GEARMOTOR}, (12.0, 0.0), mass="12 kg")  # fmt: skip
    move = result.moves[0]
    assert move.floor_us is not None
    speed, tau = FREE * RADIUS, FELT / SLOPE
    z = 1.98 / (speed * tau) + 1.0
    own = tau * (z + lambertw(-np.exp(-z)).real)
    assert seconds(move.floor_us) == pytest.approx(own, abs=2e-6)
    assert own < inf


def test_a_tank_does_not_turn_aside_for_millimetres() -> None:
    """Beside its goal by less than its window, at the right heading: it is there."""
    control = {"loop": "position", "p": "6 /m", "window": "20 mm", "slower_than": "60 mm/s"}
    robot = a_robot(
        {"drive": drive("tank", control=control)}, {"wheel": GEARMOTOR}, (12.0, 0.0), mass="12 kg"
    )
    plant = a_plant(robot, pose=Pose(1.4, 1.8, pi))
    assert plant.command("drive", DriveTo(Pose(1.4, 1.805, pi))).arrival_us() == 0


def test_an_arrival_is_seen_while_the_drive_has_more_to_do() -> None:
    """A lift is seen at the first tick after its arrival, whatever the drive's next lines and turns are."""
    slide = {"kind": "slide", "motors": "1 x small", "gearing": [{"ratio": 20, "efficiency": "80 %"}],
             "drum_diameter": "38 mm", "moving_mass": "1 kg", "friction": "4 N", "travel": ["0 m", "0.6 m"],
             "control": {"loop": "position", "p": "20 /m", "window": "10 mm"}}  # fmt: skip
    loop = {"loop": "position", "p": "6 /m", "d": "0.6 s/m", "window": "20 mm", "slower_than": "60 mm/s"}
    robot = a_robot(
        {"drive": drive("mecanum", control=loop), "lift": slide},
        {"wheel": GEARMOTOR, "small": SMALL},
        mass="12 kg",
    )
    seen = []
    for goal in (Pose(5.0, 1.0, 0.0), Pose(5.0, 1.0, 1.5), Pose(1.2, 1.0, 0.3)):
        plant = a_plant(robot, pose=Pose(1.0, 1.0, 0.0))
        lift = a_move(plant, "lift", 0.3)
        run = plant.command("drive", DriveTo(goal))
        seen.append(plant.first_seen_us([lift], 15_000_000))
        arrival = lift.arrival_us()
        assert arrival is not None
        assert seen[-1] == -(-arrival // 20_000) * 20_000
        both = plant.first_seen_us([lift, run], 15_000_000)
        at = run.arrival_us()
        assert both is not None and at is not None and both >= max(at, arrival)
    assert seen[0] == seen[1]


@pytest.mark.parametrize(("grip", "right"), [(0.5, 63.71), (0.7, 45.5)])
def test_way_to_and_from_twenty_five_metres_a_second_at_the_grip(grip: float, right: float) -> None:
    """v^2/(2 mu g) with g = 9.81: 63.71 m and 45.5 m to stop from 25 m/s (a physics answer page, read).

    The same way takes it from rest to 25 m/s: through a file and the integrator, motors that always spin the wheels.
    """
    assert 25.0**2 / (2.0 * grip * 9.81) == pytest.approx(right, abs=0.01)
    group = tank.straight(values(grip=grip), MASS, 4, 0.0).groups[0]
    assert group.most / MASS == pytest.approx(grip * G) and group.most_back == group.most
    wheels = drive("tank", grip=grip, wheel_inertia="0 kg*m^2")
    motor = {**GEARMOTOR, "stall_torque": "400 N*m", "free_speed": "20000 rpm"}
    robot = a_robot({"drive": wheels}, {"wheel": motor}, (12.0, 0.0), mass=f"{MASS} kg")
    plant = a_plant(robot, pose=Pose(0.0, 0.0, 0.0))
    plant.command("drive", DriveTo(Pose(300.0, 0.0, 0.0)))
    plant.advance(round(25.0 / (grip * G) * 1e6))
    assert plant.speed("drive") == pytest.approx(25.0, rel=1e-5)
    assert plant.pose().x == pytest.approx(right * 9.81 / G, rel=2e-4)
