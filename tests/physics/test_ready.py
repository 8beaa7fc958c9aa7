"""Machine code from the cache without numba: the same numbers, and numba as ever where anything does not fit."""

from __future__ import annotations

import ast
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from simbot.physics import beforehand, compiled, ready

ROOT = Path(__file__).parents[2]
PLAN = """
import sys
from pathlib import Path
from simbot.api import run
from simbot.physics import beforehand
from simbot.physics.kinds import KINDS
from simbot.scenario.load import load_plan
plan = load_plan(Path("scenarios/night-market/lanterns.yaml"), KINDS)[0]
"""
RUN = f"""{PLAN}
result = run(plan)
beforehand.answers()
print("numba" in sys.modules)
print(repr(result.states))
"""
BESIDE = f"""{PLAN}
result = repr(run(plan).states)
import numba, numpy
@numba.njit
def summed(values):
    return (values * 2.0).sum() + values[:2] @ values[2:]
print(summed(numpy.arange(4.0)) == 15.0, repr(run(plan).states) == result)
"""
HERE = pytest.mark.skipif(not ready.TRIED, reason="not tried on this system")


def told(cache: Path, code: str = RUN, **settings: str) -> list[str]:
    """Whether numba was loaded, and every number of a run; or what other code prints."""
    kept = {key: value for key, value in os.environ.items() if not key.startswith("NUMBA_")}
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**kept, "SIMBOT_CACHE_DIR": str(cache), **settings},
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    return done.stdout.splitlines()


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cache with everything in it, compiled or taken over from the one there is."""
    cache = tmp_path_factory.mktemp("cache")
    folder = compiled.cache_folder()
    if ready.complete(folder):
        shutil.copytree(folder, cache / "kernel" / folder.name)
    else:
        told(cache)
    return cache


def of(cache: Path) -> Path:
    (folder,) = (cache / "kernel").iterdir()
    return folder


@HERE
def test_a_run_from_a_full_cache_loads_no_numba_and_gives_the_same(filled: Path) -> None:
    without, number = told(filled)[0], told(filled)[1:]
    assert without == "False"
    by_numba = told(filled, NUMBA_CAPTURED_ERRORS="new_style")  # who sets anything of numba's wants numba
    assert by_numba[0] == "True" and by_numba[1:] == number


@HERE
def test_numba_works_beside_it(filled: Path) -> None:
    """Whoever uses numba in the same process, after the kernel was linked without it, has all of it."""
    assert told(filled, BESIDE) == ["True True"]


@HERE
def test_all_entries_are_linked_and_ask_for_their_arguments(filled: Path) -> None:
    entries = ready.load(of(filled))
    assert set(entries) == set(ready.ENTRIES)
    with pytest.raises(TypeError, match="5 arguments"):
        entries["stepper.advance"](1.0)
    with pytest.raises(TypeError, match="can't unbox"):
        entries["record.state_at"]("no array", 1, 0, 0.0)


def changed(key: str, value: object) -> Callable[[Path], object]:
    def change(path: Path) -> None:
        head, _, code = path.read_bytes().partition(b"\n")
        path.write_bytes(json.dumps({**json.loads(head), key: value}).encode() + b"\n" + code)

    return change


@HERE
@pytest.mark.parametrize(
    "harm",
    [
        pytest.param(Path.unlink, id="not there"),
        pytest.param(lambda path: path.write_bytes(b""), id="empty"),
        pytest.param(lambda path: path.write_bytes(path.read_bytes()[:-1]), id="cut off"),
        pytest.param(lambda path: path.write_bytes(path.read_bytes()[:-1] + b"\1"), id="garbled"),
        pytest.param(changed("processor", "another"), id="for another processor"),
        pytest.param(changed("needs", ["no_such_function"]), id="needs what is not there"),
        pytest.param(changed("wrapper", "no_such_function"), id="not in it"),
    ],
)
def test_whatever_does_not_fit_is_left_to_numba(
    filled: Path, tmp_path: Path, harm: Callable[[Path], object]
) -> None:
    folder = shutil.copytree(of(filled), tmp_path / "harmed")
    assert ready.load(folder)
    harm(folder / "record.state_at.machine")
    assert ready.load(folder) == {}


def test_every_entry_is_named() -> None:
    found = set()
    for path in Path(compiled.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and "entry" in map(ast.unparse, node.decorator_list):
                found.add(f"{path.stem}.{node.name}")
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "entry" and path.stem != "compiled":
                found.add(ast.unparse(node.args[0]))
    assert found == set(ready.ENTRIES)


def test_an_unwritable_folder_costs_time_only(tmp_path: Path) -> None:
    ready.keep(tmp_path / "nowhere", "record.state_at", b"", "", "", [])
    assert not ready.complete(tmp_path / "nowhere") and ready.load(tmp_path / "nowhere") == {}


def test_answers_ask_every_small_entry(monkeypatch: pytest.MonkeyPatch) -> None:
    from simbot.physics import record, stroke_compiled

    asked = set()
    for name in ready.ENTRIES:
        stage, _, function = name.partition(".")
        home = {"record": record, "stroke": stroke_compiled}.get(stage)
        if home:
            monkeypatch.setattr(home, function, lambda *given, name=name: asked.add(name))
    beforehand.answers()
    assert asked == set(ready.ENTRIES) - {"stepper.advance"}
