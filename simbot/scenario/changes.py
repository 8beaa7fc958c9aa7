"""Changes laid over the files: `change:` in a plan and `--set KEY=VALUE`, by dotted paths.

`plan.line31.wait` is the `wait` that stands in line 31.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from simbot.scenario.errors import Fault, Problem, ScenarioError, nearest
from simbot.scenario.given_numbers import numbers_in
from simbot.scenario.parameters import Kinds
from simbot.scenario.sheet import KINDS_OF_FILE, Desk, Sheet, listed
from simbot.scenario.short_keys import MOST, NUMBERED, keys_meant
from simbot.scenario.yaml_reader import Node, Place, parse_yaml

LINE = re.compile(r"line[1-9]\d*")
EXAMPLE = "a path such as robot.mechanisms.lift.drum_diameter"
NO_KINDS: Kinds = {}
LISTS = ("stages", "blocks", "variants")  # dimensions of keys that hold a list of mappings


@dataclass
class Change:
    """One value to put at a dotted path; the place is that of the path where it was written."""

    path: str
    node: Node
    place: Place

    def problem(self, fault: Fault) -> Problem:
        return Problem(
            self.place.file,
            self.place.line,
            self.place.column,
            self.path,
            fault.given,
            fault.wanted,
            fault.nearest,
            fault.text,
        )


def from_command_line(overrides: Mapping[str, str], desk: Desk) -> list[Change]:
    """Changes from KEY=VALUE pairs; a value is written as in a file."""
    changes = []
    for path, text in overrides.items():
        place = Place(f"--set {path}={text}", 0, 0)
        try:
            node = parse_yaml(text, place.file) if text.strip() else Node(None, place)
        except ScenarioError as error:
            desk.problems.extend(replace(problem, line=0, column=0) for problem in error.problems)
            continue
        _stand_at(node, place)
        changes.append(Change(path, node, place))
    return changes


def _stand_at(node: Node, place: Place) -> None:
    node.place = place
    node.key_place = place if node.key_place else None
    inner = node.value.values() if isinstance(node.value, dict) else node.value
    for child in inner if isinstance(inner, list) or not isinstance(inner, str | None) else ():
        _stand_at(child, place)


def from_plan(sheet: Sheet) -> list[Change]:
    """Changes that a plan states under `change`."""
    loc = ("plan", "change")
    node = sheet.node(loc)
    if node is None or node.value is None:
        return []
    if not isinstance(node.value, dict):
        sheet.not_a_mapping(loc, "such as {robot.mechanisms.lift.drum_diameter: 40 mm}")
        return []
    return [Change(path, value, value.key_place or value.place) for path, value in node.value.items()]


def check_roots(changes: list[Change], desk: Desk, sheets: Sequence[Sheet | None]) -> None:
    """Every path begins with the kind of file it changes; `sheets`: the files that it may mean."""
    for change in changes:
        root = change.path.split(".")[0]
        if root not in KINDS_OF_FILE or "." not in change.path:
            paths = [path for sheet in sheets if sheet is not None for path in _paths_of(sheet.root)]
            meant = _meant(change, change.path.split("."), paths)
            few = 1 < len(meant) <= MOST
            near = meant[0] if len(meant) == 1 else None if few else nearest(root, KINDS_OF_FILE)
            wanted = listed(meant) if few else "" if len(meant) == 1 else EXAMPLE
            text = "a path begins with game, robot or plan"
            desk.problems.append(change.problem(Fault(text, change.path, wanted, near)))


def apply(changes: list[Change], sheet: Sheet, kind: str, kinds: Kinds = NO_KINDS) -> None:
    """Put the values of the paths that begin with this kind into the sheet's tree; `kinds`: of mechanisms."""
    for change in changes:
        parts = change.path.split(".")
        if parts[0] == kind and len(parts) > 1:
            found = in_full(parts, sheet.root)
            if isinstance(found, Fault):
                sheet.desk.problems.append(change.problem(found))
            else:
                _put(sheet, change, found, kinds)


def in_full(parts: list[str], root: Node) -> list[str] | Fault:
    """The path of `plan.line31.wait`: of the key that stands in that line of a file; of any other path itself."""
    if len(parts) < 3 or not LINE.fullmatch(parts[1]):
        return parts
    kind, line, key, *rest = parts
    number = int(line.removeprefix("line"))
    keys = list(_keys_of(root, ()))
    here = [path for path, at in keys if at == number]
    meant = [path for path in here if path[0] == kind and path[-1] == key]
    if len(meant) == 1:
        return [*meant[0], *rest]
    if meant:
        return Fault(f"several stand in line {number}", key, listed([".".join(path) for path in meant]))
    lines = sorted({str(at) for path, at in keys if path[0] == kind and path[-1] == key}, key=int)
    known = [path[-1] for path in here]
    wanted = f"a line with one: {listed(lines)}" if lines else listed(known or ["another line"])
    return Fault(f"there is no such key in line {number}", key, wanted, nearest(key, known))


def _keys_of(node: Node, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], int]]:
    """The path of every key in a tree, and its line."""
    if isinstance(node.value, dict):
        for name, inner in node.value.items():
            yield (*path, name), (inner.key_place or inner.place).line
            yield from _keys_of(inner, (*path, name))
    elif isinstance(node.value, list):
        for index, inner in enumerate(node.value):
            yield from _keys_of(inner, (*path, str(index)))


def _paths_of(root: Node) -> list[str]:
    found = [".".join(path) for path, _ in _keys_of(root, ()) if path[:2] != ("plan", "change")]
    numbers = (each.key for each in numbers_in(root))
    return [*found, *(key for key in numbers if NUMBERED.search(key))]


def _meant(change: Change, parts: Sequence[str], paths: Sequence[str], least: int = 1) -> list[str]:
    """The paths that a short one may mean: by all of its parts, or by the first ones, the others being new there.

    Of a list and its items those that the value may stand for: the list if it is one, else each item.
    """
    found = keys_meant(".".join(parts), paths)
    for count in range(len(parts) - 1, least - 1, -1):
        if not found:
            fronts = keys_meant(".".join(parts[:count]), paths)
            around = [front for front in fronts if any(path.startswith(f"{front}.") for path in paths)]
            found = [".".join([front, *parts[count:]]) for front in around]
    items = {
        path: NUMBERED.sub("", path)
        for path in found
        if NUMBERED.sub("", path) in found and path[-1].isdigit()
    }
    out = set(items if isinstance(change.node.value, list) else items.values())
    return [path for path in found if path not in out]


def _missing(
    parts: Sequence[str], depth: int, known: Mapping[str, Node], change: Change, root: Node, kinds: Kinds
) -> Fault:
    """There is no key of a path in what stands there: which path was meant, or how to state what is absent."""
    where, part = ".".join(parts[:depth]), parts[depth]
    text = f"there is no such key in {where}"
    meant = _meant(change, parts, _paths_of(root), depth + 1)
    if 1 < len(meant) <= MOST:
        return Fault(text, part, listed(meant))
    near = meant[0] if len(meant) == 1 else nearest(part, known)
    listable = isinstance(change.node.value, str) and _may_list(part, known, kinds)
    if near is None and parts[depth + 1 : depth + 2] == ["0"] and listable:
        whole = f"{where}.{part}='{_as_whole(parts[depth + 1 :], change)}'"
        return Fault(f"{where} has no {part}", None, whole)
    return Fault(text, part, listed(known) if known else f"{where} itself, which is a value", near)


def _may_list(key: str, mechanism: Mapping[str, Node], kinds: Kinds) -> bool:
    """Whether a mechanism of that kind may have a list at that key; gears need motors."""
    word = mechanism.get("kind")
    kind = kinds.get(word.value) if word is not None and isinstance(word.value, str) else None
    has = kind is not None and any(one.key == key and one.dimension in LISTS for one in kind.PARAMETERS)
    return has and (key != "gearing" or "motors" in mechanism)


def _as_whole(parts: Sequence[str], change: Change) -> str:
    """A value as the whole of what stands above it: `[{ratio: 2}]` for 2 at `0.ratio`."""
    text = str(change.node.value)
    for part in reversed(parts):
        text = f"[{text}]" if part.isdigit() else f"{{{part}: {text}}}"
    return text


def _put(sheet: Sheet, change: Change, parts: list[str], kinds: Kinds) -> None:
    node = sheet.root = replace(sheet.root)
    around: list[Node] = []  # the list in which the node is an item
    for depth, part in enumerate(parts):
        last = depth == len(parts) - 1
        value = node.value
        if isinstance(value, dict):
            node.value = value = dict(value)
            if last:
                if part == "wait" and part not in value and (beside := _steps_with(part, around)):
                    wanted = f"{'.'.join(parts[: depth - 1])}.N.{part} with N of {listed(beside)}"
                    fault = Fault(f"item {parts[depth - 1]} is another step", next(iter(value)), wanted)
                    sheet.desk.problems.append(change.problem(fault))
                    return
                value[part] = replace(change.node, key_place=change.place)
                return
            around = []
            if part in value:
                node = value[part] = replace(value[part])
                continue
            known = value
        elif isinstance(value, list):
            node.value = value = list(value)
            if part.isdigit() and int(part) < len(value):
                index, around = int(part), value
                node = value[index] = replace(change.node) if last else replace(value[index])
                if last:
                    return
                continue
            known = {str(index): item for index, item in enumerate(value)}
        else:
            known = {}
        sheet.desk.problems.append(change.problem(_missing(parts, depth, known, change, sheet.root, kinds)))
        return


def _steps_with(key: str, items: list[Node]) -> list[str]:
    """Numbers of the items of a list that begin with a key, as steps do with what they are."""
    return [
        str(index)
        for index, item in enumerate(items)
        if isinstance(item.value, dict) and next(iter(item.value), None) == key
    ]
