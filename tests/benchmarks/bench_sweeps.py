"""A sweep of 41 ratios of one mechanism, against reading its robot file 41 times and doing nothing with it.

What the best ratio hangs on is in it.

A warm process: everything is imported and compiled, the files are read anew by every sweep.
"""

from __future__ import annotations

from pathlib import Path

from bench_time import Ratio, side_by_side

from simbot.physics.kinds import KINDS
from simbot.scenario.axes import read_axis
from simbot.scenario.load import load_robot
from simbot.scenario.sheet import Trees
from simbot.studies.sweep import SweepResult, sweep
from simbot.studies.sweep_asked import OF_A_MOVE, Ask, SweepAsked
from simbot.studies.sweep_points import OneMechanism
from simbot.studies.sweep_rests import with_hangs

ROBOT = Path(__file__).parents[2] / "scenarios" / "night-market" / "robot.yaml"
RATIOS = 41


def swept() -> SweepResult:
    trees: Trees = {}
    load_robot(ROBOT, KINDS, {}, trees)
    axis = read_axis("ratio", "0.8:4", [tree for tree, _ in trees.values()], RATIOS, "lift")
    subject = OneMechanism(ROBOT, {}, "lift", Ask(target="0.62 m"), (axis.key,))
    asked = SweepAsked((axis,), ("mid-event",), OF_A_MOVE["arrival"])
    return with_hangs(sweep(subject, asked, lambda done, total: None))


def read_again() -> None:
    for _ in range(RATIOS):
        load_robot(ROBOT, KINDS)


def measure() -> Ratio:
    took, base = side_by_side([(swept, 3), (read_again, 1)], rounds=3)
    return Ratio(f"a sweep of {RATIOS} ratios", took, base)
