"""What a controller's parameters allow, against the closed forms of trapezoids, grip, motors and sampled loops."""

# ruff: noqa: E501 - a robot reads better with one mechanism a line

from __future__ import annotations

import csv
import io
from dataclasses import replace
from math import degrees, exp, log, pi, sqrt

import pytest
from scipy import optimize

from simbot.report.timer_table import table_text
from simbot.report.tune_document import tune_document
from simbot.report.tuned import tuned_lines
from simbot.studies.limits import (
    Ends,
    Tried,
    ends_of,
    longest_that_arrives,
    longest_without_gain,
    rounded_down,
    with_control,
)
from simbot.studies.runs import Bench
from simbot.studies.tune import tune

GRAVITY = 9.80665
STIFF = "\n      only: {open_circuit: 12 V, resistance: 0 ohm}"
FREE, AMPS = 6200 * pi / 30, 4.0
MOTOR = """
  motors:
    coil: {voltage: 12 V, free_speed: 6200 rpm, free_current: 0 A, stall_current: 40 A, rotor_inertia: 1e-9 kg*m^2, internal_ratio: 1, source: illustrative}"""
WEAK = MOTOR.replace("40 A", "4 A")
RATIO, DRUM, MASS, FRICTION = 12.0, 0.04, 3.0, 8.0
SLIDE = """
    slide:
      kind: slide
      incline: 0 deg
      motors: 1 x coil
      gearing: [{{ratio: {ratio}:1, efficiency: 100 %}}]
      drum_diameter: {drum} mm
      moving_mass: {mass} kg
      friction: {friction} N
      travel: [0 m, 1.2 m]
      control: {{loop: profile, speed: {speed} m/s, acceleration: {acceleration} m/s^2, p: {p} /m, window: {window} mm}}
"""
DRIVE = """
    drive: {{kind: tank, motors: 4 x coil, gearing: [{{ratio: 8:1, efficiency: 100 %}}], wheel_diameter: 100 mm, wheelbase: 300 mm, track: 300 mm, grip: {grip}, friction: 0 N, control: {{loop: profile, speed: 1.5 m/s, acceleration: 3 m/s^2, p: 20 /m, window: 10 mm}}}}
"""
MOVE = "  autonomous:\n    - move: {slide: 1 m}\n    - wait: arrival\n"


def a_slide(
    folder, speed=0.5, acceleration=2.0, window=2.0, body=MOVE, friction=FRICTION, ratio=RATIO, p=40, **more
):
    text = SLIDE.format(
        p=p, ratio=ratio, drum=DRUM * 1000, mass=MASS, friction=friction, speed=speed,
        acceleration=acceleration, window=window,
    )  # fmt: skip
    return folder.write(
        body, text, "{slide: 0 m}", **{"loop": "2 ms", "states": STIFF, "more": MOTOR, **more}
    )


def limits(plan, **more):
    return {limit.name: limit for limit in tune(plan, **more).limits}


# --- no gain above: the trapezoid T = d/v + v/a (Lynch and Park, Modern Robotics, 9.2.2.2, from memory) ---------


def test_a_speed_gains_nothing_beyond_the_triangle(folder):
    """T(v) - T(triangle) = (v - sqrt(a d))^2/(a v): a millisecond more than the least where that is 1 ms."""
    d, a = 1.0, 2.0
    found = limits(a_slide(folder, acceleration=a, ratio=6.0))["slide speed"]
    right = optimize.brentq(lambda v: (v - sqrt(a * d)) ** 2 / (a * v) - 1e-3, 1.0, sqrt(a * d))
    assert found.no_gain == pytest.approx(right, rel=0.01)
    assert found.suggested == rounded_down(found.suggested) >= found.no_gain * 0.999
    least = 2.0 * sqrt(d / a)
    assert found.best_us * 1e-6 == pytest.approx(least, abs=0.06)  # the window is entered before the end
    saved = d / 0.5 + 0.5 / a - least
    assert found.gain_us * 1e-6 == pytest.approx(saved, abs=0.02) and not found.held


# --- impossible above ---------------------------------------------------------------------------------------


def behind(acceleration, top, force, drag, mass):
    """Farthest that M v' = F - b v falls behind a ramp to a top speed, from rest; F, b of the motor's straight line."""
    tau, final = mass / drag, force / drag
    t = -tau * log(1.0 - top / final)  # it is as fast as the ramp's end
    way = final * (t - tau * (1.0 - exp(-t / tau)))
    ramp = top / acceleration
    return 0.5 * top * ramp + top * (t - ramp) - way


def test_an_acceleration_is_impossible_above_what_the_motors_give(folder):
    """F0 = G k V/R - friction, b = G^2 k^2/R, G of the gears and the drum (no rotor, no losses, no sag).

    With a high gain its effort is full until it has caught up.
    """
    window = 0.002
    found = limits(a_slide(folder, speed=0.4, more=WEAK, p=700, loop="1 ms"))["slide acceleration"]
    k = 12.0 / FREE
    ratio = RATIO / (DRUM / 2.0)
    force = ratio * k * AMPS - FRICTION
    drag = (ratio * k) ** 2 * AMPS / 12.0
    right = optimize.brentq(lambda a: behind(a, 0.4, force, drag, MASS) - window, 0.5 * force / MASS, 9000.0)
    assert found.impossible == pytest.approx(right, rel=0.03)
    assert found.impossible > 0.9 * (force - drag * 0.4) / MASS  # what is left at top speed


@pytest.mark.parametrize("grip", [0.5, 0.9])
def test_a_drives_acceleration_is_impossible_above_its_grip(folder, grip):
    """Wheels at mu g to speed v, and from it, fall behind a ramp by v^2/2 (1/(mu g) - 1/a): the window there."""
    plan = folder.write(
        "  autonomous:\n    - drive: [2.4 m, 0.5 m, 0 deg]\n    - wait: arrival\n",
        DRIVE.format(grip=grip),
        "{pose: [0.5 m, 0.5 m, 0 deg]}",
        loop="2 ms",
        states=STIFF,
        more=MOTOR.replace("40 A", "400 A"),
    )
    found = limits(plan)["drive acceleration"]

    def right(window):
        return 1.0 / (1.0 / (grip * GRAVITY) - 2.0 * window / 1.5**2)

    assert right(0.010 - 1.5 * 0.002) <= found.impossible <= right(0.010)  # it brakes up to a loop late
    assert found.impossible > grip * GRAVITY  # by what the window forgives


def test_a_profile_that_is_too_much_now_is_brought_down(folder):
    plan = a_slide(folder, speed=0.4, acceleration=24.0, more=WEAK)
    found = limits(plan)["slide acceleration"]
    assert not found.follows and found.suggested < found.impossible < 24.0
    bench = Bench(plan)
    other = replace(plan, robot=with_control(plan.robot, "slide", "acceleration", found.suggested))
    battery = plan.robot.battery[0]
    assert any(one.kind == "lags" for one in bench.run(plan, battery).findings)
    assert not any(one.kind == "lags" for one in Bench(other).run(other, battery).findings)


def test_weaker_batteries_allow_less(folder):
    states = (
        "\n      fresh: {open_circuit: 13 V, resistance: 0.05 ohm}"
        "\n      tired: {open_circuit: 12 V, resistance: 0.3 ohm}"
    )
    plan = a_slide(folder, speed=0.4, states=states, more=WEAK)
    fresh, tired = (limits(plan, battery=name)["slide acceleration"] for name in ("fresh", "tired"))
    assert tired.impossible < 0.95 * fresh.impossible


# --- the loop -------------------------------------------------------------------------------------------------


def test_a_loop_is_impossible_above_where_a_sampled_integrator_is_unstable(folder):
    """Speed in proportion to effort, held for h: the error goes by 1 - h K p each tick, stable up to h = 2/(K p)."""
    mechanisms = """
    slide:
      kind: slide
      incline: 0 deg
      motors: 1 x coil
      gearing: [{ratio: 12:1, efficiency: 100 %}]
      drum_diameter: 40 mm
      moving_mass: 0.5 kg
      friction: 0.1 N
      travel: [0 m, 1.2 m]
      control: {loop: position, p: 30 /m, window: 1 mm}
"""
    body = "  autonomous:\n    - move: {slide: 0.6 m}\n    - wait: arrival\n"
    plan = folder.write(
        body, mechanisms, "{slide: 0 m}", loop="20 ms", states=STIFF, more=MOTOR.replace("40 A", "400 A")
    )
    loop = limits(plan)["loop"]
    assert loop.no_gain == 0.02  # both shorter ones make it longer
    right = 2.0 / (FREE / 12.0 * 0.02 * 30.0)
    assert loop.impossible == pytest.approx(right, abs=0.0025)
    assert loop.steps[-1] == (0.02, 0)


def against_its_stop(folder, latency):
    text = f"""
    slide: {{kind: slide, incline: 0 deg, motors: 1 x coil, gearing: [], drum_diameter: 40 mm, moving_mass: 0.5 kg, friction: 1 N, travel: [0 m, 1.2 m], control: {{loop: full_effort, window: 20 mm, latency: {latency}}}}}
"""
    body = "  autonomous:\n    - move: {slide: 1.2 m}\n    - wait: arrival\n"
    return limits(folder.write(body, text, "{slide: 0 m}", loop="10 ms", states=STIFF, more=MOTOR))["loop"]


def test_no_loop_is_tried_whose_outputs_under_way_are_more_than_a_run_keeps(folder):
    """200 ms of latency are 40 loops of 5 ms, and 80 of 2.5 ms."""
    assert [period for period, _ in against_its_stop(folder, "200 ms").steps] == [0.005, 0.01]


def test_of_loops_shorter_than_all_that_were_tried_nothing_is_said(folder):
    loop = against_its_stop(folder, "0 ms")
    assert [period for period, _ in loop.steps] == [0.0025, 0.005, 0.01]
    assert loop.suggested == 0.0025 and loop.no_gain is None


def test_the_longest_loop_that_no_shorter_one_beats():
    assert longest_without_gain({5: 30_000, 10: 29_500, 20: 0}) == 10
    assert longest_without_gain({5: -8_000, 10: -2_000, 20: 0}) == 20
    assert longest_without_gain({5: 5_000, 10: 0, 20: 3_900}) == 5
    arrives = {False: Tried(True, 1.0), True: Tried(False, float("inf"))}
    assert longest_that_arrives(20_000, lambda loop: arrives[loop > 71_000]) in range(70_000, 71_001)
    assert longest_that_arrives(20_000, lambda loop: arrives[loop < 0]) is None
    assert longest_that_arrives(20_000, lambda loop: arrives[True]) == 0


# --- the search itself ------------------------------------------------------------------------------------------


def test_ends_of_known_curves():
    found = ends_of(1.0, lambda v: Tried(v <= 3.7, 1e6 / min(v, 2.5)))
    assert found.impossible_above == pytest.approx(3.7, rel=2e-3)
    assert found.no_gain_above == pytest.approx(1e6 / (1e6 / 2.5 + 1000.0), rel=3e-3)
    assert not found.uneven
    assert ends_of(1.0, lambda v: Tried(v < 3.0 or v > 10.0, 1e6 / v)).uneven
    assert ends_of(1.0, lambda v: Tried(False, 5.0)) == Ends(0.0, None, 5.0, False)
    assert ends_of(1.0, lambda v: Tried(True, 5.0)).impossible_above is None
    slow = ends_of(1.0, lambda v: Tried(v > 0.2, 1e6 / v))  # so slow that it is not seen to arrive
    assert slow.impossible_above is None


def test_three_digits_never_round_up():
    assert [rounded_down(v) for v in (1.2345, 0.098765, 1234.0, 2.0)] == [1.23, 0.0987, 1230.0, 2.0]


# --- what it breaks, and what is printed ------------------------------------------------------------------------


def test_a_faster_move_that_breaks_an_order_rule_is_not_suggested(folder):
    """The slide may move only when the flap is open, which takes a while: it is sent at once, and starts slowly."""
    flap = "    flap: {kind: measured, time: 0.8 s}\n"
    body = (
        "  autonomous:\n    - together:\n        - [{move: {slide: 1 m}}, {wait: arrival}]\n"
        "        - [{wait: 700 ms, for: stagger}, {move: {other: 0.05 m}}, {wait: arrival}]\n"
    )
    slide = SLIDE.format(
        p=40, ratio=RATIO, drum=40, mass=MASS, friction=FRICTION, speed=0.5, acceleration=2, window=2
    )
    other = slide.replace("    slide:\n", "    other:\n").replace("loop: profile", "loop: position")
    rule = "\n  order:\n    - {mechanism: other, may_move_when: {slide: below 0.35 m}}"
    plan = folder.write(
        body, slide + other + flap + rule, "{slide: 0 m, other: 0 m, flap: shut}",
        loop="2 ms", states=STIFF, more=MOTOR,
    )  # fmt: skip
    found = limits(plan)["slide speed"]
    assert found.suggested == found.now and "in the routine, on only" in found.held


def test_the_report_the_table_and_the_document(folder):
    result = tune(a_slide(folder, acceleration=2.0, ratio=6.0))
    text = "\n".join(tuned_lines(result))
    assert "slide speed [m/s]" in text and "above 1.36" in text and "loop [ms]" in text
    assert all(len(line) <= 80 for line in text.splitlines())
    rows = {row["name"]: row for row in csv.DictReader(io.StringIO(table_text(result)))}
    assert "no gain above 1.36" in rows["slide speed [m/s]"]["reason"]


def test_an_arm_is_told_in_degrees_and_written_in_radians(folder):
    """From 0 to 90 deg at 120 deg/s^2 the triangle's peak is sqrt(120 x 90) = 103.9 deg/s; see the slide above."""
    arm = """
    arm: {kind: arm, motors: 1 x coil, gearing: [{ratio: 60:1, efficiency: 100 %}], moving_mass: 0.4 kg, centre: 150 mm, friction: 0.05 N*m, travel: [0 deg, 120 deg], control: {loop: profile, speed: 40 deg/s, acceleration: 120 deg/s^2, p: 20 /rad, window: 1 deg}}
"""
    body = "  autonomous:\n    - move: {arm: 90 deg}\n    - wait: arrival\n"
    plan = folder.write(body, arm, "{arm: 0 deg}", loop="2 ms", states=STIFF, more=MOTOR)
    result = tune(plan)
    found = {limit.name: limit for limit in result.limits}["arm speed"]
    right = optimize.brentq(lambda v: (v - sqrt(120 * 90)) ** 2 / (120 * v) - 1e-3, 60, sqrt(120 * 90))
    assert degrees(found.no_gain) == pytest.approx(right, rel=0.01)
    text = "\n".join(tuned_lines(result))
    assert "arm speed [deg/s]" in text and "arm acceleration [deg/s^2]" in text
    document = {one["name"]: one for one in tune_document(result)["controller"]}
    assert document["arm speed"]["unit"] == "rad/s" and document["arm acceleration"]["unit"] == "rad/s^2"
    assert document["arm speed"]["no_gain_above"] == pytest.approx(found.no_gain, abs=1e-6)


def test_a_routine_without_profiles_has_its_loop_alone(folder):
    body = "  autonomous:\n    - move: {flap: open}\n    - wait: 600 ms\n"
    assert limits(folder.write(body, "    flap: {kind: measured, time: 0.4 s}", "{flap: shut}")) == {}
