"""Plays matches, here or in other processes of this machine. Records come back in the order of their numbers."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import groupby
from types import TracebackType
from typing import Any

from simbot.scenario.model import Plan
from simbot.studies.one_match import MATCHES_A_DAY, Day, MatchRecord

Round = list[tuple[int, str]]  # numbers of matches, and the battery state of each
Play = Callable[
    [tuple[Plan, ...], int, int, Round], list[Any]
]  # plans, number of one, seed, matches of a day
_here: list[tuple[tuple[Plan, ...], int, Play]] = []  # of a worker process


def play_day(plans: tuple[Plan, ...], which: int, seed: int, matches: Round) -> list[MatchRecord]:
    """Matches of one day with one of the plans."""
    plan = plans[which]
    batteries = {state.name: state for state in plan.robot.battery}
    day = Day(plan, seed, matches[0][0] // MATCHES_A_DAY)
    return [day.record(number, batteries[state]) for number, state in matches]


class Team:
    """Some plans, and the processes that play them; `play` plays matches of one day and boils them down."""

    def __init__(self, plans: Sequence[Plan], seed: int, workers: int, play: Play = play_day) -> None:
        self.plans = tuple(plans)
        self.seed = seed
        self.play = play
        self.pool: ProcessPoolExecutor | None = None
        if workers > 1:
            context = multiprocessing.get_context("spawn")
            self.pool = ProcessPoolExecutor(workers, context, _prepare, (self.plans, seed, play))

    def __enter__(self) -> Team:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.pool is not None:
            self.pool.shutdown(wait=False, cancel_futures=True)

    def play_all(self, matches: Round) -> list[list[Any]]:
        """The same matches for every plan."""
        tasks = [(number, day) for number in range(len(self.plans)) for day in days_of(matches)]
        if self.pool is None:
            played = [self.play(self.plans, number, self.seed, day) for number, day in tasks]
        else:
            played = list(self.pool.map(_play_here, tasks))
        records: list[list[Any]] = [[] for _ in self.plans]
        for (number, _), more in zip(tasks, played, strict=True):
            records[number] += more
        return records


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


def _prepare(plans: tuple[Plan, ...], seed: int, play: Play) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _here[:] = [(plans, seed, play)]


def _play_here(task: tuple[int, Round]) -> list[Any]:
    plans, seed, play = _here[0]
    return play(plans, task[0], seed, task[1])
