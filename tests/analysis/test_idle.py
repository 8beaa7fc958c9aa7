"""What a period leaves idle after its routine: in the cycle, and told apart from it."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot import api
from simbot.report.terminal import run_lines

GAME = {
    "periods": {"only": "10 s", "then": "20 s"},
    "places": {"box": {"pose": ["1 m", "1 m", "0 deg"], "takes": "ball", "points": 1, "room": 99}},
}
ROUND = [pick(), wait("0.5 s"), place(), wait("0.5 s")]


def run(tmp_path, rounds, then):
    return api.run(a_plan(tmp_path, [{"repeat": rounds, "steps": ROUND}], game=GAME, then=then))


def test_what_is_left_idle_is_in_the_cycle_and_told(tmp_path):
    """Three rounds of 1 s, 7 s idle, five rounds: the last delivery at 14.5 s, eight cycles."""
    result = run(tmp_path, 3, [{"repeat": 5, "steps": ROUND}])
    (state,) = result.states
    assert state.idle_s == {"only": pytest.approx(7.0)}
    assert state.cycle_time_s == pytest.approx(14.5 / 8)
    rows = [line.plain for line in run_lines(result, state)]
    (row,) = [line for line in rows if "without what periods leave idle" in line]
    assert float(row.split()[-1]) == pytest.approx(7.5 / 8, abs=0.005)


@pytest.mark.parametrize(
    ("rounds", "then"),
    [(3, [wait("1 s")]), ("until period_end", [{"repeat": 5, "steps": ROUND}])],
    ids=["no delivery after it", "busy to its end"],
)
def test_nothing_is_left_idle_within_cycles(tmp_path, rounds, then):
    (state,) = run(tmp_path, rounds, then).states
    assert not state.idle_s
