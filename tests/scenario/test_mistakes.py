"""Every class of mistake: one message with the place, the offending value and what would do."""

# ruff: noqa: E501 - the table reads better with one mistake a line

from __future__ import annotations

from itertools import pairwise

import pytest

from simbot.scenario.sheet import RUN_TOGETHER

# file, text replaced, replacement, the token the message must point at, words the message must have
MISTAKES = [
    # keys
    ("robot", "wheel_diameter: 96 mm", "wheel_diametre: 96 mm", "wheel_diametre", ["'wheel_diametre'", "'wheel_diameter'"]),
    ("robot", "    drive:   {kind: mecanum, motors: 4 x wheel, ", "    drive:   {kind: mecanum, ", "drive:", ["`motors`", "2 x wheel"]),
    ("robot", "rotor_inertia:", "rotr_inertia:", "rotr_inertia", ["'rotr_inertia'", "'rotor_inertia'"]),
    ("game", "clearing: 6 s", "cleering: 6 s", "cleering", ["'cleering'", "'clearing'"]),
    ("game", "  name:", "  nmae:", "nmae", ["'nmae'", "'name'"]),
    ("plan", "  routines:", "  rutines:", "rutines", ["'rutines'", "'routines'"]),
    ("plan", "  autonomous:", "  autonomus:", "autonomus", ["'autonomus'", "'autonomous'"]),
    ("plan", "allowance: 25 %", "alowance: 25 %", "alowance", ["'alowance'", "'allowance'"]),
    ("plan", "succeeds: 85 %", "suceeds: 85 %", "suceeds", ["'suceeds'", "'succeeds'"]),
    ("game", "simbot: 1", "simbot: 2", "2", ["'2'", "simbot: 1"]),
    ("robot", "{ratio: 2:1,", "{ratio: 2,5,", "2,5", ["'2,5'", "decimal comma", "2.5"]),
    ("robot", "loop: 20 ms\n", "loop: 20 ms\n  loop: 30 ms\n", "loop: 30", ["'loop'", "second time"]),
    ("plan", "allowance: 25 %", "corner: 0.2 m", "corner", ["`through:", "point"]),
    ("plan", "allowance: 25 %", "through: [[1 m, 1 m]], corner: 0.2 m, curve: smooth", "curve", ["one of the two"]),
    ("plan", "allowance: 25 %", "through: [[1 m, 1 m]], curve: smoth", "smoth", ["'smoth'", "smooth"]),
    ("plan", "allowance: 25 %", "turn: alnog", "alnog", ["'alnog'", "along"]),
    ("plan", "{lift: 0.42 m}", "{lift 0.42 m}", "lift 0.42", ["colon", "would do: lift: 0.42 m"]),
    ("plan", "{lift: 0.42 m}", "{lift:0.42 m}", "lift:0.42", ["colon", "would do: lift: 0.42 m"]),
    ("plan", "{lift: 0.42 m}", "{lift=0.42 m}", "lift=0.42", ["colon", "would do: lift: 0.42 m"]),
    # numbers and units
    ("robot", "[430 mm, 420 mm]", "430 mm x 420 mm", "430 mm x", ["a list is wanted", "would do: [430 mm, 420 mm]"]),
    ("robot", "[0 m, 0.75 m]", "0 to 0.75 m", "0 to", ["a list is wanted", "would do: [0 m, 0.75 m]"]),
    ("robot", "[-30 deg, 90 deg]", "-30..90 deg", "-30..", ["a list is wanted", "would do: [-30 deg, 90 deg]"]),
    ("robot", "[0 m, 0.75 m]", "0.75 m", "0.75 m", ["a list is wanted", "between [ and ]"]),
    ("robot", "mass: 12.4 kg", "mass: 12,4 kg", "12,4", ["'12,4 kg ± 3 %'", "'12.4 kg ± 3 %'"]),
    ("robot", "mass: 12.4 kg ± 3 %", "mass: 12.4", "12.4", ["'12.4'", "kg, g, lb or oz"]),
    ("robot", "friction: 6 N ± 25 %", "friction: 6 kg", "6 kg\n", ["'6 kg'", "a mass", "N, kgf or lbf"]),
    ("robot", "free_speed: 400 rpm", "free_speed: 400 rmp", "400 rmp", ["'400 rmp'", "'rpm'"]),
    ("plan", "at_most: 4 s}", "at_most: 4 seccond}", "4 seccond", ["'4 seccond'", "'second'"]),
    ("robot", "voltage: 12 V", "voltage: 1e400 V", "1e400", ["'1e400 V'", "too large"]),
    ("robot", "voltage: 12 V", "voltage: nan V", "nan V", ["'nan V'", "finite"]),
    ("robot", "voltage: 12 V", "voltage: .inf V", ".inf V", ["'.inf V'", "finite"]),
    ("robot", "p: 20 /m", "p: 20", "20,", ["'20'", "/m"]),
    ("robot", "p: 20 /m", "p: 20 /deg", "20 /deg", ["'20 /deg'", "/m"]),
    ("robot", "efficiency: 95 %", "efficiency: 0.95", "0.95", ["'0.95'", "%"]),
    ("robot", "efficiency: 95 %", "efficiency: 950 %", "950 %", ["'950 %'", "100 %"]),
    ("robot", "wheel_diameter: 96 mm", "wheel_diameter: 96 m", "96 m,", ["'96 m'", "1 m"]),
    ("robot", "0.15 ohm ± 20 %", "0.15 ohm ± 20", "0.15 ohm ± 20", ["'0.15 ohm ± 20'", "spread"]),
    ("robot", "0.15 ohm ± 20 %", "0.15 ohm ± -20 %", "0.15 ohm ± -20", ["'0.15 ohm ± -20 %'", "below zero"]),
    ("robot", "speed: 0.12 s/60deg", "speed: 0.12 s", "0.12 s,", ["'0.12 s'", "s/60deg"]),
    ("robot", "grip: 0.8 ± 10 %", "grip: 0.8 m", "0.8 m", ["'0.8 m'", "without a unit"]),
    ("game", "stock: 4", "stock: 4.5", "4.5", ["'4.5'", "whole number"]),
    ("game", "refill: 1 per 10 s", "refill: 1 every 10 s", "1 every", ["'1 every 10 s'", "1 per 10 s"]),
    # names
    ("robot", "motors: 4 x wheel", "motors: 4 x wheeel", "4 x wheeel", ["'wheeel'", "'wheel'"]),
    ("robot", "back: 0.3 of range", "back: 180 deg", "180 deg", ["outside the travel of gripper", "'180 deg'"]),
    ("game", "controlled: 100 s", "controlled: 100 s\n    endgame: 30 s", "endgame: 30", ["beside `periods`", "another name"]),
    ("robot", "motors: 4 x wheel", "motors: four wheel", "four wheel", ["'four wheel'", "2 x wheel"]),
    ("robot", "rail: servo_rail", "rail: servorail", "servorail", ["'servorail'", "'servo_rail'"]),
    ("robot", "kind: roller", "kind: rollers", "rollers", ["'rollers'", "'roller'"]),
    ("robot", "rigging: cascade", "rigging: cascaded", "cascaded", ["'cascaded'", "'cascade'"]),
    ("robot", "{lift: above 0.30 m}", "{lifd: above 0.30 m}", "lifd", ["'lifd'", "'lift'"]),
    ("robot", "{lift: above 0.30 m}", "{lift: over 0.30 m}", "over 0.30", ["'over 0.30 m'", "above"]),
    ("robot", "    flap:", "    toward: {kind: measured, time: 1 s}\n    flap:", "toward", ["'toward'", "taken"]),
    ("game", "gives: lantern", "gives: lanturn", "lanturn", ["'lanturn'", "'lantern'"]),
    ("game", "{autonomous: 4,", "{autonomos: 4,", "autonomos", ["'autonomos'", "'autonomous'"]),
    ("plan", "autonomous: [{run: deliver}", "autonomous: [{run: delivr}", "delivr", ["'delivr'", "'deliver'"]),
    ("plan", "{drive: rack,", "{drive: rak,", "rak,", ["'rak'", "'rack'"]),
    ("plan", "{drive: rack,", "{drive: {to: [3 m, 1 m, 0 deg]},", "{to:", ["'a mapping with to'", "would do: drive: [3 m, 1 m, 0 deg]"]),
    ("plan", "{drive: rack,", "{drive: {to: rack, at: 3 s},", "{to:", ["'a mapping with to, at'", "would do: drive: rack, and at beside `drive`"]),
    ("plan", "into: low_sockets", "into: low_socket", "low_socket,", ["'low_socket'", "'low_sockets'"]),
    ("plan", "from: rack", "from: rak", "rak,", ["'rak'", "'rack'"]),
    ("plan", "element: lantern", "element: lantrn", "lantrn", ["'lantrn'", "'lantern'"]),
    ("plan", "element: lantern", "element: tin", "tin,", ["'tin'", "lantern"]),
    ("plan", "gripper: shut, holds", "griper: shut, holds", "griper", ["'griper'", "'gripper'"]),
    ("plan", "holds: {gripper: lantern}", "holds: {gripper: lantrn}", "lantrn", ["'lantrn'", "'lantern'"]),
    ("plan", "by: {gripper: open}", "by: {gripper: opn}", "opn", ["'opn'", "'open'"]),
    ("plan", "by: {gripper: open}", "by: {intake: open}", "intake", ["'intake'", "spin"]),
    ("plan", "by: {gripper: open}", "by: {drive: rack}", "drive: rack}, needs", ["'drive'"]),
    ("plan", "else: dropped", "else: droped", "droped", ["'droped'", "'dropped'"]),
    # positions, poses, instants
    ("plan", "{move: {lift: 0.42 m}}", "{move: {lift: 0.92 m}}", "0.92 m", ["'0.92 m'", "0 m to 0.75 m"]),
    ("plan", "{move: {lift: 0.42 m}}", "{move: {lift: 0.42}}", "0.42}}", ["'0.42'", "mm"]),
    ("plan", "toward: 0.6 m", "toward: 0.8 m", "0.8 m", ["'0.8 m'", "0.75 m"]),
    ("plan", "lift: 0.42 m within 15 mm", "lift: 0.42 m within 15 g", "0.42 m within 15 g", ["'15 g'", "mass"]),
    ("plan", "rack within 15 mm", "rock within 15 mm", "rock within", ["'rock'", "'rack'"]),
    ("game", "[0.40 m, 1.60 m, 180 deg]", "[0.40 m, 3.60 m, 180 deg]", "3.60 m", ["'3.60 m'", "3.2 m"]),
    ("plan", "pose: [0.9 m, 1.6 m, 180 deg]", "pose: [9 m, 1.6 m, 180 deg]", "9 m", ["'9 m'", "4.5 m"]),
    ("plan", "pose: [0.9 m, 1.6 m, 180 deg]", "pose: [0.9 m, 1.6 m]", "[0.9", ["three values"]),
    ("plan", "begin: 22 s before_end", "begin: 220 s before_end", "220 s", ["'220 s before_end'", "120 s"]),
    ("plan", "wait: until 15 s", "wait: until 150 s", "until 150 s", ["'150 s'", "120 s"]),
    ("plan", "pose: [0.9 m, 1.6 m, 180 deg], ", "", "{lift: 0 m, gripper", ["`pose`"]),
    ("robot", "travel: [0 m, 0.75 m]", "travel: [0.75 m, 0 m]", "[0.75", ["[0.75 m, 0 m]"]),
    ("robot", "travel: [0 m, 0.75 m]", "travel: [0 m, 0,75 m]", "[0 m, 0,75", ["decimal comma"]),
    ("robot", "moving_mass: [0.6 kg, 0.9 kg]", "moving_mass: [0.6 kg]", "[0.6 kg]", ["1 mass(es) for 2 stage(s)"]),
    ("game", "endgame: 25 s", "endgame: 250 s", "250 s", ["'250 s'", "100 s"]),
    # steps
    ("plan", "- wait: 250 ms", "- wat: 250 ms", "wat:", ["'wat'", "'wait'"]),
    ("plan", "- wait: 250 ms", "- wait: arival", "arival", ["'arival'", "'arrival'"]),
    ("plan", "- wait: 250 ms", "- wait", "wait\n", ["'wait'", "a step"]),
    ("plan", "{wait: 600 ms}", "{wait: 600 ms, run: deliver}", "run: deliver}]", ["wait, run"]),
    ("plan", "{wait: 600 ms}", "{wait: 600 ms, at_most: 2 s}", "at_most: 2", ["'2 s'", "arrival"]),
    ("plan", "{wait: 600 ms}", "{wait: 600 ms, for: setling}", "setling", ["'setling'", "'settling'"]),
    ("plan", "repeat: until period_end", "repeat: until periodend", "until periodend", ["'until periodend'"]),
    ("plan", "{effort: {lift: 80 %,", "{effort: {lift: 180 %,", "180 %", ["'180 %'", "100 %"]),
    ("plan", "{spin: {intake: -80 %}}", "{spin: {intake: 80 rpn}}", "80 rpn", ["'80 rpn'"]),
    ("plan", "by: {gripper: open}", "by: {gripper: open}, thrown_by: lift", "lift", ["'slide'", "flywheel"]),
    ("plan", "by: {gripper: open}", "by: {gripper: open}, thrown_by: lfit", "lfit", ["'lfit'", "'lift'"]),
    ("plan", "{spin: {intake: -80 %}}", "{spin: {lift: -80 %}}", "lift: -80", ["'lift'", "move"]),
    ("plan", "flap: open}}", "drive: rack}}", "drive: rack}}", ["'drive'", "drive: rack"]),
    ("plan", "- wait: 250 ms", "- run: deliver", "deliver\n", ["deliver", "runs itself"]),
    ("plan", "{move: {lift: 0.42 m}}", "{move: lift 0.42 m}", "lift 0.42 m}", ["'lift 0.42 m'", "a mapping", "{lift: 0.42 m}"]),
    ("plan", "flap: open}}", "flap: at open}}", "at open", ["'at open'", "without `at`", "would do: open"]),
    ("plan", "  endgame:", "  others: {uses: rack, every: 9 s, stays: 2 s}\n  endgame:", "others:", ["not named", "mate: {uses"]),
    ("robot", "loop: 20 ms", "loop: 50 Hz", "50 Hz", ["unknown unit 'Hz'", "ms, s or min"]),
    ("robot", "{kind: measured, time", "{time", "flap", ["`kind`", "measured"]),
]  # fmt: skip


def place_of(text, token, near=0):
    """Line and column of a token, counted here from the text alone; it may begin a little before `near`."""
    index = text.index(token, max(0, near - 40))
    return text.count("\n", 0, index) + 1, index - text.rfind("\n", 0, index)


@pytest.mark.parametrize(
    ("file", "old", "new", "token", "words"), MISTAKES, ids=lambda value: str(value)[:40]
)
def test_mistake_is_told_once_with_place_and_value(folder, file, old, new, token, words):
    text = folder.edit(file, old, new)
    line, column = place_of(text, token, text.index(new))
    problems = folder.problems()
    message = str(problems[0])
    assert f"{file}.yaml:{line}:{column}: " in message, "\n".join(map(str, problems))
    for word in words:
        assert word in message
    assert len(problems) == 1, "\n".join(map(str, problems))


def test_mistakes_of_all_three_files_come_together(folder):
    folder.edit("game", "stock: 4", "stock: four")
    folder.edit("robot", "friction: 6 N ± 25 %", "friction: 6 kg")
    folder.edit("plan", "{move: {lift: 0.42 m}}", "{move: {lift: 0.92 m}}")
    folder.edit("plan", "wait: 600 ms", "wait: 600")
    given = {problem.given for problem in folder.problems()}
    assert given == {"four", "6 kg", "0.92 m", "600"}


def test_routines_that_run_each_other(folder):
    folder.edit("plan", "  autonomous:", "    fetch: [{run: deliver}]\n  autonomous:")
    folder.edit("plan", "- wait: 250 ms", "- run: fetch")
    messages = [str(problem) for problem in folder.problems()]
    assert any("deliver runs itself, through fetch" in message for message in messages)


def test_repetition_without_end_and_without_a_wait(folder):
    text = folder.edit(
        "plan",
        "    - repeat:",
        "    - repeat: until period_end\n      steps: [{spin: {intake: 5 %}}]\n    - repeat:",
    )
    (problem,) = folder.problems()
    assert (problem.line, problem.column) == place_of(text, "repeat: until")
    assert problem.given == "until period_end"


def test_place_that_takes_another_element(folder):
    folder.edit("plan", "into: low_sockets", "into: pan")
    (problem,) = folder.problems()
    assert problem.given == "lantern" and "pan takes tin" in problem.text


def test_drive_that_turns_needs_its_track(folder):
    folder.edit("robot", "track: 360 mm, ", "")
    (problem,) = folder.problems()
    assert "track" in problem.text and problem.key == "robot.mechanisms.drive.track"


def test_routines_that_multiply_are_bounded(folder):
    names = [f"r{number}" for number in range(20)]
    routines = "".join(
        f"    {name}: [{{run: {after}}}, {{run: {after}}}]\n" for name, after in pairwise(names)
    )
    folder.edit(
        "plan",
        "  autonomous: [",
        f"{routines}    r19: [{{wait: 1 s}}, {{wait: 1 s}}]\n  autonomous: [{{run: r0}}, ",
    )
    (problem,) = folder.problems()
    assert "too many steps" in problem.text


def test_motor_without_stall_torque_and_current(folder):
    folder.edit("robot", "stall_torque: 19 kgf*cm, stall_current: 9 A, ", "")
    (problem,) = folder.problems()
    assert problem.given == "wheel" and "not both" in problem.text


def test_changes_are_checked_at_their_place(folder):
    text = folder.edit("plan", "drum_diameter: 40 mm", "drum_diamter: 40 mm")
    (problem,) = folder.problems()
    assert problem.given == "drum_diamter" and problem.nearest == "drum_diameter"
    assert (problem.line, problem.column) == place_of(text, "robot.mechanisms.lift")


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("robot.mechanism.lift", "3", ["'mechanism'", "'mechanisms'"]),
        ("robot.mass", "3 lbm", ["'3 lbm'", "'lb'"]),
        ("robot.mass.kg", "3", ["'kg'"]),
        ("robbot.mass", "3 kg", ["'robbot.mass'", "'robot'"]),
        ("plan.guard", "-3 ms", ["'-3 ms'"]),
        ("plan.autonomous.9.wait", "3 s", ["'9'"]),
        ("game.places.pan.room", "[", ["--set game.places.pan.room"]),
        ("plan.line13.wait", "1 s", ["line 13", "11, 12, 14"]),
        ("plan.line14.weit", "1 s", ["'weit'", "'wait'"]),
        ("plan.routines.deliver.1.wait", "1 s", ["item 1", "'place'", "with N of 2"]),
        ("robot.lift.ratio", "3", ["mean 'robot.mechanisms.lift.gearing.0.ratio'"]),
        (
            "lift.ratio",
            "3",
            ["begins with game, robot or plan", "mean 'robot.mechanisms.lift.gearing.0.ratio'"],
        ),
        ("lift.drum", "3 mm", ["mean 'robot.mechanisms.lift.drum_diameter'"]),
        ("robot.gripper.drum_diameter", "3 mm", ["mean 'robot.mechanisms.gripper.drum_diameter'"]),
        ("efficiency", "3 %", ["mean 'robot.mechanisms.lift.gearing.0.efficiency'"]),
        ("moving_mass", "3 kg", ["robot.mechanisms.lift.moving_mass, robot.mechanisms.arm.moving_mass"]),
        (
            "robot.mechanisms.drive.gearing.0.ratio",
            "3",
            [
                "robot.mechanisms.drive has no gearing",
                "robot.mechanisms.drive.gearing='[{ratio: 3}]'",
            ],
        ),
        (
            "robot.mechanisms.lift.springs.0.force",
            "9 N",
            ["lift has no springs", "robot.mechanisms.lift.springs='[{force: 9 N}]'"],
        ),
        ("robot.mechanisms.lift.ratio", "3", ["gearing: [{ratio: 2:1,", "mean 'gearing'"]),
        ("robot.motors.wheel.gearing", "3", ["mean 'internal_ratio'"]),
    ],
)
def test_overrides_are_explained(folder, key, value, words):
    messages = [str(problem) for problem in folder.problems({key: value})]
    assert len(messages) == 1
    for word in (*words, f"--set {key}={value}"):
        assert word in messages[0]


def test_a_list_is_offered_where_the_kind_knows_it(folder):
    """A servo knows no gears; a motor's are inside its case; of what nobody knows, nothing is made up."""
    for key in ("mechanisms.gripper.gearing", "mechanisms.lift.rubbish", "motors.wheel.stages"):
        (problem,) = folder.problems({f"robot.{key}.0.ratio": "2:1"})
        assert problem.given == key.rpartition(".")[2] and "[{" not in str(problem)


def test_where_one_path_is_meant_no_other_is_an_example(folder):
    for short, full in (("lift.fric", "lift.friction"), ("drum", "lift.drum_diameter")):
        (problem,) = folder.problems({short: "1 N"})
        assert problem.nearest == f"robot.mechanisms.{full}" and problem.wanted == ""
    (problem,) = folder.problems({"rubbish": "1 N"})
    assert "such as" in problem.wanted and problem.nearest is None


def test_a_wait_is_named_by_its_line(folder):
    path = folder.path / "plan.yaml"
    line = path.read_text(encoding="utf-8").splitlines().index("      - wait: 250 ms") + 1
    plan = folder.load(**{f"plan.line{line}.wait": "310 ms"})[0]
    wait = plan.routines["deliver"].steps[-1]
    assert (wait.line, wait.duration_us) == (line, 310_000)


def test_of_several_waits_in_a_line_none_is_changed_silently(folder):
    folder.edit("plan", "- wait: 250 ms", "- together: [[{wait: 250 ms}], [{wait: 300 ms}]]")
    (problem,) = folder.problems({"plan.line14.wait": "1 s"})
    assert "several stand in line 14" in problem.text and "together.1.0.wait" in problem.wanted


def test_what_else_is_wrong_is_told_beside_a_key_that_stands_twice(folder):
    """The first one counts, so that nothing follows from the second; a value left out is read as well."""
    folder.edit("robot", "loop: 20 ms\n", "loop: 20 ms\n  loop: {a: 1, a: 2}\n")
    folder.edit("robot", "voltage: 12 V", "voltage: 12")
    folder.edit("plan", "at_most: 4 s}", "at_most: 4}")
    found = [(problem.file.rpartition("/")[2][:5], problem.text) for problem in folder.problems()]
    assert [text for file, text in found if file == "robot"] == [
        "this key stands here a second time; first in line 6",
        "this key stands here a second time; first in line 7",
        "a number without its unit",
    ]
    assert any("without its unit" in text for file, text in found if file != "robot") and len(found) == 4


@pytest.mark.parametrize("key", ["half empty", "top shelf", "friction force"])
def test_a_name_of_two_words_is_no_key_and_value_run_together(key):
    assert RUN_TOGETHER.fullmatch(key) is None
