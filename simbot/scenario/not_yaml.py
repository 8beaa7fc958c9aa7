"""Says in plain words, and at the right place, why a text is no YAML: an unclosed brace, a missing colon, an indent."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from simbot.scenario.errors import Fault

Spot = tuple[int, int]  # line and column, from 0
OPENING = {"}": "{", "]": "["}
TOKENS = {
    "<stream end>": "the end of the file",
    "<scalar>": "a value",
    "<block end>": "the end of what is indented",
    "<block mapping start>": "a key that is indented otherwise",
    "<block sequence start>": "a list that is indented otherwise",
    "<document end>": "the end of a document",
    "<document start>": "a new document",
}


def explained(error: Any, text: str) -> tuple[Spot | None, Fault]:
    """The place of the mistake, as far as the library knows it, and what to tell of it."""
    lines = text.splitlines()
    problem = str(error.problem or error.context or "malformed")
    at, begun = _spot(error.problem_mark), _spot(error.context_mark)
    if at is None:
        return begun, Fault(f"not YAML: {_in_words(problem)}")
    line = lines[at[0]] if at[0] < len(lines) else ""
    closing = re.match(r"expected ',' or '([}\]])'", problem)
    if closing and begun:
        return _unclosed(closing[1], begun, at, line, lines)
    if "quoted scalar" in str(error.context) and begun:
        return begun, Fault("not YAML: this quotation mark is not closed", given=lines[begun[0]][begun[1] :])
    if problem == "mapping values are not allowed here":
        return _colon(at, lines)
    if problem.startswith("expected <block end>"):
        keyed = "'<block mapping start>'" in problem
        return (_no_colon_above(at, lines) if keyed else None) or (at, _block(problem, line, at))
    if begun and re.search("anchor|alias", str(error.context)):
        return begun, _first_sign("", lines[begun[0]][begun[1] :])
    if "cannot start any token" in problem:
        return at, _first_sign(problem, line[at[1] :])
    return at, Fault(f"not YAML: {_in_words(problem)}", given=line[at[1] :] or None)


def _spot(mark: Any) -> Spot | None:
    return (mark.line, mark.column) if mark else None


def _unclosed(closing: str, begun: Spot, at: Spot, line: str, lines: Sequence[str]) -> tuple[Spot, Fault]:
    """A brace or bracket without its other half, or two entries without a comma between them."""
    if at[0] > begun[0]:
        given = lines[begun[0]][begun[1] :]
        return begun, Fault(
            f"not YAML: this '{OPENING[closing]}' is not closed", given, f"a '{closing}' after it"
        )
    return at, Fault(
        "not YAML: a comma is missing between two entries",
        given=line[begun[1] :],
        wanted=f"',' between entries, '{closing}' at the end",
    )


def _colon(at: Spot, lines: Sequence[str]) -> tuple[Spot, Fault]:
    """A colon where none may stand: the second of a line, or below a line that has none or a value already."""
    line = lines[at[0]]
    if re.search(r":\s", line[: at[1]]):
        wanted = "one key a line, or a text in quotation marks"
        return at, Fault("not YAML: a second ': ' in one line", line.strip(), wanted)
    told = _no_colon_above(at, lines)
    if told:
        return told
    return (at[0], len(line) - len(line.lstrip())), Fault(
        "not YAML: this line is indented more than the one above, which has a value already",
        given=line.strip(),
        wanted="the same indent as the key above",
    )


def _no_colon_above(at: Spot, lines: Sequence[str]) -> tuple[Spot, Fault] | None:
    """The slip is in the line above where that has no colon with a space."""
    above = next((n for n in range(at[0] - 1, -1, -1) if _said(lines[n])), None)
    if above is None:
        return None
    before = _said(lines[above])
    if re.search(r":(\s|$)", before):
        return None
    key = re.match(r"-?\s*(\w+):?\s*(\S.*)?$", before)
    nearest = f"{key[1]}: {key[2]}" if key and key[2] else f"{before}:"
    fault = Fault("not YAML: a key and its value stand apart by ': '", before, "a colon and a space", nearest)
    return (above, len(lines[above]) - len(lines[above].lstrip())), fault


def _said(line: str) -> str:
    """A line without its remark and the blanks around it."""
    return re.sub(r"(^|\s)#.*", "", line).strip()


def _block(problem: str, line: str, at: Spot) -> Fault:
    """Something that does not belong to the block it stands in."""
    found = problem.rpartition("found ")[2].strip("'")
    given = line.strip() or None
    if found in OPENING:
        return Fault(f"not YAML: a '{found}' too many; nothing is open here", given=line.strip())
    if found == "-":
        return Fault("not YAML: a list item ('- ') among keys", given, "a key, or another indent")
    if found == "?":
        return Fault("not YAML: a key among list items", given, "'- ' before it, or another indent")
    if found == "<block mapping start>":
        return Fault(
            "not YAML: this line is indented less than the one above, and like no line before",
            given,
            "the indent of the line it belongs to",
        )
    return Fault(f"not YAML: here cannot stand {TOKENS.get(found, repr(found))}", given=line[at[1] :] or None)


def _first_sign(problem: str, rest: str) -> Fault:
    if "\\t" in problem or "'\t'" in problem:
        return Fault("not YAML: a tab where only spaces may indent")
    return Fault(
        f"not YAML: a value may not begin with {rest[:1]!r}",
        given=rest,
        wanted="the same in quotation marks",
        nearest=f'"{rest.strip()}"',
    )


def _in_words(problem: str) -> str:
    for token, words in TOKENS.items():
        problem = problem.replace(f"'{token}'", words).replace(token, words)
    return problem
