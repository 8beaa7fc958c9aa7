"""A match of some 180 commands against a bare event skeleton: simpy alone, with as many instants, no physics."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import simpy
from bench_time import Ratio, side_by_side
from builders import LARGE, SMALL, Words, robot_text

from simbot.analysis.states import state_result
from simbot.api import TOLERANCE
from simbot.physics.build import Models
from simbot.physics.kinds import KINDS
from simbot.physics.plant import Plant
from simbot.physics.told import Told
from simbot.routine.match import let_go
from simbot.routine.sequencer import run
from simbot.routine.trace import Trace
from simbot.scenario.load import load_plan
from simbot.scenario.model import Plan

COMMANDS = 180
LASTS_US = 150_000_000

# invented data
WHEEL: Words = {
    "voltage": "12 V", "free_speed": "400 rpm", "free_current": "0.3 A", "stall_torque": "1.9 N*m",
    "stall_current": "9 A", "rotor_inertia": "9e-6 kg*m^2", "internal_ratio": 15, "source": "illustrative",
}  # fmt: skip
MOTORS: Words = {"wheel": WHEEL, "coil": LARGE, "small": SMALL}
RAILS: Words = {"rail": {"voltage": "6 V", "current_limit": "5 A", "regulator": "switching"}}


def slide(motor: str, ratio: float, travel: float, control: Words) -> Words:
    return {
        "kind": "slide", "motors": f"1 x {motor}", "gearing": [{"ratio": ratio, "efficiency": "90 %"}],
        "drum_diameter": "40 mm", "moving_mass": "1.5 kg", "friction": "4 N", "travel": ["0 m", f"{travel} m"],
        "control": control,
    }  # fmt: skip


FULL: Words = {"loop": "full_effort", "window": "10 mm"}
LIFT_LOOP: Words = {"loop": "position", "p": "20 /m", "window": "10 mm", "slower_than": "50 mm/s"}
REACH = {**slide("small", 12.0, 0.3, FULL), "incline": "0 deg"}
MIXED: Words = {
    "drive": {
        "kind": "mecanum", "motors": "4 x wheel", "wheel_diameter": "96 mm", "wheelbase": "300 mm",
        "track": "360 mm", "grip": 0.8, "friction": "9 N",
        "control": {
            "loop": "position", "p": "7 /m", "d": "0.9 s/m", "window": "20 mm", "slower_than": "60 mm/s",
        },
        "turn": {"p": "3 /rad", "d": "0.25 s/rad", "window": "2 deg", "slower_than": "20 deg/s"},
    },
    "lift": slide("coil", 20.0, 0.7, LIFT_LOOP),
    "reach": REACH,
    "gripper": {
        "kind": "servo", "speed": "0.12 s/60deg", "stall_torque": "1.5 N*m", "at": "6 V", "rail": "rail",
        "travel": ["0 deg", "120 deg"], "range": "300 deg", "window": "2 deg",
    },
}  # fmt: skip
MIXED_ROUND: list[Any] = [
    {"drive": ["2.8 m", "2 m", "0 deg"]},
    {"move": {"lift": "0.5 m"}},
    {"wait": "arrival"},
    {"move": {"reach": "0.3 m"}},
    {"wait": "500 ms"},
    {"move": {"gripper": "100 deg"}},
    {"wait": "300 ms"},
    {"move": {"reach": "0 m"}},
    {"wait": "500 ms"},
    {"drive": ["2 m", "2 m", "0 deg"]},
    {"move": {"lift": "0 m"}},
    {"wait": "arrival"},
    {"move": {"gripper": "10 deg"}},
    {"wait": "300 ms"},
]
FULL_ALONE: Words = {"lift": slide("coil", 20.0, 0.4, FULL), "reach": REACH}
FULL_ROUND: list[Any] = [
    {"move": {"lift": "0.4 m"}},
    {"wait": "900 ms"},
    {"move": {"reach": "0.3 m"}},
    {"wait": "500 ms"},
    {"move": {"lift": "0 m"}},
    {"wait": "900 ms"},
    {"move": {"reach": "0 m"}},
    {"wait": "500 ms"},
]


def a_match(mechanisms: Words, rounds: list[Any]) -> Plan:
    """A plan that repeats its steps until they have given about 180 commands."""
    commands = sum("wait" not in step for step in rounds)
    start = {"pose": ["2 m", "2 m", "0 deg"]} if "drive" in mechanisms else {}
    plan = {
        "name": "bench", "game": "game.yaml", "robot": "robot.yaml", "start": start,
        "autonomous": [{"repeat": round(COMMANDS / commands), "steps": rounds}],
    }  # fmt: skip
    game = {
        "name": "bench",
        "field": {"length": "6 m", "width": "6 m"},
        "periods": {"autonomous": f"{LASTS_US / 1e6} s"},
    }
    robot = robot_text(mechanisms, MOTORS, (13.2, 0.15), rails=RAILS if "gripper" in mechanisms else None)
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "game.yaml").write_text(f"simbot: 1\ngame: {json.dumps(game)}\n", encoding="utf-8")
        (folder / "robot.yaml").write_text(robot, encoding="utf-8")
        (folder / "plan.yaml").write_text(f"simbot: 1\nplan: {json.dumps(plan)}\n", encoding="utf-8")
        return load_plan(folder / "plan.yaml", KINDS)[0]


class Match:
    """A plan whose mechanisms are built, to be run again and again."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.battery = plan.robot.battery[0]
        self.models = Models(plan.robot)
        trace = self.trace()[1]
        self.commands = len(trace.moves)
        self.times_us = sorted(
            [record.move.start_us for record in trace.moves] + [record.ended_us for record in trace.waits]
        )

    def trace(self, told: Told = Told.ALL) -> tuple[Plant, Trace]:
        """The run alone: everything that happened, nothing derived from it."""
        plant = Plant(
            self.plan.robot, self.battery, self.plan.start, LASTS_US, TOLERANCE, self.models, told=told
        )
        return plant, run(self.plan, plant, told=told)

    def played(self) -> None:
        """The same, as a study plays it."""
        _, trace = self.trace(told=Told.POINTS)
        let_go(trace)

    def analysed(self) -> object:
        """The run and all its numbers, floors included."""
        return state_result(self.plan, self.battery, *self.trace())

    def skeleton(self) -> None:
        """One process with a timeout for each command and each wait, at the same instants."""
        env = simpy.Environment()

        def steps() -> Any:
            for at_us in self.times_us:
                yield env.timeout(at_us - env.now)

        env.process(steps())
        env.run()


PLANS: dict[str, Callable[[], Plan]] = {
    "mixed controls": lambda: a_match(MIXED, MIXED_ROUND),
    "full effort alone": lambda: a_match(FULL_ALONE, FULL_ROUND),
}


def measure(name: str) -> tuple[Match, Ratio, Ratio]:
    """Ratios of the run alone, as a study plays it, and of the whole analysis."""
    match = Match(PLANS[name]())
    trace, whole, skeleton = side_by_side(
        [(match.played, 7), (match.analysed, 3), (match.skeleton, 41)], rounds=3
    )
    return (
        match,
        Ratio(f"{name}, as a study plays it", trace, skeleton),
        Ratio(f"{name}, with its analysis", whole, skeleton),
    )
