"""Every kind that says which side it faces feels a robot that stands tilted."""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians
from pathlib import Path

import numpy as np
import pytest

from simbot.physics.kinds import KINDS
from simbot.physics.stance import placed
from simbot.scenario.load import load_robot

SCENARIOS = Path(__file__).parent.parent.parent / "scenarios"
FACING = [name for name, kind in KINDS.items() if "faces" in {each.key for each in kind.PARAMETERS}]


def examples():
    """(robot, mechanism) of every kind in scenarios/, on level ground."""
    found = {}
    for path in sorted(SCENARIOS.rglob("*.yaml")):
        if "\nrobot:" in path.read_text("utf-8"):
            robot = load_robot(path, KINDS)[0]
            for spec in robot.mechanisms.values():
                if not spec.values.get("tipped_by") and (
                    spec.kind != "servo" or spec.values["load_angle"] is not None
                ):
                    found.setdefault(spec.kind, (replace(robot, tilt=0.0), spec))
    return found


EXAMPLES = examples()
# what makes gravity felt, and alone, along the travel
MORE = {
    "claw": {"load_mass": 0.2, "load_at": 0.05, "load_angle": 0.3, "stiffness": 1e-6},
    "slider_crank": {"load": 0.0},
}
for incline in ("slide", "rack", "lead_screw"):
    MORE[incline] = {"incline": 0.7}


def loads(robot, spec):
    """Loads along the travel [N, N m]."""
    robot = replace(robot, mechanisms={**robot.mechanisms, spec.name: spec})
    reduced = KINDS[spec.kind].reduce(placed(spec, robot, ()), 0.0)
    parts = [[s.load] if s.knots is None else s.knots[:, 3] for s in reduced.segments]
    return np.concatenate(parts)


def test_enough_kinds_have_an_example():
    assert {"slide", "arm", "rack", "lead_screw", "four_bar", "turret"} <= set(FACING)
    assert set(FACING) - set(EXAMPLES) <= {"servo"}


@pytest.mark.parametrize("kind", [kind for kind in FACING if kind in EXAMPLES])
def test_a_tilted_robot_tips_gravity(kind):
    robot, spec = EXAMPLES[kind]
    spec = replace(spec, values={**spec.values, **MORE.get(kind, {})})
    level, up = loads(robot, spec), loads(replace(robot, tilt=radians(10.0)), spec)
    turned = replace(spec, values={**spec.values, "faces": "backward"})
    down = loads(replace(robot, tilt=radians(10.0)), turned)
    assert np.max(np.abs(up - level)) > 1e-6
    assert kind == "axle" or np.max(np.abs(up - down)) > 1e-6  # an axle's followers go straight up
    assert loads(replace(robot, tilt=radians(-10.0)), spec) == pytest.approx(down)
    if kind == "turret":
        return  # it turns: its angle says where its mass is
    aside = replace(spec, values={**spec.values, "faces": "left"})
    assert loads(replace(robot, tilt=radians(10.0)), aside) == pytest.approx(cos(radians(10.0)) * level)
