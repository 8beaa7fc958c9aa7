"""Many matches of one plan, with chance: the distribution of its points, and where points are lost.

The same seed gives the same records whatever the number of workers: every match has its own keyed draws, and
records are put in the order of their numbers. Whether to stop early is decided after whole rounds of days.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from simbot.physics.luck import normal, uniform
from simbot.physics.told import Told
from simbot.scenario.model import BatteryState, Plan
from simbot.studies.asked import Asked
from simbot.studies.left_to_chance import LeftToChance, left_to_chance
from simbot.studies.lost import PENALTIES
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord, nominal_of, played, some_played, totals_of
from simbot.studies.sources import differs_by_day
from simbot.studies.statistics import (
    Distribution,
    Figure,
    days_for,
    distribution,
    half_width,
    mean_of,
    share_of,
    tally_of,
)
from simbot.studies.workers import PlayersLost, Team, rounds

ROUND = 10  # days after which it is looked whether enough are played
LEAST_DAYS = 20
LEAST_S = 1e-3  # seconds a match: less is no time lost
SECOND = "what the second robot earns less"
OUT_OF_TIME = "ran out of time"
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Lost:
    reason: str
    points: float  # a match, on average
    seconds: float  # a match, on average, beyond the nominal run's; 0 where it is not time that is lost
    share: float  # of the matches in which it happens


@dataclass(frozen=True)
class StateShare:
    """The matches on one battery state."""

    name: str
    nominal: float
    runs: int
    mean: Figure | None


@dataclass(frozen=True)
class MatchResult:
    plan: Plan
    asked: Asked
    records: tuple[MatchRecord, ...]
    points: Distribution
    alliance: Distribution | None  # with a partner's stated points, where there are any
    periods: dict[str, Figure]  # the robot's own
    second: Figure | None  # points of a second robot with a plan; they are in `points`
    nominal: float  # points without chance, in the same mixture of battery states
    cycles: Figure
    cycle_time_s: float | None
    nominal_cycle_s: float | None
    added_s: dict[str, float]  # what people make longer -> by how much in a match, on average
    lost: tuple[Lost, ...]
    rest: float  # points below nominal that no reason above accounts for
    states: tuple[StateShare, ...]
    stood: dict[str, float]  # what stood still without arriving -> share of the matches
    order_broken: float  # share of the matches
    clean: Figure
    reaches: Figure | None  # the threshold
    faults: tuple[MatchRecord, ...]
    days_for_a_point: int | None  # days that an interval of one point needs
    replay: tuple[int, int]  # matches at p10 and p90
    stopped: str  # why it ended before all runs; empty: it did not
    chance: LeftToChance
    lines: dict[str, tuple[int, ...]] = field(default_factory=dict)  # reason -> of the steps that it befell

    @property
    def tally(self) -> dict[float, int]:
        """Matches by their points."""
        return tally_of(totals_of(played(self.records))[0])


def study(plan: Plan, asked: Asked, progress: Progress, done: Sequence[MatchRecord] = ()) -> MatchResult:
    """Play the matches that are not done yet, and put all together; progress is that of these.

    Raises
    ------
    Interrupted
        Where it was stopped; with the records so far.
    """
    records = list(done)
    stopped = ""
    with Team([plan], asked.seed, asked.workers, asked.cluster, told=Told.LOSSES) as team:
        try:
            for (more,) in team.play(rounds(asked.states, asked.runs, ROUND, len(records))):
                records += more
                progress(len(records) - len(done), asked.runs - len(done))
                if _enough(records, asked):
                    stopped = "the interval is as narrow as was asked"
                    break
        except (KeyboardInterrupt, PlayersLost) as error:
            for _, day in team.left():
                records += [one for k, one in enumerate(day) if one.number == len(records) + k]
            why = str(error) if isinstance(error, PlayersLost) else ""
            raise Interrupted(tuple(records), why) from None
    return put_together(plan, asked, tuple(records), stopped)


class Interrupted(Exception):
    """Stopped by the user, or because those who played are gone (`why`); what was played until then."""

    def __init__(self, records: tuple[MatchRecord, ...], why: str = "") -> None:
        super().__init__("stopped")
        self.records = records
        self.why = why


def _enough(records: list[MatchRecord], asked: Asked) -> bool:
    if asked.until_halfwidth is None or len(records) < LEAST_DAYS * MATCHES_A_DAY:
        return False
    return half_width(mean_of(*totals_of(played(records)))) <= asked.until_halfwidth


def put_together(plan: Plan, asked: Asked, records: tuple[MatchRecord, ...], stopped: str) -> MatchResult:
    """The numbers of a study from its records."""
    good = some_played(records)
    values, days = totals_of(good)
    points = distribution(values, days)
    if not differs_by_day(plan, asked.states):
        points = replace(points, luck_sd=points.sd.value, ignorance_sd=0.0, ignorance_most=None)
    nominals = {name: nominal_of(plan, name) for name in dict.fromkeys(asked.states)}
    nominal = sum(nominals[record.state].total for record in good) / len(good)
    lost, rest = _lost(good, nominals, nominal - points.mean.value)
    cycles = sum(record.cycles for record in good)
    mine = list(nominals.values())
    nominal_cycles = sum(record.cycles for record in mine)
    total = values
    alliance = None
    if asked.partner or asked.partner_spread:
        total = values + _others(asked, good, "partner", asked.partner, asked.partner_spread)
        alliance = distribution(total, days)
    order = np.argsort(values, kind="stable")
    low, high = (good[order[round(share * (len(good) - 1))]].number for share in (0.1, 0.9))
    return MatchResult(
        plan=plan,
        asked=asked,
        records=records,
        points=points,
        alliance=alliance,
        periods={
            key: mean_of(np.array([record.points[key] for record in good], dtype=float), days)
            for key in good[0].points
            if key != "total" and (key != "endgame" or plan.game.endgame_us is not None)
        },
        second=_second(plan, good, days),
        nominal=nominal,
        cycles=mean_of(np.array([record.cycles for record in good], dtype=float), days),
        cycle_time_s=sum(record.cycle_s for record in good) / cycles if cycles else None,
        nominal_cycle_s=sum(r.cycle_s for r in mine) / nominal_cycles if nominal_cycles else None,
        added_s={
            who: sum(record.losses.added_s.get(who, 0.0) for record in good) / len(good)
            for who in good[0].losses.added_s
        },
        lost=lost,
        rest=rest,
        states=tuple(_share(plan, state, nominals, good) for state in plan.robot.battery),
        stood={
            reason: sum(reason in record.losses.stood for record in good) / len(good)
            for reason in sorted({reason for record in good for reason in record.losses.stood})
        },
        order_broken=sum(record.losses.order_broken for record in good) / len(good),
        clean=share_of(np.array([record.losses.clean for record in good]), days),
        reaches=_reaches(asked, good, total, days),
        faults=tuple(record for record in records if record.fault),
        days_for_a_point=days_for(points.mean, points.days, 1.0),
        replay=(low, high),
        stopped=stopped,
        chance=left_to_chance(plan, asked.states),
        lines=_lines(good),
    )


def _lines(good: Sequence[MatchRecord]) -> dict[str, tuple[int, ...]]:
    found: dict[str, set[int]] = {}
    for record in good:
        for reason, lines in record.losses.lines.items():
            found.setdefault(reason, set()).update(lines)
    return {reason: tuple(sorted(lines)) for reason, lines in sorted(found.items())}


def _second(plan: Plan, good: Sequence[MatchRecord], days: np.ndarray) -> Figure | None:
    if plan.partner is None:
        return None
    return mean_of(np.array([record.partner for record in good], dtype=float), days)


def _share(
    plan: Plan, state: BatteryState, nominals: dict[str, MatchRecord], good: Sequence[MatchRecord]
) -> StateShare:
    own = [record for record in good if record.state == state.name]
    nominal = nominals.get(state.name) or nominal_of(plan, state.name)
    return StateShare(
        state.name,
        nominal.total,
        len(own),
        mean_of(*totals_of(own)) if own else None,
    )


def _lost(
    good: Sequence[MatchRecord], nominals: dict[str, MatchRecord], below: float
) -> tuple[tuple[Lost, ...], float]:
    """Reasons, ranked, and the points that none accounts for. Together they never claim more than was lost.

    What is known exactly comes first, then what failed and would have earned, then time at the nominal point rate, then
    places for which there was no time left: each kind claims what the kinds before it leave, in proportion where it
    would be more.
    """
    pairs = [(record, nominals[record.state]) for record in good]
    count = len(good)
    exact: list[Lost] = []
    failed: list[Lost] = []
    late: list[Lost] = []
    for reason in sorted({reason for record in good for reason in record.losses.lost}):
        points = (
            sum(own.losses.lost.get(reason, 0.0) - usual.losses.lost.get(reason, 0.0) for own, usual in pairs)
            / count
        )
        one = Lost(reason, points, 0.0, sum(reason in record.losses.lost for record in good) / count)
        (exact if reason == PENALTIES else failed).append(one)
    less = [usual.partner - own.partner for own, usual in pairs]
    if any(less):
        exact.append(Lost(SECOND, sum(less) / count, 0.0, sum(each > 0.0 for each in less) / count))
    for reason in sorted({reason for record in good for reason in record.losses.waited_s}):
        more = [
            own.losses.waited_s.get(reason, 0.0) - usual.losses.waited_s.get(reason, 0.0)
            for own, usual in pairs
        ]
        if sum(more) / count < LEAST_S:
            continue
        points = sum(each * _rate(usual) for each, (_, usual) in zip(more, pairs, strict=True)) / count
        often = sum(each > LEAST_S for each in more) / count
        late.append(Lost(reason, points, sum(more) / count, often))
    found: list[Lost] = []
    left = below
    for kind in (exact, failed, late):
        granted = _granted(kind, left)
        found += granted
        left -= sum(one.points for one in granted)
    short = _out_of_time(pairs)
    if short.points > 0.0:
        told = sum(one.points for one in found if one.seconds)  # of the time by which it is short
        (granted_time,) = _granted([replace(short, points=short.points - told)], left)
        found.append(granted_time)
        left -= granted_time.points
    found.sort(key=lambda one: (-one.points, one.reason))
    return tuple(found), left


def _granted(claims: Sequence[Lost], left: float) -> list[Lost]:
    """What each of some reasons claims, in proportion where that is more than is left."""
    whole = sum(max(0.0, one.points) for one in claims)
    share = min(1.0, max(0.0, left) / whole) if whole > 0.0 else 0.0
    return [replace(one, points=max(0.0, one.points) * share) for one in claims]


def _out_of_time(pairs: Sequence[tuple[MatchRecord, MatchRecord]]) -> Lost:
    """Places that the nominal run comes to and these do not, in routines that the end of their period cut."""
    short = [
        sum(
            usual.losses.reached.get(routine, 0.0) - own.losses.reached.get(routine, 0.0)
            for routine in own.losses.cut_s
        )
        for own, usual in pairs
    ]
    return Lost(OUT_OF_TIME, sum(short) / len(pairs), 0.0, sum(each > 0.0 for each in short) / len(pairs))


def _rate(nominal: MatchRecord) -> float:
    """Points a second of the nominal run's whole cycles."""
    return nominal.delivered / nominal.cycle_s if nominal.cycle_s > 0.0 else 0.0


def _others(asked: Asked, good: Sequence[MatchRecord], who: str, mean: float, spread: float) -> np.ndarray:
    """Points of somebody whose distribution is stated, a draw a match."""
    return np.array(
        [normal(uniform(asked.seed, who, record.number), mean, spread, low=0.0) for record in good]
    )


def _reaches(asked: Asked, good: Sequence[MatchRecord], total: np.ndarray, days: np.ndarray) -> Figure | None:
    if asked.threshold is None:
        return None
    bars = _others(asked, good, "threshold", asked.threshold, asked.threshold_spread)
    return share_of(total >= bars, days)
