"""The small game, robot and plan that `simbot start` hands out."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from simbot.scenario.errors import SimbotError

NAMES = ("game.yaml", "robot.yaml", "plan.yaml")


def copy_to(folder: Path) -> Path:
    """Copy the three files into a folder, never over files that are there; returns the plan's path."""
    there = [name for name in NAMES if (folder / name).exists()]
    if there:
        raise SimbotError(f"{folder}: {', '.join(there)} would be written over; choose a folder without them")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in NAMES:
            text = files("simbot.starter").joinpath(name).read_text(encoding="utf-8")
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise SimbotError(f"{folder}: cannot be written: {error.strerror or error}") from error
    return folder / "plan.yaml"
