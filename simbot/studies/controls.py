"""What is known of the luck that matches had: quantities whose mean is 0 whatever is played (see `regressed`)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from simbot.scenario.model import Plan
from simbot.studies.chaos import hermite
from simbot.studies.one_match import MatchRecord
from simbot.studies.sources import score_of, unknowns_of

Array = npt.NDArray[np.float64]
DEGREE = 3  # of the polynomials


def fortunes(records: Sequence[MatchRecord], names: Sequence[str] | None = None) -> Array:
    """Successes beyond those to be expected, and the variance of that: (matches, things, 2).

    A thing is what succeeds by chance (of `names`, if given).
    """
    chosen = names_of(records) if names is None else names
    rows = [[(one.fortune.get(name, 0.0), one.risk.get(name, 0.0)) for name in chosen] for one in records]
    return np.array(rows).reshape(len(records), len(chosen), 2)


def names_of(records: Sequence[MatchRecord]) -> list[str]:
    """What succeeds by chance in some matches."""
    return sorted({name for record in records for name in record.fortune})


class Known:
    """Where what was drawn for the robots and batteries of some plans lies in its spread.

    Points hang on it as they will, often by a threshold far out. So the controls are a normal score's polynomials of
    degrees 1, 2 and 3, a group a degree; the mean of each is 0.

    Parameters
    ----------
    plans : sequence of Plan
    seed : int
    states : sequence of str
        Battery states of the matches.
    """

    def __init__(self, plans: Sequence[Plan], seed: int, states: Sequence[str]) -> None:
        self.unknowns = list(
            {each.key: each for plan in plans for each in unknowns_of(plan, states)}.values()
        )
        self.seed = seed
        self.kept: dict[int, Array] = {}

    def groups(self, numbers: Sequence[int]) -> list[Array]:
        """Of each degree the polynomials, (matches, unknowns)."""
        fresh = [number for number in dict.fromkeys(numbers) if number not in self.kept]
        scores = np.array([[score_of(each, self.seed, number) for each in self.unknowns] for number in fresh])
        degrees = hermite(scores.reshape(len(fresh), len(self.unknowns)), DEGREE)[1:]
        self.kept.update(zip(fresh, degrees.swapaxes(0, 1), strict=True))
        shape = (len(numbers), DEGREE, len(self.unknowns))
        return list(np.array([self.kept[number] for number in numbers]).reshape(shape).swapaxes(0, 1))
