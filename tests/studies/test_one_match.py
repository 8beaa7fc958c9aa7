"""One match of a study: what it does not ask for is not told, and it leaves nothing behind."""

from __future__ import annotations

import gc
from pathlib import Path

import pytest

from simbot.physics.kinds import KINDS
from simbot.scenario.load import load_plan
from simbot.studies.one_match import Day, record_of

DEMO = Path(__file__).parents[2] / "scenarios" / "night-market"
LEFT = 100  # objects; the records of a match and what they hold on to are above a thousand


@pytest.fixture(scope="module", params=["lanterns", "tins"])
def plan(request):
    return load_plan(DEMO / f"{request.param}.yaml", KINDS)[0]


def test_a_match_of_which_only_points_are_asked_is_the_same_match(plan):
    day, battery = Day(plan, 3, 1), plan.robot.battery[-1]
    for number in range(10, 14):
        trace, plant = day.play(number, battery)
        whole = record_of(plan, number, battery.name, trace, plant)
        assert any(need.margin_us is not None for need in trace.needs)
        brief = day.play(number, battery, told=False)
        assert record_of(plan, number, battery.name, *brief) == whole
        assert [need.met for need in brief[0].needs] == [need.met for need in trace.needs]
        assert all(need.position is need.margin_us is None for need in brief[0].needs)


def test_a_match_that_is_over_leaves_next_to_nothing_to_the_collector(plan):
    day, battery = Day(plan, 3, 2), plan.robot.battery[0]
    day.record(20, battery)
    gc.collect()
    gc.disable()
    try:
        assert not day.record(21, battery).fault
        assert gc.collect() < LEFT
    finally:
        gc.enable()


def test_one_is_no_plural():
    from simbot.analysis.words import counted

    told = [counted(1, "match"), counted(2, "match"), counted(1, "day"), counted(10, "day")]
    assert told == ["1 match", "2 matches", "1 day", "10 days"]
