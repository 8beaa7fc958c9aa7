"""Robots at one station, and counts in a fixed time, against queueing and renewal theory.

The robots are real runs of a plan on a plant of stopwatches; what they do takes times drawn here. Every draw is a
whole number of loop ticks, so that instants can be compared to the microsecond.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise
from math import sqrt

import numpy as np
import pytest
import simpy
from plans import HERE, LINES, drive, pick, place, plan, repeat, spot, station
from stopwatch import StopwatchPlant, straight, words

from simbot.physics.luck import NOMINAL, Luck
from simbot.routine.ground import Ground
from simbot.routine.sequencer import Field, Run, run
from simbot.routine.world import World
from simbot.scenario.model import DriveStep, Pattern, Plan, Pose, Start, WaitStep
from simbot.scenario.parameters import Span

TICK_US = 1000
AWAY = 2.0


class Given(Luck):
    """Waits marked with a purpose take the times given for it [µs]."""

    drawn = True

    def __init__(self, **times_us: Iterable[float]) -> None:
        self.times = {purpose: iter(times) for purpose, times in times_us.items()}

    def span_us(self, span: int, *key: object) -> int:
        return int(next(self.times[str(key[2])])) if len(key) > 2 else int(span)


def waits(purpose: str) -> WaitStep:
    return WaitStep(next(LINES), duration_us=Span(TICK_US, 0), purpose=purpose)


def ticks(seconds: np.ndarray) -> np.ndarray:
    """Seconds as whole ticks, at least one [µs]."""
    return np.maximum(1, np.rint(seconds * 1e6 / TICK_US)).astype(int) * TICK_US


VISIT = (waits("search"), DriveStep(next(LINES), "drive", "tray", HERE, 0.0), waits("settling"), drive(AWAY))


def at_one_station(given: Plan, lucks: list[Luck]) -> list[Run]:
    """Robots with the same plan and each its own luck, on one field; their runs when it is over."""
    env, world = simpy.Environment(), World(given.game)
    field = Field(env, world, NOMINAL, Ground(env, given.game))
    runs = []
    for luck in lucks:
        tracks = {"drive": straight(1e9)}
        runs.append(Run(field, given, StopwatchPlant(tracks, world.end_us, TICK_US), luck))
        runs[-1].begin()
    env.run(until=world.end_us)
    return runs


def waited_us(robot: Run) -> list[int]:
    return [each.to_us - each.from_us for each in robot.log.queues if each.why == "taken"]


def waits_of_visitors(arrivals_us: np.ndarray, stays_us: np.ndarray) -> np.ndarray:
    """How long each of many robots that come once waits at the station [µs]."""
    lasts = (arrivals_us[-1] + stays_us.sum()) * 1e-6 + 1.0
    lucks: list[Luck] = [
        Given(search=[come], settling=[stay]) for come, stay in zip(arrivals_us, stays_us, strict=True)
    ]
    return np.array(
        [sum(waited_us(one)) for one in at_one_station(plan(*VISIT, lasts=(lasts,)), lucks)], dtype=int
    )


def recursion(arrivals_us: np.ndarray, stays_us: np.ndarray) -> np.ndarray:
    """Waits in the order of coming: W' = max(0, W + S - A) (Lindley, 1952)."""
    found = [0]
    for (came, comes), stays in zip(pairwise(arrivals_us), stays_us, strict=False):
        found.append(max(0, found[-1] + stays - (comes - came)))
    return np.array(found)


def mean_and_error(values: Iterable[float]) -> tuple[float, float]:
    """Mean of independent values and its standard error."""
    found = np.array(list(values))
    return float(found.mean()), float(found.std(ddof=1) / sqrt(len(found)))


def exponential(rng: np.random.Generator, size: int) -> np.ndarray:
    return rng.exponential(1.0, size)


def always(rng: np.random.Generator, size: int) -> np.ndarray:
    return np.ones(size)


def flat(rng: np.random.Generator, size: int) -> np.ndarray:
    return rng.uniform(0.0, 1.0, size)


RHO = 0.8  # interarrival 1.25, service 1
REPEATS, VISITORS = 200, 60


@pytest.mark.parametrize(
    ("service", "rest", "expected"),
    [
        # Wq 4: textbook problem 2.6.1 as worked at rstudio-pubs-static, 305152
        (exponential, exponential, 4.0),
        # Wq = rho / (2 mu (1 - rho)) = 2: Saylor Academy's survey of queueing, section 4.5
        (always, flat, 2.0),
    ],
    ids=["M/M/1", "M/D/1"],
)
def test_waits_of_robots_that_come_at_random_to_one_station(service, rest, expected) -> None:  # type: ignore[no-untyped-def]
    """Each run begins with the work found in the long run: a geometric number of rests of services
    (Pollaczek and Khinchine; from memory), so that no run-in has to be thrown away."""
    rng = np.random.default_rng(1)
    means = []
    for _ in range(REPEATS):
        found = rest(rng, rng.geometric(1.0 - RHO) - 1).sum()
        arrivals = ticks(rng.exponential(1.0 / RHO, VISITORS)).cumsum()
        arrivals, stays = (
            np.r_[TICK_US, TICK_US + arrivals],
            np.r_[ticks(found), ticks(service(rng, VISITORS))],
        )
        waits_us = waits_of_visitors(arrivals, stays)
        assert (waits_us == recursion(arrivals, stays)).all()
        means.append(waits_us[1:].mean() * 1e-6)
    mean, error = mean_and_error(means)
    assert error < 0.08 * expected
    assert abs(mean - expected) < 4 * error


def test_five_robots_share_a_station() -> None:
    """Finite source: 5 printers, 20 h between calls, 2 h of service, one technician: 4.36 of them run (finite-queue
    table of operations-management slides, coursehero.com/file/8871054); the birth-death chain has 4.3605, and
    0.9333 h of waiting. Hours are seconds here."""
    rng = np.random.default_rng(2)
    begin_us, lasts = 100_000_000, 1500.0  # what comes before is left out
    given = plan(repeat(*VISIT), lasts=(lasts,))

    def drawn(mean: float) -> Iterator[int]:
        while True:
            yield from ticks(rng.exponential(mean, 500))

    down, waited = [], []
    for _ in range(60):
        robots = at_one_station(given, [Given(search=drawn(20.0), settling=drawn(2.0)) for _ in range(5)])
        queued = [(one.from_us, one.to_us) for robot in robots for one in robot.log.queues]
        served = [
            (one.began_us, one.ended_us)
            for robot in robots
            for one in robot.log.waits
            if one.purpose == "settling"
        ]
        spent = [sum(max(0, to - max(at, begin_us)) for at, to in spans) * 1e-6 for spans in (queued, served)]
        down.append(sum(spent) / (lasts - begin_us * 1e-6))
        waited.append(spent[0] / sum(at >= begin_us for at, _ in served))
    mean, error = mean_and_error(down)
    assert error < 0.015 and abs(5 - mean - 4.3605) < 4 * error
    mean, error = mean_and_error(waited)
    assert error < 0.04 and abs(mean - 0.9333) < 4 * error


def test_two_robots_that_come_two_seconds_apart() -> None:
    """A comes at 0 and B at 2, 5 s each: they leave at 5 and 10 (trivial)."""
    lucks: list[Luck] = [Given(search=[came], settling=[5_000_000]) for came in (TICK_US, 2_000_000)]
    first, second = at_one_station(plan(*VISIT, lasts=(20.0,)), lucks)
    left = [robot.log.waits[-1].ended_us for robot in (first, second)]
    assert left == [5_000_000 + TICK_US, 10_000_000 + TICK_US]
    (queue,) = second.log.queues
    assert (queue.from_us, queue.to_us, queue.where, queue.why) == (
        2_000_000,
        5_000_000 + TICK_US,
        "tray",
        "taken",
    )
    assert not first.log.queues


def test_a_robot_that_comes_at_any_time_to_a_station_that_another_uses_by_the_clock() -> None:
    """Every 9 s for 2 s: it finds the station taken 2 times in 9 and waits 2^2 / (2 x 9) s in the mean (the rest of
    a renewal; derived here)."""
    rng = np.random.default_rng(3)
    other = Pattern("other", "tray", Span(9_000_000, 0), Span(2_000_000, 0), 0, 0)
    away = Start(Pose(0.0, 0.0, 0.0), {}, {})  # not on the station itself
    given = replace(plan(*VISIT, lasts=(60.0,)), patterns=(other,), start=away)
    found = []
    for came in ticks(rng.uniform(9.0, 45.0, 600)):
        plant = StopwatchPlant({"drive": straight(1e9)}, 60_000_000, TICK_US)
        trace = run(given, plant, Given(search=[came], settling=[TICK_US]))
        found.append(sum(each.to_us - each.from_us for each in trace.queues) * 1e-6)
    mean, error = mean_and_error(found)
    assert error < 0.03 and abs(mean - 4 / 18) < 4 * error
    share, error = mean_and_error(float(each > 0.0) for each in found)
    assert error < 0.02 and abs(share - 2 / 9) < 4 * error
    assert max(found) <= 2.0


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        # exponential cycles: T / mean (textbook; from memory)
        (1, 15.0),
        # gamma cycles: sum over n of P(n k, T / theta); with k = 4 it is 14.625 (derived, summed by scipy)
        (4, 14.625),
    ],
)
def test_deliveries_in_a_fixed_time(shape: int, expected: float) -> None:
    """Cycles of 8 s in the mean, 120 s: the renewal function."""
    rng = np.random.default_rng(4)
    cycle = (waits("search"), pick(by=("hand", "shut")), place(by=("hand", "open")))
    given = plan(repeat(*cycle), lasts=(120.0,), stations=(station(),), places=(spot(),))

    def drawn() -> Iterator[int]:
        while True:
            yield from ticks(rng.gamma(shape, 8.0 / shape, 50))

    counts = []
    for _ in range(1500):
        plant = StopwatchPlant({"hand": words(0.0)}, 120_000_000, TICK_US)
        counts.append(len(run(given, plant, Given(search=drawn())).deliveries))
    mean, error = mean_and_error(counts)
    assert error < 0.12 and abs(mean - expected) < 4 * error
