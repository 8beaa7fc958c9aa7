"""Rack and lead screw: times against the closed solution, a screw's torques against a published example."""

from __future__ import annotations

from math import atan, cos, pi, radians, sin, tan, tau

import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot, seconds
from test_closed_form import Line

from simbot.physics.kinds import lead_screw
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Robot

R = 12.0 / 9.2
K = (12.0 - 0.25 * R) / (5800.0 * pi / 30.0)


def line(per_travel: float, forward: float, rotor: float, mass: float, load: float) -> Line:
    """forward (G tau - G² J a) = M a + load on a stiff 12 V."""
    force = forward * per_travel * (K * 12.0 / R - K * 0.25)
    slope = forward * (per_travel * K) ** 2 / R
    return Line(force, slope, mass + forward * per_travel**2 * rotor, load)


def test_rack_uphill() -> None:
    """One small motor, 20:1 at 80 %, a pinion of 40 mm, 1.8 kg up 30 degrees with 5 N of friction."""
    right = line(1000.0, 0.8, 1e-5, 1.8, 1.8 * G * sin(radians(30.0)) + 5.0)
    rack = {
        "kind": "rack", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "80 %"}],
        "pinion_diameter": "40 mm", "moving_mass": "1.8 kg", "incline": "30 deg", "friction": "5 N",
        "travel": ["0 m", "0.4 m"], "control": {"loop": "full_effort", "window": "1 mm"},
    }  # fmt: skip
    move = a_move(a_plant(a_robot({"it": rack}, {"coil": SMALL})), "it", 0.4)
    assert seconds(move.first_inside_us()) == pytest.approx(right.time(0.4), abs=1.2e-6)
    assert right.time_integrated(0.4) == pytest.approx(right.time(0.4), rel=1e-10)


def screw(**more: object) -> Words:
    return {
        "kind": "lead_screw", "motors": "1 x coil", "pitch": "2 mm", "starts": 4, "mean_diameter": "7 mm",
        "thread_friction": 0.15, "flank_angle": "0 deg", "moving_mass": "2.5 kg", "friction": "6 N",
        "travel": ["0 m", "0.25 m"], "control": {"loop": "full_effort", "window": "1 mm"}, **more,
    }  # fmt: skip


def efficiencies(robot: Robot) -> tuple[float, float]:
    """Of the thread, forward and back."""
    stage = lead_screw.own_stages(robot.mechanisms["it"].values)[1]
    assert stage.efficiency is not None and stage.back_efficiency is not None
    return float(stage.efficiency), float(stage.back_efficiency)


def test_published_power_screw() -> None:
    """Square double thread, 32 mm, pitch 4 mm, f 0.08, 6.4 kN: raising 15.94, lowering -0.466 N m.

    Source: Shigley's Mechanical Engineering Design, worked example of a power screw (its collar's torque of
    10.24 N m left out: 26.18 and 9.77 N m with it), from memory.
    """
    given = screw(pitch="4 mm", starts=2, mean_diameter="30 mm", thread_friction=0.08)
    forward, back = efficiencies(a_robot({"it": given}, {"coil": SMALL}))
    ideal = 6400.0 * 0.008 / tau
    assert ideal / forward == pytest.approx(15.94, abs=0.005)
    assert -ideal * back == pytest.approx(-0.466, abs=0.0005)


@pytest.mark.parametrize("friction", [0.1, 0.15, 0.2, 0.38])
@pytest.mark.parametrize("flank", [0.0, 15.0])
def test_efficiency_from_the_torques_of_a_block_on_an_incline(friction: float, flank: float) -> None:
    """Force along and square to the thread: F (l +- pi f d/cos)/(pi d -+ f l/cos), per turn."""
    given = screw(thread_friction=friction, flank_angle=f"{flank} deg")
    forward, back = efficiencies(a_robot({"it": given}, {"coil": SMALL}))
    f, lead, d = friction / cos(radians(flank)), 0.008, 0.007
    raising = d / 2.0 * (lead + pi * f * d) / (pi * d - f * lead)
    lowering = d / 2.0 * (pi * f * d - lead) / (pi * d + f * lead)
    assert forward == pytest.approx(lead / tau / raising, rel=1e-12)
    assert back == pytest.approx(-lowering / (lead / tau), rel=1e-12)
    assert (back <= 0.0) == (atan(lead / (pi * d)) <= atan(f))


def test_screw_lifts() -> None:
    """12 V on the screw itself, the screw's inertia before its thread's loss."""
    lead_angle, phi = atan(0.008 / (pi * 0.007)), atan(0.15)
    forward = tan(lead_angle) / tan(lead_angle + phi)
    right = line(tau / 0.008, forward, 1e-5 + 4e-6, 2.5, 2.5 * G + 6.0)
    robot = a_robot({"it": screw(screw_inertia="4e-6 kg*m^2")}, {"coil": SMALL})
    move = a_move(a_plant(robot), "it", 0.25)
    assert seconds(move.first_inside_us()) == pytest.approx(right.time(0.25), abs=1.2e-6)


@pytest.mark.parametrize(("friction", "stays"), [(0.35, False), (0.37, True)])
def test_whether_it_holds_follows_from_its_lead_angle(friction: float, stays: bool) -> None:
    """tan(lead angle) = 8/(7 pi) = 0.3638; the motor open, no friction but the thread's."""
    thin = {**SMALL, "free_current": "0 A"}
    idle = {"loop": "full_effort", "window": "0.25 m", "after": "coast"}
    robot = a_robot({"it": screw(thread_friction=friction, friction="0 N", control=idle)}, {"coil": thin})
    plant = a_plant(robot, it=0.2)
    plant.advance(3_000_000)
    assert (plant.position("it") == 0.2) == stays


def test_a_thread_that_jams_is_a_message() -> None:
    with pytest.raises(ScenarioError, match=r"jams its nut.*80 mm"):
        a_robot({"it": screw(pitch="80 mm", starts=12, thread_friction=0.5)}, {"coil": SMALL})
