"""Mecanum drivetrain: moves in any direction at a fixed heading. See `drive` for geometry and keys.

Rollers at 45 degrees. In a direction phi from the heading, wheels turn with cos(phi) +- sin(phi) over their
radius, and the grip along the roller axes allows mu W/(sqrt(2) (|cos phi| + |sin phi|)): 0.7071 of mu W straight
ahead, 0.5 diagonally.

Where the mass centre is stated every wheel has motors and grip of its own (a force F along phi at the floor, h
below the mass centre, which is x before and y left of the middle; wheels at +-L/2, +-T/2; moments about both axes,
four alike springs for the twist that statics leaves open):

    N = W (1/4 +- x/(2 L) +- y/(2 T)) -+ F h cos(phi)/(2 L) -+ F h sin(phi)/(2 T)

Wheels opposite one another always carry W/2 together, so that the grip of all is as above. A wheel's share of F
reaches what its own load allows at F1; from there on it brings that and no more, its opposite the rest. (Exact up
to F1 and where both slip; between them a wheel that slips loses more load and brings less.)

A wheel whose contact moves with v ahead and w aside turns its rollers at sqrt(2) w over the floor, whatever v is: along
their axis (1, 1)/sqrt(2) it goes (v + w)/sqrt(2) = r omega/sqrt(2), so r omega = v + w, and (v - r omega, w) is w times
(-1, 1) (derivation; Lynch and Park, Modern Robotics, 13.2, for the model, from memory). So what the rollers rub grows
with how far each wheel goes aside, and straight ahead they do not turn.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, pi, sin, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.physics.kinds.drive import (
    CENTRE_AHEAD,
    CENTRE_LEFT,
    COORDINATE,
    Leg,
    WheelGroup,
    impossible,
    leg,
    plan_view,
    shaft_per_travel,
    turning_inertia,
)
from simbot.physics.kinds.drive import PARAMETERS as OF_A_DRIVE
from simbot.physics.outline import Outline
from simbot.physics.tables import GRAVITY
from simbot.scenario.parameters import Parameter

Array = npt.NDArray[np.float64]

NAME = "mecanum"
HOLONOMIC = True
SUMMARY = "mecanum drivetrain"
ON_ROLLERS = (*OF_A_DRIVE, CENTRE_AHEAD, CENTRE_LEFT)
PARAMETERS = (
    *ON_ROLLERS,
    Parameter(
        "sideways_friction",
        "force",
        "of its rollers, straight sideways, as felt at the floor besides `friction`",
        default=0.0,
        low=0.0,
        reason="none stated; rollers cost 10 to 30 % of the force sideways, common practice, no source",
    ),
)
CORNERS = (
    (1.0, 1.0),
    (1.0, -1.0),
    (-1.0, -1.0),
    (-1.0, 1.0),
)  # front left, front right, rear right, rear left
EXAMPLE = """\
motors: 4 x NAME
wheel_diameter: 96 mm
grip: 0.8
"""
SKETCH = r"""
       front ^  heading
     [/]------[/]  ---       wheels of `wheel_diameter`, `wheel_inertia`
      |        |    |        `grip`: wheel on floor
      |   ^ q  |    | `wheelbase`
      |   |    |    |        q: distance on the line; in a turn: heading
     [/]------[/]  ---       `turning_inertia`: about its centre
      |<`track`>|            `motors` through `gearing`; `friction`
"""
__all__ = [
    "COORDINATE",
    "NAME",
    "PARAMETERS",
    "SKETCH",
    "SUMMARY",
    "impossible",
    "outline",
    "rolls",
    "rubs",
    "shaft_per_travel",
    "straight",
    "turn",
]


def straight(p: Mapping[str, Any], mass: float, motors: int, direction: float) -> Leg:
    """A straight line in a direction from the heading [rad]."""
    return in_pairs(p, mass, motors, direction, p["wheel_diameter"] / 2.0, _rubbing(p, sin(direction), 0.0))


def rubs(p: Mapping[str, Any], direction: Array, turns: Array) -> Array:
    """Friction of the rollers on the way [N], from how far front and rear wheels go aside; arguments as of `rolls`."""
    found: Array = _rubbing(p, np.sin(direction), turns)
    return found


def _rubbing(p: Mapping[str, Any], aside: Any, turns: Any) -> Any:
    """The same, of one place or of many; `aside`: how far the robot goes sideways per length of the way."""
    most = float(p.get("sideways_friction") or 0.0)
    swings = 0.5 * float(p["wheelbase"] or 0.0) * turns
    return 0.5 * most * (abs(aside + swings) + abs(aside - swings))


def in_pairs(
    p: Mapping[str, Any], mass: float, motors: int, direction: float, radius: float, rubbing: float = 0.0
) -> Leg:
    """A straight line of wheels that push along two axes at 45 degrees, each pair of them alike.

    Parameters
    ----------
    direction : float
        From the heading [rad].
    radius : float
        A wheel's travel along the floor per radian, over cos(direction) +- sin(direction) [m].
    rubbing : float
        Friction besides that of every way [N].
    """
    first, second = abs(cos(direction) - sin(direction)), abs(cos(direction) + sin(direction))
    big, small = max(first, second), min(first, second)
    friction = float(p["friction"]) + rubbing
    if own_wheels(p, motors):
        return leg(p, mass, friction, 0.0, _each_wheel(p, mass, motors, direction, radius), motors)
    grip = p["grip"] * mass * GRAVITY / sqrt(2.0) / 2.0
    if big - small < 1e-9:
        return leg(p, mass, friction, 0.0, (WheelGroup(motors, big / radius, 1.0, 2.0 * grip * big),))
    groups = [WheelGroup(motors - motors // 2, big / radius, 1.0, grip * big)]
    if small > 1e-6 and motors > 1:
        groups.append(WheelGroup(motors // 2, small / radius, small / big, grip * small * small / big))
    return leg(p, mass, friction, 0.0, tuple(groups), motors)


def own_wheels(p: Mapping[str, Any], motors: int) -> bool:
    """Whether loads differ from wheel to wheel, and each has motors of its own that do not help the others."""
    return bool(p["centre_height"] or p["centre_ahead"] or p["centre_left"]) and motors % 4 == 0


def at_rest(p: Mapping[str, Any]) -> tuple[float, ...]:
    """Share of the weight on each wheel: front left, front right, rear right, rear left."""
    ahead = float(p["centre_ahead"]) / float(p["wheelbase"]) if p["centre_ahead"] else 0.0
    left = float(p["centre_left"]) / float(p["track"]) if p["centre_left"] else 0.0
    return tuple(
        max(0.0, 0.25 + 0.5 * (x * ahead + y * left)) for x, y in CORNERS
    )  # a drawn one may leave the floor


def _each_wheel(
    p: Mapping[str, Any], mass: float, motors: int, direction: float, radius: float
) -> tuple[WheelGroup, ...]:
    """Groups of wheels that roll, push and hold alike."""
    ahead, back = _most(p, mass, direction), _most(p, mass, direction + pi)
    rolls = [abs(float(each)) for each in omni(np.array(direction), np.array(0.0))]
    found: dict[tuple[float, ...], int] = {}
    for roll, one, other in zip(rolls, ahead, back, strict=True):
        if roll > 1e-6:
            kinds = (roll / radius, roll / max(rolls), one, other)
            same = next((known for known in found if np.allclose(known, kinds, rtol=1e-9, atol=0.0)), kinds)
            found[same] = found.get(same, 0) + 1
    return tuple(
        WheelGroup(wheels * motors // 4, per_travel, share, wheels * most, most_back=wheels * most_back)
        for (per_travel, share, most, most_back), wheels in found.items()
    )


def _most(p: Mapping[str, Any], mass: float, direction: float) -> list[float]:
    """Greatest force along the direction that each wheel brings, the lighter of two opposite ones first to slip [N]."""
    weight, height = mass * GRAVITY, float(p["centre_height"] or 0.0)
    rolls = [abs(float(each)) for each in omni(np.array(direction), np.array(0.0))]
    pitch = height * cos(direction) / (2.0 * float(p["wheelbase"])) if height else 0.0
    roll = height * sin(direction) / (2.0 * float(p["track"])) if height and p["track"] else 0.0
    most = [0.0] * 4
    for number, ((x, y), part, rolled) in enumerate(zip(CORNERS, at_rest(p), rolls, strict=True)):
        holds = p["grip"] / sqrt(2.0) * rolled**2 / max(rolls)  # force along the direction per load
        share = rolled**2 / 4.0  # of the force of all while none slips
        lost = x * pitch + y * roll
        most[number] = share * holds * part * weight / max(share + holds * lost, 1e-12)
    for one, other in ((0, 2), (1, 3)):
        both = p["grip"] / sqrt(2.0) * rolls[one] ** 2 / max(rolls) * weight / 2.0
        light, heavy = (one, other) if most[one] <= most[other] else (other, one)
        most[light] = min(most[light], both / 2.0)
        most[heavy] = both - most[light]
    return most


def turning_lever(p: Mapping[str, Any]) -> float:
    """How far a wheel's force acts from the centre in a turn in place [m]."""
    return float(p["wheelbase"] + p["track"]) / 2.0


def turning_groups(
    p: Mapping[str, Any], motors: int, per_travel: float, most: float
) -> tuple[WheelGroup, ...]:
    """Of a turn in place: each wheel by its load at rest, of `most`, the greatest moment of all."""
    if not own_wheels(p, motors):
        return (WheelGroup(motors, per_travel, 1.0, most),)
    parts = [round(part, 12) for part in at_rest(p)]
    return tuple(
        WheelGroup(parts.count(part) * motors // 4, per_travel, 1.0, most * parts.count(part) * part)
        for part in sorted(set(parts))
    )


def turn(p: Mapping[str, Any], mass: float, motors: int, size: tuple[float, float]) -> Leg:
    """A turn in place: every wheel's lever is half the sum of wheelbase and track."""
    lever = turning_lever(p)
    grip = p["grip"] * mass * GRAVITY / sqrt(2.0) * lever
    groups = turning_groups(p, motors, lever / (p["wheel_diameter"] / 2.0), grip)
    friction = float(p["friction"]) * lever
    friction += _rubbing(p, 0.0, 1.0)
    return leg(p, turning_inertia(p, mass, size), friction, 0.0, groups)


def rolls(p: Mapping[str, Any], direction: Array, turns: Array) -> Array:
    """How far each wheel rolls per length of a way [rad/m], shape (4, n): front left, front right, rear right, left.

    Parameters
    ----------
    direction, turns : ndarray, shape (n,)
        Of travel from the heading [rad], and the heading's change per length [rad/m].
    """
    lever = ((p["wheelbase"] or 0.0) + (p["track"] or 0.0)) / 2.0
    return omni(direction, lever * turns) / (float(p["wheel_diameter"]) / 2.0)


def omni(direction: Array, turned: Array) -> Array:
    """Ways of four wheels that push along two axes at 45 degrees: ahead, aside, and turned with a lever."""
    ahead, aside = np.cos(direction), np.sin(direction)
    first, second = ahead - aside, ahead + aside
    return np.array((first - turned, second + turned, first + turned, second - turned))


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Plan view, with the lean of the rollers that touch the floor."""
    return plan_view(p, q, (0.0, 0.0, 0.0, 0.0), rollers=True)
