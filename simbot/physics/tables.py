"""What a mechanism kind is reduced to: inertia, load and ratio over one coordinate, and its limits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf

import numpy as np
import numpy.typing as npt

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
    knots = np.zeros((cells + 1, 8))
    knots[:, 0], knots[:, 1], knots[:, 2] = mass(q)
    knots[:, 3], knots[:, 4] = load(q)
    knots[:, 5] = 1.0
    if factor is not None:
        knots[:, 5], knots[:, 6], knots[:, 7] = factor(q)
    return Segment(low, high, float(knots[0, 0]), float(knots[0, 3]), knots)
