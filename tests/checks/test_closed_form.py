"""Moves of constant effort against the closed solution of a linear torque-speed line, an inertia and a load.

    M dv/dt = F (1 - v/vf) - Q - b v :  v(t) = u + (v0 - u) exp(-t/tau),  time to go D by Lambert's W:
    T = tau (z + W0(-c exp(-z))),  c = (u - v0)/u,  z = D/(u tau) + c

The formulas are derived; each number is computed here a second way (high-accuracy integration) or agrees with
a general-purpose multibody engine (see engines/).
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp, pi

import numpy as np
import pytest
from builders import SMALL, G, a_move, a_plant, a_robot, a_run, seconds, winding
from scipy.integrate import solve_ivp
from scipy.special import lambertw

from simbot.api import TOLERANCE
from simbot.scenario.model import Robot

TIGHT = 1e-10


class Line:
    """M a = force - slope v - load, from rest at 0."""

    def __init__(self, force: float, slope: float, mass: float, load: float) -> None:
        self.speed = (force - load) / slope
        self.tau = mass / slope
        self.acceleration: Callable[[float], float] = lambda v: (force - slope * v - load) / mass

    def position(self, t: float) -> float:
        return self.speed * (t - self.tau * (1.0 - exp(-t / self.tau)))

    def time(self, distance: float) -> float:
        z = distance / (self.speed * self.tau) + 1.0
        return float(self.tau * (z + lambertw(-np.exp(-z)).real))

    def time_integrated(self, distance: float) -> float:
        def there(_t: float, y: list[float]) -> float:
            return y[0] - distance

        there.terminal = True  # type: ignore[attr-defined]
        right = solve_ivp(
            lambda _t, y: [y[1], self.acceleration(y[1])], (0.0, 60.0), [0.0, 0.0], method="DOP853",
            rtol=1e-13, atol=1e-14, events=there,
        )  # fmt: skip
        return float(right.t_events[0][0])


def slide(travel: float, **more: object) -> dict[str, object]:
    return {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "100 %"}],
        "drum_diameter": "40 mm", "moving_mass": "2.5 kg", "damping": "3 N*s/m", "friction": "0 N",
        "travel": ["0 m", f"{travel} m"],
        "control": {"loop": "full_effort", "window": "1 mm"}, **more,
    }  # fmt: skip


# R 0.45 ohm, k 0.0185, rotor 2.4e-5 kg m² behind 1000 rad/m: 24 kg; 2.5 kg and 3 N s/m; 12 V, stiff
SLIDE_MOTOR = winding(0.45, 0.0185, 2.4e-5)
SLIDE = Line(1000.0 * 0.0185 * 12.0 / 0.45, 1e6 * 0.0185**2 / 0.45 + 3.0, 26.5, 2.5 * G)


@pytest.mark.parametrize(("travel", "right"), [(0.60, 1.011918096530), (0.03, 0.080116252404)])
def test_slide_up(travel: float, right: float) -> None:
    """The same two times come from a multibody engine (Runge-Kutta, 0.1 ms) to 1e-13."""
    assert SLIDE.time(travel) == pytest.approx(right, rel=1e-11)
    assert SLIDE.time_integrated(travel) == pytest.approx(right, rel=1e-11)
    mechanisms = {"lift": slide(travel)}
    plan = [
        {"effort": {"lift": "100 %", "toward": f"{travel} m", "for": "2 s", "after": "100 %"}},
        {"wait": "2 s"},
    ]
    got = a_run(plan, mechanisms, {"coil": SLIDE_MOTOR}).moves[0]
    assert got.arrival_us is not None and got.floor_us is not None
    assert seconds(got.arrival_us) == pytest.approx(right, abs=1.001e-6)  # rounded up to the microsecond
    assert seconds(got.floor_us) == pytest.approx(right, abs=1e-6)  # nothing but full effort is faster


@pytest.mark.parametrize(("tolerance", "limit"), [(TOLERANCE, 1e-6), (TIGHT, 1e-8)])
@pytest.mark.parametrize("travel", [0.60, 0.03])
def test_slide_position(travel: float, tolerance: float, limit: float) -> None:
    """Position on the way, against the closed form, at the tolerance of every run and at a tight one."""
    plant = a_plant(a_robot({"lift": slide(travel)}, {"coil": SLIDE_MOTOR}), tolerance=tolerance)
    a_move(plant, "lift", travel)
    end = int(SLIDE.time(travel) * 1e6)
    for at_us in (end // 20, end // 5, end // 2, end):
        plant.advance(at_us)
        assert plant.position("lift", at_us) == pytest.approx(
            SLIDE.position(at_us * 1e-6), rel=limit, abs=1e-12
        )


TURNS = {  # free speed rad/s, stall N m, load N m, inertia kg m², distance rad, time s
    "lift": (30.0, 4.0, 1.2, 0.05, 12.0, 0.91362301206581),
    "no load": (52.0, 0.9, 0.0, 0.011, 2.0 * pi, 0.43667122790844),
    "near stall": (30.0, 4.0, 3.8, 0.05, 1.0, 1.0167485114727),
}


@pytest.mark.parametrize(("tolerance", "limit"), [(TOLERANCE, 1e-6), (TIGHT, 1e-8)])
@pytest.mark.parametrize("case", TURNS)
def test_inertia_and_load(case: str, tolerance: float, limit: float) -> None:
    """Times from 30-digit arithmetic. A winch with a drum of radius 1 m: a radian is a metre."""
    free, stall, load, inertia, distance, right = TURNS[case]
    line = Line(stall, stall / free, inertia, load)
    assert line.time(distance) == pytest.approx(right, rel=1e-11)
    drum = 0.5  # m; per radian a quarter of a metre
    r = drum / 2.0
    motor = winding(12.0**2 / (stall * free), 12.0 / free, 0.0)
    winch = {
        "kind": "winch", "motors": "1 x coil", "gearing": [], "drum_diameter": f"{drum} m",
        "load": f"{load / r!r} N", "moving_mass": f"{inertia / r**2!r} kg", "travel": ["0 m", f"{distance * r!r} m"],
        "friction": "0 N", "control": {"loop": "full_effort", "window": "0.1 mm"},
    }  # fmt: skip
    plant = a_plant(a_robot({"winch": winch}, {"coil": motor}), tolerance=tolerance)
    move = a_move(plant, "winch", distance * r)
    end = int(right * 1e6)
    plant.advance(end)
    assert plant.position("winch", end) == pytest.approx(r * line.position(end * 1e-6), rel=limit)
    assert seconds(move.first_inside_us()) == pytest.approx(right, abs=1.001e-6 + limit * right)


def small_lift(travel: float, battery: tuple[float, float] = (13.2, 0.15), **more: object) -> Robot:
    """One small motor, 20:1 at 80 %, drum 38 mm, 3.2 kg, friction 8 N."""
    lift = {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "80 %"}],
        "drum_diameter": "38 mm", "moving_mass": "3.2 kg", "friction": "8 N",
        "travel": ["0 m", f"{travel} m"],
        "control": {"loop": "full_effort", "window": "1 mm"}, **more,
    }  # fmt: skip
    return a_robot({"lift": lift}, {"coil": SMALL}, battery)


def small_lift_line(volts: float = 13.2, ohms: float = 0.15) -> Line:
    """eta (G tau - G² J a) = M a + Q + F at the load; the battery's resistance adds to the winding's."""
    r = 12.0 / 9.2
    k = (12.0 - 0.25 * r) / (5800.0 * pi / 30.0)
    g = 20.0 / 0.019
    force = 0.8 * g * (k * volts / (r + ohms) - k * 0.25)
    return Line(force, 0.8 * (g * k) ** 2 / (r + ohms), 3.2 + 0.8 * g**2 * 1e-5, 3.2 * G + 8.0)


@pytest.mark.parametrize(("travel", "right"), [(0.75, 1.685568), (0.05, 0.159658)])
def test_lift_with_losses_on_a_sagging_battery(travel: float, right: float) -> None:
    line = small_lift_line()
    assert line.time(travel) == pytest.approx(right, abs=6e-7)
    assert line.time_integrated(travel) == pytest.approx(line.time(travel), rel=1e-10)
    move = a_move(a_plant(small_lift(travel)), "lift", travel)
    assert seconds(move.first_inside_us()) == pytest.approx(line.time(travel), abs=1.2e-6)


@pytest.mark.parametrize(
    "battery",
    [(12.0, 0.0), (13.2, 0.0), (13.2 - 2.25, 0.15)],
    ids=["stiff 12 V", "stiff 13.2 V", "while 15 A are drawn by others"],
)
def test_lift_depends_on_the_battery(battery: tuple[float, float]) -> None:
    right = small_lift_line(*battery).time(0.75)
    got = seconds(a_move(a_plant(small_lift(0.75, battery)), "lift", 0.75).first_inside_us())
    assert got == pytest.approx(right, abs=1.2e-6)


def test_holding_brake() -> None:
    """At rest under a brake nothing moves: a lift at its upper stop has arrived with the touch."""
    plant = a_plant(small_lift(0.75, holding_brake=True))
    move = a_move(plant, "lift", 0.75)
    plant.advance(5_000_000)
    assert plant.position("lift") == 0.75
    assert move.arrival_us() == move.first_inside_us()


def test_arrival_does_not_depend_on_when_it_is_asked() -> None:
    """A lift that sinks out of its window once its stop has been seen has not arrived with the touch."""
    plant = a_plant(small_lift(0.75))
    move = a_move(plant, "lift", 0.75)
    at_once = move.arrival_us()
    plant.advance(5_000_000)
    assert move.arrival_us() == at_once


def test_lowering_with_the_motor_shorted() -> None:
    """Driven back, gears return 2 - 1/0.8 = 0.75: (G²J + 0.75 M) a = 0.75 (mg - F) - G (k i + tf)."""
    r = 12.0 / 9.2
    k = (12.0 - 0.25 * r) / (5800.0 * pi / 30.0)
    g, back = 20.0 / 0.019, 0.75
    line = Line(0.0, (g * k) ** 2 / r, g**2 * 1e-5 + back * 3.2, -(back * (3.2 * G - 8.0) - g * k * 0.25))
    idle = {
        "loop": "full_effort",
        "window": "0.8 m",
    }  # already inside: its motor is shorted from the first tick
    plant = a_plant(small_lift(0.8, control=idle), seconds=30.0, lift=0.75)
    for at_us in (100_000, 2_000_000, 10_000_000):
        plant.advance(at_us)
        fallen = 0.75 - float(plant.position("lift", at_us))
        assert fallen == pytest.approx(line.position(at_us * 1e-6), rel=1e-6)


def test_heat_of_a_spun_up_inertia() -> None:
    """A pure inertia brought to free speed costs as much heat as it holds, whatever the winding."""
    for resistance in (0.3, 1.5):
        motor = winding(resistance, 0.02, 0.0)
        roller = {"kind": "roller", "motors": "1 x coil", "inertia": "1e-4 kg*m^2", "friction": "0 N*m"}
        tau = resistance * 1e-4 / 0.02**2
        result = a_run([{"spin": {"wheel": "100 %"}}, {"wait": f"{30.0 * tau:.3f} s"}], {"wheel": roller},
                       {"coil": motor}, lasts=40.0 * tau)  # fmt: skip
        kinetic = 0.5 * 1e-4 * (12.0 / 0.02) ** 2
        assert result.energy_j == pytest.approx(2.0 * kinetic, rel=1e-6)
