"""What `simbot run` prints: 80 columns, plain characters, nothing said by colour alone."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.console import Console

from simbot.report.terminal import WIDTH, _bar_line, _table_line, print_run, run_lines


def printed(run_result, state="mid-event"):
    stream = io.StringIO()
    print_run(run_result, next(one for one in run_result.states if one.name == state), stream)
    return stream.getvalue()


def test_no_line_is_wider_than_80_columns_and_all_are_ascii(run_result):
    text = printed(run_result)
    assert all(len(line) <= 80 for line in text.splitlines())
    assert text.isascii()
    assert all(line == line.rstrip() for line in text.splitlines() if "verdict" not in line)


def test_a_wait_that_breaks_many_things_keeps_to_its_line(run_result):
    move = next(
        one for one in run_result.states[0].moves if one.timer_us is not None and one.verdict == "slack"
    )
    worst = replace(move, verdict="impossible", consequence="breaking", margin_us=-99_000_000)
    for line in (
        _bar_line(worst, 1_000, "abcdefgh"),
        _table_line(" " * 28, "fresh", worst, "abcdefgh", set()),
        _bar_line(worst, 1_000, "ab"),
    ):
        assert len(line) <= WIDTH and line.plain.endswith((" a+", " ab+", " ab")), line.plain


def test_piped_output_has_no_escape_codes_and_says_the_same_as_the_coloured_one(run_result):
    plain = printed(run_result)
    stream = io.StringIO()
    coloured = Console(
        file=stream,
        width=80,
        force_terminal=True,
        color_system="truecolor",
        highlight=False,
        record=True,
        soft_wrap=True,
    )
    for line in run_lines(run_result, run_result.states[1]):
        coloured.print(line)
    assert "\x1b[" in stream.getvalue() and "\x1b" not in plain
    assert coloured.export_text(styles=False) == plain


def test_head_says_nominal_and_which_state_misses(run_result):
    head = printed(run_result).split("\n\n")[0]
    assert "NOMINAL" in head and "2 to 4 times" in head
    assert "fresh       13.8 V, 0.110 ohm   85 points  passes" in head
    assert "MISSES 2, first at 2.35 s, line 28" in head
    assert "still passes: fresh" in head


LONG = "a plan with quite a long name that people would write on an evening before"


def test_long_names_keep_to_80_columns_and_nothing_of_them_is_lost(run_result):
    text = printed(replace(run_result, plan=LONG, robot=LONG.upper()))
    head = text.split(" NOMINAL")[0]
    assert f"{LONG}: {LONG.upper()} in Night Market" in " ".join(head.split())
    assert head.rstrip().endswith("lanterns.yaml")
    assert all(len(line) <= WIDTH for line in text.splitlines())
    # no room for the file beside the title
    text = printed(replace(run_result, plan=LONG[:46]))
    assert text.splitlines()[1] == "    lanterns.yaml"
    assert all(len(line) <= WIDTH for line in text.splitlines())


def test_a_verdict_with_a_condition_and_a_wait_in_vain_is_wrapped(run_result, finding):
    found = (
        finding(kind="bus_low", fails=False, provided="nothing resets"),
        finding(kind="never_arrived", fails=False, line=15),
    )
    tired = replace(run_result.states[2], findings=found, passes=True)
    lines = printed(replace(run_result, states=(*run_result.states[:2], tired))).splitlines()
    begin = next(n for n, line in enumerate(lines) if line.startswith(" tired"))
    assert all(len(line) <= WIDTH for line in lines)
    said = " ".join(" ".join(lines[begin : begin + 2]).split())
    assert said.endswith("passes if nothing resets; line 15 waits in vain")
    assert lines[begin + 1].startswith(" " * 43)


@pytest.mark.parametrize("count", [4, 5, 6, 7])
def test_many_battery_states_keep_to_80_columns(run_result, count):
    states = tuple(replace(run_result.states[0], name=f"mid-event-{n}") for n in range(1, count + 1))
    states = (*states[:-1], replace(states[-1], name="mid-event"))
    lines = printed(replace(run_result, states=states)).splitlines()
    assert all(len(line) <= WIDTH for line in lines)
    assert sum(len(line.split()) - 4 for line in lines if line.startswith(" cycle time, mean")) == count


def without(run_result, **changes):
    states = tuple(
        replace(state, findings=(), passes=True, needs=(), **changes) for state in run_result.states
    )
    return replace(run_result, states=states, failing_states=())


def test_a_plan_without_needs_or_moves_is_not_told_to_pass(run_result):
    assert "passes, but states no need" in printed(without(run_result))
    head = printed(without(run_result, moves=())).split("\n\n")[0]
    assert "nothing to judge: no move, no need" in head
    assert "passes" not in head


@pytest.mark.parametrize(("told", "says"), [
    (["nothing resets"], "passes if nothing resets"),
    (["its fuse holds", "its fuse holds"], "passes if its fuse holds"),
    (["hands let go in time"], "passes if hands let go in time"),
    (["hands let go in time", "nothing resets"], "passes if nothing resets and hands let go in time"),
    (["its breakers hold", "its fuse holds", "nothing resets"], "passes if nothing resets or opens"),
])  # fmt: skip
def test_a_run_that_takes_a_reset_for_absent_passes_only_without_it(run_result, finding, told, says):
    """What a finding tells and the run does not carry out is beside the verdict, and beside the weakest battery."""
    found = tuple(replace(finding(), fails=False, provided=one) for one in told)
    fresh = replace(run_result.states[0], findings=found, passes=True)
    run = replace(run_result, states=(fresh, *run_result.states[1:]))
    text = " ".join(printed(run).split())
    assert f"85 points {says}" in text
    assert f"still passes: fresh, {says.removeprefix('passes ')}" in text


def test_a_run_that_scores_nothing_does_not_merely_pass(run_result):
    fresh = run_result.states[0]
    empty = replace(
        fresh, points=dict.fromkeys(fresh.points, 0.0), deliveries_at_us=(), findings=(), passes=True
    )
    text = printed(replace(run_result, states=(empty, *run_result.states[1:])))
    assert "0 points  passes, but scores nothing" in text


def test_strongest_state_failing_is_said(run_result):
    text = printed(replace(run_result, weakest_state_that_passes=None, failing_states=("fresh", "mid-event")))
    assert "The strongest battery state fails already; tired" not in text
    assert "The strongest battery state fails already; fresh passes all the same" in text


def test_letters_link_a_wait_to_what_it_breaks(run_result):
    lines = printed(run_result).splitlines()
    assert any(line.startswith("    4 arm to 118 deg") and line.endswith("-60 short a") for line in lines)
    assert "    a step 5, line 28: needs arm, 60 ms too early: dropped, twice" in lines
    assert any(line.startswith(" a  Line 27 waits 450 ms") for line in lines)


def test_harmless_waits_say_why(run_result):
    text = " ".join(printed(run_result).split())
    assert "ok line 33 lift, 1380 ms to spare at the next need. ? line 41 wrist" in text
    assert ": no stated need follows." in text


def test_repeats_are_folded_into_the_worst(run_result):
    text = printed(run_result)
    rows = [line for line in text.split("Timers to change")[0].splitlines() if "lift to 0.42 m" in line]
    assert len(rows) == 2  # one bar, one row of numbers
    assert "860" in rows[1] and "twice" in text


def test_table_keeps_all_states_whichever_is_drawn(run_result):
    for state in ("fresh", "tired"):
        text = printed(run_result, state)
        assert f" ms, {state}  " in text
        assert text.count(" mid-event   ") >= 8


def test_advice_lengthens_what_breaks_and_shortens_what_is_slack(run_result):
    text = printed(run_result)
    # 450 ms short of 510 by 60, and 50 of guard: 560; 600 with 360 to spare, less 50: 290
    assert "   27    450     560     +110  arm to 118 deg: too short" in text
    assert "   39    600     290     -310  gripper to open" in text


def test_no_advice_where_the_move_never_arrives_or_a_need_allows_a_short_wait(run_result):
    advice = printed(run_result).split("Timers to change")[1].split("The cycle")[0]
    assert not any(line.startswith(f"   {number} ") for line in advice.splitlines() for number in (34, 45))
    assert "wrist to 90 deg: 280 ms short, no need asks" in advice


def test_a_wait_that_saw_the_arrival_too_early_is_none_of_a_timer(run_result, state, move):
    early = move(seen_arrival_us=800_000, timer_us=800_000, timer_written_us=None, verdict="short",
                 consequence="harmless", need_margin_us=70_000)  # fmt: skip
    text = printed(replace(run_result, states=(state(moves=(early,)),)))
    assert "860  (800)    -60 early ok" in text
    assert " early: its code sees it inside before it stays there" in text


def test_a_harmless_wait_has_no_letter_of_what_another_breaks(run_result, state, move):
    """The same line may break something in one of its executions only."""
    found = replace(run_result.states[1].findings[0], cause_line=23, mechanism="lift", fails=True)
    short = move(timer_us=800_000, verdict="short", consequence="harmless", need_margin_us=70_000)
    text = printed(replace(run_result, states=(state(moves=(short,), findings=(found,)),)))
    assert "-60 short ok\n" in text


def test_measured_beside_predicted(run_result):
    assert "0.510 s    0.550 s  1.08, mean of 3" in printed(run_result)


def test_measured_faster_than_the_floor_is_doubted(run_result, state, move):
    fast = state(moves=(move(measured_s=(0.6, 0.62)),))
    assert "faster than the floor of 650 ms" in " ".join(printed(replace(run_result, states=(fast,))).split())


def test_cautions(run_result):
    text = " ".join(printed(run_result).split())
    for words in (
        "slowly",
        "off the ground",
        "hands",
        "never permission",
        "inspectors",
        "adult",
        "2 of them",
    ):
        assert words in text
    assert "A caution of this run." in text


@pytest.mark.parametrize(
    "changes", [{"time": None, "cycle_time_s": None, "points_per_s": None}, {"moves": ()}]
)
def test_a_run_with_little_in_it_prints(run_result, state, changes):
    bare = state(findings=(), passes=True, **changes)
    text = printed(
        replace(run_result, states=(bare,), failing_states=(), weakest_state_that_passes="mid-event")
    )
    assert "every need stated is met" in text


def test_two_devices_that_reset_at_one_step_are_both_told(run_result, finding):
    both = [
        finding(
            kind="brown_out", mechanism=None, about=name, late_us=None, fails=False, text=f"the {name} resets"
        )
        for name in ("radio", "camera")
    ]
    states = tuple(replace(state, findings=tuple(both)) for state in run_result.states)
    text = printed(replace(run_result, states=states))
    assert text.count("the radio resets") == text.count("the camera resets") == 1


def test_each_state_is_told_with_its_own_words(run_result, finding):
    said = [
        finding(kind="fades", late_us=None, fails=False, text=f"it fades in cycle {n}") for n in (9, 4, 4)
    ]
    states = list(run_result.states)
    states = [replace(state, findings=(one,)) for state, one in zip(states, said, strict=True)]
    text = " ".join(printed(replace(run_result, states=tuple(states[:2]))).split())
    assert "cycle 9 fresh: once, first at 2.35 s. - it fades in cycle 4 mid-event: once" in text
    states[0] = replace(states[0], findings=())
    text = " ".join(printed(replace(run_result, states=tuple(states))).split())
    assert "it fades in cycle 4 mid-event and tired: once, first at 2.35 s; not on fresh." in text


def test_what_never_comes_is_not_told_with_how_late_it_is_elsewhere(run_result, finding):
    never = finding(late_us=None, text="The arm never gets there")
    states = list(run_result.states)
    states[2] = replace(states[2], findings=(never,))
    text = " ".join(printed(replace(run_result, states=tuple(states))).split())
    assert "dropped. mid-event: 60 ms, twice, first at 2.35 s." in text
    assert "a The arm never gets there tired: once, first at 2.35 s; not on fresh." in text


def test_findings_of_one_line_that_differ_by_state_are_told_apart(run_result, finding):
    states = list(run_result.states)
    states[2] = replace(states[2], findings=(finding(late_us=110_000),))
    text = " ".join(printed(replace(run_result, states=tuple(states))).split())
    assert (
        "mid-event: 60 ms, twice, first at 2.35 s; tired: 110 ms, once, first at 2.35 s; not on fresh."
        in text
    )
