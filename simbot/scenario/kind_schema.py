"""From a kind's PARAMETERS to the shape of its mapping, its defaults and its documentation."""

from __future__ import annotations

import math
from functools import cache
from typing import Annotated, Any

from pydantic import Field, create_model

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
from simbot.scenario.units import Scale, fail, read_quantity

NOT_NUMBERS = ("choice", "flag", "word", "block", "blocks", "stages", "motors", "names")


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
    if parameter.dimension in ("block", "blocks", "stages", "names"):
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


def describe_kind(kind: Kind) -> list[tuple[str, str, str, str]]:
    """Rows of a kind's keys for documentation: key, how it is written, default, meaning."""
    return [row for parameter in kind.PARAMETERS for row in _describe(parameter, kind.COORDINATE, "")]


def _describe(parameter: Parameter, coordinate: str, prefix: str) -> list[tuple[str, str, str, str]]:
    key = prefix + parameter.key
    if parameter.dimension in ("block", "blocks"):
        written = "keys below" if parameter.dimension == "block" else "list of the keys below"
        head = (key, written, "", parameter.meaning)
        return [head, *(row for inner in parameter.block for row in _describe(inner, coordinate, f"{key}."))]
    dimension = DIMENSIONS.get(resolved(parameter.dimension, coordinate))
    if dimension is not None:
        written = f"{', '.join(dimension.units)}"
    else:
        written = " or ".join(parameter.choices) or parameter.dimension
    if parameter.shape != "one":
        written = {"pair": "[low, high] in ", "list": "list of ", "one_or_list": "one or a list of "}[
            parameter.shape
        ] + written
    return [(key, written, _default_text(parameter, coordinate), parameter.meaning)]


def _default_text(parameter: Parameter, coordinate: str) -> str:
    if parameter.required:
        return "required"
    value = default_of(parameter)
    if value is None:
        return ""
    if not isinstance(value, Quantity):
        return str(value).lower() if isinstance(value, bool) else str(value)
    unit = si_unit(parameter, coordinate)
    if unit == "rad":
        return f"{math.degrees(value):.4g} deg"
    if parameter.dimension == "share":
        return f"{100 * value:.4g} %"
    return f"{float(value):.4g} {unit}".strip()
