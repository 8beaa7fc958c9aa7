"""How a mechanism's own horizontal lies in space: the robot's tilt, and the mechanisms that turn it.

Where a load depends on where another mechanism stands, that one's position is a number of the moment: it is taken
when a move begins and kept until the next (quasi-static; how fast the other one turns is left out).
"""

from __future__ import annotations

from collections.abc import Mapping
from math import cos
from typing import Any

from simbot.scenario.model import MechanismSpec, Robot
from simbot.scenario.positions import turns_inside

Places = tuple[tuple[str, float], ...]  # other mechanisms and where they stand [m, rad]


def leans_on(robot: Robot, name: str) -> tuple[str, ...]:
    """The mechanisms of a run whose positions the load of this one depends on."""
    return tuple(other for other in carriers(robot, name) if other not in robot.standing)


def carriers(robot: Robot, name: str) -> tuple[str, ...]:
    """All mechanisms whose positions the load of this one depends on, those that only stand there too."""
    values = robot.mechanisms[name].values
    found = _tipping(robot, name)
    extension = values.get("extension")
    return (*found, extension["by"]) if extension else found


def resting_place(spec: MechanismSpec) -> float:
    """Where a mechanism stands that nobody put anywhere [m, rad]: at the lower end of its travel."""
    low, high = (float(end) for end in spec.values["travel"])
    if not spec.values.get("wraps"):
        return low
    return min(turns_inside(low, low, high), key=abs)


def _tipping(robot: Robot, name: str) -> tuple[str, ...]:
    """What turns it, what turns that, and so forth."""
    found: list[str] = []
    by = robot.mechanisms[name].values.get("tipped_by")
    while by is not None:
        found.append(by)
        by = robot.mechanisms[by].values.get("tipped_by")
    return tuple(found)


def placed(spec: MechanismSpec, robot: Robot, places: Places) -> Mapping[str, Any]:
    """The values of a mechanism as its kind reads them, with what its stance makes of them.

    `tilt`: angle by which its horizontal is lifted [rad]; `upright`: share of gravity in its plane; `extended`:
    how far what lies on it has come out [m]. A nose-up tilt lifts what works forward, lowers what works
    backward, and leaves cos(tilt) of gravity to what works sideways.
    """
    values = spec.values
    at = {**robot.standing, **dict(places)}
    tipping = _tipping(robot, spec.name)
    faces = robot.mechanisms[tipping[-1] if tipping else spec.name].values.get("faces")
    lifted, upright = 0.0, 1.0
    if faces in ("left", "right"):
        upright = cos(robot.tilt)
    elif faces is not None:
        lifted = robot.tilt if faces == "forward" else -robot.tilt
    for by in tipping:
        lifted += at.get(by, 0.0) + float(robot.mechanisms[by].values.get("load_angle") or 0.0)
    extension = values.get("extension")
    if lifted == 0.0 and upright == 1.0 and not extension:
        return values
    extended = at.get(extension["by"], 0.0) if extension else 0.0
    return {**values, "tilt": lifted, "upright": upright, "extended": extended}
