"""Values of matches freed of what is known of the robots that played them, by what other days tell.

Where today's quantities lie in their spreads is known, and so is the mean over all days of every product of their
polynomials: 0. A sum of such products is fitted to the values and taken off. From the very days that it is taken off
it would take along some of their luck, and what is left would look surer than it is. So each part of the days is freed
by what the others tell (Avramidis and Wilson, Operations Research Letters 14, 1993, 187-198, from memory): whatever
the sum looks like, the mean of what is taken off is 0.

Products are those of quantities of one mechanism, to the third degree: a timer that is too short on some robots hangs
on several of them, by a threshold far out. There are more of them than days, so that each is held near 0, the more the
higher its degree, as though they explained half of what the values differ by (kernel ridge regression: Saunders,
Gammerman and Vovk, 1998, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from simbot.studies.chaos import hermite, matrix, terms_of
from simbot.studies.strata import SLICE

Array = npt.NDArray[np.float64]
Days = npt.NDArray[np.int64]
DEGREE = 3
BLOCK = 2 * SLICE  # days that are spread evenly together, and stay together
PARTS = 10  # each is freed by what nine others tell
MOST_DAYS = 1000  # or nearly twice as many are freed by one another; of more, as many by themselves


def explained(scores: Sequence[Array]) -> Array:
    """All that is fitted to matches, a column each, whose squares add up to 1 in the mean over robots.

    Parameters
    ----------
    scores : sequence of (n, k) arrays
        Of each mechanism the normal scores of its k quantities in n matches.

    Returns
    -------
    (n, columns) array
    """
    found, strength = [], []
    for own in scores:
        terms = list(terms_of(own.shape[1], DEGREE, DEGREE))
        found.append(matrix(own, terms, hermite)[:, 1:])
        strength += [2.0 ** (1 - sum(power for _, power in term)) for term in terms]
    if not strength:
        return np.empty((0, 0))
    return np.asarray(np.concatenate(found, axis=1) * np.sqrt(np.array(strength) / sum(strength)))


def freed(values: Array, days: Days, scores: Sequence[Array], luck: Array) -> Array:
    """The values, with the same mean over all robots and less that they differ by.

    Parameters
    ----------
    values : (n,) array
    days : (n,) array
    scores : sequence of (n, k) arrays
        See `explained`.
    luck : (n, c) array
        Of luck that is known: so far as the values hang on it, it is no matter of robots.
    """
    left = values.copy()
    blocks = days // BLOCK
    every = np.unique(blocks)
    for own in np.array_split(every, max(1, len(every) * BLOCK // MOST_DAYS)):
        inside = np.flatnonzero(np.isin(blocks, own))
        parts = blocks[inside] % PARTS
        columns = explained([each[inside] for each in scores])
        near = columns @ columns.T
        fixed = np.column_stack([np.ones(len(inside)), luck[inside]])
        for part in np.unique(parts):
            here, there = parts == part, parts != part
            if columns.size and there.any():
                weights = _weights(near[np.ix_(there, there)], fixed[there], values[inside[there]])
                left[inside[here]] -= near[np.ix_(here, there)] @ weights
    return left


def _weights(near: Array, fixed: Array, values: Array) -> Array:
    """Of each match in the sum, beside what the mean and luck account for (Wahba, Spline Models for Observational Data,
    1990, 1.3.16 and 1.3.17, from memory)."""
    from scipy.linalg import solve

    solved = solve(near + np.eye(len(values)), np.column_stack([fixed, values]), assume_a="pos")
    by_fixed, by_values = solved[:, :-1], solved[:, -1]
    held = np.linalg.lstsq(fixed.T @ by_fixed, fixed.T @ by_values, rcond=None)[0]
    return np.asarray(by_values - by_fixed @ held)
