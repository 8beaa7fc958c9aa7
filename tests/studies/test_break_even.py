"""When the other plan would win: against what can be worked out on paper."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.scenario.model import WaitStep
from simbot.scenario.plan_file import all_steps
from simbot.studies.asked import Asked
from simbot.studies.break_even import break_evens
from simbot.studies.compare import compared
from simbot.studies.ledger import Ledger
from simbot.studies.levers import battery_between, levers_of, with_lost_time, with_success, with_taken

ASKED = Asked(80, 3, ("full",))


def silent(done, total):
    pass


def plan_with(folder, percent, points, repeat=20, name="paper", seconds="0.5 s", by="hand", **more):
    folder.mkdir(exist_ok=True)
    game = {"places": {"box": {"pose": ["1 m", "1 m", "0 deg"], "takes": "ball", "points": points}}}
    steps = [
        pick(by={by: "shut"}),
        wait(seconds),
        place(by={by: "open"}, succeeds=f"{percent} %"),
        wait("0.5 s"),
    ]
    return a_plan(folder, [{"repeat": repeat, "steps": steps}], game=game, name=name, **more)


def found(plans, asked=ASKED):
    with Ledger("compare", plans, asked) as ledger:
        result = compared(ledger, plans, asked, silent)
        return result, break_evens(ledger, result, silent)


def of(evens, quantity, plan):
    return next(one for one in evens.each if quantity in one.quantity and one.plan == plan)


def test_a_success_rate_turns_where_the_means_meet(tmp_path):
    # 20 places of 5 points at p against 20 of 4 points at 0.9: equal at 5 p = 3.6, so p = 0.72
    first = plan_with(tmp_path / "a", 90, 5, name="first")
    second = plan_with(tmp_path / "b", 90, 4, name="second", by="other")
    _, evens = found([second, first])
    assert (evens.leader, evens.behind) == ("first", "second")
    place_rate = of(evens, "place into box", "first")
    assert place_rate.now == 0.9 and not place_rate.above
    low, high = place_rate.interval
    assert low < 0.72 < high and high - low < 0.3 and abs(place_rate.turns_at - 0.72) < 0.06
    # the pick alike: 5 * 0.9 * q = 3.6, so q = 0.8
    pick_rate = of(evens, "pick of ball", "first")
    assert pick_rate.interval[0] < 0.8 < pick_rate.interval[1]
    # 20 places of 4 points at 100 % are 80, the leader has 90: that cannot turn it
    other = of(evens, "place into box", "second")
    assert other.turns_at is None and other.far == 1.0 and other.left == pytest.approx(10.0, abs=4.0)


def test_the_root_of_a_difference_without_chance_is_exact(tmp_path):
    # 100 s, one ball a cycle, 1 s a cycle at 3 points against 2 s a cycle at 5: 300 to 250 at least; the leader's
    # cycle may take 3/5 of the other's rate: 3 / T = 5 / 2, so T = 1.2 s
    first = plan_with(tmp_path / "a", 100, 3, "until period_end", "first")
    second = plan_with(tmp_path / "b", 100, 5, "until period_end", "second", "1.5 s")
    _, evens = found([first, second], Asked(80, 3, ("full",)))
    cycle = of(evens, "cycle time", "first")
    assert cycle.now == pytest.approx(1.0, abs=0.01)
    assert cycle.turns_at == pytest.approx(1.2, abs=0.045)  # 2 % of the 2 s that are searched
    assert cycle.above


def test_the_other_robot_at_the_station(tmp_path):
    # every 10 s somebody stands at the bin for a share u: of the leader's picks those in that time wait, so about
    # 1 - u of them are left; 100 (1 - u) picks of 3 points against 50 of 5 whose bin is the same: both lose alike
    first = plan_with(tmp_path / "a", 100, 3, "until period_end", "first")
    second = plan_with(tmp_path / "b", 100, 5, "until period_end", "second", "1.5 s")
    _, evens = found([first, second])
    assert of(evens, "others at bin", "").far == 0.9
    taken = with_taken(first, "bin", 0.4)
    assert [each.stays_us for each in taken.patterns] == [4_000_000] and with_taken(
        first, "bin", 0.0
    ) is first
    assert with_taken(taken, "bin", 0.2).patterns[0].stays_us == 2_000_000


def test_the_battery_between_two_states(tmp_path):
    states = {
        "fresh": {"open_circuit": "13.8 V", "resistance": "0.1 ohm"},
        "full": {"open_circuit": "13 V", "resistance": "0.2 ohm ± 10 %"},
        "tired": {"open_circuit": "12 V", "resistance": "0.3 ohm"},
    }
    plan = plan_with(tmp_path / "a", 90, 5, robot={"battery": {"states": states}})
    battery = plan.robot.battery
    between = battery_between(battery, 1.5, "full")
    assert (between.name, between.open_circuit, between.resistance) == ("full", 12.5, pytest.approx(0.25))
    assert between.resistance.spread == pytest.approx(0.01)
    assert battery_between(battery, 2.0, "x").open_circuit == 12.0
    levers = [lever for lever in levers_of(plan, replace(plan), "full", 1.0) if lever.unit == "battery"]
    assert [(lever.now, lever.far) for lever in levers] == [(1.0, 0.0), (1.0, 2.0)]


def test_lost_time_stands_before_places_outside_the_endgame(tmp_path):
    end = [pick(), wait("0.3 s"), place(), wait("0.3 s")]
    endgame = {"begin": "20 s before_end", "steps": end}
    plan = plan_with(tmp_path / "a", 90, 5, endgame=endgame)
    slower = with_lost_time(plan, 0.25)
    lost = [step for step in all_steps(slower) if isinstance(step, WaitStep) and step.duration_us == 250_000]
    assert len(lost) == 1 and slower.endgame is plan.endgame
    surer = with_success(plan, next(iter({lost[0].line})), 0.97)
    assert surer != plan


def test_the_same_seed_finds_the_same_values_on_any_number_of_workers(tmp_path):
    plans = [plan_with(tmp_path / str(percent), percent, 5, 6, f"sure {percent}") for percent in (80, 70)]
    one = found(plans)[1]
    two = found(plans, replace(ASKED, workers=2))[1]
    assert one == two and json.dumps(one.ahead) == json.dumps(two.ahead)
