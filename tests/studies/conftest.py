"""Small benches: a game, a robot and a plan in a folder, written as YAML. All data are invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from simbot.physics.kinds import KINDS
from simbot.scenario.load import load_plan

GAME = """
simbot: 1
game:
  name: bench
  field: {length: 3 m, width: 3 m}
  periods: {autonomous: 30 s}
  elements: {puck: {}}
  stations:
    tray: {pose: [1 m, 1 m, 0 deg], gives: puck}
  places:
    bin: {pose: [1 m, 1 m, 0 deg], takes: puck, points: 5}
"""
STATES = """
      fresh: {open_circuit: 13.6 V, resistance: 0.10 ohm}
      mid-event: {open_circuit: 13.0 V, resistance: 0.16 ohm}
      tired: {open_circuit: 12.4 V, resistance: 0.28 ohm}"""
ROBOT = """
simbot: 1
robot:
  name: bench
  mass: 9 kg
  size: [400 mm, 400 mm]
  loop: {loop}
  battery:
    states:{states}
{more}
  mechanisms:
{mechanisms}
"""
PLAN = """
simbot: 1
plan:
  name: bench
  game: game.yaml
  robot: robot.yaml
  start: {start}
{body}
"""


class Folder:
    """Three files in a folder, and the plan that they are."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def write(self, body, mechanisms, start="{}", loop="20 ms", states=STATES, more="", game=GAME):
        (self.path / "game.yaml").write_text(game)
        robot = ROBOT.replace("{loop}", loop).replace("{states}", states).replace("{more}", more)
        (self.path / "robot.yaml").write_text(robot.replace("{mechanisms}", mechanisms))
        (self.path / "plan.yaml").write_text(PLAN.replace("{start}", start).replace("{body}", body))
        return self.load()

    def load(self):
        return load_plan(self.path / "plan.yaml", KINDS)[0]


@pytest.fixture
def folder(tmp_path):
    return Folder(tmp_path)
