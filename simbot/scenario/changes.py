"""Changes laid over the files: `change:` in a plan and `--set KEY=VALUE`, by dotted paths."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from simbot.scenario.errors import Fault, Problem, ScenarioError, nearest
from simbot.scenario.sheet import KINDS_OF_FILE, Desk, Sheet, listed
from simbot.scenario.yaml_reader import Node, Place, parse_yaml


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


def check_roots(changes: list[Change], desk: Desk) -> None:
    """Every path begins with the kind of file it changes."""
    for change in changes:
        root = change.path.split(".")[0]
        if root not in KINDS_OF_FILE or "." not in change.path:
            wanted = "a path such as robot.mechanisms.lift.drum_diameter"
            desk.problems.append(
                change.problem(
                    Fault(
                        "a path begins with game, robot or plan",
                        change.path,
                        wanted,
                        nearest(root, KINDS_OF_FILE),
                    )
                )
            )


def apply(changes: list[Change], sheet: Sheet, kind: str) -> None:
    """Put the values of the paths that begin with this kind into the sheet's tree."""
    for change in changes:
        parts = change.path.split(".")
        if parts[0] == kind and len(parts) > 1:
            _put(sheet, change, parts)


def _put(sheet: Sheet, change: Change, parts: list[str]) -> None:
    node = sheet.root = replace(sheet.root)
    for depth, part in enumerate(parts):
        last = depth == len(parts) - 1
        value = node.value
        if isinstance(value, dict):
            node.value = value = dict(value)
            if last:
                value[part] = replace(change.node, key_place=change.place)
                return
            if part in value:
                node = value[part] = replace(value[part])
                continue
            known = list(value)
        elif isinstance(value, list):
            node.value = value = list(value)
            if part.isdigit() and int(part) < len(value):
                index = int(part)
                node = value[index] = replace(change.node) if last else replace(value[index])
                if last:
                    return
                continue
            known = [str(index) for index in range(len(value))]
        else:
            known = []
        where = ".".join(parts[:depth])
        wanted = listed(known) if known else f"{where} itself, which is a value"
        fault = Fault(f"there is no such key in {where}", part, wanted, nearest(part, known))
        sheet.desk.problems.append(change.problem(fault))
        return
