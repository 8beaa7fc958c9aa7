"""Lines of a table of values into cells that know where they begin."""

from __future__ import annotations

import csv
from dataclasses import dataclass


@dataclass(frozen=True)
class Cell:
    text: str
    column: int  # from 1


def cells_of(line: str, mark: str) -> list[Cell]:
    """The cells of a line and the columns at which they begin."""
    text = without_remark(line)
    cells, at = [], 0
    for cell in next(csv.reader([text], delimiter=mark, skipinitialspace=True), []):
        begin = at + len(text[at:]) - len(text[at:].lstrip(" "))
        cells.append(Cell(" ".join(cell.split()), begin + 1))
        quoted = text[begin : begin + 1] == '"'
        end = begin + 1
        while quoted and end < len(text) and (text[end] != '"' or text[end + 1 : end + 2] == '"'):
            end += 2 if text[end] == '"' else 1
        following = text.find(mark, end if quoted else at)
        at = following + 1 if following >= 0 else len(text)
    return cells


def without_remark(line: str) -> str:
    """The line up to a # that stands outside quotation marks."""
    inside = False
    for at, letter in enumerate(line):
        inside ^= letter == '"'
        if letter == "#" and not inside:
            return line[:at]
    return line
