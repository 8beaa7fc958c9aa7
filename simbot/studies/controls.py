"""What is known of the luck that matches had: quantities whose mean is 0 whatever is played (see `regressed`)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from simbot.scenario.model import Plan
from simbot.studies.one_match import MatchRecord
from simbot.studies.sources import score_of, unknowns_of

Array = npt.NDArray[np.float64]


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
        self.kept: dict[int, list[float]] = {}

    def scores(self, numbers: Sequence[int]) -> Array:
        """Standard normal scores, (matches, unknowns)."""
        for number in numbers:
            if number not in self.kept:
                self.kept[number] = [score_of(each, self.seed, number) for each in self.unknowns]
        return np.array([self.kept[number] for number in numbers]).reshape(len(numbers), len(self.unknowns))
