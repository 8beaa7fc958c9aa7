"""Plans, or variants of one plan, under the same luck: differences match by match, and when they are sure.

The same match of the same day meets the same robot of the day, the same battery and the same draws wherever the
plans do the same thing, so that what they share cancels out of a difference. What they do not share is freed of what
is known of its luck (`regressed`) and of its robots (`crossed`).

Looking again and again would find a difference sooner or later where there is none. So the k-th look is made at
the level alpha/(k (k + 1)); these add up to alpha (Bonferroni's inequality; Dunn, Journal of the American Statistical
Association 56, 1961, 52-64, from memory), however many looks there are. Where the best of several plans is sought,
alpha is shared among its rivals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
import numpy.typing as npt

from simbot.scenario.model import Plan
from simbot.studies.allocation import shares, starving
from simbot.studies.asked import Asked
from simbot.studies.controls import Known, fortunes
from simbot.studies.ledger import Ledger
from simbot.studies.moved import Mover, moved_most
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord, played, some_played, totals_of
from simbot.studies.regressed import Fit, regressed
from simbot.studies.schedule import LEAST_STEP, STEP_DAYS, Round, looks_until, matches_in, next_look, schedule
from simbot.studies.statistics import NORMAL_95, Figure, parts_of, share_of, tally_of

ALPHA = 0.05
DAYS_DRAWN = 10_000
MOST_TIMES = 1e6
LEVEL = 1e-9  # points: no more than rounding
LEAST_DIFFERING = 10  # matches
MANY_TIES = 0.5  # of the matches: from single ones it cannot be told then how days of ten differ
Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Difference:
    """The first plan's points less the second's."""

    mean: Figure
    first_wins: Figure  # share of matches
    ties: float
    first_wins_day: (
        float | None
    )  # share of days, by their averages over ten matches; None: so many ties hide it
    luck_sd: float | None
    ignorance_sd: float | None
    sure: bool  # whether the sign is settled by the sequential rule
    days_needed: int | None  # for an interval without 0, if the difference is what it seems
    tally: dict[float, int]  # matches by their difference
    ignorance_most: float | None = None  # where too few days tell it from luck: it is no more than this
    freed_of_luck: bool = False
    freed_of_robots: bool = False  # of where they lie in their spreads
    matches_needed: int | None = None  # those of `days_needed`, and no sooner than anything is looked at
    matches_for_a_point: int | None = None  # for an interval of +- 1 point
    mover: Mover | None = None  # of what is not known, what moves it most


def differing(apart: Difference) -> int:
    """Matches that differ."""
    return sum(times for points, times in apart.tally.items() if points != 0.0)


def differs_seldom(apart: Difference) -> bool:
    """Whether so few matches differ that their mean is far from normal (ten at least: common practice, no source)."""
    return 0 < differing(apart) < LEAST_DIFFERING


def play_together(ledger: Ledger, plans: Sequence[Plan], asked: Asked) -> list[list[MatchRecord]]:
    """Records of the same matches for every plan; all that are asked for."""
    records = ledger.play(plans, schedule(asked.states, asked.runs))
    for own in records:
        some_played(own)
    return records


def play_off(
    ledger: Ledger, plans: Sequence[Plan], asked: Asked, records: list[list[MatchRecord]], known: Known
) -> list[list[MatchRecord]]:
    """Play until the best plan is settled against every other, or all is played; `records` is filled.

    All plans are played for the first days; from then on, of the rivals that are not beaten yet and the best, the
    half that lies furthest behind its share (see `allocation`). The best is never played less than a rival, so
    that they can be held against each other match by match. Asked for a half-width, they are looked at again as soon
    as one of them seems to be known so well.
    """
    count = len(plans)
    matches = schedule(asked.states, asked.runs)

    def turns(numbers: Sequence[int], sooner: int | None = None) -> list[tuple[Plan, Round]]:
        return [(plans[n], until_next_look(matches, len(records[n]), sooner)) for n in numbers]

    def advance(numbers: Sequence[int], sooner: int | None = None) -> None:
        for n, more in zip(numbers, ledger.play_each(turns(numbers, sooner)), strict=True):
            records[n] += more
        ledger.ahead(turns(numbers))  # as it seems, while it is looked at these

    advance(range(count))
    for own in records:
        some_played(own)
    while True:
        best = best_of(records, known)
        open_ones = [n for n in range(count) if n != best and _is_open(asked, records, best, n, known)]
        if not open_ones:
            return records
        days = [np.array([group.mean() for group in by_day(own)]) for own in records]
        wanted = shares(
            [float(own.mean()) for own in days],
            [float(own.std(ddof=1)) if len(own) > 1 else 0.0 for own in days],
        )
        have = [len(own) for own in records]
        rivals = [n for n in starving(have, wanted, open_ones, STEP_DAYS) if have[n] < asked.runs]
        chosen = rivals[: max(1, count // 2)]
        if not chosen:
            return records
        most, sooner = max(len(records[n]) for n in chosen), narrow_at(asked, records, best, chosen, known)
        if most >= have[best] or starving(have, wanted, [best, *chosen], 0)[0] == best:
            chosen.append(best)
        ledger.expect(_still(asked, records, [best, *open_ones], known))
        advance(chosen, sooner)


def _still(
    asked: Asked, records: Sequence[Sequence[MatchRecord]], playing: Sequence[int], known: Known
) -> int:
    """About so many matches are still to play, of the best, which is the first of them, and its open rivals."""
    best, *rivals = playing
    more = 0
    for rival in rivals:
        fit = paired(records[best], records[rival], known).fit()
        wanted = matches_for(fit, asked.until_halfwidth or abs(fit.mean.value)) or asked.runs
        more = max(more, min(wanted, asked.runs) - len(records[rival]), STEP_DAYS)
    return more * len(playing)


def narrow_at(
    asked: Asked, records: Sequence[Sequence[MatchRecord]], best: int, rivals: Sequence[int], known: Known
) -> int | None:
    """Days after which the first of some rivals is known as well as was asked, as it seems; None: none was."""
    if asked.until_halfwidth is None:
        return None
    fits = [paired(records[best], records[rival], known).fit() for rival in rivals]
    return min(
        (
            _times_as_many(int(fit.days[-1]) + 1, fit.half() / asked.until_halfwidth)
            for fit in fits
            if fit.error is not None
        ),
        default=None,
    )


def until_next_look(matches: Round, have: int, sooner: int | None = None) -> Round:
    """Of all matches those from so many on to the next look; all that are left where it does not come.

    `sooner`: days after which it is worth one before that.
    """
    last = matches[have - 1][0] // MATCHES_A_DAY + 1 if have else 0
    look = next_look(last)
    if sooner is not None:
        look = min(look, max(sooner, last + LEAST_STEP))
    return [each for each in matches[have:] if each[0] // MATCHES_A_DAY < look]


def _is_open(
    asked: Asked, records: Sequence[Sequence[MatchRecord]], best: int, rival: int, known: Known
) -> bool:
    """Whether a rival of the best is to be played more: its difference is not settled, or not known so well as asked.

    Asked for a half-width, it is the closest rival's that has to be so narrow; one that is surely behind is done.
    """
    count = len(records)
    pairing = paired(records[best], records[rival], known)
    sure = pairing.settled_at(ALPHA / (count - 1)) is not None
    if asked.until_halfwidth is None:
        return not sure
    others = [number for number in range(count) if number != best]
    closest = max(others, key=lambda number: float(totals_of(played(records[number]))[0].mean()))
    if sure and rival != closest:
        return False
    return pairing.fit().half() > asked.until_halfwidth


def best_of(records: Sequence[Sequence[MatchRecord]], known: Known | None = None) -> int:
    """The plan whose mean is highest: against every other one in the matches that both have played."""
    best = 0
    for number in range(1, len(records)):
        if paired(records[best], records[number], known).fit().mean.value < 0.0:
            best = number
    return best


def by_day(records: Sequence[MatchRecord]) -> list[Array]:
    """Points of the matches of each day."""
    values, days = totals_of(played(records))
    return [values[days == day] for day in np.unique(days)]


def totals(
    first: Sequence[MatchRecord], second: Sequence[MatchRecord]
) -> tuple[Array, Array, npt.NDArray[np.int64]]:
    """Points of both in the matches that both played, and the days of these."""
    pairs = both(first, second)
    one, days = totals_of([a for a, _ in pairs])
    return one, totals_of([b for _, b in pairs])[0], days


def both(
    first: Sequence[MatchRecord], second: Sequence[MatchRecord]
) -> list[tuple[MatchRecord, MatchRecord]]:
    """The matches that both have played."""
    return [(a, b) for a, b in zip(first, second, strict=False) if not a.fault and not b.fault]


def level_of(look: int, alpha: float = ALPHA) -> float:
    """Error that the k-th look may make, from 1."""
    return alpha / (look * (look + 1))


@dataclass(frozen=True)
class Pairing:
    """Differences match by match, and what is known of the luck in each.

    Parameters
    ----------
    apart : (n,) array
    numbers : (n,) array
        Of the matches.
    luck : (n, k, 2) array
        How lucky both were in each, and the variance of that: see `controls.fortunes`.
    known : Known, optional
        Where the robots lie in their spreads.
    """

    apart: Array
    numbers: npt.NDArray[np.int64]
    luck: Array
    known: Known | None = None

    @property
    def days(self) -> npt.NDArray[np.int64]:
        return self.numbers // MATCHES_A_DAY

    def fit(self, days: int | None = None) -> Fit:
        """The mean of the first so many days; None: of all."""
        return self.fits(self.apart[:, None], None, days)[0]

    def fits(self, values: Array, taken: bool | None = None, days: int | None = None) -> list[Fit]:
        """The means of values of the same matches, a column each, freed of the same as differences are; `taken`: see
        `regressed`."""
        chosen = self.days < days if days is not None else np.ones(len(self.apart), dtype=bool)
        own, numbers, luck = values[chosen], self.numbers[chosen], self.luck[chosen]
        if self.known is not None:
            own = self.known.freed(own, numbers, luck, self.apart[chosen])
        return [regressed(each, numbers // MATCHES_A_DAY, luck, taken) for each in own.T]

    def settled_at(self, alpha: float = ALPHA) -> int | None:
        """Number of days after which the sign was settled by the sequential rule; None: it is not."""
        last = int(self.days.max()) + 1 if len(self.days) else 0
        for look, count in enumerate(looks_until(last), start=1):
            fit = self.fit(count)
            if abs(fit.mean.value) > fit.half(1.0 - level_of(look, alpha)):
                return count
        return None


def paired(
    first: Sequence[MatchRecord], second: Sequence[MatchRecord], known: Known | None = None
) -> Pairing:
    """The matches that both have played."""
    pairs = both(first, second)
    one, other, _ = totals(first, second)
    luck = [fortunes([own[side] for own in pairs]) for side in (0, 1)]
    numbers = np.array([a.number for a, _ in pairs], dtype=np.int64)
    return Pairing(one - other, numbers, np.concatenate(luck, axis=1), known)


def mean_points(records: Sequence[MatchRecord], known: Known) -> Figure:
    """Mean points of one plan."""
    good = played(records)
    numbers = np.array([one.number for one in good], dtype=np.int64)
    return Pairing(totals_of(good)[0], numbers, fortunes(good), known).fit().mean


def difference_of(
    first: Sequence[MatchRecord],
    second: Sequence[MatchRecord],
    alpha: float = ALPHA,
    known: Known | None = None,
) -> Difference:
    """The paired difference, over the matches that both played, with everything that is said of it."""
    pairing = paired(first, second, known)
    apart, days = pairing.apart, pairing.days
    fit = pairing.fit()
    groups = [apart[days == day] for day in np.unique(days)]
    luck, ignorance, most = parts_of(groups)
    if luck is not None and known is not None and not known.by_day:
        luck, ignorance, most = float(apart.std(ddof=1)), 0.0, None  # whatever days seem to differ by
    ties = float((apart == 0).mean())
    wins_day = None
    if luck is not None and ignorance is not None and ties < MANY_TIES:
        wins_day = _wins_day(groups, fit.mean.value, luck, ignorance)
    return Difference(
        fit.mean,
        share_of(apart > 0, days),
        ties,
        wins_day,
        luck,
        ignorance,
        pairing.settled_at(alpha) is not None,
        days_for(fit, abs(fit.mean.value)),
        tally_of(apart),
        most,
        fit.taken,
        known is not None and known.frees(pairing.numbers),
        matches_for(fit, abs(fit.mean.value)),
        matches_for(fit, 1.0),
        None if known is None else _mover(first, second, known, apart, days),
    )


def _mover(
    first: Sequence[MatchRecord],
    second: Sequence[MatchRecord],
    known: Known,
    apart: Array,
    days: npt.NDArray[np.int64],
) -> Mover | None:
    curves = known.curves([one.number for one, _ in both(first, second)])
    return moved_most(known.unknowns, curves, apart, days)


def days_for(fit: Fit, half: float) -> int | None:
    """Days whose mean has an interval of +- half, as far as these days tell; None: they do not."""
    if fit.error is None or half == 0.0:
        return None
    return max(2, _times_as_many(len(fit.days), NORMAL_95 * fit.error / half))


def _times_as_many(days: int, narrower: float) -> int:
    """Days for an interval that is so many times as narrow; of what nobody plays, any large number."""
    return ceil(days * min(narrower, MOST_TIMES) ** 2)


def matches_for(fit: Fit, half: float) -> int | None:
    """The same in matches; no sooner than anything is looked at."""
    days = days_for(fit, half)
    return None if days is None else matches_in(max(next_look(0), days))


def _wins_day(groups: Sequence[Array], mean: float, luck: float, ignorance: float) -> float:
    """Share of days whose average over ten matches is above 0.

    Days are put together of what was seen: one match for the robot of the day, ten for its luck, each drawn together
    about the mean until their spreads are those of ignorance and of luck.
    """
    whole = sqrt(luck**2 + ignorance**2)
    if whole == 0.0:
        return float(mean > LEVEL)
    off = np.concatenate(groups) - np.concatenate(groups).mean()
    rng = np.random.Generator(np.random.PCG64(0))
    drawn = rng.choice(off, (DAYS_DRAWN, MATCHES_A_DAY + 1))
    days = mean + (ignorance * drawn[:, 0] + luck * drawn[:, 1:].mean(axis=1)) / whole
    return float((days > LEVEL).mean())
