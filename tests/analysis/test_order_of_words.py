"""Order rules that hang on a measured mechanism: the rule says at which of its words it has to be."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, wait

from simbot.analysis.states import state_result
from simbot.physics.luck import Drawn
from simbot.routine.match import play
from simbot.scenario.errors import ScenarioError


def ruled(**when):
    hands = {name: {"kind": "measured", "time": "0.2 s"} for name in ("hand", "other")}
    return {"mechanisms": hands, "order": [{"mechanism": "other", "may_move_when": when}]}


def broken(plan, luck=None):
    trace, plant = play(plan, plan.robot.battery[0], **({} if luck is None else {"luck": luck}))
    found = state_result(plan, plan.robot.battery[0], plant, trace).findings
    return [(one.at_us // 1000, one.late_us // 1000, one.text) for one in found if one.kind == "order_broken"]


def test_a_rule_on_a_word_is_watched_while_its_mechanism_moves(tmp_path):
    # the hand is shut from 0.2 s until it is sent away at 0.3 s; the other moves from 0.1 s to 0.3 s, and from
    # 0.45 s to 0.65 s
    steps = [{"move": {"hand": "shut"}}, wait("0.1 s"), {"move": {"other": "up"}}, wait("0.2 s"),
             {"move": {"hand": "open"}}, wait("0.15 s"), {"move": {"other": "down"}}, wait("1 s")]  # fmt: skip
    first, second = broken(a_plan(tmp_path, steps, robot=ruled(hand="at shut")))
    assert first[:2] == (100, 100) and second[:2] == (450, 200)
    assert first[2] == (
        "step 3 had the other moving for 100 ms while the hand was not at shut: at 0.100 s it was on its way from open"
    )
    assert second[2].endswith("while the hand was not at shut: at 0.450 s it had left shut")


def test_a_rule_is_broken_from_the_instant_at_which_its_mechanism_leaves(tmp_path):
    # the other moves from 0.1 s to 0.3 s; the hand leaves at 0.15 s, is called back at 0.2 s and is open at 0.4 s
    steps = [wait("0.1 s"), {"move": {"other": "up"}}, wait("0.05 s", **{"for": "stagger"}), {"move": {"hand": "shut"}},
             wait("0.05 s", **{"for": "stagger"}), {"move": {"hand": "open"}}, wait("1 s")]  # fmt: skip
    ((at, lasts, text),) = broken(a_plan(tmp_path, steps, robot=ruled(hand="at open")))
    assert (at, lasts) == (150, 150) and text.endswith("at 0.150 s it had left open")


def test_a_retry_beside_a_lift_breaks_the_order_between_them(tmp_path):
    # a transfer whose one more try takes 2 s, beside a lift (the other) that leaves after 1 s for 0.2 s: with one
    # more try or two the claw (the hand) is not shut when it leaves; with none it is (common practice, no source)
    steps = [{"together": [[pick(succeeds="50 %", tries=3, each="2 s"), wait("0.3 s")],
                           [wait("1 s", **{"for": "stagger"}), {"move": {"other": "up"}}, wait("0.2 s")]]}]  # fmt: skip
    plan = a_plan(tmp_path, steps, robot=ruled(hand="at shut"))
    overlaps = [[late for _, late, _ in broken(plan, Drawn(1, 0, number))] for number in range(20)]
    assert broken(plan) == [] and all(each in ([], [200]) for each in overlaps)
    assert 4 < sum(map(bool, overlaps)) < 16


@pytest.mark.parametrize(
    ("when", "told"),
    [
        ({"hand": "above 1 m"}, "a condition begins with at, given: 'above 1 m'; would do: at open"),
        ({"other": "at up"}, "its own travel limits it"),
        ({}, "may_move_when"),
    ],
)
def test_rules_that_say_nothing_are_refused(tmp_path, when, told):
    with pytest.raises(ScenarioError, match=told):
        a_plan(tmp_path, [], robot=ruled(**when))
