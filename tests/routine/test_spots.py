"""Who stands where: a station or place is held by one robot until it leaves it."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, wait
from test_flow import DRIVE, run

from simbot.analysis.states import state_result
from simbot.physics.kinds import KINDS
from simbot.routine.match import play
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import load_plan

FAR = ["2.6 m", "2.6 m", "0 deg"]
BIN, BOX = ["1 m", "1 m", "0 deg"], ["2 m", "1 m", "0 deg"]
GAME = {
    "stations": {"bin": {"pose": BIN, "gives": "ball"}},
    "places": {"box": {"pose": BOX, "takes": "ball", "points": 1}},
}
ASIDE = ["1.5 m", "1 m", "0 deg"]
ARRIVAL = wait("arrival")


def late(time):
    return wait(time, **{"for": "stagger"})


def at(pose):
    return {"pose": pose, "hand": "open", "other": "open"}


def a_pair(folder, mine, theirs, start, their_start, **others):
    """Plans of two robots on one field."""
    a_plan(folder, theirs, robot=DRIVE, start=at(their_start), game=GAME, lasts="20 s")
    (folder / "plan.yaml").rename(folder / "second.yaml")
    others = {"friend": {"plan": "second.yaml"}, **others}
    return a_plan(folder, mine, robot=DRIVE, start=at(start), game=GAME, lasts="20 s", others=others)


def queues(trace):
    return [(one.where, one.from_us // 1000, one.to_us // 1000) for one in trace.queues]


def test_a_robot_that_waits_for_the_next_keeps_where_it_stands(tmp_path):
    # somebody is at the box up to 10 s; the other robot has the bin only once the first has left it
    mine = [{"drive": "bin"}, ARRIVAL, {"drive": "box"}, ARRIVAL]
    theirs = [late("4 s"), {"drive": "bin"}, ARRIVAL, pick(), wait("0.3 s")]
    visitor = {"uses": "box", "every": "60 s", "stays": "10 s"}
    trace = run(a_pair(tmp_path, mine, theirs, ["2.6 m", "1 m", "0 deg"], FAR, visitor=visitor))
    assert queues(trace)[0][2] == 10_000
    assert queues(trace.partner) == [("bin", 4_000, 10_000)]


def test_the_spot_at_the_start_is_held(tmp_path):
    mine = [late("5 s"), {"drive": ASIDE}, ARRIVAL]
    theirs = [{"drive": "bin"}, ARRIVAL]
    trace = run(a_pair(tmp_path, mine, theirs, ["1.05 m", "1 m", "0 deg"], BOX))
    assert queues(trace.partner) == [("bin", 0, 5_000)]


def test_a_pose_in_numbers_takes_the_spot_on_which_it_stands(tmp_path):
    mine = [{"drive": ["1 m", "1 m", "0 deg"]}, ARRIVAL, late("5 s"), {"drive": ASIDE}, ARRIVAL]
    theirs = [late("1 s"), {"drive": "bin"}, ARRIVAL]
    trace = run(a_pair(tmp_path, mine, theirs, ASIDE, BOX))
    assert queues(trace.partner) == [("bin", 1_000, trace.moves[-1].move.start_us // 1000)]


def test_robots_that_want_each_others_spot_change_places_and_it_is_told(tmp_path):
    mine = [late("3 s"), {"drive": "box"}, ARRIVAL]
    theirs = [late("2 s"), {"drive": "bin"}, ARRIVAL]
    plan = a_pair(tmp_path, mine, theirs, BIN, BOX)
    trace, plant = play(plan, plan.robot.battery[0])
    assert [one.moves[0].move.start_us for one in (trace, trace.partner)] == [3_000_000, 3_000_000]
    state = state_result(plan, plan.robot.battery[0], plant, trace)
    told = next(one for one in state.findings if one.kind == "places_changed")
    assert "step 2 wants the box while the other robot stands there" in told.text and state.passes


def test_a_spot_that_is_waited_for_as_a_period_ends_is_not_kept(tmp_path):
    # the bin falls free 3 ms before the period ends, and the robot would go on the loop's next tick
    game = {**GAME, "periods": {"first": "4998 ms", "only": "20 s"}}
    a_plan(tmp_path, [{"drive": "bin"}, ARRIVAL], robot=DRIVE, start=at(FAR), game=game)
    (tmp_path / "plan.yaml").rename(tmp_path / "second.yaml")
    visitor = {"uses": "bin", "every": "60 s", "stays": "4995 ms"}
    plan = a_plan(tmp_path, [], robot=DRIVE, start=at(BOX), game=game, first=[late("1 s"), {"drive": "bin"}, ARRIVAL],
                  others={"friend": {"plan": "second.yaml"}, "visitor": visitor})  # fmt: skip
    trace = run(plan)
    assert not trace.moves
    assert len(trace.partner.moves) == 1


def test_a_plan_is_not_its_own_partner(tmp_path):
    with pytest.raises(ScenarioError, match="that is this plan itself, given: 'plan"):
        a_plan(tmp_path, [], others={"friend": {"plan": "plan.yaml"}})


@pytest.mark.parametrize(
    ("mine", "theirs", "told"),
    [
        (["1 m", "1 m", "0 deg"], ["1.29 m", "1 m", "0 deg"], True),
        (
            ["1.2 m", "1.5 m", "0 deg"],
            ["1.5 m", "1.5 m", "0 deg"],
            False,
        ),  # 300 mm of length each: they touch
        # turned by 45 deg its corner is 212 mm from its centre, and the other's side 150 mm from its own
        (["1.2 m", "2 m", "45 deg"], ["1.56 m", "2 m", "0 deg"], True),
        (["1.2 m", "2 m", "45 deg"], ["1.57 m", "2 m", "0 deg"], False),
    ],
)
def test_robots_that_start_in_one_another_are_told(tmp_path, mine, theirs, told):
    a_pair(tmp_path, [], [], mine, theirs)
    remarks = load_plan(tmp_path / "plan.yaml", KINDS)[1]
    lines = [one.line for one in remarks if "both robots cannot stand there" in one.text]
    text = (tmp_path / "plan.yaml").read_text().splitlines()
    assert ["pose" in text[line - 1] for line in lines] == [True] * told


@pytest.mark.parametrize(("away", "from_ms"), [("1 m", 4_000), ("1.29 m", 4_000), ("1.31 m", None)])
def test_robots_do_not_stand_in_one_another_at_stations_that_are_near(tmp_path, away, from_ms):
    # both are 300 mm long: at poses 290 mm apart they would overlap, at 310 mm they stand side by side
    near = {"stations": {**GAME["stations"], "tray": {"pose": [away, "1 m", "0 deg"], "gives": "ball"}}}
    mine = [{"drive": "bin"}, ARRIVAL, late("6 s"), {"drive": FAR}, ARRIVAL]
    theirs = [late("4 s"), {"drive": "tray"}, ARRIVAL]
    game = {**GAME, **near}
    a_plan(tmp_path, theirs, robot=DRIVE, start=at(["2 m", "2.6 m", "0 deg"]), game=game, lasts="20 s")
    (tmp_path / "plan.yaml").rename(tmp_path / "second.yaml")
    plan = a_plan(
        tmp_path,
        mine,
        robot=DRIVE,
        start=at(["2 m", "0.5 m", "0 deg"]),
        game=game,
        lasts="20 s",
        others={"friend": {"plan": "second.yaml"}},
    )
    trace = run(plan)
    leaves = trace.moves[-1].move.start_us // 1000
    assert queues(trace.partner) == ([] if from_ms is None else [("tray", from_ms, leaves)])


def test_who_waits_for_a_robot_to_go_does_not_hold_it_where_it_stands(tmp_path):
    """A visitor wants the box, where none can be while the robot stands at the bin beside it, and so does the robot."""
    beside = {**GAME, "places": {"box": {"pose": ["1.2 m", "1 m", "0 deg"], "takes": "ball", "points": 1}}}
    mine = [
        {"drive": "bin"},
        ARRIVAL,
        late("3 s"),
        {"drive": "box"},
        ARRIVAL,
        late("1 s"),
        {"drive": FAR},
        ARRIVAL,
    ]
    visitor = {"uses": "box", "every": "60 s", "stays": "2 s", "begins": "2 s"}
    plan = a_plan(
        tmp_path, mine, robot=DRIVE, start=at(BIN), game=beside, lasts="20 s", others={"visitor": visitor}
    )
    trace = run(plan)
    assert all(to - since < 3_000 for _, since, to in queues(trace))
    assert trace.waits[-1].seen
