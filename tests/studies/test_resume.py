"""A comparison and a study of changes that were stopped go on, to the same bytes, and play nothing twice."""

from __future__ import annotations

import json

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.report.compare_document import compare_document
from simbot.report.worthed import worth_document
from simbot.studies import workers
from simbot.studies.asked import Asked
from simbot.studies.compare import compare
from simbot.studies.worth import worth

ASKED = Asked(120, 3, ("full",))


def silent(done, total):
    pass


def stop_after(matches):
    def tell(done, total):
        if done >= matches:
            raise KeyboardInterrupt

    return tell


@pytest.fixture
def played(monkeypatch, tmp_path):
    """Matches that are really played, and a folder of its own for what is kept."""
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path / "cache"))
    days = []
    real = workers.play_day

    def counted(plan, seed, matches):
        days.append((plan.name, matches[0][0] // 10, len(matches)))
        return real(plan, seed, matches)

    monkeypatch.setattr(workers, "play_day", counted)
    return days


def plan_with(folder, percent):
    folder.mkdir(exist_ok=True)
    steps = [pick(), wait("0.3 s"), place(succeeds=f"{percent} % ± 5 %"), wait("0.3 s")]
    return a_plan(folder, [{"repeat": 4, "steps": steps}], name=f"sure {percent}")


def studies(tmp_path):
    plans = [plan_with(tmp_path / str(percent), percent) for percent in (70, 70, 69)]
    changes = {"surer": plans[1], "less": plans[2]}
    return {
        "compare": lambda tell: compare_document(compare(plans, ASKED, tell)),
        "worth": lambda tell: worth_document(worth(plans[0], changes, None, ASKED, tell)),
    }


@pytest.mark.parametrize("kind", ["compare", "worth"])
def test_an_interrupted_study_goes_on(kind, tmp_path, played):
    study = studies(tmp_path)[kind]
    whole = json.dumps(study(silent))
    needed = sorted(played)
    assert len(set(played)) == len(played)  # nobody plays a day twice
    played.clear()
    with pytest.raises(KeyboardInterrupt):
        study(stop_after(150))
    assert 0 < len(played) < len(needed)
    assert len(list(tmp_path.rglob(f"studies/{kind}-*.json"))) == 1
    assert json.dumps(study(silent)) == whole
    assert sorted(played) == needed
    assert not list(tmp_path.rglob("studies/*"))  # the study is through


def test_another_seed_finds_nothing(tmp_path, played):
    plans = [plan_with(tmp_path / str(percent), percent) for percent in (70, 60)]
    with pytest.raises(KeyboardInterrupt):
        compare(plans, ASKED, stop_after(50))
    played.clear()
    compare(plans, Asked(120, 4, ("full",)), silent)
    assert {day for _, day, _ in played} >= set(range(8))
