"""A mean over days that is freed of what chance is known to have brought: regression on controls.

Of some quantities the mean is known to be 0 whatever is played (how lucky a match was against the stated chances, where
today's robot lies in its spread). What they account for is taken out of the mean and of its error (control variates:
Lavenberg and Welch, Management Science 27, 1981, 322-335): the mean is where the regression meets controls of 0, and
the controls' coefficients cost as many degrees of freedom.

Of what is rare nothing is known before it has happened some times: until then the control is as good as a number of
tries, which hangs together with the points and whose mean is not 0. Such a control is left out. How often it was to be
expected decides that, where it is told: how often it has happened is itself luck, and would choose with the luck.

Days are independent, so each is one observation: the mean of its matches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from simbot.studies.statistics import Figure, student

Array = npt.NDArray[np.float64]
Days = npt.NDArray[np.int64]
ROWS = 4  # days that each coefficient needs
LEAST = 10.0  # sum of a control's squares: ten events that were rare
SMALLEST = 1e-9  # of a control's length: what has no more than that beside the others says nothing of its own


@dataclass(frozen=True)
class Fit:
    """A mean by regression.

    Parameters
    ----------
    mean : Figure
    error : float or None
        Standard error; None below two days.
    degrees : int
        Of freedom.
    days : (n,) array
        Numbers of the days.
    weights : (n,) array
        With which the days' means add up to the mean.
    left : (n,) array
        What the regression leaves of each day's mean.
    groups : int
        Of controls that were taken.
    """

    mean: Figure
    error: float | None
    degrees: int
    days: Days
    weights: Array
    left: Array
    groups: int

    def half(self, level: float = 0.95) -> float:
        """Half-width of the interval at a level."""
        return float("inf") if self.error is None else student(self.degrees, level) * self.error


def regressed(values: Array, days: Days, controls: Sequence[Array] = (), groups: int | None = None) -> Fit:
    """The mean of values, one a match.

    Parameters
    ----------
    values : (n,) array
    days : (n,) array
    controls : sequence of (n, k) arrays, or (n, k, 2) with the variance of each
        Groups of quantities whose mean is 0, counted in events or in standard deviations. Of none, the first, the
        first two and so on, as far as there are days enough, those are taken that leave the least error.
    groups : int, optional
        Take so many of them, whatever they leave.
    """
    numbers, place = np.unique(days, return_inverse=True)
    times = np.bincount(place).astype(float)

    def by_day(of: Array) -> Array:
        return np.asarray(np.bincount(place, weights=of) / times)

    means = by_day(values)
    best = _plain(means, numbers)
    count, columns = len(numbers), 1
    one, left = np.ones(count), means  # the constant and the means, freed of the controls so far
    base = np.empty((count, 0))
    for taken, group in enumerate(controls[:groups], start=1):
        told = group.ndim == 3  # the variance of each
        own = [by_day(column) for column in (group[..., 0] if told else group).T]
        if told:
            sizes = [float((by_day(column) / times).sum()) for column in group[..., 1].T]
        else:
            sizes = [float(each @ each) for each in own]
        known = [each for each, size in zip(own, sizes, strict=True) if size >= LEAST and each.any()]
        if not known:
            continue
        columns += len(known)
        if groups is None and count < ROWS * columns:
            break
        more = _beside(base, np.column_stack(known))
        one, left = (each - more @ (more.T @ each) for each in (one, left))
        base = np.column_stack([base, more])
        if float(one @ one) < SMALLEST * count:
            break  # a control that is the same on all days
        fit = _fit(one, left, numbers, count - 1 - base.shape[1], taken)
        if groups is not None or fit.half() < best.half():
            best = fit
    return best


def _beside(base: Array, columns: Array) -> Array:
    """Orthonormal columns that span what some columns have beside those of an orthonormal base."""
    scaled = columns / np.sqrt((columns**2).sum(axis=0))
    for _ in range(2):  # once more, for the digits that the first time cancels
        scaled = scaled - base @ (base.T @ scaled)
    u, s, _ = np.linalg.svd(scaled, full_matrices=False)
    return np.asarray(u[:, s > SMALLEST])


def _plain(means: Array, numbers: Days) -> Fit:
    """The mean of the days' means; exact where they are all the same."""
    count = len(means)
    mean = float(means.mean())
    return _told(mean, means - mean, np.full(count, 1.0 / count), count - 1, numbers, 0)


def _fit(one: Array, left: Array, numbers: Days, degrees: int, groups: int) -> Fit:
    """The constant's coefficient beside the controls, from what both are freed of them (Frisch and Waugh, Econometrica
    1, 1933, 387-401; Lovell, 1963)."""
    weights = one / float(one @ one)
    mean = float(weights @ left)
    return _told(mean, left - mean * one, weights, degrees, numbers, groups)


def _told(mean: float, left: Array, weights: Array, degrees: int, numbers: Days, groups: int) -> Fit:
    if degrees < 1:
        return Fit(Figure(mean, None), None, 0, numbers, weights, left, groups)
    error = sqrt(float(left @ left) / degrees * float(weights @ weights))
    half = student(degrees) * error
    return Fit(Figure(mean, (mean - half, mean + half)), error, degrees, numbers, weights, left, groups)
