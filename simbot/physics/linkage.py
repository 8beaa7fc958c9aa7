"""Inertia and load of bodies that a linkage carries, over its one coordinate, with exact slopes.

Points are complex numbers x + iy [m], angles real [rad]; each comes with its first three derivatives by the
coordinate q. With bodies of mass m at z and of inertia I at the angle phi

    M = sum(m |z'|² + I phi'²),  Q = g sum(m dy/dq)

(Eksergian's reduced inertia; derived from the kinetic and potential energy).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.physics.tables import Knots, Segment, tabled

Values = npt.NDArray[Any]  # complex for points, real for angles
CELLS = 192
DEEPEST = 8  # halvings of a stretch whose table would be too coarse
FINE = 1e-9  # of the greatest on the stretch: error of a table between its knots


@dataclass(frozen=True)
class Course:
    """A point or an angle over the coordinate: value and first three derivatives, arrays of one shape."""

    at: Values
    d1: Values
    d2: Values
    d3: Values

    def __add__(self, other: Course) -> Course:
        return Course(self.at + other.at, self.d1 + other.d1, self.d2 + other.d2, self.d3 + other.d3)


@dataclass(frozen=True)
class Body:
    """A mass [kg] whose centre runs along `place`, and its inertia about that centre [kg m²] along `angle`."""

    mass: float
    place: Course
    inertia: float = 0.0
    angle: Course | None = None


def steady(q: Knots) -> Course:
    """The coordinate itself."""
    zero = np.zeros_like(q)
    return Course(q, np.ones_like(q), zero, zero)


def turned(arm: complex, angle: Course) -> Course:
    """An arm fixed to a link that turns: arm exp(i angle) [m]."""
    z = arm * np.exp(1j * angle.at)
    w, a, j = angle.d1, angle.d2, angle.d3
    return Course(z, 1j * w * z, (1j * a - w**2) * z, (1j * j - 3.0 * w * a - 1j * w**3) * z)


def inertia_of(bodies: Sequence[Body]) -> tuple[Knots, Knots, Knots]:
    """M, dM/dq, d²M/dq² [kg or kg m²]."""
    mass, slope, bend = np.zeros((3, *bodies[0].place.at.shape))
    for body in bodies:
        z = body.place
        mass = mass + body.mass * abs(z.d1) ** 2
        slope = slope + 2.0 * body.mass * np.real(np.conj(z.d1) * z.d2)
        bend = bend + 2.0 * body.mass * (abs(z.d2) ** 2 + np.real(np.conj(z.d1) * z.d3))
        if body.angle is not None and body.inertia > 0.0:
            w, a, j = body.angle.d1, body.angle.d2, body.angle.d3
            mass = mass + body.inertia * w**2
            slope = slope + 2.0 * body.inertia * w * a
            bend = bend + 2.0 * body.inertia * (a**2 + w * j)
    return mass, slope, bend


def leverage_of(bodies: Sequence[Body]) -> tuple[Values, Values]:
    """sum(m z') and its slope [kg or kg m]: what weighs on the coordinate, however gravity acts on it."""
    first, second = np.zeros((2, *bodies[0].place.at.shape), dtype=complex)
    for body in bodies:
        first = first + body.mass * body.place.d1
        second = second + body.mass * body.place.d2
    return first, second


def weight_of(bodies: Sequence[Body], lifted: float, gravity: float) -> tuple[Knots, Knots]:
    """Q, dQ/dq [N or N m]; the linkage's own x axis stands at `lifted` [rad] from the horizontal,
    in its plane acts `gravity` [m/s²]."""
    up = gravity * np.exp(1j * lifted)
    first, second = leverage_of(bodies)
    return np.imag(first * up), np.imag(second * up)


def closed_loop(
    second: float, third: float, beta: Knots, gamma: Knots, driver: Course
) -> tuple[Course, Course]:
    """Courses of the angles of two links that close a loop: driver + second e^(i beta) = const + third e^(i gamma).

    Each derivative of that equation is linear in the highest ones of beta and gamma, always with the same
    matrix; it is singular where the two links are in line.
    """
    b, c = second * np.exp(1j * beta), third * np.exp(1j * gamma)
    turn = np.imag(np.conj(c) * b)  # second third sin(beta - gamma)

    def solve(right: Values) -> tuple[Values, Values]:
        """beta and gamma of: i b x - i c y = right."""
        return -np.real(np.conj(c) * right) / turn, -np.real(np.conj(b) * right) / turn

    b1, c1 = solve(-driver.d1)
    b2, c2 = solve(-driver.d2 + b1**2 * b - c1**2 * c)
    b3, c3 = solve(-driver.d3 + (3.0 * b1 * b2 + 1j * b1**3) * b - (3.0 * c1 * c2 + 1j * c1**3) * c)
    return Course(beta, b1, b2, b3), Course(gamma, c1, c2, c3)


Triple = tuple[Knots, Knots, Knots]
Tables = Callable[[Knots], tuple[Triple, tuple[Knots, Knots], Triple | None]]  # q -> as of `tables.tabled`
Measure = Callable[[Knots], Sequence[tuple[Values, ...]]]  # q -> of each quantity its value, slope and so on


def stretches(low: float, high: float, tables: Tables, measure: Measure) -> tuple[Segment, ...]:
    """Tables over a travel, the finer the faster they change.

    A stretch is halved until the tables of `measure` are right to FINE between their knots; those hang on the
    geometry alone, so that the stretches change neither with what is carried nor with how the robot stands. All
    have one `mass`, so that nothing is picked up where one follows the other.
    """
    sizes = [_sizes(values, high - low) for values in measure(np.linspace(low, high, CELLS + 1))]
    segments = []
    for begin, end in _split(low, high, measure, sizes, 0):
        mass, load, factor = tables(np.linspace(begin, end, CELLS + 1))
        segments.append(tabled(begin, end, mass, load, factor))
    least = min(float(segment.knots[:, 0].min()) for segment in segments if segment.knots is not None)
    return tuple(replace(segment, mass=least) for segment in segments)


def _sizes(values: Sequence[Values], travel: float) -> list[float]:
    """What counts as small of a value and of its slopes: a tenth of the greatest, and of a slope no less than a
    tenth of the value spread over the travel, since that of a value that hardly changes is rounding."""
    whole = float(abs(values[0]).max())
    return [0.1 * max(float(abs(value).max()), whole / travel**order) for order, value in enumerate(values)]


def _split(
    low: float, high: float, measure: Measure, sizes: list[list[float]], depth: int
) -> Iterator[tuple[float, float]]:
    if depth >= DEEPEST or _coarse(low, high, measure, sizes) <= FINE:
        yield low, high
        return
    middle = 0.5 * (low + high)
    yield from _split(low, middle, measure, sizes, depth + 1)
    yield from _split(middle, high, measure, sizes, depth + 1)


def _coarse(low: float, high: float, measure: Measure, sizes: list[list[float]]) -> float:
    """Greatest error of cubics between the knots, in the middles of the cells, over the greatest value.

    `sizes`: below these a value counts as small, and its error against them.
    """
    h = (high - low) / CELLS
    worst = 0.0
    for values, small in zip(measure(np.linspace(low, high, 2 * CELLS + 1)), sizes, strict=True):
        for order, (value, slope) in enumerate(pairwise(values)):
            at, rises = value[::2], slope[::2]
            between = 0.5 * (at[:-1] + at[1:]) + 0.125 * h * (rises[:-1] - rises[1:])
            size = max(float(abs(at).max()), small[order])
            if size > 0.0:
                worst = max(worst, float(abs(between - value[1::2]).max()) / size)
    return worst
