"""One match of a study: what it does not ask for is not told, and it leaves nothing behind."""

from __future__ import annotations

import gc
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from math import isnan
from pathlib import Path

import pytest

from simbot.physics.kinds import KINDS
from simbot.physics.told import Told
from simbot.scenario.load import load_plan
from simbot.scenario.model import Fuse, Heat
from simbot.scenario.parameters import Quantity
from simbot.studies import one_match
from simbot.studies.one_match import Day, record_of

DEMO = Path(__file__).parents[2] / "scenarios" / "night-market"
WARMS = Heat(1.0, 10.0, 5.0, 500.0, 120.0)  # invented
LEFT = 20  # objects; the records of a match and what they hold on to are above four hundred


@pytest.fixture(scope="module", params=["lanterns", "tins"])
def plan(request):
    return load_plan(DEMO / f"{request.param}.yaml", KINDS)[0]


def test_a_match_of_which_only_points_are_asked_is_the_same_match(plan):
    day, battery = Day(plan, 3, 1), plan.robot.battery[-1]
    for number in range(10, 14):
        trace, plant = day.play(number, battery)
        whole = record_of(plan, number, battery.name, trace, plant, Told.ALL)
        assert any(need.margin_us is not None for need in trace.needs)
        brief = day.play(number, battery, Told.LOSSES)
        assert record_of(plan, number, battery.name, *brief, Told.LOSSES) == whole
        bare = day.play(number, battery, Told.POINTS)
        assert record_of(plan, number, battery.name, *bare, Told.POINTS) == replace(whole, why=None)
        assert [one.move.start_us for one in bare[0].moves] == [one.move.start_us for one in trace.moves]
        unmet = [(need.line, need.at_us) for need in trace.needs if not need.met]
        assert [(need.line, need.at_us) for need in brief[0].needs] == unmet
        assert all(need.position is need.margin_us is None for need in brief[0].needs)
        in_vain, in_brief = (
            [wait for wait in one.waits if wait.cut or wait.missing] for one in (trace, brief[0])
        )
        assert in_brief == in_vain and len(brief[0].waits) < len(trace.waits)


def test_floors_are_those_of_the_match_whether_it_is_told_or_not(plan):
    day, battery = Day(plan, 3, 1), plan.robot.battery[0]
    whole, brief = (day.play(10, battery, told)[0].moves for told in (Told.ALL, Told.LOSSES))
    floors = [(one.move.floor_s(), other.move.floor_s()) for one, other in zip(whole, brief, strict=True)]
    assert sum(one is not None for one, _ in floors) > 50
    for one, other in floors:
        assert one == (None if other is None else pytest.approx(other, abs=1e-9))


def test_what_is_not_told_is_no_number_and_what_something_hangs_on_is_noted(plan):
    def energy(robot, battery, told):
        return Day(replace(plan, robot=robot), 3, 1).play(10, battery, told)[1].energy()

    def drawn(robot, battery):
        return energy(robot, battery, Told.ALL), energy(robot, battery, Told.POINTS)

    robot, battery = plan.robot, plan.robot.battery[-1]
    whole, brief = drawn(robot, battery)
    assert whole > 1000.0 and isnan(brief)
    sags = replace(battery, polarisation=0.01, settling=20.0)
    whole, brief = drawn(robot, sags)
    assert brief == whole > 1000.0  # the bus hangs on the charge
    fused = replace(robot, fuse=Fuse(20.0, 0.5, 0))
    whole, brief = drawn(fused, battery)
    assert whole > 1000.0 and isnan(brief)  # whether it opens changes nothing of the run
    warm = {name: replace(motor, heat=WARMS) for name, motor in robot.motors.items()}
    whole, brief = drawn(replace(robot, motors=warm), battery)
    assert brief == whole > 1000.0  # motors hang on what warms them


def test_a_match_that_is_over_leaves_next_to_nothing_to_the_collector(plan):
    """Of ours and of the events' library: whatever else this process did before may leave something now."""
    day, battery = Day(plan, 3, 2), plan.robot.battery[0]
    for number in (20, 21):  # what the first ones make ready stays
        day.record(number, battery)
    while gc.collect():
        pass
    gc.disable()
    try:
        assert not day.record(21, battery).fault
        gc.set_debug(gc.DEBUG_SAVEALL)
        gc.collect()
        left = [type(each) for each in gc.garbage if type(each).__module__.startswith(("simbot.", "simpy."))]
    finally:
        gc.set_debug(0)
        gc.garbage.clear()
        gc.enable()
    assert len(left) < LEFT, Counter(left)


def test_plans_of_one_robot_share_it_as_it_is_that_day_and_play_as_if_alone(monkeypatch):
    plans = [load_plan(DEMO / f"{name}.yaml", KINDS)[0] for name in ("lanterns", "tins")]
    robot, state = plans[1].robot, plans[1].robot.battery[0]
    assert robot is not plans[0].robot
    first, other = (Day(plan, 3, 1) for plan in plans)
    assert first.models is other.models
    first.record(10, state)
    shared = other.record(10, state)
    wider = replace(robot, mass=Quantity(robot.mass, 2.0 * robot.mass.spread, robot.mass.text))
    days = [Day(plans[1], 3, 2), Day(plans[1], 4, 1), Day(replace(plans[1], robot=wider), 3, 1)]
    assert len({id(day.models) for day in (first, *days)}) == 4
    with ThreadPoolExecutor(1) as pool:
        assert pool.submit(Day, plans[1], 3, 1).result().models is not other.models
    monkeypatch.setattr(one_match._kept, "robots", {})
    alone = Day(plans[1], 3, 1)
    assert alone.models is not other.models and alone.record(10, state) == shared


def test_what_is_not_stated_with_a_spread_is_the_same_every_day(plan):
    robots = [Day(plan, 3, day).models.robot for day in (1, 2)]
    assert robots[0].mass != robots[1].mass and robots[0].motors == robots[1].motors
    one, two = (robot.mechanisms["lift"].values for robot in robots)
    assert [key for key in one if one[key] != two[key]] == ["friction"]
    assert {key for key in one if one[key] is not two[key]} == {"friction"}
    assert list(one) == list(plan.robot.mechanisms["lift"].values)


def test_one_is_no_plural():
    from simbot.analysis.words import counted

    told = [counted(1, "match"), counted(2, "match"), counted(1, "day"), counted(10, "day")]
    assert told == ["1 match", "2 matches", "1 day", "10 days"]
