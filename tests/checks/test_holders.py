"""Kinds that aim, lift a robot, hold an element or spin, against closed forms and an independent integrator."""

from __future__ import annotations

import itertools
from math import radians, sin
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot, seconds, winding
from scipy.integrate import simpson, solve_ivp

from simbot.api import run
from simbot.physics import layout as L
from simbot.physics.follows import consequences, spin_up
from simbot.physics.kinds import KINDS, axle, claw, cylinder, flywheel, hoist, roller, turret
from simbot.physics.plant import GoTo, PushFor, Spin
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import load_plan
from simbot.scenario.parameters import Quantity

R, K, J = 1.3, 0.02, 1.2e-5  # ohm, N m/A, kg m²: an invented winding without friction
MOTOR = winding(R, K, J)
YARD = Path(__file__).parents[2] / "scenarios" / "mechanisms"
TURRET: Words = {
    "kind": "turret", "motors": "1 x m", "gearing": [{"ratio": "60:1", "efficiency": "100 %"}],
    "inertia": "0.1 kg*m^2", "off_axis_mass": "1.2 kg", "off_axis": "0.15 m", "off_axis_angle": "20 deg",
    "travel": ["-200 deg", "200 deg"], "control": {"loop": "full_effort", "window": "2 deg"},
}  # fmt: skip


def crossing(rates: Any, start: list[float], at: float) -> float:
    """Time at which the first component reaches a value, by an integrator of its own [s]."""

    def hit(_: float, y: Any) -> float:
        return float(y[0] - at)

    hit.terminal = True  # type: ignore[attr-defined]
    return float(solve_ivp(rates, (0.0, 20.0), start, events=hit, rtol=1e-10, atol=1e-12).t_events[0][0])


# --- turret -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "sent", "travels"),
    [
        (190.0, -150.0, -340.0),  # 210 is outside: it unwinds
        (100.0, -150.0, -250.0),
        (0.0, 190.0, -170.0),  # the same direction, nearer the other way round
        (170.0, 190.0, 20.0),
        (-100.0, 350.0, 90.0),  # only whole turns away is 350 inside
        (100.0, -160.0, 100.0),  # the end itself, 200
    ],
)
def test_a_turret_takes_the_nearest_turn_that_its_wires_allow(
    start: float, sent: float, travels: float
) -> None:
    plant = a_plant(a_robot({"it": TURRET}, {"m": MOTOR}), 5.0, it=radians(start))
    move = a_move(plant, "it", radians(sent))
    assert move.target == pytest.approx(radians(start + travels), abs=1e-12)
    assert move.first_inside_us() is not None
    plain = a_plant(a_robot({"it": {**TURRET, "wraps": False}}, {"m": MOTOR}), 5.0, it=radians(start))
    if abs(sent) <= 200.0:
        assert a_move(plain, "it", radians(sent)).target == pytest.approx(radians(sent), abs=1e-12)


def test_a_need_of_a_turret_is_met_a_turn_away() -> None:
    plant = a_plant(a_robot({"it": TURRET}, {"m": MOTOR}), 5.0, it=radians(190.0))
    assert plant.inside_since("it", radians(-170.0), 0.01, None, 0) == 0
    assert plant.inside_since("it", radians(-150.0), 0.01, None, 0) is None
    assert plant.leaves_at("it", radians(-170.0), 0.01, 0, 0) is None


def test_a_target_that_no_turn_brings_inside_is_a_mistake(tmp_path: Path) -> None:
    for name in ("turret.yaml", "turret-plan.yaml", "yard.yaml"):
        text = (YARD / name).read_text(encoding="utf-8").replace("[-200 deg, 200 deg]", "[-100 deg, 200 deg]")
        (tmp_path / name).write_text(
            text.replace("turret: behind_right", "turret: 230 deg"), encoding="utf-8"
        )
    robot = tmp_path / "turret.yaml"
    robot.write_text(
        robot.read_text(encoding="utf-8").replace(", behind_right: -150 deg", ""), encoding="utf-8"
    )
    with pytest.raises(ScenarioError) as caught:
        load_plan(tmp_path / "turret-plan.yaml", KINDS)
    (problem,) = caught.value.problems
    assert (problem.line, problem.given) == (11, "230 deg")
    assert problem.wanted == "-100 deg to 200 deg"
    assert "no number of turns" in problem.text


def test_a_pitched_turret_falls_to_the_back() -> None:
    """Full effort from -60 to 100 degrees on a stance lifted by 25 degrees."""
    robot = a_robot({"it": TURRET}, {"m": MOTOR})
    robot.mechanisms["it"].values["tilt"] = Quantity(radians(25.0))
    plant = a_plant(robot, 5.0, it=radians(-60.0))
    move = plant.command("it", PushFor(0.3, radians(100.0), 5_000_000))
    gears, inertia = 60.0, 0.1 + 60.0**2 * J

    def rates(_: float, y: Any) -> list[float]:
        weight = -1.2 * G * 0.15 * sin(radians(25.0)) * sin(y[0] + radians(20.0))
        torque = gears * K * (0.3 * 12.0 - K * gears * y[1]) / R
        return [y[1], (torque - weight) / inertia]

    independent = crossing(rates, [radians(-60.0), 0.0], radians(98.0))
    assert seconds(move.first_inside_us()) == pytest.approx(independent, abs=2e-6)


def test_weight_of_a_pitched_turret() -> None:
    """Q is the slope of the height of its mass, and is zero and stable at the back."""
    values = a_robot({"it": TURRET}, {"m": MOTOR}).mechanisms["it"].values | {"tilt": radians(10.0)}
    segment = turret.reduce(values, 0.0).segments[0]
    assert segment.knots is not None
    q = np.linspace(segment.low, segment.high, len(segment.knots))
    height = 1.2 * G * 0.15 * sin(radians(10.0)) * np.cos(q + radians(20.0))
    assert segment.knots[1:-1, 3] == pytest.approx(np.gradient(height, q)[1:-1], abs=1e-4)
    lowest = radians(160.0)
    assert np.interp(lowest, q, segment.knots[:, 3]) == pytest.approx(0.0, abs=1e-4)
    assert np.interp(lowest, q, segment.knots[:, 4]) > 0.0


# --- hoist --------------------------------------------------------------------------------------------

HOIST: Words = {
    "kind": "hoist", "motors": "1 x m", "gearing": [{"ratio": "60:1", "efficiency": "70 %"}],
    "drum_diameter": "24 mm", "load_mass": "12 kg", "travel": ["0 m", "0.5 m"],
    "control": {"loop": "full_effort", "window": "1 mm"},
}  # fmt: skip
TILTING: Words = {"hook": ["0.35 m", "0.40 m"], "mass_centre": ["0.20 m", "0.15 m"]}


def reduced(mechanism: Words, payload: float = 0.0) -> Any:
    spec = a_robot({"it": mechanism}, {"m": MOTOR}).mechanisms["it"]
    return KINDS[spec.kind].reduce(spec.values, payload)


def test_slack_then_a_load() -> None:
    """0.10 m of slack, then 8 kg lifted 0.15 m: closed form with Lambert W and an impact in between.

    The small motor on 13.2 V behind 0.15 ohm; 0.788031 s and 2.077805 s.
    """
    words = {**HOIST, "load_mass": "8 kg", "slack": "0.1 m", "travel": ["0 m", "0.25 m"]}
    plant = a_plant(a_robot({"it": words}, {"m": SMALL}, (13.2, 0.15)), 10.0, tolerance=1e-9)
    move = plant.command("it", PushFor(1.0, 0.25, 9_000_000))
    assert seconds(move.arrival_us()) == pytest.approx(2.077805, abs=2e-6)
    before, after = (plant.position("it", at_us) for at_us in (788_030, 788_032))
    assert before < 0.1 < after


def test_force_of_a_load_that_tilts() -> None:
    """12 kg: 67.2456 N at first, its whole weight 117.6798 N from 30.9638 degrees on, after 0.1231 m of cord."""
    first, hanging = reduced({**HOIST, **TILTING}).segments
    assert first.load == pytest.approx(67.2456, abs=1e-4)
    assert first.knots[-1, 3] == pytest.approx(117.6798, abs=1e-4)
    assert hanging.knots[0, 3] == pytest.approx(117.6798, abs=1e-4)
    tilt, cord = hoist.tilt_when_lifted((0.35, 0.40), (0.20, 0.15))
    assert np.degrees(tilt) == pytest.approx(30.9638, abs=1e-4)
    assert cord == pytest.approx(0.1231, abs=5e-5)
    assert first.high == pytest.approx(cord, abs=1e-12)
    # the work of the cord is the weight lifted: the centre's own rise
    q = np.linspace(0.0, first.high, len(first.knots))
    rise = 0.20 * np.sin(tilt) + 0.15 * np.cos(tilt) - 0.15
    assert simpson(first.knots[:, 3], x=q) == pytest.approx(12.0 * G * rise, rel=1e-7)


def test_a_tilting_load_against_its_own_equation_of_motion() -> None:
    """Slack, impact, tilt and hang, the tilt integrated over its angle and not over the cord."""
    words = {
        **HOIST,
        **TILTING,
        "slack": "0.05 m",
        "travel": ["0 m", "0.45 m"],
        "gearing": [{"ratio": "30:1", "efficiency": "100 %"}],
    }
    plant = a_plant(a_robot({"it": words}, {"m": MOTOR}), 10.0, tolerance=1e-10)
    move = plant.command("it", PushFor(1.0, 0.45, 9_000_000))
    gears = 30.0 / 0.012
    rotor, drag = gears**2 * J, (gears * K) ** 2 / R
    push = gears * K * 12.0 / R

    def until(rates: Any, start: list[float], end: float) -> tuple[float, float]:
        def hit(_: float, y: Any) -> float:
            return float(y[0] - end)

        hit.terminal = True  # type: ignore[attr-defined]
        found = solve_ivp(rates, (0.0, 20.0), start, events=hit, rtol=1e-11, atol=1e-13, method="DOP853")
        return float(found.t_events[0][0]), float(found.y_events[0][0][1])

    slack, v = until(lambda _, y: [y[1], (push - drag * y[1]) / rotor], [0.0, 0.0], 0.05)
    about = 12.0 * (0.20**2 + 0.15**2) * 4.0 / 3.0
    v *= rotor / (rotor + about / 0.35**2)

    def tilting(_: float, y: Any) -> list[float]:
        """Moments about the rear contact; lever of the cord D, cord speed D w."""
        a, w = y
        d, bend = 0.35 * np.cos(a) - 0.40 * np.sin(a), -0.35 * np.sin(a) - 0.40 * np.cos(a)
        weight = 12.0 * G * (0.20 * np.cos(a) - 0.15 * np.sin(a))
        force = push - drag * d * w - rotor * bend * w * w
        return [w, (force * d - weight) / (about + rotor * d * d)]

    tilt, cord = hoist.tilt_when_lifted((0.35, 0.40), (0.20, 0.15))
    tilts, w = until(tilting, [0.0, v / 0.35], tilt)
    v = w * (0.35 * np.cos(tilt) - 0.40 * np.sin(tilt))
    hangs, _ = until(
        lambda _, y: [y[1], (push - drag * y[1] - 12.0 * G) / (rotor + 12.0)], [0.05 + cord, v], 0.45
    )
    assert seconds(move.arrival_us()) == pytest.approx(slack + tilts + hangs, abs=3e-6)


def test_a_drum_grows_with_its_layers() -> None:
    """Work at the drum is work at the cord, and a layer more makes each turn wind in 2 pi d more."""
    words = {**HOIST, "drum_width": "12 mm", "cord_diameter": "3 mm", "travel": ["0 m", "1.2 m"]}
    whole = reduced(words)
    assert [segment.low for segment in whole.segments[1:]] == [s.high for s in whole.segments[:-1]]
    radii, lengths = [], []
    for segment in whole.segments:
        ends = (1.0, 1.0) if segment.knots is None else segment.knots[[0, -1], 5]
        radii.append((0.012 / ends[0], 0.012 / ends[1]))
        lengths.append(segment.high - segment.low)
        if segment.knots is not None:  # slopes of the factor are its own
            q = np.linspace(segment.low, segment.high, len(segment.knots))
            spline = np.gradient(segment.knots[:, 5], q)
            assert segment.knots[1:-1, 6] == pytest.approx(spline[1:-1], abs=2e-3 * abs(spline).max() + 1e-9)
    for (_, out), (into, _) in itertools.pairwise(radii):
        assert into == pytest.approx(out, rel=1e-12)  # the ratio never jumps
    full = 4.0 * 2.0 * np.pi  # rad in a layer: four turns of 3 mm on 12 mm
    assert lengths[0] == pytest.approx(full * 0.012)
    assert lengths[1] + lengths[2] == pytest.approx(full * 0.015)
    assert radii[2] == pytest.approx((0.015, 0.015))
    assert radii[-1][1] == pytest.approx(0.012 + 0.003 * ((len(whole.segments) - 1) // 2))


def test_a_layered_drum_against_its_rotor() -> None:
    """Lifting over four layers, integrated for the rotor's speed and with the radius as a function of the cord."""
    words = {
        **HOIST, "drum_width": "12 mm", "cord_diameter": "3 mm", "travel": ["0 m", "1.2 m"], "load_mass": "3 kg",
        "gearing": [{"ratio": "20:1", "efficiency": "100 %"}],
    }  # fmt: skip
    plant = a_plant(a_robot({"it": words}, {"m": MOTOR}), 10.0, tolerance=1e-10)
    move = plant.command("it", PushFor(1.0, 1.2, 9_000_000))
    full = np.cumsum([8.0 * np.pi * r for r in (0.012, 0.015, 0.018, 0.021, 0.024)])

    def radius(q: float) -> tuple[float, float]:
        layer = int(np.searchsorted(full, q, side="right"))
        if layer == 0:
            return 0.012, 0.0
        inner = 0.012 + 0.003 * (layer - 1)
        climb = np.pi * (inner + 0.0015)
        x = min((q - full[layer - 1]) / climb, 1.0)
        return inner + 0.003 * x * x * (3.0 - 2.0 * x), 0.003 * 6.0 * x * (1.0 - x) / climb

    def rates(_: float, y: Any) -> list[float]:
        q, spin = y
        r, slope = radius(q)
        v = spin * r / 20.0
        torque = K * (12.0 - K * spin) / R - (3.0 * spin * slope * v / 20.0 + 3.0 * G) * r / 20.0
        return [v, torque / (J + 3.0 * (r / 20.0) ** 2)]

    found = solve_ivp(
        rates, (0.0, 20.0), [0.0, 0.0], events=lambda _, y: y[0] - 1.2, rtol=1e-10, atol=1e-12, max_step=1e-3
    )
    assert seconds(move.arrival_us()) == pytest.approx(float(found.t_events[0][0]), abs=3e-6)


@pytest.mark.parametrize(
    ("more", "key", "says"),
    [
        ({"slack": "0.6 m"}, "slack", "never meets"),
        ({"hook": ["0.3 m", "0.4 m"]}, "hook", "without `mass_centre`"),
        ({**TILTING, "hook": ["0.35 m", "0.15 m"]}, "hook", "not above the mass centre"),
        ({**TILTING, "hook": ["0.10 m", "0.40 m"]}, "hook", "behind the mass centre"),
        ({**TILTING, "hook": ["0.60 m", "0.40 m"]}, "hook", "topples backwards"),
        ({"drum_width": "12 mm"}, "drum_width", "without `cord_diameter`"),
        ({"drum_width": "2 mm", "cord_diameter": "3 mm"}, "drum_width", "not one turn"),
        (
            {"drum_width": "1 mm", "cord_diameter": "0.1 mm", "travel": ["0 m", "1 km"]},
            "drum_width",
            "layers",
        ),
    ],
)
def test_a_hoist_that_cannot_be(more: Words, key: str, says: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        a_robot({"it": {**HOIST, **more}}, {"m": MOTOR})
    (problem,) = caught.value.problems
    assert problem.key == f"robot.mechanisms.it.{key}"
    assert says in problem.text and problem.line > 0


# --- axle ---------------------------------------------------------------------------------------------

AXLE: Words = {
    "kind": "axle", "motors": "1 x m", "gearing": [{"ratio": "20:1", "efficiency": "80 %"}],
    "drum_diameter": ["38 mm", "20 mm"], "moving_mass": ["3.2 kg", "1 kg"], "highest": ["2 m", "2 m"],
    "travel": ["0 turns", "9 turns"], "control": {"loop": "full_effort", "window": "1 deg"},
}  # fmt: skip


def test_two_cords_on_one_axle() -> None:
    """Motor torque 0.15 N m: 382.8536 rad/s², cords 54.6588 and 13.6352 N."""
    motor = {**winding(R, K, 1e-5), "internal_ratio": 1}
    words = {**AXLE, "current_limit": f"{0.15 / K} A"}
    plant = a_plant(a_robot({"it": words}, {"m": motor}), 5.0)
    plant.command("it", PushFor(1.0, 50.0, 1_000_000))
    plant.advance(1_000)
    speeds = plant._log[:1, L.LOG_MECH + L.LOG_ACC0]
    assert speeds[0] == pytest.approx(382.8536, abs=1e-4)
    cords = [mass * (r * speeds[0] + G) for mass, r in ((3.2, 0.019), (1.0, 0.010))]
    assert cords == pytest.approx([54.6588, 13.6352], abs=1e-4)
    passed = float(plant._log[0, L.LOG_MECH + L.LOG_FORCE0])
    assert passed == pytest.approx(cords[0] * 0.019 + cords[1] * 0.010, rel=1e-9)


def test_drums_of_48_and_12_mm_move_their_cords_4_to_1() -> None:
    words = {**AXLE, "drum_diameter": ["48 mm", "12 mm"], "highest": ["0.4 m", "0.4 m"]}
    spec = a_robot({"it": words}, {"m": MOTOR}).mechanisms["it"]
    thick, thin = axle.followers(spec.values)
    assert thick.lever == pytest.approx(4.0 * thin.lever)
    assert axle.ends_of(spec.values, [thick, thin]) == pytest.approx((0.0, 0.4 / 0.024))
    assert axle.ends_of(spec.values, [thin]) == pytest.approx((0.0, 9.0 * 2.0 * np.pi))
    plant = a_plant(a_robot({"it": words}, {"m": MOTOR}), 5.0)
    move = plant.command("it", PushFor(1.0, 9.0 * 2.0 * np.pi, 6_000_000))
    plant.advance(5_000_000)
    assert plant.position("it") == pytest.approx(0.4 / 0.024)  # the first follower's stop stops the axle
    assert "end of its travel" in move.reason()


def test_a_slack_cord_and_one_wound_the_other_way() -> None:
    """The second follower is met after 60 mm of its cord; the third comes down as the axle turns up."""
    words = {
        **AXLE, "drum_diameter": ["40 mm", "20 mm", "30 mm"], "moving_mass": ["2 kg", "3 kg", "1.5 kg"],
        "highest": ["0.6 m", "0.5 m", "0.5 m"], "at_zero": ["0 m", "-60 mm", "300 mm"], "wound": [1, 1, -1],
        "incline": ["90 deg", "60 deg", "90 deg"], "friction": ["2 N", "3 N", "1 N"], "cord": "pulls",
        "gearing": [{"ratio": "20:1", "efficiency": "100 %"}],
    }  # fmt: skip
    plant = a_plant(a_robot({"it": words}, {"m": MOTOR}), 5.0, tolerance=1e-10)
    end = 0.6 / 0.02
    move = plant.command("it", PushFor(1.0, end, 5_000_000))
    rotor = 400.0 * J
    kinds = [(0.02, 2.0, 90.0, 2.0), (0.01, 3.0, 60.0, 3.0), (-0.015, 1.5, 90.0, 1.0)]

    def lap(drawn: list[int], begin: float, to: float, speed: float) -> tuple[float, float]:
        mass = rotor + sum(kinds[k][1] * kinds[k][0] ** 2 for k in drawn)
        load = sum(kinds[k][1] * G * sin(radians(kinds[k][2])) * kinds[k][0] for k in drawn)
        load += sum(kinds[k][3] * abs(kinds[k][0]) for k in drawn)

        def rates(_: float, y: Any) -> list[float]:
            return [y[1], (20.0 * K * (12.0 - K * 20.0 * y[1]) / R - load) / mass]

        def hit(_: float, y: Any) -> float:
            return float(y[0] - to)

        hit.terminal = True  # type: ignore[attr-defined]
        found = solve_ivp(rates, (0.0, 9.0), [begin, speed], events=hit, rtol=1e-11, atol=1e-12)
        return float(found.t_events[0][0]), float(found.y_events[0][0][1])

    first, v = lap([0, 2], 0.0, 6.0, 0.0)
    before = rotor + 2.0 * 0.02**2 + 1.5 * 0.015**2
    second, v = lap([0, 1, 2], 6.0, 20.0, v * before / (before + 3.0 * 0.01**2))
    third, _ = lap([0, 1], 20.0, end, v)  # the third rests at its lower end: its cord is slack
    assert seconds(move.arrival_us()) == pytest.approx(first + second + third, abs=3e-6)


@pytest.mark.parametrize(
    ("more", "key", "says"),
    [
        ({"moving_mass": ["1 kg"]}, "moving_mass", "for 2 drum"),
        ({"wound": [1, 0.5]}, "wound", "one way or the other"),
        ({"at_zero": ["0 m", "-10 mm"]}, "at_zero", "no slack"),
        ({"at_zero": ["3 m", "0 m"]}, "at_zero", "beyond its upper stop"),
        ({"wound": [1, -1]}, "travel", "no travel"),
        ({"carrier": 3}, "carrier", "no such follower"),
        ({"moving_mass": ["0 kg", "0 kg"]}, "moving_mass", "nothing is moved"),
    ],
)
def test_an_axle_that_cannot_be(more: Words, key: str, says: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        a_robot({"it": {**AXLE, **more}}, {"m": MOTOR})
    (problem,) = caught.value.problems
    assert problem.key == f"robot.mechanisms.it.{key}"
    assert says in problem.text and problem.line > 0


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
    assert rest is not None and plant.speed("it") == 0.0
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


def test_a_contact_outside_the_travel_is_a_mistake() -> None:
    with pytest.raises(ScenarioError, match="not met within the travel"):
        a_claw(contact="130 deg")


# --- cylinder -----------------------------------------------------------------------------------------

CYLINDER: Words = {
    "kind": "cylinder", "time": "0.2 s", "time_in": "0.3 s", "bore": "20 mm", "rod": "8 mm", "stroke": "100 mm",
    "tank": "300 ml", "supply": "8 bar", "least_pressure": "3 bar",
}  # fmt: skip


def air_left(values: Any, strokes: int, regulated: float | None) -> float:
    """Absolute pressure in the cylinder after so many strokes, from amounts of gas p V [Pa m³]."""
    room, atmosphere = 300e-6, 101325.0
    gas, pressure = (8e5 + atmosphere) * room, 0.0
    for number in range(strokes):
        size = np.pi / 4.0 * (0.020**2 - (0.008**2 if number % 2 else 0.0)) * 0.1
        if regulated is not None and gas - (regulated + atmosphere) * size >= (regulated + atmosphere) * room:
            gas, pressure = gas - (regulated + atmosphere) * size, regulated + atmosphere
        else:  # tank and cylinder at one pressure; what is in the cylinder is vented at the next stroke
            pressure = gas / (room + size)
            gas = pressure * room
    return pressure


@pytest.mark.parametrize("regulator", [None, 4e5])
def test_strokes_on_one_fill(regulator: float | None) -> None:
    more = {} if regulator is None else {"regulator": f"{regulator} Pa"}
    robot = a_robot({"it": {**CYLINDER, **more}}, {"m": MOTOR})
    values = robot.mechanisms["it"].values
    number = cylinder.strokes(values)
    assert number > 3
    assert air_left(values, number, regulator) - 101325.0 >= 3e5
    assert air_left(values, number + 1, regulator) - 101325.0 < 3e5
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
    ends = (air_left(values, number + 1, regulator) - 101325.0) / 1e5
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
