"""Commands in fresh processes against one that imports numpy and nothing else."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

from bench_time import Ratio, side_by_side

ROOT = Path(__file__).parents[2]
PLAN = str(ROOT / "scenarios" / "night-market" / "lanterns.yaml")
FINDINGS = 3  # the plan is run, and something in it fails
COMMANDS = {"run": ("run", PLAN), "check": ("check", PLAN), "--help": ("--help",)}


def process(bytecode: str, *arguments: str) -> None:
    """A command of its own, with the bytecode of all modules kept, as Python does unless it is told not to."""
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    done = subprocess.run(
        [sys.executable, *arguments],
        env={**environment, "PYTHONPYCACHEPREFIX": bytecode},
        capture_output=True,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode in (0, FINDINGS), done.stderr


def measure() -> list[Ratio]:
    """Medians of five, by turns; a call before them fills the kernel's cache and that of the bytecode."""
    with TemporaryDirectory() as folder:
        calls = [
            lambda words=words: process(folder, "-m", "simbot.cli", *words) for words in COMMANDS.values()
        ]
        *takes, numpy = side_by_side(
            [*((call, 5) for call in calls), (lambda: process(folder, "-c", "import numpy"), 5)], rounds=1
        )
    names = (f"simbot {name}" for name in COMMANDS)
    return [Ratio(name, took, numpy) for name, took in zip(names, takes, strict=True)]


def first_run() -> tuple[float, float]:
    """The first run on a machine, which compiles the physics: seconds, and those of a processor, its helpers' too."""
    with TemporaryDirectory() as folder:
        began, before = perf_counter(), os.times()
        done = subprocess.run(
            [sys.executable, "-m", "simbot.cli", "run", PLAN],
            env={**os.environ, "SIMBOT_CACHE_DIR": folder},
            capture_output=True,
            cwd=ROOT,
            check=False,
        )
        assert done.returncode in (0, FINDINGS), done.stderr
        took, after = perf_counter() - began, os.times()
    spent = after.children_user + after.children_system - before.children_user - before.children_system
    return took, spent
