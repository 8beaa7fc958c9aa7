"""A fit of three unknowns to 60 measurements, warm: against as many single predictions as it has measurements."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from bench_matches import FULL, LIFT_LOOP, MOTORS, Words, slide
from bench_time import Ratio, side_by_side
from builders import robot_text

from simbot.physics.kinds import KINDS
from simbot.scenario.load import load_plan
from simbot.scenario.measured import Condition
from simbot.scenario.measured_file import read_measured
from simbot.studies.fit import fit
from simbot.studies.fit_results import FitAsked
from simbot.studies.fit_unknowns import Source
from simbot.studies.predicted import bench_time

UNKNOWNS = ("lift.efficiency", "lift.friction", "resistance")
MOVES = ((0.0, 0.6, 0.0), (0.6, 0.0, 0.0), (0.0, 0.6, 0.8), (0.0, 0.3, 0.0), (0.6, 0.1, 0.8))
TRIALS = 12
TRUTH = {
    "robot.mechanisms.lift.gearing.0.efficiency": "82 %",
    "robot.mechanisms.lift.friction": "6 N",
    "robot.battery.states.only.resistance": "0.2 ohm",
}
CONTROLS: dict[str, Words] = {"full effort": FULL, "position loop": LIFT_LOOP}


class Bench:
    """The files in a folder, 60 filmed times of a robot with other numbers, and the fit."""

    def __init__(self, folder: Path, control: Words) -> None:
        mechanisms = {"lift": {**slide("coil", 20.0, 0.7, control), "holding_brake": True}}
        robot = robot_text(mechanisms, MOTORS, (13.2, 0.15))
        (folder / "robot.yaml").write_text(robot, encoding="utf-8")
        (folder / "game.yaml").write_text(
            "simbot: 1\ngame: {name: bench, field: {length: 6 m, width: 6 m}, periods: {only: 30 s}}\n",
            encoding="utf-8",
        )
        self.path = folder / "plan.yaml"
        plan = "{name: bench, game: game.yaml, robot: robot.yaml, start: {lift: 0 m}, only: [{wait: 1 s}]}"
        self.path.write_text(f"simbot: 1\nplan: {plan}\n", encoding="utf-8")
        self.battery = load_plan(self.path, KINDS)[0].robot.battery[0].name
        truth = {key.replace(".only.", f".{self.battery}."): value for key, value in TRUTH.items()}
        true = load_plan(self.path, KINDS, truth)[0].robot
        self.file = folder / "measured.csv"
        rng = np.random.Generator(np.random.PCG64(2))
        rows = ["what,from,to,load,value,rate"]
        for start, target, load in MOVES:
            condition = Condition("move", self.battery, "lift", start, target, load=load)
            time = bench_time(true, true.battery[0], condition)
            for _ in range(TRIALS):
                frames = int((time + rng.normal(0.0, 0.003)) * 240 + rng.random())
                rows.append(f"lift,{start} m,{target} m,{load} kg,{frames} frames,240 fps")
        self.file.write_text("\n".join(rows) + "\n", encoding="utf-8")
        self.plan = load_plan(self.path, KINDS)[0]
        self.rows = read_measured(self.file, self.plan, self.battery)

    def fit(self) -> None:
        source = Source(self.path, self.plan, KINDS, {})
        result = fit(source, self.file, self.rows, UNKNOWNS, FitAsked(), lambda done, total: None)
        assert len(result.fitted) == len(UNKNOWNS) and len(result.measured) == 60

    def once(self) -> None:
        for row in self.rows:
            bench_time(self.plan.robot, self.plan.robot.battery[0], row.condition)


def measure() -> list[Ratio]:
    """For a control at full effort and for a position loop, whose times bend and jump."""
    ratios = []
    for name, control in CONTROLS.items():
        with TemporaryDirectory() as folder:
            bench = Bench(Path(folder), control)
            whole, once = side_by_side([(bench.fit, 1), (bench.once, 3)], rounds=3)
            ratios.append(Ratio(f"fit, {name}", whole, once))
    return ratios
