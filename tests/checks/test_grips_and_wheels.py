"""Claws, cylinders, flywheels and rollers, against closed forms and an independent integrator."""

from __future__ import annotations

from math import radians
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot, seconds
from integrated import MOTOR, crossing
from scipy.integrate import solve_ivp

from simbot.api import run
from simbot.physics import layout as L
from simbot.physics.follows import consequences, idle_jaws, spin_up
from simbot.physics.kinds import KINDS, claw, cylinder, flywheel, roller
from simbot.physics.move import GoTo, Spin
from simbot.physics.outline import Disc, Line
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import load_plan

YARD = Path(__file__).parents[2] / "scenarios" / "mechanisms"


# --- claw ---------------------------------------------------------------------------------------------

CLAW: Words = {
    "kind": "claw", "speed": "0.15 s/60deg", "stall_torque": "1.5 N*m", "at": "6 V", "stall_current": "2.4 A",
    "travel": ["0 deg", "120 deg"], "band": "5 deg", "dead_band": "0.5 deg", "friction": "5 %", "rotor_time": "40 ms",
    "jaw": "60 mm", "contact": "70 deg", "stiffness": "10 N/mm", "element_mass": "0.4 kg", "grip": 0.5,
    "load_inertia": "1e-4 kg*m^2",
}  # fmt: skip


def a_claw(**more: Any) -> Any:
    robot = a_robot({"it": {**CLAW, **more}}, {"m": MOTOR}, (6.0, 0.0))
    return robot, robot.mechanisms["it"].values


@pytest.mark.parametrize(
    ("more", "sign"),
    [({}, 1.0), ({"closes": "falling", "contact": "50 deg"}, -1.0), ({"moving_jaws": 2}, 1.0)],
)
def test_a_claw_closes_and_presses(more: Words, sign: float) -> None:
    """Time until its element is held, by an independent integration; rest, force and current by balance."""
    robot, values = a_claw(**more)
    start, contact, sent = (radians(each if sign > 0.0 else 120.0 - each) for each in (10.0, 70.0, 90.0))
    plant = a_plant(robot, 5.0, tolerance=1e-9, it=start)
    move = a_move(plant, "it", sent)
    free = radians(60.0) / 0.15
    inertia = 0.04 * 1.5 / free + 1e-4
    closing = 0.06 * more.get("moving_jaws", 1)

    def rates(_: float, y: Any) -> list[float]:
        effort = min(max((radians(80.0) - y[0]) / radians(5.0), -1.0), 1.0)
        pressed = 10000.0 * closing**2 * max(y[0] - radians(60.0), 0.0)
        return [y[1], (1.5 * effort - 1.5 * y[1] / free - 0.05 * 1.5 - pressed) / inertia]

    needed = 0.4 * G / (2 * 0.5)  # N on each of two faces
    deep = needed / (10000.0 * closing)
    assert abs(claw.holds_from(values) - contact) == pytest.approx(deep, rel=1e-9)
    at = crossing(rates, [0.0, 0.0], radians(60.0) + deep)
    assert seconds(move.first_inside_us()) == pytest.approx(0.010 + at, abs=3e-6)
    assert move.arrival_us() is not None
    plant.advance(4_000_000)
    rest = claw.pressing(values, sent, 6.0)
    assert rest is not None and abs(plant.speed("it")) < 1e-4
    q = sign * (float(plant.position("it")) - contact)
    torque = 10000.0 * closing**2 * q
    effort = min((radians(20.0) - q) / radians(5.0), 1.0)
    assert 1.5 * effort - 0.075 - 1e-6 <= torque <= 1.5 * effort + 0.075 + 1e-6  # friction holds it between
    assert torque / closing >= rest.force - 1e-6
    assert plant.arrays.w[L.I] == pytest.approx(2.4 * effort, rel=1e-6)
    balance = 10000.0 * closing * abs(rest.angle - contact)
    assert balance == pytest.approx(rest.force) == pytest.approx((1.5 * rest.effort - 0.075) / closing)


def test_grip_two_degrees_past_a_stiff_contact() -> None:
    """1 N m, band 5 degrees, 50 mm, 2 degrees past: 8 N."""
    more = {"stall_torque": "1 N*m", "jaw": "50 mm", "stiffness": "1000 N/mm", "friction": "0 %"}
    rest = claw.pressing(a_claw(**more)[1], radians(72.0), 6.0)
    assert rest is not None
    assert rest.force == pytest.approx(8.0, rel=6e-3)
    assert rest.effort == pytest.approx(0.4, rel=6e-3)


@pytest.mark.parametrize(("stiffness", "most"), [("1 N/mm", 100), ("10 N/mm", 120), ("50 N/mm", 200)])
def test_a_stiff_contact_takes_few_steps(stiffness: str, most: int) -> None:
    plant = a_plant(a_claw(stiffness=stiffness)[0], 5.0)
    a_move(plant, "it", radians(90.0))
    plant.advance(4_000_000)
    assert plant._rows < most


def test_a_claw_too_weak_for_its_element_never_has_it() -> None:
    robot, values = a_claw(element_mass="3 kg", named={"shut": "90 deg", "open": "10 deg"})
    plant = a_plant(robot, 5.0)
    assert a_move(plant, "it", radians(90.0)).arrival_us() is None
    (remark,) = consequences(robot)
    assert remark.kind == "doubt" and "slips" in remark.text
    (good,) = consequences(a_claw(named={"shut": "90 deg", "open": "10 deg"})[0])
    force = claw.pressing(values, radians(90.0), 6.0).force
    assert good.kind == "follows"
    assert f"{force:.3g} N" in good.text and f"{force / G:.3g} kg" in good.text and "2.4 A" in good.text
    assert f"{force / 0.4 - G:.3g} m/s^2" in good.text


def test_jaws_that_do_not_come_to_the_element_or_do_not_leave_it_are_doubted(tmp_path: Path) -> None:
    """The small plan with its claw, whose jaws meet at 70 deg; open is 20 deg, gentle 72 deg."""
    folder = Path(__file__).parents[2] / "scenarios" / "mechanisms"
    text = (folder / "claw-plan.yaml").read_text(encoding="utf-8")
    for name in ("yard.yaml", "claw.yaml"):
        (tmp_path / name).write_text((folder / name).read_text(encoding="utf-8"), encoding="utf-8")

    def told(old: str, new: str) -> list[tuple[int, str]]:
        assert old in text
        path = tmp_path / "plan.yaml"
        path.write_text(text.replace(old, new), encoding="utf-8")
        return [(one.line, one.text) for one in idle_jaws(load_plan(path, KINDS)[0])]

    assert told("claw: shut}, needs", "claw: gentle}, needs") == []
    (picked,) = told("by: {claw: shut}", "by: {claw: open}")
    assert picked[0] == 9 and "does not come to it at open" in picked[1]
    (placed,) = told("into: shelf, by: {claw: open}", "into: shelf, by: {claw: gentle}")
    assert placed[0] == 11 and "lets nothing go" in placed[1]


def test_a_contact_outside_the_travel_is_a_mistake() -> None:
    with pytest.raises(ScenarioError, match="not met within the travel"):
        a_claw(contact="130 deg")


@pytest.mark.parametrize(
    "more",
    [{}, {"stiffness": "1000 N/mm", "friction": "0 %"}, {"rotor_time": "1 ms", "load_inertia": "0 kg*m^2"}],
)
def test_a_claw_sent_far_beyond_its_contact_comes_to_rest(more: Words) -> None:
    """To the end of its travel, 50 degrees into what gives way by fractions of one: its rest is that of a balance."""
    robot, values = a_claw(**more)
    plant = a_plant(robot, 5.0, it=0.0)
    move = a_move(plant, "it", radians(120.0))
    arrival = move.arrival_us()
    plant.advance(4_000_000)
    pressed = claw.pressing(values, radians(120.0), 6.0)
    assert arrival is not None and pressed is not None and abs(plant.speed("it")) < 1e-4
    deep = pressed.angle - radians(70.0)
    over = 2.0 * 0.05 * 1.5 / (float(values["stiffness"]) * 0.06**2)  # friction may hold it deeper
    assert radians(70.0) + deep - 1e-6 <= plant.position("it") <= radians(70.0) + deep + over + 1e-6
    assert plant.arrays.w[L.STEPS] < 20_000


def test_a_servo_has_a_rotor() -> None:
    with pytest.raises(ScenarioError, match=r"rotor_time.*too small.*1e-06 s.*at least"):
        a_claw(rotor_time="1e-06 s")


# --- cylinder -----------------------------------------------------------------------------------------

CYLINDER: Words = {
    "kind": "cylinder", "time": "0.2 s", "time_in": "0.3 s", "bore": "20 mm", "rod": "8 mm", "stroke": "100 mm",
    "tank": "300 ml", "supply": "8 bar", "least_pressure": "3 bar",
}  # fmt: skip


def air_left(strokes: int, regulated: float | None, dead: float) -> float:
    """Absolute pressure in the cylinder after so many strokes, from amounts of gas p V [Pa m³].

    Hose and end space hold the outer air as a stroke begins: they are vented by the stroke before.
    """
    room, atmosphere = 300e-6, 101325.0
    gas, pressure = (8e5 + atmosphere) * room, 0.0
    for number in range(strokes):
        size = dead + np.pi / 4.0 * (0.020**2 - (0.008**2 if number % 2 else 0.0)) * 0.1
        in_all = gas + atmosphere * dead
        pressure = in_all / (room + size)  # where nothing keeps them apart
        if regulated is not None:
            pressure = min(pressure, regulated + atmosphere)
        gas = in_all - pressure * size
    return pressure


@pytest.mark.parametrize("regulator", [None, 4e5])
@pytest.mark.parametrize(("dead", "strokes"), [(None, (8, 9)), (1e-12, (8, 10)), (15e-6, (6, 7))])
def test_strokes_on_one_fill(regulator: float | None, dead: float | None, strokes: tuple[int, int]) -> None:
    more = {} if regulator is None else {"regulator": f"{regulator} Pa"}
    more |= {} if dead is None else {"dead_volume": f"{dead * 1e6} ml"}
    holds = np.pi / 4.0 * 0.020**2 * 0.1 / 10.0 if dead is None else dead
    robot = a_robot({"it": {**CYLINDER, **more}}, {"m": MOTOR})
    values = robot.mechanisms["it"].values
    number = cylinder.strokes(values)
    assert number == strokes[regulator is not None]
    assert air_left(number, regulator, holds) - 101325.0 >= 3e5
    assert air_left(number + 1, regulator, holds) - 101325.0 < 3e5
    plant = a_plant(robot, 60.0)
    for stroke in range(number):
        out = stroke % 2 == 0
        move = plant.command("it", GoTo("out" if out else "in"))
        assert move.arrival_us() == plant.now_us + (200_000 if out else 300_000)
        plant.advance(plant.now_us + 500_000)
        assert plant.position("it") == ("out" if out else "in")
    last = plant.command("it", GoTo("out" if number % 2 == 0 else "in"))
    assert last.arrival_us() is None and last.first_inside_us() is None
    assert last.ends_at() == plant.position("it")
    ends = (air_left(number + 1, regulator, holds) - 101325.0) / 1e5
    assert f"{ends:.3g} bar, it needs 3 bar" in last.reason()
    (remark,) = consequences(robot)
    push = np.pi / 4.0 * 0.02**2 * (8e5 if regulator is None else 4e5)
    assert f"{number} strokes" in remark.text and f"{push:.3g} N at first" in remark.text


def test_a_spring_brings_it_back_without_air() -> None:
    values = a_robot({"it": {**CYLINDER, "single_acting": True}}, {"m": MOTOR}).mechanisms["it"].values
    assert cylinder.after_stroke(values, 5e5, False)[0] == 5e5
    twice = a_robot({"it": CYLINDER}, {"m": MOTOR}).mechanisms["it"].values
    assert cylinder.strokes(values) > 1.5 * cylinder.strokes(twice)


def test_a_cylinder_already_there_takes_no_air() -> None:
    plant = a_plant(a_robot({"it": CYLINDER}, {"m": MOTOR}), 60.0)
    for _ in range(50):
        assert plant.command("it", GoTo("in")).arrival_us() == plant.now_us
        plant.advance(plant.now_us + 100_000)
    assert plant.command("it", GoTo("out")).arrival_us() is not None


def test_words_and_sizes_of_a_cylinder(tmp_path: Path) -> None:
    for more, says in (
        ({"rod": "20 mm"}, "not thinner than the bore"),
        ({"supply": "2 bar"}, "never moves"),
        ({"regulator": "2 bar"}, "never moves"),
    ):
        with pytest.raises(ScenarioError, match=says):
            a_robot({"it": {**CYLINDER, **more}}, {"m": MOTOR})
    for name in ("cylinder.yaml", "cylinder-plan.yaml", "yard.yaml"):
        text = (YARD / name).read_text(encoding="utf-8")
        (tmp_path / name).write_text(text.replace("{flap: out}", "{flap: up}"), encoding="utf-8")
    with pytest.raises(ScenarioError, match="flap is in or out, given: 'up'"):
        load_plan(tmp_path / "cylinder-plan.yaml", KINDS)


# --- flywheel and roller ------------------------------------------------------------------------------

WHEEL: Words = {
    "kind": "flywheel", "motors": "2 x m", "gearing": [{"ratio": "1.5:1", "efficiency": "90 %"}],
    "inertia": "2e-3 kg*m^2", "friction": "0.01 N*m", "speed": "3000 rpm", "diameter": "90 mm",
    "element_mass": "0.25 kg",
}  # fmt: skip


def a_wheel(battery: tuple[float, float] = (12.6, 0.1), **more: Any) -> Any:
    return a_robot({"it": {**WHEEL, **more}}, {"m": SMALL}, battery)


def test_spin_up_is_what_the_run_makes_of_it() -> None:
    """Time to 95 % is tau ln 20, from the run's own speeds; the rest of the curve too."""
    robot = a_wheel()
    up = spin_up(robot.mechanisms["it"], robot, robot.battery[0])
    plant = a_plant(robot, 60.0, tolerance=1e-9)
    plant.command("it", Spin(1.0))
    plant.advance(60_000_000)
    assert plant.speed("it") == pytest.approx(up.final, rel=1e-9)
    t95 = up.tau * np.log(20.0)
    assert up.time(0.0, 0.95 * up.final) == pytest.approx(t95, rel=1e-12)
    assert plant.speed("it", round(t95 * 1e6)) == pytest.approx(0.95 * up.final, rel=1e-6)
    asked = 3000.0 * np.pi / 30.0
    assert plant.speed("it", round(up.time(0.0, asked) * 1e6)) == pytest.approx(asked, rel=1e-6)


def test_a_throw_slows_its_wheel() -> None:
    """The rim slips on the element until that runs at half of the rim's speed, whatever the friction between."""
    robot = a_wheel()
    turning = 2e-3 + 2 * 1.5**2 * 1e-5
    left = flywheel.left_after_throw(robot.mechanisms["it"].values, turning)

    def pushed(force: float) -> float:
        def alike(_: float, y: Any) -> float:
            return float(0.5 * y[0] * 0.045 - y[1])

        alike.terminal = True  # type: ignore[attr-defined]
        found = solve_ivp(
            lambda _, __: [-force * 0.045 / turning, force / 0.25], (0.0, 9.0), [314.0, 0.0], events=alike,
            rtol=1e-10, atol=1e-12,
        )  # fmt: skip
        return float(found.y_events[0][0][0]) / 314.0

    assert pushed(5.0) == pytest.approx(left, rel=1e-9)
    assert pushed(80.0) == pytest.approx(left, rel=1e-9)


def test_what_check_says_of_a_flywheel() -> None:
    robot = a_wheel()
    up = spin_up(robot.mechanisms["it"], robot, robot.battery[0])
    asked = 3000.0 * np.pi / 30.0
    left = flywheel.left_after_throw(robot.mechanisms["it"].values, 2e-3 + 2 * 1.5**2 * 1e-5)
    (remark,) = consequences(robot)
    back = up.tau * np.log((up.final - left * asked) / (up.final - asked))
    assert remark.kind == "follows"
    assert f"{up.tau * np.log(20.0):.3g} s to 95 %" in remark.text
    assert f"takes {1.0 - left:.2%}" in remark.text and f"back {back:.2g} s later" in remark.text
    assert f"a throw at {0.5 * left * asked * 0.045:.3g} m/s" in remark.text
    (doubt,) = consequences(a_wheel(speed="4500 rpm"))
    assert doubt.kind == "doubt" and "never gets there" in doubt.text
    with pytest.raises(ScenarioError, match="stores its energy"):
        a_wheel(inertia="0 kg*m^2")


@pytest.mark.parametrize(("press", "slips_all_the_way"), [("20 N", False), ("1 N", True)])
def test_pull_in(press: str, slips_all_the_way: bool) -> None:
    """Pulled by friction while it is slower than the rim: an integration with that one rule."""
    pulled = {
        "diameter": "40 mm", "grip": 0.7, "press": press, "element_mass": "0.3 kg", "length": "0.25 m",
    }  # fmt: skip
    words = {
        "kind": "roller", "motors": "1 x m", "gearing": [{"ratio": "4:1", "efficiency": "90 %"}],
        "inertia": "1e-4 kg*m^2", "pull_in": pulled,
    }  # fmt: skip
    robot = a_robot({"it": words}, {"m": SMALL}, (12.0, 0.0))
    up = spin_up(robot.mechanisms["it"], robot, robot.battery[0])
    rim = up.final * 0.02
    a = 0.7 * float(press.split()[0]) / 0.3
    assert (rim**2 >= 2.0 * a * 0.25) == slips_all_the_way
    at = crossing(lambda _, y: [y[1], a if y[1] < rim else 0.0], [0.0, 0.0], 0.25)
    taken = roller.pull_in_time(robot.mechanisms["it"].values["pull_in"], up.final)
    assert taken == pytest.approx(
        at, rel=2e-4
    )  # the integrator steps over the instant at which it no longer slips
    (remark,) = consequences(robot)
    assert f"after {taken:.3g} s" in remark.text and f"{rim:.3g} m/s" in remark.text


# --- their small scenarios ----------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["turret", "hoist", "axle", "claw", "cylinder", "flywheel"])
def test_small_scenarios_time_what_they_ask(name: str) -> None:
    loaded, _ = load_plan(YARD / f"{name}-plan.yaml", KINDS)
    for state in run(loaded).states:
        moves = [move for move in state.moves if move.timer_us is not None]
        assert moves
        assert any(move.arrival_us is not None for move in moves)


def test_outlines_stand_where_the_mechanism_does() -> None:
    """A jaw's length, a piston's stroke, a rim's radius."""
    values = a_claw()[1]
    for q in (10.0, 70.0, 80.0):
        moving, fixed = [each for each in claw.outline(values, radians(q)) if isinstance(each, Line)]
        for jaw in (moving, fixed):
            (x0, y0), (x1, y1) = jaw.points
            assert np.hypot(x1 - x0, y1 - y0) == pytest.approx(0.06)
        gap = moving.points[1][1] - fixed.points[1][1]
        assert gap == pytest.approx(0.024 + 0.06 * np.sin(radians(max(70.0 - q, 0.0))))
    flap = a_robot({"it": CYLINDER}, {"m": MOTOR}).mechanisms["it"].values
    ins, outs = (cylinder.outline(flap, word)[2].points[1][0] for word in ("in", "out"))
    assert outs - ins == pytest.approx(0.1)
    rim = flywheel.outline(a_wheel().mechanisms["it"].values, 0.0)[0]
    assert isinstance(rim, Disc) and rim.radius == pytest.approx(0.045)
