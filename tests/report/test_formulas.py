"""No cell of a table for a spreadsheet begins as a formula does (OWASP, "CSV Injection")."""

from __future__ import annotations

import ast
import csv
import io
from pathlib import Path
from types import SimpleNamespace

import pytest

import simbot
from simbot.report.timer_table import safe_cell, table_text

PACKAGE = Path(simbot.__file__).parent
STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


@pytest.mark.parametrize("start", STARTS, ids=repr)
def test_a_cell_that_would_be_a_formula_is_text(start):
    assert safe_cell(f"{start}HYPERLINK(1)") == f"'{start}HYPERLINK(1)"
    assert safe_cell(f"  {start}1") == f"'  {start}1"
    assert safe_cell("lift to 0.42 m") == "lift to 0.42 m"


@pytest.mark.parametrize("start", STARTS, ids=repr)
def test_names_in_the_table_of_timers_are_text(start):
    timer = SimpleNamespace(
        name=f"{start}cmd|x",
        now_us=1000,
        suggested_us=2000,
        floor_us=None,
        arrival_us=None,
        reason=f"{start}1+1",
    )
    limit = SimpleNamespace(
        name=f"{start}lift speed",
        key="speed",
        turns=False,
        now=1.0,
        suggested=1.0,
        changed=False,
        impossible=2.0,
        no_gain=None,
        follows=True,
        uneven=False,
        held=f"{start}1+1",
        gain_us=None,
        steps=(),
    )
    result = SimpleNamespace(timers=[timer], limits=[limit])
    rows = list(csv.reader(io.StringIO(table_text(result), newline="")))
    assert len(rows) == 4
    for row in rows:
        for cell in row:
            assert not cell.lstrip(" ").startswith(STARTS), row


def test_every_table_that_is_written_takes_care_of_its_cells():
    writers = []
    for path in PACKAGE.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
        names = {ast.unparse(call.func) for call in calls}
        if {"csv.writer", "csv.DictWriter"} & names:
            writers.append(path)
            assert "safe_cell" in names, path
    assert writers
