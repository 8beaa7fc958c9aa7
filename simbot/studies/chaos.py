"""How much of a quantity's variance comes from each of its inputs: first-order and total indices of Sobol'.

With V the variance of y(z) over independent inputs z, the first-order index of input i is
V(E(y | z_i)) / V, its total index 1 - V(E(y | all but z_i)) / V (Sobol', 1993; Homma and Saltelli, 1996).

Estimators that freeze some inputs and draw the others anew need tens of thousands of matches here, since luck
varies a match far more than what is unknown of the robot does. So y is expanded in products of polynomials that
are orthonormal under the inputs' distribution (polynomial chaos), fitted by least squares to all matches at once;
the indices are then sums of squared coefficients (Sudret, Reliability Engineering and System Safety 93, 2008).
How many terms are taken is settled by the leave-one-out error, and each square is freed of what noise alone adds
to it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations
from math import factorial, sqrt

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Term = tuple[tuple[int, int], ...]  # (input, degree), each input once
Basis = Callable[[Array, int], Array]
ROWS_A_TERM = 3  # rows that a term needs at least
DEGREES = (1, 2, 3, 4, 5, 6, 8, 10, 12, 14)
TOGETHER = (1, 2, 3)  # inputs in a term
RESAMPLES = 200


@dataclass(frozen=True)
class Shares:
    """Indices of each input, (d,) arrays; the variance is that of the expansion, in squared units of y."""

    first: Array
    total: Array
    first_interval: Array  # (d, 2), 95 %
    total_interval: Array
    variance: float
    unexplained: float  # variance of y that the expansion leaves: luck, and what it misses


def hermite(z: Array, degree: int) -> Array:
    """Hermite polynomials (the probabilists') of standard normal inputs, degree 0 to `degree`: (degree + 1, ...)."""
    values = np.moveaxis(np.polynomial.hermite_e.hermevander(z, degree), -1, 0)
    return np.stack([each / sqrt(factorial(k)) for k, each in enumerate(values)])


def legendre(z: Array, degree: int) -> Array:
    """The same for inputs that are uniform from -1 to 1: Legendre polynomials."""
    values = np.moveaxis(np.polynomial.legendre.legvander(z, degree), -1, 0)
    return np.stack([each * sqrt(2.0 * k + 1.0) for k, each in enumerate(values)])


def terms_of(inputs: int, degree: int, together: int) -> Iterator[Term]:
    """All products up to a total degree, of at most so many inputs at once."""
    for count in range(1, min(together, inputs, degree) + 1):
        for chosen in combinations(range(inputs), count):
            for powers in _powers(count, degree):
                yield tuple(zip(chosen, powers, strict=True))


def _powers(count: int, degree: int) -> Iterator[tuple[int, ...]]:
    """Degrees of 1 or more that add up to `degree` at most."""
    if count == 0:
        yield ()
        return
    for first in range(1, degree - count + 2):
        for others in _powers(count - 1, degree - first):
            yield (first, *others)


def shares_of(z: Array, y: Array, basis: Basis = hermite, seed: int = 0) -> Shares:
    """The indices.

    Parameters
    ----------
    z : (n, d) array
        Inputs, as the basis wants them.
    y : (n,) array
        What came out.
    basis : function
        `hermite` or `legendre`.
    seed : int
        Of the resamples that the intervals are taken from (bootstrap over rows; Efron, 1979).
    """
    terms = best_terms(z, y, basis)
    design = matrix(z, terms, basis)
    parts = _parts(design, y, terms, z.shape[1])
    rng = np.random.Generator(np.random.PCG64(seed))
    drawn = [rng.integers(0, len(y), len(y)) for _ in range(RESAMPLES)]
    again = [_parts(design[rows], y[rows], terms, z.shape[1])[:2] for rows in drawn]
    ends = np.quantile(np.array(again), (0.025, 0.975), axis=0)
    first, total, variance, left = parts
    return Shares(first, total, ends[:, 0].T, ends[:, 1].T, variance, left)


def best_terms(z: Array, y: Array, basis: Basis = hermite) -> list[Term]:
    """The terms with the least leave-one-out error; none where nothing is better than the mean."""
    best: list[Term] = []
    least = left_out_error(np.ones((len(y), 1)), y)
    for together in TOGETHER:
        for degree in DEGREES:
            terms: list[Term] = []
            for term in terms_of(z.shape[1], degree, together):
                terms.append(term)
                if ROWS_A_TERM * len(terms) > len(y):
                    break
            else:
                error = left_out_error(matrix(z, terms, basis), y)
                if error < least:
                    best, least = terms, error
                continue
            break  # a higher degree has more terms still
    return best


def matrix(z: Array, terms: list[Term], basis: Basis) -> Array:
    """A column for 1, then one a term, (n, 1 + terms)."""
    highest = max((power for term in terms for _, power in term), default=0)
    tables = [basis(column, highest) for column in z.T]
    columns = [np.ones(len(z))]
    columns += [np.prod([tables[k][power] for k, power in term], axis=0) for term in terms]
    return np.array(columns).T


def left_out_error(design: Array, y: Array) -> float:
    """Mean squared error at each row of the fit to all other rows (Allen's PRESS, 1974)."""
    q, _ = np.linalg.qr(design)
    left = y - q @ (q.T @ y)
    leverage = np.clip((q**2).sum(axis=1), 0.0, 1.0 - 1e-9)
    return float(((left / (1.0 - leverage)) ** 2).mean())


def _parts(design: Array, y: Array, terms: list[Term], inputs: int) -> tuple[Array, Array, float, float]:
    first, total = np.zeros(inputs), np.zeros(inputs)
    if not terms:
        return first, total, 0.0, float(y.var())
    found, *_ = np.linalg.lstsq(design, y, rcond=None)
    left = float(((y - design @ found) ** 2).sum() / max(1, len(y) - design.shape[1]))
    noise = left * np.diag(np.linalg.pinv(design.T @ design))
    squares = np.maximum(found**2 - noise, 0.0)[1:]
    variance = float(squares.sum())
    for term, square in zip(terms, squares, strict=True):
        if len(term) == 1:
            first[term[0][0]] += square
        for each, _ in term:
            total[each] += square
    return first / (variance or 1.0), total / (variance or 1.0), variance, left


def sd_of(share: float, variance: float) -> float:
    """What a share of a variance comes to as a standard deviation."""
    return sqrt(max(0.0, share * variance))
