"""What an expression of source code is worth: literals, constants of the same file, plain arithmetic."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction

from simbot.scenario.errors import Fault, ValueFault, nearest, quoted
from simbot.scenario.source_literals import Number, read_literal
from simbot.scenario.source_pieces import Expr
from simbot.scenario.source_tree import Constant, SourceTree
from simbot.scenario.source_units import unit_of_word

MAX_NAMES = 40  # constants that one value may hang on, one behind the other
LARGEST = 2**31 - 1  # of an int in Java, Kotlin, C and C++
_FLOATING = {"float", "double"}
_WHOLE = re.compile(r"\b(int|long|short|byte|char|u?int\d+(_t)?|unsigned|size_t)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Worth:
    """A value and where it stands."""

    value: Number
    number: Expr | None  # the one literal that alone makes the value; None: it is computed
    constant: Constant | None  # the last constant of a chain of bare names
    unit_word: str  # of `300ms`, `300.milliseconds`, `milliseconds(300)`; else ""
    parts: tuple[Expr, ...] = ()  # the literals of a computed one

    @property
    def literals(self) -> tuple[Expr, ...]:
        """All literals that it hangs on."""
        return self.parts if self.number is None else (self.number,)


def worth_of(expr: Expr, tree: SourceTree, scope: tuple[str, ...], seen: tuple[str, ...] = ()) -> Worth:
    """The value of an expression.

    Raises
    ------
    ValueFault
        Where it holds anything but numbers, constants of this file and + - * / %.
    """
    if expr.kind == "number" and expr.text.startswith("-"):  # so the C grammar reads it
        return Worth(-read_literal(expr.text[1:], tree.language), None, None, "", (expr,))
    if expr.kind == "number":
        return Worth(read_literal(expr.text, tree.language), expr, None, "")
    if expr.kind == "name":
        constant = constant_named(expr.text, tree, scope)
        return _of_constant(constant, tree, seen)
    if expr.kind == "group":
        return worth_of(expr.parts[0], tree, scope, seen)
    if expr.kind == "unit" and unit_of_word(expr.operator):
        inner = worth_of(expr.parts[0], tree, scope, seen)
        return replace(inner, unit_word=expr.operator)
    if expr.kind == "cast":
        inner = worth_of(expr.parts[0], tree, scope, seen)
        return replace(inner, value=_typed(inner.value, expr.operator))
    if expr.kind == "unary" and expr.operator in ("-", "+"):
        inner = worth_of(expr.parts[0], tree, scope, seen)
        if expr.operator == "+":
            return inner
        return Worth(-inner.value, None, None, inner.unit_word, inner.literals)
    if expr.kind == "binary":
        left, right = (_operand(part, tree, scope, seen) for part in expr.parts)
        value = _computed(expr, left.value, right.value, tree.language)
        return Worth(value, None, None, "", (*left.literals, *right.literals))
    raise ValueFault(
        Fault(
            "not a number that the file itself tells", expr.text, "numbers, constants of this file, + - * /"
        )
    )


def constant_named(name: str, tree: SourceTree, scope: tuple[str, ...] = ()) -> Constant:
    """The one constant of a name (`CLAW_MS`, `Timing.CLAW_MS`), innermost first; none or several is a fault."""
    parts = tuple(part for part in re.split(r"::|->|\.", name) if part not in ("this", "self"))
    found = [one for one in tree.constants if (*one.scope, one.name)[-len(parts) :] == parts]
    around = [one for one in found if scope[: len(one.scope)] == one.scope]
    if scope and around:
        deepest = max(len(one.scope) for one in around)
        found = [one for one in around if len(one.scope) == deepest]
    if not found:
        raise ValueFault(_no_constant(name, tree))
    if len(found) > 1:
        lines = ", ".join(str(one.line) for one in found)
        names = ", ".join(dict.fromkeys(one.dotted for one in found))
        raise ValueFault(Fault(f"this name is given a value in lines {lines}", name, f"one alone: {names}"))
    again = tree.assigned.get(found[0].name)
    if again is not None:
        text = f"not a constant: line {again} of {tree.path.name} gives it another value"
        raise ValueFault(Fault(text, name, "a number that stays"))
    return found[0]


def _no_constant(name: str, tree: SourceTree) -> Fault:
    known = [one.name for one in tree.constants]
    near = nearest(name, known) or nearest(name.split(".")[-1], known)
    line = next((one.line for one in tree.constants if one.name == near), None)
    text = f"{tree.path.name} has no constant of that name"
    if line is not None:
        text += f"; the nearest stands in line {line}"
    elif tree.error_line is not None:
        text += f"; the file is broken from line {tree.error_line} on"
    return Fault(text, name, ", ".join(dict.fromkeys(known[:12])) or "a file with constants", near)


def _of_constant(constant: Constant, tree: SourceTree, seen: tuple[str, ...]) -> Worth:
    if constant.dotted in seen or len(seen) >= MAX_NAMES:
        raise ValueFault(Fault("a constant that hangs on itself", constant.name))
    if constant.broken:
        raise ValueFault(
            Fault(
                f"line {constant.line} of {tree.path.name} does not parse",
                constant.name,
                "code that compiles",
            )
        )
    if constant.value is None:
        raise ValueFault(Fault("not a number", constant.name, "a constant such as 350"))
    inner = worth_of(constant.value, tree, constant.scope, (*seen, constant.dotted))
    value = _typed(inner.value, constant.type)
    return replace(inner, value=value, constant=constant)


def _operand(expr: Expr, tree: SourceTree, scope: tuple[str, ...], seen: tuple[str, ...]) -> Worth:
    """An operand; a macro of more than one term would be torn apart by what stands beside it."""
    if expr.kind == "name":
        constant = constant_named(expr.text, tree, scope)
        if constant.macro and constant.value is not None and constant.value.kind in ("binary", "unary"):
            text = f"the macro in line {constant.line} needs brackets around it to be computed with"
            raise ValueFault(Fault(text, constant.name, f"({constant.value.text})"))
    inner = worth_of(expr, tree, scope, seen)
    if inner.unit_word:
        raise ValueFault(Fault("a sum of durations with units of their own", expr.text, "one number"))
    return inner


def _typed(value: Number, type_text: str) -> Number:
    """The value as a variable of a declared type holds it."""
    if type_text.split(" ")[-1].casefold() in _FLOATING:
        return Fraction(value)
    if _WHOLE.search(type_text) and isinstance(value, Fraction):
        return int(value)
    return value


def is_floating(type_text: str) -> bool:
    return type_text.split(" ")[-1].casefold() in _FLOATING


def _computed(expr: Expr, left: Number, right: Number, language: str) -> Number:
    sign = expr.operator
    whole = isinstance(left, int) and isinstance(right, int)
    if sign in ("/", "%", "//") and right == 0:
        raise ValueFault(Fault("division by zero", expr.text))
    if sign == "+":
        value: Number = left + right
    elif sign == "-":
        value = left - right
    elif sign == "*":
        value = left * right
    elif sign == "/" and whole and language != "python":
        value = _toward_zero(left, right)
    elif sign == "/":
        value = Fraction(left) / Fraction(right)
    elif sign == "//" and language == "python":
        value = left // right
        value = value if whole else Fraction(value)
    elif sign == "%" and whole:
        value = left % right if language == "python" else left - right * _toward_zero(left, right)
    else:
        raise ValueFault(Fault(f"arithmetic with {quoted(sign)}", expr.text, "+ - * / of numbers"))
    if (
        isinstance(value, int)
        and abs(value) > LARGEST
        and language != "python"
        and "l" not in expr.text.lower()
    ):
        raise ValueFault(Fault("more than an int holds", expr.text, "a shorter wait"))
    return value


def _toward_zero(left: Number, right: Number) -> int:
    """Whole division of Java, Kotlin, C and C++."""
    quotient = abs(int(left)) // abs(int(right))
    return quotient if (left < 0) == (right < 0) else -quotient
