"""Plans, or variants of one plan, under the same luck: differences match by match, and when they are sure.

The same match of the same day meets the same robot of the day, the same battery and the same draws wherever the
plans do the same thing, so that what they share cancels out of a difference.

Looking again and again would find a difference sooner or later where there is none. So the k-th look is made at
the level alpha/(k (k + 1)); these add up to alpha (Bonferroni's inequality), however many looks there are. Where
the best of several plans is sought, alpha is shared among its rivals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simbot.scenario.model import Plan
from simbot.studies.allocation import shares, starving
from simbot.studies.asked import Asked
from simbot.studies.ledger import Ledger
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord, played, totals_of
from simbot.studies.statistics import (
    Figure,
    days_for,
    half_width,
    mean_of,
    parts_of,
    share_of,
    student,
    tally_of,
)
from simbot.studies.workers import Round, rounds

ALPHA = 0.05
ROUND = 5  # days between looks
LEAST_DAYS = 10  # in which each unknown goes through all tenths of its spread: no sooner is anything settled
Array = npt.NDArray[np.float64]


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
    tally: dict[float, int]  # matches by their difference


def play_together(ledger: Ledger, plans: Sequence[Plan], asked: Asked) -> list[list[MatchRecord]]:
    """Records of the same matches for every plan; all that are asked for."""
    return ledger.play(plans, every_match(asked))


def every_match(asked: Asked) -> Round:
    """All that are asked for."""
    return [match for matches in rounds(asked.states, asked.runs, ROUND) for match in matches]


def play_off(
    ledger: Ledger, plans: Sequence[Plan], asked: Asked, records: list[list[MatchRecord]]
) -> list[list[MatchRecord]]:
    """Play until the best plan is settled against every other, or all is played; `records` is filled.

    All plans are played for the first days; from then on, of the rivals that are not beaten yet and the best, the
    half that lies furthest behind its share (see `allocation`). The best is never played less than a rival, so
    that they can be held against each other match by match.
    """
    count = len(plans)

    def advance(numbers: Sequence[int]) -> bool:
        turns = {n: next(rounds(asked.states, asked.runs, ROUND, len(records[n])), []) for n in numbers}
        for n, more in zip(turns, ledger.play_each([(plans[n], turns[n]) for n in turns]), strict=True):
            records[n] += more
        return any(turns.values())

    first = next(rounds(asked.states, min(LEAST_DAYS * MATCHES_A_DAY, asked.runs), LEAST_DAYS))
    for own, more in zip(records, ledger.play(plans, first), strict=True):
        own += more
    while True:
        best = best_of(records)
        open_ones = [n for n in range(count) if n != best and _is_open(asked, records, best, n)]
        if not open_ones:
            return records
        days = [np.array([group.mean() for group in by_day(own)]) for own in records]
        wanted = shares([float(own.mean()) for own in days], [float(own.std(ddof=1)) for own in days])
        have = [len(own) for own in records]
        rivals = [n for n in starving(have, wanted, open_ones, ROUND * MATCHES_A_DAY) if have[n] < asked.runs]
        chosen = rivals[: max(1, count // 2)]
        if not chosen:
            return records
        most = max(len(records[n]) for n in chosen)
        if most >= have[best] or starving(have, wanted, [best, *chosen], 0)[0] == best:
            chosen.append(best)
        advance(chosen)


def _is_open(asked: Asked, records: Sequence[Sequence[MatchRecord]], best: int, rival: int) -> bool:
    """Whether a rival of the best is to be played more: its difference is not settled, or not known so well as asked.

    Asked for a half-width, it is the closest rival's that has to be so narrow; one that is surely behind is done.
    """
    count = len(records)
    sure = is_sure(records[best], records[rival], ALPHA / (count - 1))
    if asked.until_halfwidth is None:
        return not sure
    others = [number for number in range(count) if number != best]
    closest = max(others, key=lambda number: float(totals_of(played(records[number]))[0].mean()))
    if sure and rival != closest:
        return False
    one, other, days = totals(records[best], records[rival])
    return half_width(mean_of(one - other, days)) > asked.until_halfwidth


def best_of(records: Sequence[Sequence[MatchRecord]]) -> int:
    """The plan whose mean is highest."""
    return max(range(len(records)), key=lambda n: float(totals_of(played(records[n]))[0].mean()))


def by_day(records: Sequence[MatchRecord]) -> list[Array]:
    """Points of the matches of each day."""
    values, days = totals_of(played(records))
    return [values[days == day] for day in np.unique(days)]


def totals(
    first: Sequence[MatchRecord], second: Sequence[MatchRecord]
) -> tuple[Array, Array, npt.NDArray[np.int64]]:
    """Points of both in the matches that both played, and the days of these."""
    pairs = [(a, b) for a, b in zip(first, second, strict=False) if not a.fault and not b.fault]
    one, days = totals_of([a for a, _ in pairs])
    return one, totals_of([b for _, b in pairs])[0], days


def level_of(look: int, alpha: float = ALPHA) -> float:
    """Error that the k-th look may make, from 1."""
    return alpha / (look * (look + 1))


def is_sure(first: Sequence[MatchRecord], second: Sequence[MatchRecord], alpha: float = ALPHA) -> bool:
    """Whether the sign of the mean difference is settled at some look up to now."""
    one, other, days = totals(first, second)
    return settled_at(one - other, days, alpha) is not None


def settled_at(difference: Array, days: npt.NDArray[np.int64], alpha: float = ALPHA) -> int | None:
    """Number of days after which the sign was settled by the sequential rule; None: it is not."""
    last = int(days.max()) + 1 if len(days) else 0
    for look, count in enumerate(range(LEAST_DAYS, last + 1, ROUND), start=1):
        chosen = days < count
        if excludes_zero(difference[chosen], days[chosen], level_of(look, alpha)):
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


def difference_of(
    first: Sequence[MatchRecord], second: Sequence[MatchRecord], alpha: float = ALPHA
) -> Difference:
    """The paired difference, over the matches that both played, with everything that is said of it."""
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
        settled_at(apart, days, alpha) is not None,
        days_for(mean, len(groups), abs(mean.value)),
        tally_of(apart),
    )
