"""What a run's log says of currents, volts, forces, hits and heat. Instants in seconds."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.build import Built
from simbot.physics.heat import AIR, HEAT_STEP, squares_at
from simbot.physics.plant import Plant
from simbot.physics.record import lagged_square
from simbot.physics.tables import look_up

Array = npt.NDArray[np.float64]

FINE = 32  # places of a step at which the bus is looked at
JOINED = 1e-9  # s: spells no farther apart are one


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


class Sag(NamedTuple):
    """A bus below some voltage."""

    begins: float  # first instant [s]
    lasts: float  # time in all [s]
    longest: float  # of its times [s]
    times: int
    lowest: float  # [V]
    lowest_at_us: int


def below(plant: Plant, volts: float) -> Sag | None:
    """The bus below a voltage; None: never."""
    lowest, at_us = plant.lowest_bus()
    if lowest >= volts:
        return None
    t, bus, _ = _course(plant)
    spells = _spells(t, bus, volts)
    dips = [at for at, dip in plant.dips() if dip < volts]  # those of no length are in no step
    apart = [at for at in dips if not any(begin <= at <= end for begin, end in spells)]
    first = min([*dips, *(begin for begin, _ in spells)], default=at_us / 1e6)
    lengths = [end - begin for begin, end in spells]
    times = max(1, len(spells) + len(apart))
    return Sag(first, sum(lengths), max(lengths, default=0.0), times, lowest, at_us)


def above(plant: Plant, amps: float) -> list[tuple[float, float]]:
    """(begin, end [s]) of every spell in which the battery gives more than a current."""
    if plant.currents()[0] <= amps:
        return []
    t, _, current = _course(plant)
    return _spells(t, -current, -amps)


def _course(plant: Plant) -> tuple[Array, Array, Array]:
    """Instants, bus [V] and battery current [A] at FINE + 1 places of every step, a step in each row.

    A step is smooth and may be long: the current is the cubic that has its ends, its integral (the charge), and, with
    V = E - R0 I and E straight, that of its square (the energy).
    """
    log = _rows(plant)
    ohms = float(plant.arrays.w[L.R0])
    charge, energy = (np.diff(log[:, column], prepend=0.0) for column in (L.LOG_CHARGE, L.LOG_ENERGY))
    takes = log[:, L.LOG_H] > 0.0
    t, h, v0, v1, i0, i1 = (log[takes, k] for k in (L.LOG_T, L.LOG_H, L.LOG_V0, L.LOG_V1, L.LOG_I0, L.LOG_I1))
    mean, power, rises = charge[takes] / h, energy[takes] / h, i1 - i0
    bump = 6.0 * (mean - 0.5 * (i0 + i1))
    skew = np.zeros_like(bump)
    if ohms > 0.0:
        first, last = v0 + ohms * i0, v1 + ohms * i1
        square = (0.5 * (first + last) * mean + (last - first) * rises / 12.0 - power) / ohms
        over = (i0**2 + i0 * i1 + i1**2) / 3.0 + bump * (i0 + i1) / 6.0 + bump**2 / 30.0 - square
        root = np.sqrt(np.maximum((rises / 30.0) ** 2 - 4.0 * over / 210.0, 0.0))
        skew = 2.0 * over / np.where(rises == 0.0, inf, rises / 30.0 + np.copysign(root, rises))
        skew[abs(skew) > abs(rises)] = 0.0  # next to nothing changes: the difference of rounded numbers
    x = np.linspace(0.0, 1.0, FINE + 1)
    bow = x * (1.0 - x) * (bump[:, None] + skew[:, None] * (1.0 - 2.0 * x))
    bus, current = (y0[:, None] * (1.0 - x) + y1[:, None] * x for y0, y1 in ((v0, v1), (i0, i1)))
    return t[:, None] + h[:, None] * x, bus - ohms * bow, current + bow


def _spells(t: Array, course: Array, level: float) -> list[tuple[float, float]]:
    """(begin, end) of every spell in which a course is below a level; straight from one place of a step to the next."""
    first, last, begins, spans = course[:, :-1], course[:, 1:], t[:, :-1], np.diff(t, axis=1)
    under = np.minimum(first, last) < level
    crossing = np.clip((level - first) / np.where(first == last, 1.0, last - first), 0.0, 1.0)
    ends = (begins + spans * np.where(last < level, 1.0, crossing))[under].tolist()
    begins = (begins + spans * np.where(first < level, 0.0, crossing))[under].tolist()
    spells: list[tuple[float, float]] = []
    for begin, end in zip(begins, ends, strict=True):
        joined = bool(spells) and begin <= spells[-1][1] + JOINED
        spells.append((spells.pop()[0] if joined else begin, end))
    return spells


def taken(plant: Plant, name: str, from_us: int, to_us: int) -> float:
    """Root of the mean square of what a mechanism takes from the bus from one instant to another [A]."""
    span = np.array([from_us, to_us]) / 1e6
    begin, end = squares_at(_rows(plant), _first(plant, name) + L.LOG_SQUARED_OWN, span)
    return float(((end - begin) / (span[1] - span[0])) ** 0.5)


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
    """The log up to now, of a plant that notes all of it."""
    assert plant.arrays.w[L.TOLD] == 1.0
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
