"""A wait that stands behind a step cannot help what that step needs: one has to be put in before it."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot import api
from simbot.report.notebook import _next_steps
from simbot.report.page.answers import _breaks, _timers
from simbot.report.summary import advise_timers, advise_waits
from simbot.report.terminal import _advice
from simbot.report.tune_document import tune_document
from simbot.report.tuned import tuned_lines
from simbot.studies.shown import show
from simbot.studies.tune import tune

NEEDS = {"other": "out"}  # 0.2 s after its command, by the stopwatch
OUT = {"move": {"other": "out"}}
MECHANISMS = {name: {"kind": "measured", "time": "0.2 s"} for name in ("hand", "other", "third")}
ROBOT = {"mechanisms": MECHANISMS}
START = {"hand": "open", "other": "in", "third": "in"}


def plan_of(tmp_path, before, behind, then=(), robot=ROBOT):
    """A ball is held from 0.2 s on; `other` is sent out at 0.3 s, and has to be there to place it."""
    steps = [pick(), wait("300 ms"), OUT, *before, place(needs=NEEDS), *behind, *then]
    return a_plan(tmp_path, steps, "5 s", robot=robot, start=START)


def of_other(run):
    return next(move for move in run.states[0].moves if move.mechanism == "other")


def missed(run):
    return next(need for need in run.states[0].needs if not need.met)


@pytest.mark.parametrize("had_ms", [0, 60, 150])
def test_a_need_that_no_wait_sees_to_is_told_one(tmp_path, had_ms):
    """The step begins 200 ms - had too soon; with a guard of 50 ms and loops of 10 ms that is its wait.

    What people take for something is no timer.
    """
    before = [wait(f"{had_ms} ms", **{"for": "driver"})] if had_ms else []
    plan = plan_of(tmp_path, before, [wait("250 ms")])
    run = api.run(plan)
    (missing,) = advise_waits(run)
    need = missed(run)
    assert (missing.wait_us, missing.needs) == (250_000 - 1000 * had_ms, (("other", "out"),))
    assert missing.line == need.line and need.missing_wait_us == 200_000 - 1000 * had_ms
    (finding,) = [one for one in run.states[0].findings if one.kind == "need_unmet"]
    assert f"was only {had_ms} ms ago, with no wait for it since; the other needs 200 ms" in finding.text
    result = tune(plan)
    assert result.waits == (missing,)
    told = " ".join(" ".join(tuned_lines(result)).split())
    wanted = (
        f"Put a wait of {250 - had_ms} ms before line {need.line}, with the guard: it needs the other at out"
    )
    assert wanted in told


@pytest.mark.parametrize("behind_ms", [50, 100, 250])
def test_the_wait_behind_is_no_shorter_or_longer_for_it(tmp_path, behind_ms):
    """The hand takes 200 ms to open, which no need asks for: it gets its guard, and `other` its 600 ms elsewhere."""
    slow = {"mechanisms": {**MECHANISMS, "other": {"kind": "measured", "time": "0.6 s"}}}
    plan = plan_of(tmp_path, [], [wait(f"{behind_ms} ms")], robot=slow)
    run = api.run(plan)
    move = of_other(run)
    assert (move.timer_us, move.need_margin_us) == (1000 * behind_ms, None)
    assert move.asked_too_soon and move.consequence == "harmless"
    advised = {one.written_us: one.suggested_us for one in advise_timers(run)}
    assert advised.get(1000 * behind_ms, 250_000) == 250_000
    timer = tune(plan).timers[-1]
    assert timer.labels == ("hand to open",)
    assert timer.suggested_us == 250_000 and "breaks" not in timer.reason


def test_with_that_wait_it_is_met(tmp_path):
    run = api.run(plan_of(tmp_path, [wait("250 ms")], [wait("250 ms")]))
    assert run.states[0].passes and advise_waits(run) == ()
    assert of_other(run).need_margin_us == 50_000


def test_of_a_move_that_is_asked_for_again_later_the_wait_is_judged_by_that(tmp_path):
    """Placed too soon; 100 ms of waiting leave it 100 ms short for what asks next."""
    run = api.run(plan_of(tmp_path, [], [wait("100 ms")], [pick(needs=NEEDS), wait("250 ms")]))
    move = of_other(run)
    assert (move.timer_us, move.need_margin_us, move.consequence) == (100_000, -100_000, "breaking")
    (missing,) = advise_waits(run)
    assert missing.wait_us == 250_000
    (advice,) = [one for one in advise_timers(run) if "other to out" in one.labels]
    assert (advice.written_us, advice.suggested_us, advice.breaks) == (100_000, 250_000, True)


def test_nor_does_a_need_that_was_met_before_hang_on_the_wait_behind(tmp_path):
    """It was met 30 ms before: no longer wait behind it makes that more."""
    plan = plan_of(tmp_path, [wait("230 ms", **{"for": "driver"})], [wait("250 ms")])
    run = api.run(plan)
    assert run.states[0].passes and of_other(run).need_margin_us is None
    assert run.states[0].needs[-1].margin_us == 30_000
    assert all(one.written_us != 250_000 for one in advise_timers(run))


def test_a_wait_for_the_arrival_behind_still_waits_for_it(tmp_path):
    run = api.run(plan_of(tmp_path, [], [wait("arrival")]))
    move = of_other(run)
    assert move.seen_arrival_us == 200_000 and move.verdict == "snug"
    (missing,) = advise_waits(run)
    assert missing.wait_us == 250_000


def test_a_wait_in_a_branch_beside_waits_for_it_all_the_same(tmp_path):
    beside = [{"move": {"third": "out"}}, wait("120 ms"), place(needs=NEEDS)]
    steps = [pick(), wait("300 ms"), {"together": [[OUT, wait("250 ms")], beside]}, wait("300 ms")]
    plan = a_plan(tmp_path, steps, "5 s", robot=ROBOT, start=START)
    run = api.run(plan)
    move = of_other(run)
    assert (move.timer_us, move.verdict) == (250_000, "snug")
    (finding,) = [one for one in run.states[0].findings if one.kind == "need_unmet"]
    waiting = next(each.step for each in run.states[0].waits if each.planned_us == 250_000)
    assert f"120 ms ago, and step {waiting} still waits for it; the other needs 200 ms" in finding.text
    (missing,) = advise_waits(run)
    assert missing.wait_us == 130_000  # 80 ms and the guard
    (timer,) = [timer for timer in tune(plan).timers if "other to out" in timer.labels]
    assert timer.reason.startswith("good") and not timer.changed


def test_what_never_arrives_is_none_that_a_wait_helps(tmp_path):
    lift = {
        "kind": "slide", "incline": "90 deg", "motors": "1 x m", "drum_diameter": "40 mm",
        "moving_mass": "40 kg", "travel": ["0 m", "1 m"], "gearing": [{"ratio": "1:1", "efficiency": "90 %"}],
        "control": {"loop": "full_effort", "window": "5 mm"},
    }  # fmt: skip
    motor = {
        "voltage": "12 V", "free_speed": "6000 rpm", "free_current": "0.2 A", "stall_current": "9 A",
        "rotor_inertia": "1e-5 kg*m^2", "source": "illustrative",
    }  # fmt: skip
    robot = {"motors": {"m": motor}, "mechanisms": {**MECHANISMS, "lift": lift}}
    steps = [pick(), wait("300 ms"), {"move": {"lift": "0.5 m"}}, place(needs={"lift": "0.5 m within 10 mm"})]
    plan = a_plan(tmp_path, [*steps, wait("250 ms")], "5 s", robot=robot, start={**START, "lift": "0 m"})
    run = api.run(plan)
    move = next(each for each in run.states[0].moves if each.mechanism == "lift")
    assert (move.verdict, move.consequence) == ("never", "breaking")
    assert advise_waits(run) == () and all(one.written_us != 250_000 for one in advise_timers(run))


def test_a_line_is_told_once_for_all_battery_states(tmp_path):
    run = api.run(plan_of(tmp_path, [], [wait("250 ms")]))
    (state,) = run.states
    later = replace(
        state,
        name="tired",
        needs=tuple(
            each
            if each.missing_wait_us is None
            else replace(each, step=each.step + 1, missing_wait_us=240_000)
            for each in state.needs
        ),
    )
    (missing,) = advise_waits(replace(run, states=(state, later)))
    assert missing.wait_us == 290_000 and missing.needs == (("other", "out"),)


def test_the_page_says_that_it_is_too_early_and_draws_no_timer(tmp_path):
    plan = plan_of(tmp_path, [], [wait("250 ms")])
    state = api.run(plan).states[0]
    part = SimpleNamespace(
        plan=plan, ran=[SimpleNamespace(state=state)], run=SimpleNamespace(weakest_state_that_passes=None)
    )
    pieces, cause = _breaks(part)
    assert cause is None and ("alarm", "it is 200 ms too early") in pieces


def test_every_report_says_so(tmp_path):
    plan = plan_of(tmp_path, [], [wait("250 ms")])
    run, result = api.run(plan), tune(plan)
    (missing,) = result.waits
    told = "\n".join(line.plain for line in _advice(run, advise_timers(run), advise_waits(run)))
    row = f"{missing.line:>5}      -     250      new  put a wait before line {missing.line}: other comes later\n"
    assert row in told and "put it in first" in " ".join(told.split())
    document = tune_document(result)
    expected = {"line": missing.line, "step": missing.step, "needs": ["other at out"], "wait_s": 0.25}
    assert document["missing_waits"] == [expected]
    pieces, _ = _timers("paper", document)
    said = "".join(text for _, text in pieces)
    assert f"put in a wait before line {missing.line}, for the other at out, of 250 ms" in said
    del document["missing_waits"]  # as older files of a study are
    assert "put in" not in "".join(text for _, text in _timers("paper", document)[0])
    steps = list(_next_steps(show(plan), (), ()))
    assert f"Put a wait of 250 ms before line {missing.line}: it needs the other at out." in steps
