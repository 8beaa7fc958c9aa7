"""Slider-crank: kinematics against published worked examples, leverage, the dead centre, and a servo's move."""

from __future__ import annotations

from math import asin, cos, degrees, pi, radians, sin, sqrt

import numpy as np
import pytest
from builders import SMALL, Words, a_move, a_plant, a_robot, seconds, winding
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from simbot.physics.assumptions import physics_remarks
from simbot.physics.kinds import slider_crank
from simbot.physics.layout import STEPS
from simbot.physics.move import PushFor
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Robot

INCH = 0.0254
FREE = 5.8178  # rad/s


def crank(**more: object) -> Words:
    return {
        "kind": "slider_crank", "motors": "1 x coil", "gearing": [{"ratio": 60, "efficiency": "100 %"}],
        "crank": "40 mm", "coupler": "80 mm", "slider_mass": "500 g", "friction": "0 N*m",
        "travel": ["-5 deg", "170 deg"], "control": {"loop": "full_effort", "window": "0.5 deg"}, **more,
    }  # fmt: skip


def by_servo(**more: object) -> Words:
    """1.25 N m and 5.8178 rad/s at 6 V, rotor 0.0086 kg m² at the horn."""
    servo = {
        "speed": f"{FREE} rad/s", "stall_torque": "1.25 N*m", "at": "6 V", "band": "0.1 deg",
        "dead_band": "0 deg", "window": "0.5 deg", "friction": "0 %", "frame": "0 s",
        "rotor_time": f"{0.0086 * FREE / 1.25!r} s",
    }  # fmt: skip
    given = crank(servo={**servo, **more})
    return {key: value for key, value in given.items() if key not in ("motors", "gearing", "control")}


def values(crank_length: str, coupler: str) -> Words:
    given = crank(crank=crank_length, coupler=coupler, travel=["-180 deg", "180 deg"])
    return a_robot({"it": given}, {"coil": SMALL}).mechanisms["it"].values


def test_published_speed_at_45_degrees() -> None:
    """10 and 20 inches at 1 rad/s: coupler 159.295 deg and 0.378 rad/s, slider 9.744 in/s.

    Source: a worked sheet for the slider-crank in a university course (coupler's angle counted from the slider).
    """
    p = values("10 in", "20 in")
    q = np.array([radians(45.0)])
    coupler = slider_crank.motion(p, q)["coupler"][1]
    assert degrees(coupler.at[0]) + 180.0 == pytest.approx(159.295, abs=5e-4)
    assert abs(coupler.d1[0]) == pytest.approx(0.378, abs=5e-4)
    assert abs(slider_crank.slider(p, q).d1.real[0]) / INCH == pytest.approx(9.744, abs=5e-4)


def test_published_peak_of_a_piston() -> None:
    """Rod 6.024 in, stroke 3.307 in, 6000 rpm: greatest speed after 0.002100653404 s, at 75.6 deg and 6.218 in.

    Source: a page on piston motion, its ten digits of the instant; 1078 in/s is printed for 1077.540.
    """
    p = values("1.6535 in", "6.024 in")

    def bend(q: float) -> float:
        return float(slider_crank.slider(p, np.array([q])).d2.real[0])

    at = brentq(bend, 1.0, 1.6, xtol=1e-14)
    there = slider_crank.slider(p, np.array([at]))
    assert at / (200.0 * pi) == pytest.approx(0.002100653404, abs=5e-13)
    assert degrees(at) == pytest.approx(75.6235, abs=5e-5)
    assert there.at.real[0] / INCH == pytest.approx(6.218, abs=5e-4)
    assert -there.d1.real[0] * 200.0 * pi / INCH == pytest.approx(1077.540, abs=5e-4)


def test_peak_of_a_second_piston() -> None:
    """Crank 1 in, rod 3 in, 3000 rpm: 331.3248 in/s at 73.1753 deg. Inputs of a university course's dynamics case.

    v = w r (sin q + r sin 2q/(2 sqrt(l^2 - r^2 sin^2 q))): the textbook's closed form, its peak by a fine search.
    """
    p = values("1 in", "3 in")
    q = np.linspace(1.2, 1.35, 150_001)
    speed = -slider_crank.slider(p, q).d1.real * 100.0 * pi / INCH
    textbook = 100.0 * pi * (np.sin(q) + np.sin(2 * q) / (2.0 * np.sqrt(9.0 - np.sin(q) ** 2)))
    assert speed == pytest.approx(textbook, rel=1e-10)
    assert speed.max() == pytest.approx(331.3248, abs=5e-5)
    assert degrees(q[np.argmax(speed)]) == pytest.approx(73.1753, abs=2e-4)


@pytest.mark.parametrize("q", [3.0, 30.0, 90.0, 177.0])
def test_force_per_torque(q: float) -> None:
    """The slider moves dx when the crank turns dq, so a torque pushes with torque/|dx/dq|."""

    def x(angle: float) -> float:
        return 0.04 * cos(angle) + sqrt(0.08**2 - (0.04 * sin(angle)) ** 2)

    step, at = 1e-4, radians(q)
    rate = (x(at - 2 * step) - 8 * x(at - step) + 8 * x(at + step) - x(at + 2 * step)) / (12.0 * step)
    course = slider_crank.slider(values("40 mm", "80 mm"), np.array([at]))
    assert course.d1.real[0] == pytest.approx(rate, rel=1e-9)
    assert course.d1.imag[0] == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize("q", [30.0, 120.0])
def test_torque_that_holds_a_push(q: float) -> None:
    """100 N along the slide need 100 N x |dx/dq| at the crank: more does, less does not."""
    k, ohms = 0.02, 1.0
    need = (
        100.0
        * 0.04
        * sin(radians(q))
        * (1.0 + 0.04 * cos(radians(q)) / (0.08 * cos(asin(0.5 * sin(radians(q))))))
    )
    for share, moves_out in ((1.002, True), (0.998, False)):
        volts = need * share / 60.0 / k * ohms
        robot = a_robot({"it": crank(load="100 N")}, {"coil": winding(ohms, k, 1e-6)}, (volts, 0.0))
        plant = a_plant(robot, it=radians(q))
        plant.command("it", PushFor(1.0, radians(-5.0), 1_000_000))
        plant.advance(15_000)
        assert (float(plant.position("it")) < radians(q)) == moves_out


def test_past_the_dead_centre_a_push_needs_no_current() -> None:
    """Motor open, 500 N on the slider: 5 degrees past the dead centre it stays; 5 before it the crank flies."""
    idle = {"loop": "full_effort", "window": "3 rad", "after": "coast"}
    for start, stays in ((-5.0, True), (5.0, False)):
        plant = a_plant(
            a_robot({"it": crank(load="500 N", control=idle)}, {"coil": SMALL}), it=radians(start)
        )
        plant.advance(2_000_000)
        assert (plant.position("it") == radians(start)) == stays
        if stays:
            assert plant.energy() == 0.0


def test_over_the_dead_centre_by_its_swing() -> None:
    """170 to -5 degrees at full effort against 20 N, which turns its sign at 0 and helps from there on."""
    robot = a_robot({"it": crank(load="20 N")}, {"coil": winding(1.0, 0.02, 1e-6)})
    move = a_move(a_plant(robot, it=radians(170.0)), "it", radians(-5.0))
    got = seconds(move.first_inside_us())

    def slope(_t: float, y: list[float]) -> list[float]:
        q, w = y
        s, c = sin(q), cos(q)
        root = sqrt(0.08**2 - (0.04 * s) ** 2)
        dx = -0.04 * s - 0.04**2 * s * c / root
        ddx = -0.04 * c - 0.04**2 * (c * c - s * s) / root - 0.04**4 * (s * c) ** 2 / root**3
        torque = 60.0 * 0.02 * (-12.0 - 0.02 * 60.0 * w)
        return [w, (torque - 0.5 * dx * ddx * w * w - 20.0 * dx) / (60.0**2 * 1e-6 + 0.5 * dx * dx)]

    def there(_t: float, y: list[float]) -> float:
        return y[0] - radians(-5.0)

    there.terminal = True  # type: ignore[attr-defined]
    right = solve_ivp(
        slope, (0.0, 5.0), [radians(170.0), 0.0], rtol=1e-10, atol=1e-12, events=there, method="DOP853"
    )
    assert got == pytest.approx(float(right.t_events[0][0]), abs=1.5e-6)


def test_servo_sweeps_the_slide() -> None:
    """165 to 15 degrees at full effort: 0.491043 s, by an integration of its own and by a multibody engine."""
    plant = a_plant(a_robot({"it": by_servo()}, {"coil": SMALL}, (6.0, 0.0)), it=radians(165.0))
    move = a_move(plant, "it", radians(14.5))

    def slope(_t: float, y: list[float]) -> list[float]:
        q, w = y
        s, c = sin(q), cos(q)
        root = sqrt(0.08**2 - (0.04 * s) ** 2)
        dx = 0.04 * s * (1.0 + 0.04 * c / root)
        ddx = 0.04 * c + 0.04**2 * (c * c - s * s) / root + 0.04**4 * (s * c) ** 2 / root**3
        return [w, (-1.25 * (1.0 + w / FREE) - 0.5 * dx * ddx * w * w) / (0.0086 + 0.5 * dx * dx)]

    def there(_t: float, y: list[float]) -> float:
        return y[0] - radians(15.0)

    there.terminal = True  # type: ignore[attr-defined]
    right = solve_ivp(slope, (0.0, 2.0), [radians(165.0), 0.0], rtol=1e-10, atol=1e-12, events=there)
    assert float(right.t_events[0][0]) == pytest.approx(0.491043, abs=2e-6)
    assert seconds(move.first_inside_us()) == pytest.approx(float(right.t_events[0][0]), abs=1.5e-6)


def test_a_servo_on_a_rail_slows_with_it() -> None:
    """On 5 V instead of 6 everything but the inertia shrinks by 5/6; the rail is found inside the block."""
    times = []
    for volts in (6.0, 5.0):
        rails = {"rail": {"voltage": f"{volts} V", "current_limit": "20 A", "regulator": "linear"}}
        robot = a_robot({"it": by_servo(rail="rail")}, {"coil": SMALL}, (12.0, 0.0), rails=rails)
        move = a_move(a_plant(robot, it=radians(165.0)), "it", radians(14.5))
        times.append(seconds(move.first_inside_us()))
    assert times[0] == pytest.approx(0.491043, abs=3e-6)
    assert times[1] > 1.1 * times[0]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"coupler": "38 mm"}, ["across the slide", "38 mm", "longer coupler"]),
        ({"motors": None, "gearing": None, "control": None}, ["nothing drives it"]),
        ({"servo": {"speed": "0.2 s/60deg", "stall_torque": "1 N*m", "at": "6 V"}, "gearing": None, "control": None},
         ["motors and a servo together"]),
        ({"servo": {"speed": "0.2 s/60deg", "stall_torque": "1 N*m", "at": "6 V"}, "motors": None, "control": None},
         ["a servo has its own gears", "gearing"]),
        ({"servo": {"speed": "0.2 s/60deg", "stall_torque": "1 N*m", "at": "6 V", "rail": "blue"}, "motors": None,
          "gearing": None, "control": None}, ["no such rail", "blue"]),
        ({"servo": {"speed": "0.2 s/60deg", "at": "6 V"}, "motors": None, "gearing": None, "control": None},
         ["stall_torque"]),
    ],
)  # fmt: skip
def test_what_cannot_be_driven_is_one_message(more: Words, words: list[str]) -> None:
    given = {key: value for key, value in crank(**more).items() if value is not None}
    with pytest.raises(ScenarioError) as error:
        a_robot({"it": given}, {"coil": SMALL})
    assert len(error.value.problems) == 1, str(error.value)
    for word in words:
        assert word in str(error.value)


SHEET = {"speed": "0.12 s/60deg", "stall_torque": "25 kg*cm", "at": "6 V", "rail": "blue"}


@pytest.mark.parametrize("above", [("stall_torque",), ("rail", "at"), tuple(SHEET)])
def test_keys_of_a_servo_beside_it_are_told_where_they_belong(above: tuple[str, ...]) -> None:
    """One message for each, and none on what nobody wrote: no missing key, no other key's value."""
    given = {key: value for key, value in crank().items() if key not in ("motors", "gearing", "control")}
    inside = {key: value for key, value in SHEET.items() if key not in above}
    more: Words = {"servo": inside} if inside else {}
    rails = {"blue": {"voltage": "6 V", "regulator": "linear"}}
    with pytest.raises(ScenarioError) as error:
        a_robot({"it": {**given, **more, **{key: SHEET[key] for key in above}}}, {"coil": SMALL}, rails=rails)
    told = {problem.given: problem for problem in error.value.problems}
    assert set(told) == set(above) and len(error.value.problems) == len(above)
    for key, problem in told.items():
        assert (problem.text, problem.nearest) == ("this key belongs under `servo`", None)
        assert problem.wanted == f"servo: {{{key}: {SHEET[key]}}}"


def test_keys_of_a_control_beside_it_belong_under_it() -> None:
    with pytest.raises(ScenarioError) as error:
        a_robot({"it": crank(p="3 /rad", control={"loop": "position"})}, {"coil": SMALL})
    (problem,) = error.value.problems
    assert (problem.text, problem.wanted) == ("this key belongs under `control`", "control: {p: 3 /rad}")


@pytest.mark.parametrize(("key", "value", "near"), [
    ("stall_torqe", "25 kg*cm", None),  # a little like stalls_at_most, whose value is no torque
    ("stals_at_most", "3 s", "stalls_at_most"), ("cuopler", "80 mm", "coupler"),
])  # fmt: skip
def test_a_guess_that_its_value_does_not_fit_is_none(key: str, value: str, near: str | None) -> None:
    with pytest.raises(ScenarioError) as error:
        a_robot({"it": crank(**{key: value})}, {"coil": SMALL})
    (problem,) = error.value.problems
    assert (problem.given, problem.nearest) == (key, near)


@pytest.mark.parametrize("offset", [0.0, 0.01])
def test_friction_of_the_slider_over_its_dead_centre(offset: float) -> None:
    """30 N along the slide, against the slider's motion whichever way that is: at the crank 30 |dx/dq|."""
    motor = winding(1.0, 0.02, 1e-6)
    given = crank(slider_friction="30 N", offset=f"{offset} m", travel=["-60 deg", "170 deg"])
    plant = a_plant(a_robot({"it": given}, {"coil": motor}), it=radians(170.0))
    got = seconds(a_move(plant, "it", radians(-60.0)).first_inside_us())

    def slope(_t: float, y: list[float]) -> list[float]:
        q, w = y
        s, c = sin(q), cos(q)
        root = sqrt(0.08**2 - (0.04 * s - offset) ** 2)
        up = 0.04 * s - offset
        dx = -0.04 * s - up * 0.04 * c / root
        ddx = -0.04 * c - ((0.04 * c) ** 2 - up * 0.04 * s) / root - (up * 0.04 * c) ** 2 / root**3
        torque = 60.0 * 0.02 * (-12.0 - 0.02 * 60.0 * w)
        return [w, (torque - 0.5 * dx * ddx * w * w + 30.0 * abs(dx)) / (60.0**2 * 1e-6 + 0.5 * dx * dx)]

    def there(_t: float, y: list[float]) -> float:
        return y[0] - radians(-60.0)

    there.terminal = True  # type: ignore[attr-defined]
    right = solve_ivp(
        slope, (0.0, 5.0), [radians(170.0), 0.0], rtol=1e-9, atol=1e-11, events=there, method="Radau"
    )
    free = a_plant(a_robot({"it": {**given, "slider_friction": "0 N"}}, {"coil": motor}), it=radians(170.0))
    without = seconds(a_move(free, "it", radians(-60.0)).first_inside_us())
    assert got == pytest.approx(float(right.t_events[0][0]), rel=2e-4)
    assert got > 1.05 * without


@pytest.mark.parametrize(("offset", "length"), [(0.0, 0.08), (0.015, 0.08), (-0.02, 0.09)])
def test_dead_centres_are_where_the_slider_turns_around(offset: float, length: float) -> None:
    p = {"crank": 0.04, "coupler": length, "offset": offset}
    found = sorted(slider_crank.dead_centres(p, -pi, 2.9 * pi))
    assert len(found) == 4
    assert slider_crank.slider(p, np.array(found)).d1.real == pytest.approx(np.zeros(4), abs=1e-12)


def test_a_rotor_and_a_crank_without_mass_at_the_dead_centre() -> None:
    """There nothing that moves has a mass: still an arrival, that of a rotor too light to matter; and it is said."""

    def robot(rotor: float) -> Robot:
        return a_robot({"it": crank(load="20 N")}, {"coil": winding(1.0, 0.02, rotor)})

    times = []
    for rotor in (0.0, 1e-15, 1e-9):
        plant = a_plant(robot(rotor), it=radians(170.0))
        move = a_move(plant, "it", radians(-5.0))
        times.append(seconds(move.first_inside_us()))
        assert move.floor_s() is not None and plant.arrays.w[STEPS] < 50_000
    assert times[0] == pytest.approx(times[1], abs=1.5e-6) and times[0] == pytest.approx(times[2], rel=1e-3)
    told = [each.text for each in physics_remarks(robot(0.0)) if "do not go together" in each.text]
    assert len(told) == 1 and "are added to each rotor" in told[0]
    assert not [each for each in physics_remarks(robot(1e-5)) if "do not go together" in each.text]
