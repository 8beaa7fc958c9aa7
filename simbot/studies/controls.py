"""What is known of matches: how lucky they were (quantities whose mean is 0 whatever is played, see `regressed`), and
where their robots lie in their spreads (see `crossed`)."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256

import numpy as np
import numpy.typing as npt

from simbot.scenario.model import Plan
from simbot.studies.chaos import hermite
from simbot.studies.crossed import BLOCK, freed, weights_by
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord
from simbot.studies.sources import differs_by_day, score_of, unknowns_of

Array = npt.NDArray[np.float64]
DEGREE = 3  # of the curves by which a quantity is said to move a mean
MOST_KEPT = 256  # answers: every look at a comparison asks for those of all looks before it


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


def luckier(there: Sequence[MatchRecord], here: Sequence[MatchRecord]) -> Array:
    """By how much more the matches were lucky there than here, and the variance of that: (matches, things, 2).

    Of the same matches under the same luck, played in two ways: a try that both make is the same try.
    """
    names = names_of([*there, *here])
    luck = fortunes(there, names)[..., 0] - fortunes(here, names)[..., 0]
    sizes = [[_apart(a, b, name) for name in names] for a, b in zip(there, here, strict=True)]
    return np.stack([luck, np.array(sizes).reshape(luck.shape)], axis=-1)


def _apart(there: MatchRecord, here: MatchRecord, name: str) -> float:
    """Variance of the difference of both surpluses, as it was before the tries.

    With chances p and q, a try that both make succeeds in one of them alone with |p - q|, and one that one makes is
    its own. Of what surely succeeds or fails the number of tries does not matter.
    """
    one, other = (each.risk.get(name, 0.0) for each in (there, here))
    if one == 0.0 or other == 0.0:
        return one + other
    p, q = there.chance[name], here.chance[name]
    n, m = one / (p * (1.0 - p)), other / (q * (1.0 - q))
    both = min(n, m)
    apart = abs(p - q)
    return both * apart * (1.0 - apart) + (n - both) * p * (1.0 - p) + (m - both) * q * (1.0 - q)


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
        self.by_day = any(differs_by_day(plan, states) for plan in plans)
        self._scores: dict[int, Array] = {}
        self._freed: dict[bytes, Array] = {}
        self._weights: dict[bytes, list[Array]] = {}

    def scores(self, numbers: Sequence[int]) -> Array:
        """Normal scores, (matches, unknowns)."""
        for number in numbers:
            if number not in self._scores:
                own = [score_of(each, self.seed, number) for each in self.unknowns]
                self._scores[number] = np.array(own, dtype=float)
        return np.array([self._scores[number] for number in numbers]).reshape(len(numbers), -1)

    def curves(self, numbers: Sequence[int]) -> list[Array]:
        """Polynomials of the scores, of degrees 1 to 3: (matches, unknowns) each."""
        return list(hermite(self.scores(numbers), DEGREE)[1:])

    def frees(self, numbers: npt.NDArray[np.int64]) -> bool:
        """Whether there are days enough that tell of one another, and robots that differ."""
        robots = any(not each.each_match for each in self.unknowns)
        return robots and len(np.unique(numbers // (MATCHES_A_DAY * BLOCK))) > 1

    def freed(self, values: Array, numbers: npt.NDArray[np.int64], luck: Array, by: Array) -> Array:
        """Values of matches, a column or several, freed of where their robots lie, which matters as it does to others
        (`crossed`); luck: (matches, things, 2)."""
        matters = sha256(b"".join(each.tobytes() for each in (numbers, luck, by))).digest()
        key = sha256(matters + values.tobytes()).digest()
        if key not in self._freed:
            if len(self._freed) >= MOST_KEPT:
                self._freed.clear()
                self._weights.clear()
            known = numbers // MATCHES_A_DAY, self.scores(numbers.tolist()), luck[..., 0]
            if matters not in self._weights:
                self._weights[matters] = weights_by(by, *known)
            self._freed[key] = freed(values, *known, self._weights[matters])
        return self._freed[key]
