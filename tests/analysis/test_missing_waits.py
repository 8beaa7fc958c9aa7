"""A wait that stands behind a step cannot help what that step needs: one has to be put in before it."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot import api
from simbot.report.notebook import _next_steps
from simbot.report.page.answers import _timers
from simbot.report.summary import advise_timers, advise_waits
from simbot.report.terminal import _advice
from simbot.report.tune_document import tune_document
from simbot.report.tuned import tuned_lines
from simbot.studies.shown import Shown
from simbot.studies.tune import tune

NEEDS = {"other": "out"}  # 0.2 s after its command, by the stopwatch
ROBOT = {
    "mechanisms": {
        "hand": {"kind": "measured", "time": "0.2 s"},
        "other": {"kind": "measured", "time": "0.2 s"},
        "third": {"kind": "measured", "time": "0.2 s"},
    }
}


def plan_of(tmp_path, before, behind, then=()):
    """A ball is held from 0.2 s on; `other` is sent out at 0.3 s, and has to be there to place it."""
    steps = [pick(), wait("300 ms"), {"move": {"other": "out"}}, *before]
    steps += [place(needs=NEEDS), *behind, *then]
    start = {"hand": "open", "other": "in", "third": "in"}
    return a_plan(tmp_path, steps, "5 s", robot=ROBOT, start=start)


def of_other(run):
    return next(move for move in run.states[0].moves if move.mechanism == "other")


@pytest.mark.parametrize("had_ms", [0, 60, 150])
def test_the_wait_behind_is_left_alone_and_one_before_is_told(tmp_path, had_ms):
    """The step begins 200 ms - had too soon; with a guard of 50 ms and loops of 10 ms that is its wait.

    What people take for something is no timer.
    """
    before = [wait(f"{had_ms} ms", **{"for": "driver"})] if had_ms else []
    plan = plan_of(tmp_path, before, [wait("250 ms")])
    run = api.run(plan)
    move = of_other(run)
    assert move.timer_us is move.verdict is move.consequence is None
    (missing,) = advise_waits(run)
    assert (missing.wait_us, missing.needs) == (250_000 - 1000 * had_ms, {"other": "out"})
    line = next(need.line for need in run.states[0].needs if not need.met)
    assert missing.line == line and run.states[0].needs[-1].missing_wait_us == 200_000 - 1000 * had_ms
    assert all(one.labels != ("other to out",) for one in advise_timers(run))
    result = tune(plan)
    assert result.waits == (missing,)
    assert all("other to out" not in timer.labels for timer in result.timers)
    told = " ".join(" ".join(tuned_lines(result)).split())
    assert (
        f"Put a wait of {250 - had_ms} ms before line {line}, with the guard: it needs the other at out"
        in told
    )


def test_with_that_wait_it_is_met(tmp_path):
    run = api.run(plan_of(tmp_path, [wait("250 ms")], [wait("250 ms")]))
    assert run.states[0].passes and advise_waits(run) == ()
    assert of_other(run).need_margin_us == 50_000


def test_of_a_move_that_is_asked_for_again_later_the_wait_is_judged_by_that(tmp_path):
    """Placed too soon; 100 ms of waiting leave it 100 ms short for what asks next."""
    steps = [pick(needs=NEEDS), wait("250 ms")]
    plan = plan_of(tmp_path, [], [wait("100 ms")], steps)
    run = api.run(plan)
    move = of_other(run)
    assert (move.timer_us, move.need_margin_us, move.consequence) == (100_000, -100_000, "breaking")
    (missing,) = advise_waits(run)
    assert missing.wait_us == 250_000
    (advice,) = [one for one in advise_timers(run) if "other to out" in one.labels]
    assert (advice.written_us, advice.suggested_us, advice.breaks) == (100_000, 250_000, True)


def test_a_need_that_is_met_before_the_wait_is_over_still_is_one_of_its_timer(tmp_path):
    plan = plan_of(tmp_path, [wait("230 ms", **{"for": "driver"})], [wait("250 ms")])
    assert of_other(api.run(plan)).need_margin_us == 30_000


def test_every_report_says_so(tmp_path):
    plan = plan_of(tmp_path, [], [wait("250 ms")])
    run, result = api.run(plan), tune(plan)
    (missing,) = result.waits
    told = "\n".join(line.plain for line in _advice(run, advise_timers(run), advise_waits(run)))
    assert f"{missing.line:>5}      -     250      new  put a wait before it: other comes later\n" in told
    document = tune_document(result)
    row = {"line": missing.line, "step": missing.step, "needs": {"other": "out"}, "wait_s": 0.25}
    assert document["missing_waits"] == [row]
    pieces, _ = _timers("paper", document)
    said = "".join(text for _, text in pieces)
    assert f"put in a wait before line {missing.line}, for the other at out, of 250 ms" in said.replace(
        "; ", " "
    )
    shown = Shown.__new__(Shown)
    object.__setattr__(shown, "run", run)
    steps = list(_next_steps(shown, (), ()))
    assert f"Put a wait of 250 ms before line {missing.line}: it needs the other at out." in steps
