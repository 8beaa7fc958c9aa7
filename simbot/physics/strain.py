"""What a run's log says of currents, volts, forces, hits and heat. Instants in seconds."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.heat import AIR, HEAT_STEP, squares_at
from simbot.physics.plant import Plant
from simbot.physics.record import lagged_square

Array = npt.NDArray[np.float64]
LEAST_PUSH = 1e-9  # of the greatest force in a run: less is rounding


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
    under = (np.minimum(v0, v1) < volts) & (h > 0.0)
    if not under.any():
        return None
    change = np.where(v0 == v1, 1.0, v1 - v0)
    crossing = np.clip((volts - v0) / change, 0.0, 1.0)
    share = np.where((v0 < volts) & (v1 < volts), 1.0, np.where(v0 < volts, crossing, 1.0 - crossing))
    row = int(np.flatnonzero(under)[0])
    first = t[row] if v0[row] < volts else t[row] + crossing[row] * h[row]
    return float(first), float((share * h)[under].sum()), float(np.minimum(v0, v1)[under].min())


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


def slack(plant: Plant, name: str) -> tuple[float, float, float] | None:
    """(first instant, last instant, time in all) that a cord which only pulls hangs slack while it moves; None: never.

    A step is slack all through or not at all; one that ends as the cord goes slack has rounding there, not a push.
    """
    if plant._built(name).reduced.least_force != 0.0:
        return None
    log = _rows(plant)
    own = log[:, _first(plant, name) :]
    forces = own[:, L.LOG_FORCE0] + own[:, L.LOG_FORCE1]
    pushed = forces < -LEAST_PUSH * abs(forces).max(initial=0.0)
    if not pushed.any():
        return None
    spells = log[pushed]
    last = spells[-1, L.LOG_T] + spells[-1, L.LOG_H]
    return float(spells[0, L.LOG_T]), float(last), float(spells[:, L.LOG_H].sum())


def hits(plant: Plant, name: str) -> list[tuple[float, float, float]]:
    """(instant, speed, energy [J]) of every hard stop that was met; the rotors' energy is in it."""
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
