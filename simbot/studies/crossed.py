"""Values of matches freed of what is known of the robots that played them, by what other days tell.

Where today's quantities lie in their spreads is known. A function of that is fitted to the values of other days and
taken off today's; its mean over all robots is 0, so that the mean of what is left is that of the values, whatever the
function looks like (cross-fitted control variates: Avramidis and Wilson, Operations Research Letters 14, 1993, 187-198;
with functions that are centred by construction: Oates, Girolami and Chopin, Journal of the Royal Statistical Society B
79, 2017, 695-718; both from memory). From the very days that it is taken off it would take along some of their luck,
and what is left would look surer than it is.

A timer that is too short on some robots costs points by a threshold, far out in the spreads of one or two quantities,
and most quantities hardly matter. So the function is the mean of a Gaussian process whose covariance is a product over
the quantities, 1 + w_i k_i less 1: robots near one another are alike, w_i is how much quantity i matters, and each k_i
is centred, so that every part of the product has mean 0 (analysis of variance in kernels: Durrande, Ginsbourger,
Roustant and Carraro, Journal of Multivariate Analysis 115, 2013, 57-67, from memory). The w_i are those under which the
values of days that are not freed by them are most likely, less a price on each, so that what says nothing weighs
nothing (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, 5.1 and 5.4).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import sqrt

import numpy as np
import numpy.typing as npt

from simbot.studies.strata import SLICE

Array = npt.NDArray[np.float64]
Days = npt.NDArray[np.int64]
BLOCK = 2 * SLICE  # days that are spread evenly together, and stay together
MOST_DAYS = 1000  # or nearly twice as many are freed by one another; of more, as many by themselves
MOST_TELLING = 240  # matches: so many tell well enough which quantities matter
NEAR = 0.7  # standard deviations within which robots are alike
STRAIGHT = 1 / 3  # of what a quantity does that goes up in a straight line, before anything is known
DOUBT = 12.0  # what a weight of 1 has to gain in the logarithm of the likelihood
FIRST_WEIGHT, MOST_WEIGHT = 0.2, 20.0
ROUNDS = 12  # of the search for weights
LOOSE = 100.0  # times noise: nothing is known of the mean and of what luck brings
SMALLEST = 1e-9  # of the largest: what has no more than that says nothing of its own


def alike(one: Array, other: Array) -> Array:
    """How alike one quantity makes robots: a covariance with mean 0 over standard normal scores on either side.

    That of 1 score with itself is 1 in the mean.

    Parameters
    ----------
    one, other : arrays that can be subtracted
        Normal scores.

    Returns
    -------
    array
        Of each pair.
    """
    square = NEAR**2
    both = sqrt(square / (2 + square))  # mean of what is near, over both sides
    spread = 1.0 - square / (1 + square) * sqrt((1 + square) / (3 + square)) / both
    product = one * other
    squares = (one - other) ** 2
    curved = np.exp(squares * (-0.5 / square))
    squares += 2.0 * product
    squares *= -0.5 / (1 + square)
    curved -= np.exp(squares) * (square / (1 + square) / both)
    curved *= (1.0 - STRAIGHT) / spread
    product *= STRAIGHT
    curved += product
    return np.asarray(curved)


def covariance(weights: Array, scores: Array) -> Array:
    """Of all that the function does, in units of the noise.

    Parameters
    ----------
    weights : (k,) array
        How much each quantity matters.
    scores : (n, k) array
        Normal scores.

    Returns
    -------
    (n, n) array
    """
    found = np.ones((len(scores), len(scores)))
    for weight, own in zip(weights, scores.T, strict=True):
        if weight > 0.0:
            found *= 1.0 + weight * alike(own[:, None], own)
    return found - 1.0


def weights_by(telling: Array, days: Days, scores: Array, luck: Array) -> list[Array]:
    """How much each quantity matters, by some values: for either half of the blocks as the other half tells it.

    Parameters
    ----------
    telling : (n,) array
    days, scores, luck
        As of `freed`.

    Returns
    -------
    list of (k,) arrays
        Two for each part of the days that is freed by itself.
    """
    fixed = np.column_stack([np.ones(len(telling)), luck])
    found = []
    for here in _together(days):
        for half in (0, 1):
            there = here[days[here] // BLOCK % 2 != half][:MOST_TELLING]
            found.append(weights_of(scores[there], fixed[there], telling[there]))
    return found


def freed(values: Array, days: Days, scores: Array, luck: Array, by: Sequence[Array] | None = None) -> Array:
    """The values, with the same mean over all robots and less that they differ by.

    Parameters
    ----------
    values : (n,) or (n, m) array
    days : (n,) array
    scores : (n, k) array
        Normal scores of k quantities.
    luck : (n, c) array
        Of luck that is known: so far as the values hang on it, it is no matter of robots.
    by : list of (k,) arrays, optional
        How much each quantity matters (`weights_by`); None: by these values. By the same ones, values are freed so
        that their sums and differences are freed sums and differences.
    """
    left = values.copy()
    fixed = np.column_stack([np.ones(len(values)), luck])
    found = iter(weights_by(values, days, scores, luck) if by is None else by)
    for here in _together(days):
        blocks = days[here] // BLOCK
        for half in (0, 1):
            own, weights = blocks % 2 == half, next(found)
            if weights.any():
                near = covariance(weights, scores[here])
                left[here[own]] = told_by_others(near, fixed[here], values[here], blocks, own)
    return left


def _together(days: Days) -> Iterator[npt.NDArray[np.int64]]:
    """Places of the matches that are freed by one another."""
    blocks = days // BLOCK
    every = np.unique(blocks)
    for own in np.array_split(every, max(1, len(every) * BLOCK // MOST_DAYS)):
        yield np.flatnonzero(np.isin(blocks, own))


def weights_of(scores: Array, fixed: Array, values: Array) -> Array:
    """How much each quantity matters, by values of matches.

    Parameters
    ----------
    scores : (n, k) array
    fixed : (n, c) array
        What values hang on besides, to any degree.
    values : (n,) array

    Returns
    -------
    (k,) array
        0 for most.
    """
    count = scores.shape[1]
    if not count or len(values) < 2 or np.ptp(values) <= SMALLEST * np.abs(values).max():
        return np.zeros(count)
    from scipy.optimize import minimize

    unlikely = Unlikely(scores, fixed, values)
    start, bounds = np.full(count, FIRST_WEIGHT), [(0.0, MOST_WEIGHT)] * count
    found = minimize(unlikely, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": ROUNDS})
    return np.asarray(found.x)


class Unlikely:
    """How unlikely values are under weights, and by how much more under greater ones.

    The scale of the noise is the one that makes them most likely.

    Parameters
    ----------
    scores, fixed, values
        See `weights_of`.
    """

    def __init__(self, scores: Array, fixed: Array, values: Array) -> None:
        self.values = values - values.mean()
        count = len(values)
        self.one, self.other = np.tril_indices(count)
        self.at = (
            self.one + count * self.other
        )  # column by column, as LAPACK wants it; the upper half is never read
        self.times = np.where(self.one == self.other, 0.5, 1.0)
        self.alike = np.array([alike(own[self.one], own[self.other]) for own in scores.T])
        u, s, _ = np.linalg.svd(fixed, full_matrices=False)
        spanned = u[:, s > SMALLEST * s[0]]
        self.known = (LOOSE * count * spanned @ spanned.T + np.eye(count))[self.one, self.other]

    def __call__(self, weights: Array) -> tuple[float, Array]:
        """Less the logarithm of the likelihood, with the price of the weights, but for a constant; its gradient."""
        from scipy.linalg.lapack import dpotrf, dpotri, dpotrs

        product = np.ones(len(self.at))
        factors = {}
        for k in np.flatnonzero(weights > 0.0).tolist():
            factor = factors[k] = weights[k] * self.alike[k]
            factor += 1.0
            if not factor.all():  # next to nothing, so that it can be divided by
                factor[factor == 0.0] = SMALLEST**2
            product *= factor
        count = len(self.values)
        whole = np.zeros(count * count)
        whole[self.at] = product - 1.0 + self.known
        lower, _ = dpotrf(whole.reshape(count, count, order="F"), lower=1, overwrite_a=1)
        solved, _ = dpotrs(lower, self.values, lower=1)
        square = float(self.values @ solved)
        value = np.log(np.diag(lower)).sum() + 0.5 * count * np.log(square / count)
        inverse, _ = dpotri(lower, lower=1, overwrite_c=1)
        less = solved[self.one] * solved[self.other] * (count / square)
        slope = self.times * product * (inverse.ravel(order="F")[self.at] - less)
        gradient = self.alike @ slope
        for k, factor in factors.items():
            gradient[k] = (self.alike[k] / factor) @ slope
        return float(value + DOUBT * weights.sum()), gradient + DOUBT


def told_by_others(
    near: Array, fixed: Array, values: Array, blocks: Days, wanted: npt.NDArray[np.bool_]
) -> Array:
    """What is left of some matches when all that other blocks tell of them is taken off.

    Universal kriging from all blocks but one, for each block in turn. All come from one inverse: with P that of the
    covariance, less what the fixed part accounts for, a block b differs by inv(P_bb) (P y)_b from what the others
    foretell (deletion of many cases: Cook and Weisberg, Residuals and Influence in Regression, 1982, 3.3 and A.2; of
    blocks in kriging: Dubrule, Mathematical Geology 15, 1983, 687-699; both from memory).

    Parameters
    ----------
    near : (n, n) array
        Covariance of what the function does, in units of the noise.
    fixed : (n, c) array
        What the values hang on besides, to any degree: it is held with the function, and not taken off.
    values : (n,) or (n, m) array
    blocks, wanted : (n,) arrays
        Whole blocks are wanted.

    Returns
    -------
    array
        Of the wanted ones.
    """
    inverse = np.linalg.inv(near + np.eye(len(values)))
    by_fixed = inverse @ fixed
    held = np.linalg.pinv(fixed.T @ by_fixed, hermitian=True)
    rest = inverse - by_fixed @ held @ by_fixed.T
    shares, whole = rest @ values, held @ (by_fixed.T @ values)
    left = np.empty_like(values)
    for block in np.unique(blocks[wanted]):
        own = np.flatnonzero(blocks == block)
        apart = np.linalg.lstsq(rest[np.ix_(own, own)], shares[own], rcond=SMALLEST)[0]
        left[own] = apart + fixed[own] @ (whole - held @ (by_fixed[own].T @ apart))
    return left[wanted]
