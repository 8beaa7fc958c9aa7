"""Which of several plans is to be played more, so that the best one is known soonest.

The optimal computing budget allocation of Chen, Lin, Yucesan and Chick (Discrete Event Dynamic Systems 10, 2000,
251-270, theorem 1): with b the best, d_i what i lies below it and s_i its standard deviation,

    N_i / N_j = (s_i / d_i)^2 / (s_j / d_j)^2   for i, j other than b,
    N_b = s_b sqrt(sum over i other than b of (N_i / s_i)^2).

Close and noisy plans are played most, hopeless ones hardly.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

LEAST = 1e-3  # of the widest spread: below it plans count as level, or as without noise


def shares(means: Sequence[float], sds: Sequence[float]) -> list[float]:
    """Share of all runs that each plan should have had; they add up to 1.

    Parameters
    ----------
    means, sds : sequences of float
        Estimated mean and standard deviation of one run, of two plans or more.
    """
    best = max(range(len(means)), key=lambda number: means[number])
    floor = LEAST * (max(sds) or 1.0)
    spread = [max(sd, floor) for sd in sds]
    weights = [
        0.0 if number == best else (spread[number] / max(means[best] - mean, floor)) ** 2
        for number, mean in enumerate(means)
    ]
    weights[best] = spread[best] * sqrt(sum((one / sd) ** 2 for one, sd in zip(weights, spread, strict=True)))
    return [one / sum(weights) for one in weights]


def starving(have: Sequence[int], wanted: Sequence[float], among: Sequence[int], more: int) -> list[int]:
    """Of some plans those that lie furthest behind their shares once `more` runs are added, the furthest first."""
    total = sum(have) + more
    behind = {number: total * wanted[number] - have[number] for number in among}
    return sorted(among, key=lambda number: (-behind[number], number))
