"""What shows only when the keys of a mechanism are held against each other, told where it stands."""

from __future__ import annotations

from typing import Any

from simbot.scenario.echo import shown
from simbot.scenario.parameters import Kind, Quantity
from simbot.scenario.sheet import Loc, Sheet


def check_kind(sheet: Sheet, loc: Loc, kind: Kind, values: dict[str, Any]) -> None:
    """Note what the kind itself finds impossible in its values."""
    travel = values.get("travel")
    if travel is not None and not travel[0] < travel[1]:
        return
    faults = list(getattr(kind, "impossible", lambda _values: ())(values))
    for key, fault in faults:
        at = (*loc, key) if isinstance(key, str) else (*loc, *key)
        sheet.fail(at, fault, of_key=sheet.node(at) is None)
    if not faults and travel is not None:
        values["travel"] = _within_stops(sheet, (*loc, "travel"), kind, values)


def _within_stops(sheet: Sheet, loc: Loc, kind: Kind, values: dict[str, Any]) -> tuple[Quantity, ...]:
    """The travel as far as other stops of the kind let it go, which is told: what goes beyond is outside."""
    ends = list(values["travel"])
    for end, at, why in getattr(kind, "stops_within", lambda _values: ())(values):
        written, ends[end] = ends[end].text, Quantity(at)
        dimension = "angle" if kind.COORDINATE == "angle" else "length"
        told = shown(ends[end], dimension)
        ends[end].text = f"{told.split(' (')[0]}, where {why}"
        text = f"its travel ends at {told}, where {why}, and not at {written}"
        sheet.remark(loc, "follows", text)
    return tuple(ends)
