"""Turrets and what winds in cords (hoist, axle, layered drums), against closed forms and an independent integrator."""

from __future__ import annotations

import itertools
from math import radians, sin
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot, robot_text, seconds, winding
from integrated import MOTOR, J, K, R, crossing
from scipy.integrate import simpson, solve_ivp

from simbot import api
from simbot.physics import layout as L
from simbot.physics.kinds import KINDS, axle, hoist, turret
from simbot.physics.move import PushFor
from simbot.physics.outline import Disc, Line
from simbot.scenario.errors import ScenarioError, SimbotError
from simbot.scenario.given import position_given
from simbot.scenario.load import load_plan, load_robot
from simbot.scenario.parameters import Quantity

YARD = Path(__file__).parents[2] / "scenarios" / "mechanisms"
TURRET: Words = {
    "kind": "turret", "motors": "1 x m", "gearing": [{"ratio": "60:1", "efficiency": "100 %"}],
    "inertia": "0.1 kg*m^2", "off_axis_mass": "1.2 kg", "off_axis": "0.15 m", "off_axis_angle": "20 deg",
    "travel": ["-200 deg", "200 deg"], "control": {"loop": "full_effort", "window": "2 deg"},
}  # fmt: skip


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
    own = {**spec.values, "travel": (0.0, 9.0 * 2.0 * np.pi)}
    assert axle.ends_of(own, [thin]) == pytest.approx((0.0, 9.0 * 2.0 * np.pi))
    plant = a_plant(a_robot({"it": words}, {"m": MOTOR}), 5.0)
    move = plant.command("it", PushFor(1.0, 9.0 * 2.0 * np.pi, 6_000_000))
    plant.advance(5_000_000)
    assert plant.position("it") == pytest.approx(0.4 / 0.024)  # the first follower's stop stops the axle
    assert "end of its travel" in move.reason()


def test_an_axle_goes_no_farther_than_the_first_stop_of_a_follower() -> None:
    """Told when it is read; its moves begin and end there, and nothing is sent beyond: 0.4 m / 24 mm = 954.93 deg."""
    control = {"loop": "position", "p": "4 /rad", "d": "0.1 s/rad", "window": "6 deg"}
    words = {**AXLE, "drum_diameter": ["48 mm", "12 mm"], "highest": ["0.4 m", "0.4 m"], "control": control}
    with TemporaryDirectory() as folder:
        path = Path(folder) / "robot.yaml"
        path.write_text(robot_text({"it": words}, {"m": MOTOR}), encoding="utf-8")
        robot, remarks = load_robot(path, KINDS)
    spec = robot.mechanisms["it"]
    assert [float(end) for end in spec.values["travel"]] == pytest.approx([0.0, 0.4 / 0.024])
    (told,) = [each for each in remarks if each.key == "robot.mechanisms.it.travel"]
    assert (
        told.kind == "follows"
        and "954.93 deg" in told.text
        and "follower 1 is at its upper stop" in told.text
    )
    with pytest.raises(SimbotError, match=r"outside the travel of it.*954.93 deg, where follower 1"):
        position_given("--to", "9 turns", spec)
    up, down = api.move(robot, "it").states[0].moves
    assert (up.way.target, down.way.start, down.way.target) == (
        pytest.approx(0.4 / 0.024),
        up.way.target,
        0.0,
    )
    assert up.arrival_s is not None and down.arrival_s is not None
    assert up.floor_s is not None and 0.5 < up.floor_s <= up.arrival_s
    assert down.floor_s is not None and 0.5 < down.floor_s <= down.arrival_s
    shorter = a_robot({"it": {**words, "travel": ["0 turns", "2 turns"]}}, {"m": MOTOR}).mechanisms["it"]
    assert shorter.values["travel"][1].text == "2 turns"  # its own stops come first


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


def test_a_winch_winds_as_a_hoist_does() -> None:
    layered = {"drum_width": "12 mm", "cord_diameter": "3 mm", "travel": ["0 m", "1.2 m"]}
    lifted = reduced({**HOIST, **layered}).segments
    winch = reduced({**HOIST, **layered, "kind": "winch"})
    assert winch.least_force == 0.0
    assert len(winch.segments) == len(lifted) > 4
    for one, other in zip(winch.segments, lifted, strict=True):
        assert (one.low, one.high, one.mass, one.load) == (other.low, other.high, other.mass, other.load)
        if one.knots is not None:
            assert np.array_equal(one.knots, other.knots)


def test_the_outline_of_a_hoist_hangs_on_its_cord() -> None:
    """The cord drawn is the slack and the lift that is still to come; hanging, the mass centre is below the hook."""
    values = a_robot({"it": {**HOIST, **TILTING, "slack": "0.1 m"}}, {"m": MOTOR}).mechanisms["it"].values
    for q in (0.1, 0.15, 0.22, 0.3, 0.5):
        shapes = hoist.outline(values, q)
        ((hook, bar),) = [
            shape.points for shape in shapes if isinstance(shape, Line) and shape.role == "cord"
        ]
        assert bar[1] - hook[1] == pytest.approx(0.5 - q, abs=1e-12)
        (centre,) = [shape.centre for shape in shapes if isinstance(shape, Disc)]
        if q > 0.1 + 0.1232:
            assert centre[0] == pytest.approx(hook[0], abs=1e-12)
