"""`simbot kinds KIND`: what it says of a kind is what `simbot check` wants."""

import pytest

from simbot.physics.follows import consequences
from simbot.physics.kinds import KINDS
from simbot.report.kinds import example_lines, kind_lines
from simbot.scenario.errors import SimbotError
from simbot.scenario.kind_schema import describe_kind
from simbot.scenario.load import load_robot

ROBOT = """\
simbot: 1
robot:
  name: Sample
  mass: 11 kg
  size: [420 mm, 420 mm]
  loop: 20 ms
  battery: {states: {rested: {open_circuit: 13.2 V, resistance: 0.12 ohm}}}
  rails: {RAIL: {voltage: 6 V, current_limit: 5 A, regulator: switching}}
  motors:
    NAME: {voltage: 12 V, free_speed: 320 rpm, free_current: 0.3 A, stall_current: 9 A, \
rotor_inertia: 9e-6 kg*m^2, internal_ratio: 19, source: illustrative}
  mechanisms:
"""
every_kind = pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))


def read(tmp_path, lines):
    path = tmp_path / "robot.yaml"
    path.write_text(ROBOT + "\n".join(lines) + "\n")
    return load_robot(path, KINDS)


@every_kind
def test_what_a_kind_needs_is_enough(kind, tmp_path):
    robot, _ = read(tmp_path, example_lines(kind))
    assert robot.mechanisms[f"my_{kind.NAME}"].kind == kind.NAME
    printed = "\n".join(kind_lines(kind))
    assert "\n".join(example_lines(kind)) in printed


@pytest.mark.parametrize("kind", ["servo", "claw"])
def test_a_servo_is_shown_on_a_rail(kind, tmp_path):
    """Copied as it stands it is not put straight on the battery, which would be too much for a 6 V servo."""
    robot, _ = read(tmp_path, example_lines(KINDS[kind]))
    assert robot.mechanisms[f"my_{kind}"].rail == "RAIL"
    assert not any(each.kind == "doubt" for each in consequences(robot))
    bare, _ = read(tmp_path, [line for line in example_lines(KINDS[kind]) if "rail" not in line])
    (doubt,) = (each for each in consequences(bare) if each.kind == "doubt")
    assert "on the battery" in doubt.text and "name its `rail`" in doubt.text
    printed = list(kind_lines(KINDS[kind]))
    assert any("RAIL: one of its `rails:`" in line for line in printed) and max(map(len, printed)) <= 80


@every_kind
def test_nothing_that_a_kind_needs_may_be_left_out(kind, tmp_path):
    lines = list(example_lines(kind))
    for gone in lines[2:]:
        if gone.strip() == "rail: RAIL" or gone.strip().startswith("gearing:"):  # shown for what they save
            continue
        key = gone.partition(":")[0].strip()
        with pytest.raises(SimbotError) as told:
            read(tmp_path, [line for line in lines if line != gone])
        assert key in str(told.value), f"{key}: {told.value}"


@every_kind
def test_the_keys_told_as_required_are_those_of_the_example(kind):
    given = {line.partition(":")[0] for line in kind.EXAMPLE.splitlines()} - {"gearing"}
    told = {
        row.key for row in describe_kind(kind) if row.default.startswith("required") and "." not in row.key
    }
    assert given == told


def test_a_breaker_without_its_rating_is_told(tmp_path):
    lines = [*example_lines(KINDS["rack"]), "      breaker: {time: 8 s}"]
    with pytest.raises(SimbotError, match="the key `rating` is missing"):
        read(tmp_path, lines)


@pytest.mark.parametrize(
    ("control", "key"),
    [("{loop: position}", "p"), ("{loop: profile, acceleration: 2 m/s^2}", "speed")],
)
def test_what_a_loop_needs_is_told(control, key, tmp_path):
    rows = {row.key: row for row in describe_kind(KINDS["rack"])}
    assert rows[f"control.{key}"].default.startswith("required by a")
    with pytest.raises(SimbotError, match=f"the key `{key}` is missing"):
        read(tmp_path, [*example_lines(KINDS["rack"]), f"      control: {control}"])


def test_a_latency_of_more_outputs_than_a_run_keeps_is_told(tmp_path):
    """63 outputs, one each 2 ms."""
    control = "      control: {p: 8 /m, latency: %s}"
    lines = list(example_lines(KINDS["rack"]))
    for latency, wrong in (("120 ms", False), ("126 ms", False), ("127 ms", True), ("125 ms ± 1 ms", True)):
        path = tmp_path / "robot.yaml"
        path.write_text(
            ROBOT.replace("loop: 20 ms", "loop: 2 ms") + "\n".join([*lines, control % latency]) + "\n"
        )
        if wrong:
            with pytest.raises(SimbotError, match=r"latency.*more than 63 outputs.*at most 126 ms"):
                load_robot(path, KINDS)
        else:
            load_robot(path, KINDS)


def test_nothing_of_a_gain_is_plain_zero():
    rows = {row.key: row for row in describe_kind(KINDS["four_bar"])}
    assert rows["control.p"].bounds == "at least 0" and rows["control.i"].default == "0"


def test_the_loop_left_out_is_as_told(tmp_path):
    lines = list(example_lines(KINDS["rack"]))
    for control, loop in (
        (None, "full_effort"),
        ("{effort: 50 %}", "full_effort"),
        ("{p: 8 /m}", "position"),
    ):
        more = [f"      control: {control}"] if control else []
        robot, _ = read(tmp_path, [*lines, *more])
        assert robot.mechanisms["my_rack"].values["control"]["loop"] == loop
    rows = {row.key: row for row in describe_kind(KINDS["rack"])}
    assert rows["control.loop"].default == "position where p is stated, else full_effort"
