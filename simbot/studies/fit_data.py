"""Measurements as the likelihood takes them: the errors of the methods.

A stopwatch: each of its two presses varies by a quarter of the reaction time, and what is left of the two reactions,
late at the start and foreseen at the end, shifts all times alike, by another quarter (standard deviations; common
practice, no source). Frames or rows of a log: begin and end are late by anything up to a period each, so that the
difference is a triangle with sd period/sqrt(6). A stated error is the expanded one, k = 2 (JCGM 100). A cycle varies
as the simulated ones do.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np

from simbot.scenario.measured import FRAMES, STOPWATCH, TRIES, Condition, Measured
from simbot.studies.likelihood import Data
from simbot.studies.predicted import Predictor

PRESS = 0.25  # of the reaction time
EXPANDED = 2.0


def error_of(each: Measured, reaction: float) -> float:
    """Standard deviation of one time by its method [s]."""
    if each.error is not None:
        return each.error / EXPANDED
    return each.period / sqrt(6.0) if each.method == FRAMES else sqrt(2.0) * PRESS * reaction


def data_of(
    measured: Sequence[Measured], conditions: Sequence[Condition], reaction: float, predictor: Predictor
) -> Data:
    """All measurements as arrays."""
    places = {condition: place for place, condition in enumerate(conditions)}
    sd = np.array([error_of(each, reaction) for each in measured])
    kinds = np.array([each.condition.kind for each in measured])
    for battery in dict.fromkeys(
        each.condition.battery for each in measured if each.condition.kind == "cycle"
    ):
        times = predictor.cycle_times(predictor.plan, battery)
        of_it = np.array(
            [each.condition.kind == "cycle" and each.condition.battery == battery for each in measured]
        )
        luck = float(np.std(times, ddof=1)) if len(times) > 1 else 0.0
        sd[of_it] = np.sqrt(sd[of_it] ** 2 + luck**2 * (1.0 + of_it.sum() / len(times)))
    return Data(
        np.array([places[each.condition] for each in measured]),
        np.array([each.value for each in measured]),
        sd,
        (kinds == "move") | (kinds == "line"),
        np.array([each.method == STOPWATCH and each.error is None for each in measured]),
        np.array([float(each.tries) if each.method == TRIES else 0.0 for each in measured]),
        PRESS * reaction,
    )
