"""Which measurement would narrow a fit most: the information of candidates, added to that of the data.

The candidate that leaves the least told unknown best told (a step of an E-optimal design; Atkinson and Donev,
Optimum Experimental Designs, 1992, section 9.1; the section from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import sqrt

import numpy as np
import numpy.typing as npt

from simbot.physics.build import DRIVES
from simbot.scenario.measured import FRAMES, Measured, text_of
from simbot.scenario.measured import Condition as Candidate
from simbot.scenario.model import Plan
from simbot.studies.fit_results import Next
from simbot.studies.likelihood import STEP
from simbot.studies.predicted import NEVER_S, Predictor
from simbot.studies.unknowns import Unknown

Array = npt.NDArray[np.float64]
TRIALS = 5
FILM_S = 1.0 / 30.0  # of a frame, where nobody has filmed yet
WORTH = 0.8  # of the half-width: what narrows it less is not worth a trial
LOADS = (0.0, 1.0)  # kg
DISTANCES = (0.5, 2.0)  # m


def next_of(
    plan: Plan,
    unknowns: Sequence[Unknown],
    numbers: Array,
    information: Array,
    factor: float,
    scatter: float,
    measured: Sequence[Measured],
) -> tuple[Next, ...]:
    """The candidate that helps most, if one does.

    `information`: of the data on the unknowns over their scales.
    """
    candidates = list(_candidates(plan, unknowns))
    if not candidates or not unknowns:
        return ()
    periods = [each.period for each in measured if each.method == FRAMES]
    error = sqrt((min(periods, default=FILM_S)) ** 2 / 6.0 + scatter**2)
    rows = _slopes(plan, unknowns, numbers, candidates) / error
    before = _half_widths(information, factor)
    worst = int(np.argmax(before))
    widths = [_half_widths(information + TRIALS * np.outer(row, row), factor) for row in rows]
    place = int(np.argmin([np.max(each) for each in widths]))
    after = float(widths[place][worst])
    if not after < WORTH * min(before[worst], 1e6) or after > 1.0:
        return ()
    scale, told = unknowns[worst].scale, before[worst] <= 1.0
    candidate = candidates[place]
    return (
        Next(
            text_of(plan, candidate),
            candidate.battery,
            unknowns[worst].name,
            float(before[worst]) * scale if told else None,
            after * scale,
        ),
    )


def _candidates(plan: Plan, unknowns: Sequence[Unknown]) -> Iterator[Candidate]:
    """Moves of the mechanisms that the unknowns belong to, there and back, on every battery state."""
    names = dict.fromkeys(
        str(leaf.where[2])
        for unknown in unknowns
        for leaf in unknown.leaves
        if leaf.where[:2] == ("robot", "mechanisms")
    )
    for name in names or list(plan.robot.mechanisms):
        spec = plan.robot.mechanisms[name]
        for state in plan.robot.battery:
            if spec.kind in DRIVES:
                for far in DISTANCES:
                    yield Candidate("move", state.name, name, 0.0, far)
            elif "travel" in spec.values and spec.coordinate != "word":
                low, high = (float(end) for end in spec.values["travel"])
                loads = LOADS if spec.kind in ("slide", "arm") else LOADS[:1]
                for start, target in ((low, high), (high, low)):
                    for load in loads:
                        yield Candidate("move", state.name, name, start, target, False, load)


def _slopes(
    plan: Plan, unknowns: Sequence[Unknown], numbers: Array, candidates: Sequence[Candidate]
) -> Array:
    """Derivatives of the candidates' times by the unknowns over their scales [s]; 0 for what never arrives."""
    predict = Predictor(plan, unknowns, candidates)
    base = predict(numbers)
    columns = []
    for place, unknown in enumerate(unknowns):
        moved = numbers.copy()
        step = STEP * unknown.scale
        step = -step if moved[place] + step > unknown.high else step
        moved[place] += step
        there = predict(moved)
        column = (there - base) / (step / unknown.scale)
        column[(base >= NEVER_S) | (there >= NEVER_S)] = 0.0
        columns.append(column)
    return np.array(columns).T


def _half_widths(information: Array, factor: float) -> Array:
    """Of each unknown over its scale; inf where the data do not tell it."""
    values, vectors = np.linalg.eigh(information)
    safe = np.maximum(values, 1e-12 * max(float(values[-1]), 1e-12))
    return np.asarray(factor * np.sqrt(np.sum(vectors**2 / safe, axis=1)))
