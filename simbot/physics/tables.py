"""What a mechanism kind is reduced to: inertia, load and ratio over one coordinate, and its limits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L

GRAVITY = 9.80665  # m/s², standard acceleration of free fall (ISO 80000-3)
CELLS = 192

Knots = npt.NDArray[np.float64]


# never changed, as if frozen, which takes three times as long to make
@dataclass(slots=True, unsafe_hash=True)
class Segment:
    """A stretch of the travel on which inertia and load run smoothly.

    Parameters
    ----------
    low, high : float
        Ends [m, rad].
    mass : float
        Effective inertia on the load's side of the gears [kg, kg m²], without any rotor.
    load : float
        Force against the coordinate from weight and springs [N, N m].
    knots : ndarray, shape (n + 1, 8), or None
        Uniform table (see layout.TAB_*); None: constant.
    friction, static : float or None
        Sliding friction and friction at rest on this stretch; None: those of the whole.
    catch : bool
        Once it has been entered upwards, its lower end is a stop: a ratchet's tooth.
    """

    low: float
    high: float
    mass: float
    load: float
    knots: Knots | None = None
    friction: float | None = None
    static: float | None = None
    catch: bool = False


# never changed, as if frozen, which takes three times as long to make
@dataclass(slots=True, unsafe_hash=True)
class Reduced:
    """A mechanism over one coordinate.

    Parameters
    ----------
    segments : tuple of Segment
        In order; the first begins and the last ends at a hard stop (or nowhere, for a roller).
    per_travel : float
        Angle of the last gear shaft per unit of travel [rad/m, rad/rad].
    friction, static, damping : float
        Sliding friction, friction at rest [N, N m], and friction per speed.
    least_force, greatest_force : float
        What can be passed on to the mechanism (grip; a cord that only pulls) [N, N m].
    """

    segments: tuple[Segment, ...]
    per_travel: float
    friction: float
    static: float
    damping: float = 0.0
    least_force: float = -inf
    greatest_force: float = inf

    @property
    def low(self) -> float:
        return self.segments[0].low

    @property
    def high(self) -> float:
        return self.segments[-1].high


def tabulate(
    low: float,
    high: float,
    mass: Callable[[Knots], tuple[Knots, Knots, Knots]],
    load: Callable[[Knots], tuple[Knots, Knots]],
    factor: Callable[[Knots], tuple[Knots, Knots, Knots]] | None = None,
    cells: int = CELLS,
) -> Segment:
    """Table a segment with exact slopes.

    Parameters
    ----------
    low, high : float
        Ends of the segment.
    mass : callable
        q -> M, dM/dq, d²M/dq².
    load : callable
        q -> Q, dQ/dq.
    factor : callable, optional
        q -> g, dg/dq, d²g/dq²: common factor of all ratios; 1 where left out.
    cells : int
        Number of equal cells; the interpolation error falls with its fourth power.
    """
    q = np.linspace(low, high, cells + 1)
    return tabled(low, high, mass(q), load(q), None if factor is None else factor(q))


def tabled(
    low: float,
    high: float,
    mass: tuple[Knots, Knots, Knots],
    load: tuple[Knots, Knots],
    factor: tuple[Knots, Knots, Knots] | None = None,
) -> Segment:
    """A segment from what `tabulate` asks for, at equal distances from end to end."""
    knots = np.zeros((len(mass[0]), 8))
    knots[:, 0], knots[:, 1], knots[:, 2] = mass
    knots[:, 3], knots[:, 4] = load
    knots[:, 5] = 1.0
    if factor is not None:
        knots[:, 5], knots[:, 6], knots[:, 7] = factor
    return Segment(low, high, float(knots[0, 0]), float(knots[0, 3]), knots)


def look_up(reduced: Reduced, q: Knots) -> tuple[Knots, Knots, Knots, Knots, Knots]:
    """M, M', Q, common factor of the ratios and its slope at positions; cubic Hermite within the tables."""
    lows = np.array([segment.low for segment in reduced.segments])
    which = np.clip(np.searchsorted(lows, q, side="right") - 1, 0, len(lows) - 1)
    out = np.zeros((5, *np.shape(q)))
    for number, segment in enumerate(reduced.segments):
        here = which == number
        if segment.knots is None:
            out[0, here], out[2, here], out[3, here] = segment.mass, segment.load, 1.0
            continue
        knots, cells = segment.knots, len(segment.knots) - 1
        h = (segment.high - segment.low) / cells
        x = (q[here] - segment.low) / h
        cell = np.clip(np.floor(x).astype(int), 0, cells - 1)
        u = x - cell
        for row, value, slope in (
            (0, L.TAB_M, L.TAB_DM),
            (1, L.TAB_DM, L.TAB_DDM),
            (2, L.TAB_Q, L.TAB_DQ),
            (3, L.TAB_G, L.TAB_DG),
            (4, L.TAB_DG, L.TAB_DDG),
        ):
            up = u * u * (3.0 - 2.0 * u)
            out[row, here] = (
                knots[cell, value] * (1.0 - up)
                + knots[cell + 1, value] * up
                + h * u * (1.0 - u) ** 2 * knots[cell, slope]
                + h * u * u * (u - 1.0) * knots[cell + 1, slope]
            )
    return out[0], out[1], out[2], out[3], out[4]


def rubbing(reduced: Reduced, q: Knots) -> tuple[Knots, Knots]:
    """Sliding friction and friction at rest at positions [N, N m]."""
    lows = np.array([segment.low for segment in reduced.segments])
    which = np.clip(np.searchsorted(lows, q, side="right") - 1, 0, len(lows) - 1)
    sliding = [reduced.friction if each.friction is None else each.friction for each in reduced.segments]
    resting = [reduced.static if each.static is None else each.static for each in reduced.segments]
    return np.array(sliding)[which], np.array(resting)[which]
