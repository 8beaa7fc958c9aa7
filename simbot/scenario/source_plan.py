"""Waits of a plan that stand in the robot's code: the mapping in the plan, and each source file read once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from simbot.scenario.errors import Fault, ValueFault
from simbot.scenario.model import SourceNumber
from simbot.scenario.schema import SourceShape
from simbot.scenario.sheet import Loc, Sheet

if TYPE_CHECKING:
    from simbot.scenario.source_tree import SourceTree


class Sources:
    """The source files of one plan."""

    def __init__(self) -> None:
        self.trees: dict[Path, SourceTree | None] = {}

    def read(self, sheet: Sheet, loc: Loc) -> tuple[int, SourceNumber] | None:
        """The wait [us] and where its number stands; None, and the mistake noted, where that cannot be."""
        from simbot.scenario.source_wait import Asked, find_number

        shape = sheet.read(loc, SourceShape)
        if shape is None or not self._one_way(sheet, loc, shape):
            return None
        tree = self._tree(sheet, loc, shape.file)
        if tree is None:
            return None
        asked = Asked(
            name=shape.name,
            method=shape.method,
            call=shape.call,
            number=None if shape.number is None else int(shape.number),
            of=None if shape.of is None else int(shape.of),
            argument=None if shape.argument is None else int(shape.argument),
            unit=shape.unit,
        )
        return sheet.attempt((*loc, "name" if shape.name else "call"), find_number, tree, asked)

    def _one_way(self, sheet: Sheet, loc: Loc, shape: SourceShape) -> bool:
        """Either a name or a call, with what belongs to it."""
        if (shape.name is None) == (shape.call is None):
            given = "both" if shape.name else "neither"
            sheet.fail(loc, Fault("`name` (of a constant) or `call` (with a number in it) is wanted", given))
            return False
        stray = [
            key
            for key in ("method", "number", "of", "argument")
            if shape.name and getattr(shape, key) is not None
        ]
        for key in stray:
            sheet.fail((*loc, key), Fault("this key belongs to `call`", key), of_key=True)
        return not stray

    def _tree(self, sheet: Sheet, loc: Loc, name: str) -> SourceTree | None:
        from simbot.scenario.source_wait import read_source

        path = sheet.path.parent / name
        if path not in self.trees:
            self.trees[path] = None
            try:
                self.trees[path] = read_source(path)
            except ValueFault as error:
                fault = error.fault
                given = name if fault.given == str(path) else fault.given
                sheet.fail((*loc, "from"), Fault(fault.text, given, fault.wanted, fault.nearest))
        return self.trees[path]
