"""Plays matches, here or in other processes of this machine. Records come back in the order of their numbers."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from itertools import groupby

from simbot.scenario.model import BatteryState, Plan
from simbot.studies.one_match import MATCHES_A_DAY, Day, MatchRecord

Round = list[tuple[int, BatteryState]]  # numbers of matches, and the battery state of each
_plan: list[tuple[Plan, int]] = []  # of a worker process


def play_rounds(plan: Plan, seed: int, rounds: Iterable[Round], workers: int) -> Iterator[list[MatchRecord]]:
    """Records of one round after the other."""
    if workers <= 1:
        for each in rounds:
            yield [record for day in days_of(each) for record in play_day(plan, seed, day)]
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, context, _prepare, (plan, seed)) as pool:
        try:
            for each in rounds:
                yield [record for records in pool.map(_play_here, days_of(each)) for record in records]
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def days_of(matches: Round) -> list[Round]:
    """A round cut into its days."""
    return [list(day) for _, day in groupby(matches, key=lambda match: match[0] // MATCHES_A_DAY)]


def play_day(plan: Plan, seed: int, matches: Round) -> list[MatchRecord]:
    """Matches of one day."""
    day = Day(plan, seed, matches[0][0] // MATCHES_A_DAY)
    return [day.record(number, battery) for number, battery in matches]


def _prepare(plan: Plan, seed: int) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _plan[:] = [(plan, seed)]


def _play_here(matches: Round) -> list[MatchRecord]:
    return play_day(*_plan[0], matches)
