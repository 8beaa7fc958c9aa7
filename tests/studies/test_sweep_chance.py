"""Sweeps of a plan with drawn matches: what can be worked out on paper, and how surely the best value is known."""

from __future__ import annotations

import csv
import io
import json
import pickle
from math import sqrt
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.cli import status
from simbot.report import swept
from simbot.report.document import schema_text
from simbot.report.sweep_document import sweep_document
from simbot.studies import sweep as engine
from simbot.studies import sweep_kept
from simbot.studies.sweep import look_at, sweep
from simbot.studies.sweep_asked import OF_MATCHES, SweepAsked, read_axes
from simbot.studies.sweep_chance import ALPHA, Drawn, not_beaten
from simbot.studies.sweep_points import WholePlan

SURE = "plan.only.0.steps.2.place.succeeds"


def a_file(folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    steps = [pick(), wait("0.3 s"), place(succeeds="70 %"), wait("0.3 s")]
    a_plan(folder, [{"repeat": 10, "steps": steps}])
    return folder / "plan.yaml"


def document(capsys, *words, code=0):
    capsys.readouterr()
    assert status(["sweep", *map(str, words), "--json", "-"]) == code
    found = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(json.loads(schema_text("sweep"))).validate(found)
    return found


def test_ten_places_score_what_they_succeed(tmp_path, capsys):
    """Ten places of a point each: 10 p points, and a match's sd is sqrt(10 p (1 - p))."""
    words = [a_file(tmp_path), f"{SURE}=50:100:10 %", "--matches", "60", "--workers", "1"]
    found = document(capsys, *words)
    assert found["by"] == "mean" and found["best"] == [100.0] and found["can_be_best"] == [[100.0]]
    for point in found["points"]:
        share = point["at"][0] / 100
        drawn = point["looks"]["full"]["drawn"]
        error = sqrt(10 * share * (1 - share) / 60)
        assert drawn["points"]["value"] == pytest.approx(10 * share, abs=4 * error + 1e-9)
        low, high = drawn["points"]["interval"]
        assert (high - low) / 2 == pytest.approx(2.0 * error, rel=0.35, abs=1e-9)
        assert drawn["matches"] == 60 and drawn["failed"] == 0
        assert point["looks"]["full"]["values"]["points"] == 10.0  # nominal, as without matches


def test_the_table_has_the_intervals_and_where_a_cycle_goes(tmp_path, capsys):
    words = [str(a_file(tmp_path)), f"{SURE}=60:80:20 %", "--matches", "6", "--workers", "1"]
    found = document(capsys, *words)
    assert status(["sweep", *words, "--csv", "-"]) == 0
    *rows, _ = csv.DictReader(io.StringIO(capsys.readouterr().out, newline=""))
    assert [row["what"] for row in rows] == ["grid", "grid", "now"]
    for point, row in zip(found["points"], rows, strict=False):
        low, high = point["looks"]["full"]["drawn"]["points"]["interval"]
        ends = float(row["mean_from [points]"]), float(row["mean_to [points]"])
        assert ends == pytest.approx((low, high), abs=1e-6)
        assert row["mean_rate_from [points/s]"] and row["held_back_by"].endswith(" s")


def test_values_that_make_no_difference_may_all_be_the_best(tmp_path, capsys):
    found = document(capsys, a_file(tmp_path), "robot.mass=5:9:1 kg", "--matches", "12", "--workers", "1")
    assert len(found["can_be_best"]) == len(found["points"]) == 5
    status(["sweep", str(tmp_path / "plan.yaml"), f"{SURE}=60:90:10 %", "--matches", "40", "--workers", "1"])
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("The plan scores most, with chance ") and max(map(len, lines)) <= 80
    assert any(
        "every other value of the range is surely worse" in " ".join(lines[k : k + 3]) for k in range(3)
    )
    assert sum(line.startswith("o ") for line in lines) == 1


@pytest.mark.parametrize(("words", "what"), [
    (["--matches", "1"], "--matches 1: two or more"), (["--by", "mean"], "--by mean: it takes matches with chance"),
    (["--workers", "2", "--cluster", "tcp://here:1"], "--workers 2: the workers of --cluster"),
])  # fmt: skip
def test_what_cannot_be_is_one_message(words, what, tmp_path, capsys):
    assert status(["sweep", str(a_file(tmp_path)), f"{SURE}=60:90:10 %", *words]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert what in line


def test_the_best_value_is_struck_out_as_seldom_as_is_said():
    """Nine values under common luck, three of them equally good: 400 sweeps, errors that can be seen."""
    rng = np.random.default_rng(7)
    means = np.array([0.0, 0.0, 0.0, -0.3, -0.6, -1.0, -1.5, -2.0, -3.0])
    wrong = naive = 0
    beaten = np.zeros(len(means))
    for _ in range(400):
        luck = 3.0 * rng.standard_normal(24)
        points = means[:, None] + luck + rng.standard_normal((len(means), 24))
        kept = not_beaten(points)
        wrong += not kept[0]
        beaten += ~np.array(kept)
        ahead = points - points[0]
        error = ahead.std(axis=1, ddof=1) / sqrt(24)
        naive += bool(np.any(ahead.mean(axis=1)[1:] > 1.7 * error[1:]))
    assert wrong / 400 < ALPHA + 3 * sqrt(ALPHA * (1 - ALPHA) / 400)
    assert naive / 400 > 0.07  # the one-sided interval of a single comparison errs more often
    assert beaten[6:].min() > 380  # and what is surely worse is told


def the_sweep(path: Path, workers: int = 1, cluster: str | None = None) -> tuple[WholePlan, SweepAsked]:
    subject = WholePlan(path, {}, 6, 3)
    plan = subject.plan({})
    trees = [tree for tree, _ in subject.trees.values()]
    axes = read_axes([f"{SURE}=50:90:10 %"], trees, None, (), plan.robot, None)
    asked = SweepAsked(axes, ("full",), OF_MATCHES["mean"], (), workers, cluster, 6, 3)
    return subject, asked


def silent(done, total):
    pass


def bytes_of(result):
    return json.dumps(sweep_document(result))


def test_it_goes_on_where_it_was_stopped_to_the_same_bytes(tmp_path, monkeypatch):
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path / "cache"))
    seen = []
    monkeypatch.setattr(engine, "look_at", lambda *what: seen.append(what[2]) or look_at(*what))
    subject, asked = the_sweep(a_file(tmp_path / "files"))
    whole = bytes_of(sweep(subject, asked, silent))
    needed = sorted(seen)
    seen.clear()

    def stop(done, total):
        if done >= 3:
            raise KeyboardInterrupt

    kept = sweep_kept.Kept(subject, asked)
    part = sweep(subject, asked, stop, kept)
    assert part.stopped and kept.saved and 0 < len(seen) < len(needed)
    again = sweep_kept.Kept(subject, asked)
    assert len(again.points) == len(seen)
    with again:
        assert bytes_of(sweep(subject, asked, silent, again)) == whole
    assert sorted(seen) == needed and not list(tmp_path.rglob("studies/*"))


def test_stopped_while_the_answer_is_written_it_is_still_kept(tmp_path, monkeypatch, capsys):
    """Every value is run, and Ctrl-C comes before the last line of the answer: nothing is run again."""
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path / "cache"))
    words = ["sweep", str(a_file(tmp_path / "files")), f"{SURE}=50:90:20 %", "--workers", "1"]

    def stop(*what):
        raise KeyboardInterrupt

    with monkeypatch.context() as pressed:
        pressed.setattr(swept, "print_swept", stop)
        assert status(words) == 130
    assert "3 values that were run are kept; the same command goes on" in capsys.readouterr().err
    ran = []
    monkeypatch.setattr(engine, "look_at", lambda *what: ran.append(what) or look_at(*what))
    assert status(words) == 0 and not ran
    assert "going on after 3 values" in capsys.readouterr().err
    assert not list(tmp_path.rglob("studies/*"))


def test_other_files_find_nothing_of_it(tmp_path, monkeypatch):
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path / "cache"))
    path = a_file(tmp_path / "files")
    subject, asked = the_sweep(path)
    kept = sweep_kept.Kept(subject, asked)
    kept.points[50.0,] = look_at(subject, asked, (50.0,))
    kept.keep()
    assert list(sweep_kept.Kept(*the_sweep(path)).points) == [(50.0,)]
    path.write_text(path.read_text(encoding="utf-8").replace("70 %", "75 %"), encoding="utf-8")
    assert not sweep_kept.Kept(*the_sweep(path)).points
    other = WholePlan(path, {}, 6, 4)
    assert not sweep_kept.Kept(other, SweepAsked(asked.axes, ("full",), asked.by, (), 1, None, 6, 4)).points


def test_two_processes_give_the_same_bytes_and_need_no_file(tmp_path):
    path = a_file(tmp_path / "files")
    subject, asked = the_sweep(path)
    whole = bytes_of(sweep(subject, asked, silent))
    assert bytes_of(sweep(*the_sweep(path, workers=2), silent)) == whole
    travels = pickle.loads(pickle.dumps(subject))  # as to another machine, which does not have the files
    for file in path.parent.iterdir():
        file.unlink()
    assert look_at(travels, asked, (50.0,)) == look_at(subject, asked, (50.0,))


def test_a_match_that_could_not_be_played_is_no_score():
    drawn = Drawn((0, 2), (3.0, 5.0), (3.0, 5.0), (10.0, 30.0), 1, "why")
    assert drawn.mean.value == 4.0 and drawn.rate.value == 0.2
    off = np.array([3.0 - 2.0, 5.0 - 6.0])  # of a ratio: what each is off it
    half = (
        12.706 * sqrt(2.0 * float((off**2).sum())) / 40.0
    )  # Student's t at one degree of freedom, from memory
    assert drawn.rate.interval[1] - 0.2 == pytest.approx(half, rel=1e-3)
    assert Drawn((), (), (), ()).mean is None
