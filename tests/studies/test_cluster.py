"""The same studies on a cluster: a real scheduler and its workers, started here as processes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import distributed
import pytest
from stopwatches import a_plan, pick, place, wait

import simbot
from simbot.cli import status
from simbot.report.match_document import match_document
from simbot.studies import workers
from simbot.studies.asked import Asked
from simbot.studies.ledger import Ledger
from simbot.studies.match import Interrupted, study
from simbot.studies.paired import play_together

ROOT = Path(__file__).parents[2]
RUNS = 240


def started(*words):
    """A process of the library's own command line; this checkout is what it imports."""
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    return subprocess.Popen(
        [sys.executable, "-m", *words, "--no-dashboard"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def ended(process):
    process.kill()
    process.wait()


def within(seconds, found):
    """What is found within some seconds."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if there := found():
            return there
        time.sleep(0.05)
    raise AssertionError("it did not come")


class Scheduler:
    """A scheduler of its own, and the workers that were started for it."""

    def __init__(self, folder):
        self.file = folder / "scheduler.json"
        self.process = started(
            "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0",
            "--scheduler-file", str(self.file),
        )  # fmt: skip
        self.workers = []
        self.address = within(60, self._address)

    def _address(self):
        try:
            return json.loads(self.file.read_text(encoding="utf-8"))["address"]
        except (OSError, ValueError):  # not there yet, or half written
            return None

    def worker(self):
        self.workers.append(
            started("distributed.cli.dask_worker", self.address, "--nthreads", "1", "--no-nanny")
        )

    def there(self):
        """How many workers it knows of."""
        with distributed.Client(self.address, timeout=10, set_as_default=False) as client:
            return len(client.scheduler_info(n_workers=-1)["workers"])

    def end(self):
        for process in (*self.workers, self.process):
            ended(process)


@pytest.fixture
def scheduler(tmp_path):
    it = Scheduler(tmp_path)
    yield it
    it.end()


@pytest.fixture
def plan(tmp_path):
    steps = [pick(succeeds="90 % ± 5 %"), wait("0.3 s ± 0.1 s"), place(succeeds="70 % ± 20 %"), wait("0.3 s")]
    return a_plan(tmp_path, [{"repeat": "until period_end", "steps": steps}], "15 s")


def bytes_of(plan, progress=lambda done, total: None, **how):
    return json.dumps(match_document(study(plan, Asked(RUNS, 3, ("full",), **how), progress)))


def test_a_cluster_gives_the_same_bytes_with_one_of_two_workers_killed_in_the_middle(scheduler, plan):
    scheduler.worker()
    scheduler.worker()
    within(60, lambda: scheduler.there() == 2)
    killed_after = []

    def kill(done, total):
        if not killed_after:
            ended(scheduler.workers[0])
            killed_after.append(done)

    on_cluster = bytes_of(plan, kill, cluster=scheduler.address)
    assert 0 < killed_after[0] < RUNS / 2
    within(60, lambda: scheduler.there() == 1)
    assert on_cluster == bytes_of(plan)


def test_plans_compared_on_a_cluster_give_the_same_records(scheduler, plan, tmp_path):
    scheduler.worker()
    other = a_plan(
        tmp_path, [{"repeat": 5, "steps": [pick(), wait("0.3 s"), place(succeeds="80 %"), wait("0.3 s")]}]
    )
    both = []
    for cluster in (None, scheduler.address):
        asked = Asked(100, 1, ("full",), cluster=cluster)
        with Ledger("compare", [plan, other], asked) as ledger:
            both.append(play_together(ledger, [plan, other], asked))
    here, there = both
    assert here == there and len(there[1]) == 100


def test_a_sweep_on_a_cluster_gives_the_same_bytes(scheduler, plan, tmp_path, capsys):
    scheduler.worker()
    within(60, lambda: scheduler.there() == 1)
    words = [
        "sweep",
        str(tmp_path / "plan.yaml"),
        "plan.only.0.steps.2.place.succeeds=50:90:10 %",
        "--matches",
        "6",
    ]
    told = []
    for more in (["--workers", "1"], ["--cluster", scheduler.address]):
        assert status([*words, *more, "--json", "-"]) == 0
        told.append(capsys.readouterr().out)
    assert told[0] == told[1] and '"drawn"' in told[0]


def test_a_fit_on_a_cluster_gives_the_same_bytes(scheduler, tmp_path, capsys):
    scheduler.worker()
    within(60, lambda: scheduler.there() == 1)
    last = {"wait": "0.6 s", "for": "driver", "allowance": "50 %"}
    a_plan(tmp_path, [{"repeat": 6, "steps": [pick(), wait("0.3 s"), place(), last]}])
    measured = tmp_path / "measured.csv"
    measured.write_text("what,value,rate,battery\ncycle,1.2 s,1000 fps,full\ncycle,1.3 s,1000 fps,full\n")
    words = ["fit", str(tmp_path / "plan.yaml"), str(measured), "--matches", "2"]
    words += ["--unknown", "plan.only.0.steps.3.allowance"]
    told = []
    for more in (["--workers", "1"], ["--cluster", scheduler.address]):
        assert status([*words, *more, "--json", "-"]) == 0, capsys.readouterr().err
        told.append(capsys.readouterr().out)
    assert told[0] == told[1] and '"estimate"' in told[0]


def test_a_cluster_that_goes_away_leaves_what_was_played(scheduler, plan, monkeypatch):
    scheduler.worker()
    within(60, lambda: scheduler.there() == 1)

    def end(done, total):
        ended(scheduler.process)

    with pytest.raises(Interrupted) as caught:
        bytes_of(plan, end, cluster=scheduler.address)
    assert 0 < len(caught.value.records) < RUNS
    assert scheduler.address in caught.value.why


def said(capsys, *arguments):
    """Exit status and the one line that a command complains with."""
    code = status(["match", str(ROOT / "scenarios/night-market/lanterns.yaml"), *arguments])
    (line,) = capsys.readouterr().err.splitlines()
    return code, line


@pytest.mark.parametrize("address", ["nonsense", "foo://here:1", "tcp://127.0.0.1:9"])
def test_an_address_where_nothing_answers_is_one_message(address, capsys, monkeypatch):
    from simbot.studies import cluster

    monkeypatch.setattr(cluster, "CONNECT_S", 1.0)
    code, line = said(capsys, "--cluster", address)
    assert code == 2 and f"--cluster {address}: no scheduler answers there" in line


def test_a_scheduler_without_workers_is_one_message(scheduler, capsys, monkeypatch):
    from simbot.studies import cluster

    monkeypatch.setattr(cluster, "CONNECT_S", 2.0)
    code, line = said(capsys, "--cluster", scheduler.address)
    assert code == 2 and f"--cluster {scheduler.address}: the scheduler has no workers" in line


def test_workers_with_another_simbot_are_refused(scheduler, capsys, monkeypatch):
    scheduler.worker()
    mine = simbot.__version__
    monkeypatch.setattr(simbot, "__version__", "9.9.9")
    code, line = said(capsys, "--cluster", scheduler.address)
    assert code == 2 and f"has simbot {mine}, here it is 9.9.9" in line


def test_without_the_extra_it_says_what_brings_it(capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    monkeypatch.delitem(sys.modules, "simbot.studies.cluster", raising=False)
    code, line = said(capsys, "--cluster", "tcp://127.0.0.1:9")
    assert code == 2 and "pip install 'simbot[cluster]'" in line


def test_a_cluster_has_its_own_workers(capsys):
    code, line = said(capsys, "--cluster", "tcp://127.0.0.1:9", "--workers", "3")
    assert code == 2 and "--workers 3" in line


PLAYS = """
import sys
from simbot.studies.workers import Team, rounds
if __name__ == "__main__":
    with Team((), 1, 2) as team:
        print(*team.pool._processes, flush=True)
        sys.stdin.read()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals as POSIX has them")
def test_processes_end_with_the_one_that_asked(tmp_path):
    """One that is killed cannot end its processes, which hold some hundred megabytes each."""
    (tmp_path / "plays.py").write_text(PLAYS, encoding="utf-8")
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    asks = subprocess.Popen(
        [sys.executable, str(tmp_path / "plays.py")],
        env={**os.environ, "PYTHONPATH": path},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with asks:
        children = [int(number) for number in asks.stdout.readline().split()]
        assert children and all(alive(each) for each in children)
        time.sleep(2.0)  # they import
        asks.kill()
    within(30, lambda: not any(alive(each) for each in children))


def alive(number):
    """Whether there is a process of that number that has not ended."""
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    status = Path(f"/proc/{number}/stat")
    return not status.exists() or status.read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z"


def test_a_process_that_is_ended_from_outside_leaves_what_was_played(plan):
    def end(done, total):
        for process in pool[0]._processes.values():
            process.kill()

    pool = []
    whole = workers.Team.__enter__

    def enter(team):
        pool.append(team.pool)
        return whole(team)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(workers.Team, "__enter__", enter)
        with pytest.raises(Interrupted) as caught:
            study(plan, Asked(RUNS, 3, ("full",), workers=2), end)
    assert 0 < len(caught.value.records) < RUNS
    assert "ended from outside" in caught.value.why
