"""Measured values to unknowns of the files: estimates with intervals, and what the data cannot tell apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path

import numpy as np
import numpy.typing as npt

from simbot.scenario.measured import Condition, Measured
from simbot.studies.fit_compared import compared, rests_on, stopwatch_off, unexplained
from simbot.studies.fit_data import data_of
from simbot.studies.fit_next import next_of
from simbot.studies.fit_possible import check_possible
from simbot.studies.fit_results import FitAsked, FitResult, Fitted, Interval
from simbot.studies.fit_unknowns import Source, chosen_unknowns, likelihood_of, named_unknowns
from simbot.studies.fit_work import Work
from simbot.studies.jumps import Jump, jumps_of, widened
from simbot.studies.likelihood import Better, Likelihood, Solved, directions, groups_not_told
from simbot.studies.predicted import NEVER_S, Predictor
from simbot.studies.slips import slips_of
from simbot.studies.unknowns import Unknown

Array = npt.NDArray[np.float64]
Progress = Callable[[int, int], None]
BEYOND = 1e-2  # of an estimate or its scale: so near to where a move no longer arrives it is a limit


def fit(
    source: Source,
    file: Path,
    measured: Sequence[Measured],
    named: Sequence[str],
    asked: FitAsked,
    progress: Progress,
    work: Work | None = None,
) -> FitResult:
    """Fit the unknowns that are named, or those with a spread that the data tell better than the file.

    Parameters
    ----------
    source : Source
    file : Path
        Of the measurements, for messages.
    measured : sequence of Measured
    named : sequence of str
        Keys, in full or short.
    asked : FitAsked
    progress : callable
        Told of parts done and parts in all.
    work : Work, optional
        Who makes the predictions, and those from before an interruption.

    Raises
    ------
    SimbotError
        Where a key means nothing, the data say nothing, or a time is not possible.
    """
    slips = slips_of(measured, asked.reaction)
    every, kept = measured, [place for place in range(len(measured)) if place not in slips]
    measured = [every[place] for place in kept]
    conditions = list(dict.fromkeys(each.condition for each in measured))
    left: tuple[str, ...] = ()
    if named:
        unknowns = named_unknowns(source, named)
    else:
        unknowns, left = chosen_unknowns(source, measured, conditions, asked, file, work)
    predictor = Predictor(source.plan, unknowns, conditions, asked.seed, asked.matches, work)
    data = data_of(measured, conditions, asked.reaction, predictor)
    start = np.array([unknown.given.number for unknown in unknowns])
    before = predictor(start)
    doubts = check_possible(file, source.plan, unknowns, measured, data, conditions, predictor)
    whole = likelihood_of(data, predictor, unknowns, start)
    parts = 2 + len(unknowns)
    progress(0, parts)
    whole.start = whole.begin(asked.seed)
    found = None
    while found is None:
        try:
            found = _found(whole, unknowns, start, asked.seed, progress)
        except Better as better:
            whole.start = better.numbers
    best = found.best
    after = predictor(best.numbers)
    information = best.slopes.T @ best.slopes
    spread = directions(information, best.factor)
    result = FitResult(
        source.plan,
        asked,
        tuple(every),
        found.fitted,
        not named,
        left,
        compared(measured, conditions, data, before, after, whole, best),
        tuple(kept[place] for place in found.outliers),
        best.scatter,
        best.shift if data.has_shift else None,
        spread[0].half_width / spread[-1].half_width if isfinite(spread[0].half_width) else None,
        rests_on(source, unknowns, found.told, conditions, whole, best),
        next_of(source.plan, unknowns, best.numbers, information, best.factor, best.scatter, measured),
        (
            *(
                doubts
                or unexplained(measured, conditions, data, after)
                or stopwatch_off(data, after, asked.reaction)
            ),
            *_jump_texts(found.jumps, unknowns, measured, conditions),
        ),
        slips,
    )
    progress(parts, parts)
    return result


@dataclass(frozen=True)
class _Found:
    best: Solved
    fitted: tuple[Fitted, ...]
    told: tuple[int, ...]
    outliers: tuple[int, ...]
    jumps: tuple[Jump, ...]


def _found(
    whole: Likelihood, unknowns: Sequence[Unknown], given: Array, seed: int, progress: Progress
) -> _Found:
    """The estimates; where some are not told apart, with all but one of these as given."""
    every = range(len(unknowns))
    best = whole.solve()
    progress(1, 2 + len(unknowns))
    groups = groups_not_told(best.information, best.factor)
    members = {number for group in groups for number in group}
    told = tuple(number for number in every if number not in members)
    free = [*told, *(group[0] for group in groups if len(group) > 1)]
    begin = whole.start
    if groups:
        whole.start = np.where([number in members for number in every], given, best.numbers)
        best = whole.solve(free)
    outliers = whole.outliers(best)
    without = _without(whole, outliers, best, free) if outliers else None
    profiles = {}
    for number in told:
        profiles[number] = whole.profile(best, number, free)
        progress(2 + number, 2 + len(unknowns))
    jumps = jumps_of(whole, best, profiles)
    if jumps:
        profiles = widened(whole, best, profiles, free, seed)
    fitted = []
    for number, unknown in enumerate(unknowns):
        group = next((group for group in groups if number in group), ())
        if group:
            names = tuple(unknowns[other].name for other in group if other != number)
            fitted.append(Fitted(unknown, None, None, names, _if_held(whole, number, told)))
        else:
            profile = profiles[number]
            other = None if without is None else float(without[number])
            value = float(best.numbers[number])
            interval: Interval = profile.low, profile.high
            limit = _limit(whole, best, number)
            if limit is not None:
                interval = (interval[0], None) if limit == "most" else (None, interval[1])
            inflation = best.inflation(free.index(number))
            fitted.append(Fitted(unknown, value, interval, (), None, other, inflation, limit))
    whole.start = begin
    return _Found(best, tuple(fitted), told, tuple(outliers), tuple(jumps))


def _limit(whole: Likelihood, best: Solved, number: int) -> str | None:
    """`most` or `least` where a measured move no longer arrives just beyond the estimate; None: it does."""
    arrives = whole.predict(best.numbers) < NEVER_S
    for word, sign in (("most", 1.0), ("least", -1.0)):
        beyond = best.numbers.copy()
        beyond[number] += sign * BEYOND * max(whole.scale[number], abs(best.numbers[number]))
        beyond = np.clip(beyond, whole.low, whole.high)
        if np.any(arrives & (whole.predict(beyond) >= NEVER_S)):
            return word
    return None


def _jump_texts(
    jumps: Sequence[Jump],
    unknowns: Sequence[Unknown],
    measured: Sequence[Measured],
    conditions: Sequence[Condition],
) -> tuple[str, ...]:
    """One sentence on all jumps, with the largest."""
    if not jumps:
        return ()
    worst = max(jumps, key=lambda jump: jump.size)
    unknown, condition = unknowns[worst.unknown], conditions[worst.condition]
    name = next(each.text for each in measured if each.condition == condition)
    more = f" ({len(jumps) - 1} more moves have such a place)" if len(jumps) > 1 else ""
    return (
        f"the predicted time of {name} on {condition.battery} jumps by {1000 * worst.size:.0f} ms where {unknown.name} "
        f"passes {worst.near:.3g} {unknown.given.unit}, as its control just swings out of the window or just does "
        f"not{more}; the intervals take that in as far as it was found and may still be too narrow: moves at full "
        "effort, or timed at a point they pass, tell more",
    )


def _if_held(whole: Likelihood, number: int, told: Sequence[int]) -> tuple[float, Interval] | None:
    """One that is not told apart, where the others of its kind are as the file says; None: not told then either."""
    alone = [*told, number]
    best = whole.solve(alone)
    if any(alone.index(number) in group for group in groups_not_told(best.information, best.factor)):
        return None
    profile = whole.profile(best, number, alone)
    return float(best.numbers[number]), (profile.low, profile.high)


def _without(whole: Likelihood, outliers: Sequence[int], best: Solved, free: Sequence[int]) -> Array:
    """The estimates without the outliers."""
    data = whole.data.without(outliers)
    return (
        Likelihood(data, whole.predict, best.numbers, whole.low, whole.high, whole.scale).solve(free).numbers
    )
