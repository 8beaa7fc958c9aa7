"""Plays matches, here or in other processes of this machine. Records come back in the order of their numbers."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import groupby
from types import TracebackType

from simbot.scenario.model import Plan
from simbot.studies.one_match import MATCHES_A_DAY, Day, MatchRecord

Round = list[tuple[int, str]]  # numbers of matches, and the battery state of each
Task = tuple[Plan, Round]


class Team:
    """Some plans, and the processes that play them."""

    def __init__(self, plans: Sequence[Plan], seed: int, workers: int) -> None:
        self.plans = tuple(plans)
        self.seed = seed
        self.pool: ProcessPoolExecutor | None = None
        if workers > 1:
            context = multiprocessing.get_context("spawn")
            self.pool = ProcessPoolExecutor(workers, context, _prepare)

    def __enter__(self) -> Team:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.pool is not None:
            self.pool.shutdown(wait=False, cancel_futures=True)

    def play_all(self, matches: Round) -> list[list[MatchRecord]]:
        """The same matches for every plan."""
        return self.play_each([(plan, matches) for plan in self.plans])

    def play_each(self, tasks: Sequence[Task]) -> list[list[MatchRecord]]:
        """Matches of any plans, each plan its own."""
        played = self.play_days([(plan, day) for plan, matches in tasks for day in days_of(matches)])
        return [[one for _ in days_of(matches) for one in next(played)] for _, matches in tasks]

    def play_days(self, days: Sequence[Task]) -> Iterator[list[MatchRecord]]:
        """Days of any plans as they come, in their order."""
        if self.pool is None:
            return (play_day(plan, self.seed, day) for plan, day in days)
        begun = [self.pool.submit(play_day, plan, self.seed, day) for plan, day in days]
        return (each.result() for each in begun)


def rounds(states: Sequence[str], runs: int, days: int, done: int = 0) -> Iterator[Round]:
    """The matches that are still to play, so many days at a time; the battery states come in turn."""
    size = days * MATCHES_A_DAY
    begin = done
    while begin < runs:
        end = min(runs, (begin // size + 1) * size)
        yield [(number, states[number % len(states)]) for number in range(begin, end)]
        begin = end


def days_of(matches: Round) -> list[Round]:
    """A round cut into its days."""
    return [list(day) for _, day in groupby(matches, key=lambda match: match[0] // MATCHES_A_DAY)]


def play_day(plan: Plan, seed: int, matches: Round) -> list[MatchRecord]:
    """Matches of one day."""
    batteries = {state.name: state for state in plan.robot.battery}
    day = Day(plan, seed, matches[0][0] // MATCHES_A_DAY)
    return [day.record(number, batteries[state]) for number, state in matches]


def _prepare() -> None:
    """Ctrl-C is the business of the process that asked."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
