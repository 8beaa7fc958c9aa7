"""Keys written short, ranges and units of what is swept."""

from __future__ import annotations

from pathlib import Path

import pytest

from simbot.scenario.axes import in_unit, key_meant, keys_changed, read_axis, read_parts
from simbot.scenario.errors import SimbotError
from simbot.scenario.given_numbers import GivenNumber, number_named, numbers_in
from simbot.scenario.relative import changed_text
from simbot.scenario.short_keys import keys_meant, several
from simbot.scenario.yaml_reader import parse_yaml

TREE = parse_yaml(
    """
simbot: 1
robot:
  mass: 11 kg
  motors: {m: {stall_torque: 1 N*m, voltage: 12 V}, g: {internal_ratio: 20}}
  mechanisms:
    lift: {kind: slide, gearing: [{ratio: "2:1"}], drum_diameter: 1.5 in, moving_mass: [1 kg, 2 kg]}
    arm: {kind: arm, gearing: [{ratio: 4}, {ratio: 3}], moving_mass: 1 kg}
    slow: {kind: slide, motors: 2 x g}
    post: {kind: slide, motors: 1 x m}
""",
    "robot.yaml",
)


def axis(written, text, mechanism="", keys=()):
    return read_axis(written, text, [TREE], 5, mechanism, keys)


@pytest.mark.parametrize(("written", "mechanism", "key"), [
    ("robot.mass", "", "robot.mass"), ("mass", "", "robot.mass"), ("lift.drum", "", "lift.drum_diameter"),
    ("robot.lift.drum", "", "lift.drum_diameter"), ("drum_diameter", "lift", "lift.drum_diameter"),
    ("ratio", "lift", "lift.gearing.0.ratio"), ("gearing.1.ratio", "arm", "arm.gearing.1.ratio"),
    ("moving_mass", "arm", "arm.moving_mass"), ("moving_mass.1", "lift", "lift.moving_mass.1"),
    ("m.stall", "lift", "robot.motors.m.stall_torque"), ("current_limit", "lift", "lift.current_limit"),
    ("drum", "arm", "lift.drum_diameter"), ("robot.mas", "", "robot.mass"),
    ("arm.mass", "", "arm.moving_mass"), ("robot.arm.mass", "", "arm.moving_mass"), ("mass", "arm", "arm.moving_mass"),
    ("lift.mass.1", "", "lift.moving_mass.1"), ("mass", "slow", "robot.mass"),
])  # fmt: skip
def test_a_key_may_be_short_where_it_is_clear(written, mechanism, key):
    full = key if key.startswith("robot") else f"robot.mechanisms.{key}"
    assert axis(written, "1:2 kg", mechanism, ("current_limit", "moving_mass")).key == full


@pytest.mark.parametrize(("written", "mechanism", "told"), [
    ("ratio", "arm", "several numbers .*gearing.0.ratio, robot.mechanisms.arm.gearing.1.ratio"),
    ("lift.drom", "", "did you mean 'lift.drum_diameter'"), ("Lift.Drum", "", "did you mean 'lift.drum_diameter'"),
    ("lift drum", "", "did you mean 'lift.drum_diameter'"), ("Lift.Ratio", "", "did you mean 'lift.ratio'"),
    ("lift.mass", "", "several numbers .*lift.moving_mass.0, robot.mechanisms.lift.moving_mass.1$"),
    ("lift.movin_mass", "", "no such number.*would do: robot.*lift.moving_mass.0, robot.*lift.moving_mass.1$"),
    ("arm.movin_mass", "", "did you mean 'arm.moving_mass'"), ("drumm", "", "did you mean 'drum_diameter'"),
])  # fmt: skip
def test_an_unclear_key_is_told(written, mechanism, told):
    with pytest.raises(SimbotError, match=told):
        axis(written, "1:2 mm", mechanism)


@pytest.mark.parametrize(("written", "mechanism"), [
    ("ratio", "slow"), ("gearing", "slow"), ("gearing.0.ratio", "slow"), ("gear_ratio", "slow"), ("slow.ratio", ""),
    ("robot.mechanisms.slow.gearing.0.ratio", ""), ("slow.ratio", "lift"),
])  # fmt: skip
def test_a_ratio_where_no_gearing_is_points_to_both_kinds_of_gears(written, mechanism):
    """Of another mechanism's gearing it is never: what is asked is this one's."""
    with pytest.raises(SimbotError) as caught:
        axis(written, "1:3", mechanism, ("gearing", "motors"))
    told = str(caught.value)
    assert "slow has no gearing in the files" in told and "gearing: [{ratio: 1:1}] of slow" in told
    assert told.endswith("robot.motors.g.internal_ratio, the gears inside its motor")
    with pytest.raises(SimbotError) as caught:
        axis("ratio", "1:3", "post")
    assert "of post" in str(caught.value) and "internal_ratio" not in str(caught.value)


def test_mass_is_no_other_key_that_ends_so():
    keys = ["robot.mechanisms.crane.load_mass", "robot.mechanisms.lift.static_friction"]
    assert keys_meant("crane.mass", keys) == keys[:1] and keys_meant("lift.friction", keys) == []
    assert keys_meant("crane.mass", [*keys, "robot.mechanisms.crane.moving_mass"])[1:] != []


def test_all_of_a_list_of_stages_is_meant_by_a_relative_change():
    lift = tuple(f"robot.mechanisms.lift.moving_mass.{n}" for n in (0, 1))
    for written in ("lift.mass", "robot.lift.mass", "lift.moving_mass", "robot.mechanisms.lift.moving_mass"):
        assert keys_changed(written, "--change", [TREE]) == lift
    assert keys_changed("lift.mass.1", "--change", [TREE]) == lift[1:]
    assert keys_changed("arm.mass", "--change", [TREE]) == ("robot.mechanisms.arm.moving_mass",)
    with pytest.raises(SimbotError, match="several numbers"):
        keys_changed("arm.ratio", "--change", [TREE])


def test_a_key_of_what_holds_several_numbers_names_them():
    with pytest.raises(
        SimbotError, match=r"would do: robot.mechanisms.arm.gearing.0.ratio, robot.*gearing.1.ratio$"
    ):
        axis("gearing", "1:3", "arm", ("gearing",))
    assert axis("gearing", "1:3", "lift", ("gearing",)).key == "robot.mechanisms.lift.gearing.0.ratio"
    assert axis("internal_ratio", "1:3", "slow").key == "robot.motors.g.internal_ratio"


def test_a_key_that_means_many_says_how_to_come_to_the_others():
    keys = [f"plan.routines.{name}.{step}.wait" for name in ("low", "high") for step in range(8)]
    told = str(several("wait", keys))
    assert "plan.routines.low.0.wait" in told and "and 4 more" in told and "…" not in told
    example = told.partition("as in ")[2].rstrip(")")
    assert len(keys_meant(example, keys)) == 1 and len(keys_meant("high.wait", keys)) == 8
    assert str(several("wait", keys[:3])).endswith(", ".join(keys[:3]))


PLAN = parse_yaml(
    """
simbot: 1
plan:
  guard: 50 ms
  only:
    - move: {lift: 0.5 m}
    - wait: 600 ms
    - together: [[{wait: 1 s}], [{wait: 2 s}]]
    - pick: {element: ball, from: bin, by: {hand: shut}, succeeds: 80 %}
""",
    "plan.yaml",
)


def by_sweep(written):
    return read_axis(written, "0.5:1 s", [TREE, PLAN], 5).key


def by_worth(written):
    return key_meant(written, f"--change {written}=1 s", [TREE, PLAN], True)


@pytest.mark.parametrize("find", [by_sweep, by_worth])
def test_a_key_may_be_named_by_its_line(find):
    assert find("plan.line7.wait") == "plan.only.1.wait" and find("plan.line4.guard") == "plan.guard"
    assert find("plan.line9.pick.succeeds") == "plan.only.3.pick.succeeds"
    assert find("robot.line7.drum_diameter") == "robot.mechanisms.lift.drum_diameter"
    for written, told in {
        "plan.line6.wait": "no such key in line 6, given: 'wait'; would do: a line with one: 7, 8",
        "plan.line8.wait": "several stand in line 8",
        "plan.line7.weit": "did you mean 'wait'",
        "game.line7.wait": "there is no such number",
    }.items():
        with pytest.raises(SimbotError, match=told) as caught:
            find(written)
        assert written in str(caught.value)


def test_a_key_written_whole_is_not_one_that_begins_so():
    keys = ["robot.lift.zero", "robot.lift.zero_drift", "robot.lift.moving_mass.0"]
    assert keys_meant("lift.zero", keys) == ["robot.lift.zero"] and keys_meant("lift.zer", keys) == keys[:2]
    nested = ["plan.high.0.together.1.2.wait", "plan.high.2.wait"]
    assert keys_meant("high.2.wait", nested) == nested[1:] and keys_meant("high.wait", nested) == nested
    assert keys_meant("moving_mass", keys) == keys[2:] and keys_meant("robot.lift.zero", keys) == keys[:1]


def test_both_finders_find_the_same():
    """What `sweep` and `worth` take for a key, `fit` does."""
    numbers = list(numbers_in(TREE))
    for written in (
        "robot.mass",
        "lift.drum",
        "lift.ratio",
        "arm.gearing.1.ratio",
        "m.stall",
        "moving_mass.1",
    ):
        assert number_named(written, numbers, "--unknown").key == axis(written, "1:2").key
    with pytest.raises(
        SimbotError, match=r"the files give no such number.*did you mean 'lift.drum_diameter'"
    ):
        number_named("lift.drom", numbers, "--unknown")


@pytest.mark.parametrize(("text", "values", "unit"), [
    ("20:60 mm", (20, 30, 40, 50, 60), "mm"), ("20mm:60mm", (20, 30, 40, 50, 60), "mm"),
    ("20:60:20 mm", (20, 40, 60), "mm"), ("20:61:20 mm", (20, 40, 60), "mm"), ("-2:2", (-2, -1, 0, 1, 2), ""),
    ("0.1:0.3:0.1 ohm", (0.1, 0.2, 0.3), "ohm"), ("1e-3:2e-3:5e-4 m", (0.001, 0.0015, 0.002), "m"),
    ("1:3:1 x wheel", (1, 2, 3), "x wheel"),
])  # fmt: skip
def test_ranges(text, values, unit):
    found = axis("robot.mass", text)
    assert found.values == values and found.unit == unit


def test_what_the_files_say_is_told_in_the_range_s_unit():
    assert axis("lift.drum", "20:60 mm").now == pytest.approx(38.1)
    assert axis("lift.ratio", "1:3").now == 2.0
    assert axis("lift.drum", "20:60 kg").now is None


@pytest.mark.parametrize(("text", "unit", "value"), [
    ("2 in", "mm", 50.8), ("2:1", "", 2.0), ("85 % ± 5 %", "%", 85.0), ("0.5 s", "ms", 500.0), ("1 kg", "mm", None),
    ("1 kgf*cm", "N*m", 0.0980665),
])  # fmt: skip
def test_values_in_another_unit(text, unit, value):
    assert in_unit(text, unit) == (None if value is None else pytest.approx(value))


def test_parts_take_the_range_s_unit_where_they_have_none():
    assert read_parts(axis("lift.drum", "20:60 mm"), "50, 3 cm;1 in, 50") == (25.4, 30.0, 50.0)
    assert read_parts(axis("lift.ratio", "1:6"), "5.2,3.7, 7:1") == (3.7, 5.2, 7.0)


@pytest.mark.parametrize("sign", ["±", "+/-", "+-"])
def test_a_spread_in_any_writing_is_no_part_of_the_unit(sign):
    """As the files may write it, so may what reads numbers out of them."""
    assert in_unit(f"2 in {sign} 3 %", "mm") == 50.8
    assert changed_text(f"0.6 kg {sign} 3 %", "-200 g", "robot.mass") == "0.4 kg ± 3 %"
    given = GivenNumber("robot.mass", f"11 kg {sign} 2 %", Path("robot.yaml"), 1, 1)
    assert (given.number, given.unit, given.has_spread) == (11.0, "kg", True)
