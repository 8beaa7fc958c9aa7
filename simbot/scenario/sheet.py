"""One file as a tree with places: what the readers ask for values, and tell about mistakes.

A location is a tuple of keys and indices from the root. Mistakes are collected in a `Desk` that the files of
a set share, so that all of them are reported together. Pydantic checks the shape of one flat mapping at a
time; its error locations are turned into places here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from simbot.scenario.entry_examples import entries_told
from simbot.scenario.errors import Fault, Problem, ScenarioError, ValueFault, is_slip, nearest
from simbot.scenario.model import Remark
from simbot.scenario.units import NO_SCALE, Scale
from simbot.scenario.yaml_reader import Node, Place, parse_yaml, read_text

Loc = tuple[str | int, ...]
Shape = TypeVar("Shape", bound=BaseModel)
Result = TypeVar("Result")
MOST_KEYS = 24  # that a message lists
KINDS_OF_FILE = ("game", "robot", "plan")


Trees = dict[Path, tuple[Node, tuple[str, ...]]]  # files that were parsed before: their trees and lines


class Desk:
    """Problems and remarks of a set of files.

    `trees`: a file whose tree is there is not read and parsed again, and one that is read is put there.
    """

    def __init__(self, trees: Trees | None = None) -> None:
        self.trees: Trees = {} if trees is None else trees
        self.problems: list[Problem] = []
        self.remarks: list[Remark] = []

    def close(self) -> None:
        """Raise everything that went wrong, if anything did."""
        if self.problems:
            raise ScenarioError(self.problems)


class Sheet:
    """The tree of one file."""

    def __init__(self, path: Path, root: Node, desk: Desk, lines: tuple[str, ...] = ()) -> None:
        self.path = path
        self.root = root
        self.desk = desk
        self.lines = lines

    # --- looking ---------------------------------------------------------------------------------------

    def node(self, loc: Loc) -> Node | None:
        """The node at a location; None where there is none."""
        node: Node | None = self.root
        for part in loc:
            if node is None:
                return None
            if isinstance(node.value, dict) and isinstance(part, str):
                node = node.value.get(part)
            elif isinstance(node.value, list) and isinstance(part, int) and part < len(node.value):
                node = node.value[part]
            else:
                return None
        return node

    def text(self, loc: Loc) -> str | None:
        """The scalar at a location; None where there is none."""
        node = self.node(loc)
        return node.value if node is not None and isinstance(node.value, str) else None

    def line(self, loc: Loc) -> int:
        return self._place(loc, of_key=False).line

    def stands_at(self, loc: Loc) -> tuple[str, int, int]:
        """File, line and column of what is written there."""
        place = self._place(loc, of_key=False)
        return place.file, place.line, place.column

    def file(self, loc: Loc) -> str:
        return self._place(loc, of_key=False).file

    def keys(self, loc: Loc) -> list[str]:
        node = self.node(loc)
        return list(node.value) if node is not None and isinstance(node.value, dict) else []

    def _place(self, loc: Loc, of_key: bool) -> Place:
        """Where it stands, or the nearest that stands around it."""
        while loc:
            node = self.node(loc)
            if node is not None:
                return node.key_place if of_key and node.key_place else node.place
            loc, of_key = loc[:-1], True
        return self.root.place

    # --- telling ---------------------------------------------------------------------------------------

    def fail(self, loc: Loc, fault: Fault | str, of_key: bool = False) -> None:
        """Note a mistake at a location (at its key where `of_key`)."""
        if isinstance(fault, str):
            fault = Fault(fault)
        node = self.node(loc)
        run_together = RUN_TOGETHER.fullmatch(str(loc[-1])) if loc else None
        if run_together is not None and node is not None and node.value is None:
            name, value = run_together.groups()
            text = f"after {name} a colon and a blank are wanted"
            fault, of_key = Fault(text, str(loc[-1]), f"{name}: {value}"), True
        place = self._place(loc, of_key)
        key = ".".join(str(part) for part in loc)
        self.desk.problems.append(
            Problem(
                place.file,
                place.line,
                place.column,
                key,
                fault.given,
                fault.wanted,
                fault.nearest,
                fault.text,
            )
        )

    def unknown(self, loc: Loc, what: str, given: str, known: Iterable[str], of_key: bool = False) -> None:
        """Note a name that stands for nothing."""
        names = list(known)
        wanted = listed(names) if names else f"none: no {what} is declared"
        self.fail(loc, Fault(f"there is no such {what}", given, wanted, nearest(given, names)), of_key)

    def remark(self, loc: Loc, kind: str, text: str) -> None:
        place = self._place(loc, of_key=True)
        key = ".".join(str(part) for part in loc)
        self.desk.remarks.append(Remark(kind, place.file, place.line, key, text))

    # --- reading ---------------------------------------------------------------------------------------

    def attempt(self, loc: Loc, read: Callable[..., Result], *args: Any, **kwargs: Any) -> Result | None:
        """The result of a reader; its fault is noted at the location and gives None."""
        try:
            return read(*args, **kwargs)
        except ValueFault as error:
            self.fail(loc, error.fault)
            return None

    def read(
        self, loc: Loc, shape: type[Shape], scale: Scale = NO_SCALE, own: Collection[str] = ()
    ) -> Shape | None:
        """The mapping at a location in its declared shape; None, and its mistakes noted, where it has any.

        Keys in `own` are the user's own names that stand among the shape's keys; they are left aside.
        """
        node = self.node(loc)
        if node is None or not isinstance(node.value, dict):
            self.not_a_mapping(loc, wanted=listed(shape_keys(shape)))
            return None
        guessed = self._mend_keys(loc, node.value, [*shape_keys(shape), *own])
        wanted = set(shape_keys(shape))
        data = {key: value.plain() for key, value in node.value.items() if key in wanted}
        try:
            return shape.model_validate(data, context=scale)
        except ValidationError as error:
            for entry in error.errors(include_url=False):
                key = entry["loc"][0] if entry["loc"] else None
                if key in guessed:
                    number = guessed[str(key)]
                    self.desk.problems[number] = replace(self.desk.problems[number], nearest=None)
                else:
                    self._pydantic(loc, shape, entry)
            return None

    def _mend_keys(self, loc: Loc, mapping: dict[str, Node], known: list[str]) -> dict[str, int]:
        """Note unknown keys; one that looks like a key that is absent is read as that one from here on.

        So a slip in a key is one mistake, and not also a missing key and all that follows from it.

        Returns
        -------
        dict
            Keys that look only a little like what is written, with the numbers of those problems: where the value
            is none of such a key, something else was meant.
        """
        guessed = {}
        for key in [key for key in mapping if key not in known]:
            geared = next((one for one in OF_GEARS if one in known), None)
            if geared is not None and key in (*GEARS, *OF_GEARS):
                self.fail((*loc, key), Fault("unknown key", key, OF_GEARS[geared], geared), of_key=True)
                continue
            if key == "measured" and known in (["effort"], ["zero"]):
                self.fail(
                    (*loc, key),
                    Fault("unknown key", key, "`measured` beside the wait that follows"),
                    of_key=True,
                )
                continue
            absent = [one for one in known if one not in mapping]
            near = nearest(key, absent) or nearest(key, known)
            self.fail((*loc, key), Fault("unknown key", key, _keys_told(mapping, known), near), of_key=True)
            if near is not None and near not in mapping:
                mapping[near] = mapping.pop(key)
                if not is_slip(key, near):
                    guessed[near] = len(self.desk.problems) - 1
        return guessed

    def entries(self, loc: Loc) -> Iterator[tuple[str, Loc]]:
        """Names of a mapping of the user's own names, with their locations; nothing where it is absent."""
        node = self.node(loc)
        if node is None:
            return
        if not isinstance(node.value, dict):
            self.fail(loc, Fault("a mapping is wanted", _shown(node), entries_told(loc)))
            return
        for name in node.value:
            if not name or any(sign in name for sign in " .:\t\n"):
                text = "a name is one word without spaces, points and colons"
                self.fail((*loc, name), Fault(text, name), of_key=True)
            yield name, (*loc, name)

    def items(self, loc: Loc) -> list[Loc]:
        """Locations of a list's items; nothing where it is absent."""
        node = self.node(loc)
        if node is None:
            return []
        if not isinstance(node.value, list):
            self.fail(loc, Fault(LIST_WANTED, _shown(node), as_list(_shown(node))))
            return []
        return [(*loc, index) for index in range(len(node.value))]

    def not_a_mapping(self, loc: Loc, wanted: str) -> None:
        node = self.node(loc)
        empty = node is not None and node.value == {}
        given = "an empty mapping" if empty else _shown(node)
        text = "there is nothing in it" if empty else "a mapping is wanted"
        self.fail(loc, Fault(text, given, f"keys {wanted}" if wanted else ""))

    def _pydantic(self, loc: Loc, shape: type[BaseModel], entry: Mapping[str, Any]) -> None:
        inner: Loc = (*loc, *entry["loc"])
        context = entry.get("ctx") or {}
        kind = entry["type"]
        if kind == "fault":
            fault = context["fault"]
            self.fail(inner, fault)
        elif kind == "missing" and isinstance(entry["loc"][-1], str):
            field = shape_field(shape, entry["loc"][-1])
            self.fail(inner, Fault(f"the key `{entry['loc'][-1]}` is missing", wanted=field))
        else:
            text, wanted = _SHAPES.get(kind, (str(entry["msg"]), ""))
            given = entry.get("input")
            shown = given if isinstance(given, str) else _shown(self.node(inner))
            self.fail(inner, Fault(text, shown, as_list(shown) if text == LIST_WANTED else wanted))


# a key and its value that were read as one key
RUN_TOGETHER = re.compile(r"(\w+)(?:\s*[:=]\s*|\s+(?=[-+.\d]))(\S.*)")
GEARS = ("ratio", "gear_ratio", "gearing")  # what a mechanism's gears are called
# Keys of gears, a mechanism's own stages and those inside its motor's case: which they are.
OF_GEARS = {
    "gearing": "gearing: [{ratio: 2:1, efficiency: 95 %}], its stages; internal_ratio is a motor's",
    "internal_ratio": "internal_ratio, of the gears inside its case; gearing is a mechanism's",
}
LIST_WANTED = "a list is wanted"
_SHAPES = {
    "missing": ("a value is missing in this list", ""),
    "too_long": ("too many values in this list", "fewer; a decimal comma splits a number in two"),
    "too_short": ("too few values in this list", "more"),
    "tuple_type": (LIST_WANTED, ""),
    "list_type": (LIST_WANTED, ""),
    "dict_type": ("a mapping is wanted", "names, each with its value, such as {lift: 0.42 m}"),
    "string_type": ("a word is wanted", ""),
}


def as_list(given: str) -> str:
    """How values that stand in a row otherwise are written as a list: `[0 m, 0.6 m]` for `0 to 0.6 m`."""
    values = [value.strip() for value in re.split(r"\bto\b|\bx\b|×|;|,|/|\.\.|\u2013", given)]
    if len(values) < 2 or not all(re.match(r"[-+]?\.?\d", value) for value in values):
        return "values between [ and ], with a comma between two"
    unit = re.sub(r"[-+.\d\s]", "", values[-1])
    bare = re.compile(r"[-+.\d]+")
    return f"[{', '.join(f'{value} {unit}'.strip() if bare.fullmatch(value) else value for value in values)}]"


def shape_keys(shape: type[BaseModel]) -> list[str]:
    """The keys a mapping of this shape may have, as written in a file."""
    return [field.alias or name for name, field in shape.model_fields.items()]


def shape_field(shape: type[BaseModel], key: str) -> str:
    """What is said of a key where it is missing."""
    for name, field in shape.model_fields.items():
        if (field.alias or name) == key:
            return field.description or ""
    return ""


def listed(words: Iterable[str], limit: int = MOST_KEYS) -> str:
    names = list(words)
    more = f" and {len(names) - limit} more" if len(names) > limit else ""
    return ", ".join(names[:limit]) + more


def _keys_told(mapping: dict[str, Node], known: list[str]) -> str:
    """The keys that would do; of a mechanism's many, where all of them are told."""
    told = listed(known, MOST_KEYS)
    kind = mapping.get("kind")
    if len(known) > MOST_KEYS and kind is not None and isinstance(kind.value, str):
        told += f", see simbot kinds {kind.value}"
    return told


def _shown(node: Node | None) -> str:
    if node is None or node.value is None:
        return "nothing"
    if isinstance(node.value, str):
        return node.value
    return "a list" if isinstance(node.value, list) else "a mapping"


def open_sheet(path: Path, kind: str, desk: Desk) -> Sheet | None:
    """Read a file of one kind; None, and the mistake noted, where that cannot be."""
    try:
        known, repeated = desk.trees.get(path), list[Problem]()
        if known is None:
            text = read_text(path)
            known = parse_yaml(text, str(path), repeated), tuple(text.splitlines())
            if not repeated:  # what has mistakes is read again where they are to be told
                desk.trees[path] = known
    except ScenarioError as error:
        desk.problems.extend(error.problems)
        return None
    desk.problems.extend(repeated)
    sheet = Sheet(path, known[0], desk, known[1])
    return sheet if _is_kind(sheet, kind) else None


def _is_kind(sheet: Sheet, kind: str) -> bool:
    if not isinstance(sheet.root.value, dict):
        sheet.fail((), Fault("a mapping is wanted", _shown(sheet.root), f"keys simbot, {kind}"))
        return False
    keys = sheet.keys(())
    others = [other for other in KINDS_OF_FILE if other in keys]
    if kind not in keys:
        if others:
            sheet.fail(
                (others[0],), Fault(f"this is a {others[0]} file", wanted=f"a {kind} file"), of_key=True
            )
        else:
            near = nearest(kind, keys)
            sheet.fail(
                (near,) if near else (), Fault(f"the key `{kind}` is missing", near, f"a {kind} file"), True
            )
        return False
    for key in keys:
        if key not in ("simbot", kind):
            sheet.fail(
                (key,), Fault("unknown key", key, f"simbot, {kind}", nearest(key, ["simbot", kind])), True
            )
    if sheet.text(("simbot",)) != "1":
        sheet.fail(
            ("simbot",), Fault("the format's number", sheet.text(("simbot",)) or "nothing", "simbot: 1")
        )
    if not isinstance(sheet.root.value[kind].value, dict):
        sheet.not_a_mapping((kind,), "")
        return False
    return True
