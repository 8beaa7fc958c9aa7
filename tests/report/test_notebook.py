"""The notebook page: its numbers are the run's, it stands alone, and what stands in files stays text in it."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from simbot.physics.kinds import KINDS
from simbot.report.notebook import notebook_page
from simbot.report.rendered import inlined
from simbot.report.studies_read import Study, read_studies
from simbot.report.summary import fold_moves
from simbot.scenario.load import load_plan
from simbot.studies.shown import show

ROOT = Path(__file__).parent.parent.parent
STUDIES = Path(__file__).parent / "studies"
EVIL = "<script>alert('1')</script><img src=x onerror=alert(1)>"


class Page(HTMLParser):
    """Tags, attributes and text of a page."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.attributes, self.rows, self.words = [], [], [], ""
        self.in_cell = False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th") and self.rows:
            self.rows[-1].append("")
            self.in_cell = True

    def handle_data(self, data):
        self.words += data
        if self.in_cell:
            self.rows[-1][-1] += data.strip()

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self.in_cell = False


@pytest.fixture(scope="module")
def shown():
    return show(load_plan(ROOT / "scenarios" / "night-market" / "lanterns.yaml", KINDS)[0])


@pytest.fixture(scope="module")
def text(shown):
    return notebook_page(shown, read_studies(STUDIES))


def test_it_asks_predicts_measures_and_says_what_is_next(text):
    headings = re.findall(r"<h2>(.*?)</h2>", text)
    assert headings == [
        "Question", "Prediction", "What was drawn", "Measurement", "% of ideal", "Next step", "What it rests on",
    ]  # fmt: skip


def test_shares_of_the_ideal_are_floor_over_time(shown, text):
    rows = {row[0]: row for row in Page(text).rows if len(row) == 8 and row[1] != "floor"}
    moves = [fold.worst for fold in fold_moves(shown.state.moves).values()]
    assert len(rows) == len(moves)
    for move in moves:
        row = rows[f"{move.step} {move.label}, line {move.line}"]
        assert row[2] == f"{move.arrival_us / 1000:.0f}"
        if move.floor_us:
            assert float(row[6].rstrip(" %")) == pytest.approx(100 * move.floor_us / move.arrival_us, abs=0.5)
            assert float(row[7].rstrip(" %")) == pytest.approx(100 * move.floor_us / move.timer_us, abs=0.5)
            assert (float(row[7].rstrip(" %")) > 100) == (move.verdict == "impossible")


def test_measurements_stand_beside_predictions(shown, text):
    (move,) = (fold.worst for fold in fold_moves(shown.state.moves).values() if fold.worst.measured_s)
    (row,) = (row for row in Page(text).rows if row[0].startswith(f"{move.step} ") and len(row) == 6)
    mean = sum(move.measured_s) / len(move.measured_s)
    assert row[1] == "3" and row[2].startswith(f"{mean:.2f}") and row[3] == f"{move.arrival_us / 1e6:.2f}"
    assert row[4] == f"{mean / (move.arrival_us / 1e6):.2f}"
    assert row[5] == f"{100 * move.floor_us / 1e6 / mean:.0f} %"


def test_advice_and_studies_come_as_next_steps(text):
    words = Page(text).words
    assert "Lengthen the timer in line 31 from 640 ms to 740 ms" in words
    assert "lanterns rather than tins: 10.7 points a match more" in words
    assert "The change worth most: every battery as the fresh one" in words


def test_it_stands_alone(text):
    page = Page(text)
    assert not {"script", "link", "iframe", "object", "img"} & set(page.tags)
    for key, value in page.attributes:
        assert not key.startswith("on")
        if key in ("src", "href", "xlink:href"):
            assert value.startswith("#")
    assert "url(http" not in text and "@import" not in text
    assert text.count("<svg") == text.count("</svg>") >= 8
    ids = [value for key, value in page.attributes if key == "id"]
    assert len(ids) == len(set(ids))
    used = re.findall(r'(?:url\(#|href="#)([^)"]+)', text)
    assert used and set(used) <= set(ids)
    assert len(text) < 600_000


def test_every_drawing_has_a_name_and_every_table_a_caption(text):
    page = Page(text)
    assert page.tags.count("svg") == sum(key == "aria-label" for key, _ in page.attributes)
    assert page.tags.count("table") == page.tags.count("caption")


def test_the_same_bytes_again(shown, text):
    assert notebook_page(shown, read_studies(STUDIES)) == text
    assert not re.search(r"\b20\d\d-\d\d-\d\d\b", text) and str(ROOT) not in text


def test_what_stands_in_the_files_stays_text(shown):
    robot = replace(shown.plan.robot, name=EVIL)
    moves = tuple(replace(move, label=EVIL) for move in shown.state.moves)
    state = replace(shown.state, moves=moves)
    states = tuple(state if one.name == state.name else one for one in shown.run.states)
    plan = replace(shown.plan, name=EVIL, robot=robot)
    hostile = {"plan": EVIL, "seed": 1, "runs": 20, "lost": [{"reason": EVIL, "points": 3.0}]}
    study = Study(STUDIES / "match.json", "fit", {**hostile, "compared": [], "parameters": []})
    page = notebook_page(
        replace(shown, plan=plan, state=state, run=replace(shown.run, states=states)), [study]
    )
    parsed = Page(page)
    assert "script" not in parsed.tags and "img" not in parsed.tags
    assert not any(key.startswith("on") for key, _ in parsed.attributes)
    assert EVIL in parsed.words


def test_inlined_drawings_do_not_share_ids():
    svg = (
        b'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"><path id="a"/>'
        b'<use xlink:href="#a"/><g clip-path="url(#a)" style="fill: url(#a)"><text>id="a" &lt;b&gt;</text></g></svg>'
    )
    one = inlined(svg, "f1", 'a "name"')
    assert 'id="f1-a"' in one and '"#f1-a"' in one and one.count("url(#f1-a)") == 2
    assert 'id="a" &lt;b&gt;' in one and 'aria-label="a &quot;name&quot;"' in one
