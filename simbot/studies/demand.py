"""What one timer has to wait for, in every execution of one run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from simbot.analysis.results import MoveResult
from simbot.analysis.timers import Downstream
from simbot.routine.trace import WaitRecord
from simbot.studies.knobs import Knob
from simbot.studies.runs import Ran, places_of

RANK = {"slack": 0, "snug": 1, "short": 2, "impossible": 3, "never": 4}


@dataclass(frozen=True)
class Execution:
    """One execution of a timer. Times count from the begin of the wait [us]."""

    began_us: int
    ended_us: int
    step: int
    line: int
    moves: tuple[MoveResult, ...]  # those it times; a roller that only turns is none
    arrival_us: int | None  # the last of them; None: one never arrives
    floor_us: int | None  # None: stopwatch times only
    asked: tuple[tuple[Downstream, ...], ...]  # for each move: what asks for it later

    @property
    def real_us(self) -> int:
        return self.ended_us - self.began_us

    @property
    def margin_us(self) -> int | None:
        return None if self.arrival_us is None else self.real_us - self.arrival_us

    @property
    def verdict(self) -> str:
        """The worst of its moves' verdicts; "" where it times none."""
        words = [move.verdict for move in self.moves if move.verdict is not None]
        return max(words, key=RANK.__getitem__, default="")

    @property
    def needs(self) -> tuple[Downstream, ...]:
        """Those that hang on how long it is."""
        return tuple(need for asked in self.asked for need in asked if not need.too_soon)

    @property
    def breaks(self) -> bool:
        return any(need.missed for need in self.needs)

    @property
    def need_margin_us(self) -> int | None:
        """The least margin of what asks for one of its moves; None: nothing asks."""
        margins = [need.margin_us for need in self.needs if need.margin_us is not None]
        return min(margins, default=None)


def executions(ran: Ran, knobs: list[Knob], floors: bool = True) -> list[list[Execution]]:
    """Executions of each knob that were waited out, in order; without floors it takes a fraction of the time.

    One with a move that only the end of the match kept from arriving tells nothing, where others do.
    """
    places = places_of(ran.plan)
    knob_at = {place: index for index, knob in enumerate(knobs) for place in knob.waits}
    found: list[list[Execution]] = [[] for _ in knobs]
    for wait in ran.trace.waits:
        index = knob_at.get(places.get(id(wait.given), -1))
        if index is not None and not wait.cut:
            found[index].append(_execution(ran, wait, floors))
    return [
        [one for one in own if all(move.unfinished_us is None for move in one.moves)] or own for own in found
    ]


def _execution(ran: Ran, wait: WaitRecord, with_floors: bool) -> Execution:
    moves = [(index, ran.move(index, with_floors)) for index in wait.moves]
    timed = [(index, move) for index, move in moves if move.verdict is not None]
    timed = [each for each in timed if not each[1].asked_too_soon] or timed
    ends = [
        None if move.arrival_us is None else move.start_at_us + move.arrival_us - wait.began_us
        for _, move in timed
    ]
    floors = [
        move.start_at_us + move.floor_us - wait.began_us for _, move in timed if move.floor_us is not None
    ]
    known = [end for end in ends if end is not None]
    never = len(known) < len(ends)
    return Execution(
        began_us=wait.began_us,
        ended_us=wait.ended_us,
        step=wait.step,
        line=wait.line,
        moves=tuple(move for _, move in timed),
        arrival_us=None if never else max([0, *known]),
        floor_us=max([0, *floors]) if floors else None,
        asked=tuple(tuple(ran.links.downstream.get(index, ())) for index, _ in timed),
    )


Sent = tuple[int, str]  # line of the command, mechanism


def asked_for(found: Sequence[Execution]) -> set[Sent]:
    """Moves that a stated need asks for in some execution; in the last one the match may end before it."""
    return {
        (move.line, move.mechanism)
        for one in found
        for move, needs in zip(one.moves, one.asked, strict=True)
        if needs
    }


def unasked(one: Execution, asked: set[Sent], guard_us: int) -> bool:
    """Whether a move that has not arrived a guard before the timer ends is one that no stated need asks for."""
    return any(
        (move.line, move.mechanism) not in asked and move.margin_us is not None and move.margin_us < guard_us
        for move in one.moves
    )
