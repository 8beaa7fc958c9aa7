"""What one run comes to, as plain records: everything a report may print. SI; instants and durations in µs.

Instants end in `_at_us`, durations in `_us`. None means absent. All of it is derived from one run's trace.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from simbot.analysis.better_timer import TimerNumber
from simbot.routine.trace import Award, Choice, Fall
from simbot.scenario.model import Pose


@dataclass(frozen=True)
class MoveResult:
    """One executed command: its three times and its verdict."""

    step: int  # number of the plan's step (order of first execution, one number a line)
    line: int
    mechanism: str
    label: str  # "lift to 0.42 m"
    start_at_us: int
    floor_us: int | None  # to the nearest µs
    arrival_us: int | None
    first_inside_us: int | None  # only where it differs from the arrival
    seen_arrival_us: int | None  # when an arrival wait saw it
    timer_us: int | None  # the real wait
    timer_written_us: int | None  # None for arrival waits
    wait_line: int | None  # line of the wait that times it
    margin_us: int | None
    need_margin_us: int | None  # smallest over the needs downstream
    verdict: str | None
    consequence: str | None  # "breaking", "harmless"; None for snug and slack
    measured_s: tuple[float, ...]
    cut: bool
    start_position: float | str
    start_speed: float
    target: float | str
    lag: float | None  # farthest behind its motion profile; None without one
    ends_at: float | str | None  # of a move that never arrives
    reason: str  # of a move that never arrives
    period: str
    repeat: int  # 0 for the first execution of this line, 1 for the second, ...
    stuck: bool = False  # it never arrives, and a wait for its arrival stood until its period ended
    # by needs that were checked before the wait that times it was over, and no others
    asked_too_soon: bool = False
    unfinished_us: int | None = None  # how long it had, where only the end of the match kept it from arriving


class Off(NamedTuple):
    """How far from where it is needed a mechanism stood; of a drive place or heading, what used more of its own."""

    off: float  # m, rad or rad/s
    within: float
    measures: str  # "length", "angle" or "angular_speed"

    @property
    def share(self) -> float:
        return self.off / self.within


@dataclass(frozen=True)
class NeedResult:
    """One need, when its acting step began."""

    step: int
    line: int
    at_us: int
    mechanism: str
    cause_line: int | None  # line of the command that had to bring it there
    position: float | str
    speed: float | None
    target: float | str
    within: float | None
    met: bool
    margin_us: int | None
    text: str = ""  # what is needed, as the plan has it
    off: Off | None = None  # None: a word
    narrow: tuple[str, ...] = ()  # ways in which it nearly was not met: "time", "tolerance" (see `needs`)
    missing_wait_us: int | None = None  # missed by so much, and no wait before the step sees to it


@dataclass(frozen=True)
class PickResult:
    step: int
    line: int
    begins_at_us: int
    held_at_us: int | None
    outcome: (
        str  # "held", the declared one, "taken over" by a later one, "unfinished" where the match ended first
    )
    spare_us: int | None = None  # how long after it held the first of its needs was left; None: none was
    narrow: bool = False  # that was less than the guard, and no wait saw the hand closed


@dataclass(frozen=True)
class WaitResult:
    """One wait.

    kind: time, arrival, passing or until; settling, driver, stagger or search, a time for that; of other steps sense,
    closing (a try waits for what still closes), driver too (a person reacts).
    ended: time, arrival, passing, seen, limit, or cut (its period ended, or another branch was first).
    """

    step: int
    line: int
    kind: str
    began_at_us: int
    ended_at_us: int
    planned_us: int | None  # None: it waits for something; without chance
    limit_us: int | None
    ended: str


@dataclass(frozen=True)
class FallResult:
    """One element that fell: where the robot was, and where the element is after that."""

    fall: Fall
    pose: Pose | None  # None: nobody said where the robot stands
    back_to: str | None  # the station; None: it is lost


class FindingKey(NamedTuple):
    """What a finding is and where it stands: alike for all times and battery states in which it happens."""

    kind: str
    line: int
    cause_line: int | None
    mechanism: str | None
    about: str | None
    file: str | None


@dataclass(frozen=True, kw_only=True)
class Finding:
    """Something that went wrong or was nearly wrong.

    kind: need_unmet, pick_lost (a hand over too), nothing_held, place_full, limit_ran_out, never_arrived,
    order_broken; bus_collapse, bus_low, over_fuse, fuse_opens, breaker_opens, brown_out, stalls_long, cord_overloaded,
    cord_slack, hard_stop, lags, fades, winding_hot, zero_room; path_blocked; place_missed, try_failed, too_many_held,
    places_changed, waits_long, opened_full, piled_up, shut_already, moved_on.
    """

    kind: str
    step: int
    line: int  # 0: before the first command
    at_us: int
    file: str | None = None  # the plan that step and line are of, where it is the second robot's
    mechanism: str | None = None
    about: str | None = (
        None  # what tells it from others like it: a device, an obstacle, what was in the way, why
    )
    cause_line: int | None = None  # the command whose timer is the first cause
    cause_step: int | None = None
    late_us: int | None = None  # how much later it would have been met
    outcome: str | None = None
    text: str  # one full sentence, first cause first
    fails: bool = False  # True where it makes the state fail
    mechanisms: tuple[str, ...] = ()  # limit_ran_out: those that had not arrived
    times: int = 1  # how often it happens, where one finding tells of all
    # the run goes on as if it had not happened, so that a state passes only if so: "nothing resets"
    provided: str = ""

    @property
    def key(self) -> FindingKey:
        line = 0 if self.kind == "bus_low" else self.line  # wherever it is lowest, it is one thing
        return FindingKey(self.kind, line, self.cause_line, self.mechanism, self.about, self.file)


LETS_GO = "hands let go in time"


def passes_if(found: Iterable[Finding]) -> str:
    """`if nothing resets`: what a run takes for granted although its findings tell of it; else nothing."""
    told = {one.provided for one in found if one.provided}
    power = sorted(told - {LETS_GO})
    parts = power if len(power) < 2 else ["nothing resets or opens"]
    return f"if {' and '.join([*parts, *(told & {LETS_GO})])}" if told else ""


# kinds of findings that tell of a rule or a part that gives way: a state may pass with them, --strict does not
BREAKS = frozenset(
    (
        "order_broken", "path_blocked", "too_many_held", "bus_collapse", "brown_out", "fuse_opens", "breaker_opens",
        "winding_hot", "cord_overloaded", "hard_stop",
    )
)  # fmt: skip


@dataclass(frozen=True)
class TimeShares:
    """Parts of the mean cycle [s]; they add up to it."""

    driving_s: float
    moving_s: float
    timers_s: float
    stations_s: float
    given_away_s: float


@dataclass(frozen=True)
class StateResult:
    """One battery state."""

    name: str
    open_circuit: float
    resistance: float
    cycles: int
    cycle_time_s: float | None
    cycle_time_sd_s: float | None
    points_per_s: float | None
    points: dict[str, float | None]  # each period, "endgame" (None where the game has none), "total"
    time: TimeShares | None
    unfinished: str  # a sentence where an unfinished cycle was the slow one, else ""
    deliveries_at_us: tuple[int, ...]
    bus_min_v: float
    bus_min_at_us: int
    current_peak_a: float
    current_mean_a: float
    energy_j: float
    moves: tuple[MoveResult, ...]
    needs: tuple[NeedResult, ...]
    picks: tuple[PickResult, ...]
    findings: tuple[Finding, ...]
    acting_steps: int
    acting_steps_without_needs: int
    passes: bool
    partner_points: float | None = None  # of the second robot; None: there is none
    waits: tuple[WaitResult, ...] = ()
    choices: tuple[Choice, ...] = ()  # how steps that choose ended
    falls: tuple[FallResult, ...] = ()
    awards: tuple[Award, ...] = ()  # penalties, and what counted at the end
    idle_s: dict[str, float] = field(
        default_factory=dict
    )  # left by a period after its routine, within whole cycles
    over_fuse_s: float | None = (
        None  # that the battery gives more than its fuse's rating; None: it has no fuse
    )

    @property
    def penalties(self) -> float:
        """Points of all penalties, 0 or negative."""
        return sum(one.points for one in self.awards if one.kind == "penalty")

    @property
    def passes_if(self) -> str:
        """What it takes for granted where it passes (see `passes_if`); else nothing."""
        return passes_if(self.findings) if self.passes else ""


@dataclass(frozen=True)
class RunResult:
    plan: str
    plan_path: str
    game: str
    robot: str
    guard_us: int
    states: tuple[StateResult, ...]  # strongest first
    weakest_state_that_passes: str | None
    failing_states: tuple[str, ...]
    loop_us: int = 1000  # at whose ticks its waits end
    timers: tuple[TimerNumber, ...] = ()  # of the plan
    match: tuple[int, int] | None = None  # number and seed of a match with chance; None: nominal
    others: tuple[str, ...] = ()  # who else is on the field, in a nominal run too
    cautions: tuple[str, ...] = field(default=())
