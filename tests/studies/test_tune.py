"""Tuned timers: what is suggested and why, that it holds, and that tuning again changes nothing."""

# ruff: noqa: E501 - a plan reads better with one step a line

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from simbot import api
from simbot.analysis.better_timer import rounded_up
from simbot.physics.kinds import KINDS
from simbot.report.patch import patch_of
from simbot.report.summary import advise_timers
from simbot.scenario.errors import SimbotError
from simbot.scenario.load import load_plan
from simbot.studies.knobs import knobs_of, with_timers
from simbot.studies.network import paths_of
from simbot.studies.other_times import efforts_of, limits_of, with_times
from simbot.studies.runs import Bench
from simbot.studies.tune import tune

ROOT = Path(__file__).parent.parent.parent
LANTERNS = ROOT / "scenarios" / "night-market" / "lanterns.yaml"

WORDS = """
    flap: {kind: measured, time: 0.35 s}
    scoop: {kind: measured, time: 0.50 s}
    hand: {kind: measured, time: 0.20 s}
"""
START = "{flap: closed, scoop: down, hand: shut, holds: {hand: puck}}"
PLACE = "place: {into: bin, by: {hand: open}, needs: {flap: open}, else: dropped}"
MOTOR = """
  motors:
    coil: {voltage: 12 V, free_speed: 6200 rpm, free_current: 0.28 A, stall_current: 10.4 A, rotor_inertia: 1.15e-5 kg*m^2, source: illustrative}"""
SLIDE = """
    reach:
      kind: slide
      incline: 0 deg
      motors: 1 x coil
      gearing: [{ratio: 18:1, efficiency: 84 %}]
      drum_diameter: 34 mm
      moving_mass: 2.6 kg
      friction: 9 N
      travel: [0 m, 0.46 m]
      control: {loop: full_effort, window: 8 mm}
    hand: {kind: measured, time: 0.20 s}
"""


def by_line(result):
    return {timer.line: timer for timer in result.timers}


def line_of(folder, text):
    lines = (folder.path / "plan.yaml").read_text().splitlines()
    return next(number for number, line in enumerate(lines, 1) if text in line)


# --- what is suggested ------------------------------------------------------------------------------------


def test_short_slack_and_good_timers(folder):
    """0.35 s and 0.20 s by the stopwatch, 50 ms of guard, loops of 20 ms."""
    plan = folder.write(
        f"  autonomous:\n    - move: {{flap: open}}\n    - wait: 300 ms\n    - {PLACE}\n    - wait: 800 ms\n"
        "    - move: {scoop: up}\n    - wait: 560 ms\n    - wait: 40 ms\n    - {wait: 70 ms, for: settling}\n",
        WORDS,
        START,
    )
    short, slack, good, dead = tune(plan).timers
    assert (short.now_us, short.suggested_us) == (300_000, 400_000)
    assert "too short, breaks line" in short.reason and short.states[0].consequence == "breaking"
    assert (slack.suggested_us, slack.arrival_us) == (260_000, 200_000)
    assert "gives time away" in slack.reason
    assert (good.suggested_us, good.now_us) == (560_000, 560_000) and "good" in good.reason
    assert dead.suggested_us == 40_000 and "times no move" in dead.reason


def test_a_short_timer_is_harmless_where_its_need_has_time(folder):
    plan = folder.write(
        f"  autonomous:\n    - move: {{flap: open}}\n    - wait: 100 ms\n    - move: {{scoop: up}}\n    - wait: 560 ms\n    - {PLACE}\n    - wait: 260 ms\n",
        WORDS,
        START,
    )
    first = tune(plan).timers[0]
    assert (first.suggested_us, first.states[0].consequence) == (100_000, "harmless")
    assert "harmless: 310 ms to spare at the next need" in first.reason
    assert [(need.mechanism, need.margin_us) for need in first.needs if need.state == "tired"] == [
        ("flap", 310_000)
    ]


def test_a_short_timer_that_no_need_excuses_is_made_long_enough(folder):
    plan = folder.write("  autonomous:\n    - move: {flap: open}\n    - wait: 100 ms\n", WORDS, START)
    (only,) = tune(plan).timers
    assert only.suggested_us == 400_000 and "no stated need says that it may be" in only.reason


def test_a_harmless_timer_keeps_its_guard_at_the_need(folder):
    """The need comes 30 ms after the flap: 20 ms more are enough for 50 ms, the arrival's guard would be 270."""
    plan = folder.write(
        f"  autonomous:\n    - move: {{flap: open}}\n    - wait: 120 ms\n    - move: {{scoop: up}}\n    - {{wait: 260 ms, for: stagger}}\n    - {PLACE}\n    - wait: 560 ms\n",
        WORDS,
        START,
    )
    first = tune(plan).timers[0]
    assert first.needs[0].margin_us == 30_000
    assert first.suggested_us == 140_000


def test_waits_that_read_one_number_get_one_value(folder):
    (folder.path / "T.java").write_text("class T { static final int PAUSE_MS = 300; }")
    wait = "wait: {from: T.java, name: PAUSE_MS}"
    plan = folder.write(
        f"  autonomous:\n    - move: {{flap: open}}\n    - {wait}\n    - move: {{scoop: up}}\n    - {wait}\n",
        WORDS,
        START,
    )
    (only,) = tune(plan).timers
    assert (only.name, only.suggested_us) == ("PAUSE_MS", 560_000)


def test_a_whole_number_of_seconds_stays_whole(folder):
    (folder.path / "T.java").write_text(
        "class T { static final int PAUSE_S = 2; static final double NAP_S = 2; }"
    )
    plan = folder.write(
        "  autonomous:\n    - move: {flap: open}\n    - wait: {from: T.java, name: PAUSE_S}\n"
        "    - move: {scoop: up}\n    - wait: {from: T.java, name: NAP_S}\n",
        WORDS,
        START,
    )
    assert [timer.suggested_us for timer in tune(plan).timers] == [1_000_000, 560_000]


def test_a_plan_whose_waits_are_all_arrivals_has_no_timer(folder):
    body = f"  autonomous:\n    - move: {{flap: open}}\n    - wait: arrival\n    - {PLACE}\n    - wait: arrival\n"
    result = tune(folder.write(body, WORDS, START))
    assert result.timers == () and result.before == result.after
    run = api.run(folder.load())
    assert not [
        move for state in run.states for move in state.moves if move.verdict in ("short", "impossible")
    ]


def test_what_never_arrives_is_told_and_left(folder):
    mechanisms = SLIDE.replace("friction: 9 N", "friction: 200 N")
    plan = folder.write(
        "  autonomous:\n    - move: {reach: 0.4 m}\n    - wait: 900 ms\n",
        mechanisms,
        "{reach: 0 m, hand: shut}",
        more=MOTOR,
    )
    (only,) = tune(plan).timers
    assert only.suggested_us == only.now_us and "no timer helps" in only.reason


def test_what_run_advises_is_what_tune_suggests(lanterns):
    """Where nothing that is changed moves another's arrival: one rule, so the same timers, to the tick."""
    advised = {one.line: one.suggested_us for one in advise_timers(api.run(demo()))}
    suggested = {timer.line: timer.suggested_us for timer in lanterns.timers if timer.changed}
    assert len(advised) >= 4 and advised == suggested


def test_run_and_tune_agree_on_a_number_that_two_lines_read(folder):
    """Whole seconds in the code: 0.35 s and 0.50 s and a guard make one second, in both."""
    (folder.path / "T.java").write_text("class T { static final int PAUSE_S = 3; }")
    body = (
        "  autonomous:\n    - move: {flap: open}\n    - wait: {from: T.java, name: PAUSE_S}\n"
        "    - move: {scoop: up}\n    - wait: {from: T.java, name: PAUSE_S}\n"
    )
    plan = folder.write(body, WORDS, START)
    (advice,), (timer,) = advise_timers(api.run(plan)), tune(plan).timers
    assert (advice.line, advice.suggested_us) == (timer.line, timer.suggested_us) == (10, 1_000_000)
    again = folder.path / "T.java"
    again.write_text(again.read_text().replace("3", "1"))
    (kept,) = tune(folder.load()).timers
    assert not kept.changed and kept.reason.startswith("good, the least that its number can be")


def test_a_short_timer_that_only_the_end_excuses_says_so(folder):
    """The flap is asked for in whole rounds; in the last, which the period cuts, its place never comes."""
    body = (
        "  autonomous:\n    - repeat: until period_end\n      steps:\n        - move: {flap: open}\n        - wait: 300 ms\n"
        f"        - {{wait: 6 s, for: stagger}}\n        - {PLACE}\n        - move: {{flap: closed}}\n        - {{wait: 1400 ms, for: stagger}}\n"
    )
    first = tune(folder.write(body, WORDS, START)).timers[0]
    assert not first.changed
    assert first.reason.startswith("ends up to 50 ms before the arrival, and harmless")


# --- the set holds ----------------------------------------------------------------------------------------

ORDERED = WORDS + "\n  order:\n    - {mechanism: hand, may_move_when: {reach: above 0.30 m}}"


def test_a_set_that_would_break_an_order_rule_is_not_suggested(folder):
    """The first timer is slack for its own move; it also keeps the hand still until the slide is up."""
    mechanisms = SLIDE.replace(
        "hand: {kind: measured, time: 0.20 s}",
        "hand: {kind: measured, time: 0.20 s}\n    flap: {kind: measured, time: 0.10 s}",
    )
    body = (
        "  autonomous:\n    - together:\n        - [{move: {reach: 0.45 m}}, {wait: arrival}]\n"
        "        - [{move: {flap: open}}, {wait: 2 s}, {move: {hand: open}}, {wait: 260 ms}]\n"
    )
    start = "{reach: 0 m, hand: shut, flap: closed}"
    free = tune(folder.write(body, mechanisms, start, more=MOTOR))
    assert by_line(free)[line_of(folder, "wait: 2 s")].suggested_us <= 260_000
    rule = mechanisms + "\n  order:\n    - {mechanism: hand, may_move_when: {reach: above 0.30 m}}"
    plan = folder.write(body, rule, start, more=MOTOR)
    held = tune(plan).timers[0]
    assert "a shorter one breaks this" in held.reason and "the reach was not above 0.3 m" in held.reason
    knobs = knobs_of(plan)

    def broken(value):
        run = api.run(with_timers(plan, knobs, [value, 260_000]))
        return any(one.kind == "order_broken" for state in run.states for one in state.findings)

    assert held.suggested_us < held.now_us and not broken(held.suggested_us)
    assert broken(held.suggested_us - 120_000)  # the guard and what loops round up, no more than that
    again = tune(with_timers(plan, knobs, [held.suggested_us, 260_000]))
    assert not [timer for timer in again.timers if timer.changed]


def test_a_set_that_would_break_a_need_is_not_suggested(folder):
    """The timer of the flap also lets the scoop, in the other branch, get where the place needs it: 0.50 s."""
    place = PLACE.replace("needs: {flap: open}", "needs: {flap: open, scoop: up}")
    body = (
        "  autonomous:\n    - together:\n        - [{move: {scoop: up}}, {wait: arrival}]\n"
        f"        - [{{move: {{flap: open}}}}, {{wait: 2 s}}, {{{place}}}, {{wait: 260 ms}}]\n"
    )
    result = tune(folder.write(body, WORDS, START))
    flap = result.timers[0]
    assert flap.suggested_us == 560_000  # 0.50 s and the guard, in whole loops
    assert "a shorter one breaks this" in flap.reason and "before the scoop was at up" in flap.reason
    assert result.after["tired"].passes


def demo():
    return load_plan(LANTERNS, KINDS)[0]


@pytest.fixture(scope="module")
def lanterns():
    return tune(demo())


def test_a_tuned_set_runs_exactly_as_predicted(lanterns):
    plan = demo()
    knobs = knobs_of(plan)
    values = {timer.line: timer.suggested_us for timer in lanterns.timers}
    run = api.run(with_timers(plan, knobs, [values[knob.line] for knob in knobs]))
    for state in run.states:
        predicted = lanterns.after[state.name]
        assert state.cycle_time_s == predicted.cycle_time_s
        assert state.points_per_s == predicted.points_per_s
        assert (state.points["total"], state.passes) == (predicted.points, predicted.passes)


def test_the_demo_holds_on_every_battery_when_tuned(lanterns):
    assert not lanterns.before["tired"].passes
    assert all(totals.passes for totals in lanterns.after.values())
    for timer in lanterns.timers:
        for state in timer.states:
            assert state.consequence is not None or state.tuned_margin_us >= lanterns.guard_us


def test_every_pair_that_could_go_together_is_tried(lanterns):
    """In the demo five; each of them breaks an order rule or a pick on some battery."""
    assert (lanterns.overlaps.proposals, lanterns.overlaps.rejected) == ((), 5)


def test_tuning_again_changes_nothing(lanterns):
    plan = demo()
    knobs = knobs_of(plan)
    values = {timer.line: timer.suggested_us for timer in lanterns.timers}
    again = tune(with_timers(plan, knobs, [values[knob.line] for knob in knobs]))
    assert [timer.suggested_us for timer in again.timers] == [timer.now_us for timer in again.timers]
    assert again.before == again.after == lanterns.after


def tuned_plan(plan, result):
    """The plan with every suggested time: waits, efforts and limits."""
    values = {(one.what, one.line, one.now_us): one.suggested_us for one in result.timers}
    knobs, others = knobs_of(plan), [*efforts_of(plan), *limits_of(plan)]
    plan = with_times(plan, {one: values[one.what, one.line, one.now_us] for one in others})
    return with_timers(plan, knobs, [values["wait", knob.line, knob.now_us] for knob in knobs])


def test_what_was_run_before_an_edit_is_not_run_again_and_changes_nothing(tmp_path):
    """The demo after each of some edits, on a bench that knows the plan before it, and on a new one."""
    folder = tmp_path / "demo"
    shutil.copytree(LANTERNS.parent, folder)
    path = folder / LANTERNS.name

    def read(old="", new=""):
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        return load_plan(path, KINDS)[0]

    first = read()
    bench = Bench(first, keep=30)
    tune(first, bench=bench, timers_alone=True)
    for old, new, most in (
        ("wait: 800 ms", "wait: 700 ms", 3),  # the set that comes of it is the one that is known
        ("# enough when fresh, and only then", "# too short", 0),
        ("{lift: 0.22 m}", "{lift: 0.25 m}", 15),
    ):
        plan, ran = read(old, new), bench.ran
        assert bench.serves(plan)
        found = tune(plan, bench=bench, timers_alone=True)
        assert bench.ran - ran <= most
        assert found == tune(plan, timers_alone=True)
    robot = folder / "robot.yaml"
    robot.write_text(
        robot.read_text(encoding="utf-8").replace("12.4 kg ± 3 %", "12.4 kg ± 4 %"), encoding="utf-8"
    )
    assert not bench.serves(read())  # floors hang on spreads


SHIPPED = sorted(
    path
    for folder in ("scenarios/mechanisms", "simbot/starter", "tests/worked/data")
    for path in (ROOT / folder).rglob("*.yaml")
    if "\nplan:" in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_every_shipped_plan_is_tuned_once_and_for_all(path):
    plan = load_plan(path, KINDS)[0]
    again = tune(tuned_plan(plan, tune(plan)))
    assert not [timer for timer in again.timers if timer.changed]
    assert again.before == again.after


def test_timers_in_code_patched_and_tuned_again(folder):
    """From the constant to the patch and back: the patched code runs as predicted and stays as it is."""
    code = folder.path / "code"
    code.mkdir()
    (code / "Timing.java").write_bytes(
        b"class Timing {\r\n\tstatic final long REACH_MS = 400L; // short\r\n\tstatic final double HAND_S = 0.90;\r\n}\r\n"
    )
    body = (
        "  autonomous:\n    - repeat: 4\n      steps:\n        - pick: {element: puck, from: tray, by: {hand: shut}, needs: {reach: 0 m within 20 mm}}\n"
        "        - wait: {from: code/Timing.java, name: HAND_S}\n        - move: {reach: 0.4 m}\n"
        "        - wait: {from: code/Timing.java, name: REACH_MS}\n"
        "        - place: {into: bin, by: {hand: open}, needs: {reach: 0.4 m within 10 mm}, else: dropped}\n"
        "        - wait: {from: code/Timing.java, name: HAND_S}\n        - move: {reach: 0 m}\n        - wait: arrival\n"
    )
    plan = folder.write(body, SLIDE, "{reach: 0 m, hand: open}", more=MOTOR)
    result = tune(plan)
    assert not result.before["fresh"].passes and result.after["tired"].passes
    made = patch_of(result)
    (folder.path / "timers.patch").write_bytes(made.data)
    git = ["git", "-c", "core.autocrlf=false", "apply", "-p1", str(folder.path / "timers.patch")]
    done = subprocess.run(git, cwd=made.root, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    run = api.run(folder.load())
    assert [state.cycle_time_s for state in run.states] == [one.cycle_time_s for one in result.after.values()]
    assert b"// short\r\n" in (code / "Timing.java").read_bytes()
    again = tune(folder.load())
    assert all(not timer.changed for timer in again.timers)


@pytest.mark.parametrize(
    ("reads", "also"),
    [
        ("- wait: {from: code/Timing.java, name: LATER_MS}", True),  # REACH_MS + 1500 hangs on it
        (
            "- {wait: {from: code/Timing.java, name: REACH_MS}, for: settling}",
            True,
        ),  # no timer, and the same number
        ("- {wait: arrival, at_most: {from: code/Timing.java, name: REACH_MS}}", True),
        ("- wait: 1900 ms", False),
    ],
)
def test_a_number_that_other_times_hang_on_is_left_to_hands(folder, reads, also):
    """A patch of it would change the others, which the tuned run did not: the patch keeps off, and says so."""
    code = folder.path / "code"
    code.mkdir()
    (code / "Timing.java").write_text(
        "class Timing {\n  static final long REACH_MS = 400L;\n"
        "  static final long LATER_MS = REACH_MS + 1500;\n  static final double HAND_S = 2.90;\n}\n",
        encoding="utf-8",
    )
    body = (
        "  autonomous:\n    - move: {reach: 0.4 m}\n    - wait: {from: code/Timing.java, name: REACH_MS}\n"
        "    - place: {into: bin, by: {hand: open}, needs: {reach: 0.4 m within 10 mm}, else: dropped}\n"
        "    - wait: {from: code/Timing.java, name: HAND_S}\n    - move: {reach: 0 m}\n    " + reads + "\n"
    )
    plan = folder.write(body, SLIDE, "{reach: 0 m, hand: shut}", more=MOTOR)
    result = tune(plan)
    (reach,) = (one for one in result.timers if one.name == "REACH_MS" and one.what == "wait")
    made = patch_of(result)
    assert reach.changed and reach.source.computed == also
    assert (b"REACH_MS: 400 ms, better" in made.data) == also == bool(made.by_hand)
    assert (b"-  static final long REACH_MS" in made.data) != also
    assert b"-  static final double HAND_S" in made.data
    assert ("change them by hand" in reach.reason) == also


def test_battery_says_how_weak_the_timers_have_to_hold(folder):
    body = "  autonomous:\n    - move: {reach: 0.4 m}\n    - wait: 2 s\n"
    plan = folder.write(body, SLIDE, "{reach: 0 m, hand: shut}", more=MOTOR)
    arrivals = {state.name: state.moves[0].arrival_us for state in api.run(plan).states}
    for name in ("fresh", "tired"):
        result = tune(plan, battery=name)
        assert result.battery == name and result.asked[-1] == name
        assert result.timers[0].suggested_us == rounded_up(arrivals[name] + 50_000, 20_000, 1000)
    assert tune(plan).battery == "mid-event" and tune(plan).asked == ("fresh", "mid-event", "tired")


# --- sensor -----------------------------------------------------------------------------------------------


def test_waits_for_arrival_where_something_can_be_seen(folder):
    body = "  autonomous:\n    - move: {reach: 0.4 m}\n    - wait: 2 s\n    - move: {hand: open}\n    - wait: 900 ms\n"
    plan = folder.write(body, SLIDE, "{reach: 0 m, hand: shut}", more=MOTOR)
    reach, hand = tune(plan, kind="sensor").timers
    (folder.path / "plan.yaml").write_text(
        (folder.path / "plan.yaml").read_text().replace("wait: 2 s", "wait: arrival")
    )
    middle = next(state for state in api.run(folder.load()).states if state.name == "mid-event")
    assert reach.suggested_us == middle.moves[0].seen_arrival_us
    assert reach.gain_us == 2_000_000 - reach.suggested_us
    assert "before it stays there" in reach.reason  # at full effort it runs through its window first
    assert hand.suggested_us == hand.now_us and "nothing sees where the hand is" in hand.reason


# --- mistakes ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"kind": "saef"}, "did you mean 'safe'"),
        ({"battery": "tried"}, "did you mean 'tired'"),
        ({"rule": "base -"}, "--rule 'base -'"),
    ],
)
def test_what_is_asked_wrongly(folder, more, words):
    plan = folder.write("  autonomous:\n    - move: {flap: open}\n    - wait: 100 ms\n", WORDS, START)
    with pytest.raises(SimbotError, match=words):
        tune(plan, **more)


def test_the_critical_path_of_a_period_has_its_own_waits():
    """The first drive of the starter begins nearer to the tray than those of the cycles do."""
    plan = load_plan(ROOT / "simbot" / "starter" / "plan.yaml", KINDS)[0]
    ran = Bench(plan).run(plan, plan.robot.battery[0])
    boundary_us = plan.game.periods[0].duration_us
    means = {}
    for path in paths_of(ran):
        for one in path.activities:
            took = [
                wait.ended_us - wait.began_us
                for wait in ran.trace.waits
                if wait.line == one.line and not wait.cut
                if (wait.began_us < boundary_us) == (path.period == "autonomous")
            ]
            means[path.period, one.line] = sum(took) / len(took)
            assert one.duration_us == pytest.approx(means[path.period, one.line], abs=1.0)
    assert means["autonomous", 11] < 0.7 * means["driver_controlled", 11]


def test_where_a_move_does_not_arrive_with_the_set_the_reason_says_on_which_battery(tmp_path):
    """The starter without the wait behind its second drive: a longer wait of the lift times the drive as well."""
    shutil.copytree(ROOT / "simbot" / "starter", tmp_path / "starter")
    path = tmp_path / "starter" / "plan.yaml"
    whole = path.read_text().replace("- drive: shelf\n      - wait: arrival\n", "- drive: shelf\n")
    path.write_text(whole)
    result = tune(load_plan(path, KINDS)[0])
    never = [timer for timer in result.timers if timer.arrival_us is None and timer.states]
    for timer in never:
        assert "does not arrive with this set" in timer.reason or timer.reason.startswith("no timer helps")
    assert [timer.line for timer in never]
