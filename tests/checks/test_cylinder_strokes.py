"""Strokes of a cylinder by its air: an ODE solver on the equations written anew, closed forms and limits.

Flow: ISO 6358-1, C p1 rho0 psi(p2/p1) with an ellipse above the critical ratio (from memory). The closed forms are
derivations.
"""

from __future__ import annotations

from math import asin, inf, pi, sqrt
from typing import Any

import numpy as np
import pytest
from builders import Words, a_plant, a_robot, seconds
from scipy.integrate import solve_ivp

from simbot.physics.follows import consequences
from simbot.physics.kinds import cylinder
from simbot.physics.move import GoTo
from simbot.physics.stroke import stroke_time
from simbot.scenario.errors import ScenarioError

AIR, DENSITY, GAS = 101325.0, 1.185, 287.055 * 293.15
MOTOR = {
    "voltage": "12 V", "free_speed": "300 rpm", "free_current": "0.1 A", "stall_torque": "1 N*m",
    "stall_current": "5 A", "rotor_inertia": "1e-5 kg*m^2", "internal_ratio": 1, "source": "illustrative",
}  # fmt: skip
CYLINDER: Words = {
    "kind": "cylinder", "bore": "20 mm", "rod": "8 mm", "stroke": "100 mm", "tank": "400 ml", "supply": "7 bar",
    "regulator": "4 bar", "conductance": "0.4 l/s/bar", "critical_ratio": "30 %", "moving_mass": "0.6 kg",
    "load": "8 N", "friction": "12 N", "dead_volume": "6 ml", "valve_delay": "20 ms",
}  # fmt: skip


def values(**more: object) -> Any:
    return a_robot({"it": {**CYLINDER, **more}}, {"m": MOTOR}).mechanisms["it"].values


def psi(ratio: float, b: float) -> float:
    return 1.0 if ratio <= b else sqrt(max(0.0, 1.0 - ((ratio - b) / (1.0 - b)) ** 2))


def right_time(
    outwards: bool,
    out: float | None = None,
    room: float = 4e-4,
    load: float = 8.0,
    regulated: float = 4e5 + AIR,
) -> float:
    """By LSODA from event to event: it stays until the force is enough, then moves to its stop."""
    piston, ring = pi / 4.0 * 0.02**2, pi / 4.0 * (0.02**2 - 0.008**2)
    a, z = (piston, ring) if outwards else (ring, piston)
    way, dead, mass, rubs, b, c = 0.1, 6e-6, 0.6, 12.0, 0.3, 0.4e-8
    exits, against = (c if out is None else out), (load if outwards else -load)

    def force(x: float, p: float, e: float) -> float:
        return p * a - e * z - AIR * (a - z) - against

    def slope(_t: float, y: list[float], moves: bool) -> list[float]:
        x, v, p, e, tank = y
        fed = min(tank, regulated)
        brings = c * fed * DENSITY * GAS * psi(p / fed, b) if fed > p else 0.0
        takes = exits * e * DENSITY * GAS * psi(AIR / e, b) if e > AIR else 0.0
        acc = (force(x, p, e) - rubs) / mass if moves else 0.0
        return [
            v,
            acc,
            (brings - p * a * v) / (dead + a * x),
            (e * z * v - takes) / (dead + z * (way - x)),
            -brings / room,
        ]

    def starts(_t: float, y: list[float], moves: bool) -> float:
        return force(y[0], y[2], y[3]) - rubs

    def ends(_t: float, y: list[float], moves: bool) -> float:
        return y[0] - way

    starts.terminal = ends.terminal = True  # type: ignore[attr-defined]
    tank = 7e5 + AIR
    y = [0.0, 0.0, AIR, min(tank, regulated), tank]
    first = solve_ivp(slope, (0.0, 5.0), y, "LSODA", args=(False,), events=starts, rtol=1e-10, atol=1e-9)
    second = solve_ivp(
        slope, (0.0, 5.0), first.y[:, -1], "LSODA", args=(True,), events=ends, rtol=1e-10, atol=1e-9
    )
    assert second.y[1].min() > -1e-9, "this one stops on its way"
    return float(first.t[-1] + second.t[-1]) + 0.02


@pytest.mark.parametrize("outwards", [True, False])
@pytest.mark.parametrize(("key", "value", "more"), [
    (None, None, {}), ("room", 5e-5, {"tank": "50 ml"}), ("load", 30.0, {"load": "30 N"}),
    ("out", 0.15e-8, {"conductance_out": "0.15 l/s/bar"}), ("regulated", inf, {"regulator": None}),
])  # fmt: skip
def test_against_an_ode_solver(outwards: bool, key: str | None, value: float, more: Words) -> None:
    given = {name: each for name, each in {**CYLINDER, **more}.items() if each is not None}
    p = a_robot({"it": given}, {"m": MOTOR}).mechanisms["it"].values
    right = right_time(outwards, **({key: value} if key else {}))
    got = cylinder.seconds(p, 7e5 + AIR, outwards, float(p["tank"]))
    assert got == pytest.approx(right, abs=2e-4)
    plant = a_plant(a_robot({"it": given}, {"m": MOTOR}), 60.0)
    if outwards:
        assert seconds(plant.command("it", GoTo("out")).arrival_us()) == pytest.approx(got, abs=2e-6)


ARGS: dict[str, float] = {
    "conductance_in": 1e-8, "conductance_out": 1e-8, "critical": 0.3, "tank": 8e5, "room": 1.0, "regulated": inf,
    "area_in": 3e-4, "area_out": 0.0, "before": AIR, "way": 0.2, "dead": 1e-5, "mass": 0.5, "load": AIR * 3e-4,
    "friction": 0.0,
}  # fmt: skip


def test_a_wide_valve_pushes_with_all_its_pressure() -> None:
    """x = F t^2/(2 m) with all of the supply on the piston."""
    t = stroke_time(**{**ARGS, "conductance_in": 1e-5, "mass": 40.0})
    assert t == pytest.approx(sqrt(2.0 * 40.0 * 0.2 / ((8e5 - AIR) * 3e-4)), rel=2e-3)


def test_a_narrow_valve_moves_it_steadily() -> None:
    """The pressure stays at what the load needs: v = C p1 rho0 R T psi/(p A), after filling to it."""
    load, c = 120.0, 1e-10
    p = AIR + load / 3e-4
    fills = fill_time(p, 8e5, c, 0.3, 1e-5)
    steady = 0.2 * 3e-4 * p / (c * 8e5 * DENSITY * GAS * psi(p / 8e5, 0.3))
    t = stroke_time(**{**ARGS, "conductance_in": c, "load": AIR * 3e-4 + load, "mass": 0.02})
    assert t == pytest.approx(fills + steady, rel=3e-3)


def fill_time(p: float, supply: float, c: float, b: float, room: float) -> float:
    """From the outer air to a pressure: straight while the flow is sonic, then p/supply = b + (1 - b) sin(...)."""
    rate = c * DENSITY * GAS / room
    begin = max(AIR / supply, b)
    sonic = max(0.0, min(p / supply, b) - AIR / supply) / rate
    if p / supply <= b:
        return sonic
    return sonic + (1.0 - b) / rate * (asin((p / supply - b) / (1.0 - b)) - asin((begin - b) / (1.0 - b)))


@pytest.mark.parametrize("load", [60.0, 150.0, 190.0])
def test_it_sets_off_when_its_chamber_is_full_enough(load: float) -> None:
    """Filling at rest in closed form; then it is gone in no time, the chamber being large and the way short."""
    p = AIR + (load + 5.0) / 3e-4
    t = stroke_time(**{**ARGS, "way": 1e-5, "friction": 5.0, "load": AIR * 3e-4 + load, "mass": 1e-3})
    assert t == pytest.approx(fill_time(p, 8e5, 1e-8, 0.3, 1e-5), abs=2.5e-4)


def test_the_tank_runs_down() -> None:
    """Every stroke is slower than the one before it, and the one after the last does not get there."""
    plant = a_plant(a_robot({"it": {**CYLINDER, "supply": "5 bar", "tank": "250 ml"}}, {"m": MOTOR}), 60.0)
    p = values(supply="5 bar", tank="250 ml")
    number, times = cylinder.strokes(p), []
    assert 3 < number < 20
    for stroke in range(number + 1):
        move = plant.command("it", GoTo("out" if stroke % 2 == 0 else "in"))
        if stroke == number:
            assert move.arrival_us() is None and "bar" in move.reason()
            break
        times.append((move.arrival_us() or 0) - plant.now_us)
        plant.advance(plant.now_us + 2_000_000)
    assert times[2::2] == sorted(times[2::2]) and times[-1] > times[number % 2 + 1]


def test_two_on_one_tank() -> None:
    both = {
        "one": CYLINDER,
        "two": {**{k: v for k, v in CYLINDER.items() if k not in ("tank", "supply")}, "tank_of": "one"},
    }
    plant = a_plant(a_robot(both, {"m": MOTOR}), 60.0)
    alone = a_plant(a_robot({"one": CYLINDER}, {"m": MOTOR}), 60.0)
    fed = 0
    for stroke in range(40):
        for name in ("one", "two"):
            if plant.command(name, GoTo("out" if stroke % 2 == 0 else "in")).arrival_us() is not None:
                fed += 1
        plant.advance(plant.now_us + 1_000_000)
    right = cylinder.strokes(alone.robot.mechanisms["one"].values)
    assert abs(fed - right) <= 2


def test_more_pressure_and_a_wider_valve_are_never_slower() -> None:
    p, times = values(), []
    for bar in np.linspace(3.0, 8.0, 6):
        times.append(cylinder.seconds({**p, "regulator": bar * 1e5}, 9e5, True, 1.0))
    assert times == sorted(times, reverse=True)
    wide = [cylinder.seconds({**p, "conductance": c}, 8e5, True, 1.0) for c in (1e-9, 2e-9, 5e-9, 2e-8)]
    assert wide == sorted(wide, reverse=True)


def test_a_spring_brings_it_back() -> None:
    p = values(single_acting=True, return_spring="25 N", load="0 N")
    out, back = (cylinder.seconds(p, 8e5, way, 4e-4) for way in (True, False))
    assert 0.02 < out < 1.0 and 0.02 < back < 2.0
    assert (
        cylinder.seconds(values(single_acting=True, return_spring="5 N", load="0 N"), 8e5, False, 4e-4) == inf
    )


def test_what_check_says() -> None:
    robot = a_robot({"it": CYLINDER}, {"m": MOTOR})
    texts = [remark.text for remark in consequences(robot)]
    out = cylinder.seconds(robot.mechanisms["it"].values, 7e5 + AIR, True, 4e-4)
    assert any(f"takes {out:.3g} s outwards" in text for text in texts)
    assert any("6 ml of hose and end space" in text for text in texts)


@pytest.mark.parametrize(
    ("more", "strokes", "words"),
    [
        ({"load": "150 N"}, 0, "not get all the way outwards; a stroke inwards takes 0."),
        ({"single_acting": True, "return_spring": "5 N", "load": "0 N"}, 1, "not get all the way inwards"),
        ({"friction": "150 N"}, 0, "neither outwards nor inwards"),
    ],
)
def test_what_check_says_of_a_stroke_that_does_not_end(more: Words, strokes: int, words: str) -> None:
    told = consequences(a_robot({"it": {**CYLINDER, **more}}, {"m": MOTOR}))
    assert words in next(each.text for each in told if each.key.endswith("conductance"))
    fills = next(each for each in told if each.key.endswith("tank"))
    assert fills.text.startswith(f"{strokes} stroke") and "inf" not in " ".join(each.text for each in told)
    assert all(each.kind == "doubt" for each in told if each is not fills or not strokes)


@pytest.mark.parametrize(
    ("more", "less", "words"),
    [
        ({"time": "0.2 s", "least_pressure": "2 bar"}, (), "one of the two"),
        ({}, ("conductance",), "how long a stroke takes"),
        ({}, ("moving_mass",), "moving_mass"),
        ({"single_acting": True}, (), "return_spring"),
        ({"tank_of": "it"}, (), "one of the two"),
        ({"tank_of": "it"}, ("tank", "supply"), "no tank of its own"),
        ({"tank_of": "ti"}, ("tank", "supply"), "'it'|ti"),
        ({}, ("tank",), "`tank` is missing"),
        ({"conductance": "3 l"}, (), "3 l"),
    ],
)  # fmt: skip
def test_mistakes(more: Words, less: tuple[str, ...], words: str) -> None:
    given = {key: value for key, value in {**CYLINDER, **more}.items() if key not in less}
    with pytest.raises(ScenarioError, match=words):
        a_robot({"it": given}, {"m": MOTOR})


def test_a_tank_whose_cylinder_has_a_mistake_is_not_said_to_be_missing() -> None:
    own = {key: value for key, value in CYLINDER.items() if key not in ("tank", "supply")}
    with pytest.raises(ScenarioError) as told:
        a_robot({"one": {**CYLINDER, "load": "1 lb"}, "two": {**own, "tank_of": "one"}}, {"m": MOTOR})
    (problem,) = told.value.problems
    assert (problem.given, problem.nearest) == ("1 lb", "lbf")
