"""Two robots that touch: one parked in closed form, both on their way by separating axes at many instants."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from builders import robot_text
from test_drive import GEARMOTOR, drive
from test_paths import LOOP, ROBOT, SIZE, apart, outline, to

from simbot.analysis.results import Finding
from simbot.api import run
from simbot.physics.kinds import KINDS
from simbot.physics.plant import Plant
from simbot.routine.match import play
from simbot.scenario.load import load_plan
from simbot.scenario.model import Plan

Pose3 = tuple[float, float, float]


def two(folder: Path, mine: tuple[Pose3, list[Any]], other: tuple[Pose3, list[Any]]) -> Plan:
    """A plan with a second robot of the same make; each with its start and steps."""
    game = {"name": "yard", "field": {"length": "6 m", "width": "6 m"}, "periods": {"autonomous": "6 s"}}
    wheels = {"drive": drive("mecanum", control=LOOP)}
    (folder / "game.yaml").write_text(f"simbot: 1\ngame: {json.dumps(game)}\n")
    (folder / "robot.yaml").write_text(robot_text(wheels, {"wheel": GEARMOTOR}, **ROBOT))
    for name, ((x, y, heading), steps) in (("mine", mine), ("other", other)):
        plan = {
            "name": name, "game": "game.yaml", "robot": "robot.yaml", "autonomous": steps,
            "start": {"pose": [f"{x} m", f"{y} m", f"{heading} deg"]},
            **({"others": {"mate": {"plan": "other.yaml"}}} if name == "mine" else {}),
        }  # fmt: skip
        (folder / f"{name}.yaml").write_text(f"simbot: 1\nplan: {json.dumps(plan)}\n")
    return load_plan(folder / "mine.yaml", KINDS)[0]


def told(plan: Plan) -> list[Finding]:
    return [one for one in run(plan).states[0].findings if one.kind == "path_blocked"]


def plants(plan: Plan) -> tuple[Plant, Plant]:
    trace, plant = play(plan, plan.robot.battery[0])
    assert trace.partner is not None
    return plant, trace.partner.moves[0].move.plant


def first_contact(plan: Plan, at_us: Iterable[int]) -> int | None:
    mine, other = plants(plan)
    return next((at for at in at_us if not apart(outline(mine.pose(at)), outline(other.pose(at)))), None)


WAIT: list[Any] = [{"wait": "1 s"}]


@pytest.mark.parametrize(("aside", "touches"), [(0.379, True), (0.381, False)])
def test_one_that_is_parked(tmp_path: Path, aside: float, touches: bool) -> None:
    """Front to back, a length between their centres; past it a width aside."""
    plan = two(tmp_path, ((1.0, 1.0, 0.0), to(4.0, 1.0)), ((3.0, 1.0 + aside, 0.0), WAIT))
    found = told(plan)
    assert bool(found) == touches
    if touches:
        (one,) = found
        _, plant = play(plan, plan.robot.battery[0])
        assert plant.pose(one.at_us - 1).x < 3.0 - SIZE[0] <= plant.pose(one.at_us).x + 1e-9
        assert (one.step, one.fails) == (1, False) and "(mate) where that stands" in one.text


def test_parked_after_a_way_of_its_own(tmp_path: Path) -> None:
    """It is where it was left, and is told once for each way on which they begin to touch."""
    parks = [*to(3.0, 1.1), {"wait": "3 s"}]
    goes = [{"wait": "2.5 s"}, *to(4.0, 1.0), *to(1.0, 1.0)]
    found = told(two(tmp_path, ((1.0, 1.0, 0.0), goes), ((3.0, 4.0, 0.0), parks)))
    assert ["to 4.0 m" in one.text for one in found] == [True, False]
    assert all("where that stands" in one.text for one in found)


def test_the_other_runs_into_one_that_stands(tmp_path: Path) -> None:
    found = told(two(tmp_path, ((3.0, 1.0, 90.0), WAIT), ((1.0, 1.0, 0.0), to(4.0, 1.0))))
    (one,) = found
    assert "(mate) runs into this robot, not yet sent anywhere" in one.text
    later = [{"wait": "2 s"}, *to(4.0, 1.0)]
    turned = told(two(tmp_path, ((3.0, 1.0, 0.0), to(3.0, 1.0, 90.0)), ((1.0, 1.0, 0.0), later)))
    assert "runs into this robot, which stands since step 1" in turned[0].text


def test_touching_from_the_start(tmp_path: Path) -> None:
    found = told(two(tmp_path, ((1.0, 1.0, 0.0), to(1.0, 3.0)), ((1.4, 1.0, 0.0), WAIT)))
    assert [one.at_us for one in found] == [0]


def test_both_on_their_way(tmp_path: Path) -> None:
    """Crossing ways, turns among them, against outlines tried every two milliseconds."""
    random, hit = np.random.default_rng(3), 0
    for _ in range(5):
        ends = np.round(random.uniform(1.0, 3.0, (2, 2, 2)), 3)
        turn = float(round(random.uniform(-180.0, 180.0)))
        (a, b), (c, d) = ends.tolist()
        plan = two(
            tmp_path,
            ((*a, 0.0), [*to(*b, 0.0), *to(*b, turn)]),
            ((*c, turn), [{"wait": "0.4 s"}, *to(*d, turn), *to(*d, 0.0)]),
        )
        contact, found = first_contact(plan, range(0, 3_500_000, 2000)), told(plan)
        assert bool(found) == (contact is not None)
        if contact is not None:
            hit += 1
            assert contact - 2000 <= found[0].at_us <= contact or contact == 0 == found[0].at_us
    assert 1 < hit < 5


def test_a_plan_without_a_second_robot_says_nothing(tmp_path: Path) -> None:
    plan = two(tmp_path, ((1.0, 1.0, 0.0), to(4.0, 1.0)), ((3.0, 1.0, 0.0), WAIT))
    assert told(replace(plan, partner=None)) == []
