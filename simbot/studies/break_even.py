"""When the other plan would win: the value of each quantity at which the paired difference crosses zero.

The difference at another value is that of all matches, plus what the first matches change between the two values under
the same luck; so is a cycle time. Under a fixed luck it is an ordinary function of the value, so that a root finder
that keeps its bracket (Brent, 1973; scipy) finds the crossing. It lies with 95 % confidence where the interval of the
difference has 0 in it (a test turned round, as Fieller, 1954, does for ratios). Where one cycle more or less makes the
difference jump, straight lines tell nothing: then the ends are values that were tried, the leader surely ahead at the
one and surely behind at the other. Where that reaches what is so now, or the furthest value that is tried, the crossing
cannot be told from noise, and none is given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import sqrt

import numpy as np

from simbot.scenario.model import BatteryState, Plan
from simbot.studies.compare import CompareResult
from simbot.studies.controls import Known, luckier
from simbot.studies.ledger import Ledger, Progress
from simbot.studies.levers import Lever, battery_between, levers_of
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord, played
from simbot.studies.paired import both, paired
from simbot.studies.regressed import Fit, regressed
from simbot.studies.schedule import Round
from simbot.studies.statistics import student

TRIED = 40  # matches that are played again with other values, each of a day of its own
FINEST = 0.02  # of the range of a quantity: closer than the matches can tell
NEAR = 0.2  # of its interval's half-width: a difference so small is as good as 0
NONE = 1e-6  # points: as good as none
MORE = 4  # values that an end of an interval is looked for at
USUAL = 6  # values that a search looks at


@dataclass(frozen=True)
class BreakEven:
    """One quantity. Values are shares, seconds, factors, or volts of a battery (see `unit`).

    `turns_at` None: it is not told. Then either no value up to `far` turns the answer, which is surely still `left`
    points there, and `interval` is None; or the matches cannot tell it from noise, and `interval` is where it may lie.
    """

    quantity: str
    plan: str  # whose; empty: of both
    unit: str
    now: float
    far: float
    turns_at: float | None
    interval: tuple[float, float] | None
    resistance: float | None  # of the battery at which it turns [ohm]
    left: float  # points that the leader is ahead at the furthest value
    above: bool  # the other wins above the value, not below
    from_now: bool = False  # the interval begins where it is now: the other may be ahead already
    to_far: bool = False  # it goes as far as was tried: the other may not win even there

    @property
    def turns(self) -> bool:
        return self.turns_at is not None

    @property
    def never(self) -> bool:
        return self.interval is None


@dataclass(frozen=True)
class BreakEvens:
    """Of the best plan and the one that comes closest to it."""

    leader: str
    behind: str
    ahead: float  # points a match
    runs: int  # matches that were played with other values
    each: tuple[BreakEven, ...]
    missing: tuple[str, ...] = ()  # quantities that were not looked at, since it was stopped
    failed: int = 0  # matches with other values that could not be played, with either plan
    equal: bool = False  # they score the same in every match: nothing was looked at


def closest_rival(result: CompareResult) -> int:
    """Number of the side that comes closest to the best one."""
    others = [number for number in range(len(result.sides)) if number != result.best]
    return max(others, key=lambda number: result.sides[number].points.mean.value)


def break_evens(ledger: Ledger, result: CompareResult, progress: Progress) -> BreakEvens:
    """All quantities of the two plans that matter; stopped with Ctrl-C, those it has by then."""
    best, rival = result.best, closest_rival(result)
    leader, behind = result.sides[best], result.sides[rival]
    asked = result.asked
    if all(one.total == other.total for one, other in both(result.records[best], result.records[rival])):
        return BreakEvens(leader.plan.name, behind.plan.name, 0.0, 0, (), equal=True)
    states = dict.fromkeys(asked.states)
    levers = levers_of(
        leader.plan, behind.plan, next(iter(states)) if len(states) == 1 else None, leader.cycle_time_s
    )
    known = Known([leader.plan, behind.plan], asked.seed, asked.states)
    trial = Trial(ledger, (result.records[best], result.records[rival]), known)
    found: dict[int, BreakEven] = {}
    try:
        _search(trial, levers, found, progress)
    except KeyboardInterrupt:
        ledger.keep()
    missing = [lever for number, lever in enumerate(levers) if number not in found]
    return BreakEvens(
        leader.plan.name,
        behind.plan.name,
        trial.now.ahead,
        len(trial.matches),
        tuple(found[number] for number in sorted(found)),
        tuple(f"{lever.plan}: {lever.quantity}" if lever.plan else lever.quantity for lever in missing),
        trial.failed,
    )


def _search(trial: Trial, levers: Sequence[Lever], found: dict[int, BreakEven], progress: Progress) -> None:
    """All of them: first at their furthest values, then those that may turn."""
    ledger, each = trial.ledger, len(trial.matches)
    ends = [plan for lever in levers for plan in trial.changed(lever, lever.far)]
    ledger.begin(progress, each * len(ends))
    ledger.expect(each * len(ends) * (1 + USUAL) // 2)  # about half of them turn
    ledger.play(ends, trial.matches)
    looks = [Looks(trial, lever) for lever in levers]
    for number, one in enumerate(looks):
        if one.never:
            found[number] = one.told()
    open_ones = [number for number in range(len(levers)) if number not in found]
    begun = ledger.done
    for turn, number in enumerate(open_ones):
        usual = (ledger.done - begun) // turn if turn else each * USUAL
        ledger.expect(usual * (len(open_ones) - turn))
        looks[number].search()
        found[number] = looks[number].told()
    ledger.end()


@dataclass(frozen=True)
class Look:
    """How far the leader is ahead at a value, and the half-width of its interval."""

    value: float
    ahead: float
    half: float


class Trial:
    """The difference of two plans at other values, under the luck of the matches that were played."""

    def __init__(
        self, ledger: Ledger, records: tuple[Sequence[MatchRecord], Sequence[MatchRecord]], known: Known
    ) -> None:
        self.ledger = ledger
        self.fit = paired(*records, known).fit()
        self.cycle_times = [_cycle_time(side) for side in records]  # of all matches, as they were played
        self.now = Look(0.0, self.fit.mean.value, self.fit.half())
        first: dict[int, tuple[MatchRecord, MatchRecord]] = {}
        for pair in both(*records):
            first.setdefault(pair[0].number // MATCHES_A_DAY, pair)
        self.pairs = list(first.values())[:TRIED]
        self.matches: Round = [(one.number, one.state) for one, _ in self.pairs]
        self.failed = 0

    def play(self, lever: Lever, value: float) -> list[list[MatchRecord]]:
        """Records of both plans at a value."""
        return self.ledger.play(lever.at(value), self.matches)

    def changed(self, lever: Lever, value: float) -> list[Plan]:
        """Of the plans at a value those that are not as they were."""
        now = lever.at(lever.now)
        return [plan for plan, own in zip(lever.at(value), now, strict=True) if plan is not own]

    def at(self, lever: Lever, value: float) -> Look:
        """The difference at a value."""
        if value == lever.now:
            return replace(self.now, value=value)
        kept = [
            each
            for each in zip(*self.play(lever, value), *zip(*self.pairs, strict=True), strict=True)
            if not any(record.fault for record in each)
        ]
        self.failed += len(self.pairs) - len(kept)
        if len(kept) < 2 or self.fit.error is None:
            return Look(value, self.now.ahead, float("inf"))
        change = np.array([(a.total - b.total) - (c.total - d.total) for a, b, c, d in kept])
        days = np.array([a.number // MATCHES_A_DAY for a, *_ in kept])
        there, here = ([[each[k] for each in kept] for k in sides] for sides in ((0, 1), (2, 3)))
        luck = np.concatenate([luckier(*both) for both in zip(there, here, strict=True)], axis=1)
        moved = regressed(change, days, luck)
        error = moved.error or 0.0
        variance = self.fit.error**2 + error**2 + 2.0 * _together(self.fit, moved)
        half = student(min(self.fit.degrees, moved.degrees)) * sqrt(max(0.0, variance))
        return Look(value, self.now.ahead + moved.mean.value, half)


def _together(fit: Fit, moved: Fit) -> float:
    """Covariance of a mean and of one over some of its days."""
    place = np.searchsorted(fit.days, moved.days)
    if moved.degrees < 1:
        return 0.0
    each = float(fit.left[place] @ moved.left) / moved.degrees
    return each * float(fit.weights[place] @ moved.weights)


class Looks:
    """The search for one quantity."""

    def __init__(self, trial: Trial, lever: Lever) -> None:
        self.trial = trial
        self.lever = lever
        self.looks = {each.value: each for each in (trial.at(lever, lever.now), trial.at(lever, lever.far))}
        self.root: float | None = None
        self.ends: tuple[float | None, float | None] = (
            None,
            None,
        )  # None: as it is now; as far as it was tried

    @property
    def far(self) -> Look:
        return self.looks[self.lever.far]

    @property
    def never(self) -> bool:
        """Whether the leader surely stays ahead."""
        return self.far.ahead - self.far.half > 0.0

    def at(self, value: float) -> Look:
        if value not in self.looks:
            self.looks[value] = self.trial.at(self.lever, value)
        return self.looks[value]

    def search(self) -> None:
        """Where it turns, and where that may be; the first only where it can be told from noise."""
        now, far = self.at(self.lever.now), self.far
        from_now, to_far = now.ahead - now.half <= 0.0, far.ahead + far.half >= 0.0
        turns = not from_now and not to_far
        if turns:
            close_in(self)
        self.ends = (
            None if from_now else self._crossing(-1.0),
            None if to_far else self._crossing(1.0),
        )
        if turns:
            self.root = self._line(*self._bracket(0.0), 0.0)

    def _crossing(self, sign: float) -> float:
        """Where the end of the interval is 0; where it jumps, the outer one of the values that were looked at."""
        for turn in range(MORE):
            one, other = self._bracket(sign)
            there = (one.value + other.value) / 2.0 if turn % 2 else self._line(one, other, sign)
            look = self.at(there)
            if abs(_end(look, sign)) <= max(NONE, NEAR * look.half):
                return there
        one, other = self._bracket(sign)
        return one.value if sign < 0.0 else other.value

    def _bracket(self, sign: float) -> tuple[Look, Look]:
        """Neighbours between which an end of the interval is 0: of the upper end the last from now on, else the first.

        So the lower end's lies no further than the mean's, and that no further than the upper end's.
        """
        order = sorted(self.looks.values(), key=lambda one: abs(one.value - self.lever.now))
        found = [pair for pair in pairwise(order) if _end(pair[0], sign) > 0.0 >= _end(pair[1], sign)]
        if not found:
            return order[-1], order[-1]
        return found[-1 if sign > 0.0 else 0]

    def _line(self, one: Look, other: Look, sign: float) -> float:
        """Where a straight line between two looks is 0."""
        here, there = _end(one, sign), _end(other, sign)
        if here <= there:
            return other.value
        return one.value + (other.value - one.value) * here / (here - there)

    def told(self) -> BreakEven:
        """Values as they are told: of a cycle its time, of a battery its volts."""
        lever, (near, last) = self.lever, self.ends
        interval = None
        if not self.never:
            told = [
                self.told_value(lever.now if near is None else near),
                self.told_value(lever.far if last is None else last),
                *([] if self.root is None else [self.told_value(self.root)]),
            ]
            interval = (min(told), max(told))
        battery = lever.unit == "battery"
        return BreakEven(
            lever.quantity,
            lever.plan,
            "V" if battery else lever.unit,
            self.told_value(lever.now),
            self.told_value(lever.far),
            None if self.root is None else self.told_value(self.root),
            interval,
            float(_battery(lever, self.root).resistance) if battery and self.root is not None else None,
            self.far.ahead,
            self.told_value(lever.far) > self.told_value(lever.now),
            not self.never and near is None,
            not self.never and last is None,
        )

    def told_value(self, value: float) -> float:
        lever = self.lever
        if lever.unit == "battery":
            return float(_battery(lever, value).open_circuit)
        if lever.cycle_of is None:
            return value
        side, played = lever.cycle_of, sorted(self.looks)
        times = [_cycle_time(self.trial.play(lever, each)[side]) for each in played]
        changed = np.array(times) - times[played.index(lever.now)]
        return float(self.trial.cycle_times[side] + np.interp(value, played, changed))


def _end(look: Look, sign: float) -> float:
    """An end of the interval (-1: the lower one), or the mean (0)."""
    return look.ahead + (sign * look.half if sign else 0.0)


def close_in(looks: Looks) -> None:
    """Look at values until the one at which the leader is ahead no more is known as closely as makes sense."""
    from scipy.optimize import brentq

    def ahead(value: float) -> float:
        look = looks.at(value)
        return 0.0 if abs(look.ahead) <= NEAR * look.half else look.ahead

    lever = looks.lever
    brentq(ahead, lever.now, lever.far, xtol=FINEST * abs(lever.far - lever.now))


def _battery(lever: Lever, where: float) -> BatteryState:
    return battery_between(lever.at(lever.now)[0].robot.battery, where, "")


def _cycle_time(records: Sequence[MatchRecord]) -> float:
    good = played(records)
    cycles = sum(record.cycles for record in good)
    return sum(record.cycle_s for record in good) / cycles if cycles else 0.0
