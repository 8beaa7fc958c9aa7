"""Matches with chance, boiled down to what is asked about timers: was each long enough, and how long had it to be.

Every match is of a day of its own, so that matches are independent and each meets another robot within the spreads.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from simbot.analysis.better_timer import waits_of
from simbot.analysis.timers import Links, link
from simbot.physics.move import Spin
from simbot.physics.plant import Plant
from simbot.physics.told import Told
from simbot.routine.match import let_go
from simbot.routine.trace import Trace, WaitRecord
from simbot.scenario.model import Plan
from simbot.studies.knobs import Knob
from simbot.studies.ledger import Progress
from simbot.studies.one_match import MATCHES_A_DAY, Day, MatchRecord, failed, record_of
from simbot.studies.workers import Round, Team

NEVER_US = 1 << 60
ROUND = 20  # matches between two signs of progress
Demand = tuple[int, int]  # how long a timer was waited out, and how long it had to be [us]


@dataclass(frozen=True)
class TimedMatch:
    """One match, and what each timer's executions asked of it."""

    record: MatchRecord
    demands: tuple[tuple[Demand, ...], ...] = ()  # by knob

    @property
    def held(self) -> bool:
        """Whether every timer was long enough for what the plan asks later."""
        return all(need <= real for each in self.demands for real, need in each)


def play_timed(
    plans: Sequence[Plan],
    knobs: Sequence[Sequence[Knob]],
    seed: int,
    states: Sequence[str],
    numbers: range,
    workers: int,
    progress: Progress,
) -> list[list[TimedMatch]]:
    """The same matches of every plan, under the same luck.

    Parameters
    ----------
    plans, knobs : sequences, shape (plans,)
        Each plan and the timers that are looked at in it.
    states : sequence of str
        Battery states of the matches, in turn.
    numbers : range
        Of the matches; other numbers meet other luck.
    """
    matches = [(number * MATCHES_A_DAY, states[number % len(states)]) for number in numbers]
    with Team(plans, seed, workers, otherwise=partial(_play, tuple(map(tuple, knobs)))) as team:
        found: list[list[TimedMatch]] = [[] for _ in plans]
        for begin in range(0, len(matches), ROUND):
            for own, more in zip(found, team.play_all(matches[begin : begin + ROUND]), strict=True):
                own += more
            progress(len(found[0]) * len(plans), len(matches) * len(plans))
        return found


def _play(
    knobs: tuple[tuple[Knob, ...], ...], plan: Plan, which: int, seed: int, matches: Round
) -> list[TimedMatch]:
    batteries = {state.name: state for state in plan.robot.battery}
    day = Day(plan, seed, matches[0][0] // MATCHES_A_DAY)
    found = []
    for number, state in matches:
        try:
            trace, plant = day.play(number, batteries[state])
            record = record_of(plan, number, state, trace, plant, Told.LOSSES)
            found.append(TimedMatch(record, demands_of(plan, trace, plant, knobs[which])))
            let_go(trace)
        except Exception as error:
            found.append(TimedMatch(failed(number, state, error)))
    return found


def demands_of(
    plan: Plan, trace: Trace, plant: Plant, knobs: Sequence[Knob]
) -> tuple[tuple[Demand, ...], ...]:
    """What every execution of each knob asked of it.

    A move that something asks for later has to be there at its first need; one that nothing asks for, at the end
    of its wait. Executions with one that came later, and that something asks for elsewhere but not this time (the
    match ended before), are left out.
    """
    links = link(trace, plant)
    places = {id(wait): place for place, wait in enumerate(waits_of(plan))}
    knob_at = {place: index for index, knob in enumerate(knobs) for place in knob.waits}
    waits: list[list[WaitRecord]] = [[] for _ in knobs]
    for wait in trace.waits:
        index = knob_at.get(places.get(id(wait.given), -1))
        if index is not None and not wait.cut:
            waits[index].append(wait)
    return tuple(tuple(_demands(found, trace, links)) for found in waits)


def _demands(waits: Sequence[WaitRecord], trace: Trace, links: Links) -> list[Demand]:
    timed = [
        [index for index in wait.moves if not isinstance(trace.moves[index].move.command, Spin)]
        for wait in waits
    ]
    asked = {
        (trace.moves[index].line, trace.moves[index].move.mechanism)
        for moves in timed
        for index in moves
        if links.downstream.get(index)
    }
    found = []
    for wait, moves in zip(waits, timed, strict=True):
        wanted = [_wanted(wait, index, trace, links, asked) for index in moves]
        known = [each for each in wanted if each is not None]
        if known and len(known) == len(wanted):
            found.append((wait.ended_us - wait.began_us, max(0, *known)))
    return found


def _wanted(
    wait: WaitRecord, index: int, trace: Trace, links: Links, asked: set[tuple[int, str]]
) -> int | None:
    """How long the wait had to be for one of its moves [us]; None: nothing asks for it this time."""
    record = trace.moves[index]
    if links.downstream.get(index):
        margins = [need.margin_us for need in links.later(index)]
        if not margins:
            return 0
        known = [margin for margin in margins if margin is not None]
        return NEVER_US if len(known) < len(margins) else wait.ended_us - wait.began_us - min(known)
    arrival = record.move.arrival_us()
    if arrival is not None and arrival <= wait.ended_us:
        return arrival - wait.began_us
    if (record.line, record.move.mechanism) in asked:
        return None
    return NEVER_US if arrival is None else arrival - wait.began_us
