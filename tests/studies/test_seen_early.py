"""Waits for arrival that go on too early: told, and settled by what is proposed."""

# ruff: noqa: E501 - a robot reads better with one motor a line

from __future__ import annotations

from dataclasses import replace

from simbot import api
from simbot.report.tuned_early import early_lines
from simbot.studies.limits import with_control
from simbot.studies.tune import tune

MOTOR = """
  motors:
    coil: {voltage: 12 V, free_speed: 6200 rpm, free_current: 0 A, stall_current: 40 A, rotor_inertia: 1e-6 kg*m^2, internal_ratio: 1, source: illustrative}"""
STIFF = "\n      only: {open_circuit: 12 V, resistance: 0 ohm}"
SLIDE = """
    slide:
      kind: slide
      incline: 0 deg
      motors: 1 x coil
      gearing: [{ratio: 12:1, efficiency: 90 %}]
      drum_diameter: 40 mm
      moving_mass: 12 kg
      friction: 8 N
      travel: [0 m, 1.2 m]
      control: CONTROL
"""
BODY = "  autonomous:\n    - move: {slide: 0.6 m}\n    - wait: arrival\n    - {wait: 2 s, for: settling}\n"
SWINGS = "{loop: position, p: 60 /m, window: 10 mm}"


def a_plan(folder, control=SWINGS):
    mechanisms = SLIDE.replace("CONTROL", control)
    return folder.write(BODY, mechanisms, "{slide: 0 m}", loop="10 ms", states=STIFF, more=MOTOR)


def test_a_loop_that_overshoots_is_told_with_what_settles_it(folder):
    plan = a_plan(folder)
    (early,) = tune(plan).early
    move = api.run(plan).states[0].moves[0]
    assert early.early_us == move.arrival_us - move.seen_arrival_us > 0
    assert early.settling_us >= early.early_us > early.settling_us - 10_000
    assert early.slower_than is not None and early.slower_than <= 0.5
    cured = replace(plan, robot=with_control(plan.robot, "slide", "slower_than", early.slower_than))
    move = api.run(cured).states[0].moves[0]
    assert move.seen_arrival_us >= move.arrival_us
    assert tune(cured).early == ()
    text = " ".join(" ".join(early_lines(tune(plan))).split())
    assert "before it stays there (only); `slower_than: " in text and "settles it" in text


def test_one_that_does_not_overshoot_has_nothing_to_tell(folder):
    """Arrival waits under a well damped loop: no short timer, nothing seen early, nothing to settle."""
    result = tune(a_plan(folder, "{loop: position, p: 6 /m, d: 1 s/m, window: 10 mm}"))
    assert result.early == () and list(early_lines(result)) == []
    assert not [timer for timer in result.timers if timer.changed]
