"""YAML 1.2 to a tree of nodes that know their place: bounded, safe, nothing constructed but text.

Scalars stay text (so that `2.90` is echoed as written); only an empty or null scalar becomes None.
The tree is built from parser events, not by the library's composer: depth, aliases and size are then
bounded while reading, and a hostile file costs no more than a large one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from simbot.scenario.errors import Problem, ScenarioError
from simbot.scenario.not_yaml import explained

MAX_BYTES = 1_000_000
MAX_DEPTH = 40
MAX_NODES = 20_000
HIDDEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")  # controls; direction of text
# the characters that the library refuses; it names those that it takes, which compiles twenty times slower
NOT_YAML = "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f\ud800-\udfff\ufffe\uffff]"


@dataclass(frozen=True)
class Place:
    """Where something stands; line and column count from 1."""

    file: str
    line: int
    column: int


@dataclass
class Node:
    """A mapping, a sequence, a text or None; `key_place` is that of its key in the parent mapping."""

    value: dict[str, Node] | list[Node] | str | None
    place: Place
    key_place: Place | None = None
    size: int = 1

    def plain(self) -> Any:
        """The same as dicts, lists and texts."""
        if isinstance(self.value, dict):
            return {key: node.plain() for key, node in self.value.items()}
        if isinstance(self.value, list):
            return [node.plain() for node in self.value]
        return self.value


def refuse(place: Place, text: str, given: str | None = None, wanted: str = "") -> NoReturn:
    raise ScenarioError([Problem(place.file, place.line, place.column, "", given, wanted, None, text)])


def read_text(path: Path, wanted: str = "a YAML file") -> str:
    """The text of a file, or one clear message why it cannot be read and what is wanted."""
    nowhere = Place(str(path), 0, 0)
    try:
        if path.is_dir():
            refuse(nowhere, f"this is a directory, {wanted} is wanted")
        size = path.stat().st_size
        if size > MAX_BYTES:
            refuse(nowhere, f"the file has {size} bytes; at most {MAX_BYTES} are read")
        data = path.read_bytes()
    except FileNotFoundError:
        refuse(nowhere, "there is no such file")
    except (OSError, ValueError) as error:
        refuse(nowhere, f"the file cannot be read: {getattr(error, 'strerror', None) or error}")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        refuse(nowhere, "the file is UTF-16; save it as UTF-8")
    if b"\0" in data:
        refuse(nowhere, f"this is a binary file, {wanted} is wanted")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line = before.count(b"\n") + 1
        column = error.start - (before.rfind(b"\n") + 1) + 1
        refuse(
            Place(str(path), line, column), "the file is not UTF-8", given=f"byte 0x{data[error.start]:02x}"
        )


def parse_yaml(text: str, file: str, repeated: list[Problem] | None = None) -> Node:
    """The tree of one YAML document.

    Parameters
    ----------
    text, file : str
    repeated : list, optional
        Takes the keys that stand a second time in their mapping: the first is kept, and the rest is read.

    Raises
    ------
    ScenarioError
        With one problem: not YAML, empty, an alias that leads into itself, too deep or too large, several
        documents, tags; with duplicate keys where nothing takes them.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError
    from ruamel.yaml.reader import Reader, ReaderError
    from ruamel.yaml.util import RegExp

    class Printable(Reader):
        NON_PRINTABLE = RegExp(NOT_YAML)

    yaml = YAML(typ="safe", pure=True, plug_ins=[])
    yaml.Reader = Printable
    builder = _Builder(file)
    try:
        for event in yaml.parse(text):
            builder.take(event)
    except MarkedYAMLError as error:
        spot, fault = explained(error, text)
        line, column = (spot[0] + 1, spot[1] + 1) if spot else (0, 0)
        raise ScenarioError(
            [Problem(file, line, column, "", fault.given, fault.wanted, fault.nearest, fault.text)]
        ) from None
    except ReaderError as error:
        line = text.count("\n", 0, error.position) + 1
        column = error.position - (text.rfind("\n", 0, error.position) + 1) + 1
        character = error.character if isinstance(error.character, int) else ord(error.character)
        refuse(
            Place(file, line, column),
            "not YAML: a character that may not stand in a file",
            given=f"U+{character:04X}",
        )
    except (YAMLError, ValueError, IndexError, KeyError, TypeError, AttributeError, AssertionError) as error:
        # the parser itself trips over some malformed directives and escapes
        refuse(Place(file, 0, 0), f"not YAML: {str(error).splitlines()[0] if str(error) else 'malformed'}")
    if builder.root is None or builder.root.value is None:
        refuse(Place(file, 0, 0), "the file is empty")
    if repeated is None and builder.repeated:
        raise ScenarioError(builder.repeated)
    if repeated is not None:
        repeated += builder.repeated
    return builder.root


def _no_decimal_comma(mapping: dict[str, Node], key: str, place: Place) -> None:
    """`{lift: 0,40 m}` reads as `lift: 0` and a key `40 m` without a value: say what it is."""
    if not mapping or not re.match(r"\d+(\D|$)", key):
        return
    name, before = list(mapping.items())[-1]
    if (
        isinstance(before.value, str)
        and before.place.line == place.line
        and re.fullmatch(r"[-+]?\d+", before.value)
    ):
        text, wanted = "a decimal comma", "a decimal point"
        given, nearest = f"{before.value},{key}", f"{before.value}.{key}"
        at = before.place
        raise ScenarioError([Problem(at.file, at.line, at.column, name, given, wanted, nearest, text)])


def _no_hidden_sign(text: str, place: Place) -> None:
    """Signs that drive a terminal, or turn the direction of the text around them, may not be written as escapes."""
    found = HIDDEN.search(text)
    if found:
        refuse(
            place, "a control character; names and values are printable text", given=f"U+{ord(found[0]):04X}"
        )


class _Builder:
    """Turns parser events into nodes; the stack replaces recursion."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.root: Node | None = None
        self.stack: list[Node] = []
        self.keys: list[tuple[str, Place] | None] = []
        self.anchors: dict[str, Node | None] = {}
        self.open_anchors: list[str | None] = []
        self.repeated: list[Problem] = []
        self.nodes = 0
        self.documents = 0

    def take(self, event: Any) -> None:
        getattr(self, f"_on_{type(event).__name__}", self._ignore)(event)

    def _ignore(self, event: Any) -> None:
        pass

    def _place(self, event: Any) -> Place:
        return Place(self.file, event.start_mark.line + 1, event.start_mark.column + 1)

    def _on_DocumentStartEvent(self, event: Any) -> None:
        self.documents += 1
        if self.documents > 1:
            refuse(self._place(event), "a second document in the file; one is wanted")

    def _on_ScalarEvent(self, event: Any) -> None:
        place = self._place(event)
        self._no_tag(event, place)
        _no_hidden_sign(event.value, place)
        text: str | None = event.value
        if event.style is None and text in ("", "~", "null", "Null", "NULL"):
            text = None
        self._count(1, place)
        node = Node(text, place)
        if event.anchor:
            self.anchors[event.anchor] = node
        self._add(node, key=event.value)

    def _on_AliasEvent(self, event: Any) -> None:
        place = self._place(event)
        node = self.anchors.get(event.anchor)
        if event.anchor in self.anchors and node is None:
            refuse(place, "an alias inside what it stands for", given=f"*{event.anchor}")
        if node is None:
            refuse(place, "an alias without an anchor before it", given=f"*{event.anchor}")
        self._count(node.size, place)
        key = node.value if isinstance(node.value, str) else None
        self._add(Node(node.value, place, size=node.size), key=key)

    def _on_MappingStartEvent(self, event: Any) -> None:
        self._open(event, Node({}, self._place(event)))

    def _on_SequenceStartEvent(self, event: Any) -> None:
        self._open(event, Node([], self._place(event)))

    def _open(self, event: Any, node: Node) -> None:
        self._no_tag(event, node.place)
        self._count(1, node.place)
        if len(self.stack) >= MAX_DEPTH:
            refuse(node.place, f"nested deeper than {MAX_DEPTH} levels")
        if self.stack and isinstance(self.stack[-1].value, dict) and self.keys[-1] is None:
            refuse(node.place, "a key must be a word, not a list or a mapping")
        if event.anchor:
            self.anchors[event.anchor] = None
        self.open_anchors.append(event.anchor)
        self.stack.append(node)
        self.keys.append(None)

    def _on_MappingEndEvent(self, event: Any) -> None:
        self._close()

    def _on_SequenceEndEvent(self, event: Any) -> None:
        self._close()

    def _close(self) -> None:
        node = self.stack.pop()
        self.keys.pop()
        anchor = self.open_anchors.pop()
        if anchor:
            self.anchors[anchor] = node
        self._add(node, key=None)

    def _no_tag(self, event: Any, place: Place) -> None:
        tag = event.tag
        if tag is not None and str(tag) not in ("", "!"):
            refuse(place, "tags are not used in these files", given=str(tag))

    def _add(self, node: Node, key: str | None) -> None:
        """Put a finished node where it belongs: at the top, into a list, as a key or as a value."""
        if not self.stack:
            self.root = node
            return
        parent = self.stack[-1]
        if isinstance(parent.value, list):
            parent.value.append(node)
            parent.size += node.size
        elif isinstance(parent.value, dict):
            self._add_to_mapping(parent, parent.value, node, key)

    def _count(self, more: int, place: Place) -> None:
        self.nodes += more
        if self.nodes > MAX_NODES:
            refuse(place, f"more than {MAX_NODES} values, aliases counted as what they stand for")

    def _add_to_mapping(self, parent: Node, mapping: dict[str, Node], node: Node, key: str | None) -> None:
        waiting = self.keys[-1]
        if waiting is not None:
            if node.value is None:
                _no_decimal_comma(mapping, *waiting)
            node.key_place = waiting[1]
            mapping.setdefault(waiting[0], node)
            parent.size += node.size
            self.keys[-1] = None
            return
        if key is None:
            refuse(node.place, "a key must be a word, not a list or a mapping")
        if key in mapping:
            first = mapping[key].key_place or mapping[key].place
            text, at = f"this key stands here a second time; first in line {first.line}", node.place
            self.repeated.append(Problem(at.file, at.line, at.column, "", key, "", None, text))
        self.keys[-1] = (key, node.place)
