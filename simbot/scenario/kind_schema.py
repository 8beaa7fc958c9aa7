"""From a kind's PARAMETERS to the shape of its mapping, its defaults and its documentation."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any

from pydantic import Field, create_model

from simbot.scenario.errors import ValueFault
from simbot.scenario.fields import (
    Shape,
    quantity,
    read_after,
    read_choice,
    read_flag,
    read_motors,
    read_word,
    reader,
)
from simbot.scenario.parameters import Kind, Parameter, Quantity
from simbot.scenario.unit_table import DIMENSIONS, resolved
from simbot.scenario.units import NO_SCALE, Scale, fail, read_quantity

NOT_NUMBERS = ("choice", "flag", "word", "block", "blocks", "variants", "stages", "motors", "names")
BLOCKS = {"block": "keys below", "blocks": "list of the keys below", "variants": "list of those below"}


def role(kind: Kind) -> str:
    """What can be done with a mechanism: "measured", "drive", "positioned", or "free" (it only spins)."""
    keys = {parameter.key for parameter in kind.PARAMETERS}
    if kind.COORDINATE == "word":
        return "measured"
    if "wheel_diameter" in keys:
        return "drive"
    return "positioned" if "travel" in keys else "free"


@cache
def shape_of(parameters: tuple[Parameter, ...], coordinate: str, name: str) -> type[Shape]:
    """The pydantic model of a mapping with these keys; blocks, stages and names have their own readers."""
    fields: dict[str, Any] = {}
    for parameter in parameters:
        default = Field(description=parameter.meaning) if parameter.required else None
        fields[parameter.key] = (_type_of(parameter, coordinate), default)
    return create_model(f"{name.title()}Shape", __base__=Shape, **fields)


def _type_of(parameter: Parameter, coordinate: str) -> Any:
    if parameter.dimension in (*BLOCKS, "stages", "names"):
        return Any
    single = Annotated[Any, _reader_of(parameter, coordinate)]
    if parameter.shape == "pair":
        return tuple[single, single]
    if parameter.shape == "list":
        return tuple[single, ...]
    if parameter.shape == "one_or_list":
        return Annotated[Any, reader(lambda value, scale: _one_or_list(value, scale, parameter, coordinate))]
    return single


def _reader_of(parameter: Parameter, coordinate: str) -> Any:
    if parameter.key == "after":
        return reader(read_after)
    if parameter.dimension == "choice":
        return reader(lambda value, scale: read_choice(value, parameter.choices))
    if parameter.dimension in NOT_NUMBERS:
        return reader({"flag": read_flag, "word": read_word, "motors": read_motors}[parameter.dimension])
    dimension = resolved(parameter.dimension, coordinate)
    return quantity(dimension, parameter.low, parameter.high, parameter.open_low)


def _one_or_list(value: Any, scale: Scale, parameter: Parameter, coordinate: str) -> Any:
    dimension = resolved(parameter.dimension, coordinate)
    values = value if isinstance(value, list) else [value]
    if not values:
        raise fail("at least one value is wanted", "an empty list", parameter.meaning)
    read = [
        read_quantity(text, dimension, scale, parameter.low, parameter.high, parameter.open_low)
        for text in values
    ]
    return tuple(read) if isinstance(value, list) else read[0]


def variants_of(parameter: Parameter, coordinate: str) -> tuple[Parameter, ...]:
    """The inner keys of a parameter that a kind with this coordinate may have."""
    return tuple(inner for inner in parameter.block if inner.only_for in ("", coordinate))


def default_of(parameter: Parameter) -> Any:
    """The value of an absent key; a number with a reason is marked as assumed."""
    default = parameter.default
    if parameter.dimension in NOT_NUMBERS or default is None:
        return default
    return Quantity(
        float(default), parameter.default_spread, parameter.reason, assumed=bool(parameter.reason)
    )


def si_unit(parameter: Parameter, coordinate: str) -> str:
    dimension = DIMENSIONS.get(resolved(parameter.dimension, coordinate))
    return dimension.si if dimension else ""


@dataclass(frozen=True)
class KeyRow:
    """One key of a kind for documentation.

    Parameters
    ----------
    key : str
        Dotted where it stands in a block.
    written : str
        Its dimension and the units that would do, or the words.
    example : str
        A value as a file spells it; empty for a block, whose keys have theirs.
    default : str
        `required` (or when it is), `absent`, or the value that stands in for it.
    reason : str
        Why the default is what it is, where that needs one.
    bounds : str
        What the value may lie between; empty: anything.
    meaning : str
    """

    key: str
    written: str
    example: str
    default: str
    reason: str
    bounds: str
    meaning: str


EXAMPLES = {
    "length": "35 mm", "angle": "30 deg", "mass": "0.6 kg", "inertia": "2e-4 kg*m^2", "force": "6 N",
    "torque": "15 kgf*cm", "speed": "60 mm/s", "angular_speed": "40 deg/s", "acceleration": "2 m/s^2",
    "angular_acceleration": "500 deg/s^2", "jerk": "20 m/s^3", "angular_jerk": "50 rad/s^3", "time": "20 ms",
    "current": "20 A", "voltage": "6 V", "resistance": "0.1 ohm", "share": "50 %", "ratio": "1.2",
    "number": "0.8", "count": "2", "length_counts_scale": "19.5 counts/mm",
    "angle_counts_scale": "28 counts/deg", "servo_speed": "0.12 s/60deg", "length_gain": "20 /m",
    "turn_proportional_gain": "4 /rad", "speed_gain": "0.5 %/rpm", "conductance": "1.2 l/s/bar",
    "volume": "0.6 l", "pressure": "6 bar",
    "length_integral_gain": "5 /m/s", "turn_integral_gain": "2 /rad/s",
    "length_derivative_gain": "0.9 s/m", "turn_derivative_gain": "0.25 s/rad", "damping": "3 N*s/m",
    "angular_damping": "0.02 N*m*s/rad", "flag": "true", "word": "lift", "motors": "2 x wheel",
    "stages": "[{ratio: 2:1, efficiency: 95 %}]",
}  # fmt: skip
SMALL = {"length": "2 mm", "angle": "1 deg"}
SMALL_KEYS = (
    "window",
    "zero",
    "zero_drift",
    "backlash",
)  # where the usual example would be dangerous to copy
PAIRS = {"length": "[0 m, 0.75 m]", "angle": "[0 deg, 150 deg]"}
LISTS = {"mass": "[0.6 kg, 0.9 kg]"}
NAMES = {"length": "{low: 0.1 m, high: 0.6 m}", "angle": "{out: 20 deg, in: 130 deg}"}


def describe_kind(kind: Kind) -> list[KeyRow]:
    """Rows of a kind's keys for documentation, those of a block after it."""
    return [row for parameter in kind.PARAMETERS for row in _describe(parameter, kind.COORDINATE, "")]


def _describe(parameter: Parameter, coordinate: str, prefix: str) -> list[KeyRow]:
    key = prefix + parameter.key
    if parameter.dimension in BLOCKS:
        inside = variants_of(parameter, coordinate)
        inner = [row for each in inside for row in _describe(each, coordinate, f"{key}.")]
        default = _default_text(parameter, coordinate)
        return [KeyRow(key, BLOCKS[parameter.dimension], "", default, "", "", parameter.meaning), *inner]
    row = KeyRow(
        key,
        _written(parameter, coordinate),
        example_of(parameter, coordinate),
        _default_text(parameter, coordinate),
        parameter.reason,
        _bounds(parameter, coordinate),
        parameter.meaning,
    )
    return [row]


def _written(parameter: Parameter, coordinate: str) -> str:
    if parameter.key == "after":
        return "brake, coast or a share in %"
    dimension = DIMENSIONS.get(resolved(parameter.dimension, coordinate))
    if dimension is not None:
        text = dimension.wanted
    else:
        words = {
            "flag": "true or false", "word": "a name", "motors": "how many x which motor",
            "stages": "gear stages from the motor on", "names": "words and their positions",
            "count": "a whole number", "number": "a number", "ratio": "a ratio",
        }  # fmt: skip
        text = " or ".join(parameter.choices) or words.get(parameter.dimension, parameter.dimension)
    lead = {"one": "", "pair": "[low, high]: ", "list": "a list: ", "one_or_list": "one or a list: "}
    return lead[parameter.shape] + text


def example_of(parameter: Parameter, coordinate: str) -> str:
    """A value of a key as a file spells it, inside its bounds."""
    if parameter.key == "after":
        return "coast"
    if parameter.choices:
        return next((word for word in parameter.choices if word != parameter.default), parameter.choices[0])
    dimension = resolved(parameter.dimension, coordinate)
    if dimension == "names":
        return NAMES["angle" if coordinate == "angle" else "length"]
    if dimension in NOT_NUMBERS:
        return EXAMPLES[dimension]
    one = _within_bounds(parameter, dimension)
    if parameter.shape == "pair":
        return PAIRS.get(dimension, f"[{one}, {one}]")
    if parameter.shape == "list":
        return LISTS.get(dimension, f"[{one}]")
    return LISTS.get(dimension, one) if parameter.shape == "one_or_list" else one


def _within_bounds(parameter: Parameter, dimension: str) -> str:
    """The example of the dimension, or where the bounds do not allow it the default or their middle."""
    known = DIMENSIONS.get(dimension)
    si = known.si if known else ""
    examples = SMALL if parameter.key in SMALL_KEYS else EXAMPLES
    text = examples.get(dimension, f"1 {si}".strip())
    try:
        read_quantity(text, dimension, NO_SCALE, parameter.low, parameter.high, parameter.open_low)
    except ValueFault:
        middle = 0.5 * (max(parameter.low, -1e3) + min(parameter.high, 1e3))
        value = middle if parameter.default is None else float(parameter.default)
        text = f"{100.0 * value:.4g} %" if dimension == "share" else f"{value:.4g} {si}".strip()
    return text


def _bounds(parameter: Parameter, coordinate: str) -> str:
    if parameter.dimension in NOT_NUMBERS:
        return ""
    low, high = (_spelled(end, parameter, coordinate) for end in (parameter.low, parameter.high))
    if math.isinf(parameter.high):
        return "" if math.isinf(parameter.low) else f"{'above' if parameter.open_low else 'at least'} {low}"
    if math.isinf(parameter.low):
        return f"at most {high}"
    return f"above {low}, up to {high}" if parameter.open_low else f"{low} to {high}"


def _spelled(value: float, parameter: Parameter, coordinate: str) -> str:
    """A number in SI as the documentation spells it: angles in degrees, shares in percent."""
    unit = si_unit(parameter, coordinate)
    if unit == "rad":
        return f"{math.degrees(value):.4g} deg"
    if parameter.dimension == "share":
        return f"{100 * value:.4g} %"
    if not value and unit.startswith("1/"):
        return "0"  # "at least 0 1/rad" helps nobody
    return f"{value:.4g} {unit}".strip()


def _default_text(parameter: Parameter, coordinate: str) -> str:
    if parameter.required:
        return "required"
    if parameter.needed:
        return f"required {parameter.needed}"
    if parameter.left_out:
        return parameter.left_out
    value = default_of(parameter)
    if value is None:
        return "absent"
    if not isinstance(value, Quantity):
        return str(value).lower() if isinstance(value, bool) else str(value)
    text = _spelled(value, parameter, coordinate)
    return f"{text} +/- {_spelled(value.spread, parameter, coordinate)}" if value.spread else text
