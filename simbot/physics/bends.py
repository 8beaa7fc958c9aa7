"""A drive on a curved way, reduced to the length of it.

Every wheel gets effort in proportion to its own speed, the fastest one all of it, as on a straight line. Wheels
that roll g_i per length then act together as equal ones that roll g = sqrt(mean g_i^2) and get g/max|g_i| of the
effort: the same force, current and rotor energy. M is the robot's mass and its turning, I turns(s)^2, and a tank
scrubs with c mu W wheelbase/2 times its turning. Rolling friction sits at the wheels: it grows with how far they
roll, all together, over what they would without turning. Mecanum rollers rub as far as each wheel goes aside.

Grip: what the floor gives along the way is what is left beside m curvature v^2 across it; on wheels that roll
along the way an ellipse, (F/most)^2 + (m curvature v^2/(mu W))^2 <= 1, on rollers a square, |F_pair| <= mu W/2
along each of the two axes at 45 degrees to the heading. What the turning itself asks of the wheels is left out.
The weight that a curve moves to the outer wheels, m curvature v^2 h/track, changes none of that: every wheel holds in
proportion to its load, their loads add up to W (to W/2 of two opposite ones), and motors are not short of what each can
hold. It does until the robot tips, at curvature v^2 = g track/(2 h), which `simbot check` holds against `cornering`.

The code slows down for the curve: the speed that it aims at uses `cornering` of the grip sideways, and no steered
wheel is asked to steer faster than it can; before that it brakes with the same share of what grip and motors allow.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, pi, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.build import ENDLESS, LEAST_LAG, Built, group_row, limits, own_lag
from simbot.physics.gearing import chain
from simbot.physics.kinds import KINDS
from simbot.physics.kinds.drive import driven_share, turning_inertia
from simbot.physics.motor import motor_model
from simbot.physics.tables import GRAVITY, Reduced, Segment
from simbot.physics.ways import Way
from simbot.scenario.model import MechanismSpec, Robot

Array = npt.NDArray[np.float64]
FASTEST = 1e6  # m/s: no limit


@dataclass(frozen=True)
class Guide:
    """What changes along a way besides inertia and ratio (see layout.GUIDE_*).

    Parameters
    ----------
    rows : ndarray, shape (cells + 1, 8)
        At equal distances.
    low, high : float
        Coordinates of its ends [m].
    round : bool
        The grip is an ellipse; else a square of two pairs of rollers.
    """

    rows: Array
    low: float
    high: float
    round: bool


def build_curve(spec: MechanismSpec, robot: Robot, carried: float, way: Way) -> Built:
    """A drive on a curved way."""
    p, kind = spec.values, KINDS[spec.kind]
    mass, count = float(robot.mass) + carried, p["motors"].count
    inertia = (
        turning_inertia(p, mass, (float(robot.length), float(robot.width))) if np.any(way.turns) else 0.0
    )
    beta = way.direction - way.heading
    rolls = np.abs(kind.rolls(p, beta, way.turns))
    turn, most = np.sqrt((rolls**2).mean(axis=0)), rolls.max(axis=0)
    step = way.length / way.cells
    wheels = max(4, count) * float(p["wheel_inertia"])
    share = driven_share(p)
    standing = wheels * turn[0] ** 2  # of its wheels where it is straight, apart as on a line
    masses = mass + inertia * way.turns**2 + wheels * turn**2 - share * standing
    knots = np.zeros((way.cells + 1, L.TAB_COLUMNS))
    knots[:, L.TAB_M], knots[:, L.TAB_DM], knots[:, L.TAB_DDM] = _with_slopes(masses, step)
    knots[:, L.TAB_G], knots[:, L.TAB_DG], knots[:, L.TAB_DDG] = _with_slopes(turn / turn[0], step)
    end = way.begin + way.length
    segments = (
        Segment(-ENDLESS, way.begin, float(masses[0]), 0.0),
        Segment(way.begin, end, float(masses[0]), 0.0, knots),
        Segment(end, ENDLESS, float(masses[-1]), 0.0),
    )
    friction = float(p["friction"])
    static = friction * float(p["static_friction"])
    reduced = Reduced(segments, 1.0, friction, static, float(p["damping"]))
    motor, gears = motor_model(robot.motors[p["motors"].motor]), chain(p["gearing"] or ())
    limit, battery_limit = limits(p)
    ratio = float(turn[0]) * gears.ratio
    row = group_row(
        reduced, motor, count, ratio, gears.forward, gears.back, gears.locks, gears.upstream_inertia, 1.0, limit,
        battery_limit,
    )  # fmt: skip
    row[L.G_WHEEL] = share * standing
    row[L.G_ROTOR] = float(own_lag(row) > LEAST_LAG)
    guide = np.zeros((way.cells + 1, L.TAB_COLUMNS))
    guide[:, L.GUIDE_SHARE], guide[:, L.GUIDE_DSHARE], _ = _with_slopes(turn / most, step)
    is_round = _grips(guide, spec, mass, beta, way.curvature)
    alone = np.abs(kind.rolls(p, beta, np.zeros_like(way.turns)))
    guide[:, L.GUIDE_RUB] = friction * (rolls.sum(axis=0) / alone.sum(axis=0) - 1.0)
    if hasattr(kind, "rubs"):
        guide[:, L.GUIDE_RUB] += kind.rubs(p, beta, way.turns)
    if hasattr(kind, "scrub_moment"):
        guide[:, L.GUIDE_RUB] += kind.scrub_moment(p, mass) * np.abs(way.turns)
    torque = motor.constant * min(motor.voltage / motor.resistance, limit)
    push = count * torque * gears.forward * float(turn.min()) * gears.ratio
    cornering = float(p["cornering"])
    fastest = _fastest(guide, is_round, cornering)
    if hasattr(kind, "rolls_at"):
        fastest = np.minimum(fastest, _steered(p, kind.rolls_at(p, beta, way.turns), step))
    guide[:, L.GUIDE_FASTEST] = _braked(
        fastest, guide, is_round, masses + share * standing, push, cornering, step
    )
    return Built(
        reduced,
        np.array([row]),
        motor.voltage,
        motor.voltage / (motor.constant * ratio),
        Guide(guide, way.begin, end, is_round),
    )


def _with_slopes(values: Array, step: float) -> tuple[Array, Array, Array]:
    first = np.gradient(values, step, edge_order=2)
    return values, first, np.gradient(first, step, edge_order=2)


def _grips(guide: Array, spec: MechanismSpec, mass: float, beta: Array, curvature: Array) -> bool:
    """Fill in what the floor gives along the way; True: an ellipse."""
    p, kind = spec.values, KINDS[spec.kind]
    weight = float(p["grip"]) * mass * GRAVITY
    if hasattr(kind, "grip_along"):
        along = [kind.grip_along(p, mass, float(angle)) for angle in beta]
        guide[:, L.GUIDE_A1], guide[:, L.GUIDE_A2] = 1.0 / np.array(along).T
        guide[:, L.GUIDE_B1] = mass * curvature / weight
        return True
    for a, b, axis in ((L.GUIDE_A1, L.GUIDE_B1, pi / 4.0), (L.GUIDE_A2, L.GUIDE_B2, -pi / 4.0)):
        guide[:, a] = np.cos(beta - axis) / (weight / 2.0)
        guide[:, b] = -np.sin(beta - axis) * mass * curvature / (weight / 2.0)
    return False


def _fastest(guide: Array, is_round: bool, cornering: float) -> Array:
    """Square of the speed at which the way across uses a share of the grip [m²/s²]."""
    across = np.abs(guide[:, L.GUIDE_B1])
    if not is_round:
        across = np.maximum(across, np.abs(guide[:, L.GUIDE_B2]))
    fastest: Array = np.minimum(cornering / np.maximum(across, 1e-300), FASTEST**2)
    return fastest


def _steered(p: Any, stands: Array, step: float) -> Array:
    """Square of the speed at which the wheels have to be steered as fast as they can."""
    rate = np.abs(np.gradient(np.unwrap(stands, axis=1), step, axis=1)).max(axis=0)
    fastest: Array = np.minimum(float(p["steering_speed"]) / np.maximum(rate, 1e-300), FASTEST) ** 2
    return fastest


def _braked(
    fastest: Array, guide: Array, is_round: bool, masses: Array, push: float, share: float, step: float
) -> Array:
    """The same square, low enough everywhere to brake in time for what comes."""
    out = fastest.copy()
    for k in range(len(out) - 2, -1, -1):
        square = out[k + 1]
        if square >= FASTEST**2:
            continue
        force = min(push, share * grip_back(guide[k + 1], is_round, square))
        out[k] = min(out[k], square + 2.0 * step * force / masses[k + 1])
    return out


def grip_back(row: Array, is_round: bool, square: float) -> float:
    """Greatest force against the way at the square of a speed [N]; as in the kernel (`forces.follow`)."""
    if is_round:
        return sqrt(max(0.0, 1.0 - (row[L.GUIDE_B1] * square) ** 2)) / float(row[L.GUIDE_A2])
    most = inf
    for a, b in ((row[L.GUIDE_A1], row[L.GUIDE_B1]), (row[L.GUIDE_A2], row[L.GUIDE_B2])):
        if abs(a) > 1e-12:
            most = min(most, (1.0 + (b if a > 0.0 else -b) * square) / abs(a))
    return max(most, 0.0)
