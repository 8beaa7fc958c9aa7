"""Everything that can be the user's mistake, in one tree.

    Exception
    └── SimbotError            base; always one positional argument
        ├── ValueFault         one value that cannot be read; carries a Fault, knows no file
        └── ScenarioError      all mistakes of a set of files; carries a list of Problem

Only the command line prints an error or exits.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import SequenceMatcher, get_close_matches


class SimbotError(Exception):
    """A mistake in what was given to simbot; `str()` is the message for the user."""


@dataclass(frozen=True)
class Fault:
    """What is wrong with one value: what was given, what would do, and the nearest guess."""

    text: str
    given: str | None = None
    wanted: str = ""
    nearest: str | None = None

    def __str__(self) -> str:
        parts = [self.text]
        if self.given is not None:
            parts[0] += f", given: {quoted(self.given)}"
        if self.nearest:
            parts.append(f"did you mean {quoted(self.nearest)}?")
        if self.wanted:
            parts.append(f"would do: {self.wanted}")
        return "; ".join(parts)


class ValueFault(SimbotError):
    """One value that cannot be read. Its argument is a `Fault`."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(fault)
        self.fault = fault


@dataclass(frozen=True)
class Problem:
    """One mistake and its place. Line and column count from 1; 0 where there is no such place."""

    file: str
    line: int
    column: int
    key: str
    given: str | None
    wanted: str
    nearest: str | None
    text: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        where = f"{place}: {self.key}" if self.key else place
        return f"{where}: {Fault(self.text, self.given, self.wanted, self.nearest)}"


class ScenarioError(SimbotError):
    """All mistakes of a set of files, in the order of their places."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = sorted(dict.fromkeys(problems), key=lambda p: (p.file, p.line, p.column))
        super().__init__(self.problems)

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


def quoted(text: str, limit: int = 60) -> str:
    """The text in quotation marks on one line, shortened where it is long."""
    line = " ".join(text.split()) if text.strip() else text.replace("\n", "\\n")
    if len(line) > limit:
        line = line[: limit - 1] + "…"
    return f"'{line}'"


def nearest(word: str, words: Iterable[str]) -> str | None:
    """The one of the words that looks most like the given one; None where none looks like it."""
    folded: dict[str, str] = {}
    for candidate in words:
        folded.setdefault(candidate.casefold(), candidate)
    close = get_close_matches(word[:80].casefold(), folded, n=1, cutoff=0.6)
    return folded[close[0]] if close else None


def is_slip(word: str, other: str) -> bool:
    """Whether one looks like the other misspelt, and not only a little like it."""
    return SequenceMatcher(None, word.casefold(), other.casefold()).ratio() >= 0.8
