"""Fuses, breakers, resets, stalls, cords, hard stops and windings: what a run finds, against formulas written here.

Fuse law: a body that lags behind (I/In)² with one time constant and opens at 1.44 opens after
t = tau ln(x²/(x² - 1.44)) at x times its rating (derived). Invented motors and mechanisms.
"""

from __future__ import annotations

from dataclasses import replace
from math import log
from typing import Any

import numpy as np
import pytest
from builders import LARGE, SMALL, G, Words, a_move, a_plant, a_robot, a_run, winding
from scipy.integrate import solve_ivp

from simbot.analysis import loads
from simbot.analysis.loads import OPENS, load_findings
from simbot.analysis.results import Finding, StateResult
from simbot.physics import layout as L
from simbot.physics import strain
from simbot.physics.heat import AIR, RISE_OF_R
from simbot.physics.move import DriveFor, PushFor, Spin
from simbot.physics.plant import Plant
from simbot.scenario.model import Pose

SLIDE: Words = {
    "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "90 %"}],
    "drum_diameter": "40 mm", "moving_mass": "4 kg", "friction": "6 N", "travel": ["0 m", "0.9 m"],
    "control": {"loop": "full_effort", "window": "5 mm"},
}  # fmt: skip
WHEEL: Words = {"kind": "roller", "motors": "1 x coil", "inertia": "2e-4 kg*m^2", "friction": "0.05 N*m"}
R = 12.0 / 9.2
K = (12.0 - 0.25 * R) / (5800 * 2 * np.pi / 60)
HEAT: Words = {
    "winding_to_case": "3 K/W", "case_to_air": "8 K/W", "winding_time": "36 s", "case_time": "960 s",
    "limit": "60 degC",
}  # fmt: skip


def test_a_bus_that_falls_low_is_told_where_nothing_says_what_resets() -> None:
    """Just above the run's lowest volts it is, just below not; nor where a reset is stated or the battery is small."""
    plant = stalled(15.0, 2.0)
    low = replace(plant.robot, battery=tuple(replace(one, open_circuit=13.2) for one in plant.robot.battery))
    lowest, _ = plant.lowest_bus()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(loads, "USUAL_BROWN_OUT", lowest + 0.1)
        (found,) = [one for one in load_findings(low, plant, []) if one.kind == "bus_low"]
        assert f"to {lowest:.2f} V at" in found.text and not found.fails
        assert found.provided == "nothing resets"  # the run passes only so
        stated = replace(low, brown_out={"controller": 5.0})
        small = replace(low, battery=tuple(replace(one, open_circuit=7.4) for one in low.battery))
        patch.setattr(loads, "USUAL_BROWN_OUT", lowest - 0.1)
        assert not [one for one in load_findings(low, plant, []) if one.kind == "bus_low"]
        patch.setattr(loads, "USUAL_BROWN_OUT", lowest + 0.1)
        assert not [one for robot in (stated, small) for one in load_findings(robot, plant, [])
                    if one.kind == "bus_low"]  # fmt: skip


def stalled(amps: float, seconds: float, **more: Any) -> Plant:
    """A motor pressed against the top of its travel, held to a current on both its sides by its controller."""
    slide = {**SLIDE, "motors": "1 x big", "battery_current_limit": f"{amps} A", **more}
    robot = a_robot({"lift": slide}, {"big": LARGE}, (13.2, 0.1), fuse={"rating": "900 A"})
    plant = a_plant(robot, 60.0, lift=0.9)
    plant.command("lift", PushFor(1.0, 0.9, round(50e6)))
    plant.advance(round(seconds * 1e6))
    return plant


@pytest.mark.parametrize(("times", "lag", "after"), [(2.0, 2.0, 0.89257), (2.0, 12.0, 5.35545)])
def test_fuse_and_breaker_at_twice_their_rating(times: float, lag: float, after: float) -> None:
    """0.893 s of a blade fuse (2 s), 5.36 s of a thermal breaker (12 s)."""
    assert lag * log(times**2 / (times**2 - 1.44)) == pytest.approx(after, abs=1e-5)
    plant = stalled(15.0, 8.0)
    assert strain.fuse(plant, None, 7.5, lag, OPENS)[0] == pytest.approx(after, abs=1e-5)
    assert strain.fuse(plant, "lift", 7.5, lag, OPENS)[0] == pytest.approx(after, abs=1e-5)
    never, most = strain.fuse(plant, "lift", 15.0, lag, OPENS)
    assert never == np.inf
    assert most == pytest.approx(1.0 - np.exp(-8.0 / lag), rel=1e-5)


def spun(gap: str, **more: Any) -> StateResult:
    """Two wheels without friction, the second so long after the first."""
    wheel = {"kind": "roller", "motors": "1 x free", "inertia": "1e-9 kg*m^2"}
    steps = [{"spin": {"left": "100 %"}}, {"wait": gap}, {"spin": {"right": "100 %"}}, {"wait": "2 s"}]
    free = winding(0.6, 0.02, 2e-4)
    return a_run(steps, {"left": wheel, "right": wheel}, {"free": free}, (12.6, 0.2), **more)


@pytest.mark.parametrize("rating", [10.0, 24.0, 30.0])
def test_time_above_a_fuse(rating: float) -> None:
    """Both at once: 2 E/(R + 2 R0) = 25.2 A at first, which falls by exp(-t/tau), tau = J (R + 2 R0)/k²."""
    result = spun("0 s", fuse={"rating": f"{rating} A"})
    tau = (2e-4 + 1e-9) * (0.6 + 2 * 0.2) / 0.02**2
    right = tau * log(25.2 / rating) if rating < 25.2 else 0.0
    assert result.current_peak_a == pytest.approx(25.2)
    assert result.over_fuse_s == pytest.approx(right, abs=1e-3)  # its steps are 0.5 s long
    told = [one for one in result.findings if one.kind == "over_fuse"]
    assert bool(told) == (rating < 25.2)
    for one in told:
        assert (one.mechanism, one.about, one.at_us, one.fails) == ("right", "left at 100 %", 0, False)
        assert "begin at one instant" in one.text and "200 to 300 ms after the other" in one.text


@pytest.mark.parametrize("volts", [8.0, 10.0, 12.0])
def test_time_below_a_voltage(volts: float) -> None:
    """As above: E - R0 I."""
    [told] = [
        one for one in spun("0 s", brown_out={"radio": f"{volts} V"}).findings if one.kind == "brown_out"
    ]
    tau = (2e-4 + 1e-9) * (0.6 + 2 * 0.2) / 0.02**2
    lasts = float(told.text.split("resets, for ")[1].split(" ms")[0])
    assert lasts == pytest.approx(1e3 * tau * log(0.2 * 25.2 / (12.6 - volts)), abs=1.5)
    assert told.at_us == 0


def test_what_is_staggered_is_not_told_to_be() -> None:
    late = spun("250 ms", fuse={"rating": "10 A"})
    assert (late.over_fuse_s or 0.0) > 0.0
    assert not [one for one in late.findings if one.kind == "over_fuse"]
    near = [one.text for one in spun("100 ms", fuse={"rating": "10 A"}).findings if one.kind == "over_fuse"]
    assert len(near) == 1 and "begin within 100 ms" in near[0]
    assert spun("0 s").over_fuse_s is None


def findings(mechanism: Words, motors: Words, steps: list[Any] | None = None, **more: Any) -> StateResult:
    to = [{"move": {"lift": "0.9 m"}}, {"wait": "4 s"}]
    return a_run(steps or to, {"lift": mechanism}, motors, (13.2, 0.15), **more)


def of_kind(result: StateResult, kind: str) -> Finding:
    found = [one for one in result.findings if one.kind == kind]
    assert len(found) == 1, result.findings
    assert not found[0].fails
    return found[0]


def test_all_of_it_is_told_with_step_and_instant() -> None:
    slide = {**SLIDE, "control": {"loop": "full_effort", "window": "5 mm", "after": "90 %"},
             "stalls_at_most": "0.5 s", "breaker": {"rating": "3 A"}, "cord_rating": "50 N",
             "stop_rating": "0.1 J"}  # fmt: skip
    result = findings(slide, {"coil": SMALL}, fuse={"rating": "3 A"}, brown_out={"controller": "12.6 V"})
    for kind in ("fuse_opens", "breaker_opens", "brown_out", "stalls_long", "cord_overloaded", "hard_stop"):
        one = of_kind(result, kind)
        assert one.step == 1 and one.line > 0
    assert of_kind(result, "brown_out").at_us == 0
    calm = findings({**slide, "stalls_at_most": "9 s", "breaker": {"rating": "30 A"}, "cord_rating": "900 N",
                     "stop_rating": "90 J"}, {"coil": SMALL}, fuse={"rating": "30 A"},
                    brown_out={"controller": "5 V"})  # fmt: skip
    assert not calm.findings


def test_the_pull_of_a_cord_and_a_hard_stop() -> None:
    """At the start the cord carries M (g + a) + F; at the stop all moving energy is lost, the rotor's too."""
    plant = a_plant(a_robot({"lift": SLIDE}, {"coil": SMALL}, (13.2, 0.15)))
    a_move(plant, "lift", 0.9)
    plant.advance(2_000_000)
    g, eta, rotor = 20.0 / 0.02, 0.9, 1e-5

    def rates(_t: float, y: np.ndarray) -> list[float]:
        i = (13.2 - K * g * y[1]) / (R + 0.15)
        a = (eta * g * K * (i - 0.25) - 4.0 * G - 6.0) / (4.0 + eta * g**2 * rotor)
        return [y[1], a]

    def top(_t: float, y: np.ndarray) -> float:
        return float(y[0] - 0.9)

    top.terminal = True  # type: ignore[attr-defined]
    way = solve_ivp(rates, (0.0, 5.0), [0.0, 0.0], rtol=1e-11, atol=1e-13, events=top)
    at, pull = strain.greatest_cord_pull(plant, "lift")
    assert at == 0.0
    assert pull == pytest.approx(4.0 * (G + rates(0.0, np.zeros(2))[1]) + 6.0, rel=1e-9)
    [(hit_at, speed, energy)] = strain.hits(plant, "lift")
    assert hit_at == pytest.approx(way.t_events[0][0], abs=1e-6)
    assert speed == pytest.approx(way.y_events[0][0][1], rel=1e-6)
    assert energy == pytest.approx(0.5 * (4.0 + g**2 * rotor) * speed**2, rel=1e-12)


def test_how_long_the_bus_lies_low() -> None:
    plant = a_plant(a_robot({"lift": SLIDE}, {"coil": SMALL}, (13.2, 0.15)))
    a_move(plant, "lift", 0.5)
    for at_us in range(0, 1_000_000, 500):
        plant.advance(at_us)
    spell = strain.below(plant, 12.5)
    assert spell is not None
    rows = plant._log[: plant._rows]
    low = rows[:, 3] < 12.5
    assert spell.lasts == pytest.approx(rows[low, 1].sum(), abs=2e-3)
    assert spell.lowest == rows[:, 2:4].min()
    assert (spell.times, spell.longest, spell.begins) == (1, spell.lasts, 0.0)


def test_how_often_the_bus_lies_low_and_how_long_at_a_time() -> None:
    """A coil at full effort, off and on again: each time the bus lies low as long as from rest."""
    plant = a_plant(a_robot({"wheel": WHEEL}, {"coil": SMALL}, (13.2, 0.15)))
    spells = []
    for begin in (0, 3_000_000):
        plant.command("wheel", Spin(1.0))
        plant.advance(begin + 1_500_000)
        sag = strain.below(plant, 12.5)
        assert sag is not None
        spells.append(sag)
        plant.command("wheel", Spin(0.0))
        plant.advance(begin + 3_000_000)
    once, twice = spells
    assert (once.times, twice.times) == (1, 2)
    assert twice.lasts == pytest.approx(2.0 * once.lasts, rel=0.02)
    assert twice.longest == pytest.approx(once.longest, rel=1e-6) and twice.begins == once.begins == 0.0
    assert strain.below(plant, 5.0) is None


def held(seconds: float) -> Plant:
    """A winding stalled at full voltage from a stiff battery."""
    motor = {**SMALL, "heat": HEAT}
    plant = a_plant(a_robot({"lift": SLIDE}, {"coil": motor}, (12.0, 0.0)), 60.0, lift=0.9)
    plant.command("lift", PushFor(1.0, 0.9, round(50e6)))
    plant.advance(round(seconds * 1e6))
    return plant


def test_a_stalled_winding_heats_and_its_resistance_rises() -> None:
    plant = held(6.0)
    history = strain.heat_history(plant, "lift")
    assert history is not None
    times, winding, case = history

    def rates(_t: float, y: np.ndarray) -> list[float]:
        heat = 9.2**2 * R * (1.0 + RISE_OF_R * y[0])
        return [(heat - (y[0] - y[1]) / 3.0) / 12.0, ((y[0] - y[1]) / 3.0 - y[1] / 8.0) / 120.0]

    right = solve_ivp(rates, (0.0, 6.0), [0.0, 0.0], rtol=1e-10, atol=1e-10).y[:, -1]
    assert times[-1] == 6.0
    assert (winding[-1] - AIR, case[-1] - AIR) == pytest.approx(tuple(right), rel=1e-6)
    # the next command takes the resistance that the winding then has
    plant.command("lift", PushFor(1.0, 0.9, 1_000_000))
    plant.advance(6_100_000)
    row = plant._log[plant._rows - 1]
    assert row[L.LOG_MECH + L.LOG_AMPS1] == pytest.approx(9.2 / (1.0 + RISE_OF_R * right[0]), rel=1e-6)
    found = load_findings(plant.robot, plant, [], [1_000_000])
    assert [one.kind for one in found] == ["fades", "winding_hot"]
    assert "in cycle 2" in found[0].text
    for one, celsius in zip(found, (AIR + 0.1 / RISE_OF_R, 60.0), strict=True):
        assert one.at_us == pytest.approx(np.interp(celsius, winding, times) * 1e6, abs=0.11e6)


def test_a_hot_lift_is_slower() -> None:
    """Twenty strokes: the last takes longer, by what the risen resistance costs (an integration of its own)."""
    motor = {**SMALL, "heat": {**HEAT, "winding_time": "6 s", "case_time": "200 s"}}
    plant = a_plant(a_robot({"lift": {**SLIDE, "moving_mass": "7 kg"}}, {"coil": motor}, (13.2, 0.15)), 120.0)
    took = []
    for number in range(20):
        begin = number * 3_000_000
        plant.advance(begin)
        up = a_move(plant, "lift", 0.6)
        plant.advance(begin + 1_900_000)
        at = up.first_inside_us()
        assert at is not None
        took.append((at - begin, plant.arrays.hot.get("lift", (1.0, 1.0))[0]))
        a_move(plant, "lift", 0.0)
    assert took[0][1] == 1.0
    assert took[-1][1] > 1.1
    cold = a_robot({"lift": {**SLIDE, "moving_mass": "7 kg"}}, {"coil": SMALL}, (13.2, 0.15))
    for time, factor in (took[0], took[10], took[-1]):
        twin = a_plant(cold, 10.0)
        w, m = twin.arrays.w, twin.arrays.at["lift"]
        w[int(w[m + L.GRP]) + L.G_R] *= factor
        alone = a_move(twin, "lift", 0.6).first_inside_us()
        assert time == pytest.approx(alone, abs=3)
    assert took[-1][0] > took[0][0] + 10_000


def test_no_heat_no_history() -> None:
    plant = stalled(5.0, 1.0)
    assert strain.heat_history(plant, "lift") is None
    assert not load_findings(replace(plant.robot, brown_out={}), plant, [])


def test_a_cord_that_goes_slack_is_told() -> None:
    """Let out at full speed, a light slide on a steep friction falls more slowly than its drum turns."""
    slide = {**SLIDE, "cord": "pulls", "moving_mass": "1 kg", "friction": "6 N"}
    down = [{"wait": "1 s"}, {"move": {"lift": "0.1 m"}}, {"wait": "3 s"}]
    told = of_kind(findings(slide, {"coil": SMALL}, down, start={"lift": "0.8 m"}), "cord_slack")
    assert told.at_us == 1_000_000
    assert told.mechanism == "lift"
    assert "goes slack, for" in told.text and "at the most: its motors let it out faster" in told.text
    both = findings({**slide, "cord": "pulls_both_ways"}, {"coil": SMALL}, down, start={"lift": "0.8 m"})
    assert not both.findings


def test_a_breaker_of_a_drive_counts_the_motors_of_each_leg() -> None:
    """15 A in each of four stalled motors, then in two of them on a diagonal: the law of one motor, as above."""
    wheels = {
        "kind": "mecanum", "motors": "4 x big", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "360 mm",
        "grip": 3.0, "friction": "5000 N", "battery_current_limit": "15 A",
        "control": {"loop": "full_effort", "window": "20 mm"},
    }  # fmt: skip
    robot = a_robot({"drive": wheels}, {"big": LARGE}, (13.2, 0.05), fuse={"rating": "900 A"})
    plant = a_plant(robot, 60.0, pose=Pose(1.0, 1.0, 0.0))
    plant.command("drive", DriveFor(1.0, 1.0, 0.0, 3_000_000))
    plant.advance(3_000_000)
    plant.command("drive", DriveFor(1.0, 1.0, np.pi / 4.0, 3_000_000))
    plant.advance(6_000_000)
    assert list(plant.motors_at("drive", np.array([1.0, 5.0]))) == [4.0, 2.0]
    opens, most = strain.fuse(plant, "drive", 7.5, 2.0, OPENS)
    assert opens == pytest.approx(0.89257, abs=1e-5)
    assert most == pytest.approx(4.0 * (1.0 - np.exp(-6.0 / 2.0)), rel=1e-3)
