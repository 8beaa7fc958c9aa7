"""How late the first period's routine may begin: up to when it makes every point that it makes nominally, and what
falls out first when it is later, then next.

Points against the delay are a staircase. Its edges are found by bisection to one tick of the loop, each a real run;
between two looks at which the same things were delivered nothing is supposed to change.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from simbot.analysis.cycles import points_by_period
from simbot.routine.match import play
from simbot.scenario.model import BatteryState, Plan, SequenceStep, WaitStep
from simbot.studies.runs import Bench
from simbot.studies.tune_results import Lost, Stair, StartDelay

LOOKS = 12  # delays over the period at which it is looked first
EDGES = 3  # of the staircase that are told


@dataclass(frozen=True)
class Outcome:
    """What the period comes to with one delay."""

    points: float
    delivered: tuple[tuple[int, str, int], ...]  # (line, place, how often), in file order


def find_start_delay(
    bench: Bench, plan: Plan, asked: Sequence[BatteryState], shown: BatteryState
) -> StartDelay | None:
    """The time budget of the first period's routine; None where it has none, or earns nothing."""
    period = plan.game.periods[0]
    if period.name not in plan.periods:
        return None
    short = _alone(plan)
    tick = plan.robot.loop_us
    most = period.duration_us // tick

    def of(battery: BatteryState) -> Callable[[int], Outcome]:
        known: dict[int, Outcome] = {}

        def at(ticks: int) -> Outcome:
            if ticks not in known:
                trace, _ = play(delayed(short, ticks * tick), battery, bench.models)
                counts = Counter(
                    (one.line, one.place) for one in trace.deliveries if one.period == period.name
                )
                points = points_by_period(trace, plan.game)[period.name] or 0.0
                known[ticks] = Outcome(points, tuple((*key, counts[key]) for key in sorted(counts)))
            return known[ticks]

        return at

    at = of(shown)
    if at(0).points <= 0.0:
        return None
    edges, uneven = edges_of(at, most)
    stairs = tuple(Stair(edge * tick, at(edge).points, _lost(at(before), at(edge))) for before, edge in edges)
    fits = {}
    for battery in dict.fromkeys((*asked, shown)):
        own = at if battery.name == shown.name else of(battery)
        fits[battery.name] = latest_that_fits(own, most) * tick
    return StartDelay(period.name, shown.name, at(0).points, fits, stairs, uneven, LOOKS + 1, tick)


def _alone(plan: Plan) -> Plan:
    """The first period by itself; a partner, who shares stations to the end, keeps the match whole."""
    if len(plan.game.periods) == 1 or plan.partner is not None:
        return plan
    first = plan.game.periods[0]
    game = replace(plan.game, periods=(first,), endgame_us=None, at_end={})
    return replace(plan, game=game, periods={first.name: plan.periods[first.name]}, endgame=None, at_end={})


def delayed(plan: Plan, delay_us: int) -> Plan:
    """The plan whose first period stands still at first."""
    name = plan.game.periods[0].name
    steps = plan.periods[name]
    line = steps.steps[0].line if steps.steps else steps.line
    still = WaitStep(line, duration_us=delay_us, purpose="stagger")
    return replace(plan, periods={**plan.periods, name: SequenceStep(steps.line, (still, *steps.steps))})


def _looks(most: int) -> list[int]:
    return sorted({round(most * k / LOOKS) for k in range(LOOKS + 1)})


def edges_of(at: Callable[[int], Outcome], most: int) -> tuple[list[tuple[int, int]], bool]:
    """The first edges of the staircase, as (last tick before, first tick after), and whether a later start was seen
    to earn more than an earlier one."""
    looks = _looks(most)
    points = [at(look).points for look in looks]
    uneven = any(later > earlier for k, earlier in enumerate(points) for later in points[k + 1 :])
    edges: list[tuple[int, int]] = []
    now, end = 0, looks
    while len(edges) < EDGES:
        bad = next((look for look in end if look > now and at(look) != at(now)), None)
        if bad is None:
            break
        good = max((look for look in end if now <= look < bad), default=now)
        good, bad = _narrowed(_same(at, at(now)), good, bad)
        edges.append((good, bad))
        now = bad
    return edges, uneven


def _same(at: Callable[[int], Outcome], outcome: Outcome) -> Callable[[int], bool]:
    return lambda tick: at(tick) == outcome


def latest_that_fits(at: Callable[[int], Outcome], most: int) -> int:
    """The latest delay up to which every look makes as many points as without one."""
    wanted = at(0).points
    good = 0
    for look in _looks(most):
        if at(look).points < wanted:
            return _narrowed(lambda tick: at(tick).points >= wanted, good, look)[0]
        good = look
    return good


def _narrowed(holds: Callable[[int], bool], good: int, bad: int) -> tuple[int, int]:
    while bad - good > 1:
        middle = (good + bad) // 2
        good, bad = (middle, bad) if holds(middle) else (good, middle)
    return good, bad


def _lost(before: Outcome, after: Outcome) -> tuple[Lost, ...]:
    """What is delivered less often than one step of the stairs before."""
    counts = {(line, place): count for line, place, count in after.delivered}
    return tuple(
        Lost(line, place, count - counts.get((line, place), 0))
        for line, place, count in before.delivered
        if counts.get((line, place), 0) < count
    )
