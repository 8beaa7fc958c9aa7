"""What a set of files becomes: SI values, positions, defaults, changes, remarks."""

# ruff: noqa: E501 - tables read better with one row a line

from __future__ import annotations

import math
import subprocess
import sys
from pathlib import Path

import pytest

from simbot.physics.kinds import KINDS
from simbot.scenario.kind_schema import BLOCKS, describe_kind, example_of, shape_of
from simbot.scenario.load import load_game, load_plan, load_robot
from simbot.scenario.model import (
    DriveStep,
    EffortStep,
    GearStage,
    MoveStep,
    PickStep,
    PlaceStep,
    Pose,
    SpinStep,
    TogetherStep,
    WaitStep,
)
from simbot.scenario.plan_file import all_steps, with_steps
from simbot.studies.knobs import knobs_of, with_timers

TESTS = Path(__file__).parent.parent
WORKED = sorted((TESTS / "worked" / "data").glob("*/plan*.yaml"))
SHIPPED = sorted(
    path
    for folder in ("scenarios", "simbot/starter")
    for path in (TESTS.parent / folder).rglob("*.yaml")
    if "\nplan:" in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("path", [*WORKED, *SHIPPED], ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_plans_load_without_a_mistake(path):
    plan, _ = load_plan(path, KINDS)
    assert plan.periods and plan.text == tuple(path.read_text(encoding="utf-8").splitlines())


def test_worked_plans_are_there():
    assert len(WORKED) >= 20 and SHIPPED


def test_game(folder):
    game = load_game(folder.path / "game.yaml")
    assert (game.length, game.width, game.endgame_us) == (4.5, 3.2, 25_000_000)
    assert [(period.name, period.duration_us) for period in game.periods] == [
        ("autonomous", 20_000_000),
        ("driver_controlled", 100_000_000),
    ]
    rack, chute = game.stations["rack"], game.stations["chute"]
    assert rack.pose == Pose(0.4, 1.6, math.pi)
    assert (rack.gives, rack.stock, rack.refill_count, rack.refill_us) == ("lantern", 4, 1, 10_000_000)
    assert (chute.stock, chute.refill_count) == (None, 0)
    assert game.places["low_sockets"].points == {"autonomous": 5, "driver_controlled": 5}
    assert game.places["pan"].points == {"autonomous": 4, "driver_controlled": 2}
    assert (game.places["pan"].clearing_us, game.places["low_sockets"].clearing_us) == (6_000_000, None)
    assert game.elements["tin"].mass == pytest.approx(0.06)
    assert len(game.obstacles[0]) == 4


def test_robot(folder):
    robot, _ = load_robot(folder.path / "robot.yaml", KINDS)
    assert robot.mass == 12.4 and robot.mass.spread == pytest.approx(0.372)
    assert (robot.length, robot.width, robot.loop_us) == (0.43, 0.42, 20_000)
    assert [state.name for state in robot.battery] == ["fresh", "mid-event", "tired"]
    assert robot.battery[1].resistance.spread == pytest.approx(0.03)
    wheel = robot.motors["wheel"]
    assert wheel.stall_torque == pytest.approx(1.8632635, rel=1e-12)
    assert (wheel.internal_ratio, wheel.stall_torque_is) == (15, "after_friction")
    lift = robot.mechanisms["lift"].values
    assert lift["gearing"] == (GearStage(2.0, 0.95, None, 0.0, robot.mechanisms["lift"].lines["gearing"]),)
    assert lift["moving_mass"] == (0.6, 0.9) and lift["travel"] == (0.0, 0.75)
    assert (lift["motors"].count, lift["motors"].motor) == (2, "wheel")
    assert lift["control"]["p"] == 20 and lift["control"]["after"] == "brake"
    assert lift["incline"] == pytest.approx(math.pi / 2) and lift["current_limit"] is None
    gripper = robot.mechanisms["gripper"].values
    assert gripper["named"] == pytest.approx(
        {"open": math.radians(20), "shut": math.radians(80), "back": math.radians(90)}
    )
    assert robot.rails["servo_rail"].current_limit == 5
    (rule,) = robot.order
    assert (rule.mechanism, rule.may_move_when) == ("arm", (("lift", "above", 0.3),))


def test_steps(folder):
    plan, _ = folder.load()
    together, place, wait = plan.routines["deliver"].steps
    assert isinstance(together, TogetherStep) and len(together.branches) == 2
    drive, arrival = together.branches[0].steps
    assert isinstance(drive, DriveStep) and drive.pose == plan.game.places["low_sockets"].pose
    assert isinstance(arrival, WaitStep) and arrival.arrival and arrival.duration_us is None
    assert isinstance(place, PlaceStep) and place.by.target == pytest.approx(math.radians(20))
    assert (place.succeeds, place.succeeds.spread) == (0.92, 0.04)
    lift, at = place.needs
    assert (lift.target, lift.within, lift.moving) == (0.42, 0.015, False)
    assert (at.target, at.within, at.heading_within) == (plan.game.places["low_sockets"].pose, 0.02, None)
    assert wait.duration_us == 250_000
    _, effort, spin, until = plan.periods["autonomous"].steps
    assert isinstance(effort, EffortStep)
    assert (effort.effort, effort.toward, effort.duration_us, effort.after) == (0.8, 0.6, 500_000, None)
    assert isinstance(spin, SpinStep) and spin.effort == -0.8
    assert until.until_us == 15_000_000
    (repeat,) = plan.periods["driver_controlled"].steps
    assert repeat.times is None
    move, drive, limited, pick, measured, _ = repeat.steps.steps
    assert isinstance(move, MoveStep)
    assert [goal.target for goal in move.goals] == [pytest.approx(1000 / 2900), "open"]
    assert drive.allowance == 0.25 and limited.at_most_us == 4_000_000
    assert isinstance(pick, PickStep) and (pick.tries, pick.each_us, pick.otherwise) == (2, 800_000, "missed")
    assert pick.needs[1].heading_within == pytest.approx(math.radians(3))
    assert measured.measured == (0.31, 0.29, 0.33)
    assert plan.endgame is not None and plan.endgame.begin_us == 98_000_000
    assert plan.start.positions["gripper"] == pytest.approx(math.radians(80))
    assert plan.start.holds == {"gripper": ("lantern",)} and plan.guard_us == 50_000


def test_other_forms_of_steps(folder):
    folder.edit("plan", "- {run: deliver}\n", "- [{move: {lift: 100 mm}}, {wait: arrival, for: driver}]\n"
                "        - {effort: {lift: 10 %, toward: 0.1 m, for: 1 s, after: 15 %}}\n"
                "        - {wait: until 30 s before_end}\n"
                "        - {drive: [1 m, 1 m, 90 deg]}\n"
                "        - repeat: 3\n          steps: [{wait: 1 s}]\n"
                "        - hand_over: {from: gripper, by: {flap: shut}, needs: {gripper: shut, lift: 0 m within 9 mm moving}}\n")  # fmt: skip
    plan, _ = folder.load()
    nested, effort, until, drive, repeat, hand = plan.periods["driver_controlled"].steps[0].steps.steps[5:]
    assert nested.steps[1].purpose == "driver"
    assert effort.after == 0.15 and until.until_us == 90_000_000
    assert drive.pose == Pose(1.0, 1.0, pytest.approx(math.pi / 2)) and drive.to == "1 m, 1 m, 90 deg"
    assert repeat.times == 3
    assert (hand.giver, hand.by.mechanism, hand.otherwise) == ("gripper", "flap", "dropped")
    shut, lift = hand.needs
    assert shut.within == pytest.approx(math.radians(2))  # the servo's own window
    assert lift.moving and lift.within == 0.009


def test_changes_of_the_plan_and_of_the_command_line(folder):
    plan, _ = folder.load()
    assert plan.robot.mechanisms["lift"].values["drum_diameter"] == 0.04
    plan, _ = folder.load(
        **{
            "robot.mechanisms.lift.drum_diameter": "36 mm",
            "robot.mechanisms.lift.gearing.0.ratio": "3:1",
            "robot.mechanisms.lift.travel": "[0 m, 0.7 m]",
            "plan.guard": "20 ms",
            "plan.routines.deliver.2.wait": "300 ms",
            "game.places.pan.room": "6",
        }
    )
    lift = plan.robot.mechanisms["lift"].values
    assert (lift["drum_diameter"], lift["gearing"][0].ratio, lift["travel"][1]) == (0.036, 3.0, 0.7)
    assert plan.guard_us == 20_000 and plan.game.places["pan"].room == 6
    assert plan.routines["deliver"].steps[2].duration_us == 300_000


def test_the_end_of_the_travel_in_another_unit_is_the_end(folder):
    folder.edit("robot", "travel: [0 m, 0.75 m]", "travel: [0 m, 30 in]")
    folder.edit("plan", "{move: {lift: 0.42 m}}", "{move: {lift: 76.2 cm}}")
    folder.edit("robot", "counts: 2.9 counts/mm", "counts: 3 counts/mm")
    folder.edit("plan", "{move: {lift: 0 m}}", "{move: {lift: 2286 counts}}")
    plan, _ = folder.load()
    travel = plan.robot.mechanisms["lift"].values["travel"]
    move = plan.routines["deliver"].steps[0].branches[1].steps[0]
    assert plan.endgame is not None
    last = plan.endgame.steps.steps[0]
    assert move.goals[0].target == travel[1] and last.goals[0].target == travel[1]


def keys(remarks, kind):
    return {remark.key for remark in remarks if remark.kind == kind}


def test_assumptions_are_listed_and_marked(folder):
    plan, remarks = folder.load()
    assumed = keys(remarks, "assumed")
    for key in ("drive.control", "gripper.band", "gripper.friction", "arm.control.window"):
        assert f"robot.mechanisms.{key}" in assumed
    assert "robot.mechanisms.lift.friction" not in assumed
    band = plan.robot.mechanisms["gripper"].values["band"]
    assert (
        band.assumed
        and band == pytest.approx(math.radians(5))
        and band.spread == pytest.approx(math.radians(2.5))
    )
    window = plan.robot.mechanisms["arm"].values["control"]["window"]
    assert window.assumed and window == pytest.approx(math.radians(0.02 * 120))
    assert plan.robot.mechanisms["arm"].values["control"]["loop"] == "full_effort"
    assert plan.robot.mechanisms["drive"].values["control"]["loop"] == "position"
    band_remark = next(remark for remark in remarks if remark.key.endswith("gripper.band"))
    text = (folder.path / "robot.yaml").read_text(encoding="utf-8").splitlines()
    assert text[band_remark.line - 1].lstrip().startswith("gripper:")


def test_kg_cm_in_a_torque_is_echoed(folder):
    folder.edit("robot", "19 kgf*cm", "19 kg*cm")
    plan, remarks = folder.load()
    assert plan.robot.motors["wheel"].stall_torque == pytest.approx(1.8632635, rel=1e-12)
    assert any("19 kg*cm" in remark.text for remark in remarks)


def doubt(remarks, key):
    return "; ".join(remark.text for remark in remarks if remark.kind == "doubt" and remark.key == key)


@pytest.mark.parametrize(
    ("file", "old", "new", "key", "words"),
    [
        ("robot", "ratio: 2:1", "ratio: 1:3", "robot.mechanisms.lift.gearing", "3:1"),
        ("robot", "free_speed: 400 rpm", "free_speed: 40000 rpm", "robot.mechanisms.drive.motors", "m/s"),
        ("robot", "ratio: 2:1", "ratio: 2000:1", "robot.mechanisms.lift.gearing", "end to end"),
        ("robot", "19 kgf*cm", "19 N*cm", "robot.motors.wheel", "19 N*cm"),
        ("robot", "19 kgf*cm", "19 kgf*m", "robot.motors.wheel", "19 kgf*m"),
        ("robot", "stall_torque: 19 kgf*cm", "stall_torque: 29 kgf*cm", "robot.motors.wheel", "% more"),
        ("robot", "internal_ratio: 15, ", "", "robot.motors.wheel", "% less"),
        ("robot", "range: 300 deg", "range: 100 deg", "robot.mechanisms.gripper.travel", "120 deg"),
        ("robot", "resistance: 0.11 ohm", "resistance: 5 ohm", "robot.battery.states.fresh.resistance", "2.76 A"),
        ("plan", "  autonomous: [", "    spare: [{wait: 1 s}]\n  autonomous: [", "plan.routines.spare", "no step"),
        ("plan", "- wait: 250 ms", "- wait: 250 ms\n      - wait: 90 ms", "wait", "times nothing"),
        ("plan", "- wait: 250 ms", "- wait: 250 ms\n      - {wait: 90 ms, for: settling}", "wait", ""),
        ("plan", "{wait: 600 ms}]", "{wait: 600 ms}, {move: {flap: a}}]", "steps", ""),
        ("plan", "endgame: {begin: 22 s before_end, steps: [", "endgame: {begin: 22 s before_end, steps: [{wait: 1 s}, ",
         "steps", "no wait times"),
        ("plan", "needs: {lift: 0.42 m within 15 mm, drive: low_sockets within 20 mm}, ", "", "needs", "1 of 2"),
    ],
)  # fmt: skip
def test_doubts(folder, file, old, new, key, words):
    folder.edit(file, old, new)
    _, remarks = folder.load()
    said = doubt(remarks, key)
    if words:
        assert words in said, said
    else:
        assert not any("90 ms" in remark.text or "flap" in remark.text for remark in remarks)
        assert said == "" or key == "steps"


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        ("{move: {lift: 0.3 m}}, {wait: until lift past 50 %}, {wait: arrival}", False),
        (
            "{move: {lift: 0.3 m}}, {wait: until lift past 50 %}",
            True,
        ),
        ("{move: {lift: 0.3 m}}, {wait: until lift past 0.1 m}, {wait: 300 ms}", False),
    ],
)
def test_a_wait_for_a_point_passed_times_nothing(folder, steps, told):
    """The command before it waits on for the next wait, and such a wait needs no command before it."""
    folder.edit(
        "plan",
        "endgame: {begin: 22 s before_end, steps: [",
        "endgame: {begin: 22 s before_end, steps: [STEPS, ",
    )
    text = (folder.path / "plan.yaml").read_text(encoding="utf-8")
    before = text.split("steps: [STEPS, ")[0]
    (folder.path / "plan.yaml").write_text(before + f"steps: [{steps}]}}\n", encoding="utf-8")
    _, remarks = folder.load()
    assert ("no wait times this command" in doubt(remarks, "steps")) is told
    assert "times nothing" not in doubt(remarks, "wait")


def test_steps_are_changed_in_the_order_in_which_they_are_listed(folder):
    """Studies count places on both ways: what `otherwise` holds comes after what stands before it."""
    steps = (
        "{when: {points: at_least 5}, do: [{wait: 1 s}, {wait: 2 s}], otherwise: [{wait: 3 s}]}, "
        "{try: [{wait: 4 s}], tries: 2, otherwise: [{wait: 5 s}]}, {first: [[{wait: 6 s}], [{wait: 7 s}]]}"
    )
    folder.edit("plan", "  autonomous: [{run: deliver}", f"  autonomous: [{steps}, {{run: deliver}}")
    plan, _ = folder.load()
    changed = []
    same = with_steps(plan, lambda step: changed.append(step) or step)
    assert same == plan and changed == list(all_steps(plan))
    waits = [step for step in all_steps(plan) if isinstance(step, WaitStep)]
    knobs = knobs_of(plan)
    for index, knob in enumerate(knobs):
        values = [each.now_us + 20_000 * (index == k) for k, each in enumerate(knobs)]
        other = [step for step in all_steps(with_timers(plan, knobs, values)) if isinstance(step, WaitStep)]
        moved = [there.duration_us - here.duration_us for here, there in zip(waits, other, strict=True)
                 if here.duration_us != there.duration_us]  # fmt: skip
        assert moved == [20_000] and knob.line in {
            here.line for here, there in zip(waits, other, strict=True) if here != there
        }


def test_where_start_says_nothing_is_an_assumption(folder):
    # the arm stands at the lower end of its travel, -30 deg; the flap nowhere; intake and drive have no position
    _, remarks = folder.load()
    told = {remark.key: remark.text for remark in remarks if remark.key.startswith("plan.start.")}
    assert {key: text.split(",")[0] for key, text in told.items()} == {
        "plan.start.arm": "-30 deg",
        "plan.start.flap": "at none of its places: its first command takes its whole time",
    }
    folder.edit("plan", "gripper: shut, holds", "gripper: shut, arm: 0 deg, flap: a, holds")
    assert not [remark for remark in folder.load()[1] if remark.key.startswith("plan.start.")]


def test_the_guard_and_what_follows_an_arrival_are_assumptions_where_they_are_not_stated(folder):
    after = "robot.mechanisms.lift.control.after"
    assert after not in keys(folder.load()[1], "assumed")  # a position loop goes on holding
    loop = folder.path / "robot.yaml"
    text = loop.read_text(encoding="utf-8")
    _, remarks = folder.load()
    assert [remark.text for remark in remarks if remark.key == "plan.guard"] == [
        "50 ms: what a timer should have to spare"
    ]
    (arm,) = [remark.text for remark in remarks if remark.key == "robot.mechanisms.arm.control"]
    assert "full_effort" in arm and "brake: its motors are shorted" in arm
    stated = text.replace("arm: {kind: arm,", "arm: {kind: arm, control: {loop: full_effort, window: 1 deg},")
    assert stated != text
    loop.write_text(stated, encoding="utf-8")
    folder.edit("plan", "  start:", "  guard: 30 ms\n  start:")
    _, remarks = folder.load()
    told = keys(remarks, "assumed")
    assert "robot.mechanisms.arm.control.after" in told and "plan.guard" not in told
    loop.write_text(stated.replace("window: 1 deg}", "window: 1 deg, after: coast}"), encoding="utf-8")
    assert "robot.mechanisms.arm.control.after" not in keys(folder.load()[1], "assumed")


def test_a_speed_that_nothing_says_how_to_hold_is_an_assumption(folder):
    key = "robot.mechanisms.intake.speed_control"
    assert key not in keys(folder.load()[1], "assumed")
    folder.edit("plan", "{spin: {intake: -80 %}}", "{spin: {intake: 300 rpm}}")
    assert [remark.key for remark in folder.load()[1]].count(key) == 1


def test_worked_robots_raise_no_false_doubts():
    for path in WORKED:
        _, remarks = load_plan(path, KINDS)
        doubts = [remark for remark in remarks if remark.kind == "doubt" and remark.key.startswith("robot.")]
        if "12_data_sheets" not in str(path):
            assert not doubts, (path, doubts)


def test_loading_loads_no_heavy_library():
    code = (
        "import sys; from pathlib import Path; from simbot.physics.kinds import KINDS;"
        "from simbot.scenario.load import load_plan; load_plan(Path(sys.argv[1]), KINDS);"
        "print([n for n in ('numba', 'scipy', 'matplotlib', 'simpy', 'pint') if n in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(SHIPPED[0])], capture_output=True, text=True, check=True,
        cwd=TESTS.parent,
    )  # fmt: skip
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_keys_of_a_kind_are_described(kind):
    rows = {row.key: row for row in describe_kind(kind)}
    assert set(rows) >= {parameter.key for parameter in kind.PARAMETERS}
    assert all(row.meaning and row.written and row.default for row in rows.values())
    if kind.NAME == "servo":
        assert rows["band"].default == "5 deg +/- 2.5 deg" and rows["band"].bounds == "above 0 deg"
        assert "s/60deg" in rows["speed"].written and rows["speed"].default == "required"


def every_key(parameters):
    for parameter in parameters:
        yield parameter
        yield from every_key(parameter.block)


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_examples_of_keys_can_be_read(kind):
    for parameter in every_key(kind.PARAMETERS):
        if parameter.dimension in (*BLOCKS, "stages", "names"):
            continue
        text = example_of(parameter, kind.COORDINATE)
        value = [part.strip() for part in text[1:-1].split(",")] if text.startswith("[") else text
        shape_of((parameter,), kind.COORDINATE, "one").model_validate({parameter.key: value})
