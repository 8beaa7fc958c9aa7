"""The page's text: names stay data, the same bytes again, studies read or told."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from simbot.analysis.polylines import BUS_TOLERANCE, courses_of, thinned
from simbot.cli import status
from simbot.physics.kinds import KINDS
from simbot.report.page import say, tables
from simbot.report.page.answers import _compared
from simbot.report.page.evidence import batteries
from simbot.report.page.replay import as_script_data
from simbot.report.page.studies import studies_of
from simbot.report.page.svg import percent, tag, words
from simbot.routine.match import play
from simbot.scenario.errors import SimbotError
from simbot.scenario.load import load_plan

STARTER = Path("simbot/starter")
EVIL = "<script>alert(1)</script>\"'&"


def written(folder: Path, plan_name: str = "first plan") -> Path:
    """The starter's files with another name of the plan."""
    for name in ("game", "robot", "plan"):
        text = (STARTER / f"{name}.yaml").read_text(encoding="utf-8")
        text = text.replace("  name: first plan", f"  name: {json.dumps(plan_name)}")
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    return folder / "plan.yaml"


class Reader(HTMLParser):
    """Tags that are open at the end, scripts, texts, and what an element asks for."""

    VOID = frozenset({"meta", "link", "br", "input", "img"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.scripts = 0
        self.text: list[str] = []
        self.asks: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.scripts += tag == "script"
        self.asks += [
            value for key, value in attrs if key in ("src", "href") and not value.startswith(("#", "data:"))
        ]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


@pytest.fixture(scope="module")
def evil_page(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("evil")
    plan = written(folder, EVIL)
    assert status(["report", str(plan), "--out", str(folder / "page.html")]) == 0
    return folder, (folder / "page.html").read_text(encoding="utf-8")


def test_names_of_files_are_data(evil_page):
    _, text = evil_page
    reader = Reader()
    reader.feed(text)
    assert reader.open == []
    assert reader.scripts == 2  # the data and the page's own
    assert "".join(reader.text).count("<script>alert(1)</script>") > 3
    assert "<script>alert" not in text
    assert reader.asks == []


def test_same_bytes_again_and_no_date(evil_page):
    folder, text = evil_page
    assert status(["report", str(folder / "plan.yaml"), "--out", str(folder / "page.html")]) == 0
    assert (folder / "page.html").read_text(encoding="utf-8") == text
    assert not re.search(r"\b20[2-9]\d-\d\d-\d\d\b", text)


def test_it_tells_the_same_command(evil_page):
    folder, text = evil_page
    assert f"simbot report {folder.as_posix()}/plan.yaml --out {folder}/page.html" in text


def test_pieces_escape():
    assert (
        words(EVIL, 0, 0) == '<text x="0" y="0">&lt;script&gt;alert(1)&lt;/script&gt;&quot;&#x27;&amp;</text>'
    )
    assert tag("a", href_='x" onload="y') == '<a href="x&quot; onload=&quot;y"/>'
    assert "<" not in as_script_data({"a": "</script>", "b": EVIL})
    assert json.loads(as_script_data({"a": EVIL})) == {"a": EVIL}


def test_percent():
    assert percent(0.0, 0.0) == "0%"  # waits that all end at once
    assert percent(1, 8) == "12.5%"
    assert percent(0, 8) == "0%"


def test_thinned_keeps_within_its_tolerance():
    at = np.arange(2001, dtype=np.int64) * 20_000
    values = np.column_stack((np.sin(at / 1e6), np.where(at > 7_000_000, 1.0, 0.0)))
    kept = thinned(at, values, (1e-3, 1e-3))
    assert len(kept) < 600
    for column in range(2):
        again = np.interp(at, at[kept], values[kept, column])
        assert np.abs(again - values[:, column]).max() <= 1e-3 * (1 + 1e-9)


def test_thinned_straight_line_keeps_its_ends():
    at = np.arange(50, dtype=np.int64)
    assert thinned(at, 3.0 * at[:, None].astype(float), (0.1,)).tolist() == [0, 49]


@pytest.fixture(scope="module")
def run():
    plan = load_plan(STARTER / "plan.yaml", KINDS)[0]
    trace, plant = play(plan, plan.robot.battery[1])
    return trace, plant, courses_of(plant, trace)


def test_courses_are_where_the_plant_was(run):
    trace, plant, courses = run
    lift = next(one for one in courses.mechanisms if one.mechanism == "lift")
    for at_us in range(0, trace.horizon_us, 1_370_000):
        shown = np.interp(at_us, lift.at_us, lift.values)
        assert shown == pytest.approx(plant.position("lift", at_us), abs=6e-4)
        pose = plant.pose(at_us)
        x, y = (np.interp(at_us, courses.pose_at_us, courses.pose[:, axis]) for axis in range(2))
        assert (x, y) == pytest.approx((pose.x, pose.y), abs=2e-3)


def test_no_dip_of_the_bus_is_lost(run):
    _, plant, courses = run
    assert courses.bus.min() == pytest.approx(plant.lowest_bus()[0], abs=BUS_TOLERANCE)


# --- studies -----------------------------------------------------------------------------------------


def document(**more: object) -> str:
    return json.dumps({"format": 1, "document": "worth", "plan": "a", **more})


def test_studies_of_other_plans_are_told(tmp_path):
    (tmp_path / "one.json").write_text(document(), encoding="utf-8")
    (tmp_path / "other.json").write_text(document(plan="b"), encoding="utf-8")
    (tmp_path / "run.json").write_text(document(document="run"), encoding="utf-8")
    studies, remarks = studies_of(tmp_path, ["a"])
    assert list(studies.worth) == ["a"]
    assert [Path(remark.partition(": ")[0]).name for remark in remarks] == [
        "other.json",
    ]


def test_plans_of_one_name_are_told_apart_as_a_comparison_does(tmp_path):
    """A comparison of them is found; what is about one of them by its name alone is told and left out."""
    names = ["a/plan.yaml", "b/plan.yaml"]
    compared = document(document="compare", plans=[{"name": name} for name in names])
    (tmp_path / "both.json").write_text(compared, encoding="utf-8")
    (tmp_path / "one.json").write_text(document(), encoding="utf-8")
    studies, (remark,) = studies_of(tmp_path, names, (), ["a", "a"])
    assert studies.compare is not None and not studies.worth
    assert remark.endswith("one.json: worth of a, and several of the plans are named so, left out")


def test_a_page_of_two_plans_of_one_name(tmp_path):
    plans = []
    for name in "ab":
        (tmp_path / name).mkdir()
        plans.append(str(written(tmp_path / name)))
    (tmp_path / "studies").mkdir()
    page = tmp_path / "page.html"
    assert status(["report", *plans, "--studies", str(tmp_path / "studies"), "--out", str(page)]) == 0
    text = page.read_text(encoding="utf-8")
    assert "a/plan.yaml" in text and "b/plan.yaml" in text


@pytest.mark.parametrize(("kept", "said"), [([12], True), ([], False)])
def test_timers_that_stay_are_told_beside_what_changes_are_worth(kept, said, tmp_path):
    change = {
        "change": "lift: geared 15 % faster",
        "points": 1.0,
        "interval": [0.5, 1.5],
        "mean_points": 11.0,
    }
    own = document(plan="first plan", seed=1, runs=20, changes=[change], together=None, timer_lines=kept)
    (tmp_path / "studies").mkdir()
    (tmp_path / "studies" / "worth.json").write_text(own, encoding="utf-8")
    page = tmp_path / "page.html"
    asked = ["report", str(written(tmp_path)), "--studies", str(tmp_path / "studies"), "--out", str(page)]
    assert status(asked) == 0
    assert ("Timers stay as the plan has them" in page.read_text(encoding="utf-8")) is said


@pytest.mark.parametrize(("mean", "tie", "told"), [
    (0.0, 1.0, "a and b are equal: they score the same in every match."),
    (0.02, 0.9, "Too close to say: b is 0.02 points ahead of a, 10.0 to 10.0, and wins 8 of 100 matches."),
    (0.3, 0.5, "Too close to say: b is 0.3 points ahead of a, 10.3 to 10.0, and wins 48 of 100 matches."),
])  # fmt: skip
def test_what_is_not_equal_is_never_0_points_apart(mean, tie, told):
    points = {"mean": 10.0, "p10": 8.0, "p50": 10.0, "p90": 12.0}
    pair = {
        "first": "a", "second": "b", "difference": {"value": -mean, "interval": [-2 * mean, mean]},
        "chance_first_wins": {"value": 0.02}, "chance_tie": tie, "settled": False,
    }  # fmt: skip
    plans = [{"name": name, "points": {**points, "mean": 10.0 + (name == "b") * mean}} for name in "ab"]
    found = _compared({"plans": plans, "pairs": [pair], "seed": 1, "battery": ["fresh"], "runs": 60})
    assert "".join(text for _, text in found.says[0]) == told


def test_two_answers_to_one_question(tmp_path):
    for name in ("x", "y"):
        (tmp_path / f"{name}.json").write_text(document(), encoding="utf-8")
    with pytest.raises(SimbotError, match=r"x\.json and y\.json both are worth of a"):
        studies_of(tmp_path, ["a"])


def test_a_document_of_another_format(tmp_path):
    (tmp_path / "old.json").write_text(document(format=0), encoding="utf-8")
    with pytest.raises(SimbotError, match=r"key 'format': given 0; this simbot reads 1"):
        studies_of(tmp_path, ["a"])


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (
            ["report", "simbot/starter/plan.yaml", "simbot/starter/plan.yaml"],
            "simbot/starter/plan.yaml is given twice",
        ),
        (
            ["report", "simbot/starter/plan.yaml", "--studies", "no/such"],
            "--studies no/such: there is no such folder",
        ),
        (
            ["report", "simbot/starter/plan.yaml", "--out", "no/such/page.html"],
            "--out no/such/page.html: there is no such",
        ),
        (["report", "no-such.yaml"], "no-such.yaml"),
    ],
)
def test_mistakes(arguments, told, capsys):
    assert status(arguments) == 2
    assert told in capsys.readouterr().err


def test_what_never_arrives_is_drawn_and_told_without_a_timer(move):
    """Neither floor nor arrival nor timer gives the scale; its place has no margin."""
    stuck = move(arrival_us=None, timer_us=None, floor_us=None, verdict=None, stuck=True, ends_at=0.3)
    ran = SimpleNamespace(state=SimpleNamespace(name="tired", moves=(stuck,)))
    drawn = batteries(SimpleNamespace(ran=(ran,)), stuck)
    assert "tired never" in drawn and "never arrives" in drawn
    assert say.verdict(stuck) == "never"
    assert "stood until its period ended" in say.sentence(stuck)


def test_what_was_seen_too_early_is_no_timer_that_is_short(move):
    early = move(seen_arrival_us=800_000, timer_us=800_000, verdict="short", consequence="harmless")
    shown = tables.cell("tired", early, say.consequence(early))
    assert (shown.timer, shown.verdict, shown.what) == ("(800)", "early", "no stated need follows")
