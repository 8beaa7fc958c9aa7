"""Plays matches, here, in other processes of this machine or on a cluster.

Records come back in the order of their numbers. While one round of days is waited for, the next ones are under
way already, so that nobody stands idle at its end; what was begun and is not wanted is dropped.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from itertools import groupby
from types import TracebackType
from typing import Any, Protocol

from simbot.scenario.errors import SimbotError
from simbot.scenario.model import Plan
from simbot.studies.one_match import MATCHES_A_DAY, Day, MatchRecord, fault_of

Round = list[tuple[int, str]]  # numbers of matches, and the battery state of each
Task = tuple[Plan, Round]
SPARE = 2  # days under way for each that plays


class PlayersLost(SimbotError):
    """Those who play went away in the middle of a study."""


class Pending(Protocol):
    """A day that somebody plays."""

    def done(self) -> bool: ...

    def result(self) -> list[MatchRecord]: ...


class Pool(Protocol):
    """Those who play."""

    def submit(self, play: Any, /, *what: Any) -> Pending: ...

    def shutdown(self, *, wait: bool, cancel_futures: bool) -> None: ...


Otherwise = Callable[[Plan, int, int, Round], list[Any]]
Begun = list[list[Pending]]  # days of each plan


class Team:
    """Some plans, and those that play them.

    Parameters
    ----------
    plans : sequence of Plan
    seed : int
    workers : int
        Processes of this machine; 1: this one.
    cluster : str or None
        Address of a scheduler; then its workers play, however many they are.
    otherwise : function, optional
        Plays matches of one day and boils them down in another way, for `play_all`: of a plan, its number, the seed
        and the matches.
    """

    def __init__(
        self,
        plans: Sequence[Plan],
        seed: int,
        workers: int,
        cluster: str | None = None,
        otherwise: Otherwise | None = None,
    ) -> None:
        self.otherwise = otherwise
        self.plans = tuple(plans)
        self.seed = seed
        self.workers = workers
        self.pool: Pool | None = None
        if cluster is not None:
            from simbot.studies.cluster import Crew

            crew = Crew(cluster)
            self.pool, self.workers = crew, crew.workers
        elif workers > 1:
            context = multiprocessing.get_context("spawn")
            self.pool = ProcessPoolExecutor(workers, context, _prepare)
            with _deaf():
                self.pool.submit(_ready)  # starts them all

    def __enter__(self) -> Team:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.pool is not None:
            self.pool.shutdown(wait=False, cancel_futures=True)

    def play(self, rounds: Iterable[Round]) -> Iterator[list[list[MatchRecord]]]:
        """The same matches for every plan, a round at a time."""
        if self.pool is None:
            for matches in rounds:
                days = days_of(matches)
                yield [[one for day in days for one in play_day(plan, self.seed, day)] for plan in self.plans]
            return
        ahead: deque[Begun] = deque()
        for matches in rounds:
            ahead.append(self._begin(self.pool, days_of(matches)))
            while (
                sum(not day.done() for begun in ahead for own in begun for day in own) > self.workers * SPARE
            ):
                yield _ended(ahead.popleft())
        while ahead:
            yield _ended(ahead.popleft())

    def play_all(self, matches: Round) -> list[list[Any]]:
        """The same matches for every plan, boiled down in the other way."""
        assert self.otherwise is not None
        tasks = [(plan, k, self.seed, day) for k, plan in enumerate(self.plans) for day in days_of(matches)]
        if self.pool is None:
            found = [self.otherwise(*task) for task in tasks]
        else:
            begun = [self.pool.submit(self.otherwise, *task) for task in tasks]
            found = [_ended([[each]])[0] for each in begun]
        records: list[list[Any]] = [[] for _ in self.plans]
        for (_, k, _, _), more in zip(tasks, found, strict=True):
            records[k] += more
        return records

    def play_days(self, days: Sequence[Task]) -> Iterator[list[MatchRecord]]:
        """Days of any plans as they come, in their order."""
        if self.pool is None:
            for plan, day in days:
                yield play_day(plan, self.seed, day)
            return
        pool = self.pool
        for begun in [pool.submit(play_day, plan, self.seed, day) for plan, day in days]:
            yield _ended([[begun]])[0]

    def _begin(self, pool: Pool, days: list[Round]) -> Begun:
        return [[pool.submit(play_day, plan, self.seed, day) for day in days] for plan in self.plans]


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
    """Matches of one day; a day whose robot cannot be built is kept as matches that failed."""
    batteries = {state.name: state for state in plan.robot.battery}
    try:
        day = Day(plan, seed, matches[0][0] // MATCHES_A_DAY)
    except Exception as error:
        return [MatchRecord(number, state, fault=fault_of(error)) for number, state in matches]
    return [day.record(number, batteries[state]) for number, state in matches]


def _ended(begun: Begun) -> list[list[MatchRecord]]:
    try:
        return [[one for day in own for one in day.result()] for own in begun]
    except BrokenProcessPool as error:
        raise PlayersLost(f"a process that played matches was ended from outside ({error})") from error


@contextmanager
def _deaf() -> Iterator[None]:
    """Let Ctrl-C pass for a moment: a process that is born now does not hear it either, not even while it imports."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _ready() -> list[MatchRecord]:
    return []


def _prepare() -> None:
    """Ctrl-C is the business of the process that asked; where that is killed, end with it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
