"""A mean over days that is freed of what chance is known to have brought: regression on controls.

Of some quantities the mean is known to be 0 whatever is played: how lucky a match was against the stated chances. What
they account for is taken out of the mean and of its error (control variates: Lavenberg and Welch, Management Science
27, 1981, 322-335): the mean is where the regression meets controls of 0, and the controls' coefficients cost as many
degrees of freedom.

Of what is rare nothing is known before it has happened some times: until then the control is as good as a number of
tries, which hangs together with the points and whose mean is not 0. Such a control is left out. How often it was to be
expected decides that, where it is told: how often it has happened is itself luck, and would choose with the luck.

Days are independent, so each is one observation: the mean of its matches.
"""

from __future__ import annotations

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
    taken : bool
        Whether the controls were.
    """

    mean: Figure
    error: float | None
    degrees: int
    days: Days
    weights: Array
    left: Array
    taken: bool

    def half(self, level: float = 0.95) -> float:
        """Half-width of the interval at a level."""
        return float("inf") if self.error is None else student(self.degrees, level) * self.error


def regressed(values: Array, days: Days, luck: Array | None = None, taken: bool | None = None) -> Fit:
    """The mean of values, one a match.

    Parameters
    ----------
    values : (n,) array
    days : (n,) array
    luck : (n, k) array, or (n, k, 2) with the variance of each, optional
        Controls: quantities whose mean is 0, counted in events or in standard deviations. They are taken where there
        are days enough, and where that leaves less of an error.
    taken : bool, optional
        Take them or not, whatever they leave.
    """
    numbers, place = np.unique(days, return_inverse=True)
    times = np.bincount(place).astype(float)

    def by_day(of: Array) -> Array:
        return np.asarray(np.bincount(place, weights=of) / times)

    means, count = by_day(values), len(numbers)
    plain = _plain(means, numbers)
    if luck is None or taken is False:
        return plain
    told = luck.ndim == 3  # the variance of each
    own = [by_day(column) for column in (luck[..., 0] if told else luck).T]
    if told:
        sizes = [float((by_day(column) / times).sum()) for column in luck[..., 1].T]
    else:
        sizes = [float(each @ each) for each in own]
    known = [each for each, size in zip(own, sizes, strict=True) if size >= LEAST and each.any()]
    if not known or (taken is None and count < ROWS * (1 + len(known))):
        return plain
    base = _spanned(np.column_stack(known))
    one, left = (each - base @ (base.T @ each) for each in (np.ones(count), means))
    if float(one @ one) < SMALLEST * count:
        return plain  # a control that is the same on all days
    fit = _fit(one, left, numbers, count - 1 - base.shape[1])
    return fit if taken or fit.half() < plain.half() else plain


def _spanned(columns: Array) -> Array:
    """Orthonormal columns that span what some columns do."""
    scaled = columns / np.sqrt((columns**2).sum(axis=0))
    u, s, _ = np.linalg.svd(scaled, full_matrices=False)
    return np.asarray(u[:, s > SMALLEST])


def _plain(means: Array, numbers: Days) -> Fit:
    """The mean of the days' means; exact where they are all the same."""
    count = len(means)
    mean = float(means.mean())
    return _told(mean, means - mean, np.full(count, 1.0 / count), count - 1, numbers, False)


def _fit(one: Array, left: Array, numbers: Days, degrees: int) -> Fit:
    """The constant's coefficient beside the controls, from what both are freed of them (Frisch and Waugh, Econometrica
    1, 1933, 387-401; Lovell, 1963)."""
    weights = one / float(one @ one)
    mean = float(weights @ left)
    return _told(mean, left - mean * one, weights, degrees, numbers, True)


def _told(mean: float, left: Array, weights: Array, degrees: int, numbers: Days, taken: bool) -> Fit:
    if degrees < 1:
        return Fit(Figure(mean, None), None, 0, numbers, weights, left, taken)
    error = sqrt(float(left @ left) / degrees * float(weights @ weights))
    half = student(degrees) * error
    return Fit(Figure(mean, (mean - half, mean + half)), error, degrees, numbers, weights, left, taken)
