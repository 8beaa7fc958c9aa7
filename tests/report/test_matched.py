"""What `simbot match` prints of two robots, and of where points are lost."""

from __future__ import annotations

import json
from dataclasses import replace
from io import StringIO
from math import inf
from types import SimpleNamespace

import jsonschema
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.api import run
from simbot.physics.told import Told
from simbot.report.document import schema_text
from simbot.report.match_document import match_document
from simbot.report.matched import WIDTH, print_matched
from simbot.report.terminal import print_run
from simbot.routine.match import play
from simbot.scenario.model import Driver
from simbot.studies.asked import Asked
from simbot.studies.left_to_chance import left_to_chance
from simbot.studies.lost import account_of
from simbot.studies.match import study
from simbot.studies.one_match import ORDER_BROKEN, record_of, run_of_match
from simbot.studies.statistics import Figure
from simbot.studies.time_lost import seconds_of, time_lost


def played(plan, runs=100):  # type: ignore[no-untyped-def]
    """The study, and what is printed of it as one line."""
    result = study(plan, Asked(runs, 3, ("full",)), lambda done, total: None)
    out = StringIO()
    print_matched(result, out)
    assert all(len(line) <= WIDTH for line in out.getvalue().splitlines())
    return result, out.getvalue()


def test_long_names_keep_to_80_columns(tmp_path):
    """`played` looks at every line."""
    name = "a plan with quite a long name that people would write on an evening before"
    _, said = played(a_plan(tmp_path, [wait("1 s")], name=name), runs=10)
    assert f"{name} of Stall, Paper; battery full" in " ".join(said.split())


def test_what_is_left_over_is_no_minus_zero(tmp_path):
    result, _ = played(a_plan(tmp_path, [wait("1 s")]), runs=10)
    out = StringIO()
    rest = {"in autonomous": Figure(-0.04, (-0.049, 0.0))}
    print_matched(replace(result, rest=-0.04, periods=rest), out)
    assert "-0.0" not in out.getvalue() and "all else: left out, no bonus" in out.getvalue()


def test_points_of_two_robots_are_told_apart_and_add_up(tmp_path):
    a_plan(tmp_path, [pick(succeeds="50 %"), wait("0.3 s"), place(), wait("0.3 s")])
    (tmp_path / "plan.yaml").rename(tmp_path / "second.yaml")
    steps = [{"repeat": 3, "steps": [pick(), wait("0.3 s"), place(), wait("0.3 s")]}]
    result, said = played(a_plan(tmp_path, steps, others={"friend": {"plan": "second.yaml"}}))
    assert "points a match of both robots together" in " ".join(said.split())
    own = result.periods["only"].value
    assert own == 3.0 and 0.0 < result.second.value < 1.0
    assert own + result.second.value == pytest.approx(result.points.mean.value)
    rows = {one.reason: one.points for one in result.lost}
    assert rows == pytest.approx({"what the second robot earns less": 1.0 - result.second.value})
    assert result.rest == pytest.approx(0.0, abs=1e-9)
    document = json.loads(json.dumps(match_document(result)))
    jsonschema.Draft202012Validator(json.loads(schema_text("match"))).validate(document)
    assert document["partner_points"]["value"] == pytest.approx(result.second.value)


def test_the_command_that_plays_a_match_again_has_all_that_it_hangs_on(tmp_path):
    full = {"open_circuit": "13 V", "resistance": "0.1 ohm"}
    states = {"fresh": full, "mid-event": full, "tired": full}
    steps = [pick(succeeds="50 %"), wait("0.3 s"), place(), wait("0.3 s")]
    plan = a_plan(tmp_path, steps, robot={"battery": {"states": states}})

    def said(states, settings=()):
        result, out = study(plan, Asked(20, 3, states), lambda done, total: None), StringIO()
        print_matched(result, out, settings)
        return " ".join(out.getvalue().split())

    assert "simbot run PLAN --match K --seed 3, K " in said(("mid-event",))
    mixed = said(("fresh", "tired", "tired"), ["robot.mass=6 kg"])
    assert "--match K --seed 3 --battery fresh:1,tired:2 --set 'robot.mass=6 kg', K " in mixed


def test_of_one_robot_nothing_is_said_of_a_second(tmp_path):
    result, said = played(a_plan(tmp_path, [pick(), wait("0.3 s"), place(), wait("0.3 s")]), 20)
    assert result.second is None and "both" not in said and "second" not in said


REACTED = {"when": {"holds": {"hand": "nothing"}}, "do": [{"leave": "repeat"}]}
SHUT = {"move": {"hand": "open"}}


def lost(result):  # type: ignore[no-untyped-def]
    """Points by reason; that they never claim more than is lost holds of all of them."""
    rows = {one.reason: one.points for one in result.lost}
    below = result.nominal - result.points.mean.value
    assert all(points >= 0.0 for points in rows.values()) and sum(rows.values()) <= max(below, 0.0) + 1e-9
    assert sum(rows.values()) + result.rest == pytest.approx(below)
    return rows


def test_where_nothing_is_unknown_days_differ_by_luck_alone(tmp_path):
    # ten tries at 80 % a match and no spread: sd 1.265 (binomial), whatever the days happen to look like
    steps = [{"repeat": 10, "steps": [pick(), wait("0.3 s"), place(succeeds="80 %"), wait("0.3 s")]}]
    result, said = played(a_plan(tmp_path, steps), runs=300)
    assert (result.points.ignorance_sd, result.points.ignorance_most) == (0.0, None)
    assert result.points.luck_sd == result.points.sd.value == pytest.approx(1.265, rel=0.15)
    assert "nothing in it comes from what is not known of the robot" in " ".join(said.split())
    spread = [{"repeat": 10, "steps": [pick(), wait("0.3 s"), place(succeeds="80 % ± 9 %"), wait("0.3 s")]}]
    result, said = played(a_plan(tmp_path, spread), runs=300)
    assert result.points.ignorance_sd > 0.0


@pytest.mark.parametrize(("game", "rows"), [({}, ["only"]), ({"endgame": "10 s"}, ["only", "endgame"])])
def test_points_in_the_endgame_are_told_where_the_game_has_one(tmp_path, game, rows):
    """There they may be none, and are told then too."""
    steps = [pick(), wait("0.3 s"), place(succeeds="50 %"), wait("0.3 s")]
    result, said = played(a_plan(tmp_path, steps, game=game), 20)
    assert list(result.periods) == rows
    assert ("in endgame" in said) == ("endgame" in rows)


def test_quantiles_that_fall_together_are_all_marked(tmp_path):
    # nine in ten and more score 2: it is every quantile, and the threshold
    result = study(
        a_plan(tmp_path, [{"repeat": 2, "steps": [pick(), wait("0.3 s"), place(), wait("0.3 s")]}]),
        Asked(20, 3, ("full",), threshold=2.0),
        lambda done, total: None,
    )
    out = StringIO()
    print_matched(result, out)
    assert "<- p10, median, p90, threshold 2" in out.getvalue()


def test_a_miss_that_the_plan_reacts_to_is_listed_as_a_miss(tmp_path):
    # one round of one pick, in 10 turns: every miss is one ball less, 10 (1 - p) of 10
    inner = {
        "repeat": 1,
        "steps": [pick(succeeds="60 %"), wait("arrival"), REACTED, place(), wait("arrival")],
    }
    result, said = played(a_plan(tmp_path, [{"repeat": 10, "steps": [inner, SHUT, wait("arrival")]}]))
    rows = lost(result)
    assert rows == pytest.approx({"missed: the pick missed": 10.0 - result.points.mean.value})
    assert 3.0 < rows["missed: the pick missed"] < 5.0 and result.rest == pytest.approx(0.0, abs=1e-9)
    assert "Most is lost to: missed: the pick missed." in " ".join(said.split())


def test_what_follows_from_a_miss_is_not_claimed_to_be_known(tmp_path):
    # a miss ends the whole plan: one ball is the miss, the rest is what was left out after it
    inner = {
        "repeat": 10,
        "steps": [pick(succeeds="60 %"), wait("arrival"), REACTED, place(), wait("arrival")],
    }
    result, said = played(a_plan(tmp_path, [inner]))
    assert lost(result)["missed: the pick missed"] <= 1.0 < result.rest
    assert "Most that can be told apart is lost to: missed: the pick missed." in " ".join(said.split())


def test_only_the_last_try_of_several_is_a_ball_lost(tmp_path):
    once = {"try": [pick(succeeds="50 %"), wait("arrival"), place(), wait("arrival")], "tries": 3}
    result, _ = played(a_plan(tmp_path, [{"repeat": 8, "steps": [SHUT, wait("arrival"), once]}]))
    assert lost(result) == pytest.approx({"missed: the pick missed": 8.0 - result.points.mean.value})
    assert result.rest == pytest.approx(0.0, abs=1e-9)


def test_a_look_that_sees_nothing_is_listed(tmp_path):
    look = {"sense": "eye", "every": "100 ms", "latency": "0 ms", "sees": "30 %", "at_most": "300 ms"}
    seen = {"when": {"seen": "eye"}, "do": [pick(), wait("0.3 s"), place(), wait("0.3 s")]}
    result, _ = played(a_plan(tmp_path, [{"repeat": 10, "steps": [look, seen]}]))
    assert lost(result) == pytest.approx({"eye: nothing seen": 10.0 - result.points.mean.value})
    assert result.points.mean.value < 8.0


def test_time_counts_no_points_where_there_is_enough_of_it(tmp_path):
    # 10 rounds of some seconds in 100 s: what is lost is the balls of the picks that missed all three times
    steps = [pick(succeeds="60 %", tries=3, each="500 ms"), wait("0.3 s"), place(), wait("0.3 s")]
    result, _ = played(a_plan(tmp_path, [{"repeat": 10, "steps": steps}]))
    rows = lost(result)
    assert rows.pop("tried again") == 0.0
    assert rows == pytest.approx({"missed: the pick missed": 10.0 - result.points.mean.value})
    assert next(one.seconds for one in result.lost if one.reason == "tried again") > 1.0


def test_penalties_count_as_they_are_and_before_what_only_would_have_earned(tmp_path):
    # what falls comes back to a bin of two, and both are delivered in the end: only the penalties are lost
    game = {
        "elements": {"ball": {"when_dropped": "bin"}},
        "stations": {"bin": {"pose": ["1 m", "1 m", "0 deg"], "gives": "ball", "stock": 2}},
        "penalties": {"dropped": 3},
    }
    steps = [pick(), wait("arrival"), place(succeeds="50 %"), wait("arrival")]
    result, _ = played(a_plan(tmp_path, [{"repeat": "until period_end", "steps": steps}], game=game))
    rows = lost(result)
    assert result.nominal == 2.0 and rows["dropped: the place missed"] < 0.1 < 1.0 < rows["penalties"]


def test_time_that_the_nominal_run_waits_too_is_not_told_as_lost(tmp_path):
    game = {
        "stations": {
            "bin": {"pose": ["1 m", "1 m", "0 deg"], "gives": "ball", "stock": 1, "refill": "1 per 9 s"}
        }
    }
    steps = [pick(), wait("0.3 s"), place(), wait("0.3 s")]
    plan = a_plan(tmp_path, [{"repeat": "until period_end", "steps": steps}], game=game)
    result, _ = played(plan, 20)
    assert any(record.losses.waited_s for record in result.records)
    assert lost(result) == {}


def test_a_pick_that_closed_on_nothing_is_not_called_too_early(tmp_path):
    plan = a_plan(tmp_path, [pick(succeeds="0 %"), wait("0.5 s"), place(), wait("0.3 s")])
    result, out = run_of_match(plan, 1, 0, plan.robot.battery[0]), StringIO()
    print_run(result, result.states[0], out)
    assert "hand took nothing: missed" in out.getvalue()
    assert "0 ms too early" not in out.getvalue() and "has not closed" not in out.getvalue()


def test_a_hand_over_from_an_empty_hand_is_not_called_too_early(tmp_path):
    give = {"hand_over": {"from": "hand", "by": {"other": "shut"}, "else": "missed"}}
    result, out = run(a_plan(tmp_path, [give, wait("0.5 s")])), StringIO()
    print_run(result, result.states[0], out)
    assert "other took nothing: missed" in out.getvalue() and "ms too early" not in out.getvalue()


def test_a_pick_that_is_left_too_soon_is_still_called_too_early(tmp_path):
    result, out = run(a_plan(tmp_path, [pick(), wait("0.1 s"), place(), wait("0.3 s")])), StringIO()
    print_run(result, result.states[0], out)
    assert "hand has not closed, 100 ms too early: missed" in out.getvalue()


def test_a_wait_whose_limit_runs_out_is_told_and_is_not_clean(tmp_path):
    move = {"move": {"hand": "shut"}}
    result, said = played(a_plan(tmp_path, [move, {"wait": "arrival", "at_most": "50 ms"}]), 20)
    assert result.clean.value == 0.0 and set(result.stood.values()) == {1.0}
    assert "In 100 % of the matches a limit ran out before the hand had arrived, line 6." in " ".join(
        said.split()
    )
    document = json.loads(json.dumps(match_document(result)))
    assert document["stood_still_lines"] == {"a limit ran out before the hand had arrived": [6]}
    assert list(document["stood_still"]) == list(document["stood_still_lines"])
    jsonschema.Draft202012Validator(json.loads(schema_text("match"))).validate(document)


def test_a_wait_that_the_end_of_the_match_cuts_is_clean(tmp_path):
    rounds = [{"move": {"hand": to}} if to else {"wait": "arrival"} for to in ("shut", "", "open", "")]
    result, said = played(
        a_plan(tmp_path, [{"repeat": "until period_end", "steps": rounds}], lasts="1.1 s"), 20
    )
    assert result.clean.value == 1.0 and not result.stood and "arrived" not in said


def test_what_an_allowance_leaves_no_time_for_is_listed_as_such(tmp_path):
    # rounds of 2 s in 20 s; a person takes twice as long, and comes to half of the places
    steps = [pick(), wait("1 s", allowance="100 %"), place(), wait("1 s", allowance="100 %")]
    result, said = played(
        a_plan(tmp_path, [{"repeat": "until period_end", "steps": steps}], lasts="20 s"), 20
    )
    assert (result.nominal, result.points.mean.value) == (10.0, 5.0)
    assert lost(result) == {"ran out of time": 5.0}
    assert "Most is lost to: ran out of time." in " ".join(said.split())
    # the last of ten waits is cut by the end
    assert result.added_s == pytest.approx({"allowances": 9.0, "reactions": 0.0}, abs=0.02)
    assert "in the waits of a match are 9.0 s of allowances" in " ".join(said.split())


def test_a_hand_over_that_misses_is_called_one(tmp_path):
    give = {"hand_over": {"from": "hand", "by": {"other": "shut"}, "succeeds": "50 %"}}
    put = {"place": {"into": "box", "by": {"other": "open"}}}
    result, _ = played(a_plan(tmp_path, [pick(), wait("0.3 s"), give, wait("0.3 s"), put, wait("0.3 s")]), 40)
    assert lost(result) == {"dropped: the hand over missed": 1.0 - result.points.mean.value}


def test_places_that_a_plan_leaves_out_have_not_run_out_of_time(tmp_path):
    look = {"sense": "eye", "every": "100 ms", "sees": "50 %", "at_most": "100 ms"}
    seen = {"when": {"seen": "eye"}, "do": [pick(), wait("0.5 s"), place(), wait("0.5 s")]}
    result, _ = played(a_plan(tmp_path, [look, seen]), 40)
    assert lost(result) == pytest.approx({"eye: nothing seen": 1.0 - result.points.mean.value})


def test_of_elements_that_are_placed_together_each_is_lost(tmp_path):
    grab = [pick(), wait("0.3 s"), {"move": {"hand": "ajar"}}, wait("0.3 s")]
    plan = a_plan(tmp_path, [{"repeat": 3, "steps": grab}, place(succeeds="50 %"), wait("0.3 s")])
    result, _ = played(plan, 40)
    assert result.nominal == 3.0 and lost(result) == {
        "dropped: the place missed": 3.0 - result.points.mean.value
    }


def rows_of(said, start):
    return [line.strip() for line in said.splitlines() if line.startswith(f"  {start}")]


def test_a_reason_of_lost_points_names_its_lines(tmp_path):
    look = {"sense": "eye", "every": "100 ms", "sees": "50 %", "at_most": "100 ms"}
    steps = [
        pick(succeeds="50 %"), wait("0.3 s"), place(succeeds="80 %"), wait("0.3 s"),
        {"move": {"hand": "open"}}, wait("arrival"), pick(succeeds="50 %"), wait("0.3 s"), place(), wait("0.3 s"),
        look, {"move": {"other": "up"}}, {"wait": "arrival", "at_most": "50 ms"},
    ]  # fmt: skip
    plan = a_plan(tmp_path, steps)
    text = (tmp_path / "plan.yaml").read_text().splitlines()
    picks, places = (
        [n for n, line in enumerate(text, 1) if f"{what}:" in line] for what in ("pick", "place")
    )
    limit = next(n for n, line in enumerate(text, 1) if "at_most: 50 ms" in line)
    result, said = played(plan, 40)
    assert rows_of(said, "missed")[0].startswith(f"missed: the pick missed, lines {picks[0]}, {picks[1]}  ")
    assert rows_of(said, "dropped")[0].startswith(f"dropped: the place missed, line {places[0]}  ")
    assert f"a limit ran out before the other had arrived, line {limit}." in " ".join(said.split())
    lines = {one["reason"]: one["lines"] for one in match_document(result)["lost"]}
    assert lines["missed: the pick missed"] == picks and lines["dropped: the place missed"] == places[:1]
    jsonschema.Draft202012Validator(json.loads(schema_text("match"))).validate(
        json.loads(json.dumps(match_document(result)))
    )


def test_of_many_lines_as_many_are_told_as_there_is_room_for(tmp_path):
    rounds = [pick(), wait("0.3 s"), place(succeeds="70 %"), wait("0.3 s")] * 12
    result, said = played(a_plan(tmp_path, rounds), 40)
    assert len(result.lines["dropped: the place missed"]) == 12
    first, second, *_ = result.lines["dropped: the place missed"]
    told = f"dropped: the place missed, lines {first}, {second} and more"
    assert rows_of(said, "dropped")[0].split("  ")[0] == told


def test_what_befell_no_step_names_none(tmp_path):
    steps = [pick(), wait("1 s", allowance="100 %"), place(), wait("1 s", allowance="100 %")]
    result, said = played(
        a_plan(tmp_path, [{"repeat": "until period_end", "steps": steps}], lasts="20 s"), 20
    )
    assert rows_of(said, "ran out of time")[0].startswith("ran out of time  ")
    assert [one["lines"] for one in match_document(result)["lost"]] == [[]]


MOTOR = {"voltage": "12 V", "free_speed": "5300 rpm", "free_current": "1.5 A", "stall_current": "40 A"}
LIFT = {"kind": "slide", "motors": "2 x big", "gearing": [{"ratio": "12:1", "efficiency": "80 %"}],
        "drum_diameter": "40 mm", "moving_mass": "3 kg", "travel": ["0 m", "0.8 m"],
        "control": {"loop": "full_effort", "window": "10 mm"}}  # fmt: skip
START = {"hand": "open", "other": "open", "lift": "0 m"}


def with_lift(folder, steps, lift=None, game=None, first=None, holds=None, **robot):  # type: ignore[no-untyped-def]
    hands = {name: {"kind": "measured", "time": "0.2 s"} for name in ("hand", "other")}
    motor = {**MOTOR, "rotor_inertia": "6e-5 kg*m^2", "internal_ratio": 1}
    robot = {"motors": {"big": motor}, "mechanisms": {**hands, "lift": {**LIFT, **(lift or {})}}, **robot}
    more = {} if first is None else {"first": first}
    start = {**START, "holds": holds} if holds else START
    return a_plan(folder, steps, lasts="10 s", start=start, robot=robot, game=game, **more)


def record(plan):  # type: ignore[no-untyped-def]
    trace, plant = play(plan, plan.robot.battery[0])
    return record_of(plan, 0, "full", trace, plant, Told.LOSSES)


def test_a_stall_is_told_with_what_it_costs(tmp_path):
    # 900 N of friction are more than the two motors bring, so it stands from the first instant to the limit of 2 s
    up, limit = {"move": {"lift": "0.5 m"}}, {"wait": "arrival", "at_most": "2 s"}
    needs = {"lift": "0.5 m within 20 mm"}
    one = record(
        with_lift(tmp_path, [up, limit, pick(), wait("0.3 s"), place(needs=needs)], {"friction": "900 N"})
    )
    assert one.losses.lost == {"stalled: the lift never got there": 1.0} and not one.losses.clean
    assert one.losses.waited_s == {"stalled: stood for the lift": pytest.approx(2.0, abs=0.01)}


def test_a_reset_of_the_program_costs_the_rest_of_its_routine_and_fails(tmp_path):
    resets = {"below": "12 V", "back_above": "12.5 V", "back_after": "1 s", "stops": "program"}
    up = {"move": {"lift": "0.5 m"}}
    plan = with_lift(
        tmp_path, [wait("4 s", **{"for": "stagger"}), up, wait("arrival")], brown_out={"controller": resets}
    )
    one = record(plan)
    assert list(one.losses.waited_s) == ["browned out: the controller"] and not one.losses.clean
    assert 5.9 < one.losses.waited_s["browned out: the controller"] <= 6.0
    assert run(plan).failing_states == ("full",)
    driven = replace(plan, driver=Driver(0, ("only",)))
    # again from 5 s on, and off again from 9 s to the end
    assert record(driven).losses.waited_s["browned out: the controller"] == pytest.approx(2.0, abs=0.03)


def test_a_routine_is_lost_once_however_often_its_program_resets(tmp_path):
    """Off twice for 1 s in the 10 s of its period, the first time at 4 s; so is a hub, which stops it as well."""
    resets = {"below": "12 V", "back_above": "12.5 V", "back_after": "1 s", "stops": "program"}
    up = {"move": {"lift": "0.5 m"}}
    steps = [wait("4 s", **{"for": "stagger"}), up, wait("arrival")]
    plan = with_lift(tmp_path, steps, brown_out={"controller": resets, "hub": resets})
    trace, plant = play(plan, plan.robot.battery[0])
    lost = seconds_of(time_lost(plan, trace, plant))
    assert lost == pytest.approx({"browned out: the controller": 6.0, "browned out: the hub": 1.0}, abs=0.01)
    for spells in ([(4.0, 5.0), (7.0, 8.0)], [(4.0, 5.0), (9.5, inf)]):
        told = [(plan.robot.resets[0], (), spells)]
        often = SimpleNamespace(now_us=plant.now_us, off_spells=lambda told=told: told)
        assert seconds_of(time_lost(plan, replace(trace, waits=()), often)) == pytest.approx(
            {"browned out: the controller": 6.0}, abs=0.01
        )
    over = SimpleNamespace(now_us=plant.now_us, off_spells=lambda: [(plan.robot.resets[0], (), [(7.0, 8.0)])])
    # of a routine that was through nothing is lost but the time in which its program was off
    assert seconds_of(time_lost(plan, replace(trace, waits=(), cuts=()), over)) == {
        "browned out: the controller": 1.0
    }


def test_what_begins_in_a_periods_first_instant_is_booked_on_that_period(tmp_path):
    """A look, a reset, a place too early, and what a drop costs, each as the second period begins."""
    box = {"pose": ["1 m", "1 m", "0 deg"], "takes": "ball", "points": {"first": 5, "only": 2}}
    game = {"periods": {"first": "2 s", "only": "8 s"}, "places": {"box": box}, "penalties": {"dropped": 3}}

    look = {"sense": "eye", "of": "bin", "every": "100 ms", "at_most": "100 ms"}
    empty = {"bin": {"pose": ["1 m", "1 m", "0 deg"], "gives": "ball", "stock": 0}}
    plan = with_lift(tmp_path, [look, place()], game={**game, "stations": empty}, first=[wait("1 s")])
    trace, _ = play(plan, plan.robot.battery[0])
    assert trace.waits[1].began_us == 2_000_000
    assert "first" not in account_of(plan, trace).reached

    early = place(needs={"other": "down"})
    plan = with_lift(tmp_path, [early], game=game, first=[wait("1 s")], holds={"hand": "ball"})
    trace, _ = play(plan, plan.robot.battery[0])
    assert trace.places[0].at_us == trace.awards[0].at_us == 2_000_000
    assert account_of(plan, trace).lost == {"dropped: acted too early": 2.0, "penalties": 3.0}
    assert [one.period for one in trace.awards] == ["only"]

    resets = {"below": "12 V", "back_above": "12.5 V", "back_after": "1 s", "stops": "program"}
    up = [{"move": {"lift": "0.5 m"}}, wait("arrival")]
    plan = with_lift(tmp_path, up, brown_out={"controller": resets}, game=game, first=[wait("1 s")])
    trace, plant = play(plan, plan.robot.battery[0])
    assert plant.off_spells()[0][2][0][0] == pytest.approx(2.0, abs=1e-6)
    assert seconds_of(time_lost(plan, trace, plant))["browned out: the controller"] == pytest.approx(
        8.0, abs=0.01
    )


def test_a_routine_that_waits_for_its_program_ends_with_its_period(tmp_path):
    # off from 1.5 s to 2.5 s, over the end of its period: what then begins is the next period's routine alone
    resets = {"below": "12 V", "back_above": "12.5 V", "back_after": "1 s", "stops": "program"}
    plan = with_lift(
        tmp_path,
        [{"move": {"other": "up"}}, wait("arrival")],
        brown_out={"controller": resets},
        game={"periods": {"first": "2 s", "only": "8 s"}},
        first=[wait("1.5 s", **{"for": "stagger"}), {"move": {"lift": "0.5 m"}}, wait("arrival")],
    )
    trace, _ = play(replace(plan, driver=Driver(0, ("first", "only"))), plan.robot.battery[0])
    assert [(one.move.mechanism, one.move.start_us) for one in trace.moves] == [
        ("lift", 1_500_000),
        ("other", 2_500_000),
    ]


def test_what_is_only_told_is_a_row_that_costs_nothing(tmp_path):
    order = [{"mechanism": "other", "may_move_when": {"lift": "above 0.4 m"}}]
    steps = [{"move": {"lift": "0.5 m", "other": "up"}}, wait("2 s")]
    one = record(with_lift(tmp_path, steps, order=order, brown_out={"radio": "12 V"}))
    assert one.losses.lost == {"browned out: the radio, not acted on": 0.0, ORDER_BROKEN: 0.0}


def test_where_nothing_is_left_to_chance_that_is_said(tmp_path):
    steps = [pick(), wait("0.3 s"), place(), wait("0.3 s")]
    result, said = played(a_plan(tmp_path, steps), 20)
    assert result.chance.plan == () and result.chance.spreads == 0
    same = "All 20 matches earn the same: no step states a chance (`succeeds`)"
    assert f"{same} or an allowance, and no `driver` is there. Real matches" in " ".join(said.split())
    result, said = played(a_plan(tmp_path, [*steps[:2], place(succeeds="50 %"), steps[3]]), 20)
    assert "earn the same" not in said


def test_scores_that_coincide_are_not_taken_for_a_plan_without_chance(tmp_path):
    rare = [pick(succeeds="99.99 %"), wait("0.3 s"), place(), wait("0.3 s")]
    result, said = played(a_plan(tmp_path, rare), 20)
    assert result.points.sd.value == 0.0 and result.chance.plan == ("steps that succeed by chance",)
    told = " ".join(said.split())
    assert "is left to chance (steps that succeed by chance) made no difference to their points." in told
    assert "no step states" not in told
    unsure = {"robot": {"mass": "12 kg ± 5 %"}}
    result, said = played(a_plan(tmp_path, [pick(), wait("0.3 s"), place(), wait("0.3 s")], **unsure), 20)
    assert result.chance.spreads == 1
    assert "what is not known exactly of the robot made no difference to their points" in " ".join(
        said.split()
    )


def test_one_match_says_nothing_of_others(tmp_path):
    steps = [pick(succeeds="50 %"), wait("0.3 s"), place(), wait("0.3 s")]
    _, said = played(a_plan(tmp_path, steps), 1)
    assert "earn the same" not in said and "left to chance" not in said
    _, said = played(a_plan(tmp_path, [pick(), *steps[1:]]), 1)
    told = " ".join(said.split())
    assert "Nothing in the plan is left to chance: no step states a chance" in told


def test_what_is_left_to_chance_is_found_wherever_it_is_stated(tmp_path):
    steps = [pick(), wait("0.3 s ± 0.1 s", **{"for": "search"}), place(), wait("0.3 s", allowance="10 %")]
    plan = replace(a_plan(tmp_path, steps), driver=Driver(0, ("only",)))
    found = left_to_chance(plan, ("full",))
    assert found.plan == ("times that vary",) and found.people == ("allowances", "a `driver`")


def test_an_allowance_is_no_chance(tmp_path):
    steps = [pick(), wait("0.3 s", allowance="10 %"), place(), wait("0.3 s")]
    _, said = played(a_plan(tmp_path, steps), 20)
    assert "no step states a chance (`succeeds`), and allowances lengthen each alike." in " ".join(
        said.split()
    )
