"""What the commands share."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from simbot.scenario.errors import SimbotError

if TYPE_CHECKING:
    from simbot.analysis.results import RunResult
    from simbot.report.document import Document
    from simbot.report.studies_read import Study
    from simbot.scenario.model import Plan, Remark, Robot
    from simbot.studies.shown import Shown

FINE, OUR_FAULT, USERS_MISTAKE, FINDINGS, STOPPED = 0, 1, 2, 3, 130


class Stopped(Exception):
    """Ctrl-C, which was told already."""


def progress(what: str, before_s: float = 0.0) -> Callable[[int, int], None]:
    """Tells on stderr how far a study is, on a terminal only.

    `before_s`: what was done took so long before an interruption, and is done at once now.
    """
    begun = time.monotonic() - before_s

    def tell(done: int, total: int) -> None:
        if sys.stderr.isatty():
            gone = time.monotonic() - begun
            left = f", about {gone * (total - done) / done:.0f} s left" if done else ""
            end = "\n" if done >= total else ""
            sys.stderr.write(f"\r{done} of {total} {what}{left}   {end}")
            sys.stderr.flush()

    return tell


def tell_stopped(text: str) -> None:
    """A remark on stderr, where the progress stands that is no more."""
    if sys.stderr.isatty():
        sys.stderr.write("\r" + " " * 70 + "\r")
    typer.echo(text, err=True)


def load(path: Path, settings: Sequence[str] | None) -> tuple[Plan, Sequence[Remark]]:
    from simbot.physics.assumptions import physics_remarks
    from simbot.physics.follows import consequences, idle_jaws
    from simbot.physics.kinds import KINDS
    from simbot.scenario.load import load_plan

    plan, remarks = load_plan(path, KINDS, changes_of(settings))
    return plan, [*remarks, *physics_remarks(plan.robot), *consequences(plan.robot), *idle_jaws(plan)]


def load_robot(path: Path, settings: Sequence[str] | None) -> tuple[Robot, Sequence[Remark]]:
    from simbot.physics.assumptions import physics_remarks
    from simbot.physics.follows import consequences
    from simbot.physics.kinds import KINDS
    from simbot.scenario.load import load_robot

    robot, remarks = load_robot(path, KINDS, changes_of(settings))
    return robot, [*remarks, *physics_remarks(robot), *consequences(robot)]


def changes_of(settings: Sequence[str] | None, option: str = "--set") -> dict[str, str]:
    changes: dict[str, str] = {}
    for setting in settings or ():
        key, equals, value = setting.partition("=")
        if not (equals and key.strip() and value.strip()):
            raise SimbotError(f"{option} {setting}: KEY=VALUE is needed, as in robot.mass='11 kg'")
        before = changes.setdefault(key.strip(), value.strip())
        if before != value.strip():
            raise SimbotError(f"{option} {setting}: {key.strip()} is {before} by another {option} already")
    return changes


def check_folder(option: str, file: str | None) -> None:
    if file not in (None, "-") and not Path(file).parent.is_dir():
        raise SimbotError(f"{option} {file}: there is no such folder")
    if file is not None and Path(file).is_dir():
        raise SimbotError(f"{option} {file}: that is a folder; a file in it is wanted")


def check_targets(**targets: str | None) -> None:
    """Files that options name, by the options' names: their folders are there, and one at most is the screen."""
    for option, file in targets.items():
        check_folder(f"--{option}", file)
    if list(targets.values()).count("-") > 1:
        *others, last = (f"--{option}" for option in targets)
        raise SimbotError(f"only one of {', '.join(others)} and {last} can be -")


def compile_first(plan: Plan) -> None:
    """Compile the physics, where that is still to do, before processes start that would all do it."""
    from simbot.physics.compiled import needs_compiling

    if needs_compiling():
        simulate(plan)


def simulate(plan: Plan) -> RunResult:
    with sign_of_life():
        from simbot import api

        return api.run(plan)


def show_plans(paths: Sequence[Path], battery: str | None, settings: Sequence[str] | None) -> list[Shown]:
    """Plans run for drawing; the battery state must be one of every robot's."""
    plans = [load(path, settings)[0] for path in paths]
    for plan in plans:
        names = [state.name for state in plan.robot.battery]
        if battery is not None and battery not in names:
            raise SimbotError(f"--battery {battery}: {plan.robot.name} has {', '.join(names)}")
    with sign_of_life():
        from simbot.studies.shown import show

        return [show(plan, battery) for plan in plans]


def read_studies_of(folder: Path | None) -> list[Study]:
    if folder is None:
        return []
    from simbot.report.studies_read import read_studies

    return read_studies(folder)


def write_json(document: Document, target: str) -> None:
    from simbot.report.document import to_text
    from simbot.report.files import write

    write("--json", to_text(document), target)


def write_csv(kind: str, document: Document, target: str) -> None:
    """The numbers of a document, one a row."""
    from simbot.report import tidy
    from simbot.report.files import write

    rows = {"match": tidy.match_rows, "compare": tidy.compare_rows, "worth": tidy.worth_rows}[kind](document)
    write("--csv", tidy.csv_text(rows), target)


def going_on(found: int, what: str = "match", done: str = "played") -> None:
    """Tell that a study was begun before."""
    if found:
        typer.echo(f"going on after {_done(found, what, done)} before", err=True)


def stopped_after(found: int, what: str = "match", done: str = "played") -> str:
    """What a study that was stopped has kept."""
    if not found:
        return f"stopped before the first {what} was {done}"
    return f"stopped; {_done(found, what, done)} {'is' if found == 1 else 'are'} kept"


def _done(found: int, what: str, done: str) -> str:
    from simbot.analysis.words import counted

    return f"{counted(found, what)} that {'was' if found == 1 else 'were'} {done}"


@contextmanager
def goes_on(kept: Callable[[], str]) -> Iterator[None]:
    """Ctrl-C ends a study that keeps what it has; `kept` says what that is."""
    try:
        yield
    except KeyboardInterrupt:
        tell_stopped(f"{kept()}; the same command goes on from there")
        raise Stopped from None


NOTHING_PLAYED = "stopped before any match was played in this call"


@contextmanager
def nothing_played() -> Iterator[None]:
    """Ctrl-C before any match: say that there is nothing to tell."""
    try:
        yield
    except KeyboardInterrupt:
        tell_stopped(NOTHING_PLAYED)
        raise Stopped from None


@contextmanager
def sign_of_life() -> Iterator[None]:
    """Say on stderr that the physics is being compiled, with the seconds on a terminal."""
    from simbot.physics.compiled import needs_compiling

    if not needs_compiling():
        yield
        return
    from simbot.physics.beforehand import aside

    begun, done = time.monotonic(), threading.Event()
    message = "compiling the physics once for this machine, half a minute or less"
    if not sys.stderr.isatty():
        typer.echo(f"{message} ...", err=True)
        with aside():
            yield
        _keep_compiled()
        return

    def tick() -> None:
        while not done.wait(0.5):
            sys.stderr.write(f"\r{message}: {time.monotonic() - begun:.0f} s ")
            sys.stderr.flush()

    ticking = threading.Thread(target=tick, daemon=True)
    ticking.start()
    try:
        with aside():
            yield
    finally:
        done.set()
        ticking.join()
        sys.stderr.write("\r" + " " * (len(message) + 10) + "\r")
        sys.stderr.flush()
    _keep_compiled()


def _keep_compiled() -> None:
    """Note that everything is compiled, or say why the next run compiles again."""
    from simbot.physics.beforehand import answers
    from simbot.physics.compiled import cache_folder, mark_complete, needs_compiling
    from simbot.physics.ready import complete

    mark_complete()
    if not needs_compiling() and not complete(cache_folder()):
        answers()  # the second process was not there, or was not done
    if needs_compiling():
        complain(
            f"{cache_folder()} cannot be written, so the next run compiles again; SIMBOT_CACHE_DIR names another folder"
        )


def complain(text: str) -> None:
    typer.echo("\n".join(f"simbot: {line}" for line in text.splitlines() or [""]), err=True)
