"""Timers that give most points: a failure costs what it costs in this plan, and so does every second of waiting.

Three things are found by simulation, under the same luck: how long each timer had to be in every execution; from
timers so long that none fails, what a second more of waiting costs; and for each timer what one failure costs (it
is made to fail every time). The best wait t is the one at which cost of waiting x t + cost of failing x P(longer
than t) is least. That is the newsvendor's trade, but not his rule: what he is short of costs him by the piece, so
that his optimum is a fixed share of the executions, the critical fractile cu/(cu + co). A step that acts too early
fails as a whole, however late the move is, so the optimum here lies where the next millisecond gains less safety
than it costs: where the density of the moves is the ratio of the two costs. Where lateness costs by the second,
`best_wait` is the fractile.

What is found so is played again under luck that it has not met, beside the safe set; it is dropped if it loses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from simbot.analysis.better_timer import rounded_up
from simbot.scenario.model import BatteryState, Plan
from simbot.studies.chance import CHECK, CHOOSE, Chances
from simbot.studies.knobs import Knob, with_timers
from simbot.studies.paired import totals
from simbot.studies.runs import Bench, broken_by
from simbot.studies.safe_timers import Chosen
from simbot.studies.statistics import mean_of
from simbot.studies.timed_matches import NEVER_US, TimedMatch

FEWER = 3  # times: a mean cost needs no tail
LONGER_US = 250_000  # by which every timer is lengthened to see what waiting costs
Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Cost:
    """What a timer costs [points]."""

    second: float  # of waiting, once
    failure: float  # once
    enough: float  # share of its executions for which the value found is long enough


@dataclass(frozen=True)
class Balanced:
    plan: Plan
    values_us: list[int]
    costs: dict[int, Cost]  # by knob
    kept: dict[int, str]  # knob -> why it is as in the safe set


def best_wait(demands: Array, second: float, failure: float, late: float = 0.0) -> float:
    """The wait that costs least, of those that are just long enough for some execution.

    Parameters
    ----------
    demands : ndarray, shape (n,)
        How long it had to be [s]; inf where no wait would do.
    second, failure : float
        Cost of a second of waiting and of one execution for which it is too short.
    late : float
        Cost of each second by which it is too short, besides. Where nothing else costs, this is the newsvendor's
        problem with co = `second`, cu + co = `late`, since a wait costs its length whatever the move takes.

    Returns
    -------
    float
        [s]; of waits that cost the same the longest.
    """
    finite = np.sort(demands[np.isfinite(demands)])
    waits = np.unique(finite)
    enough = np.searchsorted(finite, waits, side="right")
    above = np.concatenate((np.cumsum(finite[::-1])[::-1], [0.0]))[enough]  # sum of the longer ones
    short = above - (len(finite) - enough) * waits
    cost = second * waits + failure * (1.0 - enough / len(demands)) + late * short / len(demands)
    return float(waits[np.flatnonzero(cost <= cost.min() + 1e-12)[-1]])


def balance(
    bench: Bench,
    plan: Plan,
    knobs: list[Knob],
    safe: Chosen,
    asked: Sequence[BatteryState],
    chances: Chances,
) -> Balanced:
    """The set that gives most points, from the safe one."""
    names = [state.name for state in asked]
    (base,) = chances.play(CHOOSE, [safe.plan], [knobs], names)
    demands = [_demands(base, index) for index in range(len(knobs))]
    sure_us = [max(value, _longest(found)) for value, found in zip(safe.values_us, demands, strict=True)]
    longer_us = [value + LONGER_US for value in sure_us]
    plans = [with_timers(safe.plan, knobs, values) for values in (sure_us, longer_us)]
    sure, longer = chances.play(CHOOSE, plans, [knobs, knobs], names)
    second = _cost_of_waiting(sure, longer)
    kept = dict(safe.held)
    open_knobs = [index for index, found in enumerate(demands) if index not in kept and found.size]
    tried = [
        with_timers(safe.plan, knobs, [*sure_us[:index], _too_short(demands[index]), *sure_us[index + 1 :]])
        for index in open_knobs
    ]
    failing = chances.play(CHOOSE, tried, [knobs] * len(tried), names, FEWER) if tried else []
    numbers = {match.record.number for each in failing for match in each}
    few = [match for match in sure if match.record.number in numbers]
    costs: dict[int, Cost] = {}
    values = list(safe.values_us)
    for index, matches in zip(open_knobs, failing, strict=True):
        failure = _cost_of_failing(few, matches, index, second)
        if failure is None:
            kept[index] = "made too short it costs nothing in simulation, so the safe value stays"
            continue
        wait = round(best_wait(demands[index], second, failure) * 1e6)
        values[index] = rounded_up(wait, plan.robot.loop_us, knobs[index].grain_us)
        share = float((demands[index] <= values[index] * 1e-6).mean())
        costs[index] = Cost(second, failure, share)
    values = _in_order(bench, safe, knobs, values, asked, kept)
    made = with_timers(safe.plan, knobs, values)
    checked = chances.play(CHECK, [made, safe.plan], [knobs, knobs], names)
    if _loses(*checked):
        text = "under luck that it had not met, the balanced set earned less than the safe one"
        return Balanced(safe.plan, safe.values_us, {}, {**kept, **dict.fromkeys(costs, text)})
    return Balanced(made, values, costs, kept)


def _demands(matches: Sequence[TimedMatch], index: int) -> Array:
    """How long a timer had to be in each execution [s]."""
    found = [need for match in matches if match.demands for _, need in match.demands[index]]
    return np.array([np.inf if need >= NEVER_US else need * 1e-6 for need in found])


def _longest(demands: Array) -> int:
    """The longest that some wait would do for [us]."""
    known = demands[np.isfinite(demands)]
    return round(float(known.max()) * 1e6) if known.size else 0


def _too_short(demands: Array) -> int:
    """Shorter than any move, but hardly [us]."""
    known = demands[np.isfinite(demands)]
    return round(float(known.min()) * 0.9e6) if known.size else 0


def _waited_s(matches: Sequence[TimedMatch], index: int) -> float:
    """Seconds that a timer is waited out in a match."""
    played = [match for match in matches if match.demands]
    each = [real for match in played for real, _ in match.demands[index]]
    return sum(each) * 1e-6 / max(1, len(played))


def _points(first: Sequence[TimedMatch], second: Sequence[TimedMatch]) -> float:
    """Mean points of the first less those of the second, over matches that both played."""
    one, other, _ = totals([each.record for each in first], [each.record for each in second])
    return float((one - other).mean()) if len(one) else 0.0


def _cost_of_waiting(sure: Sequence[TimedMatch], longer: Sequence[TimedMatch]) -> float:
    """Points that a second of waiting costs; 0 where the clock has room for it."""
    executions = sum(len(found) for match in longer for found in match.demands)
    played = sum(bool(match.demands) for match in longer)
    more = LONGER_US * 1e-6 * executions / max(1, played)
    return max(0.0, _points(sure, longer) / more) if more > 0.0 else 0.0


def _cost_of_failing(
    sure: Sequence[TimedMatch], failing: Sequence[TimedMatch], index: int, second: float
) -> float | None:
    """Points that one failure costs, the waiting it spared added; None: nothing failed, or it costs nothing."""
    played = [match for match in failing if match.demands]
    failures = sum(need > real for match in played for real, need in match.demands[index])
    if not failures:
        return None
    each = failures / len(played)
    spared = max(0.0, _waited_s(sure, index) - _waited_s(failing, index))
    cost = (_points(sure, failing) + second * spared) / each
    return cost if cost > 0.0 else None


def _in_order(
    bench: Bench,
    safe: Chosen,
    knobs: list[Knob],
    values: list[int],
    asked: Sequence[BatteryState],
    kept: dict[int, str],
) -> list[int]:
    """The values, with those back at the safe one that would break an order rule on a battery asked for."""
    values = list(values)
    known = _orders(bench, safe.plan, asked)
    changed = [index for index, value in enumerate(values) if value != safe.values_us[index]]
    changed.sort(key=lambda index: abs(values[index] - safe.values_us[index]))
    while changed and _orders(bench, with_timers(safe.plan, knobs, values), asked) - known:
        index = changed.pop()
        values[index] = safe.values_us[index]
        kept[index] = "breaks an order rule with any other than the safe value"
    return values


def _orders(bench: Bench, plan: Plan, asked: Sequence[BatteryState]) -> set[object]:
    return {
        mark for ran in bench.run_all(plan, asked) for mark in broken_by(ran) if mark[0] == "order_broken"
    }


def _loses(made: Sequence[TimedMatch], safe: Sequence[TimedMatch]) -> bool:
    """Whether the mean difference lies below zero for sure."""
    one, other, days = totals([each.record for each in made], [each.record for each in safe])
    if not len(one):
        return True
    figure = mean_of(one - other, days)
    return figure.interval is not None and figure.interval[1] < 0.0
