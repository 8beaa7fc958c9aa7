"""Studies that are stopped from outside: by Ctrl-C or SIGTERM they tell what they have, and go on to the same bytes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.cli import status
from simbot.cli.shared import stopped_after
from simbot.physics.compiled import cache_folder
from simbot.studies.match import Interrupted

ROOT = Path(__file__).parent.parent.parent
OBEYED_S = 20.0  # on a busy machine
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals as POSIX has them")


def a_long_plan(folder: Path, percent: int) -> str:
    folder.mkdir()
    steps = [pick(succeeds="80 %"), wait("0.3 s"), place(succeeds=f"{percent} % ± 5 %"), wait("0.3 s")]
    a_plan(folder, [{"repeat": "until period_end", "steps": steps}], "60 s", name=f"sure {percent}")
    return str(folder / "plan.yaml")


@pytest.fixture
def cache(tmp_path):
    """A folder of its own for what is kept, with the physics as it is compiled already."""
    compiled = cache_folder()
    own = tmp_path / "cache" / "kernel" / compiled.name
    own.mkdir(parents=True)
    for each in compiled.glob("*"):
        if each.name != "studies":
            (own / each.name).symlink_to(each)
    return tmp_path / "cache"


def played(
    cache: Path, *words: str, how: signal.Signals | None = None, whole_group: bool = False, told: int = 20
) -> tuple[str, str, int]:
    """What a command prints on stdout and on a terminal, and its status; stopped once it has told of its progress."""
    master, terminal = os.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "simbot.cli", *words],
        stdout=subprocess.PIPE,
        stderr=terminal,
        text=True,
        cwd=ROOT,
        env={
            **os.environ,
            "SIMBOT_CACHE_DIR": str(cache),
            "PYTHONPATH": os.pathsep.join(filter(None, sys.path)),
        },
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # some start tests deaf
    )
    os.close(terminal)
    said, begun = b"", None
    while more := _read(master):
        said += more
        if how is not None and begun is None and said.count(b" left") >= told:
            begun = time.monotonic()
            if whole_group:  # as a terminal's Ctrl-C
                os.killpg(process.pid, how)
            if how == signal.SIGTERM:  # some send it to the group and to its leader
                process.send_signal(how)
    out, _ = process.communicate(timeout=OBEYED_S)
    assert begun is None or time.monotonic() < begun + OBEYED_S
    return out, said.decode(), process.returncode


def _read(master: int) -> bytes:
    """What comes from a terminal; nothing where nobody writes to it any more."""
    try:
        return os.read(master, 10_000)
    except OSError:
        return b""


@pytest.mark.parametrize("workers", ["1", "2"])
@pytest.mark.parametrize(
    ("how", "whole_group"), [(signal.SIGINT, True), (signal.SIGTERM, False), (signal.SIGTERM, True)]
)
def test_a_comparison_that_is_told_to_end_tells_what_it_has_and_goes_on(
    how, whole_group, workers, tmp_path, cache
):
    plans = [a_long_plan(tmp_path / name, percent) for name, percent in (("a", 70), ("b", 71))]
    words = ("compare", *plans, "--runs", "4000", "--until-halfwidth", "0.01", "--workers", workers)
    out, err, code = played(cache, *words, how=how, whole_group=whole_group)
    out = " ".join(out.split())
    assert code == 130 and "You stopped it" in out and "Not looked at: when the other plan would win" in out
    assert "goes on from there" in err and "leaked" not in err and "Traceback" not in err
    assert err.count("stopped") == 1
    assert len(list(cache.rglob("studies/compare-*.json"))) == 1


def test_after_a_sigterm_the_same_command_comes_to_the_same_bytes(tmp_path, cache):
    plan = a_long_plan(tmp_path / "a", 70)
    words = ("match", plan, "--runs", "300", "--workers", "2", "--json")
    out, err, code = played(cache, *words, "-", how=signal.SIGTERM, whole_group=True, told=2)
    part = json.loads(out)
    assert code == 130 and 0 < part["runs"] < 300 and part["stopped"] == "you stopped it"
    assert f"stopped after {part['runs']} of 300 matches" in err and "leaked" not in err
    texts = [played(cache, *words, "-") for _ in range(2)]
    assert texts[0][0] == texts[1][0] and json.loads(texts[0][0])["runs"] == 300
    assert f"going on after {part['runs']} matches" in texts[0][1] and "going on" not in texts[1][1]


@pytest.mark.parametrize(("where", "how"), [
    ("simbot.cli.match.compile_first", KeyboardInterrupt()), ("simbot.studies.match.study", KeyboardInterrupt()),
    ("simbot.studies.match.study", Interrupted(())),
])  # fmt: skip
def test_a_study_that_is_stopped_before_any_match_says_so(where, how, tmp_path, capsys, monkeypatch):
    def stopped(*_):
        raise how

    plan = a_long_plan(tmp_path / "a", 70)
    monkeypatch.setattr(where, stopped)
    assert status(["match", plan, "--runs", "20"]) == 130
    out, err = capsys.readouterr()
    assert out == "" and err.splitlines()[-1] == "stopped before any match was played in this call"


def test_what_is_kept_is_counted_in_words():
    assert stopped_after(0) == "stopped before the first match was played"
    assert stopped_after(1) == "stopped; 1 match that was played is kept"
    assert stopped_after(12, "value", "run") == "stopped; 12 values that were run are kept"
