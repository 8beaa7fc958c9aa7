"""Values of a mechanism that are mappings themselves: one block of keys, or a list of such blocks."""

from __future__ import annotations

from typing import Any

from simbot.scenario.echo import shown
from simbot.scenario.kind_schema import NOT_NUMBERS, default_of, shape_of
from simbot.scenario.model import Remark
from simbot.scenario.parameters import Kind, Parameter
from simbot.scenario.sheet import Loc, Sheet
from simbot.scenario.unit_table import resolved
from simbot.scenario.units import Scale

Block = dict[str, Any]


def read_block(sheet: Sheet, loc: Loc, parameter: Parameter, kind: Kind, scale: Scale) -> Block | None:
    """The keys of one block, or their defaults; None, and its mistakes noted, where it has any."""
    shape = shape_of(parameter.block, kind.COORDINATE, parameter.key)
    given = sheet.read(loc, shape, scale)
    if given is None:
        return None
    for inner in parameter.block:
        if inner.reason and inner.dimension not in NOT_NUMBERS and getattr(given, inner.key) is None:
            sheet.desk.remarks.append(assumption(sheet, loc, inner, kind))
    return {inner.key: block_value(inner, getattr(given, inner.key)) for inner in parameter.block}


def block_value(parameter: Parameter, value: Any) -> Any:
    if value is not None:
        return value
    # the loop of a control is completed from what else is stated
    return None if parameter.key == "loop" else default_of(parameter)


def read_blocks(
    sheet: Sheet, loc: Loc, parameter: Parameter, kind: Kind, scale: Scale
) -> tuple[Block, ...] | None:
    """A list of blocks; None, and its mistakes noted, where it has any."""
    problems = len(sheet.desk.problems)
    found = [read_block(sheet, at, parameter, kind, scale) for at in sheet.items(loc)]
    if len(sheet.desk.problems) > problems:
        return None
    return tuple(block for block in found if block is not None)


def assumption(sheet: Sheet, loc: Loc, parameter: Parameter, kind: Kind) -> Remark:
    """What `simbot check` says of a default that stands in for a key."""
    value = default_of(parameter)
    text = shown(value, resolved(parameter.dimension, kind.COORDINATE))
    key = ".".join(str(part) for part in (*loc, parameter.key))
    return Remark("assumed", sheet.file(loc), sheet.line(loc), key, f"{text} ({parameter.reason})")
