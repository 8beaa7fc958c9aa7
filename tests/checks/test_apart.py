"""Motors that turn by themselves, on a slack cord and on wheels that slide, against formulas and an integrator of
its own from event to event.

Law of a gear either side of which inertia lies: G (tau - J G a) = f T, with f = 1/efficiency where T drives and
2 - 1/efficiency where it is driven (textbook mechanics); T = 0 of a slack cord, T = mu N of wheels that slide. A
cord that tightens: momentum of rotor, J G² u/f, and load, kept. Invented motors and mechanisms.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp, sqrt
from typing import Any

import numpy as np
import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from simbot.physics import layout as L
from simbot.physics import strain
from simbot.physics.move import DriveFor, PushFor
from simbot.physics.plant import Plant
from simbot.scenario.model import Pose

R = 12.0 / 9.2
K = (12.0 - 0.25 * R) / (5800 * 2 * np.pi / 60)
J, RUBS = 1e-5, 0.25 * K
E, OHMS = 13.2, 0.15
GEARED = 20 / 0.02  # rad/m
ROTOR = J * GEARED**2  # kg
FORWARD, BACK = 1.0 / 0.9, 2.0 - 1.0 / 0.9
SLIDE: Words = {
    "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "90 %"}],
    "drum_diameter": "40 mm", "moving_mass": "1 kg", "friction": "6 N", "travel": ["0 m", "0.9 m"], "cord": "pulls",
    "control": {"loop": "full_effort", "window": "5 mm"},
}  # fmt: skip
ALONE = J * (R + OHMS) / K**2  # s: time constant of the rotor by itself, at full effort


def lifted(lift: float, tolerance: float = 1e-10) -> Plant:
    return a_plant(a_robot({"lift": SLIDE}, {"coil": SMALL}, (E, OHMS)), tolerance=tolerance, lift=lift)


def push(effort: float, w: float, motors: int = 1, way: float = 1.0) -> float:
    """Torque of each of some motors on the battery, that turn forwards or (way -1) backwards [N m]."""
    volts = (E + OHMS * motors * effort * K * w / R) / (1.0 + OHMS * motors * effort**2 / R)
    return float(K * (effort * volts - K * w) / R - RUBS * way)


def until(rates: Callable[..., Any], start: list[float], event: Callable[..., float] | float) -> Any:
    """Where a motion is after a time, or as `event` rises to zero: (duration, state)."""
    if isinstance(event, float):
        done = solve_ivp(rates, (0.0, event), start, rtol=1e-12, atol=1e-14)
        return event, done.y[:, -1]
    event.terminal, event.direction = True, 1.0  # type: ignore[attr-defined]
    done = solve_ivp(rates, (0.0, 20.0), start, events=event, rtol=1e-12, atol=1e-14)
    return float(done.t_events[0][0]), done.y_events[0][0]


def rotor_alone(t: float) -> tuple[float, float]:
    """Cord let out at full effort from rest, and how fast: an exponential [m, m/s]."""
    fastest = (E - 0.25 * (R + OHMS)) / K / GEARED
    return fastest * (t - ALONE * (1.0 - exp(-t / ALONE))), fastest * (1.0 - exp(-t / ALONE))


def test_a_load_falls_while_its_rotor_spins_up_alone() -> None:
    """Let out in full: the load falls freely less its friction, the rotor comes exponentially to its free speed."""
    plant = lifted(0.8)
    plant.advance(100_000)
    plant.command("lift", PushFor(1.0, 0.0, 300_000, "brake"))
    plant.advance(350_000)
    assert plant.position("lift") == pytest.approx(0.8 - 0.5 * (G - 6.0) * 0.25**2, abs=1e-9)
    assert plant.speed("lift") == pytest.approx(-(G - 6.0) * 0.25, abs=1e-9)
    hung = strain.slack_cord(plant, "lift")
    assert hung is not None
    assert hung.begins == 0.1
    most = max(rotor_alone(t)[0] - 0.5 * (G - 6.0) * t**2 for t in np.linspace(0.0, 0.25, 251))
    assert hung.most == pytest.approx(most, rel=0.01)  # told at the ends of steps
    row = plant._log[plant._rows - 1, L.LOG_MECH + L.LOG_PER_MECH :]
    assert (row[L.LOG_Q1], row[L.LOG_SPEED1]) == pytest.approx(
        [-each for each in rotor_alone(0.25)], abs=1e-9
    )


def test_a_cord_that_tightens_stops_its_load() -> None:
    """Braked after 0.3 s, the rotor turns more slowly than the load falls: momentum of both is kept as it is caught."""
    plant = lifted(0.8)
    plant.advance(100_000)
    plant.command("lift", PushFor(1.0, 0.0, 300_000, "brake"))
    plant.advance(3_000_000)
    way, speed = rotor_alone(0.3)
    tau = J * R / K**2
    falls = G - 6.0

    def rotor(t: float) -> tuple[float, float]:  # u' = -u/tau + rubs, downwards positive
        end = -RUBS * R / K**2 / GEARED
        return way + end * t + (speed - end) * tau * (1.0 - exp(-t / tau)), end + (speed - end) * exp(
            -t / tau
        )

    t = float(brentq(lambda t: rotor(t)[0] - 0.5 * falls * (0.3 + t) ** 2, 1e-9, 0.05, xtol=1e-15))
    u, v = rotor(t)[1], falls * (0.3 + t)
    both = (ROTOR / BACK * u + v) / (ROTOR / BACK + 1.0)

    def braked(_: float, y: Any) -> list[float]:  # upwards positive, going down
        turning = GEARED * push(0.0, GEARED * y[1], way=-1.0) - BACK * (G - 6.0)
        return [y[1], turning / (ROTOR + BACK)]

    lasts, (q, _) = until(braked, [0.8 - 0.5 * falls * (0.3 + t) ** 2, -both], lambda _, y: y[1])
    log = plant._log[: plant._rows]
    stops = log[np.flatnonzero(log[:, L.LOG_MECH + L.LOG_SPEED1])[-1]]
    assert stops[L.LOG_T] + stops[L.LOG_H] == pytest.approx(0.4 + t + lasts, abs=1e-6)
    assert plant.position("lift") == pytest.approx(q, abs=1e-9)
    hung = strain.slack_cord(plant, "lift")
    assert hung is not None and hung.caught == pytest.approx(0.4 + t, abs=1e-6)
    lost = 0.5 * (ROTOR * u**2 + v**2 - (ROTOR + 1.0) * both**2)
    assert hung.lost == pytest.approx(lost, rel=1e-6)


def test_slack_that_was_let_out_is_wound_in_and_its_load_jerked_up() -> None:
    """Let out beyond the lower end, braked, and sent up: the whole episode to the arrival within 1 us."""
    plant = lifted(0.15)
    plant.advance(100_000)
    plant.command("lift", PushFor(1.0, 0.0, 300_000, "brake"))
    plant.advance(1_000_000)
    landed = 0.1 + sqrt(0.3 / (G - 6.0))
    assert plant.position("lift") == 0.0 and strain.hits(plant, "lift")[0][0] == pytest.approx(
        landed, abs=1e-6
    )
    assert strain.hits(plant, "lift")[0][2] == pytest.approx(0.15 * (G - 6.0), rel=1e-6)  # the rotor runs on
    up = a_move(plant, "lift", 0.5)

    def alone(effort: float) -> Callable[..., list[float]]:
        return lambda _, y: [y[1], push(effort, y[1]) / J]

    way, speed = rotor_alone(0.3)
    _, (way, _) = until(alone(0.0), [way * GEARED, speed * GEARED], lambda _, y: -y[1])
    slack = way / GEARED - 0.15
    winds, (_, w) = until(alone(1.0), [0.0, 0.0], lambda _, y: y[0] - slack * GEARED)
    u = w / GEARED
    both = ROTOR / FORWARD * u / (ROTOR / FORWARD + 1.0)

    def raised(_: float, y: Any) -> list[float]:
        return [y[1], (GEARED * push(1.0, GEARED * y[1]) - FORWARD * (G + 6.0)) / (ROTOR + FORWARD)]

    rises, _ = until(raised, [0.0, both], lambda _, y: y[0] - 0.495)
    arrived = up.first_inside_us()
    assert arrived is not None
    plant.advance(arrived)
    assert arrived / 1e6 == pytest.approx(1.0 + winds + rises, abs=1e-6)
    hung = strain.slack_cord(plant, "lift")
    assert hung is not None
    assert (hung.begins, hung.most) == (0.1, pytest.approx(slack, abs=1e-9))
    assert hung.caught == pytest.approx(1.0 + winds, abs=1e-6)
    assert hung.lost == pytest.approx(0.5 * (ROTOR * u**2 - (ROTOR + 1.0) * both**2), rel=1e-6)
    floor = up.floor_s()
    assert floor is not None and floor <= (arrived - 1_000_000) * 1e-6


def test_a_position_loop_sees_the_drum_and_not_the_load() -> None:
    """Its encoder sits at the motor: the drum stops where it is sent, and the load falls into the cord there."""
    loop = {"loop": "position", "p": "20 /m", "d": "1 s/m", "window": "10 mm"}
    slide = {**SLIDE, "control": loop, "moving_mass": "2 kg", "friction": "14 N"}
    plant = a_plant(a_robot({"lift": slide}, {"coil": SMALL}, (E, OHMS)), lift=0.8)
    a_move(plant, "lift", 0.3)
    plant.advance(3_000_000)
    assert strain.slack_cord(plant, "lift") is not None
    assert plant.position("lift") == pytest.approx(0.3, abs=0.01)


WHEELS = 10 / 0.048  # rad/m
TANK: Words = {
    "kind": "tank", "motors": "4 x coil", "gearing": [{"ratio": 10, "efficiency": "90 %"}], "wheel_diameter": "96 mm",
    "wheelbase": "300 mm", "track": "360 mm", "grip": 0.5, "friction": "4 N",
    "control": {"loop": "full_effort", "window": "20 mm"},
}  # fmt: skip
TURNS = 4 * J * WHEELS**2  # kg
GRIP, MASS = 0.5 * 9.0 * G, 9.0


def driven() -> list[tuple[float, np.ndarray]]:
    """Full effort for 0.6 s, then braked to rest: when wheels grip, slide, grip and stop; way, speed, the wheels'."""

    def sliding(effort: float, side: float) -> Callable[..., list[float]]:
        share = FORWARD if side > 0.0 else BACK

        def rates(_: float, y: Any) -> list[float]:
            asked = 4.0 * WHEELS * push(effort, WHEELS * y[2], 4) - share * side * GRIP
            return [y[1], (side * GRIP - 4.0) / MASS, asked / TURNS]

        return rates

    def rolling(effort: float) -> Callable[..., list[float]]:
        def rates(_: float, y: Any) -> list[float]:
            brought = 4.0 * WHEELS * push(effort, WHEELS * y[1], 4)
            f = FORWARD if effort > 0.0 else BACK
            a = (brought - f * 4.0) / (TURNS + f * MASS)
            return [y[1], a, a]

        return rates

    out = []
    t, y = until(sliding(1.0, 1.0), [0.0, 0.0, 0.0], lambda _, y: y[1] - y[2])
    out.append((t, y))
    _, y = until(rolling(1.0), list(y), 0.6 - t)
    t = 0.6
    took, y = until(sliding(0.0, -1.0), list(y), lambda _, y: y[2] - y[1])
    t += took
    out.append((t, y))
    took, y = until(rolling(0.0), [y[0], y[1], y[1]], lambda _, y: -y[1])
    out.append((t + took, y))
    return out


def test_wheels_spin_at_the_start_and_slide_as_they_brake() -> None:
    robot = a_robot({"drive": TANK}, {"coil": SMALL}, (E, OHMS))
    plant = a_plant(robot, tolerance=1e-10, pose=Pose(1.0, 1.0, 0.0))
    plant.command("drive", DriveFor(1.0, 20.0, 0.0, 600_000, "brake"))
    plant.advance(4_000_000)
    (grips, _), (again, _), (stops, there) = driven()
    spells = strain.sliding(plant, "drive")
    assert [at for spell in spells for at in spell] == pytest.approx([0.0, grips, 0.6, again], abs=1e-6)
    log = plant._log[: plant._rows]
    last = log[np.flatnonzero(log[:, L.LOG_MECH + L.LOG_SPEED1])[-1]]
    assert last[L.LOG_T] + last[L.LOG_H] == pytest.approx(stops, abs=1e-6)
    assert plant.position("drive") == pytest.approx(there[0], abs=1e-8)


def test_wheels_spin_on_the_spot_where_the_robot_is_held() -> None:
    """Friction above the grip: the robot stays, its wheels come to the speed at which their motors bring the grip."""
    robot = a_robot({"drive": {**TANK, "friction": "90 N"}}, {"coil": SMALL}, (E, OHMS))
    plant = a_plant(robot, pose=Pose(1.0, 1.0, 0.0))
    plant.command("drive", DriveFor(1.0, 20.0, 0.0, 3_000_000, "brake"))
    plant.advance(2_000_000)
    amps = (FORWARD * GRIP / (4.0 * WHEELS) + RUBS) / K
    row = plant._log[plant._rows - 1, L.LOG_MECH :]
    assert plant.position("drive") == 0.0
    assert row[L.LOG_AMPS1] == pytest.approx(amps, rel=1e-6)
    assert row[L.LOG_PER_MECH + L.LOG_SPEED1] == pytest.approx(
        (E - (R + 4 * OHMS) * amps) / K / WHEELS, rel=1e-6
    )
