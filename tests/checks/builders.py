"""Robots as their files are read, and plans written as files and run: checks cover the way from there to an arrival."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from simbot.analysis.results import StateResult
from simbot.api import run
from simbot.physics.kinds import KINDS
from simbot.physics.move import GoTo, Move
from simbot.physics.plant import Plant
from simbot.scenario.load import load_plan, load_robot
from simbot.scenario.model import Motor, Pose, Robot, Start
from simbot.scenario.yaml_reader import Node, Place

G = 9.80665  # m/s², standard acceleration of free fall
RPM = 0.10471975511965977  # rad/s
Words = dict[str, Any]


def winding(
    resistance: float, constant: float, inertia: float, volts: float = 12.0, friction: float = 0.0
) -> Words:
    """Sheet of a motor with this winding; free current and speed follow from its friction torque [N m]."""
    free_current = friction / constant
    return {
        "voltage": f"{volts} V",
        "free_speed": f"{(volts - free_current * resistance) / constant!r} rad/s",
        "free_current": f"{free_current!r} A",
        "stall_current": f"{volts / resistance!r} A",
        "rotor_inertia": f"{inertia!r} kg*m^2",
        "internal_ratio": 1,
        "source": "illustrative",
    }


# invented data: a small and a large motor
SMALL = {
    "voltage": "12 V", "free_speed": "5800 rpm", "free_current": "0.25 A", "stall_current": "9.2 A",
    "rotor_inertia": "1e-5 kg*m^2", "internal_ratio": 1, "source": "illustrative",
}  # fmt: skip
LARGE = {
    "voltage": "12 V", "free_speed": "5330 rpm", "free_current": "2.7 A", "stall_torque": "2.41 N*m",
    "stall_current": "131 A", "rotor_inertia": "7.5e-5 kg*m^2", "internal_ratio": 1, "source": "illustrative",
}  # fmt: skip


def robot_words(
    mechanisms: Words, motors: Words, battery: tuple[float, float] = (12.0, 0.0), rails: Words | None = None,
    mass: str = "9 kg", loop: str = "20 ms", size: tuple[str, str] = ("400 mm", "400 mm"), **more: Any,
) -> Words:  # fmt: skip
    volts, ohms = battery
    robot: Words = {
        "name": "bench", "mass": mass, "size": list(size), "loop": loop,
        "battery": {"states": {"only": {"open_circuit": f"{volts!r} V", "resistance": f"{ohms!r} ohm"}}},
        "motors": motors, "mechanisms": mechanisms, **more,
    }  # fmt: skip
    if rails:
        robot["rails"] = rails
    return {"simbot": 1, "robot": robot}


def robot_text(mechanisms: Words, motors: Words, *more: Any, **others: Any) -> str:
    """The file of `robot_words`."""
    words = robot_words(mechanisms, motors, *more, **others)
    return f"simbot: 1\nrobot: {json.dumps(words['robot'])}\n"


def a_tree(words: Any, place: Place) -> Node:
    """What the reader makes of a file, but for the places; it takes a fraction of the time."""
    if isinstance(words, dict):
        return Node({key: a_tree(each, place) for key, each in words.items()}, place, place)
    if isinstance(words, list | tuple):
        return Node([a_tree(each, place) for each in words], place)
    text = words if isinstance(words, str) else json.dumps(words)
    return Node(None if text in ("", "null") else text, place, place)


def a_robot(
    mechanisms: Words, motors: Words, battery: tuple[float, float] = (12.0, 0.0), **more: Any
) -> Robot:
    """A robot as it is read from the tree of its file."""
    path = Path("robot.yaml")
    tree = a_tree(robot_words(mechanisms, motors, battery, **more), Place(str(path), 2, 1))
    return load_robot(path, KINDS, trees={path: (tree, ())})[0]


def a_plant(
    robot: Robot, seconds: float = 20.0, tolerance: float = 1e-7, pose: Pose | None = None,
    **positions: float,
) -> Plant:  # fmt: skip
    return Plant(robot, robot.battery[0], Start(pose, positions, {}), round(seconds * 1e6), tolerance)


def a_move(plant: Plant, mechanism: str, target: float) -> Move:
    return plant.command(mechanism, GoTo(target))


def seconds(at_us: int | None) -> float:
    assert at_us is not None, "it never arrives"
    return at_us * 1e-6


def a_run(
    steps: list[Any], mechanisms: Words, motors: Words, battery: tuple[float, float] = (12.0, 0.0),
    start: Words | None = None, lasts: float = 10.0, obstacles: list[Words] | None = None,
    elements: Words | None = None, places: Words | None = None, **more: Any,
) -> StateResult:  # fmt: skip
    """What a plan of these steps comes to, from files on disk to results."""
    plan = {
        "name": "bench", "game": "game.yaml", "robot": "robot.yaml",
        "start": {"pose": ["2 m", "2 m", "0 deg"], **(start or {})}, "autonomous": steps,
    }  # fmt: skip
    game = {
        "name": "bench",
        "field": {"length": "20 m", "width": "20 m"},
        "periods": {"autonomous": f"{lasts} s"},
        **({"obstacles": obstacles} if obstacles else {}),
        **({"elements": elements} if elements else {}),
        **({"places": places} if places else {}),
    }
    with TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "game.yaml").write_text(f"simbot: 1\ngame: {json.dumps(game)}\n", encoding="utf-8")
        (folder / "robot.yaml").write_text(robot_text(mechanisms, motors, battery, **more), encoding="utf-8")
        (folder / "plan.yaml").write_text(f"simbot: 1\nplan: {json.dumps(plan)}\n", encoding="utf-8")
        loaded, _ = load_plan(folder / "plan.yaml", KINDS)
    return run(loaded).states[0]


def a_sheet(
    volts: float, free_speed: float, free_current: float | None, stall_torque: float | None = None,
    stall_current: float | None = None, inertia: float = 1e-5, after_friction: bool = True,
    internal_ratio: float | None = 1.0,
) -> Motor:  # fmt: skip
    """A motor's data sheet; speeds in rad/s."""
    is_after = "after_friction" if after_friction else "before_friction"
    return Motor(
        "coil", volts, free_speed, free_current, stall_torque, stall_current, inertia, internal_ratio,
        is_after, "illustrative", 0,
    )  # fmt: skip
