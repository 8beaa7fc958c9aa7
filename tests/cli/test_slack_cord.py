"""A cord that goes slack: what a run prints and writes of it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

ROBOT = """\
simbot: 1
robot:
  name: bench
  mass: 9 kg
  size: [400 mm, 400 mm]
  loop: 20 ms
  battery: {states: {full: {open_circuit: 13.2 V, resistance: 0.15 ohm}}}
  motors:
    coil: {voltage: 12 V, free_speed: 5800 rpm, free_current: 0.25 A, stall_current: 9.2 A,
           rotor_inertia: 1e-5 kg*m^2, internal_ratio: 1, source: illustrative}
  mechanisms:
    lift: {kind: slide, motors: 1 x coil, gearing: [{ratio: "20:1", efficiency: 90 %}], drum_diameter: 40 mm,
           moving_mass: 1 kg, friction: 6 N, travel: [0 m, 0.9 m], cord: CORD,
           control: {loop: full_effort, window: 5 mm}}
"""
GAME = """\
simbot: 1
game: {name: bench, field: {length: 5 m, width: 5 m}, periods: {autonomous: 10 s}}
"""
PLAN = """\
simbot: 1
plan:
  name: bench
  game: game.yaml
  robot: robot.yaml
  start: {pose: [2 m, 2 m, 0 deg], lift: 0.8 m}
  autonomous: [{wait: 1 s}, {move: {lift: 0.1 m}}, {wait: 3 s}]
"""


def told(folder: Path, cord: str) -> tuple[str, list[dict[str, object]]]:
    """What `run` prints, on one line, and the findings of its document."""
    for name, text in (("robot", ROBOT.replace("CORD", cord)), ("game", GAME), ("plan", PLAN)):
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
    document = folder / "run.json"
    command = [sys.executable, "-m", "simbot.cli", "run", str(folder / "plan.yaml"), "--json", str(document)]
    done = subprocess.run(command, capture_output=True, encoding="utf-8", env=os.environ)
    assert done.returncode == 0, done.stderr
    states = json.loads(document.read_text(encoding="utf-8"))["states"]
    return " ".join(done.stdout.split()), states["full"]["findings"]


def test_which_when_for_how_long_and_how_far(tmp_path: Path) -> None:
    printed, findings = told(tmp_path, "pulls")
    [found] = [each for each in findings if each["kind"] == "cord_slack"]
    assert (found["mechanism"], found["at_s"]) == ("lift", 1.0)
    for said in (printed, str(found["text"])):
        assert "the cord of the lift goes slack, for " in said
        assert "mm at the most: its motors let it out faster than the load follows" in said
        assert "it tightens with a jerk that takes " in said


def test_a_loop_of_cord_never_does(tmp_path: Path) -> None:
    printed, findings = told(tmp_path, "pulls_both_ways")
    assert not findings
    assert "slack, for" not in printed
