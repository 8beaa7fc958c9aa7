"""Whole matches with mixed controls: a tolerance a thousand times tighter moves no event by more than 10 ms.

20 drawn robots with a match each, 100 where CI is set; SIMBOT_MATCHES=400 tries as many.
"""

from __future__ import annotations

import os
from typing import Any

import pytest
from builders import LARGE, SMALL, a_plant, a_robot
from drawn import MOTORS
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simbot.physics.move import DriveTo, GoTo
from simbot.scenario.model import Pose

MATCHES = int(os.environ.get("SIMBOT_MATCHES", "100" if os.environ.get("CI") == "true" else "20"))
SENT_FOR_US = 12_000_000
LASTS_US = 15_000_000
COIL = {"coil": LARGE, "small": SMALL, **MOTORS}


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False).map(lambda value: round(value, 4))


@st.composite
def robots(draw: Any) -> dict[str, Any]:
    """Loops as a team tunes them: none that swings for ever, where the tick decides and any error grows."""
    lift = {
        "kind": "slide", "motors": "1 x coil",
        "gearing": [{"ratio": draw(number(14.0, 26.0)), "efficiency": "88 %"}],
        "drum_diameter": "40 mm", "moving_mass": f"{draw(number(1.0, 4.0))} kg",
        "friction": f"{draw(number(2.0, 8.0))} N",
        "travel": ["0 m", "0.7 m"],
        "control": {
            "loop": "position", "p": f"{draw(number(6.0, 14.0))} /m", "d": f"{draw(number(0.2, 0.8))} s/m",
            "window": "15 mm", "slower_than": "50 mm/s",
        },
    }  # fmt: skip
    reach = {
        "kind": "slide", "incline": "0 deg", "motors": "1 x small",
        "gearing": [{"ratio": "12:1", "efficiency": "85 %"}],
        "drum_diameter": "36 mm", "moving_mass": f"{draw(number(0.5, 2.0))} kg",
        "friction": f"{draw(number(2.0, 6.0))} N",
        "travel": ["0 m", "0.3 m"], "control": {"loop": "full_effort", "window": "8 mm"},
    }  # fmt: skip
    arm = {
        "kind": "arm", "motors": "1 x geared", "gearing": [{"ratio": "5:1", "efficiency": "85 %"}],
        "moving_mass": f"{draw(number(0.3, 1.0))} kg", "centre": "0.2 m", "friction": "0.15 N*m",
        "travel": ["-20 deg", "120 deg"],
        "control": {
            "loop": "profile", "p": "8 /rad", "d": "0.2 s/rad", "window": "3 deg", "slower_than": "0.4 rad/s",
            "speed": f"{draw(number(0.8, 1.6))} rad/s", "acceleration": "6 rad/s^2",
        },
    }  # fmt: skip
    gripper = {
        "kind": "servo", "speed": f"{draw(number(0.1, 0.2))} s/60deg", "at": "6 V", "stall_torque": "1.5 N*m",
        "travel": ["0 deg", "120 deg"], "rail": "rail",
    }  # fmt: skip
    drive = {
        "kind": "mecanum", "motors": "4 x geared", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "360 mm",
        "grip": 0.9, "friction": f"{draw(number(4.0, 12.0))} N",
        "control": {
            "loop": "position", "p": f"{draw(number(3.0, 6.0))} /m", "d": f"{draw(number(0.4, 0.9))} s/m",
            "window": "25 mm", "slower_than": "60 mm/s",
        },
    }  # fmt: skip
    return {"lift": lift, "reach": reach, "arm": arm, "gripper": gripper, "drive": drive}


PLACES = {
    "lift": number(0.05, 0.65), "reach": st.sampled_from([0.0, 0.3]), "arm": number(-0.2, 1.9),
    "gripper": number(0.1, 2.0), "drive": number(0.2, 2.5),
}  # fmt: skip


@st.composite
def plans(draw: Any) -> list[tuple[int, str, float]]:
    """Commands at any microsecond, so that moves are taken over, wait for nothing, and sag one another."""
    out = []
    for _ in range(draw(st.integers(8, 25))):
        name = draw(st.sampled_from(sorted(PLACES)))
        out.append((draw(st.integers(0, SENT_FOR_US)), name, draw(PLACES[name])))
    return sorted(out)


def arrivals(
    robot: Any, plan: list[tuple[int, str, float]], tolerance: float
) -> list[tuple[int | None, int | None]]:
    plant = a_plant(robot, LASTS_US / 1e6, tolerance, pose=Pose(1.0, 1.0, 0.0))
    moves = []
    for at, name, to in plan:
        plant.advance(at)
        moves.append(plant.command(name, DriveTo(Pose(1.0 + to, 1.0, 0.0)) if name == "drive" else GoTo(to)))
    plant.advance(LASTS_US)
    return [(move.first_inside_us(), move.arrival_us()) for move in moves]


@settings(max_examples=MATCHES, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    mechanisms=robots(),
    plan=plans(),
    battery=st.tuples(number(12.0, 13.8), number(0.05, 0.3)),
)
def test_a_thousand_times_tighter_moves_no_event_of_a_match(
    mechanisms: dict[str, Any], plan: list[tuple[int, str, float]], battery: tuple[float, float]
) -> None:
    rails = {"rail": {"voltage": "6 V", "current_limit": "5 A", "regulator": "switching"}}
    robot = a_robot(mechanisms, COIL, battery, rails=rails)
    loose, tight = (arrivals(robot, plan, tolerance) for tolerance in (1e-7, 1e-10))
    for (at, name, to), one, two in zip(plan, loose, tight, strict=True):
        for shipped, right in zip(one, two, strict=True):
            assert (shipped is None) == (right is None), (at, name, to)
            assert shipped == pytest.approx(right, abs=10_000), (at, name, to)
