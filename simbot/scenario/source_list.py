"""Every wait of a source file: calls that wait, and constants that are times by their names."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from simbot.scenario.errors import ValueFault
from simbot.scenario.model import SourceNumber
from simbot.scenario.source_tree import Call, Constant, SourceTree
from simbot.scenario.source_units import unit_of_comment, unit_of_name
from simbot.scenario.source_wait import Asked, count_of, find_call, find_number

WAITING = re.compile(r"sleep|wait|delay|pause", re.IGNORECASE)
LOOKS_LIKE_A_WAIT = re.compile(
    r"(sleep|wait|delay|pause)\w*\s*\(|(time|milli|nano|second|elapsed|clock)\w*\s*\([^()]*\)[^;]*[<>]",
    re.IGNORECASE,
)
QUOTED = re.compile(r"\"(?:\\.|[^\"\\])*\"|'(?:\\.|[^'\\])*'")
UNKNOWN = "?"  # stands for the unit where the code does not say it


@dataclass(frozen=True)
class FoundWait:
    """One wait in source code, and how a plan points at it."""

    line: int
    scope: tuple[str, ...]
    name: str
    asked: Asked  # `unit` is "?" where nothing says it
    wait_us: int | None  # None: unit unknown
    number: SourceNumber
    text: str  # the line itself
    before: str  # the line of code before it


def list_waits(tree: SourceTree, unit: str | None = None) -> list[FoundWait]:
    """The waits in the order in which they stand; `unit` is that of numbers of which the code says none."""
    calls = [found for call in tree.calls if _waits(call) for found in _of_call(call, tree, unit)]
    used = {found.number.start for found in calls if not found.number.computed}
    named = [found for constant in tree.constants for found in _of_constant(constant, tree, unit)]
    return [found for found in named if found.number.start not in used or found.number.computed] + calls


def unread_waits(tree: SourceTree, found: list[FoundWait]) -> list[tuple[int, str]]:
    """Line and text of what looks like a wait and has no number that can be read: to be written by hand."""
    known = {wait.line for wait in found} | {wait.number.line for wait in found}
    lines = dict.fromkeys(
        call.line
        for call in tree.calls
        if call.line not in known and (WAITING.search(call.last) is None or call.arguments)
    )
    return [
        (line, _plain(tree.lines[line - 1]))
        for line in lines
        if line <= len(tree.lines) and LOOKS_LIKE_A_WAIT.search(QUOTED.sub("", tree.lines[line - 1]))
    ]


def _waits(call: Call) -> bool:
    """A call that waits by its name, or a clock that is held against a number: `timer.seconds() > 0.5`."""
    return bool(WAITING.search(call.last)) or (
        call.compared is not None and unit_of_name(call.last) is not None
    )


def _of_call(call: Call, tree: SourceTree, unit: str | None) -> Iterator[FoundWait]:
    """The first argument that is a number makes the wait."""
    for argument in range(1, max(1, len(call.arguments)) + 1):
        asked = replace(_pointing_at(call, tree), argument=argument if argument > 1 else None)
        found = _read(tree, asked, unit)
        if found is not None:
            yield _row(tree, call.line, call.scope, *found)
            return


def _of_constant(constant: Constant, tree: SourceTree, unit: str | None) -> Iterator[FoundWait]:
    if unit_of_name(constant.name) is None and unit_of_comment(constant.comment) is None:
        return
    same = [one for one in tree.constants if one.name == constant.name]
    asked = Asked(name=constant.name if len(same) == 1 else constant.dotted)
    found = _read(tree, asked, unit)
    if found is not None:
        yield _row(tree, constant.line, (), *found)


def _pointing_at(call: Call, tree: SourceTree) -> Asked:
    """The shortest way to name a call that means this one alone."""
    name = call.last
    ways = [call.scope[-1], ".".join(call.scope)] if call.scope else []
    for method in [*ways, None]:
        for number in (None, *range(1, len(tree.calls) + 1)):
            asked = Asked(method=method, call=name, number=number)
            try:
                if find_call(tree, asked) is call:
                    return asked if number is None else replace(asked, of=count_of(tree, asked))
            except ValueFault:
                if number is not None:
                    break
    return Asked(call=name)


def _read(tree: SourceTree, asked: Asked, unit: str | None) -> tuple[Asked, int | None, SourceNumber] | None:
    """What stands there; with the given unit, or none known, where the code says none; None: no number."""
    try:
        return asked, *find_number(tree, asked)
    except ValueFault:
        pass
    try:
        wait_us, number = find_number(tree, replace(asked, unit=unit or "ms"))
    except ValueFault:
        return None
    return replace(asked, unit=unit or UNKNOWN), wait_us if unit else None, number


def _row(
    tree: SourceTree,
    line: int,
    scope: tuple[str, ...],
    asked: Asked,
    wait_us: int | None,
    number: SourceNumber,
) -> FoundWait:
    before = next((text for text in reversed(tree.lines[: line - 1]) if re.search(r"\w", text)), "")
    text = tree.lines[line - 1] if line <= len(tree.lines) else ""
    return FoundWait(line, scope, number.name, asked, wait_us, number, _plain(text), _plain(before))


def _plain(text: str, limit: int = 72) -> str:
    """One line of code as a comment may show it."""
    line = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
    return line if len(line) <= limit else line[: limit - 1] + "…"
