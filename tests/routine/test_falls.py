"""What falls, what stays in hand, and what comes back: games with stopwatch times, worked out on paper."""

from __future__ import annotations

from io import StringIO

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot import api
from simbot.analysis.states import state_result
from simbot.physics.luck import Drawn
from simbot.report.terminal import print_run
from simbot.routine.match import play
from simbot.routine.trace import Trace
from simbot.scenario.check import plan_doubts
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Plan

POSE = ["1 m", "1 m", "0 deg"]
COSTS = {"penalties": {"dropped": 3, "missed": 1, "stuck": 2}}
FOUR = {"hand": "open", "other": "open", "holds": {"hand": ["ball"] * 4}}
THREE = {"places": {"box": {"pose": POSE, "takes": "ball", "points": 1, "room": 3}}}


def run(plan: Plan) -> Trace:
    return play(plan, plan.robot.battery[0])[0]


def costs(trace: Trace) -> list[tuple[str, float]]:
    return [(award.name, award.points) for award in trace.awards]


@pytest.mark.parametrize(
    ("steps", "start", "game", "told"),
    [
        ([place(), wait("0.3 s")], None, {}, []),
        ([{"hand_over": {"from": "hand", "by": {"other": "shut"}}}, wait("0.3 s")], None, {}, []),
        ([place(**{"else": "stuck"}), wait("0.3 s")], None, {}, [("stuck", -2)]),
        ([place(), wait("0.3 s")], FOUR, THREE, [("dropped", -3)]),
        ([place(needs={"other": "shut"}), wait("0.3 s")], FOUR, {}, [("dropped", -3)] * 4),
        ([place(needs={"other": "shut"}, **{"else": "missed"})], FOUR, {}, [("missed", -1)] * 4),
        ([{"let_go": "hand"}, wait("0.3 s")], FOUR, {}, [("dropped", -3)] * 4),
        ([pick(needs={"other": "shut"}), wait("0.3 s")], None, {}, [("missed", -1)]),
        ([pick(needs={"other": "shut"}, **{"else": "dropped"}), wait("0.3 s")], None, {}, []),
    ],
)  # fmt: skip
def test_a_drop_costs_when_an_element_falls_and_only_then(tmp_path, steps, start, game, told):
    plan = a_plan(tmp_path, steps, game={**COSTS, **game}, **({"start": start} if start else {}))
    assert costs(run(plan)) == told


@pytest.mark.parametrize("outcome", ["stuck", "left"])
def test_what_a_full_place_has_no_room_for_stays_in_hand(tmp_path, outcome):
    # four in hand, room for three; cleared within 5 s, after which the fourth goes in
    box = {**THREE["places"]["box"], "clearing": "5 s"}
    put = place(**{"else": outcome})
    steps = [put, wait("0.3 s"), put, wait("0.3 s"), put, wait("0.3 s")]
    game = {**COSTS, "places": {"box": box}}
    plan = a_plan(tmp_path, steps, game=game, start=FOUR)
    trace, plant = play(plan, plan.robot.battery[0])
    assert [each.number for each in trace.deliveries] == [3, 1]
    assert [(one.kind, one.at_us) for one in trace.mishaps] == [
        ("place_full", 0),
        ("nothing_held", 5_300_000),
    ]
    full = state_result(plan, plan.robot.battery[0], plant, trace).findings[0]
    assert full.text == f"the box had no room for all that the hand held: {outcome}"


def test_a_place_that_is_full_for_good_takes_nothing_out_of_the_hand(tmp_path):
    put = place(**{"else": "stuck"})
    plan = a_plan(tmp_path, [put, wait("0.3 s"), put], game={**COSTS, **THREE}, start=FOUR)
    trace = run(plan)
    assert [each.kind for each in trace.mishaps] == ["place_full", "place_full"]
    assert costs(trace) == [("stuck", -2)]


def test_a_robot_at_an_empty_station_takes_what_comes_back(tmp_path):
    # the one ball there is is picked at 0 s; the other hand drops its own at 3 s, and it comes back to the bin
    game = {
        "elements": {"ball": {"when_dropped": "bin"}},
        "stations": {"bin": {"pose": POSE, "gives": "ball", "stock": 1}},
    }
    picks = [pick(), wait("0.3 s"), place(), wait("0.3 s"), pick(), wait("0.3 s"), place()]
    drops = [wait("3 s", **{"for": "stagger"}), {"let_go": "other"}]
    start = {"hand": "open", "other": "open", "holds": {"other": "ball"}}
    trace = run(a_plan(tmp_path, [{"together": [picks, drops]}], game=game, start=start))
    assert [(one.from_us, one.to_us, one.why) for one in trace.queues] == [(600_000, 3_000_000, "empty")]
    assert [one.at_us for one in trace.deliveries] == [300_000, 3_300_000]


def long_waits(plan: Plan) -> list[str]:
    trace, plant = play(plan, plan.robot.battery[0])
    found = state_result(plan, plan.robot.battery[0], plant, trace).findings
    return [one.text for one in found if one.kind == "waits_long"]


def test_a_long_wait_is_named_also_where_no_cycle_is_whole(tmp_path):
    bin_ = {"pose": POSE, "gives": "ball", "stock": 1}
    twice = [pick(), wait("0.3 s"), pick(), wait("0.3 s")]
    (told,) = long_waits(a_plan(tmp_path, twice, game={"stations": {"bin": bin_}}))
    assert told == "step 3 stands 99.7 s waiting: the bin is empty; it still waits when its period ends"
    refilled = {"stations": {"bin": {**bin_, "refill": "1 per 2.5 s"}}}
    # less than 3 s each: named once they come to 10 s; five waits of 2.2 s or 2.5 s do, two do not
    assert long_waits(a_plan(tmp_path, twice, game=refilled)) == []
    (told,) = long_waits(a_plan(tmp_path, [{"repeat": 6, "steps": twice[:2]}], game=refilled))
    assert told == "step 1 stands 11.0 s waiting: the bin is empty, 2.2 s at the longest"


def printed(plan: Plan) -> str:
    result, out = api.run(plan), StringIO()
    print_run(result, result.states[0], out)
    return " ".join(out.getvalue().split())


def test_how_often_it_was_waited_is_said(tmp_path):
    refilled = {"stations": {"bin": {"pose": POSE, "gives": "ball", "stock": 1, "refill": "1 per 2.5 s"}}}
    steps = [{"repeat": 6, "steps": [pick(), wait("0.3 s")]}]
    assert "full: 11000 ms, 5 times, first at" in printed(a_plan(tmp_path, steps, game=refilled))


def test_a_hand_that_is_full_when_it_closes_is_not_said_to_be_late_by_nothing(tmp_path):
    start = {"hand": "open", "other": "open", "holds": {"hand": "ball"}}
    hands = {name: {"kind": "measured", "time": "0.2 s", "room": 1} for name in ("hand", "other")}
    said = printed(a_plan(tmp_path, [pick(), wait("0.3 s")], robot={"mechanisms": hands}, start=start))
    assert "the hand was full: missed full: once, first at 0.20 s" in said and " 0 ms, once" not in said


def test_a_long_wait_is_told_once_with_the_worst_battery(tmp_path):
    """A slide that is slower on a weak battery comes later to a bin that fills by the clock: it waits less there."""
    states = {
        name: {"open_circuit": volts, "resistance": "0.1 ohm"}
        for name, volts in (("full", "13 V"), ("low", "9 V"))
    }
    flap = {"kind": "slide", "motors": "1 x m", "gearing": [{"ratio": "60:1"}], "drum_diameter": "40 mm",
            "moving_mass": "1 kg", "travel": ["0 m", "0.8 m"], "control": {"loop": "full_effort"}}  # fmt: skip
    motor = {"voltage": "12 V", "free_speed": "5300 rpm", "stall_torque": "1 N*m", "stall_current": "20 A"}
    hands = {name: {"kind": "measured", "time": "0.2 s"} for name in ("hand", "other")}
    robot = {"motors": {"m": motor}, "battery": {"states": states}, "mechanisms": {**hands, "flap": flap}}
    game = {"stations": {"bin": {"pose": POSE, "gives": "ball", "stock": 1, "refill": "1 per 20 s"}}}
    steps = [{"move": {"flap": "0.7 m"}}, wait("arrival"), pick(), wait("0.3 s"), pick(), wait("0.3 s")]
    start = {"hand": "open", "other": "open", "flap": "0 m"}
    result, out = api.run(a_plan(tmp_path, steps, "40 s", robot=robot, game=game, start=start)), StringIO()
    full, low = (next(one for one in state.findings if one.kind == "waits_long") for state in result.states)
    assert full.late_us > low.late_us > 10_000_000
    print_run(result, result.states[0], out)
    said = " ".join(out.getvalue().split())
    assert said.count("waiting: the bin is empty") == 1 and full.text in said
    both = [f"{name}: {round(one.late_us / 1000)} ms, once" for name, one in (("full", full), ("low", low))]
    assert all(part in said for part in both)


def test_a_hand_that_is_opened_full_is_told(tmp_path):
    start = {"hand": "shut", "other": "open", "holds": {"hand": "ball"}}
    opens = [{"move": {"hand": "open"}}, wait("0.3 s")]
    over = {"hand_over": {"from": "hand", "by": {"other": "shut"}, "release": {"hand": "half"}}}
    for steps, told in (
        ([*opens, place(by={"hand": "shut"})], [0]),
        ([over, {"move": {"hand": "half"}}, wait("0.3 s")], [0]),  # before the receiver holds
        ([over, wait("0.3 s"), *opens], []),
        ([{"move": {"hand": "up"}}, place(), wait("0.3 s"), *opens], []),
    ):
        plan = a_plan(tmp_path, steps, start=start)
        trace, plant = play(plan, plan.robot.battery[0])
        found = state_result(plan, plan.robot.battery[0], plant, trace).findings
        assert [one.at_us for one in found if one.kind == "opened_full"] == told


def test_a_hand_without_room_takes_nothing_and_it_is_told(tmp_path):
    # room for two balls: the third pick closes at 0.4 s, takes nothing, and the bin keeps what it has
    hands = {
        name: {"kind": "measured", "time": "0.2 s", "room": room}
        for name, room in (("hand", 2), ("other", 1))
    }
    stations = {"stations": {"bin": {"pose": POSE, "gives": "ball", "stock": 3}}}
    grab = [pick(), wait("0.3 s"), {"move": {"hand": "ajar"}}, wait("0.3 s")]
    over = {"hand_over": {"from": "hand", "by": {"other": "shut"}, "else": "left"}}
    steps = [{"repeat": 3, "steps": grab}, over, wait("0.3 s")]
    plan = a_plan(tmp_path, steps, robot={"mechanisms": hands}, game=stations)
    trace, plant = play(plan, plan.robot.battery[0])
    assert [(one.held_us, one.lost_us) for one in trace.picks] == [
        (200_000, None), (800_000, None), (None, 1_400_000), (None, 2_000_000),
    ]  # fmt: skip
    told = [one.text for one in state_result(plan, plan.robot.battery[0], plant, trace).findings]
    assert told == ["the hand was full: missed", "the other was full: left"]
    with pytest.raises(ScenarioError, match="more than hand has room for, given: '4 elements'; would do: 2"):
        a_plan(tmp_path, [], robot={"mechanisms": hands}, start=FOUR)


def test_a_hand_that_takes_more_without_a_stated_room_is_told_once(tmp_path):
    grab = [pick(), wait("0.3 s"), {"move": {"hand": "ajar"}}, wait("0.3 s")]
    plan = a_plan(tmp_path, [{"repeat": 3, "steps": grab}])
    trace, plant = play(plan, plan.robot.battery[0])
    (told,) = state_result(plan, plan.robot.battery[0], plant, trace).findings
    assert (told.kind, told.at_us, told.fails) == ("piled_up", 800_000, False)
    assert told.text.startswith("step 1 gives the hand more to what it holds")


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        ([pick(succeeds="0 %"), wait("0.3 s")], [300_000]),
        ([{"move": {"hand": "open"}}, wait("0.3 s"), pick(succeeds="0 %"), wait("0.3 s")], []),
        ([pick(succeeds="0 %", needs={"hand": "shut"}), wait("0.3 s")], []),  # a gate that stays shut
    ],
)
def test_a_try_with_a_hand_that_nothing_has_opened_is_told(tmp_path, steps, told):
    start = {"hand": "shut" if "needs" in str(steps) else "open", "other": "open"}
    plan = a_plan(tmp_path, [{"try": steps, "tries": 3}], start=start)
    doubts = [one.text for one in plan_doubts(plan) if one.key == "try"]
    assert [one.startswith("tried again, the hand is at shut already") for one in doubts] == [True] * len(
        told
    )
    trace, plant = play(plan, plan.robot.battery[0], luck=Drawn(1, 0, 0))
    found = [
        one
        for one in state_result(plan, plan.robot.battery[0], plant, trace).findings
        if one.kind == "shut_already"
    ]
    assert [one.at_us // 100_000 * 100_000 for one in found] == told and not any(one.fails for one in found)


@pytest.mark.parametrize(
    ("game", "told"),
    [
        ({"elements": {"ball": {"when_dropped": "tray"}, "cup": {}},
          "stations": {"tray": {"pose": POSE, "gives": "cup", "stock": 1}}}, "tray gives something else"),
        ({**THREE, "bonuses": {"row": {"each": {"box": 4}, "points": 5}}}, "more than box ever takes, given: '4'"),
    ],
)  # fmt: skip
def test_what_a_game_can_never_do_is_refused(tmp_path, game, told):
    with pytest.raises(ScenarioError, match=told):
        a_plan(tmp_path, [], game=game)
