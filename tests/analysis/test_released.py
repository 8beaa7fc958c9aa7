"""Places that count from their command on while what they placed is still in the hand."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot import api

GAME = {"places": {"box": {"pose": ["1 m", "1 m", "0 deg"], "takes": "ball", "points": 1, "room": 9}}}


def told(tmp_path, *, after, carried=True):
    """The hand takes 0.2 s; what carries it goes on so long after the place."""
    hand = {"kind": "measured", "time": "0.2 s"}
    mechanisms = {"other": hand, "hand": {**hand, "on": "other"} if carried else hand}
    steps = [pick(), wait("250 ms"), place(), wait(after), {"move": {"other": "up"}}, wait("300 ms")]
    plan = a_plan(tmp_path, steps, game=GAME, robot={"mechanisms": mechanisms})
    (state,) = api.run(plan).states
    assert state.points["total"] == 1.0 and state.passes
    return [one for one in state.findings if one.kind == "moved_on"]


def test_what_carries_a_hand_that_is_still_opening_is_told(tmp_path):
    (found,) = told(tmp_path, after="50 ms")
    assert (found.mechanism, found.late_us, found.at_us) == ("hand", 150_000, 300_000)
    assert not found.fails
    assert "sends the other on 150 ms before the hand is at open" in found.text


@pytest.mark.parametrize(("after", "carried"), [("200 ms", True), ("50 ms", False)])
def test_a_hand_that_was_open_or_is_carried_by_something_else_is_not(tmp_path, after, carried):
    assert not told(tmp_path, after=after, carried=carried)
