"""What the language of games and plans has, the scenarios that ship show: each word in a file that loads.

The words are those of the readers' own shapes and tables, so that a new one without an example fails here.
"""

from __future__ import annotations

import re
from collections import defaultdict
from pathlib import Path

import pytest

from simbot.physics.kinds import KINDS
from simbot.scenario import fields, schema
from simbot.scenario.conditions import ConditionReader
from simbot.scenario.fields import Shape
from simbot.scenario.game_file import OUTCOMES
from simbot.scenario.load import load_plan
from simbot.scenario.match_keys import FORMS
from simbot.scenario.sheet import Desk, Sheet, shape_keys
from simbot.scenario.steps import StepReader
from simbot.scenario.yaml_reader import parse_yaml

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PLANS = [path for path in sorted(SCENARIOS.rglob("*.yaml")) if "\nplan:" in path.read_text(encoding="utf-8")]
SHAPES = {
    name: shape
    for name, shape in vars(schema).items()
    if isinstance(shape, type) and issubclass(shape, Shape) and shape is not Shape
}
ACTING = ("PickShape", "PlaceStepShape", "HandOverShape")  # what they share is shown where one of them has it
OF_ROBOTS = (  # `simbot kinds` and the README's table of what a robot file may say besides show their keys
    *("RobotShape", "ResetShape", "BatteryShape", "PolarisationShape", "MeasuredShape", "BatteryStateShape"),
    *("RailShape", "FuseShape", "HeatShape", "PointShape", "MotorShape", "StageShape", "OrderShape"),
)
NOT_SHOWN = {
    (
        "StationShape",
        "outline",
    ): "no station of the demo is in the way of anybody: obstacles in post.yaml have corners",
    ("PlaceShape", "outline"): "as of a station",
    ("PatternShape", "takes"): "of a station that runs out; the chute, which is shared, never does",
    ("PlaceStepShape", "count"): "every hand of the demo lets go of all that it holds",
    (
        "PlaceStepShape",
        "thrown_by",
    ): "nothing in the demo throws; `simbot move` of flywheel.yaml shows a throw",
    ("EffortKeys", "after"): "no effort of a scenario ends at a stop that it should press on",
    ("SpinShape", "measured"): "what turns at a speed in the demo is nobody's to time",
    ("SourceShape", "*"): "the numbers of a team's own code: `simbot start --from` writes such plans",
    (
        "condition",
        "points",
    ): "a plan that turns on the score is for a team that sees it; the robots here do not",
    ("condition", "stock"): "the robots here see a rack by camera (`seen`), not by count",
}


class Seen:
    """Words that were read."""

    def __init__(self) -> None:
        self.words: set[tuple[str, str]] = set()
        self.choices: dict[tuple[str, ...], set[str]] = defaultdict(set)


@pytest.fixture(scope="module")
def seen():
    """All plans read, with whatever files they name."""
    found, read, choose, when = Seen(), Sheet.read, fields.read_choice, ConditionReader.read

    def read_and_note(self, loc, shape, *more, **named):
        found.words |= {(shape.__name__, key) for key in self.keys(loc)}
        if shape.__name__ in ACTING:
            found.words |= {("ActShape", key) for key in self.keys(loc)}
        return read(self, loc, shape, *more, **named)

    def choose_and_note(value, choices):
        word = choose(value, choices)
        found.choices[choices].add(word)
        return word

    def when_and_note(self, loc, negated=False):
        found.words |= {("condition", key) for key in self.sheet.keys(loc)}
        return when(self, loc, negated)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Sheet, "read", read_and_note)
        patch.setattr(fields, "read_choice", choose_and_note)
        patch.setattr(ConditionReader, "read", when_and_note)
        for path in PLANS:
            load_plan(path, KINDS)
    return found


def asked() -> set[tuple[str, str]]:
    """Every key of a game, a plan or a step, and every condition."""
    inherited = set(shape_keys(schema.ActShape))
    words = set()
    for name, shape in SHAPES.items():
        if name in OF_ROBOTS:
            continue
        keys = set(shape_keys(shape)) - (inherited if name in ACTING else set())
        words |= {(name, key) for key in keys}
    reader = ConditionReader(None, None, None, 0)  # type: ignore[arg-type]
    return words | {("condition", key) for key in (*reader.forms, "not")}


def test_every_key_and_condition_is_shown_or_has_a_reason(seen):
    unshown = asked() - seen.words - {("OuterShape", "run")}  # a run has a shape of its own
    reasons = {(name, key) for name, key in asked() if (name, key) in NOT_SHOWN or (name, "*") in NOT_SHOWN}
    assert unshown == reasons  # neither more nor fewer: a reason whose word is shown by now goes


def test_every_step_word_is_shown(seen):
    sheet = Sheet(Path("none.yaml"), parse_yaml("plan: {}", "none.yaml"), Desk())
    assert set(StepReader(sheet, None, None, 0).forms) <= {key for _, key in seen.words}


def test_every_choice_of_a_step_and_every_outcome_is_shown(seen):
    for word in (OUTCOMES, ("settling", "driver", "stagger", "search"), ("repeat", "period")):
        assert seen.choices[word] == set(word)


def test_every_way_to_be_another_on_the_field_is_shown(seen):
    assert all((shape.__name__, key) in seen.words for key, shape in FORMS.items())


def test_waits_for_a_passing_by_share_and_by_place_are_shown():
    text = "\n".join(path.read_text(encoding="utf-8") for path in PLANS)
    assert "past 50 %" in text and "past 70 deg" in text


def test_the_plan_for_two_shows_what_the_other_demo_plans_do_not():
    """The words that only it has are commented where they stand, for whoever learns from it."""
    text = (SCENARIOS / "night-market" / "alliance.yaml").read_text(encoding="utf-8")
    for word in (
        *("try", "otherwise", "tries", "when", "first", "leave", "let_go", "with", "sense", "hand_over"),
        *("others", "defends", "driver", "orientations", "at_end", "change", "guard", "curve", "corner"),
    ):
        assert f"{word}:" in text, word


def test_the_shapes_that_the_readme_shows_are_read(tmp_path):
    """Its table of keys, laid into the demo's files instead of what they say."""
    readme = (SCENARIOS.parent / "README.md").read_text(encoding="utf-8")
    cells = dict(re.findall(r"^\| (`.*?) \| (`.*) \|$", readme, re.MULTILINE))
    rows = {key: re.findall(r"`([^`]+)`", cell) for key, cell in cells.items()}
    for file in (SCENARIOS / "night-market").glob("*.yaml"):
        (tmp_path / file.name).write_text(file.read_text(encoding="utf-8"), encoding="utf-8")
    game, plan = tmp_path / "game.yaml", tmp_path / "alliance.yaml"
    penalties, possession = rows["`penalties`, `possession`"]
    more = {
        "bonuses": rows["`bonuses`"][0],
        "penalties": penalties,
        "possession": possession,
        "at_end": rows["`at_end` of a game"][0],
    }
    text = game.read_text(encoding="utf-8").partition("  bonuses:")[0]
    game.write_text(text + "".join(f"  {key}: {shape}\n" for key, shape in more.items()), encoding="utf-8")
    text = plan.read_text(encoding="utf-8")
    for key, shape in (("at_end", rows["`at_end` of a plan"][0]), ("guard", rows["`guard` of a plan"][0])):
        text = re.sub(rf"^  {key}:.*$", f"  {key}: {shape}", text, flags=re.MULTILINE)
    plan.write_text(text, encoding="utf-8")
    read, _ = load_plan(plan, KINDS)
    asked, shown = read.game, load_plan(SCENARIOS / "night-market" / "alliance.yaml", KINDS)[0].game
    assert [one.points for one in asked.bonuses] == [one.points for one in shown.bonuses] == [6.0]
    assert (asked.penalties, asked.possession) == (shown.penalties, shown.possession)
    assert {name: one.points for name, one in asked.at_end.items()} == {"on_mat": 6.0, "folded": 2.0}
    assert read.guard_us == 60_000 and [need.mechanism for need in read.at_end["folded"]] == ["lift"]
