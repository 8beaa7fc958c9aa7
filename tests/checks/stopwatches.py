"""Small games for robots that have stopwatch times only: what happens can be worked out on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ruamel.yaml

from simbot.physics.kinds import KINDS
from simbot.scenario.load import load_plan
from simbot.scenario.model import Plan


def write(folder: Path, name: str, kind: str, content: dict[str, Any]) -> Path:
    yaml = ruamel.yaml.YAML(typ="safe", pure=True)
    yaml.width = 4000
    path = folder / name
    with path.open("w", encoding="utf-8") as stream:
        yaml.dump({"simbot": 1, kind: content}, stream)
    return path


def a_plan(
    folder: Path,
    steps: list[Any],
    lasts: str = "100 s",
    game: dict[str, Any] | None = None,
    robot: dict[str, Any] | None = None,
    **more: Any,
) -> Plan:
    """A plan with one period; `hand` and `other` take 0.2 s each, balls come from a bin and go to a box."""
    pose = ["1 m", "1 m", "0 deg"]
    write(
        folder,
        "game.yaml",
        "game",
        {
            "name": "Stall",
            "field": {"length": "3 m", "width": "3 m"},
            "periods": {"only": lasts},
            "elements": {"ball": {}},
            "stations": {"bin": {"pose": pose, "gives": "ball"}},
            "places": {"box": {"pose": pose, "takes": "ball", "points": 1}},
            **(game or {}),
        },
    )
    write(
        folder,
        "robot.yaml",
        "robot",
        {
            "name": "Paper",
            "mass": "5 kg",
            "size": ["300 mm", "300 mm"],
            "loop": "10 ms",
            "battery": {"states": {"full": {"open_circuit": "13 V", "resistance": "0.1 ohm"}}},
            "mechanisms": {
                "hand": {"kind": "measured", "time": "0.2 s"},
                "other": {"kind": "measured", "time": "0.2 s"},
            },
            **(robot or {}),
        },
    )
    start = more.pop("start", {"hand": "open", "other": "open"})
    content = {
        "name": "paper",
        "game": "game.yaml",
        "robot": "robot.yaml",
        "start": start,
        **more,
        "only": steps,
    }
    return load_plan(write(folder, "plan.yaml", "plan", content), KINDS)[0]


def pick(**more: Any) -> dict[str, Any]:
    return {"pick": {"element": "ball", "from": "bin", "by": {"hand": "shut"}, "else": "missed", **more}}


def place(**more: Any) -> dict[str, Any]:
    return {"place": {"into": "box", "by": {"hand": "open"}, "else": "dropped", **more}}


def wait(time: str, **more: Any) -> dict[str, Any]:
    return {"wait": time, **more}
