"""Encoder counts per unit of travel, as encoder and gears give them."""

from __future__ import annotations

from collections.abc import Mapping
from math import prod
from typing import Any

from simbot.scenario.kind_schema import NOT_NUMBERS, default_of, shape_of
from simbot.scenario.parameters import Kind, Quantity
from simbot.scenario.schema import StageShape
from simbot.scenario.sheet import Desk, Loc, Sheet

DERIVED = "by its encoder and gears"


def counts_given(kind: Kind, values: Mapping[str, Any]) -> float | None:
    """Counts per m or rad; None: it states no encoder, or they are not the same along its travel."""
    if values.get("encoder") is None:
        return None
    shaft = getattr(kind, "shaft_per_travel", None)
    turns = 1.0 if shaft is None else shaft(values)
    if turns is None:
        return None
    geared = prod(float(stage.ratio) for stage in values["gearing"] or ())
    return abs(float(values["encoder"]) * geared * float(turns))


def counts_in(sheet: Sheet, loc: Loc, kind: Kind) -> float | None:
    """The same before anything else of the mechanism is read; what has a mistake is told elsewhere."""
    if sheet.text((*loc, "encoder")) is None:
        return None
    silent = Sheet(sheet.path, sheet.root, Desk())
    values: dict[str, Any] = {}
    for parameter in kind.PARAMETERS:
        plain = parameter.dimension not in NOT_NUMBERS or parameter.dimension == "choice"
        if not plain or parameter.dimension.startswith("coordinate"):
            continue
        shape = shape_of((parameter,), kind.COORDINATE, parameter.key)
        others = [key for key in sheet.keys(loc) if key != parameter.key]
        read = silent.read(loc, shape, own=others)
        if read is not None:
            given = getattr(read, parameter.key)
            values[parameter.key] = default_of(parameter) if given is None else given
    stages = [silent.read(at, StageShape) for at in silent.items((*loc, "gearing"))]
    values["gearing"] = [stage for stage in stages if stage is not None]
    if len(values["gearing"]) < len(stages):
        return None
    try:
        return counts_given(kind, values)
    except KeyError:  # what has a mistake
        return None


def with_counts(values: dict[str, Any], counts: float | None) -> None:
    """Fill in what the file leaves to encoder and gears."""
    if values.get("counts") is None and "counts" in values and counts is not None:
        values["counts"] = Quantity(counts, text=DERIVED)
