"""Units at the border: a small exact grammar, from text to SI numbers with their spread.

A unit is `word`, `word^n` and products and quotients of them; `kgm2`, as CAD writes it, is `kg*m^2`. The words stand
in `unit_table`; a long word that does not (`kilonewton`, `fathom`) is looked up in pint, which is loaded for that
alone.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from simbot.scenario.errors import Fault, ValueFault, nearest
from simbot.scenario.limits import beside
from simbot.scenario.parameters import Quantity
from simbot.scenario.unit_table import (
    ANGLE,
    ANGULAR_SPEED,
    DEGREE,
    DIMENSIONS,
    FOLDED,
    GRAVITY,
    GUESSES,
    JOINED,
    MASS_AT_LEVER,
    NONE,
    TIME,
    TORQUE,
    WEIGHTS,
    WORDS,
    Dimension,
    Powers,
)


@dataclass(frozen=True)
class Scale:
    """How a mechanism's own units turn into its coordinate: counts per m or rad, angle of a servo's range."""

    counts: float | None = None
    range: float | None = None
    coordinate: str = "length"  # or "angle": what the counts measure


NO_SCALE = Scale()
OTHER = {"length": "angle", "angle": "length"}
A_MEASURE = {"length": "a way", "angle": "an angle"}
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?(?![\d.])")
_UNIT_WORD = re.compile(r"(1|[A-Za-z%]+)(?:\^(-?\d))?")
SPREAD = re.compile(r"\s*(?:±|\+/-|\+-)\s*")
_SERVO = re.compile(r"(.*?)\s*([A-Za-z]+)\s*/\s*([\d.]+)\s*(deg|degrees|degree|°|rad)")


def _tidy(unit: str) -> str:
    for old, new in (
        ("·", "*"),
        ("⋅", "*"),
        ("×", "*"),
        ("**", "^"),
        ("²", "^2"),
        ("³", "^3"),
        ("⁻¹", "^-1"),
        ("µ", "u"),
        ("μ", "u"),
        ("Ω", "ohm"),
        ("Ω", "ohm"),
        ("°", "deg"),
    ):
        unit = unit.replace(old, new)
    unit = re.sub(r"(?<=[A-Za-z])([23])(?![\d.])", r"^\1", unit.strip())  # m2, as CAD writes it
    unit = re.sub(r"(?<=[A-Za-z\d])\.(?=[A-Za-z])", "*", unit)
    unit = re.sub(r"\s*([*/^])\s*", r"\1", unit)
    unit = re.sub(r"(?<=[A-Za-z\d])\s+(?=[A-Za-z])", "*", unit)
    unit = re.sub(r"(?<=[A-Za-z])-(?=[A-Za-z])", "*", unit)
    return re.sub(r"[A-Za-z]+(?=\^)", lambda word: _apart(word[0]), unit)


def _apart(word: str) -> str:
    """What is written in one, before an exponent that is its last word's."""
    joined = JOINED.get(FOLDED.get(word.lower(), word), word)
    return joined if "*" in joined else word


def _word(word: str) -> tuple[float, Powers] | None:
    """Factor and powers of one word of a unit, in any case where that is safe."""
    if word not in WORDS and word not in JOINED:
        word = FOLDED.get(word.lower(), word) if not re.match(r"M[NAVo]", word) else word
    if word in JOINED:
        return parse_unit(JOINED[word])
    if word in WORDS:
        return WORDS[word]
    if len(word) < 4:
        return None
    from simbot.scenario.pint_words import look_up

    return look_up(word)


@lru_cache(maxsize=1024)
def parse_unit(unit: str) -> tuple[float, Powers] | None:
    """Factor to SI and powers of a unit; None where a word of it is unknown."""
    text = _tidy(unit)
    if text.startswith("/"):
        text = "1" + text
    if not text or len(text) > 60:
        return None
    factor, total = 1.0, list(NONE)
    sign = 1
    for part in re.split(r"([*/])", text):
        if part in ("*", "/"):
            sign = 1 if part == "*" else -1
            continue
        match = _UNIT_WORD.fullmatch(part)
        known = (1.0, NONE) if match and match[1] == "1" else _word(match[1]) if match else None
        if match is None or known is None:
            return None
        exponent = sign * int(match[2] or 1)
        factor *= known[0] ** exponent
        total = [have + exponent * power for have, power in zip(total, known[1], strict=True)]
    return factor, tuple(total)


def fail(text: str, given: str, wanted: str = "", near: str | None = None) -> ValueFault:
    return ValueFault(Fault(text, given, wanted, near))


def number(text: str, given: str, wanted: str) -> tuple[float, str]:
    """The number at the beginning of a text, and what follows it."""
    text = text.strip().replace("−", "-")
    match = _NUMBER.match(text)
    if match is None:
        if text.lower().lstrip("+-").startswith(("inf", "nan", ".inf", ".nan")):
            raise fail("a finite number is wanted", given, wanted)
        raise fail("this does not begin with a number", given, wanted)
    rest = text[match.end() :].strip()
    if re.match(r",\s*\d", rest):
        raise fail(
            "a comma inside a number: the decimal sign is a point",
            given,
            wanted,
            re.sub(r",\s*(?=\d)", ".", given, count=1),
        )
    value = float(match[0])
    if not math.isfinite(value):
        raise fail("the number is too large", given, wanted)
    return value, rest


def _times(value: float, factor: float) -> float:
    """The decimal product: 34 mm is 0.034 m to the last bit, and 12 in are 0.3048 m."""
    return float(Decimal(repr(value)) * Decimal(repr(factor)))


def factor_of(unit: str, dimension: Dimension, given: str, scale: Scale) -> float:
    """Factor from the unit to SI, where it measures what is wanted."""
    if not unit:
        raise fail("a number without its unit", given, dimension.wanted)
    if unit.endswith("of range"):
        return _range_factor(unit, dimension, given, scale)
    known = parse_unit(unit)
    if known is None:
        words = [*dimension.units, *WORDS]
        near = GUESSES.get(unit.lower()) or nearest(_tidy(unit), words)
        like = parse_unit(near) if near else None
        if like is not None and like[1] not in dimension.powers:
            near = None  # a unit, but of something else
        raise fail(f"unknown unit '{unit[:40]}'", given, dimension.wanted, near)
    factor, powers = known
    if powers in dimension.powers and (dimension.si or unit in ("%", "percent")):
        return factor
    if _tidy(unit) in ("1/min", "/min", "min^-1") and ANGULAR_SPEED in dimension.powers:
        return WORDS["rpm"][0]  # as many data sheets write rpm
    if powers == MASS_AT_LEVER and TORQUE in dimension.powers and dimension.si == "N*m":
        return factor * GRAVITY
    if powers[5]:
        shifted = _in_coordinate(powers, dimension, scale.coordinate)
        if shifted is not None and scale.counts is None:
            raise fail(
                "counts, but neither its `counts`, such as 2.9 counts/mm, nor an `encoder` says how many there are",
                given,
                dimension.wanted,
            )
        if shifted is not None and scale.counts is not None:
            return factor / scale.counts ** powers[5]
        if (
            scale.counts is not None
            and _in_coordinate(powers, dimension, OTHER[scale.coordinate]) is not None
        ):
            raise fail(f"the counts here are those of {A_MEASURE[scale.coordinate]}", given, dimension.wanted)
    measured = next(
        (other.name for other in DIMENSIONS.values() if powers in other.powers and other.si), None
    )
    text = f"this is {measured}" if measured else "this measures something else"
    raise fail(text, given, dimension.wanted, _as_weight(unit, dimension))


def _as_weight(unit: str, dimension: Dimension) -> str | None:
    """The unit with the weight in place of the mass, `lbf` for `lb`, where that measures what is wanted."""
    weights = re.sub(r"[A-Za-z]+", lambda word: WEIGHTS.get(word[0].lower(), word[0]), _tidy(unit))
    known = parse_unit(weights)
    return weights if weights != unit and known is not None and known[1] in dimension.powers else None


def _in_coordinate(powers: Powers, dimension: Dimension, coordinate: str) -> Powers | None:
    """The powers with counts taken as what they measure, where that gives the dimension wanted."""
    a, b, c, d, e, f, g = powers
    found = (a, b, c, d, e + f, 0, g) if coordinate == "angle" else (a + f, b, c, d, e, 0, g)
    return found if found in dimension.powers else None


def _range_factor(unit: str, dimension: Dimension, given: str, scale: Scale) -> float:
    if ANGLE not in dimension.powers or scale.range is None:
        raise fail(
            "`of range` needs a servo that states its `range`, such as 300 deg", given, dimension.wanted
        )
    share = unit.removesuffix("of range").strip()
    if share not in ("", "%"):
        raise fail(
            "a share of the range is a number from 0 to 1, or in %", given, "0.4 of range or 40 % of range"
        )
    return scale.range * (0.01 if share else 1.0)


def read_quantity(
    text: str | None,
    dimension: str,
    scale: Scale = NO_SCALE,
    low: float = -math.inf,
    high: float = math.inf,
    open_low: bool = False,
) -> Quantity:
    """A value with its unit and spread, as in `6 N ± 20 %`, in SI.

    Raises
    ------
    ValueFault
        No number, no unit, an unknown or a wrong one, a spread that cannot be, out of bounds.
    """
    if dimension in ("ratio", "number", "count"):
        return _bare(text, dimension, low, high, open_low)
    kind = DIMENSIONS[dimension]
    if not isinstance(text, str) or not text.strip():
        raise fail("a value with its unit is wanted here", _given(text), kind.wanted)
    main, *spreads = SPREAD.split(text.strip())
    if len(spreads) > 1:
        raise fail("more than one ±", text, kind.wanted)
    servo = _SERVO.fullmatch(main) if dimension == "servo_speed" else None
    written = (kind.si, 1.0)
    if servo is not None:
        value, si_spread = _servo_speed(servo, spreads, text, kind)
    else:
        value, rest = number(main, text, kind.wanted)
        factor = factor_of(rest, kind, text, scale)
        written = (rest, factor)
        value = _times(value, factor)
        si_spread = _spread(spreads, value, kind, text, scale, points=rest == "%")
    _within_bounds(value, text, kind, low, high, open_low, written)
    return Quantity(value, si_spread, text.strip())


def _given(value: object) -> str:
    return "nothing" if value is None else str(value)


def _spread(
    spreads: list[str], value: float, kind: Dimension, text: str, scale: Scale, points: bool
) -> float:
    """Half-width of the spread, SI; percent of a percentage are percentage points."""
    if not spreads:
        return 0.0
    wanted = f"a spread in % or {kind.wanted}"
    size, unit = number(spreads[0], text, wanted)
    if size < 0:
        raise fail("a spread below zero", text, wanted)
    if unit == "%" and not points:
        return abs(value) * size / 100
    if not unit:
        raise fail("a spread without its unit", text, wanted)
    return abs(_times(size, factor_of(unit, kind, text, scale)))


def _servo_speed(match: re.Match[str], spreads: list[str], text: str, kind: Dimension) -> tuple[float, float]:
    """Speed and spread from `0.12 s/60deg`; a spread in seconds is one of the time."""
    time, rest = number(match[1], text, kind.wanted)
    unit = WORDS.get(match[2].lower())
    if rest or unit is None or unit[1] != TIME:
        raise fail("a servo's speed is a time per angle", text, kind.wanted)
    angle, _ = number(match[3], text, kind.wanted)
    time, angle = time * unit[0], angle * (1.0 if match[4] == "rad" else DEGREE)
    if time <= 0 or angle <= 0:
        raise fail("time and angle of a servo's speed are above zero", text, kind.wanted)
    if not spreads:
        return angle / time, 0.0
    relative_text = spreads[0].split("/")[0]
    spread = _spread([relative_text], time, DIMENSIONS["time"], text, NO_SCALE, points=False)
    return angle / time, angle / time * spread / time


def _bare(text: str | None, dimension: str, low: float, high: float, open_low: bool) -> Quantity:
    """A number that has no unit on purpose; a ratio may be written `2:1`."""
    wanted = {
        "ratio": "a number such as 2, or a ratio such as 2:1",
        "number": "a number without a unit",
        "count": "a whole number",
    }[dimension]
    if not isinstance(text, str) or not text.strip():
        raise fail("a number is wanted here", _given(text), wanted)
    main, *spreads = SPREAD.split(text.strip())
    value, rest = number(main, text, wanted)
    if rest.startswith(":") and dimension == "ratio":
        divisor, rest = number(rest[1:], text, wanted)
        if divisor == 0:
            raise fail("a ratio to zero", text, wanted)
        value /= divisor
    if rest:
        raise fail("this has no unit", text, wanted)
    if dimension == "count" and value != int(value):
        raise fail("a whole number is wanted", text, wanted)
    spread = 0.0
    if spreads:
        size, unit = number(spreads[0], text, wanted)
        if len(spreads) > 1 or unit not in ("", "%") or size < 0:
            raise fail("a spread here is a number or in %", text, wanted)
        spread = abs(value) * size / 100 if unit else size
    kind = Dimension("", (), (), "a number")
    _within_bounds(value, text, kind, low, high, open_low)
    return Quantity(value, spread, text.strip())


def _within_bounds(
    value: float, text: str, kind: Dimension, low: float, high: float, open_low: bool,
    written: tuple[str, float] = ("", 1.0),
) -> None:  # fmt: skip
    """`written`: the unit of the text and its factor, for the limit in a message."""

    def show(bound: float, way: int) -> str:
        if kind.si == "" and kind.units:
            return f"{100.0 * bound:.6g} %"
        return beside(bound, kind.si, written, way)

    if not math.isfinite(value):
        raise fail("the number is too large", text)
    if value < low or (open_low and value <= low):
        raise fail("too small", text, f"{'more than' if open_low else 'at least'} {show(low, 1)}")
    if value > high:
        raise fail("too large", text, f"at most {show(high, -1)}")


def read_as(text: str, dimension: str) -> str:
    """How a spelling was understood where it was not taken by the letter; empty where it was."""
    if dimension != "torque":
        return ""
    _, unit = number(SPREAD.split(text)[0], text, "")
    known = parse_unit(unit)
    return (
        f"{text} is read as a torque: a weight at a lever, kgf (or lbf, ozf)"
        if known and known[1] == MASS_AT_LEVER
        else ""
    )
