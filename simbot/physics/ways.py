"""The geometry of a curved way over the floor: corners rounded, or a smooth curve through points.

A corner's curvature rises from nothing to 1/radius, stays, and falls again, each over a length of radius x angle/2,
along 3 u^2 - 2 u^3; a smooth curve is the cubic spline through its points over their distances, its ends without
curvature (de Boor, A Practical Guide to Splines, chapter IV: natural end conditions; from memory). Both have no
curvature where they begin and end, so that nothing jumps there. A heading that turns along runs as 3 u^2 - 2 u^3.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import atan2, ceil, cos, hypot, pi, remainder, sin

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Point = tuple[float, float]
CELL = 0.008  # m: between two knots
FEWEST, MOST = 64, 768  # cells
FINE = 16  # points within a cell at which a curve is laid out
SHARPEST = 5.0 * pi / 6.0  # a sharper corner is no curve: it stops there
TINY = 1e-9
# Gauss and Legendre, 4 points over 0 to 1 (Abramowitz and Stegun, table 25.4)
NODES = np.array((0.06943184420297371, 0.33000947820757187, 0.6699905217924281, 0.9305681557970262))
SHARES = np.array((0.17392742256872692, 0.32607257743127305, 0.32607257743127305, 0.17392742256872692))


@dataclass(frozen=True)
class Bend:
    """How a drive goes by its points: `corner` [m] rounds them, `smooth` is a curve through them, else it stops.

    `along`: the heading turns on the way instead of after it.
    """

    corner: float | None = None
    smooth: bool = False
    along: bool = False


@dataclass(frozen=True, eq=False)
class Way:
    """A way over the floor, by its length.

    Parameters
    ----------
    begin : float
        Coordinate of its beginning [m].
    length : float
        [m]
    x, y, direction, curvature : ndarray, shape (cells + 1,)
        At equal distances; direction is that of travel [rad], without jumps, curvature positive to the left [1/m].
    heading, turns : ndarray, shape (cells + 1,)
        Of the robot [rad], and its change per length [rad/m].
    """

    begin: float
    length: float
    x: Array
    y: Array
    direction: Array
    curvature: Array
    heading: Array
    turns: Array

    @property
    def cells(self) -> int:
        return len(self.x) - 1

    def at(self, s: float) -> tuple[float, float, float, float, float]:
        """Position, direction, heading and curvature at a distance from its beginning; straight on beyond its ends."""
        inside = min(max(s, 0.0), self.length)
        cell = min(int(inside / self.length * self.cells), self.cells - 1)
        h = self.length / self.cells
        u = inside / h - cell
        ends = slice(cell, cell + 2)
        c, d = np.cos(self.direction[ends]), np.sin(self.direction[ends])
        direction = _between(self.direction[ends], self.curvature[ends], u, h)
        x = _between(self.x[ends], c, u, h) + (s - inside) * cos(direction)
        y = _between(self.y[ends], d, u, h) + (s - inside) * sin(direction)
        heading = _between(self.heading[ends], self.turns[ends], u, h)
        curvature = self.curvature[cell] * (1.0 - u) + self.curvature[cell + 1] * u
        return x, y, direction, heading, float(curvature)

    def nearest(self, x: float, y: float) -> float:
        """Distance from its beginning to the point of it that lies nearest to a point of the floor [m]."""
        h = self.length / self.cells
        s = h * int(np.argmin((self.x - x) ** 2 + (self.y - y) ** 2))
        for _ in range(20):
            px, py, direction, _, curvature = self.at(s)
            dx, dy = x - px, y - py
            step = dx * cos(direction) + dy * sin(direction)
            step /= max(1.0 - curvature * (dy * cos(direction) - dx * sin(direction)), 0.2)
            s = min(max(s + step, 0.0), self.length)
        return s


def _between(ends: Array, slopes: Array, u: float, h: float) -> float:
    a = u * u * (3.0 - 2.0 * u)
    b, c = u * (1.0 - u) ** 2 * h, u * u * (u - 1.0) * h
    return float(ends[0] * (1.0 - a) + ends[1] * a + slopes[0] * b + slopes[1] * c)


def pieces_at_stops(points: Sequence[Point]) -> list[list[Point]]:
    """Points without repetitions, cut where the way turns back too sharply for any curve."""
    kept = [points[0]]
    for point in points[1:]:
        if hypot(point[0] - kept[-1][0], point[1] - kept[-1][1]) > TINY:
            kept.append(point)
    out = [kept[:1]]
    for number, point in enumerate(kept[1:], 1):
        out[-1].append(point)
        if number + 1 < len(kept) and abs(_corner(*kept[number - 1 : number + 2])) > SHARPEST:
            out.append([point])
    return out


def _corner(before: Point, at: Point, after: Point) -> float:
    """Angle by which a polyline turns at a point [rad], to the left positive."""
    return remainder(_bearing(at, after) - _bearing(before, at), 2.0 * pi)


def _bearing(a: Point, b: Point) -> float:
    return atan2(b[1] - a[1], b[0] - a[0])


def way_through(points: Sequence[Point], bend: Bend, begin: float) -> Way:
    """The way through at least two points, none twice in a row; its heading is its direction (see `facing`)."""
    if bend.smooth and len(points) > 2:
        return _spline(points, begin)
    return _rounded(points, bend.corner or 0.0, begin)


def facing(way: Way, start: float, turn: float | None) -> Way:
    """The same way with a robot's heading: from a start by a turn, evenly over its length; None: along the way.

    `start` of one that heads along the way: its heading there, which may be backwards.
    """
    if turn is None:
        heading = way.direction + (start - way.direction[0])
        turns = way.curvature
    else:
        u = np.linspace(0.0, 1.0, way.cells + 1)
        heading = start + turn * u * u * (3.0 - 2.0 * u)
        turns = turn * 6.0 * u * (1.0 - u) / way.length
    return Way(way.begin, way.length, way.x, way.y, way.direction, way.curvature, heading, turns)


def cells_of(length: float) -> int:
    return min(max(ceil(length / CELL), FEWEST), MOST)


# --- rounded corners --------------------------------------------------------------------------------


def _turned(u: Array) -> tuple[Array, Array]:
    """Curvature and angle turned on a corner of radius 1 and angle 1, over its length 1.5 as 0 to 1.5."""
    ramp = np.clip(2.0 * np.minimum(u, 1.5 - u), 0.0, 1.0)
    curvature = ramp * ramp * (3.0 - 2.0 * ramp)
    rising = 0.5 * (ramp**3 - 0.5 * ramp**4)
    first = np.where(u < 0.5, rising, 0.25 + np.clip(u - 0.5, 0.0, 0.5))
    return curvature, np.where(u > 1.0, 1.0 - rising, first)


def tangent(angle: float) -> float:
    """From the end of a corner of radius 1 to the point that it rounds, for the angle it turns by [rad]."""
    u = (np.arange(200)[:, None] + NODES[None, :]).ravel() / 200.0 * 1.5
    psi = angle * _turned(u)[1]
    weights = np.tile(SHARES, 200) / 200.0 * 1.5 * abs(angle)
    chord = hypot(float(weights @ np.cos(psi)), float(weights @ np.sin(psi)))
    return chord / (2.0 * cos(angle / 2.0))


def _rounded(points: Sequence[Point], radius: float, begin: float) -> Way:
    """Straight lines, and corners with a least radius, smaller where two of them would meet on a line."""
    sides = [hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(points)]
    angles = [_corner(*points[k - 1 : k + 2]) for k in range(1, len(points) - 1)]
    room = [
        min(sides[k] / (1 + (k > 0)), sides[k + 1] / (1 + (k + 1 < len(angles)))) for k in range(len(angles))
    ]
    units = [tangent(angle) if abs(angle) > TINY else 0.0 for angle in angles]
    radii = [
        min(radius, 0.999 * space / unit) if unit else 0.0 for space, unit in zip(room, units, strict=True)
    ]
    stretches: list[tuple[float, float, float]] = []  # length, angle, radius
    cut = 0.0
    for number, side in enumerate(sides):
        last = number == len(angles)
        following = 0.0 if last else units[number] * radii[number]
        stretches.append((side - cut - following, 0.0, 0.0))
        if not last and radii[number] > 0.0:
            stretches.append((1.5 * radii[number] * abs(angles[number]), angles[number], radii[number]))
        cut = following
    return _laid_out(points[0], _bearing(points[0], points[1]), stretches, begin)


def _laid_out(at: Point, psi: float, stretches: list[tuple[float, float, float]], begin: float) -> Way:
    """From a point and a direction along stretches (length, angle that it turns by, radius)."""
    edges = np.concatenate(([0.0], np.cumsum([each[0] for each in stretches])))
    length = float(edges[-1])
    cells = cells_of(length)

    def along(s: Array) -> tuple[Array, Array]:
        number = np.clip(np.searchsorted(edges, s, side="right") - 1, 0, len(stretches) - 1)
        of = np.array(stretches)[number]
        before = np.concatenate(([0.0], np.cumsum([each[1] for each in stretches])))[number]
        round_it = of[:, 2] > 0.0
        u = np.where(round_it, (s - edges[number]) / np.where(of[:, 0] > 0.0, of[:, 0], 1.0) * 1.5, 0.0)
        curvature, turned = _turned(u)
        sign = np.sign(of[:, 1])
        return psi + before + of[:, 1] * turned, sign * curvature / np.where(round_it, of[:, 2], np.inf)

    fine = length / (cells * FINE)
    nodes = ((np.arange(cells * FINE)[:, None] + NODES[None, :]) * fine).ravel()
    direction = along(nodes)[0].reshape(-1, 4)
    x = at[0] + np.concatenate(([0.0], np.cumsum(fine * np.cos(direction) @ SHARES)))[::FINE]
    y = at[1] + np.concatenate(([0.0], np.cumsum(fine * np.sin(direction) @ SHARES)))[::FINE]
    psis, curvature = along(np.linspace(0.0, length, cells + 1))
    return Way(begin, length, x, y, psis, curvature, psis, curvature)


# --- smooth curves ----------------------------------------------------------------------------------


def _spline(points: Sequence[Point], begin: float) -> Way:
    p = np.array(points)
    h = np.hypot(*np.diff(p, axis=0).T)
    knots = np.concatenate(([0.0], np.cumsum(h)))
    inner = len(p) - 2
    slopes = np.diff(p, axis=0) / h[:, None]
    matrix = (
        np.diag(2.0 * (h[:-1] + h[1:]))
        + np.diag(h[1:-1], 1)[:inner, :inner]
        + np.diag(h[1:-1], -1)[:inner, :inner]
    )
    second = np.zeros_like(p)
    second[1:-1] = np.linalg.solve(matrix, 6.0 * np.diff(slopes, axis=0))

    def at(t: Array) -> tuple[Array, Array, Array]:
        k = np.clip(np.searchsorted(knots, t, side="right") - 1, 0, len(h) - 1)
        a, b = ((knots[k + 1] - t) / h[k])[:, None], ((t - knots[k]) / h[k])[:, None]
        w = h[k][:, None]
        place = a * p[k] + b * p[k + 1] + ((a**3 - a) * second[k] + (b**3 - b) * second[k + 1]) * w * w / 6.0
        slope = slopes[k] + ((1.0 - 3.0 * a * a) * second[k] + (3.0 * b * b - 1.0) * second[k + 1]) * w / 6.0
        return place, slope, a * second[k] + b * second[k + 1]

    grid = np.unique(np.concatenate((np.linspace(0.0, knots[-1], 4096), knots)))
    width = np.diff(grid)
    speed = np.hypot(*at((grid[:-1, None] + width[:, None] * NODES).ravel())[1].T).reshape(-1, 4)
    lengths = np.concatenate(([0.0], np.cumsum(width * (speed @ SHARES))))
    cells = cells_of(float(lengths[-1]))
    s = np.linspace(0.0, lengths[-1], cells + 1)
    t = np.interp(s, lengths, grid)
    for _ in range(2):  # Newton's method, from the chord
        k = np.clip(np.searchsorted(grid, t, side="right") - 1, 0, len(width) - 1)
        part = (t - grid[k])[:, None]
        rate = np.hypot(*at((grid[k][:, None] + part * NODES).ravel())[1].T).reshape(-1, 4)
        ahead = lengths[k] + part[:, 0] * (rate @ SHARES) - s
        t = np.clip(t - ahead / np.hypot(*at(t)[1].T), 0.0, knots[-1])
    place, slope, bend = at(t)
    rate = np.hypot(*slope.T)
    curvature = (slope[:, 0] * bend[:, 1] - slope[:, 1] * bend[:, 0]) / rate**3
    direction = np.unwrap(np.arctan2(slope[:, 1], slope[:, 0]))
    return Way(begin, float(s[-1]), place[:, 0], place[:, 1], direction, curvature, direction, curvature)
