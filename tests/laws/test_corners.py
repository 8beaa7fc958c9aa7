"""Corners where an integrator of events goes wrong first. Derived: closed forms and exact steps, written here.

A slide without friction on an ideal motor is x'' = (u vf - x')/tau: between ticks its state has a closed form.
"""

from __future__ import annotations

from collections.abc import Callable
from math import exp, inf, log, pi
from typing import Any

import numpy as np
import pytest
from builders import G, Words, a_plant, a_robot, winding
from scipy.optimize import brentq

from simbot.physics import layout as L
from simbot.physics.assumptions import physics_remarks
from simbot.physics.move import GoTo, Move, PushFor
from simbot.physics.plant import Plant, running

VF, TAU = 0.6, 0.05  # free speed [m/s] and time constant of the slide [s]
R, K, DRUM = 0.5, 0.02, 0.04
RATIO = 12.0 / K / VF * DRUM / 2.0
GEAR = RATIO / (DRUM / 2.0)  # rad/m
MASS = TAU * (GEAR * K) ** 2 / R
STALL = GEAR * K * 12.0 / R  # N at full effort
LOOP_US = 20_000


def slide(control: Words, **more: object) -> Words:
    return {
        "kind": "slide", "incline": "0 deg", "motors": "1 x coil", "drum_diameter": f"{DRUM} m",
        "gearing": [{"ratio": RATIO, "efficiency": "100 %"}], "moving_mass": f"{MASS!r} kg", "friction": "0 N",
        "travel": ["-1 m", "2 m"], "control": control, **more,
    }  # fmt: skip


def full(**more: object) -> Words:
    return {"loop": "full_effort", "window": "20 mm", **more}


def position(p: float, **more: object) -> Words:
    return {"loop": "position", "p": f"{p!r} /m", "window": "10 mm", **more}


def plant_of(
    mechanism: Words, start: float = 0.0, battery: tuple[float, float] = (12.0, 0.0), lasts: float = 4.0,
    rotor: float = 0.0, **more: Any,
) -> Plant:  # fmt: skip
    robot = a_robot({"it": mechanism}, {"coil": winding(R, K, rotor)}, battery, **more)
    return a_plant(robot, lasts, 1e-9, it=start)


def step(x: float, v: float, u: float, t: float) -> tuple[float, float]:
    """Exact step of the slide with its motor at effort u."""
    decay = exp(-t / TAU)
    return x + u * VF * t + (v - u * VF) * TAU * (1.0 - decay), u * VF + (v - u * VF) * decay


def loop_states(
    decide: Callable[[float, float], float], until: float, latency: float = 0.0, period: float = 0.020
) -> list[tuple[float, float, float]]:
    """Position, speed and effort then in force at every tick, of a loop whose outputs come after a latency."""
    x = v = u = t = 0.0
    under_way: list[tuple[float, float]] = []
    out = []
    for tick in range(round(until / period) + 1):
        now = tick * period
        while under_way and under_way[0][0] <= now + 1e-12:
            at, then = under_way.pop(0)
            x, v = step(x, v, u, at - t)
            t, u = at, then
        x, v = step(x, v, u, now - t)
        t = now
        under_way.append((now + latency, decide(x, v)))
        if latency == 0.0:
            u = under_way.pop(0)[1]
        out.append((x, v, u))
    return out


def clipped(u: float) -> float:
    return min(1.0, max(-1.0, u))


def agrees(plant: Plant, states: list[tuple[float, float, float]], period: float = 0.020) -> None:
    for tick, (x, v, _) in enumerate(states):
        at = round(tick * period * 1e6)
        assert plant.position("it", at) == pytest.approx(x, abs=1e-6)
        assert plant.speed("it", at) == pytest.approx(v, abs=1e-5)


# --- arrivals ----------------------------------------------------------------------------------------------

SERVO: Words = {
    "kind": "servo", "speed": "0.12 s/60deg", "stall_torque": "1.5 N*m", "at": "6 V",
    "travel": ["0 rad", "1 rad"], "window": "10 mrad", "band": "5 deg", "dead_band": "1 deg",
}  # fmt: skip
PROFILE: Words = {
    "loop": "profile", "p": "10 /m", "window": "10 mm", "speed": "0.3 m/s", "acceleration": "1 m/s^2",
}  # fmt: skip


@pytest.mark.parametrize("at_us", [0, 20_000, 123_457, 1_000_003])
@pytest.mark.parametrize("off", [0.0, 0.004, -0.0099])
@pytest.mark.parametrize(
    "mechanism",
    [
        slide(full()),
        slide(position(10.0)),
        slide(position(10.0, slower_than="50 mm/s")),
        slide(PROFILE),
        SERVO,
    ],
    ids=["full effort", "position", "position and slow", "profile", "servo"],
)
def test_already_there_at_the_command(mechanism: Words, off: float, at_us: int) -> None:
    """At rest inside its window: it has arrived at the command, whatever the step sizes before and after."""
    plant = plant_of(mechanism, start=0.5)
    plant.advance(at_us)
    move = plant.command("it", GoTo(0.5 + off))
    assert move.arrival_us() == at_us
    assert move.first_inside_us() == at_us
    assert move.floor_s() == 0.0
    plant.advance(4_000_000)
    assert move.arrival_us() == at_us


def test_already_at_the_stop_at_the_command() -> None:
    plant = plant_of(slide(full(), travel=["0 m", "1 m"]), start=1.0)
    plant.advance(50_000)
    move = plant.command("it", GoTo(1.0))
    assert move.touch
    assert (move.arrival_us(), move.floor_s()) == (50_000, 0.0)


def test_passing_through_at_the_command_is_not_arrival() -> None:
    """Inside its window at any speed at the command, but too fast to stay: it arrives when it has come back."""
    plant = plant_of(slide(position(20.0)))
    plant.command("it", PushFor(1.0, 2.0, 500_000))
    plant.advance(500_000)
    here, speed = float(plant.position("it")), plant.speed("it")
    assert speed > 0.5
    move = plant.command("it", GoTo(here))
    plant.advance(4_000_000)
    assert move.first_inside_us() == 500_000
    arrival = move.arrival_us()
    assert arrival is not None and arrival > 550_000
    assert abs(float(plant.position("it", arrival - 50)) - here) > 0.010
    for later in range(arrival, 4_000_000, 7_919):
        assert abs(float(plant.position("it", later)) - here) <= 0.010 + 1e-9


@pytest.mark.parametrize("half", [1e-3, 1e-5, 1e-6])
def test_a_window_that_opens_and_closes_inside_one_step(half: float) -> None:
    """Swept over at full speed: entered at the near edge and left at the far one, however narrow."""
    plant = plant_of(slide(full(window=f"{half!r} m", after="coast")), lasts=1.2)
    move = plant.command("it", GoTo(0.4))
    plant.advance(1_200_000)

    def when(x: float) -> float:
        return float(brentq(lambda t: step(0.0, 0.0, 1.0, t)[0] - x, 0.0, 1.0, xtol=1e-13))

    first = move.first_inside_us()
    assert first == pytest.approx(1e6 * when(0.4 - half), abs=1.01)
    left = plant.leaves_at("it", 0.4, half, first or 0, 1_200_000)
    assert left == pytest.approx(1e6 * when(0.4 + half), abs=1.01)


def test_near_and_slow_for_a_moment_between_two_ticks() -> None:
    """A loop that swings: near enough and slow enough only about its turning point, inside one step."""
    p, slow = 60.0, 0.012
    plant = plant_of(slide(position(p, window="60 mm", slower_than=f"{slow} m/s")))
    move = plant.command("it", GoTo(0.3))
    plant.advance(1_500_000)
    states = loop_states(lambda x, _v: clipped(p * (0.3 - x)), 1.5)
    agrees(plant, states)
    turning = next(n for n in range(1, len(states) - 1) if states[n][1] > 0.0 > states[n + 1][1])
    x, v, u = states[turning]
    enters, leaves = (
        float(brentq(lambda t, to=to: step(x, v, u, t)[1] - to, 0.0, 0.02, xtol=1e-14))
        for to in (slow, -slow)
    )
    assert 0.0 < enters < leaves < 0.02  # between two ticks: no tick sees it
    assert abs(step(x, v, u, enters)[0] - 0.3) < 0.06
    assert move.first_inside_us() == pytest.approx(turning * LOOP_US + 1e6 * enters, abs=1.01)
    left = plant.inside_since("it", 0.3, 0.06, slow, turning * LOOP_US + round(1e6 * leaves) + 2)
    assert left is None
    middle = turning * LOOP_US + round(5e5 * (enters + leaves))
    since = plant.inside_since("it", 0.3, 0.06, slow, middle)
    assert since == pytest.approx(turning * LOOP_US + 1e6 * enters, abs=1.01)


# --- rest, release, stops ------------------------------------------------------------------------------------


def test_released_by_an_integral_that_grows() -> None:
    """Stuck to the last bit until the tick at which the effort passes friction at rest."""
    error, ki, share = 0.4, 0.5, 0.498
    control = {"loop": "position", "p": "0 /m", "i": f"{ki} /m/s", "window": "10 mm"}
    mechanism = slide(control, friction=f"{share * STALL / 1.5!r} N", static_friction=1.5)
    plant = plant_of(mechanism)
    plant.command("it", GoTo(error))
    plant.advance(4_000_000)
    per_tick = ki * error * 0.020
    tick = next(n for n in range(1000) if (n + 1) * per_tick > share)  # the command's own tick counts one
    released = tick * LOOP_US
    assert plant.position("it", released) == 0.0
    assert plant.position("it", released + 200) > 0.0


def test_released_when_another_stops_drawing() -> None:
    """Held while the battery sags under a stalled motor, free at the tick at which that lets go."""
    ohms = 0.2
    stalled = slide(full(), motors="1 x coil", travel=["0 m", "1 m"])
    sag = 12.0 / (1.0 + 2.0 * ohms / R)  # V with two stalled, 12/(1 + ohms/R) with one
    friction = STALL / 12.0 * 0.5 * (sag + 12.0 / (1.0 + ohms / R))
    held = slide(full(after="100 %"), friction=f"{friction!r} N")
    robot = a_robot({"it": held, "other": stalled}, {"coil": winding(R, K, 0.0)}, (12.0, ohms))
    plant = a_plant(robot, 3.0, 1e-9, it=0.0, other=1.0)
    plant.command("other", PushFor(1.0, 1.0, 330_000))
    plant.command("it", PushFor(1.0, 2.0, 2_000_000))
    plant.advance(1_000_000)
    assert plant.position("it", 340_000) == 0.0
    assert plant.position("it", 340_000 + 500) > 0.0
    assert plant.position("other") == 1.0


@pytest.mark.parametrize("back", [0.45, 0.70])
def test_a_locking_gear_lowers_under_effort_alone(back: float) -> None:
    """Efficiency e <= 50 %: down only when the motor gives (1/e - 2) of what the weight asks; 1 % about that."""
    weight = MASS * G
    effort = (1.0 / back - 2.0) * weight / STALL if back < 0.5 else 0.0
    lift = slide(full(), incline="90 deg", gearing=[{"ratio": RATIO, "efficiency": f"{100 * back} %"}])
    went = []
    for share in (0.99, 1.01):
        plant = plant_of(lift, start=0.5, rotor=2e-5)
        plant.command("it", PushFor(share * effort, -1.0, 300_000))
        plant.advance(300_000)
        went.append(float(plant.position("it")) < 0.5)
    assert went == ([False, True] if back < 0.5 else [True, True])


CORDS: dict[str, Words] = {
    "pulls both ways": {},
    "only pulls": {"cord": "pulls"},
    "a winch": {"kind": "winch", "load_mass": f"{MASS!r} kg"},
    "a winch without mass": {"kind": "winch", "load": f"{MASS * G!r} N"},
}


@pytest.mark.parametrize("cord", CORDS)
def test_a_locking_gear_waits_for_the_bus_to_lower(cord: str) -> None:
    """Held while another speeds up on a weak battery, and lowered once its motor gives (1/e - 2) of the weight.

    At rest it takes the current u V/R, so V = 12 - ohms (i_other + u^2 V/R) with i_other from the other's speed.
    """
    back, ohms = 0.45, 0.2
    weight = MASS * G
    needed = (1.0 / back - 2.0) * weight / STALL * 12.0  # volts over its winding
    gears = [{"ratio": RATIO, "efficiency": f"{100 * back} %"}]
    lift = slide(full(), incline="90 deg", gearing=gears, **CORDS[cord])
    if lift["kind"] == "winch":
        del lift["incline"], lift["moving_mass"]
    other = slide(full(), moving_mass=f"{4.0 * MASS!r} kg", travel=["0 m", "9 m"])
    robot = a_robot({"it": lift, "other": other}, {"coil": winding(R, K, 2e-5)}, (12.0, ohms))
    at = 10.5  # bus volts at which it goes, between 12 / (1 + ohms/R) and 12
    plant = a_plant(robot, 3.0, 1e-9, it=0.5, other=0.0)
    effort = needed / at
    plant.command("other", PushFor(1.0, 8.0, 2_000_000))
    plant.command("it", PushFor(effort, -1.0, 2_000_000))
    plant.advance(1_000_000)

    held_us, went_us = 0, 1_000_000
    while went_us - held_us > 10:
        middle = (held_us + went_us) // 2
        held_us, went_us = (middle, went_us) if plant.position("it", middle) == 0.5 else (held_us, middle)
    current = (12.0 - at) / ohms - effort * needed / R  # of the other
    assert plant.speed("other", went_us) == pytest.approx((at - current * R) / (GEAR * K), rel=1e-3)


def test_without_friction_it_never_stops_by_itself() -> None:
    """Coasting without any friction: the speed to the last bit until the stop, which takes it all."""
    plant = plant_of(slide(full(after="coast")))
    plant.command("it", PushFor(1.0, 2.0, 400_000, "coast"))
    plant.advance(400_000)
    x, v = step(0.0, 0.0, 1.0, 0.4)
    speed = plant.speed("it")
    assert (float(plant.position("it")), speed) == pytest.approx((x, v), abs=1e-8)
    touch = 400_000 + 1e6 * (2.0 - x) / v
    plant.advance(4_000_000)
    assert plant.speed("it", int(touch) - 10) == speed
    assert plant.speed("it", int(touch) + 10) == 0.0
    assert plant.position("it") == 2.0


@pytest.mark.parametrize("after", ["brake", "coast"])
def test_what_it_does_after_its_arrival(after: str) -> None:
    """Seen inside on a tick: shorted it runs on by v tau, open it runs on for good."""
    plant = plant_of(slide(full(window="0.3 m", after=after)))
    plant.command("it", GoTo(0.6))
    plant.advance(4_000_000)
    seen = next(n for n in range(200) if abs(step(0.0, 0.0, 1.0, n * 0.02)[0] - 0.6) <= 0.3)
    x, v = step(0.0, 0.0, 1.0, seen * 0.02)
    at = (seen + 10) * LOOP_US
    if after == "brake":
        assert plant.position("it", at) == pytest.approx(step(x, v, 0.0, 0.2)[0], abs=1e-6)
        assert plant.position("it") == pytest.approx(x + v * TAU, abs=1e-6)
    else:
        assert plant.position("it", at) == pytest.approx(x + 0.2 * v, abs=1e-6)


def test_a_holding_brake_holds_and_lets_go() -> None:
    """A weight it would drop: it stands to the last bit once it has arrived, and goes on at the next command."""
    control = {"loop": "position", "p": "40 /m", "window": "30 mm", "slower_than": "0.5 m/s"}
    places = {}
    for brake in (True, False):
        plant = plant_of(
            slide(control, incline="90 deg", holding_brake=brake, moving_mass="4 kg", friction="5 N")
        )
        plant.command("it", GoTo(0.3))
        plant.advance(2_000_000)
        places[brake] = float(plant.position("it"))
        if brake:
            before = plant.energy()
            plant.advance(3_000_000)
            assert plant.position("it") == places[True]
            assert plant.energy() == before  # held without current
            move = plant.command("it", GoTo(0.6))
            plant.advance(4_000_000)
            assert move.arrival_us() is not None
    assert abs(places[True] - 0.3) <= 0.03


@pytest.mark.parametrize("start", [0.9, 1.3])
def test_a_cord_only_pulls(start: float) -> None:
    """Pushed down, the level slide stays where it is to the last bit; up the incline it falls no faster than free."""
    level = plant_of(slide(full(), cord="pulls"), start=start)
    level.command("it", PushFor(1.0, -1.0, 500_000))
    level.advance(500_000)
    assert level.position("it") == start
    steep = plant_of(slide(full(), cord="pulls", incline="90 deg", friction="2 N"), start=start)
    steep.command("it", PushFor(1.0, -1.0, 500_000))
    steep.advance(30_000)
    free = (G - 2.0 / MASS) * 0.03
    assert 0.0 < -steep.speed("it") <= free * (1.0 + 1e-9)


def test_a_target_beyond_the_stop_is_never_reached() -> None:
    """It rests against the stop with its loop's effort on: V u²/R from the battery, and it says what blocks it."""
    p = 2.0
    plant = plant_of(slide(position(p), travel=["0 m", "1 m"]))
    move = plant.command("it", GoTo(1.2))
    plant.advance(3_000_000)
    before = plant.energy()
    plant.advance(4_000_000)
    assert plant.energy() - before == pytest.approx((12.0 * p * 0.2) ** 2 / R, rel=1e-9)
    assert (move.arrival_us(), plant.position("it"), plant.speed("it")) == (None, 1.0, 0.0)
    assert "blocked by the end of its travel" in move.reason()
    assert move.floor_s() is None


@pytest.mark.parametrize("effort", [1.0, 0.35])
def test_a_servo_beyond_its_stop_draws_for_ever(effort: float) -> None:
    """Effort error/band in its band, full beyond it; at rest the current is the catalogue's times the effort."""
    band = 0.2 / effort
    servo = {
        **SERVO,
        "band": f"{band!r} rad",
        "dead_band": "0 rad",
        "friction": "0 %",
        "stall_current": "2.4 A",
    }
    plant = plant_of(servo, battery=(6.0, 0.0))
    move = plant.command("it", GoTo(1.2))
    plant.advance(3_000_000)
    before = plant.energy()
    plant.advance(4_000_000)
    assert plant.energy() - before == pytest.approx(6.0 * 2.4 * effort**2, rel=1e-9)
    assert (move.arrival_us(), plant.position("it")) == (None, 1.0)


def test_what_stalls_says_why() -> None:
    """Too heavy for full effort: friction holds it where it is."""
    lift = slide(full(), incline="90 deg", moving_mass=f"{STALL / G!r} kg", friction=f"{0.1 * STALL!r} N")
    heavy = plant_of(lift, start=0.5)
    stalled = heavy.command("it", GoTo(0.9))
    heavy.advance(2_000_000)
    assert stalled.arrival_us() is None
    assert stalled.floor_s() is None
    assert "its effort does not overcome load and friction" in stalled.reason()
    assert stalled.ends_at() == 0.5


def droops() -> tuple[Plant, Move]:
    """A loop whose effort falls to what friction takes, 0.317/6.89 m off, at 5.8/s: in 20 s to e^-117."""
    plant = plant_of(slide(position(6.89), friction=f"{0.317 * STALL!r} N"), lasts=20.0)
    return plant, plant.command("it", GoTo(0.4))


def test_a_loop_that_droops_on_friction_never_arrives() -> None:
    plant, move = droops()
    plant.advance(20_000_000)
    assert move.arrival_us() is None
    assert move.floor_s() is not None
    assert plant.position("it") == pytest.approx(0.4 - 0.317 / 6.89, abs=1e-6)


def test_a_loop_that_droops_on_friction_rests() -> None:
    plant, move = droops()
    plant.advance(20_000_000)
    assert plant.speed("it") == 0.0
    assert "its control holds it there with 32% effort" in move.reason()


def test_totals_are_those_of_now() -> None:
    plant = plant_of(slide(full(after="100 %"), travel=["0 m", "1 m"]))
    move = plant.command("it", GoTo(1.0))
    plant.advance(3_000_000)
    before = plant.energy(), plant.currents()
    move.arrival_us()
    plant.inside_since("it", 1.0, 0.01, None, 3_000_000)
    plant.inside_for_good_from("it", 1.0, 0.01, None, 2_900_000)
    assert (plant.energy(), plant.currents()) == before


# --- loops ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ki", [1.0, 4.0])
def test_an_integral_waits_while_the_effort_is_at_its_limit(ki: float) -> None:
    """Error is added up only on ticks at which the effort is not at its limit already."""
    p, d, total = 6.0, 0.4, 0.0

    def decide(x: float, v: float) -> float:
        nonlocal total
        if abs(p * (0.7 - x) + ki * total - d * v) < 1.0:
            total += (0.7 - x) * 0.020
        return clipped(p * (0.7 - x) + ki * total - d * v)

    plant = plant_of(slide(position(p, i=f"{ki} /m/s", d=f"{d} s/m")))
    plant.command("it", GoTo(0.7))
    plant.advance(3_000_000)
    states = loop_states(decide, 3.0)
    assert states[3][2] == 1.0 and min(state[2] for state in states) < 0.0
    agrees(plant, states)


@pytest.mark.parametrize(
    ("period", "latency"),
    [
        (0.020, 0.035),
        (0.020, 0.050),
        (0.010, 0.150),
        pytest.param(
            0.005, 0.100,
        ),
    ],
)  # fmt: skip
def test_latency_longer_than_a_loop(period: float, latency: float) -> None:
    """Every output comes into force after the latency, in order, several of them under way."""
    plant = plant_of(slide(position(3.0, latency=f"{latency} s")), loop=f"{1000 * period} ms")
    plant.command("it", GoTo(0.3))
    plant.advance(3_000_000)
    agrees(plant, loop_states(lambda x, _v: clipped(3.0 * (0.3 - x)), 2.9, latency, period), period)


def test_full_effort_about_a_narrow_window_is_a_limit_cycle() -> None:
    """It overshoots on every pass, for ever, by no more than one loop's way each side, and never arrives."""
    plant = plant_of(slide(full(window="1 mm")))
    move = plant.command("it", GoTo(0.3))
    plant.advance(4_000_000)

    def decide(x: float, _v: float) -> float:
        return 0.0 if abs(x - 0.3) <= 0.001 else (1.0 if x < 0.3 else -1.0)

    states = loop_states(decide, 3.9)
    agrees(plant, states)
    swing = max(abs(x - 0.3) for x, _, _ in states[100:])
    assert 0.001 < swing < VF * (0.020 + TAU)
    assert move.first_inside_us() is not None
    assert move.arrival_us() is None
    assert plant._rows < 4_000


def test_a_loop_of_full_gain_stays_bounded() -> None:
    """Proportional gain far above what the ticks allow: a bounded swing, and steps in proportion to ticks."""
    plant = plant_of(slide(position(1000.0)))
    plant.command("it", GoTo(0.3))
    plant.advance(4_000_000)
    agrees(plant, loop_states(lambda x, _v: clipped(1000.0 * (0.3 - x)), 0.8))
    assert abs(float(plant.position("it")) - 0.3) < VF * (0.020 + TAU)
    assert plant._rows < 4_000


# --- batteries and instants ------------------------------------------------------------------------------------


def test_full_duty_is_not_the_strongest_on_a_weak_battery() -> None:
    """On as much resistance as the motor's own, d = sqrt(R/R0) pulls hardest: less effort lifts what full cannot."""
    ohms = 4.0 * R
    best = (R / ohms) ** 0.5

    def share(d: float) -> float:
        """Stall force at effort d, of that on a stiff battery at full effort."""
        return d * R / (R + ohms * d**2)

    weight = 0.5 * (share(1.0) + share(best)) * STALL
    mass = f"{weight / G!r} kg"
    rises = {}
    for effort in (best, 1.0):
        plant = plant_of(slide(full(), incline="90 deg", moving_mass=mass), battery=(12.0, ohms))
        plant.command("it", PushFor(effort, 2.0, 200_000))
        plant.advance(200_000)
        rises[effort] = float(plant.position("it"))
    assert share(1.0) < share(best)
    assert rises[best] > 0.0 > rises[1.0]


def test_a_floor_on_a_weak_battery_is_below_every_effort() -> None:
    """Near what full duty can just lift, less effort is faster; the floor is below them all."""
    floor, times = inf, []
    mass = f"{0.95 * STALL / 5.0 / G!r} kg"
    for effort in (0.3, 0.5, 0.7, 1.0):
        control = full(effort=f"{100 * effort} %")
        lift = slide(control, incline="90 deg", moving_mass=mass, travel=["0 m", "0.05 m"])
        plant = plant_of(lift, battery=(12.0, 4.0 * R))
        move = plant.command("it", GoTo(0.05))
        plant.advance(4_000_000)
        arrival = move.first_inside_us()
        assert arrival is not None
        times.append(arrival * 1e-6)
        floor = min(floor, move.floor_s() or inf)
    assert floor <= min(times) + 1e-6
    assert times.index(min(times)) < 3  # full duty is not the fastest


def test_floor_of_a_start_inside_too_fast_to_stop() -> None:
    """Moving out at 0.6 m/s, 1 mm before the far edge: it has at least to stop before it can be slow."""
    mass = 20.0
    control = position(20.0, window="20 mm", slower_than="50 mm/s")
    plant = plant_of(slide(control, moving_mass=f"{mass} kg"))
    plant.command("it", PushFor(1.0, 2.0, 400_000))
    plant.advance(400_000)
    move = plant.command("it", GoTo(float(plant.position("it")) - 0.019))
    tau = TAU * mass / MASS
    stopping = tau * log((plant.speed("it") + VF) / (0.05 + VF))  # full effort against the motion
    floor = move.floor_s()
    assert floor is not None and floor > stopping


def test_floor_of_a_slow_set_at_a_stop() -> None:
    """Full effort into the stop is slow at once: nothing need brake, and nothing can be faster."""
    control = position(1000.0, window="3 mm", slower_than="50 mm/s")
    plant = plant_of(slide(control, travel=["0 m", "0.3 m"]))
    move = plant.command("it", GoTo(0.3))
    plant.advance(2_000_000)
    touches = float(brentq(lambda t: step(0.0, 0.0, 1.0, t)[0] - 0.3, 0.0, 1.0, xtol=1e-13))
    floor, arrival = move.floor_s(), move.arrival_us()
    assert arrival is not None and floor is not None
    assert arrival >= 1e6 * touches - 1.0
    assert floor <= arrival * 1e-6 + 1e-6


@pytest.mark.parametrize("tries", [1, 3])
def test_commands_at_one_instant(tries: int) -> None:
    """The last of several commands at one instant is the one that counts, as if it had been alone."""
    plant = plant_of(slide(position(8.0, d="0.1 s/m")))
    plant.advance(70_000)
    for k in range(tries - 1):
        plant.command("it", GoTo(0.9 - k))
    move = plant.command("it", GoTo(0.4))
    plant.advance(3_000_000)
    alone = plant_of(slide(position(8.0, d="0.1 s/m")))
    alone.advance(70_000)
    other = alone.command("it", GoTo(0.4))
    alone.advance(3_000_000)
    assert move.arrival_us() == other.arrival_us()
    assert plant.position("it") == alone.position("it")


@pytest.mark.parametrize("at_us", [0, 70_000])
def test_taken_over_at_the_instant_of_its_command(at_us: int) -> None:
    """It has not arrived: what counts is when it would have, had nothing more been commanded."""
    plant, alone = (plant_of(slide(position(8.0, d="0.1 s/m"))) for _ in range(2))
    for each in (plant, alone):
        each.advance(at_us)
    first = plant.command("it", GoTo(0.9))
    plant.command("it", GoTo(0.4))
    plant.advance(3_000_000)
    assert not first.arrived_for_real()
    assert first.arrival_us() == alone.command("it", GoTo(0.9)).arrival_us()


def test_a_push_for_no_time_does_nothing() -> None:
    plant = plant_of(slide(full()), start=0.2)
    plant.advance(40_000)
    plant.command("it", PushFor(1.0, 2.0, 0))
    plant.advance(1_000_000)
    assert plant.position("it") == 0.2
    assert plant.energy() == 0.0


def test_a_reversal_at_full_speed() -> None:
    """Sent back while at full speed: plugging, through rest and back, at the closed form's instants."""
    plant = plant_of(slide(full(window="5 mm")))
    plant.command("it", PushFor(1.0, 2.0, 400_000))
    plant.advance(400_000)
    plant.command("it", PushFor(1.0, -1.0, 1_000_000))
    plant.advance(2_000_000)
    x, v = step(0.0, 0.0, 1.0, 0.4)
    turns = TAU * log(1.0 + v / VF)
    at = 400_000 + round(1e6 * turns)
    assert plant.speed("it", at) == pytest.approx(0.0, abs=2e-5)
    assert plant.position("it", at) == pytest.approx(step(x, v, -1.0, turns)[0], abs=1e-6)
    w = plant.arrays.w
    back = 12.0 + K * GEAR * v
    assert w[L.I_MAX] == pytest.approx(
        back / R, rel=1e-6
    )  # up to twice its stall current, and the battery pays


def test_a_profile_that_asks_for_too_much_is_told() -> None:
    """At full effort the slide is x = vf (t - tau (1 - e^(-t/tau))): the lag is what the profile is ahead of that."""
    fast = {"loop": "profile", "window": "10 mm", "speed": "2 m/s", "acceleration": "100 m/s^2", "p": "50 /m"}
    plant = plant_of(slide(fast))
    move = plant.command("it", GoTo(1.0))
    plant.advance(4_000_000)
    ramp = 2.0 / 100.0
    ticks = [0.02 * number for number in range(200)]
    behind = []
    for t in ticks:
        goal = 50.0 * t * t if t < ramp else min(2.0 * (t - 0.5 * ramp), 1.0)
        behind.append(goal - VF * (t - TAU * (1.0 - exp(-t / TAU))))
    first = [
        lag for lag, t in zip(behind, ticks, strict=True) if t < 0.53
    ]  # at full effort until the profile ends
    assert move.lag() == pytest.approx(max(first), rel=1e-5)
    calm = plant_of(slide({**fast, "speed": "0.2 m/s", "acceleration": "1 m/s^2", "p": "20 /m"}))
    easy = calm.command("it", GoTo(1.0))
    assert easy.lag() is not None and easy.lag() < 0.01  # type: ignore[operator]
    taken_over = calm.command("it", GoTo(0.5))
    assert easy.lag() == pytest.approx(0.0, abs=1e-9)
    assert taken_over.lag() is not None
    assert plant_of(slide(full())).command("it", GoTo(1.0)).lag() is None


# --- what is lighter than anything real ------------------------------------------------------------------------


def test_a_slide_that_is_at_its_speed_at_once_costs_nothing_more() -> None:
    """Lag 0.2 ms: x = vf (t - tau), and the steps of a second do not follow the lag; 0.6 m/s for 2 s."""
    lag = 2e-4
    plant = plant_of(slide(full(window="1 mm"), moving_mass=f"{MASS * lag / TAU!r} kg"))
    move = plant.command("it", GoTo(1.2))
    plant.advance(1_900_000)
    assert plant._rows < 300
    assert plant.position("it") == pytest.approx(VF * (1.9 - lag), abs=1e-7)
    assert plant.speed("it") == pytest.approx(VF, rel=1e-8)
    arrival = move.first_inside_us()
    assert arrival is not None and arrival == pytest.approx(1e6 * ((1.2 - 0.001) / VF + lag), abs=1.0)


def test_a_rotor_lighter_than_any_real_one_is_told_and_made_heavier() -> None:
    """0.1 g on a direct drum, rotors of 1 g mm^2: v = vf (1 - exp(-t/tau)) with the lag that the remark states."""
    light: Words = {
        "kind": "slide", "motors": "1 x coil", "gearing": [], "drum_diameter": f"{DRUM} m",
        "moving_mass": "0.1 g", "friction": "0 N", "incline": "0 deg",
        "travel": ["0 m", "30 m"], "control": full(window="1 mm"),
    }  # fmt: skip
    robot = a_robot({"it": light}, {"coil": winding(R, K, 1e-9)}, (12.0, 0.0))
    plant = a_plant(robot, 4.0, 1e-9, it=0.0)
    plant.command("it", GoTo(24.0))
    plant.advance(1_000_000)
    free = 12.0 / K * DRUM / 2.0
    assert plant.position("it") == pytest.approx(free * (1.0 - 1e-4), rel=1e-7)
    assert plant._rows < 300
    (told,) = [each for each in physics_remarks(robot) if each.key == "robot.mechanisms.it.motors"]
    assert told.kind == "doubt" and "rotor_inertia" in told.text and "it lags 0.1 ms" in told.text
    real = a_robot({"it": light}, {"coil": winding(R, K, 1e-5)}, (12.0, 0.0))
    assert not [each for each in physics_remarks(real) if each.key == "robot.mechanisms.it.motors"]


def test_a_screw_that_locks_behind_a_rotor_of_no_weight() -> None:
    """Its load does not drive it down: its motor, with next to nothing to do, lets it down at its free speed."""
    screw: Words = {
        "kind": "lead_screw", "motors": "1 x coil", "gearing": [{"ratio": "1:5", "efficiency": "90 %"}],
        "pitch": "2 mm", "mean_diameter": "7 mm", "moving_mass": "0.1 kg", "travel": ["0 mm", "200 mm"],
        "control": full(window="1 mm"),
    }  # fmt: skip
    robot = a_robot({"it": screw}, {"coil": winding(R, K, 1e-9)}, (12.0, 0.0))
    free = 12.0 / K * 5.0 * 0.002 / (2.0 * pi)
    for start in (0.0, 0.2):
        plant = a_plant(robot, 4.0, it=start)
        move = plant.command("it", GoTo(0.2 - start))
        arrival = move.first_inside_us()
        plant.advance(150_000)
        assert abs(plant.speed("it")) < free * (1.0 + 1e-7)
        if start > 0.0:
            assert plant.speed("it") == pytest.approx(-free, rel=1e-5)
        plant.advance(4_000_000)
        assert arrival is not None and 0.199 / free < arrival * 1e-6 < 1.2 * 0.199 / free
        assert plant._rows < 2000


@pytest.mark.parametrize("regulator", ["switching", "linear"])
def test_a_rail_at_its_limit_gives_no_less_than_nothing(regulator: str) -> None:
    """Turned back against full effort a servo shorts it: 0 V on the rail, and J w' = F - friction - (k^2/R) w."""
    rails = {"rail": {"voltage": "6 V", "current_limit": "3 A", "regulator": regulator}}
    pulled: Words = {
        "kind": "servo", "speed": "8 rad/s", "stall_torque": "1.5 N*m", "at": "6 V", "rail": "rail",
        "travel": ["0 rad", "9 rad"], "rotor_time": "40 ms", "friction": "4 %", "stall_current": "2 A",
        "springs": [{"constant_force": {"force": "4 N*m"}}],
    }  # fmt: skip
    plant = a_plant(a_robot({"it": pulled}, {}, (12.0, 0.1), rails=rails), 4.0, it=0.0)
    plant.command("it", GoTo(1.0))
    for at in range(10_000, 600_000, 10_000):
        plant.advance(at)
        assert plant.arrays.w[L.I] >= -1e-9
    rows = plant._log[: plant._rows]
    speeds, rates = (rows[:, L.LOG_MECH + column] for column in (L.LOG_SPEED1, L.LOG_ACC1))
    fast = (rows[:, L.LOG_MECH + L.LOG_Q1] > 1.1) & (speeds > 3.0 / 2.0 * 8.0)
    inertia = 0.040 * 1.5 / 8.0
    assert np.count_nonzero(fast) > 3
    assert rates[fast] == pytest.approx((4.0 - 0.06 - 1.5 / 8.0 * speeds[fast]) / inertia, rel=1e-6)


def test_steps_without_end_are_given_up_and_say_what_moves(monkeypatch: pytest.MonkeyPatch) -> None:
    plant = plant_of(slide(position(1000.0)))
    plant.command("it", GoTo(0.3))
    plant.advance(100_000)
    plant._check_headway()
    rows = 2 * running.HEADWAY_ROWS
    plant._log, plant._rows = np.full((rows, plant._log.shape[1]), 0.1), rows
    with pytest.raises(
        running.EndlessSteps, match=r"32768 steps for the last 0 us, at 0\.100000 s, while it moves"
    ):
        plant._check_headway()
    monkeypatch.setattr(running, "MOST_ROWS", 3000)
    hunts = plant_of(slide(position(1000.0)), lasts=300.0)
    hunts.command("it", GoTo(0.3))
    with pytest.raises(running.EndlessSteps, match=r"more than 3000 steps, at \d+\.\d+ s, while it moves"):
        hunts.advance(300_000_000)
