"""Break-evens and fits on the page say what their documents say."""

from __future__ import annotations

import json
from pathlib import Path

from simbot.report.page.turns import fitted, idle, turns, unsure

STUDIES = Path(__file__).parents[2] / "reports" / "studies"


def read(name):
    return json.loads((STUDIES / f"{name}.json").read_text(encoding="utf-8"))


def test_what_turns_the_answer_is_drawn_and_the_rest_is_named():
    document = read("compare")
    rows = document["break_even"]
    turning = [row for row in rows if row["turns_at"] is not None]
    drawn, named = turns(document), [*idle(document), *unsure(document)]
    assert turning and len(drawn) == len(turning) and len(named) == len(rows) - len(turning)
    assert {one.note for one in drawn} == {row["text"] for row in turning}
    first = min(
        turning, key=lambda row: abs(row["turns_at"] - row["now"]) / abs(row["tried_to"] - row["now"])
    )
    assert drawn[0].note == first["text"]
    assert all(one.svg.count("<circle") == 2 for one in drawn)


def test_what_noise_hides_is_neither_drawn_nor_said_to_turn_nothing():
    document = read("compare")
    row = {**document["break_even"][0], "turns_at": None, "told": False, "text": "may win below 80 %"}
    alone = {**document, "break_even": [row]}
    assert turns(alone) == idle(alone) == [] and unsure(alone) == ["may win below 80 %"]


def test_a_comparison_without_break_evens_draws_none():
    document = {**read("compare"), "break_even": None}
    assert turns(document) == [] and idle(document) == []


def test_measured_over_fitted_stands_with_its_ratio():
    document = read("fit-winch")
    panel = fitted(document)
    assert panel.answer == document["answer"] and len(panel.rows) == len(document["compared"])
    for drawn, row in zip(panel.rows, document["compared"], strict=True):
        assert f"ratio {row['ratio']:.3f}" in drawn.note and drawn.stands_out == row["off"]
    assert "±" in panel.scale


def test_one_that_never_arrives_has_no_dot():
    document = read("fit-winch")
    row = {**document["compared"][0], "predicted": None, "ratio": None, "off": True}
    (drawn,) = fitted({**document, "compared": [row]}).rows
    assert "does not arrive" in drawn.note and "<circle" not in drawn.svg
