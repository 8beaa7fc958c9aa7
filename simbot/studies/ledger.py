"""What a study of several plans has played: every match of every plan once, and again after a Ctrl-C not at all.

A study asks for matches in an order that hangs on what it has seen. The same command therefore asks for the same
ones again, and those that were played before an interruption are found here instead of being played.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from types import TracebackType

from simbot.scenario.model import Plan
from simbot.studies.asked import Asked
from simbot.studies.kept import Rows, digest, keep_rows, kept_rows, place_of_rows
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord
from simbot.studies.workers import PlayersLost, Round, Task, Team, days_of

Progress = Callable[[int, int], None]


class Ledger:
    """Plays what is not in it yet.

    Parameters
    ----------
    kind : str
        Name of the study.
    plans : sequence of Plan
        The plans that the study was asked for: with seed and battery they are what it is known by.
    asked : Asked
    """

    def __init__(self, kind: str, plans: Sequence[Plan], asked: Asked) -> None:
        self.asked = asked
        self.place = place_of_rows(kind, plans, asked)
        self.rows: Rows = kept_rows(self.place)
        self.found = self.played  # matches from before
        self.saved = False
        self.team = Team((), asked.seed, asked.workers, asked.cluster)
        self.begin(lambda done, total: None, 1)
        self._names: dict[int, tuple[Plan, str]] = {}

    def __enter__(self) -> Ledger:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.team.__exit__(kind, error, trace)
        if kind is not None and issubclass(kind, KeyboardInterrupt | PlayersLost):
            self.keep()
        elif kind is None and not self.saved:
            self.place.unlink(missing_ok=True)

    @property
    def played(self) -> int:
        """Matches that were played, before and now."""
        return sum(map(len, self.rows.values()))

    def keep(self) -> None:
        """Keep what was played until the same study goes on."""
        self.saved = keep_rows(self.place, self.rows)

    def play(self, plans: Sequence[Plan], matches: Round) -> list[list[MatchRecord]]:
        """The same matches for every plan."""
        return self.play_each([(plan, matches) for plan in plans])

    def play_each(self, tasks: Sequence[Task]) -> list[list[MatchRecord]]:
        """Matches of any plans, each plan its own."""
        wanted = [(self._name(plan), matches) for plan, matches in tasks]
        missing = self._missing(tasks)
        self.total -= sum(len(matches) for _, matches in wanted)
        self.total += sum(len(day) for _, (_, day) in missing)
        try:
            played = self.team.play_days([task for _, task in missing])
            for (name, _), records in zip(missing, played, strict=True):
                self.rows[name].update((one.number, one) for one in records)
                self._tell(len(records))
        except (KeyboardInterrupt, PlayersLost):
            for place, records in self.team.left():
                self.rows[missing[place][0]].update((one.number, one) for one in records)
            raise
        return [[self.rows[name][number] for number, _ in matches] for name, matches in wanted]

    def ahead(self, tasks: Sequence[Task]) -> None:
        """These will be asked for next, as it seems: others may begin with them by now."""
        self.team.ahead([task for _, task in self._missing(tasks)])

    def _missing(self, tasks: Sequence[Task]) -> list[tuple[str, Task]]:
        """Days that are still to play, with the names of their plans; day by day: stopped, all plans have the same."""
        missing: list[tuple[str, Task]] = []
        coming: set[tuple[str, int]] = set()
        for plan, matches in tasks:
            name = self._name(plan)
            have = self.rows.setdefault(name, {})
            for day in days_of(matches):
                more = [each for each in day if each[0] not in have and (name, each[0]) not in coming]
                coming.update((name, number) for number, _ in more)
                if more:
                    missing.append((name, (plan, more)))
        return sorted(missing, key=lambda one: one[1][1][0][0] // MATCHES_A_DAY)

    def found_of(self, plans: Sequence[Plan], matches: Round) -> list[list[MatchRecord]]:
        """Of these matches those that every plan has played already."""
        rows = [self.rows.get(self._name(plan), {}) for plan in plans]
        common = [number for number, _ in matches if all(number in own for own in rows)]
        return [[own[number] for number in common] for own in rows]

    def begin(self, progress: Progress, total: int) -> None:
        """A part of the study begins that takes about so many matches."""
        self.progress, self.done, self.total = progress, 0, max(1, total)

    def expect(self, more: int) -> None:
        """About so many matches are still to play."""
        self.total = self.done + more

    def end(self) -> None:
        """The part is through."""
        if self.done:
            self.progress(self.done, self.done)

    def _tell(self, more: int) -> None:
        self.done += more
        self.total = max(self.total, self.done + 1)  # it is not through before `end`
        if more:
            self.progress(self.done, self.total)

    def _name(self, plan: Plan) -> str:
        """Digest of a plan; plans are kept, so that an identity stays one."""
        if id(plan) not in self._names:
            self._names[id(plan)] = (plan, digest(plan))
        return self._names[id(plan)][1]
