"""A plan whose waits point at the numbers in a team's own code, so that they are not typed again."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from importlib.resources import files
from itertools import groupby
from json import dumps
from pathlib import Path

from simbot.scenario.errors import SimbotError, ValueFault
from simbot.scenario.load import load_game
from simbot.scenario.model import Game
from simbot.scenario.source_list import UNKNOWN, FoundWait, list_waits, unread_waits
from simbot.scenario.source_wait import read_source

LEAST_US = 5000  # a wait below this is doubted
SIBLINGS = ("game.yaml", "robot.yaml")


def waits_of(code: Path, unit: str | None) -> tuple[list[FoundWait], list[tuple[int, str]]]:
    """The waits of a source file, and lines that look like waits and cannot be read; no wait at all is a mistake."""
    try:
        tree = read_source(code)
    except ValueFault as error:
        raise SimbotError(f"--from {code}: {error}") from error
    found = list_waits(tree, unit)
    if not found:
        broken = f"; it does not parse from line {tree.error_line} on" if tree.error_line else ""
        raise SimbotError(
            f"--from {code}: no call that waits and no constant that is a time was found{broken}"
        )
    return found, unread_waits(tree, found)


def write_plan(folder: Path, code: Path, waits: list[FoundWait]) -> Path:
    """Put a plan of these waits into a folder, with a sample game and robot where there are none."""
    plan = folder / f"{re.sub(r'[^A-Za-z0-9]+', '-', code.stem).strip('-').lower() or 'code'}-plan.yaml"
    if plan.exists():
        raise SimbotError(f"{plan} would be written over; choose another folder, or rename it")
    there = [name for name in SIBLINGS if (folder / name).exists()]
    if len(there) == 1:
        missing = next(name for name in SIBLINGS if name not in there)
        raise SimbotError(
            f"{folder}: it has {there[0]} and no {missing}; put that beside it, or choose another folder"
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in () if there else SIBLINGS:
            text = files("simbot.starter").joinpath(name).read_text(encoding="utf-8")
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        game = load_game(folder / "game.yaml")
        lines = "\n".join(_plan_lines(folder, code, waits, game)) + "\n"
        plan.write_text(lines, encoding="utf-8", newline="\n")
    except OSError as error:
        raise SimbotError(f"{folder}: cannot be written: {error.strerror or error}") from error
    return plan


def listing(waits: list[FoundWait], unread: list[tuple[int, str]]) -> Iterator[str]:
    """What `simbot start --from` prints: line, value and what stands around; below 1 ms with a doubt."""
    yield " line      wait  what stands there"
    for wait in waits:
        value = (
            f"{wait.wait_us / 1000:g} ms"
            if wait.wait_us is not None
            else f"{wait.number.text or '(computed)'} ?"
        )
        yield f"{wait.line:>5} {value:>9}  {wait.text}"
        if wait.wait_us is not None and 0 < wait.wait_us < LEAST_US:
            yield f"{'':>17}so short? its unit may be another: say it in the plan"
        if wait.before:
            yield f"{'':>17}after: {wait.before}"
    if unread:
        yield "These look like waits and have no number that can be read; write them by hand:"
        for line, text in unread:
            yield f"{line:>5} {'':>9}  {text}"


def _plan_lines(folder: Path, code: Path, waits: list[FoundWait], game: Game) -> Iterator[str]:
    named = _routines(waits)
    yield f"# The waits of {code.name}, in the order in which they stand. Put the moves before each of them."
    yield "simbot: 1"
    yield "plan:"
    yield f"  name: {dumps(code.stem, ensure_ascii=False)}"
    yield "  game: game.yaml"
    yield "  robot: robot.yaml"
    yield f"  start: {{pose: [{game.length / 2:.4g} m, {game.width / 2:.4g} m, 0 deg]}}"
    yield "  routines:"
    source = _relative(code, folder)
    for name, group in named:
        yield f"    {name}:"
        for wait in group:
            if wait.before:
                yield f"      # after: {wait.before}"
            yield f"      - wait: {_pointer(source, wait)}   # line {wait.line}: {wait.text}"
    yield f"  {game.periods[0].name}:"
    for name, _ in named:
        yield f"    - {{run: {name}}}"


def _routines(waits: list[FoundWait]) -> list[tuple[str, list[FoundWait]]]:
    """The waits by the method in which they stand; constants come under `named_times`."""
    groups: list[tuple[str, list[FoundWait]]] = []
    taken: set[str] = set()
    for scope, group in groupby(waits, key=lambda wait: wait.scope):
        name = re.sub(r"\W+", "_", scope[-1]) if scope else "named_times"
        number = 2
        unique = name
        while unique in taken:
            unique, number = f"{name}_{number}", number + 1
        taken.add(unique)
        groups.append((unique, list(group)))
    return groups


def _pointer(source: str, wait: FoundWait) -> str:
    asked = wait.asked
    pairs = [
        ("from", source),
        ("name", asked.name),
        ("method", asked.method),
        ("call", asked.call),
        ("number", asked.number),
        ("of", asked.of),
        ("argument", asked.argument),
        ("unit", asked.unit),
    ]
    return "{" + ", ".join(f"{key}: {_word(value)}" for key, value in pairs if value is not None) + "}"


def _word(value: object) -> str:
    text = str(value)
    return text if re.fullmatch(r"[\w./-]+", text) else dumps(text, ensure_ascii=False)


def _relative(code: Path, folder: Path) -> str:
    try:
        return Path(os.path.relpath(code.resolve(), folder.resolve())).as_posix()
    except ValueError:  # on another drive
        return code.resolve().as_posix()


def without_unit(waits: list[FoundWait]) -> int:
    """How many of the waits say no unit."""
    return sum(wait.asked.unit == UNKNOWN for wait in waits)
