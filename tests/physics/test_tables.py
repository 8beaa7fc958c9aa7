"""The knots of all mechanisms in one array: each stays where it was put, however many come after."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from simbot.physics import layout as L
from simbot.physics.build import Models
from simbot.physics.kinds import KINDS
from simbot.physics.plant import Plant
from simbot.scenario.load import load_plan

PLAN = Path(__file__).parents[2] / "scenarios" / "mechanisms" / "four_bar-plan.yaml"


def test_knots_stay_where_they_were_put():
    robot = load_plan(PLAN, KINDS)[0].robot
    models = Models(robot)
    name = next(name for name, spec in robot.mechanisms.items() if spec.kind == "four_bar")
    first = len(models.tables.rows)
    made = [models.get(name, 0.01 * k) for k in range(20)]
    images = [models.tables.image(built) for built in made]
    assert len(models.tables.rows) > first
    assert all(models.tables.image(built) is image for built, image in zip(made, images, strict=True))
    for built, image in zip(made, images, strict=True):
        for segment, piece in zip(built.reduced.segments, image.pieces, strict=True):
            cells, row = int(piece.here[L.TAB_N - L.SEG_NOW]), int(piece.here[L.TAB_ROW - L.SEG_NOW])
            assert cells == len(segment.knots) - 1
            assert np.array_equal(models.tables.rows[row : row + cells + 1], segment.knots)


def test_plants_of_one_robot_share_them():
    plan = load_plan(PLAN, KINDS)[0]
    models = Models(plan.robot)
    one, other = (Plant(plan.robot, plan.robot.battery[0], plan.start, 1, models=models) for _ in range(2))
    assert one.arrays.tab is other.arrays.tab
    assert np.array_equal(one.arrays.w, other.arrays.w)
