"""Measured against predicted, step by step; and what the estimates rest on."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np
import numpy.typing as npt

from simbot.scenario.measured import TRIES, Condition, Measured
from simbot.studies.fit_data import PRESS
from simbot.studies.fit_results import Compared, RestsOn
from simbot.studies.fit_unknowns import Source, pure_scatter, with_spread
from simbot.studies.likelihood import Data, Likelihood, Solved
from simbot.studies.predicted import NEVER_S, Predictor
from simbot.studies.unknowns import Unknown

Array = npt.NDArray[np.float64]
SURE = 2.0  # standard deviations
OFF = 3.0  # standard errors from which on a mean is said not to fit
FAR = 0.25  # of a fitted time: what else is not known in the files explains no more (our choice, no source)
MOST = 3  # numbers that are told
LEAST_MOVE = 0.1  # of a half-width: what moves an estimate less is not told


def compared(
    measured: Sequence[Measured],
    conditions: Sequence[Condition],
    data: Data,
    before: Array,
    after: Array,
    whole: Likelihood,
    best: Solved,
) -> tuple[Compared, ...]:
    whole.scatter = best.scatter
    sd = whole.sd()
    rows = []
    for place, condition in enumerate(conditions):
        for method in dict.fromkeys(each.method for each in measured if each.condition == condition):
            of_it = np.array([each.condition == condition and each.method == method for each in measured])
            first = measured[int(np.flatnonzero(of_it)[0])]
            values, shifted = data.value[of_it], data.shifted[of_it]
            if method == TRIES:
                tries = float(data.tries[of_it].sum())
                mean, spread = float(values.sum()) / tries, None
                error = sqrt(max(after[place] * (1.0 - after[place]), 1e-9) / tries)
                late, count = 0.0, int(tries)
            else:
                mean, count = float(values.mean()), len(values)
                spread = float(values.std(ddof=1)) if count > 1 else None
                error = sqrt(float(np.mean(sd[of_it] ** 2)) / count)
                late = best.shift if shifted.any() else 0.0
            never = before[place] >= NEVER_S, after[place] >= NEVER_S
            rows.append(
                Compared(
                    first.text, method, condition.battery, count, mean, spread,
                    None if never[0] else float(before[place]),
                    None if never[1] else float(after[place]),
                    None if never[1] or after[place] <= 0.0 else mean / float(after[place]),
                    bool(abs(mean - late - after[place]) > OFF * error),
                    tuple(dict.fromkeys(measured[int(each)].line for each in np.flatnonzero(of_it))),
                )
            )  # fmt: skip
    return tuple(rows)


def stopwatch_off(data: Data, after: Array, reaction: float) -> tuple[str, ...]:
    """Whether the stopwatch's times are all off by more than a reaction explains; its sentence, or none.

    Held against the plain mean of what they are off, not against the shift that is fitted: that is drawn to what a
    reaction explains. Its error is that of the method and of what repeated trials vary by themselves.
    """
    of_it = data.shifted & (after[data.condition] < NEVER_S)
    if not of_it.any():
        return ()
    off = float(np.mean((data.value - after[data.condition])[of_it]))
    error = sqrt((float(np.mean(data.sd[of_it] ** 2)) + pure_scatter(data) ** 2) / int(of_it.sum()))
    most = SURE * PRESS * reaction
    if abs(off) <= most + SURE * error:
        return ()
    return (
        f"the stopwatch's times are {abs(off):.2f} s {'longer' if off > 0.0 else 'shorter'} than fitted on average; a "
        f"reaction of {reaction:g} s explains {most:.2g} s of that at most: was it pressed where the move begins and "
        "ends? Film it, or take these rows out",
    )


def unexplained(
    measured: Sequence[Measured], conditions: Sequence[Condition], data: Data, after: Array
) -> tuple[str, ...]:
    """Whether a move is further off what is fitted than its trials and all else in the files explain; its sentence.

    Its own error is that of the method and of what repeated trials vary by themselves, not the scatter that is fitted:
    that grows with what is off.
    """
    found, varies = [], pure_scatter(data)
    for place, condition in enumerate(conditions):
        of_it = np.flatnonzero(data.condition == place)
        if condition.kind != "move" or not 0.0 < after[place] < NEVER_S:
            continue
        mean, sd = float(np.mean(data.value[of_it])), data.sd[of_it]
        shared = data.shift_sd if data.shifted[of_it].any() else 0.0
        error = sqrt((float(np.mean(sd**2)) + varies**2) / len(of_it) + shared**2)
        off = abs(mean - float(after[place]))
        if off > max(OFF * error, FAR * float(after[place])):
            found.append((off / float(after[place]), place, mean))
    if not found:
        return ()
    _, place, mean = max(found)
    first = next(each for each in measured if each.condition == conditions[place])
    more = f" ({len(found) - 1} more moves are as far off)" if len(found) > 1 else ""
    return (
        f"{first.text} on {first.condition.battery}: {mean:.3f} s were measured and {after[place]:.3f} s are fitted, "
        f"while its trials differ by less{more}: no value of what is fitted explains all these times. Was another move "
        "timed, was something in its way, or is another number of the files wrong?",
    )


def rests_on(
    source: Source,
    unknowns: Sequence[Unknown],
    told: Sequence[int],
    conditions: Sequence[Condition],
    whole: Likelihood,
    best: Solved,
) -> tuple[RestsOn, ...]:
    """By how much the estimates move where a number with a spread that was not fitted is its spread off."""
    if not told or any(each.kind == "cycle" for each in conditions):
        return ()
    fitted = {unknown.given.key for unknown in unknowns}
    others = [each for each in with_spread(source, conditions) if each.given.key not in fitted]
    whole.scatter = best.scatter
    slopes = best.slopes[:, list(told)]
    inverse = np.linalg.pinv(slopes)
    widths = best.factor * np.sqrt(np.diag(np.linalg.pinv(slopes.T @ slopes)))
    rows = []
    for other in others:
        predictor = Predictor(source.plan, [*unknowns, other], conditions)
        there = Likelihood(
            whole.data,
            lambda numbers, predictor=predictor, other=other: predictor(  # type: ignore[misc]
                np.append(numbers, other.given.number + other.spread)
            ),
            whole.start, whole.low, whole.high, whole.scale,
        )  # fmt: skip
        there.scatter = best.scatter
        shift = -inverse @ (there.residuals(best.numbers) - whole.residuals(best.numbers))
        share = float(np.max(np.abs(shift) / widths))
        if share > LEAST_MOVE:
            moves: list[float | None] = [None] * len(unknowns)
            for place, number in enumerate(told):
                if abs(shift[place]) > LEAST_MOVE * widths[place]:
                    moves[number] = float(shift[place]) * unknowns[number].scale
            rows.append((share, RestsOn(other.name, other.given.text, tuple(moves))))
    rows.sort(key=lambda row: -row[0])
    return tuple(row for _, row in rows[:MOST])
