"""What tuning comes to, as plain records: everything its report, patch, table and document may print.

Durations in µs; of a timer they count from the begin of its wait. None means absent.
"""

from __future__ import annotations

from dataclasses import dataclass

from simbot.analysis.missing_waits import MissingWait
from simbot.scenario.model import SourceNumber
from simbot.studies.balanced import Cost
from simbot.studies.chance import Chance
from simbot.studies.statistics import Figure


@dataclass(frozen=True)
class TimerState:
    """One timer in one battery state, the worst of its executions."""

    state: str
    times: int  # how often it was waited out
    floor_us: int | None
    arrival_us: int | None
    real_us: int
    margin_us: int | None
    verdict: str  # "" where it times no move
    consequence: str | None  # "breaking", "harmless"; None for snug and slack
    tuned_margin_us: int | None  # with the suggested set


@dataclass(frozen=True)
class NeedMargin:
    """The least margin of one need downstream of a timer, over its executions."""

    state: str
    line: int  # of the acting step
    mechanism: str
    margin_us: int | None  # None: never met
    missed: bool


@dataclass(frozen=True)
class TunedTimer:
    step: int | None  # None: never carried out
    line: int  # in the plan
    name: str  # "CLAW_CLOSE_MS", or the line and what it waits for
    labels: tuple[str, ...]  # "lift to 0.42 m", all that it times
    source: SourceNumber | None
    now_us: int
    suggested_us: int
    floor_us: int | None  # the largest of the states asked for, with the suggested set
    arrival_us: int | None
    times: int  # in the state shown
    reason: str
    gain_us: int | None  # of a wait for arrival in its place, a cycle (or in all, without whole cycles)
    states: tuple[TimerState, ...]
    needs: tuple[NeedMargin, ...]
    enough_now: Figure | None = None  # share of executions with chance for which it is long enough
    enough_tuned: Figure | None = None
    cost: Cost | None = None  # of a balanced one
    what: str = "wait"  # "effort": how long one lasts; "limit": how long something may take

    @property
    def changed(self) -> bool:
        return self.suggested_us != self.now_us


@dataclass(frozen=True)
class Totals:
    """A run in short."""

    cycles: int
    cycle_time_s: float | None
    points_per_s: float | None
    points: float
    passes: bool
    passes_if: str  # see `results.passes_if`
    finished_us: int  # instant of the last wait or delivery


@dataclass(frozen=True)
class Activity:
    """A wait as part of the routine's network."""

    line: int
    label: str
    duration_us: int  # its mean
    slack_us: int
    critical: bool


@dataclass(frozen=True)
class PathOf:
    """The network of one period's routine, what repeats without end carried out once."""

    period: str
    length_us: int
    activities: tuple[Activity, ...]


@dataclass(frozen=True)
class Overlap:
    """Two stretches of the routine that may go together, as simulation shows."""

    lines: tuple[int, ...]  # of the waits of the one that could begin earlier
    beside: tuple[int, ...]  # of those it would go together with
    labels: tuple[str, ...]
    beside_labels: tuple[str, ...]
    saves_us: int  # of the routine in the state shown: a cycle, or in all; waiting at stations left out
    saves_least_us: int  # of all states asked for
    cycle_saves_us: int  # with that waiting: what a station that is still empty leaves of it
    points: float  # more in the state shown


@dataclass(frozen=True)
class Overlaps:
    paths: tuple[PathOf, ...]
    proposals: tuple[Overlap, ...]  # each alone, the best first
    together: tuple[int, ...]  # those that also hold together, by index
    together_saves_us: int
    together_cycle_saves_us: int
    rejected: int  # tried, and a need or order rule broke, or nothing was gained


@dataclass(frozen=True)
class RuleState:
    state: str
    volts: float
    rule_us: int  # what the rule makes of the timer, not below zero
    arrival_us: int | None
    error_us: int | None  # rule less arrival
    verdict: str


@dataclass(frozen=True)
class RuleTimer:
    line: int
    name: str
    base_us: int
    states: tuple[RuleState, ...]
    rule_slope: float | None  # s/V; None with one battery state
    right_slope: float | None


@dataclass(frozen=True)
class RuleResult:
    text: str
    timers: tuple[RuleTimer, ...]
    after: dict[str, Totals]


@dataclass(frozen=True)
class Limit:
    """One parameter of the controller: a profile's speed or acceleration [SI], or the loop's period [s].

    Arrivals are the mean over the routine's moves of that mechanism (the loop: of all), each alone, on the weakest
    battery asked for.
    """

    name: str  # "lift speed", "loop"
    mechanism: str | None  # None: the loop
    key: str  # "speed", "acceleration", "loop"
    line: int | None  # of the control in the robot's file
    turns: bool  # of an angle
    now: float
    impossible: (
        float | None
    )  # above it some move falls behind its profile, or never arrives; None: none was found
    no_gain: (
        float | None
    )  # above it (the loop: below) it gains no more than a millisecond; None: it never arrives
    uneven: bool  # some of the larger values tried are followed again
    follows: bool  # as it is now
    arrival_us: int | None
    best_us: int | None
    suggested: float
    gain_us: int | None  # of the routine with the suggested one, a cycle (or in all, without whole cycles)
    held: str  # what the suggestion would break in the routine
    moves: int  # different ones
    tried: tuple[float, float]  # the range that was looked at
    steps: tuple[
        tuple[float, int], ...
    ] = ()  # of the loop: periods [s] and what the routine saves with them [us]

    @property
    def changed(self) -> bool:
        return self.suggested != self.now


@dataclass(frozen=True)
class Lost:
    """A place that is delivered to less often."""

    line: int  # of the place step
    place: str
    times: int


@dataclass(frozen=True)
class Stair:
    """From this delay on the first period's routine earns so much."""

    from_us: int
    points: float  # of the period
    lost: tuple[Lost, ...]  # against the stair before; empty where points alone fall, as a bonus does


@dataclass(frozen=True)
class StartDelay:
    """How late the routine of the first period may begin."""

    period: str
    battery: str  # of `points` and `stairs`
    points: float  # without a delay
    fits_us: dict[str, int]  # by battery state: the latest delay with which every point is still made
    stairs: tuple[Stair, ...]  # the first of them
    uneven: bool  # a later start was seen to earn more than an earlier one
    looks: int  # delays over the period at which it was looked
    tick_us: int  # to which the edges are found


@dataclass(frozen=True)
class Early:
    """A wait for an arrival that goes on while the mechanism is only passing through its window."""

    line: int  # of the wait
    label: str
    mechanism: str
    early_us: int  # so long before it stays
    state: str  # battery
    settling_us: int  # a wait behind it that would settle it
    turns: bool
    slower_than: float | None = (
        None  # [m/s or rad/s] in its control, which settles it; None: none of those tried
    )
    costs_us: int | None = None  # what the routine takes longer with that, a cycle


@dataclass(frozen=True)
class TuneResult:
    plan: str
    plan_path: str
    robot: str
    game: str
    kind: str  # "safe", "balanced", "sensor"
    battery: str  # state of `before` and `after`
    asked: tuple[str, ...]  # states for which the timers hold
    guard_us: int
    timers: tuple[TunedTimer, ...]
    before: dict[str, Totals]  # every battery state, strongest first
    after: dict[str, Totals]
    overlaps: Overlaps
    rule: RuleResult | None
    chance: Chance | None = None  # None: not asked for
    waits: tuple[MissingWait, ...] = ()  # to put in; with the suggested set
    limits: tuple[Limit, ...] = ()
    early: tuple[Early, ...] = ()
    start: StartDelay | None = None  # None: the first period has no routine, or earns nothing


def weakest_that_passes(totals: dict[str, Totals]) -> str | None:
    """The last state such that it and all stronger ones pass."""
    weakest = None
    for name, total in totals.items():
        if not total.passes:
            break
        weakest = name
    return weakest
