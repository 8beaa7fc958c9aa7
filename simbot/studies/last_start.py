"""One more cycle, or start the endgame: the latest start that pays, by how often the endgame comes off.

Mean points with the endgame begun at an instant are s A + (1 - s) F, with s how often it comes off as a whole, A
the mean of matches in which its acting steps do not fail by chance, and F that of matches in which the robot only
stands there from then on. It pays where that is more than cycling on to the end brings. All under the same luck, so
that the gain is a mean over matches that each have their own; its interval is that of days, freed of what luck brought
the cycles in place of which the endgame comes. How often the endgame has to come off lies where the interval of the
gain has 0 in it (a test turned round, as Fieller, 1954, does for ratios).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from simbot.routine.match import play
from simbot.scenario.model import ActStep, Plan, Step
from simbot.scenario.plan_file import with_steps
from simbot.studies.asked import Asked
from simbot.studies.controls import luckier
from simbot.studies.ledger import Ledger, Progress
from simbot.studies.levers import routines_in
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord, totals_of
from simbot.studies.regressed import Fit, regressed
from simbot.studies.schedule import one_a_day
from simbot.studies.statistics import Figure

RATES = (1.0, 0.85, 0.7, 0.5)
TRIED = 24  # matches that are played, each of a day of its own
EARLIER, LATER = 8, 8  # starts that are tried on either side of the last safe one
FINEST_US = 500_000
A_CYCLE = 8  # starts a cycle
SHARES = np.linspace(0.0, 1.0, 101)  # how often it comes off, as finely as its interval is told
Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Pays:
    """Of an endgame that comes off so often. Times are what is left to the end; None: it never pays."""

    rate: float
    latest_us: int | None
    surely_us: int | None  # the latest start of which it is sure (95 %)
    gain_at_safe: Figure  # points against cycling on
    best_us: int
    best_gain: Figure  # of many starts the best looks better than it is


@dataclass(frozen=True)
class LastStart:
    plan: str
    begins_us: int  # left when it begins as the file has it
    own_us: int  # what the endgame takes without chance, on the worst of the battery states
    guard_us: int
    ends_us: int  # of the match
    needed: float | None  # how often it has to come off to pay at the last safe start; None: it earns nothing
    rows: tuple[Pays, ...]
    finest_us: int
    runs: int
    failed: int = 0  # matches that could not be played at one of the starts, and are left out
    needed_interval: tuple[float, float] | None = (
        None  # where `needed` lies; None: surely not between 0 and 1
    )

    @property
    def safe_us(self) -> int:
        """What has to be left at the last safe start."""
        return self.own_us + self.guard_us


def begun(plan: Plan, left_us: int) -> Plan:
    """The plan whose endgame begins with so much left."""
    assert plan.endgame is not None
    return replace(plan, endgame=replace(plan.endgame, begin_us=max(0, ends_us(plan) - left_us)))


def ends_us(plan: Plan) -> int:
    return sum(period.duration_us for period in plan.game.periods)


def sure(plan: Plan) -> Plan:
    """The plan whose endgame does not fail by chance; a routine that the periods run too stays as it is."""
    assert plan.endgame is not None
    alone = replace(plan, periods={}, endgame=plan.endgame)

    def change(step: Step) -> Step:
        return replace(step, succeeds=1.0) if isinstance(step, ActStep) else step

    certain = with_steps(alone, change)
    names = _only_of_endgame(plan)
    routines = {name: certain.routines[name] if name in names else own for name, own in plan.routines.items()}
    return replace(plan, routines=routines, endgame=certain.endgame)


def _only_of_endgame(plan: Plan) -> set[str]:
    assert plan.endgame is not None
    return routines_in(plan, [plan.endgame.steps]) - routines_in(plan, plan.periods.values())


def idle(plan: Plan) -> Plan:
    """The plan whose robot stands still from the endgame's begin."""
    assert plan.endgame is not None
    return replace(plan, endgame=replace(plan.endgame, steps=replace(plan.endgame.steps, steps=())))


def own_time_us(plan: Plan, states: Sequence[str]) -> int:
    """What the endgame takes to its last delivery (or, without any, its last wait), on the worst of some batteries."""
    assert plan.endgame is not None
    end = ends_us(plan)
    left = end - plan.endgame.begin_us
    while True:
        took = [_took_us(begun(plan, left), state, end - left) for state in dict.fromkeys(states)]
        if all(each is not None for each in took) or left >= end:
            return max(each if each is not None else left for each in took)
        left = min(end, 2 * left)


def _took_us(plan: Plan, state: str, begin_us: int) -> int | None:
    """None: it was not through at the end."""
    battery = next(each for each in plan.robot.battery if each.name == state)
    trace, _ = play(plan, battery)
    if any(wait.cut and wait.ended_us > begin_us for wait in trace.waits):
        return None
    placed = [each.at_us for each in trace.deliveries if each.at_us > begin_us]
    waited = [each.ended_us for each in trace.waits if each.ended_us > begin_us]
    return max(placed or waited, default=begin_us) - begin_us


def last_start(
    ledger: Ledger, plan: Plan, asked: Asked, cycle_s: float | None, progress: Progress
) -> LastStart | None:
    """The clock of a plan's endgame; None: it has none."""
    if plan.endgame is None:
        return None
    own = own_time_us(plan, asked.states)
    safe, end = own + plan.guard_us, ends_us(plan)
    step = max(FINEST_US, round((cycle_s or 0.0) * 1e6 / A_CYCLE))
    later = [safe - k * step for k in range(1, LATER + 1) if safe - k * step > 0]
    lefts = [*(min(end, safe + k * step) for k in range(EARLIER, 0, -1)), safe, *later]
    matches = one_a_day(asked.states, min(asked.runs, TRIED))
    plans = [replace(plan, endgame=None)]
    for left in lefts:
        plans += [begun(sure(plan), left), begun(idle(plan), left)]
    ledger.begin(progress, len(plans) * len(matches))
    played_all = ledger.play(plans, matches)
    good = [k for k in range(len(matches)) if not any(own_records[k].fault for own_records in played_all)]
    if not good:
        return None
    cycling, *others = ([records[k] for k in good] for records in played_all)
    gains = [Gain(does, fails, cycling) for does, fails in zip(others[0::2], others[1::2], strict=True)]
    at = lefts.index(safe)
    needed = gains[at].needed()
    return LastStart(
        plan.name,
        end - plan.endgame.begin_us,
        own,
        plan.guard_us,
        end,
        needed,
        tuple(_row(rate, lefts, [gain.at(rate) for gain in gains], at) for rate in RATES),
        step,
        len(good),
        len(matches) - len(good),
        None if needed is None else gains[at].interval_of(needed),
    )


class Gain:
    """What the endgame begun at one instant brings against cycling on, by how often it comes off.

    Parameters
    ----------
    does, fails, cycling : sequences of MatchRecord
        The same matches, in which it comes off, comes to nothing, and is not begun.
    """

    def __init__(
        self, does: Sequence[MatchRecord], fails: Sequence[MatchRecord], cycling: Sequence[MatchRecord]
    ) -> None:
        self.does, self.fails, self.cycling = (totals_of(each)[0] for each in (does, fails, cycling))
        self.days = np.array([one.number // MATCHES_A_DAY for one in cycling])
        self.luck = luckier(fails, cycling)

    @cached_property
    def taken(self) -> bool:
        """Whether luck is, for all rates alike, so that a gain lies on a straight line over the rate."""
        return self._fit(self.does - self.cycling, None).taken

    def _fit(self, values: Array, taken: bool | None) -> Fit:
        return regressed(values, self.days, self.luck, taken)

    def at(self, rate: float) -> Fit:
        """The mean gain of an endgame that comes off so often."""
        return self._fit(rate * self.does + (1.0 - rate) * self.fails - self.cycling, self.taken)

    def needed(self) -> float | None:
        """How often it has to come off to gain anything; None: it earns nothing."""
        never, always = (self.at(rate).mean.value for rate in (0.0, 1.0))
        return max(0.0, never / (never - always)) if always > never else None

    def interval_of(self, needed: float) -> tuple[float, float] | None:
        """Where that lies with 95 % confidence, from 0 to 1; None: surely on neither side of it."""
        open_ones = [float(rate) for rate in SHARES if _open(self.at(rate))]
        if 0.0 < needed <= 1.0:
            open_ones.append(needed)
        return (min(open_ones), max(open_ones)) if open_ones else None


def _open(fit: Fit) -> bool:
    """Whether a gain may be one or a loss."""
    return abs(fit.mean.value) < fit.half()


def _row(rate: float, lefts: Sequence[int], gains: Sequence[Fit], safe: int) -> Pays:
    each = list(zip(lefts, gains, strict=True))
    paying = [left for left, gain in each if gain.mean.value > 0.0]
    surely = [left for left, gain in each if gain.mean.value > 0.0 and not _open(gain)]
    best = max(range(len(lefts)), key=lambda k: gains[k].mean.value)
    return Pays(
        rate,
        min(paying, default=None),
        min(surely, default=None),
        gains[safe].mean,
        lefts[best],
        gains[best].mean,
    )
