"""Pieces of parsed source code: their text, their places, and expressions in one small form for five languages."""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass
from typing import Any

MAX_DEPTH = 60  # of an expression

NUMBERS = {
    "decimal_integer_literal", "hex_integer_literal", "octal_integer_literal", "binary_integer_literal",
    "decimal_floating_point_literal", "hex_floating_point_literal", "number_literal", "float_literal", "integer",
    "float", "long_literal", "unsigned_literal",
}  # fmt: skip
NAMES = {"identifier", "field_identifier", "type_identifier", "simple_identifier", "namespace_identifier"}
DOTTED = {
    "field_access", "navigation_expression", "attribute", "qualified_identifier", "field_expression",
    "scoped_identifier", "scoped_type_identifier",
}  # fmt: skip
COMMENTS = {"line_comment", "block_comment", "comment", "multiline_comment"}


@dataclass(frozen=True)
class Expr:
    """A piece of an expression. `kind`: number, name, unary, binary, group, cast, unit (a number with its unit
    in `operator`), other."""

    kind: str
    text: str
    start: int  # bytes
    end: int
    line: int
    column: int
    operator: str = ""
    parts: tuple[Expr, ...] = ()


class Pieces:
    """The text of one file, as a parser's nodes cut it."""

    def __init__(self, text: bytes, language: str, offset: int) -> None:
        self.text = text
        self.language = language
        self.offset = offset  # bytes of the file before the text
        self.line_starts = [0, *(found.end() for found in re.finditer(rb"\n", text))]

    def expr(self, node: Any, depth: int = 0, shift: int = 0) -> Expr:
        """The small form of an expression; `shift` moves places of text that was parsed apart."""

        def made(kind: str, operator: str = "", *parts: Any) -> Expr:
            inner = tuple(self.expr(part, depth + 1, shift) for part in parts)
            start, end = node.start_byte + shift, node.end_byte + shift
            said = self.text[start:end].decode("utf-8", "replace")
            line, column = self.at(start)
            return Expr(kind, said, start + self.offset, end + self.offset, line, column, operator, inner)

        named = [child for child in node.children if child.is_named and child.type not in COMMENTS]
        kind = node.type
        if depth > MAX_DEPTH or node.has_error:
            return made("other")
        if kind in NUMBERS:
            return made("number")
        if (
            kind in DOTTED
            and kind == "navigation_expression"
            and len(named) == 2
            and named[0].type in NUMBERS
        ):
            return made("unit", self._text_of(named[1], shift), named[0])  # Kotlin: 300.milliseconds
        if kind in NAMES or kind in DOTTED:
            return made("name")
        if kind in ("parenthesized_expression", "initializer_list") and len(named) == 1:
            return made("group", "", named[0])
        if kind == "cast_expression" and len(named) == 2:
            return made("cast", self._text_of(named[0], shift), named[1])
        if kind in ("unary_expression", "unary_operator") and len(named) == 1:
            return made("unary", node.children[0].type, named[0])
        if kind in ("binary_expression", "binary_operator") and len(named) == 2:
            signs = [child.type for child in node.children if not child.is_named]
            return made("binary", signs[0] if signs else "", *named)
        if kind == "user_defined_literal" and len(named) == 2:
            return made("unit", self._text_of(named[1], shift), named[0])
        if kind == "call_expression" and self.language == "cpp":
            given = node.child_by_field_name("arguments")
            inner = [child for child in given.children if child.is_named] if given is not None else []
            if len(inner) == 1:  # std::chrono::milliseconds(300)
                return made("unit", self._text_of(node.child_by_field_name("function"), shift), inner[0])
        return made("other")

    def _text_of(self, node: Any, shift: int) -> str:
        return self.text[node.start_byte + shift : node.end_byte + shift].decode("utf-8", "replace")

    def said(self, node: Any) -> str:
        return "" if node is None else self.text[node.start_byte : node.end_byte].decode("utf-8", "replace")

    def place(self, node: Any) -> tuple[int, int]:
        return self.at(node.start_byte)

    def at(self, byte: int) -> tuple[int, int]:
        """Line and column, in characters, both from 1."""
        line = bisect_right(self.line_starts, byte)
        before = self.text[self.line_starts[line - 1] : byte]
        return line, len(before.decode("utf-8", "replace")) + 1

    def before(self, byte: int) -> bytes:
        """What stands before it on its line."""
        return self.text[self.line_starts[bisect_right(self.line_starts, byte) - 1] : byte]
