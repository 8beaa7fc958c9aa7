"""When the other plan would win: against what can be worked out on paper."""

from __future__ import annotations

import io
import json
from dataclasses import replace

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.report.compared import print_compared
from simbot.report.turned import break_even_lines, break_even_rows, in_words
from simbot.scenario.model import WaitStep
from simbot.scenario.plan_file import all_steps
from simbot.studies import ledger
from simbot.studies.asked import Asked
from simbot.studies.break_even import FINEST, Look, Looks, break_evens
from simbot.studies.compare import compared
from simbot.studies.further import Further
from simbot.studies.ledger import Ledger
from simbot.studies.levers import Lever, battery_between, levers_of, with_lost_time, with_success, with_taken

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
    # hits and misses are all the luck there is, and known: so is the value
    assert place_rate.interval == pytest.approx((0.72, 0.72), abs=1e-6)
    assert place_rate.turns_at == pytest.approx(0.72, abs=0.01)
    # the pick alike: 5 * 0.9 * q = 3.6, so q = 0.8
    pick_rate = of(evens, "pick of ball", "first")
    assert pick_rate.turns and pick_rate.interval[0] < pick_rate.turns_at < pick_rate.interval[1]
    assert pick_rate.interval[0] < 0.8 < pick_rate.interval[1]
    # 20 places of 4 points at 100 % are 80, the leader has 90: that cannot turn it
    other = of(evens, "place into box", "second")
    assert other.turns_at is None and other.far == 1.0 and other.left == pytest.approx(10.0, abs=4.0)


def test_the_root_of_a_difference_without_chance_is_exact(tmp_path):
    # 50 s, one ball a cycle, 1 s a cycle at 3 points against 2 s a cycle at 5: 150 to 125 at least; the leader's
    # cycle may take 3/5 of the other's rate: 3 / T = 5 / 2, so T = 1.2 s
    first = plan_with(tmp_path / "a", 100, 3, "until period_end", "first", lasts="50 s")
    second = plan_with(tmp_path / "b", 100, 5, "until period_end", "second", "1.5 s", lasts="50 s")
    _, evens = found([first, second], Asked(80, 3, ("full",)))
    cycle = of(evens, "cycle time", "first")
    assert cycle.now == pytest.approx(1.0, abs=0.01)
    assert cycle.turns_at == pytest.approx(1.2, abs=0.045)  # 2 % of the 2 s that are searched
    assert cycle.above


def test_the_cycle_time_as_it_is_is_that_of_all_matches(tmp_path):
    # the stopwatch time varies, so that the matches that are played again have other cycles than all have
    hands = {name: {"kind": "measured", "time": "0.5 s ± 0.4 s"} for name in ("hand", "other")}
    robot = {"mechanisms": hands}
    more = {"robot": robot, "lasts": "30 s"}
    first = plan_with(tmp_path / "a", 100, 3, "until period_end", "first", "arrival", **more)
    second = plan_with(tmp_path / "b", 100, 5, "until period_end", "second", "1.5 s", **more)
    result, evens = found([first, second], Asked(80, 3, ("full",)))
    leader = next(side for side in result.sides if side.plan.name == evens.leader)
    cycle = of(evens, "cycle time", evens.leader)
    assert cycle.now == pytest.approx(leader.cycle_time_s, rel=1e-12)
    assert evens.runs < leader.points.runs


class Steps:
    """Differences that jump, in place of matches."""

    def __init__(self, jumps, half):
        self.jumps, self.half = jumps, half

    def at(self, lever, value):
        return Look(value, next(ahead for end, ahead in self.jumps if value < end), self.half)


@pytest.mark.parametrize("half", [0.0, 0.3])
@pytest.mark.parametrize("place", [0.031, 0.4105, 0.77, 1.234, 2.9])
def test_where_the_difference_jumps_the_value_is_inside_its_bracket_and_the_jump_too(place, half):
    lever = Lever("allowance", "first", "%", 0.0, 3.0, lambda value: ())
    for jumps in (
        [(place, 2.0), (9.0, -1.0)],
        [(place, 0.7), (place + 0.05, -0.6), (2.95, -5.0), (9.0, -15.0)],
        [(place / 2, 20.0), (place, 0.4), (9.0, -3.0)],
    ):
        looks = Looks(Steps(jumps, half), lever)
        looks.search()
        told = looks.told()
        low, high = told.interval
        assert low <= told.turns_at <= high and low < place <= high
        assert abs(told.turns_at - place) <= FINEST * 3.0
        # the ends were tried: the one is before it turns, the other is behind
        assert looks.looks[low].ahead > half and looks.looks[high].ahead < -half


def test_one_delivery_less_turns_it(tmp_path):
    # 100 s; about 10 s a cycle at 3 points against 20 s at 5 points, 5 times: 25 points. The leader's ninth
    # delivery, 27 points, comes in time as long as a cycle takes no longer than 100 s / 9; with eight it has 24
    first = plan_with(tmp_path / "a", 100, 3, "until period_end", "first", "9.5 s")
    second = plan_with(tmp_path / "b", 100, 5, "until period_end", "second", "19 s")
    _, evens = found([first, second], Asked(40, 3, ("full",)))
    cycle = of(evens, "cycle time", "first")
    assert cycle.interval[0] <= cycle.turns_at <= cycle.interval[1]
    assert cycle.turns_at == pytest.approx(100 / 9, abs=0.25)


def test_the_other_robot_at_the_station(tmp_path):
    # every 10 s somebody stands at the bin for a share u: of the leader's picks those in that time wait, so about
    # 1 - u of them are left; 40 (1 - u) picks of 3 points against 20 of 5 whose bin is the same: both lose alike
    first = plan_with(tmp_path / "a", 100, 3, "until period_end", "first", lasts="40 s")
    second = plan_with(tmp_path / "b", 100, 5, "until period_end", "second", "1.5 s", lasts="40 s")
    _, evens = found([first, second])
    assert of(evens, "others at bin", "").far == 0.9
    taken = with_taken(first, "bin", 0.4)
    assert [each.stays_us for each in taken.patterns] == [4_000_000] and with_taken(
        first, "bin", 0.0
    ) is first
    assert with_taken(taken, "bin", 0.2).patterns[0].stays_us == 2_000_000


def sometimes(folder, percent, name, by="hand"):
    """Picks and places by chance, so that points are no straight line of hits and misses; nothing brings one more."""
    folder.mkdir(exist_ok=True)
    never = place(by={by: "open"}, succeeds="0.1 %")
    steps = [
        pick(by={by: "shut"}, succeeds="60 %"),
        wait("0.3 s"),
        place(by={by: "open"}, succeeds=f"{percent} %"),
    ]
    rare = [pick(by={by: "shut"}), wait("0.3 s"), never]
    return a_plan(folder, [{"repeat": 8, "steps": [*steps, wait("0.3 s")]}, *rare], name=name)


def test_what_noise_hides_is_said_in_words_and_no_value_is_given(tmp_path):
    first, second = (sometimes(tmp_path / by, 60, by, by) for by in ("hand", "other"))
    result, evens = found([first, second])
    assert not result.pairs[0].difference.sure
    rate = next(
        one for one in evens.each if one.quantity.startswith("place into box (line") and one.now == 0.6
    )
    assert rate.from_now and not rate.turns and not rate.never and rate.interval is not None
    assert rate.now in rate.interval
    assert f"{evens.behind} may win already as it is (60 %)" in in_words(rate, evens)
    rows = break_even_rows(evens)
    assert all(row["turns_at"] is None for row in rows if not row["told"]) and not all(
        row["told"] for row in rows
    )
    text = "\n".join(break_even_lines(Further(evens)))
    assert (
        "Where these turn it, or whether, so few matches cannot tell" in text
        and max(map(len, text.splitlines())) <= 80
    )


def test_a_quantity_that_moves_next_to_nothing_has_no_break_even_of_its_own(tmp_path):
    # 8 rounds of which 0.6 * 0.9 against 0.6 * 0.5 bring a point; a place that comes to nothing at 0.1 % anyway
    first, second = sometimes(tmp_path / "a", 90, "first"), sometimes(tmp_path / "b", 50, "second", "other")
    result, evens = found([first, second])
    assert result.pairs[0].difference.sure and evens.leader == "first"
    rare = next(one for one in evens.each if one.plan == "first" and one.now == 0.001)
    assert rare.never and rare.turns_at is None and rare.left == pytest.approx(evens.ahead, abs=0.2)
    # at 1 it would turn: 0.6 * 0.5 -> 0.6 a round are 2.4, the difference is 8 * 0.6 * 0.4 = 1.92; so at 0.9
    own = next(one for one in evens.each if one.plan == "second" and one.now == 0.5)
    assert own.interval[0] < 0.9 < own.interval[1] and own.above


def test_break_evens_that_were_stopped_name_what_is_missing_and_go_on(tmp_path, monkeypatch):
    monkeypatch.setattr(ledger, "place_of_rows", lambda *what: tmp_path / "kept.json")
    plans = [plan_with(tmp_path / "a", 90, 5, name="first"), plan_with(tmp_path / "b", 90, 4, name="second")]
    _, whole = found(plans)

    def stop(done, total):
        if total - done < 150:
            raise KeyboardInterrupt

    with Ledger("compare", plans, ASKED) as book:
        result = compared(book, plans, ASKED, silent)
        part = break_evens(book, result, stop)
    assert part.missing and len(part.missing) + len(part.each) == len(whole.each)
    assert all(one in whole.each for one in part.each)
    text = "\n".join(break_even_lines(Further(part, stopped=True)))
    assert all(name in text for name in part.missing)
    assert found(plans)[1] == whole


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


def test_of_plans_that_score_the_same_in_every_match_it_says_so_and_nothing_turns(tmp_path):
    plans = [plan_with(tmp_path / name, 90, 5, 6, name) for name in ("first", "second")]
    result, evens = found(plans, replace(ASKED, runs=20))
    assert evens.equal and evens.each == () and evens.runs == 0 and break_even_rows(evens) == []
    text = io.StringIO()
    print_compared(result, text, Further(evens))
    assert text.getvalue().startswith(
        "first and second are equal: they score the same in each of 20 matches."
    )
    told = " ".join(text.getvalue().split())
    assert "first and second score the same in every match" in told
    assert "may win already" not in told and "ahead" not in told
