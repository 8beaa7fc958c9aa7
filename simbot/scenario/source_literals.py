"""Number literals of Java, Kotlin, Python, C and C++: what they are worth, and the same spelling with a new value."""

from __future__ import annotations

import re
from fractions import Fraction

from simbot.scenario.errors import Fault, ValueFault

Number = int | Fraction  # an int is of an integer type, a Fraction of a floating one

_SUFFIX = {
    "java": r"[lLfFdD]?",
    "kotlin": r"(?:[uU]?L?|[fF])?",
    "python": r"",
    "c": r"(?:[uU]?[lL]{0,2}|[lL]{1,2}[uU]?|[fF])?",
    "cpp": r"(?:[uU]?[lL]{0,2}|[lL]{1,2}[uU]?|[uU]?[zZ]|[fF])?",
}
_SEPARATORS = {"java": "_", "kotlin": "_", "python": "_", "c": "'", "cpp": "'"}
_DECIMAL = re.compile(r"(\d*)(?:(\.)(\d*))?(?:[eE]([-+]?\d+))?")
_BASES = {"x": 16, "b": 2, "o": 8}
_OCTAL_BY_ZERO = ("java", "c", "cpp")


def read_literal(text: str, language: str) -> Number:
    """What a literal is worth.

    Raises
    ------
    ValueFault
        Where it is no number this language writes, or one that no wait is written as (imaginary, hexadecimal
        floating).
    """
    body, suffix = _split(text, language)
    plain = body.replace(_SEPARATORS[language], "")
    base = _base(plain, language)
    try:
        if base != 10:
            digits = plain[2:] if plain[1:2].lower() in _BASES else plain[1:]
            return int(digits, base)
        if plain.isdecimal():
            whole = int(plain)
            return Fraction(whole) if suffix[:1] in ("f", "F", "d", "D") else whole
        if re.fullmatch(_DECIMAL, plain) and any(sign.isdigit() for sign in plain):
            _bounded(plain)
            return Fraction(plain if not plain.startswith(".") else f"0{plain}")
    except ValueError:
        pass
    raise _unreadable(text)


def rewrite_literal(text: str, language: str, value: Fraction, whole: bool) -> str | None:
    """The literal with another value, its base, separators and suffix kept; None where it cannot hold it.

    Parameters
    ----------
    text : str
        The literal as it stands.
    value : Fraction
        The new value, in the literal's own unit.
    whole : bool
        Whether it must stay a whole number.
    """
    body, suffix = _split(text, language)
    separator = _SEPARATORS[language]
    plain = body.replace(separator, "")
    base = _base(plain, language)
    grouped = separator in body
    if value < 0 or (whole and value.denominator != 1):
        return None
    if base != 10:
        return None if value.denominator != 1 else _in_base(plain, base, int(value)) + suffix
    found = _DECIMAL.fullmatch(plain)
    point = found is not None and found[2] is not None
    exponent = found is not None and found[4] is not None
    if value.denominator == 1 and not point and not exponent:
        return _group(str(int(value)), separator if grouped else "") + suffix
    least = len(found[3]) if found is not None and point else 1
    digits = _decimals(value, least)
    if digits is None:
        return None
    before, _, after = digits.partition(".")
    if found is not None and point and not found[1] and before == "0" and after:
        before = ""
    before = _group(before, separator if grouped else "") if before else before
    keeps_point = after or point
    return f"{before}{'.' if keeps_point else ''}{after}{suffix}"


def is_floating(text: str, language: str) -> bool:
    """Whether a literal is of a floating type."""
    return isinstance(read_literal(text, language), Fraction)


def _split(text: str, language: str) -> tuple[str, str]:
    """The digits and the suffix."""
    hexadecimal = text[:2].lower() == "0x"
    pattern = _SUFFIX[language]
    if hexadecimal:  # f and d are digits there
        pattern = pattern.replace("fFdD", "").replace("|[fF]", "")
    found = re.fullmatch(rf"([0-9a-zA-Z_.'+-]*?)({pattern})", text)
    if found is None or not found[1]:
        raise _unreadable(text)
    return found[1], found[2]


def _base(plain: str, language: str) -> int:
    mark = plain[1:2].lower()
    if plain[:1] == "0" and mark in _BASES and (mark != "o" or language == "python"):
        return _BASES[mark]
    if language in _OCTAL_BY_ZERO and len(plain) > 1 and plain[0] == "0" and plain.isdecimal():
        return 8
    return 10


def _bounded(plain: str) -> None:
    """Refuse exponents that no wait has: `1e999999999` would be a number of that many digits."""
    exponent = re.search(r"[eE]([-+]?\d+)$", plain)
    if exponent is not None and abs(int(exponent[1])) > 40:
        raise ValueFault(Fault("no wait is as long or as short as that", plain))


def _in_base(plain: str, base: int, value: int) -> str:
    if plain[1:2].lower() not in _BASES:
        return f"0{value:o}" if value else "0"
    digits = plain[2:]
    written = {16: f"{value:x}", 2: f"{value:b}", 8: f"{value:o}"}[base].rjust(len(digits), "0")
    return plain[:2] + (written.upper() if digits.upper() == digits else written)


def _group(digits: str, separator: str) -> str:
    return f"{int(digits):,}".replace(",", separator) if separator else digits


def _decimals(value: Fraction, least: int) -> str | None:
    """Decimal text, exact, with at least so many places; None beyond nine."""
    for places in range(max(least, 0), 10):
        scaled = value * 10**places
        if scaled.denominator == 1:
            text = f"{int(scaled):0{places + 1}d}"
            return f"{text[:-places]}.{text[-places:]}" if places else text
    return None


def _unreadable(text: str) -> ValueFault:
    return ValueFault(Fault("not a number that can be read", text, "a literal such as 350, 1_000L or 0.35"))
