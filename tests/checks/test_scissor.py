"""Scissor lifts: the force of the screw, and times integrated over the links' angle instead of the height."""

from __future__ import annotations

from math import cos, radians, sin, tan, tau

import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot, seconds, winding
from scipy.integrate import solve_ivp

from simbot.physics import layout as L
from simbot.physics.build import Models
from simbot.scenario.errors import ScenarioError

N, LINK, TOP, EACH = 3, 0.2, 0.8, 0.06
K, OHMS, ROTOR = 0.0185, 0.45, 2.4e-5
SCREW = {"pitch": "2 mm", "starts": 4, "mean_diameter": "7 mm", "thread_friction": 0.0}


def scissor(**more: object) -> Words:
    return {
        "kind": "scissor", "motors": "1 x coil", "cells": N, "link": f"{LINK} m", "top_mass": f"{TOP} kg",
        "link_mass": f"{EACH} kg", "friction": "0 N", "travel": [f"{height(10.0)!r} m", f"{height(60.0)!r} m"],
        "control": {"loop": "full_effort", "window": "1 mm"}, **more,
    }  # fmt: skip


def height(degrees: float) -> float:
    return N * LINK * sin(radians(degrees))


@pytest.mark.parametrize("angle", [10.0, 45.0])
def test_force_of_the_screw(angle: float) -> None:
    """Weightless links under W: the screw pulls n W cot(phi): 17.0138 W at 10 degrees, 3 W at 45, for 3 cells."""
    given = scissor(screw=SCREW, link_mass="0 kg", travel=[f"{height(angle)!r} m", f"{height(60.0)!r} m"])
    reduced = Models(a_robot({"it": given}, {"coil": SMALL})).get("it").reduced
    knots = reduced.segments[0].knots
    assert knots is not None
    torque = knots[0, L.TAB_Q] / (reduced.per_travel * knots[0, L.TAB_G])
    assert torque * tau / 0.008 == pytest.approx(N * TOP * G / tan(radians(angle)), rel=1e-12)
    assert knots[0, L.TAB_M] == pytest.approx(TOP, rel=1e-12)


def integrated(per_angle, rotor_torque, rotor: float, forward: float = 1.0, back: float = 1.0) -> float:  # type: ignore[no-untyped-def]
    """Time from 10 to 60 degrees; the motor turns by per_angle(phi) dphi; energies in phi, slopes by differences."""

    def kinetic(phi: float) -> float:
        centres = sum(
            (N * LINK * cos(phi) * (j + 0.5) / N) ** 2 + (0.5 * LINK * sin(phi)) ** 2 for j in range(N)
        )
        turning = 2 * N * EACH * LINK**2 / 12.0
        return TOP * (N * LINK * cos(phi)) ** 2 + 2.0 * EACH * centres + turning

    def potential(phi: float) -> float:
        return G * N * LINK * sin(phi) * (TOP + N * EACH)

    def slope(_t: float, y: list[float]) -> list[float]:
        phi, w = y
        h = 1e-5
        ratio, bend = per_angle(phi), (per_angle(phi + h) - per_angle(phi - h)) / (2 * h)
        load = 0.5 * (kinetic(phi + h) - kinetic(phi - h)) / (2 * h) * w * w
        load += (potential(phi + h) - potential(phi - h)) / (2 * h)
        drive = ratio * (rotor_torque(ratio * w) - rotor * bend * w * w)
        for passed in (forward, 1.0 / back):  # the load may overrun the thread: then it returns `back`
            a = (passed * drive - load) / (kinetic(phi) + passed * rotor * ratio**2)
            if (kinetic(phi) * a + load >= 0.0) == (passed == forward):
                break
        return [w, a]

    def there(_t: float, y: list[float]) -> float:
        return y[0] - radians(60.0)

    there.terminal = True  # type: ignore[attr-defined]
    right = solve_ivp(slope, (0.0, 20.0), [radians(10.0), 0.0], rtol=1e-10, atol=1e-12, events=there)
    return float(right.t_events[0][0])


def torque(speed: float) -> float:
    return K * (12.0 - K * speed) / OHMS


def arrival(given: Words) -> float:
    robot = a_robot({"it": given}, {"coil": winding(OHMS, K, ROTOR)})
    goal = robot.mechanisms["it"].values["travel"][1]
    move = a_move(a_plant(robot, tolerance=1e-9), "it", float(goal))
    return seconds(move.first_inside_us())


def test_raised_by_a_screw() -> None:
    """The feet come together by link sin(phi) dphi: a screw of 8 mm lead turns (2 pi/lead) of that."""
    right = integrated(lambda phi: tau / 0.008 * LINK * sin(phi), torque, ROTOR)
    assert arrival(scissor(screw=SCREW)) == pytest.approx(right, abs=1.5e-6)


def test_raised_by_a_screw_with_friction() -> None:
    """0.15 in the thread; the screw's own inertia on the motor's side of it; its flanks square."""
    lead_angle, friction = 0.008 / (tau / 2.0 * 0.007), 0.15
    forward = lead_angle * (1.0 - friction * lead_angle) / (lead_angle + friction)  # tan(l)/tan(l + phi)
    back = (lead_angle - friction) / (1.0 + lead_angle * friction) / lead_angle  # tan(l - phi)/tan(l)
    right = integrated(lambda phi: tau / 0.008 * LINK * sin(phi), torque, ROTOR + 5e-6, forward, back)
    screw = {**SCREW, "thread_friction": friction, "flank_angle": "0 deg", "screw_inertia": "5e-6 kg*m^2"}
    assert arrival(scissor(screw=screw)) == pytest.approx(right, abs=1.5e-6)


def test_raised_by_a_link_that_turns() -> None:
    right = integrated(lambda _phi: 40.0, torque, ROTOR)
    given = scissor(gearing=[{"ratio": 40, "efficiency": "100 %"}])
    assert arrival(given) == pytest.approx(right, abs=1.5e-6)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"travel": ["10 mm", "300 mm"]}, ["folded flat", "10 mm", "20.94 mm (0.02094 m) to"]),
        ({"travel": ["100 mm", "700 mm"]}, ["not as tall", "700 mm", "0.5996 m"]),
        ({"screw": {"pitch": "2 mm"}}, ["mean_diameter"]),
        ({"screw": {**SCREW, "pitch": "80 mm", "starts": 12, "thread_friction": 0.5}}, ["jams its nut"]),
    ],
)
def test_what_cannot_be_built_is_one_message(more: Words, words: list[str]) -> None:
    with pytest.raises(ScenarioError) as error:
        a_robot({"it": scissor(**more)}, {"coil": SMALL})
    assert len(error.value.problems) == 1, str(error.value)
    for word in words:
        assert word in str(error.value)
