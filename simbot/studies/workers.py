"""Plays matches, here, in other processes of this machine or on a cluster.

Records come back in the order of their numbers. While one round of days is waited for, the next ones are under
way already, so that nobody stands idle at its end; what was begun and is not wanted is dropped.
"""

from __future__ import annotations

import pickle
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import groupby
from types import TracebackType
from typing import Any

from simbot.physics.told import Told
from simbot.scenario.model import Plan
from simbot.scenario.once import PLANS_KEPT, once_a_plan
from simbot.studies.one_match import MATCHES_A_DAY, Day, MatchRecord, failed
from simbot.studies.players import Pending, Players, PlayersLost, Pool, ended, no_more

__all__ = ["PlayersLost", "Round", "Task", "Team", "days_of", "play_day", "rounds"]

Round = list[tuple[int, str]]  # numbers of matches, and the battery state of each
Task = tuple[Plan, Round]
Key = tuple[int, tuple[tuple[int, str], ...]]
Otherwise = Callable[[Plan, int, int, Round], list[Any]]
Begun = list[list[Pending]]  # days of each plan
SPARE = 2  # days under way for each that plays


class Cut(KeyboardInterrupt):
    """Ctrl-C in the middle of a day; with the matches of it that were played."""

    def __init__(self, records: list[MatchRecord]) -> None:
        super().__init__()
        self.records = records


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
    told : Told
        How much of each match is kept where there is no other way.
    """

    def __init__(
        self,
        plans: Sequence[Plan],
        seed: int,
        workers: int,
        cluster: str | None = None,
        otherwise: Otherwise | None = None,
        told: Told = Told.POINTS,
    ) -> None:
        self.told = told
        self.otherwise = otherwise
        self.plans = tuple(plans)
        self.seed = seed
        self.players = Players(workers, cluster)
        self.workers = self.players.workers
        self._rest: list[tuple[int, list[MatchRecord]]] = []  # played, and not handed out yet
        self._under_way: deque[tuple[int, Pending]] = deque()
        self._ahead: dict[Key, Pending] = {}  # begun, and not asked for yet

    @property
    def pool(self) -> Pool | None:
        return self.players.pool

    def __enter__(self) -> Team:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.players.__exit__(kind, error, trace)

    def play(self, rounds: Iterable[Round]) -> Iterator[list[list[MatchRecord]]]:
        """The same matches for every plan, a round at a time."""
        if self.pool is None:
            for matches in rounds:
                self._rest = []
                for place, plan in enumerate(self.plans):
                    for day in days_of(matches):
                        self._rest.append((place, self._here(place, plan, day)))
                played, self._rest = self._rest, []
                yield [
                    [one for n, day in played if n == place for one in day]
                    for place in range(len(self.plans))
                ]
            return
        ahead: deque[Begun] = deque()
        for matches in rounds:
            ahead.append(self._begin(self.pool, days_of(matches)))
            while (
                sum(not day.done() for begun in ahead for own in begun for day in own) > self.workers * SPARE
            ):
                yield self._ended(ahead)
        while ahead:
            yield self._ended(ahead)

    def left(self) -> list[tuple[int, list[MatchRecord]]]:
        """Stop: what was played and has not been handed out, with the number of its plan or task; days in order."""
        pending = list(self._under_way)
        found = self.players.gathered([each for _, each in pending])
        self._under_way.clear()
        rest, self._rest = self._rest, []
        return rest + [(place, day) for (place, _), day in zip(pending, found, strict=True) if day]

    def play_all(self, matches: Round) -> list[list[Any]]:
        """The same matches for every plan, boiled down in the other way."""
        assert self.otherwise is not None
        tasks = [(plan, k, self.seed, day) for k, plan in enumerate(self.plans) for day in days_of(matches)]
        records: list[list[Any]] = [[] for _ in self.plans]
        for (_, k, _, _), more in zip(tasks, self.players.each(self.otherwise, tasks), strict=True):
            records[k] += more
        return records

    def play_days(self, days: Sequence[Task]) -> Iterator[list[MatchRecord]]:
        """Days of any plans as they come, in their order."""
        if self.pool is None:
            for place, (plan, day) in enumerate(days):
                yield self._here(place, plan, day)
            return
        ahead, self._ahead = self._ahead, {}
        for place, task in enumerate(days):
            begun = ahead.pop(_key(task), None) or self._begun(self.pool, task)
            self._under_way.append((place, begun))
        for unwanted in ahead.values():
            unwanted.cancel()
        while self._under_way:
            records = ended(self._under_way[0][1])
            self._under_way.popleft()
            yield records

    def ahead(self, days: Sequence[Task]) -> None:
        """Days that `play_days` will be asked for next, as it seems; where others play, they begin.

        What is not asked for then is dropped. The plans are to live until then.
        """
        if self.pool is not None:
            self._ahead = {_key(day): self._begun(self.pool, day) for day in days}

    def _begun(self, pool: Pool, day: Task) -> Pending:
        return pool.submit(play_packed, _packed(day[0]), self.seed, day[1], self.told)

    def _here(self, place: int, plan: Plan, day: Round) -> list[MatchRecord]:
        try:
            return play_day(plan, self.seed, day, self.told)
        except Cut as cut:
            self._rest.append((place, cut.records))
            raise

    def _begin(self, pool: Pool, days: list[Round]) -> Begun:
        begun = [[self._begun(pool, (plan, day)) for day in days] for plan in self.plans]
        self._under_way += [(place, day) for place, own in enumerate(begun) for day in own]
        return begun

    def _ended(self, ahead: deque[Begun]) -> list[list[MatchRecord]]:
        """The records of the first round that is under way."""
        played = [[one for day in own for one in ended(day)] for own in ahead[0]]
        for _ in range(sum(map(len, ahead.popleft()))):
            self._under_way.popleft()
        return played


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


def _key(day: Task) -> Key:
    plan, matches = day
    return id(plan), tuple(matches)


@once_a_plan
def _packed(plan: Plan) -> bytes:
    """A plan as others get it, with every day."""
    return pickle.dumps(plan)


@lru_cache(maxsize=PLANS_KEPT)
def _unpacked(plan: bytes) -> Plan:
    """The same one each time, so that what follows from it is worked out once there too."""
    found: Plan = pickle.loads(plan)
    return found


def play_packed(plan: bytes, seed: int, matches: Round, told: Told) -> list[MatchRecord]:
    """As `play_day`, by others than who asked."""
    return play_day(_unpacked(plan), seed, matches, told)


def play_day(plan: Plan, seed: int, matches: Round, told: Told = Told.POINTS) -> list[MatchRecord]:
    """Matches of one day; a day whose robot cannot be built is kept as matches that failed.

    Fewer of them where nobody wants any more.

    Raises
    ------
    Cut
        Ctrl-C in the middle, with what was played.
    """
    if no_more():
        return []
    batteries = {state.name: state for state in plan.robot.battery}
    try:
        day = Day(plan, seed, matches[0][0] // MATCHES_A_DAY)
    except Exception as error:
        return [failed(number, state, error) for number, state in matches]
    records: list[MatchRecord] = []
    try:
        for number, state in matches:
            if no_more():
                break
            records.append(day.record(number, batteries[state], told))
    except KeyboardInterrupt:
        raise Cut(records) from None
    return records
