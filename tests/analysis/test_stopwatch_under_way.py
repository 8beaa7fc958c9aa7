"""A mechanism with a stopwatch time is at no place while it is under way: it has left at its command."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.analysis.polylines import courses_of
from simbot.analysis.states import state_result
from simbot.routine.match import play


def away(word):
    return [{"move": {"other": word}}, wait("0.1 s", **{"for": "stagger"})]


def told(tmp_path, steps, holds=True):
    start = {"hand": "shut", "other": "open", "holds": {"hand": "ball"}}
    if not holds:
        start = {"hand": "open", "other": "open"}
    plan = a_plan(tmp_path, [*steps, wait("1 s")], start=start)
    trace, plant = play(plan, plan.robot.battery[0])
    return state_result(plan, plan.robot.battery[0], plant, trace), plant, trace


RELEASE = place(needs={"other": "open"})


@pytest.mark.parametrize(
    ("before", "margin_ms"),
    [
        ([*away("shut")], None),  # half of the way done: it is not at open any more
        ([*away("shut"), *away("open")], -100),  # called back after 0.1 s: there after 0.2 s more
        ([*away("shut"), *away("open"), wait("arrival")], 0),  # since it is back, not since the start
        ([*away("open")], 100),  # called to where it is it never leaves
        ([{"move": {"other": "shut"}}], 0),  # at the very instant of the command it is still there
        (
            [{"move": {"other": "shut"}}, {"move": {"other": "open"}}],
            0,
        ),  # and called back then it does not leave
    ],
)
def test_a_need_ends_at_the_command_that_sends_it_elsewhere(tmp_path, before, margin_ms):
    state, _, _ = told(tmp_path, [*before, RELEASE])
    (need,) = state.needs
    assert need.met == (margin_ms is not None and margin_ms >= 0) and state.passes == need.met
    assert need.margin_us == (None if margin_ms is None else margin_ms * 1000)


def test_the_finding_says_which_step_sent_it_elsewhere(tmp_path):
    state, _, _ = told(tmp_path, [{"move": {"other": "shut"}}, wait("0.1 s"), RELEASE])
    (finding,) = [one for one in state.findings if one.kind == "need_unmet"]
    assert "because step 1 sent the other elsewhere (other to shut)" in finding.text


def test_a_pick_is_lost_at_the_command_that_moves_what_it_needs(tmp_path):
    # the hand closes until 0.2 s; the other leaves at 0.1 s
    state, _, _ = told(
        tmp_path, [pick(needs={"other": "open"}), wait("0.1 s", **{"for": "stagger"}), *away("shut")], False
    )
    (finding,) = [one for one in state.findings if one.kind == "pick_lost"]
    assert (finding.at_us, finding.late_us) == (100_000, 100_000)
    state, _, _ = told(tmp_path, [pick(needs={"other": "open"}), wait("0.2 s"), *away("shut")], False)
    assert [one.outcome for one in state.picks] == ["held"]


def test_what_is_called_back_on_its_way_is_never_drawn_where_it_did_not_get(tmp_path):
    _state, plant, trace = told(tmp_path, [*away("shut"), *away("open"), wait("1 s")])
    (course,) = courses_of(plant, trace).mechanisms
    told_at = [(int(at) // 1000, value) for at, value in zip(course.at_us, course.values, strict=True)]
    assert course.words == ("open",) and told_at == [(0, 0.0), (0, -1.0), (300, 0.0)]
