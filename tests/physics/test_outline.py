"""Every kind says what it looks like: a sketch in plain characters, and shapes to scale."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from builders import LARGE, a_robot

from simbot.physics.kinds import KINDS
from simbot.physics.outline import Disc, Line
from simbot.scenario.load import load_robot

SCENARIOS = Path(__file__).parent.parent.parent / "scenarios"
TANK = {
    "kind": "tank", "motors": "4 x m", "gearing": [{"ratio": "8:1"}], "wheel_diameter": "100 mm",
    "wheelbase": "400 mm", "track": "500 mm", "grip": 1.0,
}  # fmt: skip


def shown_somewhere():
    """A mechanism of every kind: of the robots in scenarios/, and a tank."""
    files = [path for path in sorted(SCENARIOS.rglob("*.yaml")) if "\nrobot:" in path.read_text("utf-8")]
    robots = [a_robot({"drive": TANK}, {"m": LARGE}), *(load_robot(path, KINDS)[0] for path in files)]
    return {spec.kind: spec for robot in robots for spec in robot.mechanisms.values()}


EXAMPLES = shown_somewhere()
ROLES = {"frame", "moving", "cord", "load", "ground", "spring"}


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_sketch_is_plain_and_names_keys(kind):
    lines = kind.SKETCH.splitlines()
    assert kind.SKETCH.isascii() and max(map(len, lines)) <= 76
    keys = {parameter.key for parameter in kind.PARAMETERS}
    assert set(re.findall(r"\w+", kind.SKETCH)) & keys
    quoted = set(kind.SKETCH.split("`")[1::2])
    assert quoted <= keys | {"spin"}  # the step that turns a roller


def points(shape):
    if isinstance(shape, Disc):
        assert shape.radius > 0.0
        return [shape.centre, (shape.radius, shape.radius)]
    assert isinstance(shape, Line) and len(shape.points) >= 2
    return shape.points


@pytest.mark.parametrize("kind", KINDS.values(), ids=list(KINDS))
def test_outline_is_finite_over_the_travel(kind):
    spec = EXAMPLES[kind.NAME]
    low, high = spec.values.get("travel") or (-3.0, 3.0)
    drawn = []
    for q in np.linspace(low, high, 13):
        shapes = kind.outline(spec.values, float(q))
        assert all(shape.role in ROLES for shape in shapes)
        assert all(np.isfinite(points(shape)).all() for shape in shapes)
        drawn.append(shapes)
    if kind.COORDINATE != "word":
        assert all(drawn) and len(set(drawn)) > 2  # it moves


def tip_of(kind, q):
    """Centre of the load of a mechanism's drawing [m]."""
    load = next(shape for shape in KINDS[kind].outline(EXAMPLES[kind].values, q) if shape.role == "load")
    return np.array(load.centre if isinstance(load, Disc) else load.points[0])


@pytest.mark.parametrize("kind", ["slide", "winch"])
def test_the_drawn_load_goes_as_far_as_the_coordinate(kind):
    low, high = EXAMPLES[kind].values["travel"]
    for q in np.linspace(low, high, 5):
        assert np.linalg.norm(tip_of(kind, q) - tip_of(kind, low)) == pytest.approx(q - low, abs=1e-12)


def test_the_drawn_arm_stands_at_its_angle():
    assert tip_of("arm", 0.7) == pytest.approx(0.3 * np.array([np.cos(0.7), np.sin(0.7)]))


@pytest.mark.parametrize("kind", ["mecanum", "tank"])
def test_a_drawn_drive_moves_along_its_heading(kind):
    there, back = tip_of(kind, 0.4), tip_of(kind, -0.1)
    assert there - back == pytest.approx([0.5, 0.0])
