"""Figures show the numbers of the run, fit their sheet, can be read at 80 mm, and are the same bytes on any day."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.patches import Polygon, Rectangle, StepPatch
from stopwatches import a_plan, pick, place, wait

from simbot.cli import report as cli_report
from simbot.cli import status
from simbot.physics.kinds import KINDS
from simbot.report.figures import style
from simbot.report.figures.all import makers, plain_name, write_figures
from simbot.report.figures.cycle import PARTS, figure_cycle
from simbot.report.figures.field import figure_field, stops_of
from simbot.report.figures.fitted import figure_fit
from simbot.report.figures.studied import figure_difference, figure_scores
from simbot.report.figures.style import ALARM, INK
from simbot.report.figures.swept import figure_sweep
from simbot.report.figures.timeline import Window, figure_timeline, window_of
from simbot.report.figures.worth import figure_worth
from simbot.report.studies_read import Study, read_studies
from simbot.report.summary import breaks, has_target
from simbot.scenario.errors import SimbotError
from simbot.scenario.load import load_plan
from simbot.studies.shown import show

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "scenarios" / "night-market"
STUDIES = Path(__file__).parent / "studies"
LEAST_PT = 5.5  # at 80 mm: about 2 mm high capitals and figures are still read (common practice, no source)
EVIL = '<script>alert("1")</script> --> $x^{2}$ $ \\frac &amp; =1+1'


@pytest.fixture(scope="module")
def lanterns():
    return show(load_plan(DEMO / "lanterns.yaml", KINDS)[0])


@pytest.fixture(scope="module")
def tins():
    return show(load_plan(DEMO / "tins.yaml", KINDS)[0])


@pytest.fixture(scope="module")
def documents():
    return {study.kind: study.document for study in read_studies(STUDIES)}


def every(lanterns, tins):
    return list(makers([lanterns, tins], read_studies(STUDIES)))


@pytest.fixture(autouse=True)
def in_style():
    with style.styled():
        yield


def test_the_demo_gives_every_figure(lanterns, tins):
    names = [name for name, _ in every(lanterns, tins)]
    kinds = {name.split("-")[0] for name in names}
    assert kinds == {"timeline", "field", "cycle", "scores", "difference", "worth", "sweep", "fit"}
    assert len(set(names)) == len(names)


def test_all_that_is_written_lies_on_the_sheet_and_can_be_read(lanterns, tins):
    for name, make in every(lanterns, tins):
        figure = make()
        assert figure.get_size_inches()[0] == pytest.approx(80.0 / 25.4)
        figure.canvas.draw()
        texts = [*figure.texts, *(text for axes in figure.axes for text in axes.texts)]
        texts += [
            label for axes in figure.axes for label in (*axes.get_xticklabels(), *axes.get_yticklabels())
        ]
        for text in texts:
            if not text.get_text() or not text.get_visible():
                continue
            assert text.get_fontsize() >= LEAST_PT, (name, text.get_text())
            box = text.get_window_extent()
            inside = figure.bbox.x0 - 1 <= box.x0 and box.x1 <= figure.bbox.x1 + 1
            assert inside and figure.bbox.y0 - 1 <= box.y0 <= box.y1 <= figure.bbox.y1 + 1, (
                name,
                text.get_text(),
            )


def test_written_lines_do_not_cover_one_another(lanterns, tins):
    for name, make in every(lanterns, tins):
        figure = make()
        figure.canvas.draw()
        boxes = [(text.get_text(), text.get_window_extent()) for text in figure.texts]
        for axes in figure.axes:
            own = [text for text in axes.texts if text.get_text()]
            boxes += [(text.get_text(), text.get_window_extent()) for text in own]
        for number, (one, box) in enumerate(boxes):
            for other, over in boxes[number + 1 :]:
                wide = min(box.x1, over.x1) - max(box.x0, over.x0)
                high = min(box.y1, over.y1) - max(box.y0, over.y0)
                assert wide < 2 or high < 0.35 * min(box.height, over.height), (name, one, other)


# --- the numbers --------------------------------------------------------------------------------------


def test_timeline_draws_floor_arrival_and_timer_of_every_wait(lanterns):
    figure, window = figure_timeline(lanterns), window_of(lanterns)
    solid = {
        (round(patch.get_x(), 6), round(patch.get_width(), 6))
        for axes in figure.axes
        for patch in axes.patches
        if isinstance(patch, Rectangle) and patch.get_facecolor()[:3] == pytest.approx(_rgb(INK), abs=1e-6)
    }
    points = {
        round(float(x), 6) for axes in figure.axes for line in axes.lines if line.get_marker() == "o"
        for x in np.atleast_1d(line.get_xdata())
    }  # fmt: skip
    flags = {
        round(float(patch.get_xy()[0][0]), 6): patch.get_facecolor()
        for axes in figure.axes[1:]
        for patch in axes.patches
        if isinstance(patch, Polygon)
    }
    drawn = 0
    for move in filter(has_target, lanterns.state.moves):
        start = move.start_at_us * 1e-6
        if not window.begin <= start < window.end or move.floor_us is None:
            continue
        drawn += 1
        assert (round(start, 6), round(min(move.floor_us, move.arrival_us) * 1e-6, 6)) in solid, move
        assert round(start + move.arrival_us * 1e-6, 6) in points
        if move.timer_written_us is not None:
            alarmed = tuple(flags[round(start + move.timer_us * 1e-6, 6)][:3]) == pytest.approx(_rgb(ALARM))
            assert alarmed == breaks(move)
    assert drawn > 8


def _rgb(colour):
    return tuple(int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5))


def test_timeline_shows_the_cycle_that_breaks(lanterns, tins):
    window = window_of(lanterns)
    first = next(found for found in lanterns.state.findings if found.fails)
    assert window.begin <= first.at_us * 1e-6 <= window.end
    told = " ".join(text.get_text() for axes in figure_timeline(lanterns).axes for text in axes.texts)
    assert f"{first.outcome}, {first.late_us / 1000:.0f} ms too early" in told
    usual = window_of(tins)
    assert usual.name == "a cycle of usual length"
    assert abs(usual.end - usual.begin - tins.state.cycle_time_s) < 1.5


def test_bars_of_the_cycle_are_its_parts(lanterns, tins):
    figure = figure_cycle([lanterns, tins])
    bars = [patch.get_width() for patch in figure.axes[-1].patches]
    shares = [getattr(shown.state.time, key) for key, _, _ in PARTS for shown in (lanterns, tins)]
    assert bars == pytest.approx(shares)
    assert sum(bars[::2]) == pytest.approx(lanterns.state.cycle_time_s)


def test_margins_stand_beside_one_another(lanterns):
    """Also where two stretches of a lane have room on the same side of it."""
    figure = figure_timeline(lanterns, Window(60.0, 74.0, "crowded"))
    for axes in figure.axes:
        margins = [text for text in axes.texts if text.get_text().split()[-1][:1] in "+\u2212"]
        boxes = [text.get_window_extent() for text in margins]
        assert not [1 for number, one in enumerate(boxes) for other in boxes[:number] if one.overlaps(other)]


def test_field_goes_where_the_robot_went(lanterns):
    line = max(figure_field(lanterns).axes[0].lines, key=lambda each: len(each.get_xdata()))
    window, course = window_of(lanterns), lanterns.course
    there = (course.t >= window.begin) & (course.t <= window.end)
    assert np.array_equal(np.column_stack(line.get_data()), course.poses[there, :2])
    t = np.arange(0.0, 4.0, 0.02)
    x = np.clip(t - 1.0, 0.0, 1.0)
    stops = stops_of(t, np.column_stack((x, 0 * x, 0 * x)))
    assert [(stop.x, round(stop.seconds, 1)) for stop in stops] == [(0.0, 1.0), (pytest.approx(1.0), 2.0)]
    turning = np.clip(t - 2.5, 0.0, 1.0)  # of the last two seconds one is a turn in place
    stops = stops_of(t, np.column_stack((x, 0 * x, turning)))
    assert [round(stop.seconds, 1) for stop in stops] == [1.0, 1.0]


def test_scores_are_shares_of_the_matches(documents):
    document = documents["compare"]
    figure = figure_scores(document)
    outlines = [patch for patch in figure.axes[0].patches if isinstance(patch, StepPatch)]
    assert len(outlines) == 2 * len(document["plans"])
    for outline in outlines:
        assert sum(outline.get_data().values) == pytest.approx(1.0)
    dots = [float(line.get_xdata()[0]) for line in figure.axes[1].lines if line.get_marker() == "o"]
    assert dots == [plan["points"]["p50"] for plan in document["plans"]]


def test_difference_and_worth_stand_at_their_values(documents):
    pair = documents["compare"]["pairs"][0]
    figure = figure_difference(documents["compare"], 0)
    (dot,) = (line.get_xdata()[0] for line in figure.axes[1].lines if line.get_marker() == "o")
    assert dot == pair["difference"]["value"]
    changes = [one for one in documents["worth"]["changes"] if any((one["points"], *one["interval"]))]
    dots = [
        line.get_xdata()[0]
        for line in figure_worth(documents["worth"]).axes[0].lines
        if line.get_marker() == "o"
    ]
    assert dots == [one["points"] for one in changes]


def test_sweep_marks_the_best_and_its_flat_region(documents):
    document = documents["sweep"]
    axes = figure_sweep(document).axes[0]
    band = next(patch for patch in axes.patches if isinstance(patch, Rectangle))
    assert (band.get_x(), band.get_x() + band.get_width()) == pytest.approx(
        (document["flat"]["from"], document["flat"]["to"])
    )
    dots = [line.get_xdata()[0] for line in axes.lines if line.get_marker() == "o"]
    assert document["best"][0] in dots and document["now"]["at"][0] in dots


def test_residuals_are_measured_less_predicted(documents):
    rows = [row for row in documents["fit"]["compared"] if row["unit"] == "s"]
    upper, lower = figure_fit(documents["fit"]).axes
    dots = [
        [line.get_xydata()[0] for line in axes.lines if line.get_marker() in "oX"] for axes in (upper, lower)
    ]
    assert any(np.allclose(dot, (rows[0]["predicted"], rows[0]["measured"])) for dot in dots[0])
    rest = [dot[1] for dot in dots[1]]
    assert rest == pytest.approx([row["measured"] - row["predicted"] for row in rows])


# --- the files ----------------------------------------------------------------------------------------


def test_the_same_bytes_on_another_day(lanterns, tmp_path, monkeypatch):
    studies = read_studies(STUDIES)
    first = write_figures(tmp_path / "one", [lanterns], studies)
    import matplotlib.backends.backend_svg as backend

    class Later(backend.datetime.datetime):
        @classmethod
        def today(cls):
            return cls(2099, 12, 31)

        @classmethod
        def now(cls, tz=None):
            return cls(2099, 12, 31, tzinfo=tz)

    monkeypatch.setattr(backend.datetime, "datetime", Later)
    monkeypatch.setattr("time.time", lambda: 4e9)
    second = write_figures(tmp_path / "two", [lanterns], studies)
    assert [path.name for path in first] == [path.name for path in second]
    assert {path.suffix for path in first} == {".svg", ".png"}
    for one, other in zip(first, second, strict=True):
        assert one.read_bytes() == other.read_bytes()
        assert one.stat().st_size < 400_000


def test_hostile_names_stay_text(lanterns, tmp_path):
    game = lanterns.plan.game
    stations = {EVIL: next(iter(game.stations.values()))}
    plan = replace(lanterns.plan, name=EVIL, game=replace(game, stations=stations))
    shown = replace(lanterns, plan=plan)
    hostile = json.loads(
        (STUDIES / "compare.json").read_text(encoding="utf-8").replace("lanterns", "\\u001b[2J\\u0007")
    )
    hostile["plans"][1]["name"] = hostile["pairs"][0]["second"] = EVIL
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "compare.json").write_text(json.dumps(hostile), encoding="utf-8")
    for path in write_figures(tmp_path / "out", [shown], read_studies(tmp_path / "in")):
        assert path.parent == tmp_path / "out" and path.name == plain_name(path.stem) + path.suffix
        if path.suffix == ".svg":
            root = ElementTree.parse(path).getroot()
            tags = {element.tag.rpartition("}")[2] for element in root.iter()}
            assert "script" not in tags and "a" not in tags
            assert b"\x1b" not in path.read_bytes() and b"\x07" not in path.read_bytes()
    timeline = ElementTree.parse(tmp_path / "out" / f"{plain_name('timeline-' + EVIL)}.svg").getroot()
    words = " ".join(
        "".join(element.itertext()) for element in timeline.iter() if element.tag.endswith("text")
    )
    assert '<script>alert("1")</script>' in words and "$x^{2}$" in words


# --- what is wrong with a document --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", r"bad.json:1:2: not JSON"),
        ("[1]", "a document of simbot is wanted"),
        ('{"document": "match", "format": 99}', "key 'format': given 99"),
    ],
)
def test_a_file_that_is_no_document_is_refused(tmp_path, text, words):
    (tmp_path / "bad.json").write_text(text, encoding="utf-8")
    with pytest.raises(SimbotError, match=words):
        read_studies(tmp_path)


def test_what_is_no_study_is_passed_over(tmp_path):
    (tmp_path / "run.json").write_text('{"document": "run", "format": 1}', encoding="utf-8")
    assert read_studies(tmp_path) == []
    with pytest.raises(SimbotError, match="there is no such folder"):
        read_studies(tmp_path / "nowhere")


@pytest.mark.parametrize("kind", ["match", "compare", "worth", "sweep", "fit"])
def test_a_document_that_lacks_something_names_file_and_key(tmp_path, documents, kind):
    study = Study(Path("some.json"), kind, {"document": kind, "format": 1, "pairs": [{}], "plans": [{}]})
    for _, make in makers([], [study]):
        with pytest.raises(SimbotError, match=r"some\.json: "):
            make()


# --- the command --------------------------------------------------------------------------------------


def test_the_command_writes_figures_and_the_page(tmp_path, capsys):
    plan = str(DEMO / "tins.yaml")
    assert status(["figures", plan, "--studies", str(STUDIES), "--out", str(tmp_path / "out")]) == 0
    written = capsys.readouterr().out.split()
    assert sorted(written) == sorted(str(path) for path in (tmp_path / "out").iterdir())
    assert status(["notebook", plan, "--out", str(tmp_path / "page.html")]) == 0
    assert "<h1>tins</h1>" in (tmp_path / "page.html").read_text(encoding="utf-8")


def test_a_page_of_two_plans_draws_the_scores_of_its_quick_comparison(tmp_path, monkeypatch):
    monkeypatch.setattr(cli_report, "QUICK_RUNS", 4)
    steps = [
        {
            "repeat": "until period_end",
            "steps": [pick(succeeds="80 %"), wait("0.5 s"), place(), wait("0.5 s")],
        }
    ]
    game = {"places": {"box": {"pose": ["1 m", "1 m", "0 deg"], "takes": "ball", "points": 1, "room": 99}}}
    plans = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        plans.append(str(a_plan(tmp_path / name, steps, "5 s", game=game, name=name).path))
    out = tmp_path / "figures"
    assert status(["report", *plans, "--out", str(tmp_path / "page.html"), "--figures", str(out)]) == 0
    assert (out / "scores-quick.svg").is_file() and (out / "difference-quick.svg").is_file()
    assert "13 V, 0.1 ohm</small>" in (tmp_path / "page.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--studies", "nowhere", "--out", "x"], "--studies nowhere: there is no such folder"),
        (["--battery", "flat", "--out", "x"], "--battery flat: Firefly has fresh, mid-event, tired"),
        (["--out", str(DEMO / "game.yaml")], "cannot be made"),
    ],
)
def test_a_mistake_in_the_options_is_told(arguments, words, capsys):
    assert status(["figures", str(DEMO / "tins.yaml"), *arguments]) == 2
    assert words in capsys.readouterr().err
