"""The demo's plans for two robots, and that what the game has for them leaves the others as they were."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from simbot.analysis.states import state_result
from simbot.physics.kinds import KINDS
from simbot.routine.match import play
from simbot.scenario.check import plan_doubts
from simbot.scenario.load import load_plan
from simbot.scenario.model import HandOverStep
from simbot.studies.one_match import Day

DEMO = Path(__file__).parents[2] / "scenarios" / "night-market"
PLANS = sorted(path.stem for path in DEMO.glob("*.yaml") if "\nplan:" in path.read_text(encoding="utf-8"))
STATES = ("fresh", "mid-event", "tired")


@cache
def played(name, state, **changes):
    given = {key.replace("__", "."): text for key, text in changes.items()}
    plan, _ = load_plan(DEMO / f"{name}.yaml", KINDS, given)
    battery = next(each for each in plan.robot.battery if each.name == state)
    trace, plant = play(plan, battery)
    return plan, trace, state_result(plan, battery, plant, trace)


def ends(trace):
    return {award.name: award.points for award in trace.awards if award.kind == "end"}


def waited_s(trace, where):
    return sum(queue.to_us - queue.from_us for queue in trace.queues if queue.where == where) / 1e6


def test_the_plans_are_there_and_say_that_they_are_invented():
    assert PLANS == ["alliance", "crowd", "lanterns", "tins"]
    for robot in ("robot", "four-bar-robot"):
        assert "invented" in (DEMO / f"{robot}.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", PLANS)
def test_nothing_in_a_plan_looks_wrong(name):
    plan, remarks = load_plan(DEMO / f"{name}.yaml", KINDS)
    assert not [one for one in remarks if one.kind == "doubtful"] and not list(plan_doubts(plan))


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("name", ["alliance", "crowd"])
def test_the_plans_for_two_pass_on_every_battery(name, state):
    _, trace, result = played(name, state)
    assert result.passes and not trace.mishaps and len(trace.deliveries) >= 12


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("name", ["lanterns", "tins"])
def test_one_robot_alone_earns_nothing_that_needs_two_or_the_mat(name, state):
    """Their numbers are those of the game without a bonus, penalties, a limit in hand and the mat."""
    _, trace, result = played(name, state)
    plan, bare, alone = played(
        name, state, game__bonuses__stall_open__points="0", game__at_end__on_mat__points="0"
    )
    assert not trace.awards and result.points == alone.points and plan.game.bonuses[0].points == 0.0
    assert [one.bonus for one in trace.deliveries] == [one.bonus for one in bare.deliveries]


@pytest.mark.parametrize("state", STATES)
def test_both_hands_pass_a_lantern_on_and_one_robot_at_a_time_is_at_the_chute(state):
    plan, trace, result = played("alliance", state)
    handed = [
        pick for pick in trace.picks if isinstance(pick.acting, HandOverStep) and pick.held_us is not None
    ]
    assert len(handed) >= 6 and {each.outcome for each in handed} == {"held"}
    assert {each.place for each in trace.deliveries} == {"high_row", "low_row", "pan"}
    assert result.partner_points is not None and result.partner_points > 80.0
    assert waited_s(trace, "chute") + waited_s(trace.partner, "chute") > 3.0
    assert {one.name for one in plan.defenders} == {"rival"}


@pytest.mark.parametrize("state", STATES)
def test_the_set_of_both_robots_earns_its_bonus_once_each_time(state):
    """Nine tins, a low and a high lantern three times over: at most three sets, by either robot."""
    with_sets, without = (
        played("alliance", state, **more)[2] for more in ({}, {"game__bonuses__stall_open__points": "0"})
    )
    gained = with_sets.points["total"] + with_sets.partner_points
    assert gained - without.points["total"] - without.partner_points == 18.0


@pytest.mark.parametrize("state", STATES)
def test_the_mat_counts_and_only_half_on_it_counts_less(state):
    assert ends(played("alliance", state)[1]) == {"on_mat": 6.0, "folded": 2.0}
    # A mat as narrow as no drive stops: half on it is what is left
    assert ends(played("alliance", state, game__at_end__on_mat__within="1 um")[1]) == {
        "half_on_mat": 3.0,
        "folded": 2.0,
    }


def test_what_its_robot_states_makes_it_folded():
    (end,) = {ends(played("alliance", "fresh", plan__at_end__folded__swing="out")[1]).get("folded", 0.0)}
    assert end == 0.0


def test_a_camera_that_sees_nothing_sends_it_to_the_chute():
    _, trace, _ = played(
        "alliance", "mid-event", game__stations__rack__stock="0", game__stations__rack__refill="1 per 200 s"
    )
    assert not [each for each in trace.deliveries if each.place == "low_row"]
    assert len([each for each in trace.deliveries if each.place == "pan"]) >= 6


def test_a_stranger_who_stays_longer_costs_waiting():
    short, long = (
        waited_s(played("crowd", "mid-event", plan__others__stranger__stays=stays)[1], "chute")
        for stays in ("0.1 s", "8 s")
    )
    assert short < 1.0 < long


def test_matches_with_chance_meet_what_the_plan_provides_for():
    """A rival who holds it up, picks and whole tries that fail, and the mat in spite of it."""
    plan, _ = load_plan(DEMO / "alliance.yaml", KINDS)
    traces = [Day(plan, 1, 1).play(number, plan.robot.battery[1])[0] for number in range(10, 14)]
    assert any(queue.why == "held_up" for trace in traces for queue in trace.queues)
    assert any(trace.failures for trace in traces)
    assert len({sum(each.points + each.bonus for each in trace.deliveries) for trace in traces}) > 1
    assert all(ends(trace).keys() & {"on_mat", "half_on_mat"} for trace in traces)
