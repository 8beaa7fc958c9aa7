"""One match of a study: drawn, played, and boiled down to the few numbers that a distribution is made of."""

from __future__ import annotations

import pickle
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from threading import local
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.analysis import cycles
from simbot.analysis.order import order_findings
from simbot.analysis.results import RunResult
from simbot.analysis.states import run_result, state_result
from simbot.physics.build import Models
from simbot.physics.luck import Drawn
from simbot.physics.plant import Plant
from simbot.physics.told import Told
from simbot.routine.match import let_go, play
from simbot.routine.trace import Trace
from simbot.scenario.errors import SimbotError
from simbot.scenario.model import BatteryState, Plan, Robot
from simbot.scenario.once import once_a_plan
from simbot.studies.drawn import battery_of_match, robot_of_day
from simbot.studies.lost import Account, account_of
from simbot.studies.players import heeded
from simbot.studies.strata import DrawnEvenly
from simbot.studies.time_lost import Span, added, cut_routines, dips, seconds_of, stood_still, time_lost

MATCHES_A_DAY = 10
ROBOTS_KEPT = 4  # of those that were built last
Array = npt.NDArray[np.float64]
ORDER_BROKEN = "order broken: what is hit is not simulated"


@dataclass(frozen=True)
class Losses:
    """What a match lost points and time to."""

    lost: dict[str, float]  # reason -> points
    waited_s: dict[str, float]  # reason -> seconds
    stood: dict[str, float]  # what stood still without arriving -> seconds
    order_broken: bool
    clean: bool  # nothing failed in it
    reached: dict[str, float]  # routine -> what its places would earn, were none missed
    added_s: dict[str, float]  # what people make longer -> by how much
    cut_s: dict[str, float]  # routine that its period's end cut -> when
    lines: dict[str, list[int]]  # reason -> lines of the steps that it befell


@dataclass(frozen=True)
class MatchRecord:
    """What is kept of one match. `fault`: the match could not be played, and why; its numbers are then empty."""

    number: int
    state: str
    points: dict[str, float] = field(default_factory=dict)  # by period, "endgame", "total"
    partner: float = 0.0  # points of the second robot
    cycles: int = 0
    cycle_s: float = 0.0  # sum of their times
    delivered: float = 0.0  # points of all deliveries
    fault: str = ""
    fortune: dict[str, float] = field(
        default_factory=dict
    )  # what is drawn -> successes beyond what was to be expected
    risk: dict[str, float] = field(default_factory=dict)  # and the variance of that
    chance: dict[str, float] = field(default_factory=dict)  # and of one try, today
    mistake: bool = False  # the fault is in the files, and the user's to mend
    why: Losses | None = None  # it scored no more; None: only points were asked

    @property
    def total(self) -> float:
        """Points of the alliance's robots."""
        return self.points["total"] + self.partner

    @property
    def losses(self) -> Losses:
        """Of a match that was played to know them."""
        assert self.why is not None
        return self.why

    @classmethod
    def of_row(cls, row: Sequence[Any]) -> MatchRecord:
        """From what `astuple` makes of one."""
        *points, why = row
        return replace(cls(*points), why=Losses(*why) if why else None)


def played(records: Sequence[MatchRecord]) -> list[MatchRecord]:
    """The matches that could be played."""
    return [record for record in records if not record.fault]


def some_played(records: Sequence[MatchRecord]) -> list[MatchRecord]:
    """The same, where there is to be one at least.

    Raises
    ------
    SimbotError
        None could be played, and the files are the reason.
    """
    good = played(records)
    if good or not records:
        return good
    text = f"no match could be played: {records[0].fault}"
    raise SimbotError(text) if records[0].mistake else RuntimeError(text)


def totals_of(records: Sequence[MatchRecord]) -> tuple[Array, npt.NDArray[np.int64]]:
    """Points of each match that was played, and the number of its day."""
    values = np.array([record.total for record in records], dtype=float)
    return values, np.array([record.number // MATCHES_A_DAY for record in records])


class Day:
    """The matches of one day: one robot as it is that day."""

    def __init__(self, plan: Plan, seed: int, day: int) -> None:
        self.plan = plan
        self.seed = seed
        self.day = day
        self.models = built_of_day(plan.robot, self.luck(day * MATCHES_A_DAY))
        self.partner_models = None
        if plan.partner is not None:
            other = plan.partner.plan.robot
            partner = self.luck(day * MATCHES_A_DAY, "partner")
            self.partner_models = built_of_day(other, partner)

    def luck(self, number: int, who: str = "") -> Drawn:
        return DrawnEvenly(self.seed, self.day, number, who)

    def play(self, number: int, battery: BatteryState, told: Told = Told.ALL) -> tuple[Trace, Plant]:
        """One match of the day, by its number over the whole study."""
        return self._play(battery, self.luck(number), self.luck(number, "partner"), told)

    def _play(self, battery: BatteryState, luck: Drawn, partner: Drawn, told: Told) -> tuple[Trace, Plant]:
        with heeded():
            return play(
                self.plan,
                battery_of_match(battery, luck),
                self.models,
                luck=luck,
                partner_models=self.partner_models,
                partner_luck=partner,
                told=told,
            )

    def record(self, number: int, battery: BatteryState, told: Told = Told.POINTS) -> MatchRecord:
        """The same, boiled down; a match that fails is a record too."""
        try:
            luck, partner = self.luck(number), self.luck(number, "partner")
            trace, plant = self._play(battery, luck, partner, told)
            record = record_of(self.plan, number, battery.name, trace, plant, told)
            let_go(trace)
            return replace(
                record,
                fortune=named(luck.surplus) | named(partner.surplus, "partner: "),
                risk=named(luck.risk) | named(partner.risk, "partner: "),
                chance=named(luck.chance) | named(partner.chance, "partner: "),
            )
        except Exception as error:
            return failed(number, battery.name, error)


class Kept(local):
    """Robots that were built; of each thread its own, as they grow while they play."""

    def __init__(self) -> None:
        self.robots: dict[tuple[bytes, str, int], Models] = {}


_kept = Kept()


def built_of_day(robot: Robot, luck: Drawn) -> Models:
    """The robot as it is today: built once for all plans that have the same one and play the day by turns."""
    key = _alike(robot), luck.seed, luck.day
    robots = _kept.robots
    known = robots.get(key)
    if known is None:
        known = Models(robot_of_day(robot, luck))
        while len(robots) >= ROBOTS_KEPT:
            del robots[next(iter(robots))]
        robots[key] = known
    return known


@once_a_plan
def _alike(robot: Robot) -> bytes:
    """What robots have in common that are the same to the last digit and word, as every plan reads its own."""
    return pickle.dumps(robot)


def named(luck: Mapping[tuple[object, ...], float], who: str = "") -> dict[str, float]:
    """What is noted of everything that succeeds by chance, as the successes beyond those to be expected.

    Whether it is tried again hangs on what was before, never on the try itself. So the mean of each is 0 whatever
    the plan does (a martingale that is stopped; Williams, Probability with Martingales, 1991, 10.10, from memory).
    """
    return {who + " ".join(map(str, key)): value for key, value in luck.items()}


def failed(number: int, state: str, error: Exception) -> MatchRecord:
    """A match that could not be played."""
    return MatchRecord(number, state, fault=fault_of(error), mistake=isinstance(error, SimbotError))


def fault_of(error: Exception) -> str:
    """What is kept of an error; the user's own mistake is told as anywhere else."""
    return str(error) if isinstance(error, SimbotError) else f"{type(error).__name__}: {error}"


def run_of_match(plan: Plan, seed: int, number: int, battery: BatteryState) -> RunResult:
    """One match of a study in full, as a run."""
    trace, plant = Day(plan, seed, number // MATCHES_A_DAY).play(number, battery)
    return run_result(plan, (state_result(plan, plant.battery, plant, trace),), (number, seed))


def nominal_of(plan: Plan, state: str) -> MatchRecord:
    """The run without chance on a battery state, boiled down, with its losses."""
    battery = next(each for each in plan.robot.battery if each.name == state)
    trace, plant = play(plan, battery)
    return record_of(plan, -1, state, trace, plant, Told.LOSSES)


def record_of(plan: Plan, number: int, state: str, trace: Trace, plant: Plant, told: Told) -> MatchRecord:
    """A trace boiled down."""
    points = {key: value or 0.0 for key, value in cycles.points_by_period(trace, plan.game).items()}
    times = cycles.cycle_times_s(trace)
    partner = 0.0
    if trace.partner is not None:
        partner = cycles.points_by_period(trace.partner, plan.game)["total"] or 0.0
    return MatchRecord(
        number,
        state,
        points,
        partner,
        len(times),
        sum(times),
        cycles.delivered_points(trace),
        why=None if told is Told.POINTS else _losses_of(plan, trace, plant),
    )


def _losses_of(plan: Plan, trace: Trace, plant: Plant) -> Losses:
    failed = any(pick.lost_us is not None for pick in trace.picks)
    unmet = any(not need.met for need in trace.needs)
    stood, late = list(stood_still(trace, plant)), time_lost(plan, trace, plant)
    account = account_of(plan, trace)
    broken = bool(plan.robot.order) and bool(order_findings(plan.robot, trace, plant))
    for reason in (*dips(plan.robot, plant), *([ORDER_BROKEN] if broken else [])):
        account.lost.setdefault(reason, 0.0)
    return Losses(
        account.lost,
        seconds_of(late),
        seconds_of(stood),
        broken,
        not (failed or unmet or trace.mishaps or stood or plant.program_resets()),
        account.reached,
        added(trace),
        cut_routines(trace),
        _lines(account, [*late, *stood]),
    )


def _lines(account: Account, spans: Sequence[Span]) -> dict[str, list[int]]:
    """The lines of the steps to which each reason came, rising."""
    found = {reason: set(lines) for reason, lines in account.lines.items()}
    for one in spans:
        if one.line:
            found.setdefault(one.reason, set()).add(one.line)
    return {reason: sorted(lines) for reason, lines in found.items()}
