"""Whatever stands in the files: they load, or a ScenarioError says why. Nothing else ever comes out."""

# ruff: noqa: E501 - tables read better with one row a line

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simbot.physics.kinds import KINDS
from simbot.scenario.errors import ScenarioError, ValueFault
from simbot.scenario.load import load_plan
from simbot.scenario.unit_table import DIMENSIONS
from simbot.scenario.units import Scale, read_quantity

SAMPLE = Path(__file__).parent.parent / "scenario" / "sample"
TEXTS = {path.stem: path.read_text(encoding="utf-8") for path in SAMPLE.glob("*.yaml")}
TOKENS = (
    *"{}[]:,-*&!|>'\"%@`#?\n\t\0\\ ", "null", "~", "true", "1", "-1", "0", "1e400", "nan", ".inf", "m", "kg", "± 20 %",
    "± ", "within", "moving", "of range", "counts", "x", "until", "arrival", "[]", "{}", "{a: b}", "- ", "  ",
    "lift", "drive", "deliver", "run: deliver", "é", "\U0001f916", "<<: ", "*a", "&a ", "!!int ", "---\n", "...\n",
)  # fmt: skip


@st.composite
def edits(draw):
    """A file of the sample with a few pieces cut out, doubled, moved or put in."""
    name = draw(st.sampled_from(sorted(TEXTS)))
    text = TEXTS[name]
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 30)))
        new = draw(st.one_of(st.sampled_from(TOKENS), st.text(max_size=6), st.just(text[start:end] * 2)))
        text = text[:start] + new + text[end:]
    return name, text


def check(name, data):
    with tempfile.TemporaryDirectory() as folder:
        for other, text in TEXTS.items():
            (Path(folder) / f"{other}.yaml").write_bytes(data if other == name else text.encode())
        try:
            load_plan(Path(folder) / "plan.yaml", KINDS)
        except ScenarioError as error:
            assert error.problems
            for problem in error.problems:
                assert "\n" not in str(problem) and problem.text


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(edits())
def test_edited_files(edit):
    name, text = edit
    check(name, text.encode("utf-8", "surrogatepass"))


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(sorted(TEXTS)), st.one_of(st.binary(max_size=60), st.text(max_size=60).map(str.encode))
)
def test_files_of_anything(name, data):
    check(name, data)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(
        ["robot.mass", "robot.mechanisms.lift.control", "plan.autonomous", "game.periods", "x", ""]
    ),
    st.one_of(st.sampled_from(TOKENS), st.text(max_size=20)),
)
def test_overrides_of_anything(key, value):
    try:
        load_plan(SAMPLE / "plan.yaml", KINDS, {key: value})
    except ScenarioError as error:
        assert error.problems


@settings(max_examples=400, deadline=None)
@given(
    st.sampled_from([*DIMENSIONS, "ratio", "number", "count"]),
    st.one_of(
        st.text(max_size=20),
        st.builds("{} {}".format, st.floats(), st.sampled_from([unit for kind in DIMENSIONS.values() for unit in kind.units])),
        st.lists(st.sampled_from([*TOKENS, "3", "4.5", "mm", "/", "^", "2", "s", "deg", "N", "±", "%"]), max_size=8).map("".join),
    ),
)  # fmt: skip
def test_values_of_anything(dimension, text):
    try:
        value = read_quantity(text, dimension, Scale(2900.0, 5.0))
    except ValueFault as fault:
        assert str(fault)
    else:
        assert abs(value) < float("inf") and value.spread >= 0
