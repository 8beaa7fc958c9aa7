"""Means, quantiles and their intervals over matches that belong to days.

Matches of one day share a robot, so they are not independent: days are. The mean's interval is Student's t over
the days' means, a share's that of as many independent matches as would be as uncertain; those of the other
figures are percentiles of a bootstrap over days (Efron, 1979). How much of the spread is luck and how much is
ignorance of the robot is the one-way analysis of variance.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, inf, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
RESAMPLES = 400
NORMAL_95 = 1.96  # two-sided quantile of the normal distribution


@dataclass(frozen=True)
class Figure:
    """A figure and its 95 % interval; None below two days."""

    value: float
    interval: tuple[float, float] | None


@dataclass(frozen=True)
class Distribution:
    """Points of one match, and the average of a day."""

    runs: int
    days: int
    mean: Figure
    sd: Figure
    p10: Figure
    p50: Figure
    p90: Figure
    day_sd: float | None  # of the average of a day
    day_p10: float | None
    day_p90: float | None
    luck_sd: float | None  # within a day
    ignorance_sd: float | None  # between days
    ignorance_most: float | None = None  # where too few days tell it from luck: it is no more than this


def student(degrees: float, level: float = 0.95) -> float:
    """Quantile of Student's t for a two-sided interval."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.5 + level / 2))


def mean_of(values: Array, days: npt.NDArray[Any]) -> Figure:
    """Mean over all matches, its interval from the days' means (weighted by their matches)."""
    mean = float(values.mean())
    error = _error(values, days)
    if error is None:
        return Figure(mean, None)
    half = student(len(np.unique(days)) - 1) * error
    return Figure(mean, (mean - half, mean + half))


def _error(values: Array, days: npt.NDArray[Any]) -> float | None:
    """Standard error of the mean, days being independent and matches not; None below two days."""
    numbers = np.unique(days)
    count = len(numbers)
    if count < 2:
        return None
    mean = values.mean()
    sums = np.array([(values[days == day] - mean).sum() for day in numbers])
    return sqrt(count / (count - 1) * float((sums**2).sum())) / len(values)


def half_width(figure: Figure) -> float:
    return inf if figure.interval is None else (figure.interval[1] - figure.interval[0]) / 2


def days_for(figure: Figure, days: int, half: float) -> int | None:
    """Days whose mean has an interval of +- half, as far as these days tell; None: they do not."""
    width = half_width(figure)
    if days < 2 or width == inf or half == 0.0:
        return None
    per_day = width * sqrt(days) / student(days - 1)
    return max(2, ceil((NORMAL_95 * per_day / half) ** 2))


def share_of(happened: npt.NDArray[np.bool_], days: npt.NDArray[Any]) -> Figure:
    """Share of the matches in which something happened, and its interval.

    Where days differ by more than luck, that of fewer matches: of so many as would have the same standard error
    if they were independent, less what so few days leave unknown of it (Korn and Graubard, 1998; from memory).
    """
    runs, share = len(happened), float(happened.mean())
    error = _error(happened.astype(float), days)
    count = float(runs)
    if error:
        degrees = len(np.unique(days)) - 1
        alike = share * (1.0 - share) / error**2 * (student(runs - 1) / student(degrees)) ** 2
        count = min(count, alike)
    return proportion(share * count, count)


def proportion(hits: float, runs: float, level: float = 0.95) -> Figure:
    """A share of independent matches and its interval (Clopper and Pearson, 1934)."""
    from scipy.special import betaincinv

    tail = (1 - level) / 2
    low = 0.0 if hits == 0 else float(betaincinv(hits, runs - hits + 1, tail))
    high = 1.0 if hits == runs else float(betaincinv(hits + 1, runs - hits, 1 - tail))
    return Figure(hits / runs, (low, high))


def distribution(values: Array, days: npt.NDArray[Any]) -> Distribution:
    """All of it.

    Parameters
    ----------
    values : (n,) array
        Points of each match.
    days : (n,) array
        Number of the day of each.
    """
    numbers = np.unique(days)
    groups = [values[days == day] for day in numbers]
    draws = _resampled(groups)
    mean = mean_of(values, days)
    means = np.array([group.mean() for group in groups])
    luck, ignorance, most = parts_of(groups)

    def figure(statistic: float, column: int) -> Figure:
        if draws is None:
            return Figure(statistic, None)
        low, high = np.quantile(draws[:, column], (0.025, 0.975))
        return Figure(statistic, (float(low), float(high)))

    p10, p50, p90 = (float(each) for each in np.quantile(values, (0.1, 0.5, 0.9)))
    many = len(groups) > 1
    return Distribution(
        len(values),
        len(groups),
        mean,
        figure(float(values.std(ddof=1)) if len(values) > 1 else 0.0, 0),
        figure(p10, 1),
        figure(p50, 2),
        figure(p90, 3),
        float(means.std(ddof=1)) if many else None,
        float(np.quantile(means, 0.1)) if many else None,
        float(np.quantile(means, 0.9)) if many else None,
        luck,
        ignorance,
        most,
    )


def _resampled(groups: list[Array]) -> Array | None:
    """Standard deviation and quantiles of days drawn again with replacement, a row a resample."""
    if len(groups) < 2:
        return None
    rng = np.random.Generator(np.random.PCG64(0))
    values, sizes = np.concatenate(groups), np.array([len(group) for group in groups])
    begins = np.cumsum(sizes) - sizes
    rows = []
    for _ in range(RESAMPLES):
        days = rng.integers(0, len(groups), len(groups))
        many = sizes[days]
        at = np.repeat(begins[days] - (np.cumsum(many) - many), many) + np.arange(many.sum())
        drawn = values[at]  # one day after the other
        rows.append((drawn.std(ddof=1), *np.quantile(drawn, (0.1, 0.5, 0.9))))
    return np.array(rows)


def parts_of(groups: list[Array]) -> tuple[float | None, float | None, float | None]:
    """Standard deviations within a day and between days (one-way analysis of variance).

    The third is None where days surely differ by more than luck (Fisher's F, 95 %); else what they differ by at most
    (95 %; the exact limit of the ratio of the two, times the luck; Searle, Casella and McCulloch, Variance Components,
    1992, section 3.6, from memory; days that happen to differ by less than luck alone are taken to differ by it).
    """
    from scipy.special import fdtri

    count, total = len(groups), sum(len(group) for group in groups)
    if count < 2 or total <= count:
        return None, None, None
    whole = float(np.concatenate(groups).mean())
    within = sum(float(((group - group.mean()) ** 2).sum()) for group in groups) / (total - count)
    between = sum(len(group) * (float(group.mean()) - whole) ** 2 for group in groups) / (count - 1)
    size = (total - sum(len(group) ** 2 for group in groups) / total) / (count - 1)
    luck, ignorance = sqrt(within), sqrt(max(0.0, (between - within) / size))
    rare, usual = (float(fdtri(count - 1, total - count, level)) for level in (0.95, 0.05))
    if between >= within * rare:
        return luck, ignorance, None
    return luck, ignorance, sqrt(max(0.0, (max(between, within) / usual - within) / size))


def tally_of(values: Array) -> dict[float, int]:
    """How often each value occurs, from the least on."""
    found, times = np.unique(values, return_counts=True)
    return dict(zip(found.tolist(), times.tolist(), strict=True))
