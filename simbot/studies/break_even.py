"""When the other plan would win: the value of each quantity at which the paired difference crosses zero.

The difference at another value is that of all matches, plus what the first matches change between the two values
under the same luck. Under a fixed luck it is an ordinary function of the value, so that a root finder that keeps
its bracket (Brent, 1973; scipy) finds the crossing; the interval is that of the difference there, over the slope.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np

from simbot.scenario.model import BatteryState
from simbot.studies.asked import Asked
from simbot.studies.compare import CompareResult
from simbot.studies.ledger import Ledger, Progress
from simbot.studies.levers import Lever, battery_between, levers_of
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord, played
from simbot.studies.paired import totals
from simbot.studies.statistics import half_width, mean_of
from simbot.studies.workers import Round, rounds

DAYS, OF_EACH = 10, 3  # matches that are played again with other values
FINEST = 0.02  # of the range of a quantity: closer than the matches can tell
USUAL = 5  # values that a search looks at


@dataclass(frozen=True)
class BreakEven:
    """One quantity. Values are shares, seconds, factors, or volts of a battery (see `unit`).

    `turns_at` None: no value up to `far` turns the answer, which is then `left` points there.
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

    @property
    def turns(self) -> bool:
        return self.turns_at is not None


@dataclass(frozen=True)
class BreakEvens:
    """Of the best plan and the one that comes closest to it."""

    leader: str
    behind: str
    ahead: float  # points a match
    runs: int  # matches that were played with other values
    each: tuple[BreakEven, ...]


def closest_rival(result: CompareResult) -> int:
    """Number of the side that comes closest to the best one."""
    others = [number for number in range(len(result.sides)) if number != result.best]
    return max(others, key=lambda number: result.sides[number].points.mean.value)


def break_evens(ledger: Ledger, result: CompareResult, progress: Progress) -> BreakEvens:
    """All quantities of the two plans that matter."""
    best, rival = result.best, closest_rival(result)
    leader, behind = result.sides[best], result.sides[rival]
    states = dict.fromkeys(result.asked.states)
    levers = levers_of(
        leader.plan, behind.plan, next(iter(states)) if len(states) == 1 else None, leader.cycle_time_s
    )
    trial = Trial(ledger, result.asked, (result.records[best], result.records[rival]))
    plans = [plan for lever in levers for plan in lever.at(lever.far)]
    same = {id(leader.plan), id(behind.plan)}
    ends = [plan for plan in plans if id(plan) not in same]
    ledger.begin(progress, len(trial.matches) * len(ends) * (USUAL + 1) // 2)  # about: half of them turn
    ledger.play(ends, trial.matches)
    found = tuple(_found(trial, lever) for lever in levers)
    ledger.end()
    return BreakEvens(leader.plan.name, behind.plan.name, trial.ahead, len(trial.matches), found)


class Trial:
    """The difference of two plans at other values, under the luck of the matches that were played."""

    def __init__(
        self, ledger: Ledger, asked: Asked, records: tuple[Sequence[MatchRecord], Sequence[MatchRecord]]
    ) -> None:
        self.ledger = ledger
        self.records = records
        common = min(*map(len, records), DAYS * MATCHES_A_DAY)
        self.matches: Round = [
            match for match in next(rounds(asked.states, common, DAYS)) if match[0] % MATCHES_A_DAY < OF_EACH
        ]
        one, other, days = totals(*records)
        apart = mean_of(one - other, days)
        self.ahead = apart.value
        self.half = half_width(apart)

    def play(self, lever: Lever, value: float) -> list[list[MatchRecord]]:
        """Records of both plans at a value."""
        return self.ledger.play(lever.at(value), self.matches)

    def at(self, lever: Lever, value: float) -> tuple[float, float]:
        """Points that the leader is ahead at a value, and the half-width of its interval."""
        if value == lever.now:
            return self.ahead, self.half
        now = [[own[number] for number, _ in self.matches] for own in self.records]
        kept = [
            each
            for each in zip(*self.play(lever, value), *now, strict=True)
            if not any(record.fault for record in each)
        ]
        if not kept:
            return self.ahead, self.half
        change = np.array([(a.total - b.total) - (c.total - d.total) for a, b, c, d in kept])
        moved = mean_of(change, np.array([a.number // MATCHES_A_DAY for a, *_ in kept]))
        return self.ahead + moved.value, hypot(self.half, half_width(moved))


def _found(trial: Trial, lever: Lever) -> BreakEven:
    left, _ = trial.at(lever, lever.far)
    if left > 0.0:
        return _told(trial, lever, None, None, left)
    root = turning_value(trial, lever)
    slope = trial.ahead / abs(root - lever.now) if root != lever.now else 0.0
    half = trial.at(lever, root)[1] / slope if slope else abs(lever.far - lever.now)
    least, most = sorted((lever.now, lever.far))
    ends = (max(least, root - half), min(most, root + half))
    return _told(trial, lever, root, ends, left)


def turning_value(trial: Trial, lever: Lever) -> float:
    """The value at which the leader is ahead no more."""
    from scipy.optimize import brentq

    if trial.ahead <= 0.0:
        return lever.now
    apart = abs(lever.far - lever.now)
    return float(brentq(lambda value: trial.at(lever, value)[0], lever.now, lever.far, xtol=FINEST * apart))


def _told(
    trial: Trial, lever: Lever, root: float | None, ends: tuple[float, float] | None, left: float
) -> BreakEven:
    """Values as they are told: of a cycle its time, of a battery its volts."""
    resistance = None

    def told(value: float) -> float:
        if lever.unit == "battery":
            return float(_battery(lever, value).open_circuit)
        if lever.cycle_of is None:
            return value
        return _cycle_time(trial.play(lever, value)[lever.cycle_of])

    if lever.unit == "battery" and root is not None:
        resistance = float(_battery(lever, root).resistance)
    interval = None
    if ends is not None and root is not None:
        if lever.cycle_of is None or root == lever.now:
            told_ends = [told(end) for end in ends]
        else:  # by a straight line: no other value has been played
            per = (told(root) - told(lever.now)) / (root - lever.now)
            told_ends = [told(lever.now) + per * (end - lever.now) for end in ends]
        interval = (min(told_ends), max(told_ends))
    return BreakEven(
        lever.quantity,
        lever.plan,
        "V" if lever.unit == "battery" else lever.unit,
        told(lever.now),
        told(lever.far),
        None if root is None else told(root),
        interval,
        resistance,
        left,
        told(lever.far) > told(lever.now),
    )


def _battery(lever: Lever, where: float) -> BatteryState:
    return battery_between(lever.at(lever.now)[0].robot.battery, where, "")


def _cycle_time(records: Sequence[MatchRecord]) -> float:
    good = played(records)
    cycles = sum(record.cycles for record in good)
    return sum(record.cycle_s for record in good) / cycles if cycles else 0.0
