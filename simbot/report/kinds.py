"""What `simbot kinds` prints: the mechanism kinds, and all about one of them."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from types import ModuleType
from typing import IO

from simbot.physics.kinds import KINDS
from simbot.scenario.kind_schema import KeyRow, describe_kind

WIDTH = 80
SECOND = 38  # column of what may be written
COORDINATES = {
    "length": "a length [m]",
    "angle": "an angle [rad], written in degrees mostly",
    "word": "a word: any word is a place of its",
}


def print_kinds(stream: IO[str]) -> None:
    for line in kinds_lines():
        print(line, file=stream)


def print_kind(name: str, stream: IO[str]) -> None:
    for line in kind_lines(KINDS[name]):
        print(line, file=stream)


def kinds_lines() -> Iterator[str]:
    """All kinds, one a line."""
    width = max(map(len, KINDS))
    for kind in KINDS.values():
        yield f"{kind.NAME:<{width}}  {kind.SUMMARY}"
    yield ""
    yield "simbot kinds KIND: its geometry, its keys and what stands in for those left out."


def kind_lines(kind: ModuleType) -> Iterator[str]:
    """Sketch, coordinate and every key of one kind."""
    yield f"{kind.NAME}: {kind.SUMMARY}"
    yield from kind.SKETCH.rstrip().splitlines()
    yield ""
    yield f"Its coordinate q is {COORDINATES[kind.COORDINATE]}."
    yield ""
    yield "All that it needs, to paste under `mechanisms:` of a robot file and to fill"
    named = " (NAME: one of its `motors:`)" if "NAME" in kind.EXAMPLE else ""
    if on_rail(kind):
        named = " (RAIL: one of its `rails:`; else it is on the battery)"
    yield f"with your own values{named}:"
    yield from example_lines(kind)
    yield ""
    yield f"{'Key and an example':<{SECOND}}What may be written; what stands in for it"
    for row in describe_kind(kind):
        yield from _key(row)


def example_lines(kind: ModuleType) -> Iterator[str]:
    """The keys that a kind needs, and the rail that feeds a servo, as they stand in a robot file."""
    yield f"    my_{kind.NAME}:"
    yield f"      kind: {kind.NAME}"
    yield from textwrap.indent(kind.EXAMPLE, "      ").splitlines()
    if on_rail(kind):
        yield "      rail: RAIL"


def on_rail(kind: ModuleType) -> bool:
    """Whether it is a servo, which few batteries may feed without a regulator."""
    return any(each.key == "rail" for each in kind.PARAMETERS)


def _key(row: KeyRow) -> Iterator[str]:
    depth = row.key.count(".")
    lead = "  " * depth
    left = f"{lead}{row.key.rsplit('.', 1)[-1]}: {row.example}".rstrip()
    default = row.default if row.default.startswith("required") else f"left out: {row.default}"
    right = f"{row.written}; {'may be left out' if row.default == 'absent' else default}"
    wrapped = textwrap.wrap(right, WIDTH - SECOND, break_on_hyphens=False)
    if len(left) < SECOND - 1:
        yield f"{left:<{SECOND}}{wrapped.pop(0)}"
    else:
        yield left
    yield from (f"{'':<{SECOND}}{line}" for line in wrapped)
    notes = [row.meaning, row.bounds, f"the default: {row.reason}" if row.reason else ""]
    text = "; ".join(note for note in notes if note)
    indent = lead + "    "
    yield from textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )
