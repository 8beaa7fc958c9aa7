"""What shows only when the keys of a mechanism are held against each other, told where it stands."""

from __future__ import annotations

from typing import Any

from simbot.scenario.parameters import Kind
from simbot.scenario.sheet import Loc, Sheet


def check_kind(sheet: Sheet, loc: Loc, kind: Kind, values: dict[str, Any]) -> None:
    """Note what the kind itself finds impossible in its values."""
    travel = values.get("travel")
    if travel is not None and not travel[0] < travel[1]:
        return
    for key, fault in getattr(kind, "impossible", lambda _values: ())(values):
        at = (*loc, key) if isinstance(key, str) else (*loc, *key)
        sheet.fail(at, fault, of_key=sheet.node(at) is None)
