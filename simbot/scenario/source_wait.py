"""A wait that names a number in the robot's own code: `wait: {from: code/Timing.java, name: CLAW_CLOSE_MS}`."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from simbot.scenario.errors import Fault, ValueFault, nearest, quoted
from simbot.scenario.model import SourceNumber
from simbot.scenario.source_literals import is_floating as floating_literal
from simbot.scenario.source_pieces import Expr
from simbot.scenario.source_tree import LANGUAGES, Call, SourceTree, parse_source
from simbot.scenario.source_units import (
    UNIT_OF_WORD,
    UNITS,
    unit_of_call,
    unit_of_comment,
    unit_of_name,
    unit_of_word,
)
from simbot.scenario.source_values import Worth, constant_named, is_floating, worth_of

MAX_BYTES = 2_000_000
LONGEST = 36_000_000_000  # us


@dataclass(frozen=True)
class Asked:
    """What a plan says of a number in source code."""

    name: str | None = None
    method: str | None = None
    call: str | None = None
    number: int | None = None
    of: int | None = None  # how many such calls there were when the plan was written
    argument: int | None = None
    unit: str | None = None


def read_source(path: Path) -> SourceTree:
    """Parse a source file; what cannot be read is a ValueFault."""
    language = LANGUAGES.get(path.suffix.lower())
    if language is None:
        near = nearest(path.suffix, LANGUAGES)
        raise ValueFault(Fault("not source code that is read here", str(path), ", ".join(LANGUAGES), near))
    try:
        data = path.read_bytes()
    except OSError as error:
        there = sorted(one.name for one in path.parent.glob("*")) if path.parent.is_dir() else []
        text = "there is no such file" if not path.exists() else f"cannot be read: {error.strerror or error}"
        raise ValueFault(Fault(text, str(path), "source code", nearest(path.name, there))) from error
    if len(data) > MAX_BYTES:
        raise ValueFault(Fault(f"more than {MAX_BYTES} bytes", path.name))
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in data:
        raise ValueFault(Fault("a binary or UTF-16 file", path.name, "source code as UTF-8"))
    return parse_source(path, data, language)


def find_number(tree: SourceTree, asked: Asked) -> tuple[int, SourceNumber]:
    """The wait in microseconds, and where its number stands.

    Raises
    ------
    ValueFault
        With the nearest name, where there is no such constant or call; where the value is no plain number,
        or nothing says its unit.
    """
    if asked.call is None:
        constant = constant_named(asked.name or "", tree)
        found = worth_of(_as_name(constant.dotted, constant.line, constant.column), tree, ())
        return _number(tree, asked.name or "", constant.line, found, asked.unit, "")
    call = find_call(tree, asked)
    keyword, expr = _argument(call, asked)
    found = worth_of(expr, tree, call.scope)
    return _number(tree, call_label(call, tree), call.line, found, asked.unit, _unit_of(call, keyword, tree))


def find_call(tree: SourceTree, asked: Asked) -> Call:
    """The call a plan asks for, by its method, its own name and its number among those."""
    wanted = asked.call or ""
    scoped = [call for call in tree.calls if _in_method(call, asked.method)]
    if asked.method is not None:
        _one_method(tree, asked.method)
    found = [call for call in scoped if wanted in (call.name, call.last)]
    where = f"in {asked.method}" if asked.method else f"in {tree.path.name}"
    if not found:
        names = list(dict.fromkeys(name for call in scoped for name in (call.last, call.name)))
        near = nearest(wanted, names)
        line = next((call.line for call in scoped if near in (call.last, call.name)), None)
        text = f"nothing {where} calls that" + (f"; the nearest stands in line {line}" if line else "")
        raise ValueFault(Fault(text, wanted, ", ".join(names[:12]) or "a call with a number", near))
    if asked.of is not None and len(found) != asked.of:
        lines = ", ".join(str(call.line) for call in found[:12])
        text = f"there are now {len(found)} such calls {where}, in lines {lines}: the code has changed, and every"
        raise ValueFault(
            Fault(
                f"{text} `number` may mean another wait",
                f"of: {asked.of}",
                f"each looked at, then of: {len(found)}",
            )
        )
    if asked.number is None and len(found) > 1:
        lines = ", ".join(str(call.line) for call in found[:12])
        raise ValueFault(Fault(f"{len(found)} such calls {where}, in lines {lines}", wanted, "number: 1"))
    number = asked.number or 1
    if number > len(found):
        count = f"{len(found)} such call{'s' if len(found) > 1 else ''}"
        raise ValueFault(Fault(f"there {'are' if len(found) > 1 else 'is'} {count} {where}", str(number)))
    call = found[number - 1]
    if call.broken:
        raise ValueFault(Fault(f"line {call.line} of {tree.path.name} does not parse", wanted))
    return call


def count_of(tree: SourceTree, asked: Asked) -> int:
    """How many calls of that name stand in the method, or in the file."""
    return sum(asked.call in (call.name, call.last) for call in tree.calls if _in_method(call, asked.method))


def call_label(call: Call, tree: SourceTree) -> str:
    """`autonomous: sleep 3`: how a call is named in reports."""
    same = [one for one in tree.calls if one.last == call.last and one.scope == call.scope]
    number = f" {same.index(call) + 1}" if len(same) > 1 else ""
    return f"{call.scope[-1]}: {call.last}{number}" if call.scope else f"{call.last}{number}"


def _in_method(call: Call, method: str | None) -> bool:
    return method is None or _ends_with(call.scope, method)


def _ends_with(scope: tuple[str, ...], method: str) -> bool:
    parts = tuple(method.replace("::", ".").split("."))
    return any(scope[:end][-len(parts) :] == parts for end in range(len(parts), len(scope) + 1))


def _one_method(tree: SourceTree, method: str) -> None:
    parts = tuple(method.replace("::", ".").split("."))
    found = [scope for scope in tree.functions if scope[-len(parts) :] == parts]
    if not found:
        names = [scope[-1] for scope in tree.functions]
        text = f"{tree.path.name} has no method of that name"
        raise ValueFault(Fault(text, method, ", ".join(dict.fromkeys(names[:12])), nearest(parts[-1], names)))
    if len(found) > 1:
        names = list(dict.fromkeys(".".join(scope) for scope in found))
        what = ", ".join(names) if len(names) > 1 else "a method whose name stands once"
        raise ValueFault(Fault(f"{tree.path.name} has {len(found)} methods of that name", method, what))


def _argument(call: Call, asked: Asked) -> tuple[str, Expr]:
    number = asked.argument or 1
    if call.compared is not None and asked.argument is None:
        return "", call.compared
    if not 1 <= number <= len(call.arguments):
        count = len(call.arguments)
        raise ValueFault(
            Fault(f"line {call.line} calls it with {count} argument{'' if count == 1 else 's'}", call.last)
        )
    return call.arguments[number - 1]


def _as_name(dotted: str, line: int, column: int) -> Expr:
    return Expr("name", dotted, 0, 0, line, column)


def _unit_of(call: Call, keyword: str, tree: SourceTree) -> str:
    """Units that the call itself states, as words; "" where it states none."""
    units = {
        unit_of_name(keyword) or UNIT_OF_WORD.get(keyword) if keyword else None,
        *(unit_of_word(expr.text) for _, expr in call.arguments[1:] if expr.kind == "name"),
    } - {None}
    if not units:
        units = {unit_of_call(call.name, tree.language, tree.data.decode("utf-8", "replace"))} - {None}
    if not units:
        units = {unit_of_comment(call.comment)} - {None}
    return next(iter(units)) or "" if len(units) == 1 else ""


def _number(
    tree: SourceTree, name: str, line: int, found: Worth, given_unit: str | None, call_unit: str
) -> tuple[int, SourceNumber]:
    unit = given_unit or _stated_unit(found, call_unit, name, line, tree)
    us = Fraction(found.value) * UNITS[unit]
    if not 0 <= us <= LONGEST:
        shown = float(found.value)
        raise ValueFault(
            Fault(f"line {line} of {tree.path.name} is no wait", f"{shown:g} {unit}", "0 s to 36000 s")
        )
    number = found.number
    whole = number is not None and not floating_literal(number.text, tree.language)
    if whole and (tree.language == "python" or (found.constant and is_floating(found.constant.type))):
        whole = False
    return round(us), SourceNumber(
        file=tree.path,
        language=tree.language,
        name=name,
        line=number.line if number else line,
        column=number.column if number else 1,
        start=number.start if number else 0,
        end=number.end if number else 0,
        text=number.text if number else "",
        unit=unit,
        whole=whole,
        computed=number is None,
        made_of=tuple(part.start for part in found.parts),
    )


def _stated_unit(found: Worth, call_unit: str, name: str, line: int, tree: SourceTree) -> str:
    """The unit that the code states; two that differ, or none, is a fault."""
    stated: dict[str, str] = {}
    if found.unit_word:
        stated.setdefault(unit_of_word(found.unit_word) or "", f"the number's own {found.unit_word}")
    if call_unit:
        stated.setdefault(call_unit, "the call")
    if found.constant is not None:
        constant = found.constant
        by_name = unit_of_name(constant.name)
        by_comment = unit_of_comment(constant.comment)
        if by_name:
            stated.setdefault(by_name, f"the name {constant.name}")
        if by_comment:
            stated.setdefault(by_comment, f"the comment {quoted(constant.comment.strip())}")
    stated.pop("", None)
    if len(stated) == 1:
        return next(iter(stated))
    if not stated:
        text = f"nothing in line {line} of {tree.path.name} says the unit of that number"
        raise ValueFault(Fault(text, name, "unit: ms (or s, us, ns) beside it in the plan"))
    both = " and ".join(f"{said} says {unit}" for unit, said in stated.items())
    raise ValueFault(Fault(f"line {line} of {tree.path.name}: {both}", name, "unit: ms (or s) in the plan"))
