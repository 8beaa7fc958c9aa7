"""Floors of the drive of example 08, whose wheels slide as they brake: by an integrator of its own from event to event.

The fastest way is full effort forward, then full effort back (Bobrow, Dubowsky and Gibson, Int. J. Robotics Research
4(3), 1985), here the instant of the switch by Brent's method. The battery and the motors' torque line are linear;
wheels of which more is asked than mu m g slide, with that very force on the robot and their rotors by themselves
(Coulomb's law, textbook mechanics). Motors without gears: no loss between wheels and rotors.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from builders import G
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from test_worked import DATA, FLOOR, expected_of

from simbot.physics.kinds import KINDS
from simbot.physics.move import DriveTo
from simbot.physics.plant import Plant
from simbot.scenario.load import load_robot
from simbot.scenario.model import Pose, Start

EXAMPLE = "08_cycle"
BATTERY = {"fresh": (13.6, 0.10), "mid-event": (13.0, 0.16), "tired": (12.4, 0.28)}
HUB = expected_of(EXAMPLE)["motors"]["hub"]
R, K, RUBS = HUB["resistance_ohm"], HUB["constant"], HUB["friction_n_m"]
MOTORS, MASS, RUB, RADIUS = 2, 11.0, 7.0, 0.048
TURNS = MOTORS * 8e-6 * 18**2 / RADIUS**2  # kg: the rotors behind their internal gears
GRIP = 1.2 * MASS * G
WINDOW, SLOW = 0.025, 0.06


def test_it_is_the_robot_of_the_example() -> None:
    robot = load_robot(DATA / EXAMPLE / "robot.yaml", KINDS)[0]
    drive, hub = robot.mechanisms["drive"].values, robot.motors["hub"]
    assert {each.name: (each.open_circuit, each.resistance) for each in robot.battery} == BATTERY
    assert (robot.mass, drive["friction"], drive["motors"].count, drive["grip"]) == (MASS, RUB, MOTORS, 1.2)
    assert (drive["wheel_diameter"], hub.rotor_inertia, hub.internal_ratio) == (2 * RADIUS, 8e-6, 18)
    assert (drive["control"]["window"], drive["control"]["slower_than"]) == (WINDOW, SLOW)


def brought(effort: float, u: float, battery: tuple[float, float], way: float = 1.0) -> float:
    """Force of all motors at the rims of their wheels, that go with a speed [m/s], on the bus that they draw down.

    `way`: against which their friction is; 0: without it.
    """
    volts, ohms = battery
    w = u / RADIUS
    bus = (volts + ohms * MOTORS * effort * K * w / R) / (1.0 + ohms * MOTORS * effort**2 / R)
    return MOTORS * (K * (effort * bus - K * w) / R - RUBS * way) / RADIUS


def rolled(effort: float, v: float, battery: tuple[float, float]) -> tuple[float, float]:
    """Acceleration of a robot that goes forward on wheels that roll, and the force between them and the floor."""
    a = (brought(effort, v, battery) - RUB) / (MASS + TURNS)
    return a, MASS * a + RUB


def until(
    rates: Callable[..., Any], start: list[float], *events: Callable[..., float]
) -> tuple[int, float, Any]:
    """Which event falls to zero first, when, and the state then."""
    for event in events:
        event.terminal, event.direction = True, -1.0  # type: ignore[attr-defined]
    done = solve_ivp(rates, (0.0, 5.0), start, events=events, rtol=1e-10, atol=1e-12)
    which = next(number for number, times in enumerate(done.t_events) if times.size)
    return which, float(done.t_events[which][0]), done.y_events[which][0]


def braked(v: float, battery: tuple[float, float]) -> tuple[float, float]:
    """Time and way from full effort back until slow enough: wheels that roll, slide, stand still, turn back."""
    time = way = 0.0
    u, slides = v, rolled(-1.0, v, battery)[1] < -GRIP

    def slow(_: float, y: Any) -> float:
        return float(y[1]) - SLOW

    for _ in range(20):
        start = [0.0, v, u]
        if not slides:

            def rates(_: float, y: Any) -> list[float]:
                a = rolled(-1.0, y[1], battery)[0]
                return [y[1], a, a]

            def ends(t: float, y: Any) -> float:
                return rolled(-1.0, y[1], battery)[1] + GRIP if t > 1e-9 else 1.0

        else:
            asked = brought(-1.0, 0.0, battery, 0.0) + GRIP  # on wheels that stand still
            held = MOTORS * RUBS / RADIUS
            side = 1.0 if u > 0.0 else 0.0 if abs(asked) <= held else -1.0

            def rates(_: float, y: Any, side: float = side) -> list[float]:
                turning = 0.0 if side == 0.0 else (brought(-1.0, y[2], battery, side) + GRIP) / TURNS
                return [y[1], (-GRIP - RUB) / MASS, turning]

            def ends(t: float, y: Any, side: float = side) -> float:
                return min(y[1] - y[2] if t > 1e-9 else 1.0, y[2] if side > 0.0 else 1.0)

        which, lasts, (q, v, u) = until(rates, start, slow, ends)
        time, way = time + lasts, way + q
        if which == 0:
            return time, way
        if slides and abs(u) < 1e-9:
            u = 0.0  # they stand still, and slide on
        else:
            slides, u = not slides, v
    raise AssertionError("it does not end")


def tied(v: float, battery: tuple[float, float]) -> tuple[float, float]:
    """The same with rotors that always turn with the robot, however much its wheels slide."""
    _, time, (way, _) = until(
        lambda _, y: [y[1], max(rolled(-1.0, y[1], battery)[0], (-GRIP - RUB) / MASS)],
        [0.0, v],
        lambda _, y: float(y[1]) - SLOW,
    )
    return time, way


def floor_of(
    distance: float, battery: tuple[float, float], brake: Callable[..., tuple[float, float]] = braked
) -> float:
    assert rolled(1.0, 0.0, battery)[1] < GRIP  # they roll as they set out
    ahead = solve_ivp(
        lambda _, y: [y[1], rolled(1.0, y[1], battery)[0]],
        (0.0, 3.0), [0.0, 0.0], rtol=1e-11, atol=1e-13, dense_output=True,
    ).sol  # fmt: skip

    def beyond(switch: float) -> float:
        q, v = ahead(switch)
        return float(q) + brake(float(v), battery)[1] - (distance - WINDOW)

    switch = float(brentq(beyond, 0.05, 2.0, xtol=1e-10))
    return switch + brake(float(ahead(switch)[1]), battery)[0]


@pytest.mark.parametrize("state", BATTERY)
def test_floor_of_the_drive_by_itself(state: str) -> None:
    robot = load_robot(DATA / EXAMPLE / "robot.yaml", KINDS)[0]
    battery = next(each for each in robot.battery if each.name == state)
    plant = Plant(robot, battery, Start(Pose(1.0, 1.0, 0.0), {"lift": 0.0}, {}), 3_000_000, 1e-8)
    floor = plant.command("drive", DriveTo(Pose(1.9, 1.0, 0.0))).floor_s()
    assert floor == pytest.approx(floor_of(0.9, BATTERY[state]), abs=FLOOR)


# what the program that made the example's numbers gave, with rotors that always turn with the robot [s]
GIVEN = {
    "fresh": (0.751142, 1.082801, 1.095173, 1.08354, 1.095176, 1.08354),
    "mid-event": (0.79488, 1.136936, 1.158797, 1.137921, 1.1588, 1.137921),
    "tired": (0.865982, 1.212583, 1.258811, 1.215146, 1.258811, 1.215146),
}


def drives(state: str) -> list[dict[str, Any]]:
    moves = expected_of(EXAMPLE)["plans"]["plan.yaml"]["states"][state]["moves"]
    return [row for row in moves if row["mechanism"] == "drive"]


@pytest.mark.parametrize(("state", "number"), [(state, number) for state in BATTERY for number in range(6)])
def test_floors_beside_others_that_give_back(state: str, number: int) -> None:
    """What the lift gives back raises the battery: by so much as makes the floor that was given; with the rotors by
    themselves that very battery makes the one that the data have now."""
    row, given = drives(state)[number], GIVEN[state][number]
    assert row["speed_at_start"] == 0.0 and len(drives(state)) == 6
    distance, (volts, ohms) = abs(row["to"] - row["from"]), BATTERY[state]
    raised = brentq(lambda e: floor_of(distance, (e, ohms), tied) - given, volts, volts + 1.0, xtol=1e-6)
    assert floor_of(distance, (float(raised), ohms)) == pytest.approx(row["floor_s"], abs=FLOOR)
