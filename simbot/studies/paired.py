"""Plans, or variants of one plan, under the same luck: differences match by match, and when they are sure.

The same match of the same day meets the same robot of the day, the same battery and the same draws wherever the
plans do the same thing, so that what they share cancels out of a difference.

Looking again and again would find a difference sooner or later where there is none. So the k-th look is made at
the level alpha/(k (k + 1)); these add up to alpha (Bonferroni's inequality), however many looks there are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simbot.scenario.model import Plan
from simbot.studies.one_match import MatchRecord, totals_of
from simbot.studies.statistics import Figure, days_for, mean_of, parts_of, share_of, student
from simbot.studies.workers import Team, rounds

ALPHA = 0.05
ROUND = 4  # days between looks
LEAST_DAYS = 8
Array = npt.NDArray[np.float64]
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Difference:
    """The first plan's points less the second's."""

    mean: Figure
    first_wins: Figure  # share of matches
    ties: float
    first_wins_day: float | None  # share of days, by their averages
    luck_sd: float | None
    ignorance_sd: float | None
    sure: bool  # whether the sign is settled by the sequential rule
    days_needed: int | None  # for an interval without 0, if the difference is what it seems


def play_together(
    plans: Sequence[Plan],
    seed: int,
    states: Sequence[str],
    runs: int,
    workers: int,
    progress: Progress,
    settled: Callable[[list[list[MatchRecord]]], bool] = lambda records: False,
    cluster: str | None = None,
) -> list[list[MatchRecord]]:
    """Records of the same matches for every plan, some days at a time, until settled or all are played."""
    records: list[list[MatchRecord]] = [[] for _ in plans]
    with Team(plans, seed, workers, cluster) as team:
        for played in team.play(rounds(states, runs, ROUND)):
            for own, more in zip(records, played, strict=True):
                own += more
            progress(len(records[0]), runs)
            if settled(records):
                break
    return records


def totals(
    first: Sequence[MatchRecord], second: Sequence[MatchRecord]
) -> tuple[Array, Array, npt.NDArray[np.int64]]:
    """Points of both in the matches that both played, and the days of these."""
    pairs = [(a, b) for a, b in zip(first, second, strict=True) if not a.fault and not b.fault]
    one, days = totals_of([a for a, _ in pairs])
    return one, totals_of([b for _, b in pairs])[0], days


def level_of(look: int) -> float:
    """Error that the k-th look may make, from 1."""
    return ALPHA / (look * (look + 1))


def is_sure(first: Sequence[MatchRecord], second: Sequence[MatchRecord]) -> bool:
    """Whether the sign of the mean difference is settled at some look up to now."""
    one, other, days = totals(first, second)
    return settled_at(one - other, days) is not None


def settled_at(difference: Array, days: npt.NDArray[np.int64]) -> int | None:
    """Number of days after which the sign was settled by the sequential rule; None: it is not."""
    last = int(days.max()) + 1 if len(days) else 0
    for look, count in enumerate(range(LEAST_DAYS, last + 1, ROUND), start=1):
        chosen = days < count
        if excludes_zero(difference[chosen], days[chosen], level_of(look)):
            return count
    return None


def excludes_zero(difference: Array, days: npt.NDArray[np.int64], level: float) -> bool:
    numbers = np.unique(days)
    if len(numbers) < 2:
        return False
    figure = mean_of(difference, days)
    assert figure.interval is not None
    degrees = len(numbers) - 1
    half = (figure.interval[1] - figure.interval[0]) / 2 * student(degrees, 1.0 - level) / student(degrees)
    return abs(figure.value) > half


def difference_of(first: Sequence[MatchRecord], second: Sequence[MatchRecord]) -> Difference:
    """The paired difference with everything that is said of it."""
    one, other, days = totals(first, second)
    apart = one - other
    mean = mean_of(apart, days)
    groups = [apart[days == day] for day in np.unique(days)]
    luck, ignorance = parts_of(groups)
    by_day = [float(group.mean()) for group in groups]
    return Difference(
        mean,
        share_of(apart > 0, days),
        float((apart == 0).mean()),
        sum(each > 0 for each in by_day) / len(by_day) if len(by_day) > 1 else None,
        luck,
        ignorance,
        settled_at(apart, days) is not None,
        days_for(mean, len(groups), abs(mean.value)),
    )
