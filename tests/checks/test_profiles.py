"""Motion profiles and time-optimal moves against published examples and a general planner.

Sources: trapezoid T = d/v + v/a, Lynch and Park, Modern Robotics, 9.2.2.2 (from memory); double S, Biagiotti
and Melchiorri, Trajectory Planning for Automatic Machines and Robots, example 3.9 (from memory); 2 sqrt(d/a),
Introduction to Industrial Robotics, eq. 10.26 to 10.28 (read); the planner is ruckig.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from math import sqrt
from random import Random

import pytest
from builders import a_robot, a_run, winding

from simbot.physics.profile import Piece, profile


def lasts(
    distance: float, top: float, acceleration: float, jerk: float | None = None, speed: float = 0.0
) -> float:
    return profile(0.0, speed, distance, top, acceleration, jerk)[-1][0]


@pytest.mark.parametrize(
    ("distance", "top", "acceleration", "jerk", "right"),
    [
        (1.0, 0.5, 2.0, None, 2.25),
        (0.75, 0.6, 3.0, None, 1.45),
        (1.0, 1e6, 4.0, None, 1.0),  # never reaches top speed: 2 sqrt(d/a)
        (2.0, 1.0, 4.0, 40.0, 2.35),  # all seven pieces: d/v + v/a + a/j
        (0.75, 0.6, 3.0, 30.0, 1.55),
        (0.01, 0.6, 3.0, 30.0, (32.0 * 0.01 / 30.0) ** (1.0 / 3.0)),  # never reaches its acceleration
    ],
)
def test_rest_to_rest(
    distance: float, top: float, acceleration: float, jerk: float | None, right: float
) -> None:
    assert lasts(distance, top, acceleration, jerk) == pytest.approx(right, rel=1e-9)
    assert lasts(-distance, top, acceleration, jerk) == pytest.approx(right, rel=1e-9)


def test_double_s_from_a_speed() -> None:
    """q 0 -> 10, v 1 -> 1 at most 5, a 10, j 30: 0.7333 + 1.1433 + 0.8333 s with an end speed of 0."""
    pieces = profile(0.0, 1.0, 10.0, 5.0, 10.0, 30.0)
    assert pieces[-1][0] == pytest.approx(2.7100, abs=5e-5)
    times = [piece[0] for piece in pieces]
    assert times[3] == pytest.approx(0.7333, abs=5e-5)
    assert times[4] - times[3] == pytest.approx(1.1433, abs=5e-5)
    assert times[1] == pytest.approx(0.3333, abs=5e-5)


def at(pieces: list[Piece], t: float) -> tuple[float, float, float]:
    begin, q, v, a, j = [piece for piece in pieces if piece[0] <= t][-1]
    x = t - begin
    return q + x * (v + x * (a / 2.0 + x * j / 6.0)), v + x * (a + x * j / 2.0), a + x * j


def test_double_s_that_only_just_stops(need_engine: Callable[[str], None]) -> None:
    """With 0.3 mm to spare it goes on for 0.7 ms and brakes: 2 sqrt(v/j) + (d - stop)/v."""
    need_engine("ruckig")
    from ruckig import InputParameter, Ruckig, Trajectory

    speed, distance, top, acceleration, jerk = 0.5056794, 0.0581148, 0.9110744, 6.2570769, 38.7548939
    asked = InputParameter(1)
    asked.current_velocity, asked.target_position = [speed], [distance]
    asked.max_velocity, asked.max_acceleration, asked.max_jerk = [top], [acceleration], [jerk]
    plan = Trajectory(1)
    Ruckig(1).calculate(asked, plan)
    brake = 2.0 * sqrt(speed / jerk)
    assert plan.duration == pytest.approx(brake + (distance - 0.5 * speed * brake) / speed, rel=1e-3)
    assert lasts(distance, top, acceleration, jerk, speed) == pytest.approx(plan.duration, rel=1e-6)


@pytest.mark.parametrize("jerky", [False, True])
def test_random_moves_against_a_planner(need_engine: Callable[[str], None], jerky: bool) -> None:
    """Least time from any speed to rest: a planner that is exact agrees, with and without a jerk limit."""
    need_engine("ruckig")
    from ruckig import InputParameter, Result, Ruckig, Trajectory

    random = Random(20)
    for number in range(200):
        top, acceleration = random.uniform(0.1, 3.0), random.uniform(0.2, 20.0)
        jerk = random.uniform(1.0, 300.0) if jerky else None
        distance = random.choice((-1.0, 1.0)) * 10 ** random.uniform(-3.0, 0.7)
        speed = random.uniform(-1.0, 1.0) * top if number % 3 else 0.0
        asked = InputParameter(1)
        asked.current_velocity, asked.target_position = [speed], [distance]
        asked.max_velocity, asked.max_acceleration = [top], [acceleration]
        if jerk is not None:
            asked.max_jerk = [jerk]
        plan = Trajectory(1)
        assert Ruckig(1).calculate(asked, plan) == Result.Working
        got = lasts(distance, top, acceleration, jerk, speed)
        if jerk is None:
            stop = 0.5 * speed**2 / acceleration
        else:
            slow = abs(speed) < acceleration**2 / jerk
            brake = 2.0 * sqrt(abs(speed) / jerk) if slow else abs(speed) / acceleration + acceleration / jerk
            stop = 0.5 * abs(speed) * brake
        if jerk is None or (speed * distance >= 0.0 and stop <= abs(distance)):
            assert got == pytest.approx(plan.duration, rel=1e-6), (distance, speed, top, acceleration, jerk)
        assert got >= plan.duration * (
            1.0 - 1e-6
        )  # where it must turn back it stops first: later, never sooner
        assert got <= 2.0 * plan.duration + 1e-9


def test_limits_and_joints_of_random_profiles() -> None:
    random = Random(21)
    for _ in range(200):
        top, acceleration, jerk = (
            random.uniform(0.1, 3.0),
            random.uniform(0.2, 20.0),
            random.uniform(1.0, 300.0),
        )
        start, target = random.uniform(-1.0, 1.0), random.uniform(-1.0, 1.0)
        pieces = profile(start, random.uniform(-top, top), target, top, acceleration, jerk)
        for first, second in pairwise(pieces):
            q, v, a = at([first], second[0])
            assert (q, v) == pytest.approx((second[1], second[2]), abs=1e-7)
            assert a == pytest.approx(second[3], abs=1e-6 * acceleration)
        for k in range(101):
            _, v, a = at(pieces, pieces[-1][0] * k / 100.0)
            assert abs(v) <= top + 1e-9 and abs(a) <= acceleration + 1e-9


@pytest.mark.parametrize(("x", "v", "right"), [(2.0, -2.0, 2.0), (7.0, -2.0, 4.0)])
def test_double_integrator(x: float, v: float, right: float) -> None:
    """Fastest way to rest at the origin with |u| <= 1, T = v + 2 sqrt(x + v²/2).

    Source: Cambridge Mathematical Tripos, Part II 2012: u = 1 throughout is optimal from (2, -2) (read); the
    second start is asked for there, its answer is the formula's.
    """
    assert v + 2.0 * sqrt(x + v * v / 2.0) == pytest.approx(right)
    assert lasts(-x, 1e9, 1.0, None, v) == pytest.approx(right, rel=1e-9)


def test_profile_is_followed_while_the_motor_can() -> None:
    """A strong motor follows its set points: it arrives with its profile, less the last of its window."""
    slide = {
        "kind": "slide", "incline": "0 deg", "motors": "1 x coil", "moving_mass": "1 kg",
        "gearing": [{"ratio": 20, "efficiency": "90 %"}],
        "drum_diameter": "38 mm", "friction": "3 N", "travel": ["0 m", "1 m"],
        "control": {"loop": "profile", "speed": "0.3 m/s", "acceleration": "1 m/s^2", "p": "20 /m",
                    "window": "1 mm"},
    }  # fmt: skip
    mechanisms, motors = {"reach": slide}, {"coil": winding(1.0, 0.02, 2e-6)}
    assert a_robot(mechanisms, motors).mechanisms["reach"].kind == "slide"
    result = a_run([{"move": {"reach": "0.6 m"}}, {"wait": "arrival"}], mechanisms, motors, loop="5 ms")
    arrival = result.moves[0].arrival_us
    assert arrival is not None
    right = 0.6 / 0.3 + 0.3 / 1.0  # s, at rest; the last millimetre takes sqrt(2 x 1 mm/a)
    assert arrival * 1e-6 == pytest.approx(right - sqrt(2e-3 / 1.0), abs=0.012)
