"""Robot source code as it is needed here: its constants, its calls and its comments, with their places.

The only home of tree-sitter. Five languages become one small form; nothing is run and nothing is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Any

from simbot.scenario.source_pieces import COMMENTS, NAMES, Expr, Pieces

LANGUAGES = {
    ".java": "java",
    ".kt": "kotlin",
    ".kts": "kotlin",
    ".py": "python",
    ".c": "c",
    ".h": "cpp",
    ".hpp": "cpp",
    ".hh": "cpp",
    ".cpp": "cpp",
    ".cc": "cpp",
    ".cxx": "cpp",
}
BOM = b"\xef\xbb\xbf"

_CLASSES = {
    "class_declaration", "interface_declaration", "enum_declaration", "record_declaration", "object_declaration",
    "class_definition", "class_specifier", "struct_specifier", "namespace_definition",
}  # fmt: skip
_FUNCTIONS = {
    "method_declaration", "constructor_declaration", "function_declaration", "function_definition",
}  # fmt: skip
_CALLS = {"method_invocation", "object_creation_expression", "call_expression", "call"}
_ASSIGNMENTS = {"assignment_expression", "augmented_assignment", "update_expression", "assignment"}


@dataclass(frozen=True)
class Constant:
    """A name that is given a value where it is declared."""

    name: str
    scope: tuple[str, ...]
    value: Expr | None
    type: str
    line: int
    column: int
    comment: str
    macro: bool = False
    broken: bool = False  # inside something that does not parse

    @property
    def dotted(self) -> str:
        return ".".join((*self.scope, self.name))


@dataclass(frozen=True)
class Call:
    name: str  # "Thread.sleep"
    scope: tuple[str, ...]  # of classes and functions around it
    arguments: tuple[tuple[str, Expr], ...]  # (keyword or "", value)
    line: int
    column: int
    start: int
    comment: str
    broken: bool = False
    compared: Expr | None = None  # of `timer.seconds() > 0.5`: the other side

    @property
    def last(self) -> str:
        return re.split(r"[.:>]+", self.name)[-1]


@dataclass
class SourceTree:
    path: Path
    language: str
    data: bytes
    lines: list[str]
    constants: list[Constant] = field(default_factory=list)
    calls: list[Call] = field(default_factory=list)
    functions: list[tuple[str, ...]] = field(default_factory=list)
    assigned: dict[str, int] = field(default_factory=dict)  # name -> line of a later assignment
    error_line: int | None = None  # first that does not parse


def parse_source(path: Path, data: bytes, language: str) -> SourceTree:
    """The constants and calls of one file, in the order in which they stand."""
    from tree_sitter import Language, Parser

    grammar = import_module(f"tree_sitter_{language}")
    parser = Parser(Language(grammar.language()))
    offset = len(BOM) if data.startswith(BOM) else 0
    text = data[offset:]
    tree = SourceTree(path, language, data, text.decode("utf-8", "replace").split("\n"))
    reader = _Reader(tree, parser, text, offset)
    reader.read()
    tree.constants.sort(key=lambda one: (one.line, one.column))
    tree.calls.sort(key=lambda one: one.start)
    return tree


class _Reader:
    def __init__(self, tree: SourceTree, parser: Any, text: bytes, offset: int) -> None:
        self.tree = tree
        self.parser = parser
        self.text = text
        self.offset = offset
        self.pieces = Pieces(text, tree.language, offset)
        self.before: dict[int, str] = {}  # last line of a comment that stands alone -> the comment
        self.behind: dict[int, str] = {}  # line -> comment that ends it

    def read(self) -> None:
        root = self.parser.parse(self.text).root_node
        waiting: list[tuple[Any, tuple[str, ...], bool]] = [(root, (), False)]
        found: list[tuple[Any, tuple[str, ...], bool]] = []
        while waiting:
            node, scope, broken = waiting.pop()
            if node.type == "ERROR":
                broken = True
                line = node.start_point[0] + 1
                self.tree.error_line = min(line, self.tree.error_line or line)
            if node.type in COMMENTS:
                self._comment(node)
            scope = self._scope(node, scope)
            found.append((node, scope, broken))
            waiting.extend((child, scope, broken) for child in reversed(node.children))
        for node, scope, broken in found:
            self._take(node, scope, broken)

    # --- names of what stands around -------------------------------------------------------------------

    def _scope(self, node: Any, scope: tuple[str, ...]) -> tuple[str, ...]:
        if node.type in _CLASSES or node.type in _FUNCTIONS:
            name = node.child_by_field_name("name") or _declared(node)
            if name is not None:
                scope = (*scope, *re.split(r"::|\.", self.pieces.said(name)))
                if node.type in _FUNCTIONS:
                    self.tree.functions.append(scope)
        return scope

    def _comment(self, node: Any) -> None:
        first, last = node.start_point[0], node.end_point[0]
        said = self.pieces.said(node)
        if self.pieces.before(node.start_byte).strip():
            self.behind[first + 1] = said
        else:
            self.before[last + 1 - (1 if said.endswith("\n") else 0)] = said

    def _comment_at(self, node: Any) -> str:
        line = node.end_point[0] + 1
        return self.behind.get(line) or self.before.get(node.start_point[0]) or ""

    # --- declarations and calls ------------------------------------------------------------------------

    def _take(self, node: Any, scope: tuple[str, ...], broken: bool) -> None:
        kind = node.type
        if kind in _CALLS:
            self._call(node, scope, broken)
        elif kind in ("variable_declarator", "init_declarator", "enumerator"):
            type_node = node.parent.child_by_field_name("type") if node.parent is not None else None
            named = node.child_by_field_name("name") or node.child_by_field_name("declarator")
            self._constant(
                named, node.child_by_field_name("value"), scope, self.pieces.said(type_node), node, broken
            )
        elif kind == "field_declaration" and node.child_by_field_name("default_value") is not None:
            named, value = node.child_by_field_name("declarator"), node.child_by_field_name("default_value")
            self._constant(
                named, value, scope, self.pieces.said(node.child_by_field_name("type")), node, broken
            )
        elif kind == "property_declaration":
            self._property(node, scope, broken)
        elif kind == "preproc_def":
            self._macro(node, scope, broken)
        elif kind == "assignment" and self.tree.language == "python":
            named = node.child_by_field_name("left")
            type_node, value = node.child_by_field_name("type"), node.child_by_field_name("right")
            named = named.child_by_field_name("attribute") if named.type == "attribute" else named
            self._constant(named, value, scope, self.pieces.said(type_node), node, broken)
        elif kind in _ASSIGNMENTS:
            self._assigned(node)

    def _assigned(self, node: Any) -> None:
        left = node.child_by_field_name("left") or node.child_by_field_name("argument")
        left = left or next((child for child in node.children if child.is_named), None)
        if left is not None:
            self.tree.assigned.setdefault(_last_name(self.pieces.said(left)), node.start_point[0] + 1)

    def _constant(
        self, named: Any, value: Any, scope: tuple[str, ...], type_text: str, node: Any, broken: bool
    ) -> None:
        if named is None or named.type not in NAMES | {"qualified_identifier"} or value is None:
            return
        *outer, name = re.split(r"::", self.pieces.said(named))
        self.tree.constants.append(
            Constant(
                name,
                (*scope, *outer),
                self.pieces.expr(value),
                type_text,
                *self.pieces.place(named),
                self._comment_at(node),
                broken=broken,
            )
        )

    def _property(self, node: Any, scope: tuple[str, ...], broken: bool) -> None:
        """Kotlin: `const val CLAW_MS: Long = 350`."""
        declared = next((child for child in node.children if child.type == "variable_declaration"), None)
        equals = next((index for index, child in enumerate(node.children) if child.type == "="), None)
        if declared is None or equals is None or equals + 1 >= len(node.children):
            return
        named = declared.children[0]
        type_node = next((child for child in declared.children if child.type == "user_type"), None)
        self._constant(named, node.children[equals + 1], scope, self.pieces.said(type_node), node, broken)

    def _macro(self, node: Any, scope: tuple[str, ...], broken: bool) -> None:
        """`#define CLAW_MS 350`: its text, read as an expression of its own."""
        named, value = node.child_by_field_name("name"), node.child_by_field_name("value")
        if value is None:
            return
        head = b"int x = "
        body, comment = _without_comment(self.text[value.start_byte : value.end_byte])
        inner = self.parser.parse(head + body + b";").root_node
        declared = next(
            (one.child_by_field_name("value") for one in _all(inner) if one.type == "init_declarator"), None
        )
        line = node.start_point[0] + 1
        expr = None
        if declared is not None and not inner.has_error:
            expr = self.pieces.expr(declared, shift=value.start_byte - len(head))
        self.tree.constants.append(
            Constant(
                self.pieces.said(named),
                (),
                expr,
                "",
                *self.pieces.place(named),
                comment or self.behind.get(line) or self.before.get(line - 1) or "",
                macro=True,
                broken=broken,
            )
        )

    def _call(self, node: Any, scope: tuple[str, ...], broken: bool) -> None:
        called = node.child_by_field_name("function") or node.child_by_field_name("type")
        name = self.pieces.said(called)
        if node.type == "method_invocation":
            owner = self.pieces.said(node.child_by_field_name("object"))
            name = f"{owner}.{self.pieces.said(node.child_by_field_name('name'))}".lstrip(".")
        given = node.child_by_field_name("arguments")
        if given is None:
            given = next((child for child in node.children if child.type == "value_arguments"), None)
        if not name and node.children:
            name = self.pieces.said(node.children[0])
        if given is None or not name:
            return
        arguments = tuple(
            self._argument(child) for child in given.children if child.is_named and child.type not in COMMENTS
        )
        name = re.sub(r"\s+|<[^<>]*>", "", name).removeprefix("this.").removeprefix("self.")
        self.tree.calls.append(
            Call(
                name,
                scope,
                arguments,
                *self.pieces.place(node),
                node.start_byte + self.offset,
                self._comment_at(node),
                broken,
                None if arguments else self._compared(node),
            )
        )

    def _compared(self, node: Any) -> Expr | None:
        """The other side of a comparison with this call, as in `timer.seconds() > 0.5`."""
        outer = node.parent
        if outer is None or outer.type not in ("binary_expression", "comparison_operator"):
            return None
        sides = [child for child in outer.children if child.is_named and child.type not in COMMENTS]
        signs = {child.type for child in outer.children if not child.is_named}
        if len(sides) != 2 or not signs & {"<", ">", "<=", ">="}:
            return None
        return self.pieces.expr(sides[1] if sides[0] == node else sides[0])

    def _argument(self, node: Any) -> tuple[str, Expr]:
        inner = [child for child in node.children if child.is_named]
        if node.type == "keyword_argument":
            value = node.child_by_field_name("value")
            return self.pieces.said(node.child_by_field_name("name")), self.pieces.expr(value)
        if node.type == "value_argument" and inner:
            keyword = self.pieces.said(inner[0]) if len(inner) > 1 else ""
            return keyword, self.pieces.expr(inner[-1])
        return "", self.pieces.expr(node)


def _declared(node: Any) -> Any:
    """The name of a C function: the declarator inside its declarators."""
    inner = node.child_by_field_name("declarator")
    while inner is not None and inner.type not in NAMES | {"qualified_identifier", "destructor_name"}:
        inner = inner.child_by_field_name("declarator")
    return inner


def _without_comment(body: bytes) -> tuple[bytes, str]:
    """The text of a macro before the first comment in it, and that comment."""
    found = re.search(rb"//|/\*", body)
    if found is None:
        return body, ""
    return body[: found.start()], body[found.start() :].decode("utf-8", "replace")


def _last_name(text: str) -> str:
    return re.split(r"[.:>\s]+", text)[-1]


def _all(root: Any) -> Iterator[Any]:
    waiting = [root]
    while waiting:
        node = waiting.pop()
        yield node
        waiting.extend(reversed(node.children))
