"""The cache of the compiled kernel: never stale, never in the way; and a run under the spawn start method."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from multiprocessing import get_context
from pathlib import Path

import pytest

from simbot.api import run
from simbot.physics import beforehand, compiled, ready, with_numba
from simbot.physics.kinds import KINDS
from simbot.scenario.load import load_plan

ROOT = Path(__file__).parents[2]
PLAN = ROOT / "tests" / "worked" / "data" / "01_slide_and_one_wait" / "plan.yaml"


def arrivals(plan: str) -> list[int | None]:
    loaded, _ = load_plan(Path(plan), KINDS)
    return [state.moves[0].arrival_us for state in run(loaded).states]


def test_a_spawned_process_gives_the_same() -> None:
    with get_context("spawn").Pool(1) as pool:
        there = pool.apply(arrivals, (str(PLAN),))
    assert there == arrivals(str(PLAN)) == [753630, 794476, 845908]


def test_an_edit_of_any_kernel_source_changes_the_cache(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = Path(compiled.__file__).parent
    for name in compiled.SOURCES:
        shutil.copy(here / name, tmp_path / name)
    monkeypatch.setattr(compiled, "__file__", str(tmp_path / "compiled.py"))
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path / "cache"))
    seen = {compiled.cache_folder()}
    for name in compiled.SOURCES:
        with (tmp_path / name).open("a", encoding="utf-8") as source:
            source.write("# edited\n")
        seen.add(compiled.cache_folder())
    assert len(seen) == len(compiled.SOURCES) + 1
    assert compiled.needs_compiling()


def test_every_compiled_source_is_in_the_key() -> None:
    """What takes `inner` or `entry` from compiled is compiled, and so is what such a module computes with."""
    here = Path(compiled.__file__).parent
    users = {path.name for path in here.glob("*.py") if "import Array, " in path.read_text(encoding="utf-8")}
    assert users
    assert users <= set(compiled.SOURCES)


@pytest.mark.skipif(
    os.name == "nt", reason="a file in the folder's place stands for a folder that cannot be written"
)
def test_a_cache_that_cannot_be_written_only_costs_time(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    code = "from simbot.physics import compiled; compiled.mark_complete(); print(compiled.needs_compiling())"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "SIMBOT_CACHE_DIR": str(blocked)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "True"


def test_old_caches_are_removed_and_new_ones_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(tmp_path))
    for age in range(12):
        old = tmp_path / "kernel" / f"{age:02d}"
        (old / "inside").mkdir(parents=True)
        os.utime(old, (1e9 - age, 1e9 - age))
    compiled.mark_complete()
    left = sorted(path.name for path in (tmp_path / "kernel").iterdir())
    assert left == sorted([compiled.cache_folder().name, *(f"{age:02d}" for age in range(compiled.KEPT - 1))])


def test_ctrl_c_ends_the_second_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    with pytest.raises(KeyboardInterrupt), beforehand.aside() as process:
        assert process is not None and process.poll() is None
        raise KeyboardInterrupt
    assert process.poll() is not None


def test_the_second_process_fills_the_cache(tmp_path: Path) -> None:
    code = "from simbot.physics import beforehand; beforehand._start().wait()"
    given = {**os.environ, "SIMBOT_CACHE_DIR": str(tmp_path)}
    subprocess.run([sys.executable, "-c", code], env=given, check=True, cwd=ROOT)
    kept = {path.name.partition("-")[0] for path in tmp_path.rglob("*.nbi")}
    assert kept == set(ready.ENTRIES) - {"stepper.advance"}
    if with_numba.one_program:  # and is compiled for the arguments that the signatures say
        assert {path.stem for path in tmp_path.rglob("*.machine")} == kept


@pytest.mark.parametrize("cores", [1, None])
def test_one_core_compiles_alone(monkeypatch: pytest.MonkeyPatch, cores: int | None) -> None:
    monkeypatch.setattr(os, "cpu_count", lambda: cores)
    with beforehand.aside() as process:
        assert process is None


def test_a_process_that_cannot_start_is_no_obstacle(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    with beforehand.aside() as process:
        assert process is None


def test_what_others_compile_is_cached_where_they_have_it() -> None:
    from numba.core import config

    before = config.CACHE_DIR
    with_numba.entry(lambda x: x)
    assert before == config.CACHE_DIR
    assert not before.startswith(str(compiled.cache_folder()))
