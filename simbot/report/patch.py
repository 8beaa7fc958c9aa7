"""The suggested timers as a unified diff of the robot's source: the numbers alone, byte for byte the rest.

The source itself is never written. The diff has the form of POSIX diff -u, so that `git apply` and `patch -p1`
take it; files keep their line ends and encoding.
"""

from __future__ import annotations

import difflib
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from simbot.scenario.errors import SimbotError
from simbot.scenario.model import Plan
from simbot.scenario.plan_file import all_steps
from simbot.scenario.source_literals import rewrite_literal
from simbot.scenario.source_units import UNITS
from simbot.studies.knobs import source_value
from simbot.studies.tune_results import TunedTimer, TuneResult

CAUTION = "First run of a changed timer: slowly, wheels off the ground, hands and faces clear, one of you at the stop."
DEFER = (
    "A simulated time is never permission: the event's rules, its inspectors and the qualified adult decide."
)


@dataclass(frozen=True)
class Patch:
    data: bytes
    root: Path | None  # the folder in which it is applied; None where nothing changes
    changed: int
    by_hand: tuple[str, ...]  # what no single number in the code holds


@dataclass(frozen=True)
class Edit:
    start: int
    end: int
    old: bytes
    new: bytes


NO_SOURCE = (
    "--patch: no timer of this plan stands in source code; point at one with "
    "`wait: {from: code/Timing.java, name: CLAW_CLOSE_MS}`"
)


def check_sources(plan: Plan) -> None:
    """Refuse a patch that there is nothing for, before anything is worked out.

    Raises
    ------
    SimbotError
        Where no timer stands in source code.
    """
    sources = ("source", "limit_source")
    if not any(getattr(step, name, None) for step in all_steps(plan) for name in sources):
        raise SimbotError(NO_SOURCE)


def patch_of(result: TuneResult) -> Patch:
    """The diff that brings the suggested values into the source.

    Raises
    ------
    SimbotError
        Where no timer stands in source code, or a file is no longer what the plan was read from.
    """
    if all(timer.source is None for timer in result.timers):
        raise SimbotError(NO_SOURCE)
    edits: dict[Path, list[Edit]] = {}
    by_hand = []
    for timer in result.timers:
        edit = _edit(timer) if timer.changed and timer.source else None
        if edit is not None and timer.source is not None:
            edits.setdefault(timer.source.file.resolve(), []).append(edit)
        elif timer.changed and timer.source is not None:
            by_hand.append(f"{timer.source.file.name} line {timer.source.line}, {timer.name}: {_ms(timer)}")
    root = root_of(edits)
    lines = [_head(result, by_hand)]
    for file in sorted(edits):
        lines += file_diff(file, edits[file], root or file.parent)
    count = sum(map(len, edits.values()))
    return Patch(b"".join(lines), root, count, tuple(by_hand))


def _ms(timer: TunedTimer) -> str:
    return f"{timer.now_us / 1000:g} ms, better {timer.suggested_us / 1000:g} ms"


def _edit(timer: TunedTimer) -> Edit | None:
    """The change of one literal; None where its spelling cannot hold the value."""
    source = timer.source
    assert source is not None
    if source.computed:
        return None
    value = source_value(source, timer.suggested_us)
    new = rewrite_literal(source.text, source.language, value, source.whole)
    return None if new is None else Edit(source.start, source.end, source.text.encode(), new.encode())


def _head(result: TuneResult, by_hand: Iterable[str]) -> bytes:
    plan = re.sub(r"\s+", " ", result.plan)
    text = f"# Timers of {plan}, kind {result.kind}, for the battery states {', '.join(result.asked)}.\n"
    text += f"# {CAUTION}\n# {DEFER}\n"
    text += "".join(f"# By hand: {line}\n" for line in by_hand)
    return text.encode()


def root_of(files: Iterable[Path]) -> Path | None:
    """Where the diff is applied: the repository that holds all files, else what they have in common."""
    folders = [str(file.parent) for file in files]
    if not folders:
        return None
    try:
        common = Path(os.path.commonpath(folders))
    except ValueError as error:  # on different drives
        raise SimbotError(
            "--patch: the source files lie on different drives; one patch cannot hold them"
        ) from error
    return next((folder for folder in (common, *common.parents) if (folder / ".git").exists()), common)


def file_diff(file: Path, edits: list[Edit], root: Path) -> Iterator[bytes]:
    try:
        old = file.read_bytes()
    except OSError as error:
        raise SimbotError(f"--patch: {file} cannot be read: {error.strerror or error}") from error
    new = old
    for edit in sorted(edits, key=lambda edit: -edit.start):
        if old[edit.start : edit.end] != edit.old:
            raise SimbotError(f"--patch: {file} has changed since it was read; run it again")
        new = new[: edit.start] + edit.new + new[edit.end :]
    name = file.relative_to(root).as_posix()
    if re.search(r'[\x00-\x1f\x7f"\\]', name):
        raise SimbotError(f"--patch: {name!r} has characters that a diff cannot name")
    yield from unified(old, new, name)


def unified(old: bytes, new: bytes, name: str) -> Iterator[bytes]:
    """A unified diff of two texts of bytes; lines end in LF, what stands before it is theirs."""
    tab = "\t" if " " in name else ""  # ends a name with spaces for git and patch
    before, after = (_lines(text) for text in (old, new))
    for index, line in enumerate(difflib.unified_diff(before, after, f"a/{name}", f"b/{name}", n=3)):
        if index < 2:
            yield f"{line.rstrip()}{tab}\n".encode()
        elif line.startswith("@@") or line.endswith("\n"):
            yield line.encode("latin-1")
        else:
            yield line.encode("latin-1") + b"\n\\ No newline at end of file\n"


def _lines(text: bytes) -> list[str]:
    """Lines with their ends, each byte one character."""
    return [line for line in re.split(r"(?<=\n)", text.decode("latin-1")) if line]


def written(timer: TunedTimer) -> str:
    """The new value as the code would write it: `740L`; a time where it stands in the plan."""
    source = timer.source
    if source is None or source.computed:
        return f"{timer.suggested_us / 1000:g} ms"
    value = source_value(source, timer.suggested_us)
    new = rewrite_literal(source.text, source.language, value, source.whole)
    return new or f"{float(timer.suggested_us / UNITS[source.unit]):g} {source.unit}"
