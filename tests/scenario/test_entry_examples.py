"""Where names with their own keys are written as a list, the message shows an entry, and that entry is read."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from simbot.scenario.entry_examples import EXAMPLES

READERS = Path(__file__).parents[2] / "simbot" / "scenario"


@pytest.mark.parametrize("key", ["bonuses", "at_end", "penalties"])
@pytest.mark.parametrize("given", ["[{name: mat, points: 6}]", "mat", ""])
def test_what_is_no_mapping_is_told_with_an_entry(folder, key, given):
    folder.edit("game", "  obstacles:", f"  {key}: {given}\n  obstacles:")
    (problem,) = folder.problems()
    shown = "a list" if given.startswith("[") else given or "nothing"
    assert (problem.key, problem.given) == (f"game.{key}", shown)
    assert problem.wanted == f"names, each with what is its own: {key}: {{{EXAMPLES['game', key]}}}"


@pytest.mark.parametrize("key", ["others", "orientations", "at_end"])
def test_of_a_plan_too(folder, key):
    folder.edit("plan", "  routines:", f"  {key}: [mate]\n  routines:")
    problem = folder.problems()[0]
    assert problem.wanted == f"names, each with what is its own: {key}: {{{EXAMPLES['plan', key]}}}"


@pytest.mark.parametrize("key", ["bonuses", "at_end", "penalties"])
def test_the_entries_shown_are_read(folder, key):
    text = EXAMPLES["game", key].replace("low_row", "low_sockets").replace("high_row", "pan")
    folder.edit("game", "  obstacles:", f"  {key}: {{{text}}}\n  obstacles:")
    game = folder.load()[0].game
    assert {"bonuses": game.bonuses, "at_end": game.at_end, "penalties": game.penalties}[key]


def test_every_mapping_of_names_has_an_entry_to_show():
    """Each place at which a reader asks for entries under a key of its own."""
    keys = set()
    for path in READERS.glob("*.py"):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(call, ast.Call)
                and isinstance(call.func, ast.Attribute)
                and call.func.attr == "entries"
            ):
                last = call.args[0].elts[-1] if isinstance(call.args[0], ast.Tuple) else None
                if isinstance(last, ast.Constant):
                    keys.add(last.value)
    assert len(keys) > 10 and keys <= {key for _, key in EXAMPLES}
