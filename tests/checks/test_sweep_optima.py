"""Sweeps of ratios against closed forms, cases of the trade, and optima found by scipy."""

from __future__ import annotations

import json
from math import pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builders import RPM, SMALL, G, Words, a_move, a_plant, a_robot, a_sheet, robot_text, seconds, winding
from scipy.optimize import minimize_scalar
from scipy.special import lambertw

from simbot.cli import status
from simbot.physics.motor import motor_model

FOOT, INCH, POUND = 0.3048, 0.0254, 0.45359237
QUICK = 0.10  # quick arithmetic
BIG = {"voltage": "12 V", "free_speed": "5330 rpm", "free_current": "2.7 A", "stall_torque": "2.41 N*m",
       "stall_current": "131 A", "rotor_inertia": "1e-15 kg*m^2", "internal_ratio": 1,
       "source": "illustrative"}  # fmt: skip
LIFTER = {**BIG, "free_speed": "5676 rpm", "free_current": "1.7 A", "stall_torque": "2.6 N*m",
          "stall_current": "105 A"}  # fmt: skip


def swept(
    folder: Path, mechanism: Words, motor: Words, battery: tuple[float, float], *words: str, **more: Any
) -> Words:
    """The JSON document of a sweep of the one mechanism `it`."""
    file = folder / "robot.yaml"
    file.write_text(robot_text({"it": mechanism}, {"m": motor}, battery, **more), encoding="utf-8")
    assert status(["sweep", str(file), "it", *words, "--json", str(folder / "out.json")]) == 0
    found: Words = json.loads((folder / "out.json").read_text(encoding="utf-8"))
    return found


def column(document: Words, measure: str, points: str = "points") -> dict[float, float | None]:
    return {point["at"][0]: point["looks"]["only"]["values"][measure] for point in document[points]}


# --- inertias -----------------------------------------------------------------------------------------


def turret(ratio: float = 60.0) -> Words:
    return {
        "kind": "arm", "motors": "1 x m", "gearing": [{"ratio": ratio, "efficiency": "100 %"}],
        "moving_mass": "1 kg", "centre": "0 m", "inertia": "0.04 kg*m^2", "friction": "0 N*m",
        "travel": ["-60 deg", "180 deg"], "control": {"loop": "full_effort", "window": "1e-3 deg"},
    }  # fmt: skip


def test_the_ratio_that_matches_inertias(tmp_path: Path) -> None:
    """A constant torque moves a pure inertia soonest at G = sqrt(J_L/J_m), textbook; here 63.2456.

    The motor has next to no back-EMF, so that its torque hardly falls. Time goes with sqrt((J_L + G² J_m)/G).
    """
    constant = winding(3.2, 8e-4, 1e-5)  # 0.003 N m, up to 15000 rad/s
    document = swept(
        tmp_path, turret(), constant, (12.0, 0.0), "ratio=40:100:0.5", "--from", "0 deg", "--to", "90 deg",
        "--by", "inside", "--parts", "45,60,64,90",
    )  # fmt: skip
    best = sqrt(0.04 / 1e-5)
    assert document["best"][0] == pytest.approx(best, abs=1.0)  # two steps: 0.5 % of back-EMF shift it
    assert document["best"][0] <= best

    def time(ratio: float) -> float:
        return sqrt(2.0 * (pi / 2) * (0.04 + ratio**2 * 1e-5) / (ratio * 0.003))

    for ratio, value in column(document, "inside").items():
        assert value == pytest.approx(time(ratio), rel=6e-3)
    flat = [ratio for ratio in column(document, "inside") if time(ratio) <= 1.02 * time(best)]
    assert document["flat"]["from"] == pytest.approx(flat[0], abs=1.0)
    assert document["flat"]["to"] == pytest.approx(flat[-1], abs=1.5)
    parts = column(document, "inside", "parts")
    assert min(parts, key=lambda ratio: parts[ratio] or 9.0) in (60.0, 64.0)


def test_the_ratio_that_matches_inertias_is_too_slow_with_a_torque_speed_line(tmp_path: Path) -> None:
    """90 degrees from rest to rest, no control faster: 43.1:1 takes 0.2379 s, 63.2:1 takes 0.2532 s.

    Computed with two independent engines; the ratio is found again by scipy over the floors of single moves.
    """
    r = 12.0 / 9.2
    k = (12.0 - 0.25 * r) / (5800 * RPM)
    motor = winding(r, k, 1e-5)
    control = {"loop": "position", "p": "50 /rad", "window": "1e-4 deg", "slower_than": "1e-3 deg/s"}
    document = swept(
        tmp_path, {**turret(), "control": control}, motor, (12.0, 0.0), "ratio=30:70", "--points", "17",
        "--from", "0 deg", "--to", "90 deg", "--by", "floor", "--parts", "43.1,63.2456",
    )  # fmt: skip
    parts = column(document, "floor", "parts")
    assert parts[43.1] == pytest.approx(0.2379, abs=6e-5)
    assert parts[63.2456] == pytest.approx(0.2532, abs=6e-5)

    def floor(ratio: float) -> float:
        robot = a_robot({"it": {**turret(ratio), "control": control}}, {"m": motor}, (12.0, 0.0))
        least = a_move(a_plant(robot, it=0.0), "it", pi / 2).floor_s()
        assert least is not None
        return least

    own = minimize_scalar(floor, bounds=(30.0, 70.0), method="bounded", options={"xatol": 0.05})
    assert document["best"][0] == pytest.approx(own.x, abs=1.3)  # half a step
    assert own.x == pytest.approx(43.1, abs=1.5)


# --- a torque-speed line ------------------------------------------------------------------------------


def line_time(force: float, top: float, mass: float, distance: float) -> float:
    """Time from rest of a mass whose force falls to 0 at the speed `top`: x = top (t - tau (1 - e^-t/tau))."""
    tau = mass * top / force
    z = distance / (top * tau) + 1.0
    return float(tau * (z + lambertw(-np.exp(-z)).real))


def lift(ratio: float = 6.0, **more: object) -> Words:
    """16.14 lb over 59.0 in on a drum of 0.829 in, two motors."""
    return {
        "kind": "slide", "motors": "2 x m", "gearing": [{"ratio": ratio, "efficiency": "100 %"}],
        "drum_diameter": "0.829 in", "moving_mass": "16.14 lb", "friction": "0 N", "travel": ["0 in", "59.0 in"],
        "control": {"loop": "full_effort", "window": "1 mm"}, **more,
    }  # fmt: skip


def lift_time(ratio: float, volts: float = 12.0) -> float:
    motor = motor_model(a_sheet(12.0, 5676 * RPM, 1.7, 2.6, 105.0, 0.0))
    radius, mass = 0.829 / 2 * INCH, 16.14 * POUND
    slope = 2 * motor.r * (ratio * motor.constant / radius) ** 2 / motor.resistance
    torque = motor.r * (motor.constant * volts / motor.resistance - motor.friction)
    force = 2 * ratio / radius * torque - mass * G
    return line_time(force, force / slope, mass, 59.0 * INCH)


def test_a_lift_that_no_limit_holds_back(tmp_path: Path) -> None:
    """6:1 takes 1.43/1.51/1.58/1.74 s at 12.6/12/11.5/10.5 V; common practice, no source.

    It is near its free speed all the way: a limit of 40 A changes nothing, and a faster gearing would.
    """
    document = swept(
        tmp_path, lift(), LIFTER, (12.0, 0.0), "robot.battery.states.only.open_circuit=10:13 V", "--points", "7",
        "--by", "inside", "--parts", "10.5,11.5,12,12.6",
    )  # fmt: skip
    parts = column(document, "inside", "parts")
    for volts, right in ((12.6, 1.43), (12.0, 1.51), (11.5, 1.58), (10.5, 1.74)):
        assert parts[volts] == pytest.approx(right, rel=QUICK)
        assert parts[volts] == pytest.approx(lift_time(6.0, volts), abs=2e-4)
    limits = swept(
        tmp_path, lift(), LIFTER, (12.0, 0.0), "current_limit=40:200 A", "--points", "9", "--by", "inside"
    )
    assert limits["flat"] == {"from": 40, "to": 200, "reaches_first": True, "reaches_last": True}
    assert limits["now"] is None  # the file states none
    held = limits["points"][0]["looks"]["only"]["held_by"]
    assert held["speed"] > 0.9


def test_the_best_ratio_of_a_lift_by_scipy(tmp_path: Path) -> None:
    """The sweep's optimum, scipy's over simulated single moves, and scipy's over the closed form."""
    document = swept(
        tmp_path, lift(), LIFTER, (12.0, 0.0), "ratio=0.5:6:0.05", "--by", "inside", "--parts", "1,2,3,6"
    )

    def simulated(ratio: float) -> float:
        robot = a_robot({"it": lift(ratio)}, {"m": LIFTER}, (12.0, 0.0))
        return seconds(a_move(a_plant(robot), "it", 59.0 * INCH).first_inside_us())

    options = {"bounds": (0.5, 6.0), "method": "bounded", "options": {"xatol": 1e-3}}
    own, right = minimize_scalar(simulated, **options), minimize_scalar(lift_time, **options)
    assert own.x == pytest.approx(right.x, rel=0.02) and own.fun == pytest.approx(right.fun, abs=2e-4)
    assert document["best"][0] == pytest.approx(right.x, abs=0.05)
    values = column(document, "inside")
    assert values[document["best"][0]] == pytest.approx(right.fun, rel=1e-3)
    for ratio, value in values.items():
        assert value == pytest.approx(lift_time(ratio), rel=1e-3)
    first, last = (document["points"][end]["looks"]["only"]["held_by"] for end in (0, -1))
    assert max(first, key=first.get) == "torque" and max(last, key=last.get) == "speed"


# --- drives -------------------------------------------------------------------------------------------


def tank(ratio: float, efficiency: float, wheel: str, grip: float) -> Words:
    return {
        "kind": "tank", "motors": "4 x m", "gearing": [{"ratio": ratio, "efficiency": f"{100 * efficiency} %"}],
        "wheel_diameter": wheel, "wheelbase": "20 in", "track": "22 in", "grip": grip, "friction": "0 N",
        "control": {"loop": "full_effort", "window": "20 mm"},
    }  # fmt: skip


def test_a_sprint_whose_optimum_is_flat(tmp_path: Path) -> None:
    """15 ft, 150 lb, four large motors, 6 in wheels, 20 mohm: 7:1 1.59 s, 9:1 1.55, 10.7:1 1.58, 12.75:1 1.67.

    Common practice, no source. Slower gearing costs nothing, and dips less.
    """
    document = swept(
        tmp_path, tank(7, 0.8, "6 in", 1.1), BIG, (12.6, 0.020), "ratio=5:14:0.25", "--to", f"{15 * FOOT + 0.02} m",
        "--by", "inside", "--parts", "7,9,10.7,12.75", mass="150 lb",
    )  # fmt: skip
    parts = column(document, "inside", "parts")
    for ratio, right in ((7.0, 1.59), (9.0, 1.55), (10.7, 1.58), (12.75, 1.67)):
        assert parts[ratio] == pytest.approx(right, rel=QUICK)
    assert min(parts, key=lambda ratio: parts[ratio] or 9.0) == 9.0
    flat = document["flat"]
    assert flat["from"] <= 9.0 <= flat["to"] and flat["to"] - flat["from"] >= 2.0
    volts = column(document, "volts", "parts")
    assert volts[7.0] <= volts[9.0] <= volts[10.7] <= volts[12.75]


def test_two_gearings_cross(tmp_path: Path) -> None:
    """Free speeds of 19 and 14 ft/s push alike at 8.06 ft/s; common practice, no source.

    So the slow one wins short ways and the fast one long ones; where they cross follows in closed form.
    """
    ratios = {free: 5330 * RPM * 2 * INCH / (free * FOOT) for free in (19.0, 14.0)}
    mass, motor = 150 * POUND, {**BIG, "free_current": "0 A"}
    motor.pop("stall_current")
    force = {free: 4 * 2.41 * ratio / (2 * INCH) for free, ratio in ratios.items()}

    def push(free: float, speed: float) -> float:
        return force[free] * (1.0 - speed / free)

    assert push(19.0, 8.06) == pytest.approx(push(14.0, 8.06), rel=1e-3)
    winners, parts = {}, ",".join(repr(ratio) for ratio in ratios.values())
    for distance in (0.5, 1.5, 3.0, 6.0, 9.0):
        document = swept(
            tmp_path, tank(7, 1.0, "4 in", 3.0), motor, (12.0, 0.0), "ratio=4:8", "--points", "2", "--by", "inside",
            "--to", f"{distance + 0.02} m", "--parts", parts, mass="150 lb",
        )  # fmt: skip
        times = dict(zip(sorted(ratios.values()), column(document, "inside", "parts").values(), strict=True))
        right = {free: line_time(force[free], free * FOOT, mass, distance) for free in ratios}
        for free, ratio in ratios.items():
            assert times[ratio] == pytest.approx(right[free], rel=2e-3)
        winners[distance] = min(ratios, key=lambda free: times[ratios[free]] or 9.0)
        assert winners[distance] == min(right, key=lambda free: right[free])
    assert winners[0.5] == 14.0 and winners[9.0] == 19.0


def test_an_arm_whose_motor_is_too_weak_at_one_end(tmp_path: Path) -> None:
    """2 kg at 250 mm, the small motor: below m g l/(stall torque) it does not start, and its rows say so."""
    arm = {
        "kind": "arm", "motors": "1 x m", "gearing": [{"ratio": 100, "efficiency": "100 %"}], "moving_mass": "2 kg",
        "centre": "250 mm", "inertia": "0.125 kg*m^2", "friction": "0 N*m", "travel": ["0 deg", "80 deg"],
        "control": {"loop": "full_effort", "window": "2 deg"},
    }  # fmt: skip
    document = swept(tmp_path, arm, SMALL, (12.0, 0.0), "ratio=10:100:5", "--by", "inside")
    k = (12.0 - 0.25 * 12.0 / 9.2) / (5800 * RPM)
    least = 2.0 * G * 0.25 / (k * (9.2 - 0.25))
    for point in document["points"]:
        look = point["looks"]["only"]
        if point["at"][0] < least:
            assert look["values"]["inside"] is None and "stalled" in look["reason"]
            assert look["values"]["stall"] > 1.0
        else:
            assert look["values"]["inside"] < 60.0
    assert document["best"][0] > least
