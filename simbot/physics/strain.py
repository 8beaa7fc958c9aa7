"""What a run's log says of currents, volts, forces, hits and heat. Instants in seconds."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.build import Built
from simbot.physics.heat import AIR, HEAT_STEP, squares_at
from simbot.physics.motion import look_up
from simbot.physics.plant import Plant
from simbot.physics.record import lagged_square

Array = npt.NDArray[np.float64]


def fuse(plant: Plant, name: str | None, rating: float, lag: float, level: float) -> tuple[float, float]:
    """When the lagging (I/rating)² first passes a level (inf: never), and its greatest value.

    name: the branch of each motor of a mechanism; None: all that the battery gives.
    """
    log = _rows(plant)
    if name is None:
        column = L.LOG_SQUARED
    else:
        column = _first(plant, name) + L.LOG_SQUARED_OWN
        log = log.copy()
        steps = np.diff(log[:, column], prepend=0.0)
        log[:, column] = np.cumsum(steps / plant.motors_at(name, log[:, L.LOG_T]) ** 2)
    opens, most = lagged_square(log, len(log), column, rating, lag, level)
    return float(opens), float(most)


def below(plant: Plant, volts: float) -> tuple[float, float, float] | None:
    """(first instant, time in all, lowest volts) of the bus below a voltage; None: never.

    The voltage counts as straight between the ends of a step.
    """
    log = _rows(plant)
    t, h, v0, v1 = (log[:, column] for column in (L.LOG_T, L.LOG_H, L.LOG_V0, L.LOG_V1))
    dips = [dip for dip in plant.dips() if dip[1] < volts]
    under = (np.minimum(v0, v1) < volts) & (h > 0.0)
    if not under.any():
        return (dips[0][0], 0.0, min(dip[1] for dip in dips)) if dips else None
    change = np.where(v0 == v1, 1.0, v1 - v0)
    crossing = np.clip((volts - v0) / change, 0.0, 1.0)
    share = np.where((v0 < volts) & (v1 < volts), 1.0, np.where(v0 < volts, crossing, 1.0 - crossing))
    row = int(np.flatnonzero(under)[0])
    first = t[row] if v0[row] < volts else t[row] + crossing[row] * h[row]
    dips.append((float(first), float(np.minimum(v0, v1)[under].min())))
    return min(dips)[0], float((share * h)[under].sum()), min(dip[1] for dip in dips)


def longest_stall(plant: Plant, name: str, share: float) -> tuple[float, float] | None:
    """(begin, how long) of the longest time at rest with more than a share of the stall current; None: never."""
    log = _rows(plant)
    own = log[:, _first(plant, name) :]
    group = plant._built(name).groups[0]
    most = share * plant._built(name).volts / group[L.G_R]
    still = (own[:, L.LOG_SPEED0] == 0.0) & (own[:, L.LOG_SPEED1] == 0.0) & (abs(own[:, L.LOG_AMPS1]) > most)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], still.astype(int), [0]))))
    if not len(edges):
        return None
    begins, ends = log[edges[::2], L.LOG_T], (log[:, L.LOG_T] + log[:, L.LOG_H])[edges[1::2] - 1]
    worst = int(np.argmax(ends - begins))
    return float(begins[worst]), float(ends[worst] - begins[worst])


def greatest_cord_pull(plant: Plant, name: str) -> tuple[float, float]:
    """(instant, pull [N]) of the cord of a mechanism on a drum, while it moves."""
    log = _rows(plant)
    own = log[:, _first(plant, name) :]
    reduced = plant._built(name).reduced
    radius = float(plant.robot.mechanisms[name].values["drum_diameter"]) / 2.0
    pulls = np.column_stack((own[:, L.LOG_FORCE0], own[:, L.LOG_FORCE1])) / (reduced.per_travel * radius)
    row, end = np.unravel_index(int(np.argmax(pulls)), pulls.shape)
    at = log[row, L.LOG_T] + (log[row, L.LOG_H] if end else 0.0)
    return float(at), float(pulls[row, end])


@dataclass(frozen=True)
class Slack:
    """How a cord that only pulls hung slack in a run.

    Parameters
    ----------
    begins, ends, lasts : float
        First instant, last instant, and time in all [s].
    most : float
        Greatest length that it had too much, at the steps' ends [m].
    caught, lost : float
        When its load was caught hardest [s] (inf: never), and the energy that this took [J].
    """

    begins: float
    ends: float
    lasts: float
    most: float
    caught: float
    lost: float


def slack_cord(plant: Plant, name: str) -> Slack | None:
    """How the cord of a mechanism hung slack; None: it never did, or is none."""
    if plant._built(name).reduced.least_force != 0.0 or not plant.arrays.rotors[name]:
        return None
    log = _rows(plant)
    own = log[:, _first(plant, name) :]
    alone = log[:, L.LOG_MECH + L.LOG_PER_MECH * plant.arrays.rotors[name][0] :]
    apart = alone[:, L.LOG_BACK] != 0.0
    if not apart.any():
        return None
    most, caught, lost = 0.0, inf, 0.0
    begins = np.flatnonzero(apart & ~np.append(False, apart[:-1] & (alone[1:, L.LOG_Q0] != 0.0)))
    for first, other in zip(begins, [*begins[1:], len(log)], strict=True):
        last = first + int(np.argmin(np.append(apart[first:other], False))) - 1
        q = float(own[first, L.LOG_Q0])
        factor = float(look_up(plant.built_at(name, float(log[first, L.LOG_T])).reduced, np.array([q]))[3][0])
        rows = slice(first, last + 1)
        most = max(most, float(np.max(own[rows, L.LOG_Q1] - q - alone[rows, L.LOG_Q1] / factor)))
        if last + 1 < len(log):
            speeds = own[last, L.LOG_SPEED1], alone[last, L.LOG_SPEED1] / factor, own[last + 1, L.LOG_SPEED0]
            at = float(log[last + 1, L.LOG_T])
            took = _impact(plant.built_at(name, at), float(own[last, L.LOG_Q1]), *(float(v) for v in speeds))
            if took > lost:
                caught, lost = at, took
    spells = log[apart]
    end = float(spells[-1, L.LOG_T] + spells[-1, L.LOG_H])
    return Slack(float(spells[0, L.LOG_T]), end, float(spells[:, L.LOG_H].sum()), most, caught, lost)


def _impact(built: Built, q: float, load: float, rotors: float, both: float) -> float:
    """Energy that is lost as a cord tightens, from the speeds of load and rotors before and of both after it [J]."""
    mass, _, _, factor, _ = (float(each[0]) for each in look_up(built.reduced, np.array([q])))
    group = built.groups[0]
    turns = float((group[L.G_RATIO] * factor) ** 2 * group[L.G_N] * group[L.G_J] + group[L.G_WHEEL])
    return 0.5 * (mass * load**2 + turns * rotors**2 - (mass + turns) * both**2)


def sliding(plant: Plant, name: str) -> list[tuple[float, float]]:
    """(begin, end [s]) of every spell in which wheels of a drive slide."""
    log = _rows(plant)
    sides = [
        log[:, L.LOG_MECH + L.LOG_PER_MECH * number + L.LOG_BACK] for number in plant.arrays.rotors[name]
    ]
    slides = (
        np.any(np.array([each != 0.0 for each in sides]), axis=0) if sides else np.zeros(len(log), dtype=bool)
    )
    edges = np.flatnonzero(np.diff(np.concatenate(([0], slides.astype(int), [0]))))
    begins, ends = log[edges[::2], L.LOG_T], (log[:, L.LOG_T] + log[:, L.LOG_H])[edges[1::2] - 1]
    return [(float(begin), float(end)) for begin, end in zip(begins, ends, strict=True)]


def hits(plant: Plant, name: str) -> list[tuple[float, float, float]]:
    """(instant, speed, energy [J]) of every hard stop that was met; the energy of rotors that it stops is in it."""
    log = _rows(plant)
    own = log[:, _first(plant, name) :]
    before, after = own[:-1, L.LOG_SPEED1], own[1:, L.LOG_SPEED0]
    reduced = plant._built(name).reduced
    q = own[1:, L.LOG_Q0]
    stopped = (before != 0.0) & (after == 0.0) & ((q == reduced.low) | (q == reduced.high))
    found = []
    for row in np.flatnonzero(stopped):
        built = plant.built_at(name, float(log[row + 1, L.LOG_T]))
        reduced, groups = built.reduced, built.groups
        segment = reduced.segments[0 if q[row] == reduced.low else -1]
        knot = None if segment.knots is None else segment.knots[0 if q[row] == segment.low else -1]
        mass = segment.mass if knot is None else knot[L.TAB_M]
        factor = 1.0 if knot is None else knot[L.TAB_Q + 2]
        rotors = float(((groups[:, L.G_RATIO] * factor) ** 2 * groups[:, L.G_N] * groups[:, L.G_J]).sum())
        if q[row] == reduced.low and plant.arrays.rotors[name]:
            rotors = 0.0  # a cord that only pulls lets them run on
        speed = abs(float(before[row]))
        found.append((float(log[row + 1, L.LOG_T]), speed, 0.5 * (float(mass) + rotors) * speed**2))
    return found


def heat_history(plant: Plant, name: str) -> tuple[Array, Array, Array] | None:
    """(instants, winding, case [degC]) of one motor of a mechanism's first group; None: its sheet has no heat."""
    model = plant.models.heat(name)
    if model is None:
        return None
    log = _rows(plant)
    end = float(log[-1, L.LOG_T] + log[-1, L.LOG_H])
    grid = np.append(np.arange(0.0, end, HEAT_STEP), end)
    squares = squares_at(log, _first(plant, name) + L.LOG_HEATS, grid)
    rises = [(0.0, 0.0)]
    for span, square in zip(np.diff(grid), np.diff(squares), strict=True):
        rises.append(model.after(rises[-1], square / span, span) if span > 0.0 else rises[-1])
    winding, case = np.array(rises).T
    return grid, AIR + winding, AIR + case


def _rows(plant: Plant) -> Array:
    """The log up to now."""
    plant._return_to_now()
    return plant._log[: plant._rows]


def _first(plant: Plant, name: str) -> int:
    return L.LOG_MECH + L.LOG_PER_MECH * plant.arrays.number[name]


def bus_course(plant: Plant) -> tuple[Array, Array]:
    """Voltage of the bus over a run: instants [s] and volts, both ends of every step."""
    log = _rows(plant)
    log = log[log[:, L.LOG_H] > 0.0]
    t = np.column_stack((log[:, L.LOG_T], log[:, L.LOG_T] + log[:, L.LOG_H])).ravel()
    return t, log[:, (L.LOG_V0, L.LOG_V1)].ravel()
