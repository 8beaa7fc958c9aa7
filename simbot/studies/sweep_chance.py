"""Drawn matches at the values of a sweep, under the same luck at each, and what they say of the best value.

Every match is of a day of its own, so that matches are independent and each meets another robot within the spreads.

Which value is best is only known as well as the matches tell. A value is struck out where another one is surely
better under the same luck; each of these comparisons may err once in alpha/(k - 1), so that the best of k values is
struck out in at most alpha of all sweeps (Bonferroni's inequality).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
import numpy.typing as npt

from simbot.scenario.model import Plan
from simbot.studies.one_match import MATCHES_A_DAY, Day, fault_of
from simbot.studies.statistics import Figure, mean_of, student

ALPHA = 0.05
LEVEL = 1e-9  # of the points: a smaller difference is rounding
Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Drawn:
    """Some matches with chance: of each its points, those of its deliveries, and the seconds of its whole cycles.

    A match that could not be played is left out of all three; `numbers` says which are in, `fault` why the first
    one that is not could not be played.
    """

    numbers: tuple[int, ...]
    points: tuple[float, ...]
    earned: tuple[float, ...]
    seconds: tuple[float, ...]
    failed: int = 0
    fault: str = ""

    @property
    def mean(self) -> Figure | None:
        """Points a match."""
        return mean_of(np.array(self.points), np.array(self.numbers)) if self.points else None

    @property
    def rate(self) -> Figure | None:
        """Points a second of whole cycles: a ratio of two means, its interval by what each match is off it."""
        seconds = sum(self.seconds)
        if seconds <= 0.0:
            return None
        rate, count = sum(self.earned) / seconds, len(self.seconds)
        if count < 2:
            return Figure(rate, None)
        off = np.array(self.earned) - rate * np.array(self.seconds)
        half = student(count - 1) * sqrt(count / (count - 1) * float((off**2).sum())) / seconds
        return Figure(rate, (rate - half, rate + half))


def play_drawn(plan: Plan, seed: int, matches: int, state: str) -> Drawn:
    """The first so many days' first matches."""
    battery = next(each for each in plan.robot.battery if each.name == state)
    good, faults = [], []
    for day in range(matches):
        try:
            record = Day(plan, seed, day).record(day * MATCHES_A_DAY, battery)
        except Exception as error:  # the robot of that day cannot be built
            faults.append(fault_of(error))
            continue
        if record.fault:
            faults.append(record.fault)
        else:
            good.append((day, record.total, record.delivered, record.cycle_s))
    numbers, points, earned, seconds = (
        (tuple(each) for each in zip(*good, strict=True)) if good else ((),) * 4
    )
    return Drawn(numbers, points, earned, seconds, len(faults), faults[0] if faults else "")


def can_be_best(drawn: Sequence[Drawn | None]) -> list[bool]:
    """Whether each value may be the best, by the points of the matches that all have played."""
    known = [number for number, one in enumerate(drawn) if one is not None and one.points]
    if not known:
        return [False] * len(drawn)
    common = set.intersection(*(set(drawn[number].numbers) for number in known))  # type: ignore[union-attr]
    rows = []
    for number in known:
        one = drawn[number]
        assert one is not None
        rows.append([points for day, points in zip(one.numbers, one.points, strict=True) if day in common])
    kept = not_beaten(np.array(rows)) if len(common) > 1 else [True] * len(known)
    found = dict(zip(known, kept, strict=True))
    return [found.get(number, False) for number in range(len(drawn))]


def not_beaten(points: Array) -> list[bool]:
    """Of values those that no other one surely beats.

    Parameters
    ----------
    points : (k, n) array
        Of each value in each match, two matches or more.
    """
    values, matches = points.shape
    if values == 1:
        return [True]
    factor = student(matches - 1, 1.0 - 2.0 * ALPHA / (values - 1))  # one-sided
    kept = []
    for own in points:
        ahead = points - own
        mean = ahead.mean(axis=1)
        error = ahead.std(axis=1, ddof=1) / sqrt(matches)
        kept.append(not bool(np.any(mean - factor * error > LEVEL)))
    return kept
