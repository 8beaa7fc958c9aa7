"""A fit that was stopped goes on to the same bytes, and comes to them whoever makes its predictions."""

from __future__ import annotations

import json

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.cli import status
from simbot.physics.kinds import KINDS
from simbot.report.fit_document import fit_document
from simbot.scenario.measured_file import read_measured
from simbot.studies.fit import fit
from simbot.studies.fit_results import FitAsked
from simbot.studies.fit_unknowns import Source
from simbot.studies.fit_work import Work
from simbot.studies.predicted import Predictor

ASKED = FitAsked(3, 2)
RATE = "plan.only.0.steps.2.place.succeeds"
ALLOWANCE = "plan.only.0.steps.3.allowance"


def silent(done, total):
    pass


@pytest.fixture
def files(tmp_path):
    """A plan whose cycles take 0.6 s and 2 s with an allowance, and what was measured of it."""
    (tmp_path / "files").mkdir()
    last = {"wait": "2 s", "allowance": "50 %"}
    steps = [pick(), wait("0.3 s"), place(succeeds="80 % ± 10 %"), last]
    plan = a_plan(tmp_path / "files", [{"repeat": 6, "steps": steps}])
    measured = tmp_path / "files" / "measured.csv"
    cycles = [f"cycle,{seconds} s,1000 fps,full" for seconds in (3.4, 3.41, 3.39, 3.42)]
    measured.write_text("\n".join(["what,value,rate,battery", *cycles]) + "\n", encoding="utf-8")
    return plan, measured


def work_of(files, **who):
    plan, measured = files
    return Work(plan, read_measured(measured, plan, "full"), [ALLOWANCE], ASKED, **who)


def fitted(files, work=None, tell=silent):
    plan, measured = files
    rows = read_measured(measured, plan, "full")
    source = Source(plan.path, plan, KINDS, {})
    return json.dumps(fit_document(fit(source, measured, rows, [ALLOWANCE], ASKED, tell, work)))


@pytest.fixture
def played(monkeypatch, tmp_path):
    """Predictions that are really made, and a folder of its own for what is kept."""
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path / "cache"))
    seen = []
    real = Predictor.cycle_times
    monkeypatch.setattr(
        Predictor, "cycle_times", lambda self, plan, battery: seen.append(plan) or real(self, plan, battery)
    )
    return seen


def test_a_stopped_fit_goes_on_and_predicts_nothing_twice(files, played, tmp_path):
    with work_of(files) as work:
        whole = fitted(files, work)
    needed = len(played)
    played.clear()

    def stop(done, total):
        if done == 1:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), work_of(files) as work:
        fitted(files, work, stop)
    assert work.saved and 0 < len(played) < needed
    played.clear()
    with work_of(files) as work:
        found = work.found
        assert (
            work.before_s > 0.0
        )  # what it took before, so that the time left is told from the first part on
        assert fitted(files, work) == whole
    assert found > 0 and len(played) == needed - found and not list(tmp_path.rglob("studies/*"))


def test_other_measurements_find_nothing_of_it(files, played):
    with pytest.raises(KeyboardInterrupt), work_of(files) as work:
        fitted(files, work)
        raise KeyboardInterrupt
    assert work_of(files).found > 0
    measured = files[1]
    measured.write_text(measured.read_text(encoding="utf-8").replace("3.42", "3.52"), encoding="utf-8")
    assert work_of(files).found == 0


def test_two_processes_come_to_the_same_bytes(files):
    with work_of(files, workers=2) as work:
        assert fitted(files, work) == fitted(files)


def test_the_command_takes_them(files, capsys):
    plan, measured = files
    words = ["fit", str(plan.path), str(measured), "--unknown", ALLOWANCE, "--matches", "2", "--json", "-"]
    told = []
    for workers in ("1", "2"):
        assert status([*words, "--workers", workers]) == 0
        told.append(capsys.readouterr().out)
    assert told[0] == told[1]
    assert status([*words, "--workers", "0"]) == 2
    assert "--workers 0: at least one is wanted" in capsys.readouterr().err
