"""Predictions that jump: a control that just swings out of its window, or just does not, as an unknown changes.

Where a likelihood has such steps a search from one point may stay before one. So the interval is widened to every
point near the best that fits as well: the projection of {squares <= least + t^2} on an unknown is its profile's
interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simbot.studies.likelihood import BETTER, Better, Likelihood, Profile, Solved

Array = npt.NDArray[np.float64]
POINTS = 13  # over an interval
TIMES = 6.0  # the usual change from point to point
SEEN = 1.0  # of the error of a trial
DRAWS = 160
REACH = (0.3, 2.5)  # of the intervals' half-widths


@dataclass(frozen=True)
class Jump:
    """A prediction jumps by `size` [s] near a number of an unknown."""

    condition: int
    unknown: int
    near: float
    size: float


def jumps_of(whole: Likelihood, best: Solved, profiles: dict[int, Profile]) -> list[Jump]:
    """The largest jump of each condition that has one as an unknown goes through its interval."""
    whole.scatter = best.scatter
    errors = whole.sd()
    found: dict[int, Jump] = {}
    for unknown, profile in profiles.items():
        low = whole.low[unknown] if profile.low is None else profile.low
        high = whole.high[unknown] if profile.high is None else profile.high
        grid = np.linspace(low, high, POINTS)
        moved = [best.numbers.copy() for _ in grid]
        for numbers, number in zip(moved, grid, strict=True):
            numbers[unknown] = number
        whole.ahead(moved)
        rows = [whole.predict(numbers) for numbers in moved]
        change = np.abs(np.diff(np.array(rows), axis=0))
        for condition in range(change.shape[1]):
            at = int(np.argmax(change[:, condition]))
            size = float(change[at, condition])
            error = float(np.min(errors[whole.data.condition == condition], initial=np.inf))
            usual = float(np.median(change[:, condition]))
            if size > max(TIMES * usual, SEEN * error) and size > getattr(found.get(condition), "size", 0.0):
                found[condition] = Jump(condition, unknown, float(grid[at] + grid[at + 1]) / 2, size)
    return list(found.values())


def widened(
    whole: Likelihood, best: Solved, profiles: dict[int, Profile], free: Sequence[int], seed: int
) -> dict[int, Profile]:
    """The intervals with every drawn point in them that fits as well as their ends.

    Raises
    ------
    Better
        Where one fits better than the best.
    """
    whole.scatter = best.scatter
    free = list(free)
    rng = np.random.Generator(np.random.PCG64(seed))
    covariance = np.linalg.pinv(best.information)
    root = np.linalg.cholesky(covariance + 1e-12 * np.eye(len(free)))
    limit = best.squares + best.factor**2
    accepted, drawn = [], []
    for _ in range(DRAWS):
        step = root @ rng.normal(size=len(free))
        reach = best.factor * rng.uniform(*REACH)
        tried = best.numbers.copy()
        tried[free] += whole.scale[free] * step * reach / np.sqrt(len(free))
        drawn.append(np.clip(tried, whole.low, whole.high))
    whole.ahead(drawn)
    for tried in drawn:
        squares = whole.squares(tried)
        if squares < best.squares - BETTER and whole.anew > 0:
            whole.anew -= 1
            raise Better(tried)
        if squares <= limit:
            accepted.append(tried)
    wider = {}
    for unknown, profile in profiles.items():
        values = [float(each[unknown]) for each in accepted]
        wider[unknown] = Profile(
            None if profile.low is None else min([profile.low, *values]),
            None if profile.high is None else max([profile.high, *values]),
        )
    return wider
