"""A comparison and a study of changes that were stopped go on, to the same bytes, and play nothing twice."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import sys
import threading
import time

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.report.compare_document import compare_document
from simbot.report.compared import print_compared
from simbot.report.worthed import print_worth, worth_document
from simbot.studies import ledger, workers
from simbot.studies.asked import Asked
from simbot.studies.compare import compare
from simbot.studies.further import Wanted, compare_further
from simbot.studies.match import Interrupted, study
from simbot.studies.players import heeded
from simbot.studies.worth import worth

ASKED = Asked(120, 3, ("full",))
# Python drops a Ctrl-C while it does away with an object; it is heeded all the same
DROPS = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")


def silent(done, total):
    pass


def stop_after(matches):
    def tell(done, total):
        if done >= matches:
            raise KeyboardInterrupt

    return tell


@pytest.fixture(autouse=True)
def hears():
    """Ctrl-C is heard, also where these tests run in the background of a shell, which has it ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.fixture
def played(monkeypatch, tmp_path):
    """Matches that are really played, and a folder of its own for what is kept."""
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path / "cache"))
    days = []
    real = workers.play_day

    def counted(plan, seed, matches, told):
        days.append((plan.name, matches[0][0] // 10, len(matches)))
        return real(plan, seed, matches, told)

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
    if kind == "worth":  # it tells what it has
        partial = study(stop_after(150))
        assert partial["stopped"] and 0 < partial["runs"] < ASKED.runs
        assert len(partial["changes"]) == 2
    else:
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


OBEYED_S = 4.0  # on a busy machine


def stop_soon(when=1):
    """Ctrl-C a little after so much was played, in the middle of days."""
    pressed = []

    def press():
        pressed.append(time.monotonic())
        os.kill(os.getpid(), signal.SIGINT)

    def tell(done, total):
        if not timers and done >= when:
            timers.append(threading.Timer(0.2, press))
            timers[0].start()

    timers = []
    return tell, pressed


def long_plan(tmp_path):
    tmp_path.mkdir(exist_ok=True)
    steps = [pick(), wait("0.3 s"), place(succeeds="70 % ± 5 %"), wait("0.3 s")]
    return a_plan(tmp_path, [{"repeat": "until period_end", "steps": steps}], "40 s")


@DROPS
@pytest.mark.skipif(sys.platform == "win32", reason="signals as POSIX has them")
@pytest.mark.parametrize("playing", [1, 2])
def test_ctrl_c_is_obeyed_at_once_and_what_was_played_of_a_day_is_kept(playing, tmp_path):
    plan = long_plan(tmp_path / "long")
    asked = Asked(20_000, 3, ("full",), workers=playing)
    tell, pressed = stop_soon()
    before = set(multiprocessing.active_children())
    with pytest.raises(Interrupted) as caught:
        study(plan, asked, tell)
    within(pressed[0] + OBEYED_S, lambda: set(multiprocessing.active_children()) <= before)
    records = caught.value.records
    assert [one.number for one in records] == list(range(len(records))) and len(records) > 0
    # what it has is the beginning of the whole, so it goes on to the same bytes
    more = Asked(len(records) + 13, 3, ("full",))
    assert study(plan, more, silent, records).records == study(plan, more, silent).records


class PressesCtrlC:
    """As it is done away with."""

    def __del__(self):
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.0)


@DROPS
@pytest.mark.skipif(sys.platform == "win32", reason="signals as POSIX has them")
def test_ctrl_c_that_python_drops_is_heeded():
    before = signal.getsignal(signal.SIGINT)
    PressesCtrlC()  # dropped
    with pytest.raises(KeyboardInterrupt), heeded():
        PressesCtrlC()
    noted = []
    signal.signal(signal.SIGINT, lambda number, frame: noted.append(number))
    with heeded():  # whoever only notes it wants no more of it
        os.kill(os.getpid(), signal.SIGINT)
    signal.signal(signal.SIGINT, before)
    assert noted == [signal.SIGINT]
    with pytest.raises(ZeroDivisionError), heeded():
        raise ZeroDivisionError
    assert signal.getsignal(signal.SIGINT) is before


@DROPS
@pytest.mark.skipif(sys.platform == "win32", reason="signals as POSIX has them")
@pytest.mark.parametrize("playing", [1, 2])
def test_ctrl_c_leaves_a_study_of_changes_with_what_it_has(playing, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(ledger, "place_of_rows", lambda *what: tmp_path / "kept.json")
    plans = [long_plan(tmp_path / name) for name in "abc"]
    changes = {"one": plans[1], "other": plans[2]}
    tell, pressed = stop_soon(60)
    asked = Asked(4000, 3, ("full",), workers=playing)
    result = worth(plans[0], changes, None, asked, tell)
    assert time.monotonic() < pressed[0] + OBEYED_S
    assert result.stopped and 0 < result.runs < 4000
    print_worth(result, sys.stdout)
    printed = " ".join(capsys.readouterr().out.split())
    assert f"after {result.runs} of 4000 matches" in printed and "goes on from there" in printed


def within(end, found):
    while not found():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.02)


def test_a_comparison_that_was_stopped_tells_what_it_has(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(ledger, "place_of_rows", lambda *what: tmp_path / "kept.json")
    plans = [plan_with(tmp_path / str(percent), percent) for percent in (70, 69)]
    with ledger.Ledger("compare", plans, ASKED) as book:
        result, more = compare_further(book, plans, ASKED, Wanted(), lambda what: stop_after(60))
    assert more.stopped and 0 < result.runs < ASKED.runs and (tmp_path / "kept.json").exists()
    print_compared(result, sys.stdout, more)
    lines = capsys.readouterr().out.splitlines()
    assert any(line.startswith("You stopped it") for line in lines) and max(map(len, lines)) <= 80
    with ledger.Ledger("compare", plans, ASKED) as book:
        assert book.found == result.runs * 2
        again, _ = compare_further(book, plans, ASKED, Wanted(), lambda what: silent)
    assert again.records[0][: result.runs] == result.records[0]


def test_ctrl_c_while_match_writes_its_answer_loses_no_match(played, tmp_path, monkeypatch, capsys):
    from simbot.cli import status
    from simbot.report import matched

    a_plan(tmp_path, [{"repeat": 3, "steps": [pick(), wait("0.3 s"), place(succeeds="80 %"), wait("0.3 s")]}])
    command = ["match", str(tmp_path / "plan.yaml"), "--runs", "20", "--workers", "1"]

    def stopped(*what):
        raise KeyboardInterrupt

    monkeypatch.setattr(matched, "print_matched", stopped)
    assert status(command) == 130
    monkeypatch.undo()
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path / "cache"))
    capsys.readouterr()
    assert status(command) == 0
    assert "going on after 20 matches" in capsys.readouterr().err
    assert status(command) == 0
    assert "going on" not in capsys.readouterr().err
