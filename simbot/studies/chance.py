"""What chance does to a set of timers: the same matches with the set as it is and with the suggested one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from simbot.scenario.model import Plan
from simbot.studies.knobs import Knob
from simbot.studies.ledger import Progress
from simbot.studies.one_match import totals_of
from simbot.studies.paired import totals
from simbot.studies.statistics import Figure, mean_of, proportion
from simbot.studies.timed_matches import TimedMatch, play_timed


@dataclass(frozen=True)
class ChanceTotals:
    """One set of timers on one battery state, with chance."""

    clean: Figure  # share of matches in which nothing failed
    held: Figure  # share in which every timer was long enough
    points: Figure


@dataclass(frozen=True)
class Chance:
    """What chance makes of the set as it is and of the suggested one, by battery state."""

    matches: int  # on each battery state
    seed: int
    before: dict[str, ChanceTotals]
    after: dict[str, ChanceTotals]
    gain: Figure  # points a match, the suggested set less the one as it is
    enough_before: tuple[Figure | None, ...]  # by timer: share of executions for which it is long enough
    enough_after: tuple[Figure | None, ...]
    faults: tuple[str, ...]  # of matches that could not be played


CHOOSE, CHECK, REPORT = range(3)  # what matches are for: none serves two


class Chances:
    """Plays matches for a tuning."""

    def __init__(self, matches: int, seed: int, workers: int, progress: Progress = lambda *_: None) -> None:
        self.matches = matches
        self.seed = seed
        self.workers = workers
        self.progress = progress

    def play(
        self,
        purpose: int,
        plans: Sequence[Plan],
        knobs: Sequence[Sequence[Knob]],
        states: Sequence[str],
        fewer: int = 1,
    ) -> list[list[TimedMatch]]:
        """The same matches for every plan, others for every purpose; `fewer`: so many times, the first of them."""
        count = self.matches * len(states)
        begin = purpose * count
        numbers = range(begin, begin + ceil(self.matches / fewer) * len(states))
        return play_timed(plans, knobs, self.seed, states, numbers, self.workers, self.progress)

    def compare(
        self,
        before: Plan,
        after: Plan,
        knobs: Sequence[Knob],
        knobs_after: Sequence[Knob],
        states: Sequence[str],
    ) -> Chance:
        """Both sets, under luck that neither was chosen by."""
        old, new = self.play(REPORT, [before, after], [knobs, knobs_after], states)
        one, other, days = totals([each.record for each in new], [each.record for each in old])
        faults = [match.record.fault for match in (*old, *new) if match.record.fault]
        return Chance(
            self.matches,
            self.seed,
            {state: _totals(old, state) for state in states},
            {state: _totals(new, state) for state in states},
            mean_of(one - other, days) if len(one) else Figure(0.0, None),
            tuple(_enough(old, index) for index in range(len(knobs))),
            tuple(_enough(new, index) for index in range(len(knobs_after))),
            tuple(faults),
        )


def _totals(matches: Sequence[TimedMatch], state: str) -> ChanceTotals:
    own = [match for match in matches if match.record.state == state and not match.record.fault]
    if not own:
        return ChanceTotals(Figure(0.0, None), Figure(0.0, None), Figure(0.0, None))
    return ChanceTotals(
        proportion(sum(match.record.losses.clean for match in own), len(own)),
        proportion(sum(match.held for match in own), len(own)),
        mean_of(*totals_of([match.record for match in own])),
    )


def _enough(matches: Sequence[TimedMatch], index: int) -> Figure | None:
    """Share of a timer's executions for which it was long enough; None: never waited out.

    Executions of one match share a robot, so the interval is that of the mean of the matches' shares.
    """
    shares = [
        (number, sum(need <= real for real, need in match.demands[index]) / len(match.demands[index]))
        for number, match in enumerate(matches)
        if match.demands and match.demands[index]
    ]
    if not shares:
        return None
    days, values = zip(*shares, strict=True)
    figure = mean_of(np.array(values), np.array(days))
    if figure.interval is None:
        return figure
    return Figure(figure.value, (max(0.0, figure.interval[0]), min(1.0, figure.interval[1])))
