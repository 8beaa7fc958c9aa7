"""What one move of every kind costs in the kernel, against the spool slide's: full effort over most of the travel.

A servo and a claw keep their own loop, a roller and a flywheel turn for half a second. A drive is watched until it
stands for the first time: at full effort, without friction to speak of, it swings about its goal for ever. Robots of
`scenarios/`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import isinf
from pathlib import Path

import numpy as np
from bench_time import Ratio, side_by_side

from simbot.physics import layout as L
from simbot.physics.build import DRIVES, SPINNING
from simbot.physics.kinds import KINDS
from simbot.physics.move import DriveTo, GoTo, Spin
from simbot.physics.plant import Plant
from simbot.physics.stepper import advance
from simbot.scenario.load import load_robot
from simbot.scenario.model import MechanismSpec, Pose, Robot, Start

SCENARIOS = Path(__file__).parents[2] / "scenarios"
LASTS = 0.5  # s, of what only turns
BASELINE = "slide"


def robots() -> Iterator[Robot]:
    """The demo's robot first: its slide is the baseline."""
    first = SCENARIOS / "night-market" / "robot.yaml"
    files = sorted(SCENARIOS.rglob("*.yaml"), key=lambda path: (path != first, path))
    for path in files:
        if "\nrobot:" in path.read_text(encoding="utf-8"):
            yield load_robot(path, KINDS)[0]


def one_of_each() -> dict[str, tuple[Robot, MechanismSpec]]:
    """The first mechanism of every kind with physics; alone on its robot, at full effort."""
    found: dict[str, tuple[Robot, MechanismSpec]] = {}
    for robot in robots():
        for spec in robot.mechanisms.values():
            if spec.kind in found or spec.coordinate == "word" or spec.values.get("tipped_by"):
                continue
            values = {
                **spec.values,
                "on": None,
                "springs": None,
                "detents": None,
                "ratchet": None,
                "extension": None,
            }
            if spec.values.get("control"):
                values["control"] = {**spec.values["control"], "loop": "full_effort", "effort": 1.0}
            alone = replace(spec, values={key: value for key, value in values.items() if key in spec.values})
            found[spec.kind] = (replace(robot, mechanisms={spec.name: alone}), alone)
    return found


class Move:
    """One move with its state prepared: commanded, no time passed."""

    def __init__(self, robot: Robot, spec: MechanismSpec) -> None:
        name = spec.name
        low, high = spec.values.get("travel") or (0.0, 1.0)
        start = Start(
            Pose(1.0, 1.0, 0.0), {} if spec.kind in DRIVES else {name: float(low + 0.1 * (high - low))}, {}
        )
        plant = Plant(robot, robot.battery[0], start, 60_000_000)
        if spec.kind in DRIVES:
            plant.command(name, DriveTo(Pose(2.0, 1.0, 0.0)))
        elif spec.kind in SPINNING:
            plant.command(name, Spin(1.0))
        else:
            plant.command(name, GoTo(float(low + 0.8 * (high - low))))
        self.tab, m = plant.arrays.tab, plant.arrays.at[name]
        self.ready = plant.arrays.w.copy()
        turns = spec.kind in SPINNING
        self.ready[L.WATCHING] = self.ready[m + L.WATCH] = 0.0 if turns else 1.0
        self.until = LASTS if turns else 3.0
        self.log = np.empty((20_000, plant.arrays.columns))
        if spec.kind in DRIVES:
            rows = self.log[: self.steps()]
            stands = np.flatnonzero(rows[:, L.LOG_MECH + L.LOG_SPEED0] == 0.0)[1]  # the first is the start
            self.until = float(rows[stands, L.LOG_T])

    def run(self) -> None:
        advance(self.ready.copy(), self.tab, self.log, 0, self.until)

    def steps(self) -> int:
        return int(advance(self.ready.copy(), self.tab, self.log, 0, self.until)[1])


def measure() -> list[tuple[Ratio, int]]:
    """Cost of each kind's move over that of the slide's, and its steps."""
    moves = {kind: Move(*made) for kind, made in one_of_each().items()}
    times = side_by_side([(move.run, 25) for move in moves.values()])
    base = times[list(moves).index(BASELINE)]
    assert not isinf(base)
    return [
        (Ratio(kind, time, base), move.steps())
        for (kind, move), time in zip(moves.items(), times, strict=True)
    ]
