"""What falls, what stays in hand, and what comes back: games with stopwatch times, worked out on paper."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.routine.match import play
from simbot.routine.trace import Trace
from simbot.scenario.model import Plan

POSE = ["1 m", "1 m", "0 deg"]
COSTS = {"penalties": {"dropped": 3, "missed": 1, "stuck": 2}}
FOUR = {"hand": "open", "other": "open", "holds": {"hand": ["ball"] * 4}}
THREE = {"places": {"box": {"pose": POSE, "takes": "ball", "points": 1, "room": 3}}}


def run(plan: Plan) -> Trace:
    return play(plan, plan.robot.battery[0])[0]


def costs(trace: Trace) -> list[tuple[str, float]]:
    return [(award.name, award.points) for award in trace.awards]


@pytest.mark.parametrize(
    ("steps", "start", "game", "told"),
    [
        ([place(), wait("0.3 s")], None, {}, []),
        ([{"hand_over": {"from": "hand", "by": {"other": "shut"}}}, wait("0.3 s")], None, {}, []),
        ([place(**{"else": "stuck"}), wait("0.3 s")], None, {}, [("stuck", -2)]),
        ([place(), wait("0.3 s")], FOUR, THREE, [("dropped", -3)]),
        ([place(needs={"other": "shut"}), wait("0.3 s")], FOUR, {}, [("dropped", -3)] * 4),
        ([place(needs={"other": "shut"}, **{"else": "missed"})], FOUR, {}, [("missed", -1)] * 4),
        ([{"let_go": "hand"}, wait("0.3 s")], FOUR, {}, [("dropped", -3)] * 4),
        ([pick(needs={"other": "shut"}), wait("0.3 s")], None, {}, [("missed", -1)]),
        ([pick(needs={"other": "shut"}, **{"else": "dropped"}), wait("0.3 s")], None, {}, []),
    ],
)  # fmt: skip
def test_a_drop_costs_when_an_element_falls_and_only_then(tmp_path, steps, start, game, told):
    plan = a_plan(tmp_path, steps, game={**COSTS, **game}, **({"start": start} if start else {}))
    assert costs(run(plan)) == told
