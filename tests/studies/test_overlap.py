"""Critical paths of routines, and stretches that may go together: by hand, with stopwatch times."""

# ruff: noqa: E501 - a plan reads better with one step a line

from __future__ import annotations

import pytest
from test_tune import MOTOR, PLACE, SLIDE, START, WORDS

from simbot.studies.tune import tune

CYCLE = """  autonomous:
    - repeat: 4
      steps:
        - pick: {element: puck, from: tray, by: {hand: shut}, else: missed}
        - wait: 260 ms
        - move: {flap: open}
        - wait: 400 ms
        - move: {scoop: up}
        - wait: 560 ms
        - place: {into: bin, by: {hand: open}, needs: {flap: open, scoop: up}, else: dropped}
        - wait: 260 ms
        - move: {flap: closed, scoop: down}
        - wait: 560 ms
"""
EMPTY = "{flap: closed, scoop: down, hand: open}"


def test_two_moves_side_by_side_save_the_shorter_wait(folder):
    result = tune(folder.write(CYCLE, WORDS, EMPTY))
    (one,) = result.overlaps.proposals
    assert (one.beside_labels, one.labels) == (("flap to open",), ("scoop to up",))
    assert (one.saves_us, one.saves_least_us, one.cycle_saves_us, one.points) == (
        400_000,
        400_000,
        400_000,
        0,
    )
    assert (result.overlaps.together, result.overlaps.together_saves_us) == ((0,), 400_000)


def test_an_order_rule_keeps_them_apart(folder):
    mechanisms = SLIDE + "    flap: {kind: measured, time: 0.35 s}\n"
    body = "  autonomous:\n    - move: {reach: 0.45 m}\n    - wait: 1200 ms\n    - move: {flap: open}\n    - wait: 400 ms\n"
    start = "{reach: 0 m, hand: shut, flap: closed}"
    free = tune(folder.write(body, mechanisms, start, more=MOTOR)).overlaps
    assert len(free.proposals) == 1 and free.rejected == 0
    rule = mechanisms + "  order:\n    - {mechanism: flap, may_move_when: {reach: above 0.40 m}}\n"
    held = tune(folder.write(body, rule, start, more=MOTOR)).overlaps
    assert (held.proposals, held.rejected) == ((), 1)


def test_the_same_mechanism_and_what_is_in_hand_stay_in_order(folder):
    body = (
        f"  autonomous:\n    - move: {{flap: open}}\n    - wait: 400 ms\n    - move: {{flap: closed}}\n    - wait: 400 ms\n    - {PLACE}\n"
        "    - wait: 260 ms\n    - move: {scoop: up}\n    - wait: 560 ms\n"
    )
    overlaps = tune(folder.write(body, WORDS, START)).overlaps
    assert (overlaps.proposals, overlaps.rejected) == ((), 0)


def test_what_a_station_takes_back_is_told_apart(folder):
    """The tray gets a puck every 3 s: 400 ms less work are 400 ms more in front of it."""
    game_lines = "tray: {pose: [1 m, 1 m, 0 deg], gives: puck, stock: 1, refill: 1 per 3 s}"
    plan = folder.write(CYCLE, WORDS, EMPTY)
    game = (folder.path / "game.yaml").read_text()
    (folder.path / "game.yaml").write_text(
        game.replace("tray: {pose: [1 m, 1 m, 0 deg], gives: puck}", game_lines)
    )
    plan = folder.load()
    (one,) = tune(plan).overlaps.proposals
    assert one.saves_us == 400_000
    assert one.cycle_saves_us == pytest.approx(
        100_000
    )  # only the first of the four cycles had nothing to wait for


def test_the_network_of_a_routine(folder):
    body = (
        "  routines:\n    both:\n      - together:\n          - [{move: {flap: open}}, {wait: 400 ms}]\n"
        "          - [{wait: 100 ms, for: stagger}, {move: {scoop: up}}, {wait: 560 ms}]\n"
        "  autonomous:\n    - {run: both}\n    - move: {hand: open}\n    - wait: 260 ms\n"
    )
    (path,) = tune(folder.write(body, WORDS, START)).overlaps.paths
    assert [(one.label, one.duration_us, one.slack_us, one.critical) for one in path.activities] == [
        ("flap to open", 400_000, 260_000, False),
        ("stagger", 100_000, 0, True),
        ("scoop to up", 560_000, 0, True),
        ("hand to open", 260_000, 0, True),
    ]
    assert path.length_us == 920_000
