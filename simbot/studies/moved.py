"""Which of what is not known moves a difference most: by a curve over each unknown's place in its spread.

A robot's weak place is often a threshold far out in a spread, so the curve is a cubic, and F tells whether it is more
than noise; the chance to name one though none moves anything is shared out among all of them (Bonferroni's inequality).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simbot.studies.chaos import hermite
from simbot.studies.sources import Unknown
from simbot.studies.statistics import student

Array = npt.NDArray[np.float64]
SURE = 0.05
END = 2.0  # standard deviations: the ends of a stated ±
LEAST_DAYS = 20


@dataclass(frozen=True)
class Mover:
    """An unknown, and by how many points the difference is another one at an end of its ± than in the middle."""

    unknown: Unknown
    upper: bool  # that end, and not the lower one
    points: float
    interval: tuple[float, float]  # 95 %


def moved_most(
    unknowns: Sequence[Unknown], curves: Sequence[Array], values: Array, days: npt.NDArray[np.int64]
) -> Mover | None:
    """The one that moves a difference most; None where none surely does.

    Parameters
    ----------
    unknowns : sequence of Unknown
    curves : sequence of (n, k) arrays
        Polynomials of degree 1, 2, ... of where each of k unknowns lay in each match.
    values : (n,) array
    days : (n,) array
    """
    numbers, place = np.unique(days, return_inverse=True)
    count, degree = len(numbers), len(curves)
    if count < LEAST_DAYS:
        return None
    times = np.bincount(place).astype(float)

    def by_day(of: Array) -> Array:
        return np.asarray(np.bincount(place, weights=of) / times)

    y = by_day(values)
    whole = float(((y - y.mean()) ** 2).sum())
    best, least = None, whole
    for number in range(len(unknowns)):
        design = np.column_stack([np.ones(count), *(by_day(curve[:, number]) for curve in curves)])
        found = np.asarray(np.linalg.lstsq(design, y, rcond=None)[0], dtype=np.float64)
        left = float(((y - design @ found) ** 2).sum())
        if left < least:
            best, least = (number, design, found), left
    free = count - 1 - degree
    if best is None or _chance(whole, least, degree, free) > SURE / len(unknowns):
        return None
    number, design, found = best
    return _told(unknowns[number], design, found, least / free, free)


def _chance(whole: float, left: float, degree: int, free: int) -> float:
    """That a curve which is noise leaves so little."""
    from scipy.special import fdtrc

    return float(fdtrc(degree, free, (whole - left) / degree / max(left / free, 1e-12)))


def _told(unknown: Unknown, design: Array, found: Array, variance: float, free: int) -> Mover:
    """At the end of its ± at which it moves more."""
    covariance = np.linalg.pinv(design.T @ design) * variance
    middle, *ends = hermite(np.array([0.0, END, -END]), design.shape[1] - 1).T
    apart = max((end - middle for end in ends), key=lambda each: abs(float(each @ found)))
    points = float(apart @ found)
    half = student(free) * float(np.sqrt(apart @ covariance @ apart))
    return Mover(unknown, bool(apart[1] > 0.0), points, (points - half, points + half))
