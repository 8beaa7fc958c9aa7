"""Devices that reset on a low bus: when they go off and come back, what becomes of the commands under way.

A rotor that spins up behind a battery's resistance follows closed forms (first order, textbook); a lift without current
is integrated by itself.
"""

from __future__ import annotations

import sys
from itertools import pairwise
from math import exp, inf, log, radians

import numpy as np
import numpy.typing as npt
import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot, a_run, winding
from scipy.integrate import solve_ivp

from simbot.analysis.results import StateResult
from simbot.physics.move import PushFor, Spin
from simbot.physics.plant import Plant, running
from simbot.scenario.errors import ScenarioError

Array = npt.NDArray[np.float64]
VOLTS, OHMS = 12.6, 0.2
R, K, J = 0.6, 0.02, 2e-4
WHEEL_J = 1e-9
FREE = winding(R, K, J)
RAILS: Words = {"servos": {"voltage": "5 V", "current_limit": "20 A", "regulator": "linear"}}
ARM = {"kind": "servo", "speed": "0.2 s/60deg", "stall_torque": "1 N*m", "at": "5 V", "rail": "servos",
       "travel": ["0 deg", "180 deg"], "stall_current": "0.001 A"}  # fmt: skip
WHEEL = {"kind": "roller", "motors": "2 x free", "inertia": f"{WHEEL_J} kg*m^2"}
SERVO_STAGE = {"below": "8.5 V", "back_above": "10.5 V", "back_after": "0.15 s", "stops": "servos"}


def bench(stage: Words, motors: Words | None = None, **mechanisms: Words) -> Plant:
    robot = a_robot(
        mechanisms,
        {"free": FREE, "coil": SMALL, **(motors or {})},
        (VOLTS, OHMS),
        rails=RAILS,
        brown_out=stage,
    )
    return a_plant(robot)


def spun_up(at: float) -> float:
    """Bus so long after two motors without load were switched on: E - R0 I, I = 2 E/(R + 2 R0) exp(-t/tau)."""
    tau = (J + WHEEL_J / 2) * (R + 2 * OHMS) / K**2
    return VOLTS - OHMS * 2 * VOLTS / (R + 2 * OHMS) * exp(-at / tau)


def high_from(volts: float) -> float:
    return (
        -(J + WHEEL_J / 2)
        * (R + 2 * OHMS)
        / K**2
        * log((VOLTS - volts) * (R + 2 * OHMS) / (2 * OHMS * VOLTS))
    )


def test_a_rail_goes_off_at_once_and_comes_back_after_the_bus_has_held() -> None:
    assert spun_up(0.0) == pytest.approx(7.56) and spun_up(high_from(10.5)) == pytest.approx(10.5)
    plant = bench({"servos": SERVO_STAGE}, arm=ARM, wheel=WHEEL)
    a_move(plant, "arm", radians(170.0))
    plant.advance(200_000)
    plant.command("wheel", Spin(1.0))
    plant.advance(3_000_000)
    [(reset, stopped, spells)] = plant.off_spells()
    assert reset.name == "servos" and stopped == ("arm",)
    assert spells == [(pytest.approx(0.2), pytest.approx(0.2 + high_from(10.5) + 0.15, abs=1e-6))]


def test_without_power_a_servo_coasts_and_then_goes_on() -> None:
    """Friction alone slows it, 5 % of its stall torque on a rotor of 45 ms x stall torque over free speed."""
    plant = bench({"servos": SERVO_STAGE}, arm=ARM, wheel=WHEEL)
    move = a_move(plant, "arm", radians(170.0))
    alone = a_move(bench({}, arm=ARM, wheel=WHEEL), "arm", radians(170.0)).arrival_us()
    plant.advance(200_000)
    off = float(plant.position("arm")), plant.speed("arm")
    plant.command("wheel", Spin(1.0))
    plant.advance(500_000)
    slows = 0.05 / (0.045 * 1.0 / (radians(60.0) / 0.2))
    assert plant.speed("arm") == pytest.approx(off[1] - 0.3 * slows, rel=1e-6)
    assert float(plant.position("arm")) == pytest.approx(off[0] + 0.3 * off[1] - 0.045 * slows, rel=1e-6)
    arrival = move.arrival_us()
    assert arrival is not None and alone is not None and arrival > alone + 100_000
    plant.advance(3_000_000)
    assert float(plant.position("arm")) == pytest.approx(radians(170.0), abs=radians(2.0))


def test_a_command_that_comes_meanwhile_waits_for_power() -> None:
    plant = bench({"servos": SERVO_STAGE}, arm=ARM, wheel=WHEEL)
    plant.command("wheel", Spin(1.0))
    plant.advance(100_000)
    move = a_move(plant, "arm", radians(90.0))
    arrival = move.arrival_us()
    plant.advance(1_000_000)
    [(_, on)] = plant.off_spells()[0][2]
    assert plant.position("arm", round(on * 1e6)) == 0.0
    sure = bench({}, arm={**ARM, "frame": "0 ms"})
    takes = a_move(sure, "arm", radians(90.0)).arrival_us()
    assert arrival is not None and takes is not None
    assert arrival * 1e-6 == pytest.approx(on + takes * 1e-6, abs=1e-5)


LIFT = {"kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "100 %"}],
        "drum_diameter": "40 mm", "moving_mass": "2 kg", "friction": "6 N", "travel": ["0 m", "3 m"],
        "control": {"loop": "full_effort", "window": "10 mm"}}  # fmt: skip


def test_motors_without_power_coast_and_their_command_waits() -> None:
    """Loaded by its own weight until the controllers come back: no current, the rotor goes along."""
    stage = {"below": "8 V", "back_above": "8 V", "back_after": "0.08 s", "stops": "motors"}
    plant = bench({"outputs": stage}, motors={"strong": {**SMALL, "stall_current": "60 A"}}, lift=LIFT,
                  other={**LIFT, "motors": "3 x strong"})  # fmt: skip
    move = a_move(plant, "lift", 2.9)
    plant.advance(600_000)
    begin = plant.speed("lift"), float(plant.position("lift"))
    plant.command("other", PushFor(1.0, 3.0, 20_000))
    plant.advance(2_000_000)
    [(_, stopped, spells)] = plant.off_spells()
    assert set(stopped) == {"lift", "other"}
    off, on = spells[0]
    assert off == pytest.approx(0.6) and on == pytest.approx(0.68)
    g, friction = 20.0 / 0.02, 12.0 / 9.2
    constant = (12.0 - 0.25 * friction) / (5800 * 0.10471975511965977)

    def coasts(_t: float, y: np.ndarray) -> list[float]:
        rub = 6.0 + g * constant * 0.25
        return [y[1], -(2.0 * G + rub) / (2.0 + g**2 * 1e-5)]

    right = solve_ivp(coasts, (0.0, 0.08), [begin[1], begin[0]], rtol=1e-11, atol=1e-13)
    assert float(plant.position("lift", 680_000)) == pytest.approx(right.y[0][-1], abs=1e-6)
    assert plant.speed("lift", 680_000) == pytest.approx(right.y[1][-1], rel=1e-4)
    assert move.first_inside_us() is not None and plant.speed("lift", 900_000) > 0.9 * begin[0]


def test_as_often_as_it_happens() -> None:
    """What asks for too much resets, comes back, asks again: every spell lasts as long as the way back takes."""
    stage = {"below": "8 V", "back_above": "11 V", "back_after": "0.25 s", "stops": "motors"}
    strong = {**SMALL, "stall_current": "60 A"}
    other = {**LIFT, "motors": "3 x strong", "moving_mass": "30 kg"}
    plant = bench({"outputs": stage}, motors={"strong": strong}, other=other)
    a_move(plant, "other", 2.9)
    plant.advance(3_000_000)
    spells = plant.off_spells()[0][2]
    assert len(spells) > 5
    for off, on in spells[:-1]:
        assert on - off == pytest.approx(0.25)
    for (_, on), (off, _) in pairwise(spells):
        assert off >= on


def a_long_struggle(seconds: int, beside: bool) -> Plant:
    """What resets again and again: alone, or beside a slow profile, which acts at every tick."""
    stage = {"below": "8 V", "back_above": "11 V", "back_after": "0.15 s", "stops": "motors"}
    strong = {**SMALL, "stall_current": "60 A"}
    other = {**LIFT, "motors": "3 x strong", "moving_mass": "30 kg"}
    control = {"loop": "profile", "speed": "5 mm/s", "acceleration": "1 m/s^2", "p": "10 /m"}
    slow = {**LIFT, "control": control}
    plant = bench({"outputs": stage}, motors={"strong": strong}, other=other, slow=slow)
    if beside:
        a_move(plant, "slow", 0.5)
    a_move(plant, "other", 2.9)
    plant.advance(seconds * 1_000_000)
    return plant


@pytest.mark.parametrize("beside", [True, False])
def test_many_resets_are_gone_through_once(monkeypatch: pytest.MonkeyPatch, beside: bool) -> None:
    """Time is not gone through to the end again after each of them; and all is as if it were.

    Alone, the bus stands still while the motors are off: the step in which they come back goes to the end.
    """
    advance, calls, steps = running.advance, [0], [0]

    def counted(w: Array, tab: Array, log: Array, row: int, t_end: float) -> tuple[int, int]:
        code, after = advance(w, tab, log, row, t_end)
        calls[-1] += 1
        steps[-1] += after - row
        return code, after

    monkeypatch.setattr(running, "advance", counted)
    plant = a_long_struggle(20, beside)
    calls.append(0)
    steps.append(0)
    monkeypatch.setattr(running, "LOOKED_AT", sys.maxsize)
    whole = a_long_struggle(20, beside)
    spells = plant.off_spells()[0][2]
    assert len(spells) > 50
    assert calls[0] <= calls[1]
    assert calls[0] <= 4 * len(spells) + 4  # off, and on: to see when, and to go there
    assert steps[0] <= steps[1]
    if beside:
        assert steps[1] > 10 * steps[0]
    assert spells == whole.off_spells()[0][2]
    assert np.array_equal(plant.arrays.w, whole.arrays.w)


def test_when_it_is_asked_changes_nothing() -> None:
    """Predictions made on the way are forgotten, with the resets in them."""
    plants = [bench({"servos": SERVO_STAGE}, arm=ARM, wheel=WHEEL) for _ in range(2)]
    ends = []
    for plant, curious in zip(plants, (True, False), strict=True):
        move = a_move(plant, "arm", radians(170.0))
        if curious:
            move.arrival_us()
        plant.advance(200_000)
        plant.command("wheel", Spin(1.0))
        for at in range(210_000, 1_500_000, 10_000):
            if curious:
                move.arrival_us()
                plant.first_seen_us([move], 2_000_000)
            plant.advance(at)
        ends.append((move.arrival_us(), plant.off_spells()[0][2]))
    assert ends[0][0] == ends[1][0]
    assert np.allclose(ends[0][1], ends[1][1], atol=1e-6)


# --- in a plan ---------------------------------------------------------------------------------------------


def tried(stage: Words, steps: list[Words], **more: object) -> StateResult:
    mechanisms = {"arm": ARM, "wheel": WHEEL, "flap": {"kind": "measured", "time": "0.1 s"}}
    return a_run(steps, mechanisms, {"free": FREE}, (VOLTS, OHMS), rails=RAILS, brown_out=stage, **more)  # type: ignore[arg-type]


STEPS: list[Words] = [
    {"move": {"arm": "170 deg"}}, {"wait": "0.2 s"}, {"spin": {"wheel": "100 %"}}, {"wait": "2 s"},
    {"move": {"flap": "open"}}, {"wait": "0.2 s"},
]  # fmt: skip


def test_the_timeline_says_who_and_when() -> None:
    result = tried({"servos": SERVO_STAGE}, STEPS)
    [told] = [one for one in result.findings if one.kind == "brown_out"]
    assert told.at_us == 200_000 and not told.fails
    for words in (
        "below 8.5 V",
        "the reset of the servos",
        "leaves the rail servos without power",
        "the arm had to do",
        "waits",
    ):
        assert words in told.text
    calm = tried({}, STEPS)
    assert result.moves[0].arrival_us > calm.moves[0].arrival_us  # type: ignore[operator]
    assert [move.label for move in result.moves] == [move.label for move in calm.moves]


def test_volts_alone_are_told_and_change_nothing() -> None:
    result, calm = tried({"servos": "8.5 V"}, STEPS), tried({}, STEPS)
    assert [one.provided for one in result.findings if one.kind == "brown_out"] == ["nothing resets"]
    acted = [one for one in tried({"servos": SERVO_STAGE}, STEPS).findings if one.kind == "brown_out"]
    assert [one.provided for one in acted] == [""]  # it is in the run
    assert [move.arrival_us for move in result.moves] == [move.arrival_us for move in calm.moves]


MOTORS = {"below": "8 V", "back_above": "8 V", "back_after": "0.1 s", "stops": "motors"}


@pytest.mark.parametrize("order", [("outputs", "servos"), ("servos", "outputs")])
def test_one_dip_resets_all_that_it_is_low_enough_for(order: tuple[str, str]) -> None:
    """From 12.6 to 7.56 V at once, and back as its cause is off: whichever device is written first.

    Every dip is a break for what waits for 0.15 s without one.
    """
    stages = {"outputs": MOTORS, "servos": SERVO_STAGE}
    plant = bench({name: stages[name] for name in order}, arm=ARM, wheel=WHEEL)
    plant.advance(200_000)
    plant.command("wheel", Spin(1.0))
    plant.advance(550_000)
    spells = {reset.name: found for reset, _, found in plant.off_spells()}
    ends = [0.2, 0.3, 0.4, 0.5]
    assert spells["outputs"] == [pytest.approx(each) for each in zip(ends, [*ends[1:], inf], strict=True)]
    assert spells["servos"] == [(pytest.approx(0.2), inf)]
    plant.command("wheel", Spin(0.0))
    plant.advance(1_000_000)
    assert plant.off_spells()[order.index("servos")][2] == [(pytest.approx(0.2), pytest.approx(0.65))]


def test_a_dip_that_a_reset_ends_at_once_is_told_of_what_only_has_volts() -> None:
    """12.6 V less 0.2 ohm times the 25.2 A of both motors from rest."""
    result = tried({"outputs": MOTORS, "radio": "7.7 V", "camera": "7.5 V"}, STEPS)
    told = {one.about: one for one in result.findings if one.kind == "brown_out"}
    assert set(told) == {"outputs", "radio"}
    assert told["radio"].at_us == 200_000
    assert "below the 7.7 V at which the radio resets, until" in told["radio"].text
    assert "to 7.56 V at" in told["radio"].text and "for" not in told["radio"].text.split(";")[0]


def test_what_never_arrives_as_its_motors_reset_says_so() -> None:
    strong = {**SMALL, "stall_current": "60 A"}
    lift = {**LIFT, "motors": "3 x strong"}
    plant = bench({"outputs": {**MOTORS, "back_after": "0.3 s"}}, motors={"strong": strong}, lift=lift)
    plant.advance(1_000_000)
    move = a_move(plant, "lift", 2.9)
    assert move.arrival_us() is None
    assert move.reason() == (
        "the reset of the outputs below 8 V leaves it without power 64 times in 19 s, first 0 ms after its command"
    )


PROGRAM = {"below": "8.5 V", "back_above": "9 V", "back_after": "1 s", "stops": "program"}


def test_a_program_that_resets_loses_its_routine_and_its_commands() -> None:
    result = tried({"controller": PROGRAM}, STEPS)
    assert [move.label for move in result.moves] == ["arm to 170 deg", "wheel at 100 %"]
    assert result.moves[0].arrival_us is None
    [told] = [one for one in result.findings if one.kind == "brown_out"]
    assert (
        "stops the program" in told.text
        and "is lost" in told.text
        and "routine of its period is over" in told.text
    )
    assert told.at_us == 200_000


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("stops", "servo", ["no such rail", "servo", "servos"]),
        ("back_above", "7 V", ["comes back above", "7 V", "8.5 V"]),
        ("back_after", "1 ms", ["back_after", "1 ms"]),
        ("below", "8.5", ["below", "8.5"]),
        ("behind", "8.5 V", ["behind"]),
    ],
)
def test_mistakes(key: str, value: str, words: list[str]) -> None:
    with pytest.raises(ScenarioError) as caught:
        bench({"servos": {**SERVO_STAGE, key: value}}, arm=ARM)
    for word in words:
        assert word in str(caught.value)
