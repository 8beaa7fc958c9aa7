"""Durations of efforts and limits as timers: what would be enough, and what a limit has to allow."""

# ruff: noqa: E501 - a plan reads better with one step a line

from __future__ import annotations

from math import exp, log, pi

import pytest

from simbot import api
from simbot.report.patch import patch_of
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import files_of
from simbot.studies.knobs import knobs_of, with_timers
from simbot.studies.other_times import efforts_of, limits_of, with_times
from simbot.studies.push_times import Span, span_of
from simbot.studies.runs import Bench
from simbot.studies.tune import tune

FREE, AMPS, RATIO, DRUM, MASS, FRICTION = 6200 * pi / 30, 8.0, 12.0, 0.04, 3.0, 8.0
MOTOR = """
  motors:
    coil: {voltage: 12 V, free_speed: 6200 rpm, free_current: 0 A, stall_current: 8 A, rotor_inertia: 1e-9 kg*m^2, internal_ratio: 1, source: illustrative}"""
SLIDE = """
    slide:
      kind: slide
      incline: 0 deg
      motors: 1 x coil
      gearing: [{ratio: 12:1, efficiency: 100 %}]
      drum_diameter: 40 mm
      moving_mass: 3 kg
      friction: 8 N
      travel: [0 m, 1.2 m]
      control: {loop: full_effort, window: 20 mm}
    hand: {kind: measured, time: 0.20 s}
"""
STIFF = "\n      only: {open_circuit: 12 V, resistance: 0 ohm}"
BODY = "  autonomous:\n    - effort: {slide: 70 %, toward: 0.5 m, for: 300 ms}\n    - wait: 300 ms\n"


def a_slide(folder, body=BODY, **more):
    return folder.write(
        body, SLIDE, "{slide: 0 m, hand: shut}", **{"loop": "2 ms", "states": STIFF, "more": MOTOR, **more}
    )


def of_kind(result, what):
    return [timer for timer in result.timers if timer.what == what]


# --- efforts ----------------------------------------------------------------------------------------------


def rests_at(duration, effort=0.7):
    """Pushed by M v' = u F0 - f - b v from rest, then the motor shorted, M v' = -f - b v, to a standstill."""
    k, ratio = 12.0 / FREE, RATIO / (DRUM / 2.0)
    drag = (ratio * k) ** 2 * AMPS / 12.0
    force = effort * ratio * k * AMPS - FRICTION
    tau, final = MASS / drag, force / drag
    speed = final * (1.0 - exp(-duration / tau))
    pushed = final * (duration - tau * (1.0 - exp(-duration / tau)))
    slow = FRICTION / drag
    return pushed + tau * (speed - slow * log(1.0 + speed / slow))


def test_an_effort_is_given_the_time_that_stops_it_inside_its_window(folder):
    """The closed form's own window of times, and the middle of it."""
    (timer,) = of_kind(tune(a_slide(folder)), "effort")
    good = [ticks * 2 for ticks in range(1, 1000) if abs(rests_at(ticks * 0.002) - 0.5) <= 0.020]
    assert f"{good[0]} ms to {good[-1]} ms does" in timer.reason
    assert good[0] < timer.suggested_us / 1000 < good[-1]
    assert timer.suggested_us / 1000 == pytest.approx((good[0] + good[-1]) / 2, abs=2)
    assert f"too short on only: ends at {rests_at(0.3):.4g} m, not 0.5 m" in timer.reason
    (state,) = timer.states
    assert (state.verdict, state.arrival_us, state.consequence) == ("short", None, "harmless")


def test_the_wait_after_it_is_tuned_with_the_effort_as_suggested(folder):
    result = tune(a_slide(folder))
    (wait,), (effort,) = of_kind(result, "wait"), of_kind(result, "effort")
    assert wait.suggested_us > effort.suggested_us and "no timer helps" not in wait.reason


def test_too_long_is_told_and_shortened(folder):
    (timer,) = of_kind(tune(a_slide(folder, BODY.replace("for: 300 ms", "for: 900 ms"))), "effort")
    assert "too long on only" in timer.reason and timer.suggested_us < 900_000


def test_batteries_that_want_different_times_have_no_common_one(folder):
    states = (
        "\n      fresh: {open_circuit: 13.8 V, resistance: 0.1 ohm}"
        "\n      tired: {open_circuit: 11.0 V, resistance: 0.5 ohm}"
    )
    (timer,) = of_kind(tune(a_slide(folder, states=states)), "effort")
    assert "no time does on every battery asked for" in timer.reason and not timer.changed
    assert "on fresh; " in timer.reason and "on tired" in timer.reason
    (fresh,) = of_kind(tune(a_slide(folder, states=states), battery="fresh"), "effort")
    assert fresh.changed


def test_a_stop_forgives_what_is_too_long(folder):
    body = BODY.replace("toward: 0.5 m", "toward: 1.2 m")
    (timer,) = of_kind(tune(a_slide(folder, body)), "effort")
    assert "or longer does" in timer.reason and timer.changed
    long = body.replace("for: 300 ms", "for: 5 s")
    (kept,) = of_kind(tune(a_slide(folder, long)), "effort")
    assert not kept.changed and kept.reason.startswith("good")


@pytest.mark.parametrize("way", ["0.8 m", "90.0 deg"])
def test_a_drives_effort_goes_its_way(folder, way):
    drive = "    drive: {kind: tank, motors: 4 x coil, gearing: [{ratio: 20:1, efficiency: 90 %}], wheel_diameter: 90 mm, wheelbase: 300 mm, track: 300 mm, friction: 5 N, grip: 0.9}\n"
    body = "  autonomous:\n    - effort: {drive: 50 %, toward: WAY, for: 200 ms}\n    - {wait: 2 s, for: settling}\n"
    plan = folder.write(
        body.replace("WAY", way),
        drive,
        "{pose: [0.5 m, 0.5 m, 0 deg]}",
        loop="20 ms",
        states=STIFF,
        more=MOTOR,
    )
    (timer,) = of_kind(tune(plan), "effort")
    assert timer.changed and "too short on only: goes " in timer.reason and f"not {way}" in timer.reason
    (time,) = efforts_of(plan)
    run = api.run(with_times(plan, {time: timer.suggested_us}))
    assert run.states[0].moves[0].arrival_us is not None


@pytest.mark.parametrize(
    "body", [BODY, BODY * 1 + "    - effort: {slide: 70 %, toward: 0.1 m, for: 200 ms}\n    - wait: 400 ms\n"]
)
def test_tuned_efforts_are_tuned_once_and_for_all(folder, body):
    """The second of them begins where the first, as suggested, comes to rest."""
    plan = a_slide(folder, body)
    result = tune(plan)
    first = of_kind(result, "effort")
    assert all(timer.changed for timer in first)
    times = efforts_of(plan)
    knobs, waits = knobs_of(plan), {timer.line: timer.suggested_us for timer in of_kind(result, "wait")}
    again = with_times(plan, {time: timer.suggested_us for time, timer in zip(times, first, strict=True)})
    again = with_timers(again, knobs, [waits[knob.line] for knob in knobs])
    assert not [timer for timer in tune(again).timers if timer.changed]
    assert all(move.arrival_us is not None for move in api.run(again).states[0].moves)


def test_spans_of_known_reaches():
    assert span_of(lambda ticks: -1 if ticks < 7 else (1 if ticks > 9 else 0), 500) == Span(7, 9)
    assert span_of(lambda ticks: -1 if ticks < 7 else 1, 500) == Span(7, 6) and Span(7, 6).empty
    assert span_of(lambda ticks: -1 if ticks < 7 else 0, 500) == Span(7, None)
    assert span_of(lambda ticks: -1, 500) == Span(None, None) and Span(None, None).empty


# --- limits -----------------------------------------------------------------------------------------------


def test_a_limit_shorter_than_the_arrival(folder):
    body = "  autonomous:\n    - move: {slide: 0.6 m}\n    - {wait: arrival, at_most: 300 ms}\n"
    plan = a_slide(folder, body)
    (timer,) = of_kind(tune(plan), "limit")
    arrival = api.run(plan).states[0].moves[0].arrival_us
    assert timer.arrival_us == arrival
    assert timer.suggested_us == -(-(arrival + 50_000) // 2000) * 2000
    assert timer.reason.startswith("runs out before the arrival")
    assert any(one.kind == "limit_ran_out" for one in api.run(plan).states[0].findings)
    longer = with_times(plan, {limits_of(plan)[0]: timer.suggested_us})
    assert not api.run(longer).states[0].findings
    assert not of_kind(tune(longer), "limit")[0].changed


def test_a_limit_has_to_allow_for_the_drivers_allowance(folder):
    drive = "    drive: {kind: tank, motors: 4 x coil, gearing: [{ratio: 20:1, efficiency: 90 %}], wheel_diameter: 90 mm, wheelbase: 300 mm, track: 300 mm, friction: 5 N, grip: 0.9}\n"
    body = "  autonomous:\n    - {drive: [1.5 m, 0.5 m, 0 deg], allowance: 50 %}\n    - {wait: arrival, at_most: LIMIT}\n"
    start = "{pose: [0.5 m, 0.5 m, 0 deg]}"

    def tuned(limit):
        plan = folder.write(body.replace("LIMIT", limit), drive, start, states=STIFF, more=MOTOR)
        return of_kind(tune(plan), "limit")[0]

    arrival = tuned("20 s").arrival_us
    short = tuned(f"{arrival * 1.2e-6:.3f} s")
    assert "with the allowance of the drive" in short.reason
    assert short.suggested_us == pytest.approx(1.5 * arrival + 50_000, abs=21_000)
    assert not tuned(f"{arrival * 1.6e-6:.3f} s").changed


def test_a_limit_shorter_than_the_tries_it_contains(folder):
    """Each try takes 260 + 260 ms as tuned; three of them and a guard in loops of 20 ms."""
    body = (
        "  autonomous:\n    - try:\n        - move: {hand: open}\n        - wait: 300 ms\n        - move: {hand: shut}\n"
        "        - wait: 300 ms\n      tries: 3\n      at_most: LIMIT\n"
    )
    for limit in ("400 ms", "1200 ms"):
        plan = a_slide(folder, body.replace("LIMIT", limit), loop="20 ms")
        (timer,) = of_kind(tune(plan), "limit")
        assert "every try made, it takes 1560 ms" in timer.reason
        assert timer.suggested_us == 1_620_000
    (kept,) = of_kind(tune(a_slide(folder, body.replace("LIMIT", "1600 ms"), loop="20 ms")), "limit")
    assert not kept.changed and kept.reason.endswith("it takes 1560 ms (only), 40 ms to spare")


def test_tries_that_run_a_routine_are_counted_in_full(folder):
    """The tries' waits stand in a routine, and the plan is read twice: the bench knows it from the first time."""
    body = (
        "  routines:\n    go: [{move: {hand: open}}, {wait: 300 ms}, {move: {hand: shut}}, {wait: 300 ms}]\n"
        "  autonomous:\n    - try: [{run: go}]\n      tries: 2\n      at_most: 400 ms\n"
    )
    plan = a_slide(folder, body, loop="20 ms")
    bench = Bench(plan, keep=30)
    for read in (plan, folder.load()):
        (timer,) = of_kind(tune(read, bench=bench), "limit")
        assert timer.suggested_us == 2 * 520_000 + 60_000 and "takes 1040 ms" in timer.reason


def test_no_limit_helps_what_never_comes(folder):
    body = "  autonomous:\n    - move: {slide: 0.6 m}\n    - {wait: arrival, at_most: 300 ms}\n"
    plan = folder.write(
        body,
        SLIDE.replace("friction: 8 N", "friction: 900 N"),
        "{slide: 0 m, hand: shut}",
        states=STIFF,
        more=MOTOR,
    )
    (timer,) = of_kind(tune(plan), "limit")
    assert not timer.changed and "no limit helps" in timer.reason and timer.states[0].verdict == "never"


# --- in the robot's own code ------------------------------------------------------------------------------

SOURCES = {
    "Times.java": "class Times {\n  static final int PUSH_MS = 300; // open loop\n  static final long LIMIT_MS = 300L;\n}\n",
    "times.py": "PUSH_MS = 300  # open loop\nLIMIT_MS = 3_00\n",
    "Times.kt": "const val PUSH_MS = 300 // open loop\nconst val LIMIT_MS: Long = 300L\n",
    "times.h": "const int PUSH_MS = 300; // open loop\nstatic const long LIMIT_MS = 0x12C;\n",
    "times.cpp": "constexpr int PUSH_MS = 300; // open loop\nconstexpr auto LIMIT_MS = 300UL;\n",
}
IN_CODE = (
    "  autonomous:\n    - effort: {slide: 70 %, toward: 0.5 m, for: {from: FILE, name: PUSH_MS}}\n    - {wait: 2 s, for: settling}\n"
    "    - move: {slide: 0.0 m}\n    - {wait: arrival, at_most: {from: FILE, name: LIMIT_MS}}\n"
)


@pytest.mark.parametrize("name", SOURCES)
def test_efforts_and_limits_in_code_are_patched(folder, name):
    (folder.path / name).write_text(SOURCES[name])
    plan = a_slide(folder, IN_CODE.replace("FILE", name))
    assert (folder.path / name) in files_of(plan.path)  # so that --watch sees it
    result = tune(plan)
    effort, limit = of_kind(result, "effort")[0], of_kind(result, "limit")[0]
    assert (effort.name, limit.name) == ("PUSH_MS", "LIMIT_MS") and effort.changed and limit.changed
    added = [
        line[1:]
        for line in patch_of(result).data.decode().splitlines()
        if line.startswith("+") and "+++" not in line
    ]
    assert str(effort.suggested_us // 1000) in added[0] and "open loop" in added[0]
    assert len(added) == 2


def test_what_is_wrong_in_the_plan_is_told_with_its_place(folder):
    (folder.path / "times.py").write_text("PUSH_MS = 300\nNO_MS = 0\n")
    for text, words in (
        ("{from: times.py, name: PUHS_MS}", "PUSH_MS"),
        ("{from: times.py, name: NO_MS}", "it has to last some time"),
        ("[1 s]", "for"),
        ("300 ms ± 20 ms", "for: every run takes this time as it is written"),
    ):
        with pytest.raises(ScenarioError, match=words):
            a_slide(folder, BODY.replace("for: 300 ms", f"for: {text}"))
