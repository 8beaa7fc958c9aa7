"""A flywheel held at a speed by its loop: spin-up, the dip of a throw, recovery; an ODE solver and closed forms."""

from __future__ import annotations

from math import exp, log, pi
from typing import Any

import pytest
from builders import SMALL, Words, a_plant, a_robot, a_run, seconds

from simbot.physics.move import Spin, SpinTo
from simbot.physics.plant import Plant
from simbot.scenario.errors import ScenarioError

RPM = pi / 30.0
INERTIA, RATIO, DRAG = 1.2e-3, 1.5, 0.01
FREE, AMPS, STALLED, ROTOR = 5800.0 * RPM, 0.25, 9.2, 1e-5
R = 12.0 / STALLED
K = (12.0 - AMPS * R) / FREE
TF = K * AMPS
TURNING = INERTIA + RATIO**2 * ROTOR
DAMPED = RATIO**2 * K**2 / R
TAU = TURNING / DAMPED
TICK = 0.02
WHEEL: Words = {
    "kind": "flywheel", "motors": "1 x small", "gearing": [{"ratio": RATIO, "efficiency": "100 %"}],
    "inertia": f"{INERTIA} kg*m^2", "friction": f"{DRAG} N*m", "speed": "3000 rpm", "diameter": "90 mm",
    "element_mass": "120 g", "exit_share": "50 %",
    "speed_control": {"p": "1 %/rpm", "window": "60 rpm"},
}  # fmt: skip
LEFT = TURNING / (TURNING + 0.12 * 0.5 * 0.045**2)


def settles_at(effort: float) -> float:
    """Speed at a constant effort on 12 V, friction of wheel and motor overcome [rad/s]."""
    return (RATIO * (K * effort * 12.0 / R - TF) - DRAG) / DAMPED


def wheel(volts: float = 12.0, ohms: float = 0.0, **more: object) -> Plant:
    robot = a_robot({"wheel": {**WHEEL, **more}}, {"small": SMALL}, (volts, ohms))
    return a_plant(robot, seconds=12.0)


def by_hand(
    target: float, speed: float, lasts: float, volts: float = 12.0, gain: float = 0.01 / RPM
) -> list[tuple[float, float]]:
    """Tick by tick with the exact solution between: (time, speed) at every tick."""
    feed = ((target * DAMPED + DRAG) / RATIO + TF) * R / K / 12.0
    gain, out, t = 0.01 / RPM, [], 0.0
    while t < lasts:
        out.append((t, speed))
        effort = min(1.0, max(0.0, feed + gain * (target - speed)))
        final = (RATIO * (K * effort * volts / R - TF) - DRAG) / DAMPED
        speed = final + (speed - final) * exp(-TICK / TAU)
        t += TICK
    return out


@pytest.mark.parametrize("volts", [12.0, 10.5])
def test_tick_by_tick(volts: float) -> None:
    plant = wheel(volts)
    plant.command("wheel", SpinTo(3000.0 * RPM))
    plant.advance(3_000_000)
    for t, speed in by_hand(3000.0 * RPM, 0.0, 2.9, volts)[::7]:
        assert plant.speed("wheel", round(t * 1e6)) == pytest.approx(speed, rel=1e-5, abs=1e-6)


def test_arrival_and_floor_are_those_of_full_effort() -> None:
    """Into the near edge of its window by full effort all the way: the loop saturates until after that."""
    plant = wheel(speed_control={"p": "10 %/rpm", "window": "60 rpm"})
    move = plant.command("wheel", SpinTo(2400.0 * RPM))
    right = TAU * log(settles_at(1.0) / (settles_at(1.0) - 2340.0 * RPM))
    assert seconds(move.arrival_us()) == pytest.approx(right, abs=2e-6)
    floor = move.floor_s()
    assert floor is not None and floor == pytest.approx(right, abs=2e-6)
    assert plant.first_seen_us([move], 12_000_000) == plant.tick_at_or_after(round(right * 1e6))


def test_a_loop_that_is_not_stated_is_that_of_the_defaults() -> None:
    plain = {key: WHEEL[key] for key in WHEEL if key != "speed_control"}
    robots = [
        a_robot({"wheel": words}, {"small": SMALL}, (12.0, 0.0))
        for words in (plain, {**plain, "speed_control": {"feed_forward": "100 %"}})
    ]
    left, stated = (a_plant(robot, seconds=12.0).command("wheel", SpinTo(3000.0 * RPM)) for robot in robots)
    assert left.arrival_us() == stated.arrival_us() is not None
    assert left.window == stated.window == pytest.approx(60.0 * RPM, rel=1e-12)  # 2 % of the speed


def test_what_is_left_of_an_error() -> None:
    """Without feed-forward a p loop stays below what is asked for: its effort is p x error."""
    plant = wheel(speed_control={"p": "0.1 %/rpm", "feed_forward": "0 %", "window": "60 rpm"})
    move = plant.command("wheel", SpinTo(3000.0 * RPM))
    plant.advance(11_000_000)
    gain = 0.001 / RPM
    slope = RATIO * K * 12.0 / R / DAMPED
    right = (slope * gain * 3000.0 * RPM + settles_at(0.0)) / (1.0 + slope * gain)
    assert plant.speed("wheel") == pytest.approx(right, rel=1e-4)
    assert move.arrival_us() is None
    assert "speed loop" in move.reason()
    assert float(move.ends_at()) == pytest.approx(right, rel=1e-4)


def test_a_speed_beyond_its_reach() -> None:
    move = wheel().command("wheel", SpinTo(5000.0 * RPM))
    assert move.arrival_us() is None and move.floor_s() is None
    assert move.reason() == "its effort does not bring it to that speed"


def test_a_throw_and_the_way_back() -> None:
    """Moment of momentum goes with the element; back at full effort: the floor of the same command."""
    plant = wheel(speed_control={"p": "0.3 %/rpm", "window": "200 rpm"})
    first = plant.command("wheel", SpinTo(2400.0 * RPM))
    plant.advance(5_000_000)
    before = plant.speed("wheel")
    assert before == pytest.approx(2400.0 * RPM, rel=1e-4)
    back = plant.command("wheel", SpinTo(2400.0 * RPM, throws=2))
    assert plant.speed("wheel") == pytest.approx(before * LEFT**2)
    right = TAU * log((settles_at(1.0) - before * LEFT**2) / (settles_at(1.0) - 2200.0 * RPM))
    assert seconds(back.arrival_us()) - 5.0 == pytest.approx(right, abs=2e-6)
    assert first.arrived_for_real() and seconds(first.arrival_us()) < 5.0
    plant.advance(8_000_000)
    plant.command("wheel", Spin(0.0))
    plant.advance(9_000_000)
    final = settles_at(0.0)
    assert plant.speed("wheel") == pytest.approx(final + (2400.0 * RPM - final) * exp(-1.0 / TAU), rel=1e-3)


def test_backwards() -> None:
    plant, mirrored = wheel(), wheel()
    a = plant.command("wheel", SpinTo(2000.0 * RPM))
    b = mirrored.command("wheel", SpinTo(-2000.0 * RPM))
    assert a.arrival_us() == b.arrival_us() is not None


@pytest.mark.parametrize("volts", [10.0, 11.0, 12.5, 14.0])
def test_more_volts_are_never_slower(volts: float) -> None:
    less = wheel(volts, 0.1).command("wheel", SpinTo(2600.0 * RPM)).arrival_us()
    more = wheel(volts + 0.7, 0.1).command("wheel", SpinTo(2600.0 * RPM)).arrival_us()
    assert less is not None and more is not None and more <= less


HOOP: Words = {"hoop": {"pose": ["2 m", "2 m", "0 deg"], "takes": "ball", "points": 2}}
GATE: Words = {"kind": "measured", "time": "0.1 s"}


def a_shot(needs: Words, first: str = "4 s", pause: str = "50 ms", **more: object) -> Any:
    steps = [
        {"spin": {"wheel": "3000 rpm"}}, {"wait": first},
        {"place": {"into": "hoop", "by": {"gate": "open"}, "count": 1, "thrown_by": "wheel", "needs": needs}},
        {"wait": pause},
        {"move": {"gate": "shut"}},
        {"place": {"into": "hoop", "by": {"gate": "open"}, "count": 1, "thrown_by": "wheel", "needs": needs}},
        {"wait": "arrival", "at_most": "3 s"},
    ]  # fmt: skip
    return a_run(
        steps, {"wheel": {**WHEEL, **more}, "gate": GATE}, {"small": SMALL},
        start={"holds": {"gate": ["ball", "ball"]}},
        elements={"ball": {"mass": "120 g"}}, places=HOOP,
    )  # fmt: skip


def test_in_a_plan() -> None:
    """Spun up, thrown, and thrown again before it is back: the second one's need is not met, nothing else changes."""
    ready = {"wheel": "3000 rpm within 60 rpm"}
    slow = a_shot(ready)
    waited = a_shot(ready, pause="1.5 s")
    assert len(waited.deliveries_at_us) == 2 and waited.points["total"] == 4
    assert len(slow.deliveries_at_us) == 1 and [need.met for need in slow.needs] == [True, False]
    up = slow.moves[0]
    right = next(t for t, speed in by_hand(3000.0 * RPM, 0.0, 4.0) if speed >= 2940.0 * RPM)
    assert right - TICK <= seconds(up.arrival_us) <= right
    backs = [move for move in waited.moves if "back to its speed" in move.label]
    assert len(backs) == 2 and all(move.arrival_us is not None and move.arrival_us > 0 for move in backs)


@pytest.mark.parametrize(
    ("needs", "more", "words"),
    [
        ({"wheel": "3000 mm"}, {}, "3000 mm"),
        ({}, {"kind": "roller"}, "no flywheel"),
    ],
)
def test_mistakes(needs: Words, more: Words, words: str) -> None:
    if more:
        more = {**more, **dict.fromkeys(("speed", "diameter", "element_mass", "exit_share"))}
        kept = {key: value for key, value in WHEEL.items() if key not in more}
        steps = [{"place": {"into": "hoop", "by": {"gate": "open"}, "thrown_by": "wheel"}}]
        with pytest.raises(ScenarioError, match=words):
            a_run(steps, {"wheel": {**kept, "kind": "roller"}, "gate": GATE}, {"small": SMALL},
                  elements={"ball": {}}, places=HOOP)  # fmt: skip
        return
    with pytest.raises(ScenarioError, match=words):
        a_shot(needs)
