"""What one run leaves behind: flat, immutable records that every number of the analysis is derived from.

Instants are microseconds of the match clock. Records point at one another by index: a `move` is an index
into `Trace.moves`.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from itertools import count
from typing import NamedTuple

from simbot.physics.move import Move
from simbot.physics.told import Told
from simbot.scenario.model import ActStep, Need, PlaceStep, Step


class MoveRecord(NamedTuple):
    """One command that was given."""

    step: int
    line: int
    label: str
    move: Move
    period: str
    repeat: int
    measured_s: tuple[float, ...]
    by: ActStep | None  # the acting step that gave it


class WaitRecord(NamedTuple):
    """One wait, and the moves it times."""

    step: int
    line: int
    began_us: int
    ended_us: int
    written_us: int | None
    purpose: str | None
    arrival: bool
    seen: bool  # an arrival wait that ended because everything was seen to have arrived; a look that saw something
    cut: bool  # ended by the end of its period
    moves: tuple[int, ...]  # what it times; of a wait that was cut: what it waited for
    missing: tuple[str, ...]  # mechanisms that had not been seen to arrive when the limit ran out
    measured_s: tuple[float, ...]
    given: Step  # the plan's own
    period: str


class NeedRecord(NamedTuple):
    """One need at the instant its acting step began.

    Where not all is told of a match (`Log.told`), position, speed, target and margin are None.
    """

    step: int
    line: int
    at_us: int
    need: Need
    acting: ActStep
    cause: int | None  # move that last sent the mechanism somewhere
    position: float | str | None
    speed: float | None
    target: float | str | None
    met: bool
    margin_us: int | None  # since when it was met, or (negative) until when not; None: never


class PickRecord(NamedTuple):
    """A pick or a hand over: held at an instant, lost at one, or undecided when the match ended."""

    step: int
    line: int
    acting: ActStep
    begins_us: int
    move: int
    refused: bool  # its needs were not met when it began
    held_us: int | None
    lost_us: int | None
    outcome: str  # "held", the declared one, "taken over" by a later one for the same, "" where the match ended first
    why: str


class Delivery(NamedTuple):
    """A completed place."""

    step: int
    line: int
    at_us: int
    place: str
    number: int
    points: float
    bonus: float
    period: str
    endgame: bool


class PlaceRecord(NamedTuple):
    """A place that was begun."""

    acting: PlaceStep
    at_us: int
    period: str
    number: int  # elements in hand for it


class Mishap(NamedTuple):
    """A place that earned nothing although its needs were met.

    kind: `nothing_held`, `place_full`, or `place_missed` where the try itself failed.
    """

    kind: str
    step: int
    line: int
    at_us: int
    mechanism: str
    where: str
    outcome: str
    number: int  # elements that it would have taken


class QueueRecord(NamedTuple):
    """Time that a step stood still before it began.

    why: `empty` (station), `clearing` (place), `taken` (by another), `again` (a try that failed), `held_up`.
    """

    step: int
    line: int
    where: str
    from_us: int
    to_us: int
    why: str


class Fall(NamedTuple):
    """One element that fell."""

    step: int
    line: int
    at_us: int
    mechanism: str  # the hand that had it
    element: str
    outcome: str  # "dropped", or what a place declares
    points: float  # what that cost, 0 or negative; among the awards too


class Award(NamedTuple):
    """Points that fall without a place: kind `penalty` (negative) or `end`."""

    kind: str
    name: str
    line: int
    at_us: int
    points: float
    period: str
    endgame: bool
    of_fall: bool = False  # it is what a fall cost


class AtHand(NamedTuple):
    """Something about a hand, told once a line.

    kind: `opened_full`, a move sends it to where it lets go; `piled_up`, it takes more, and nothing says for how many
    it has room; `shut_already`, it takes again as it was after it last closed.
    """

    kind: str

    step: int
    line: int
    at_us: int
    mechanism: str


class Failure(NamedTuple):
    """One try of a `try` step that failed."""

    step: int
    line: int
    began_us: int
    ended_us: int
    number: int  # 1: the first
    of: int
    why: str


class Choice(NamedTuple):
    """How a step that chooses ended.

    kind: `first`, `sense`, `when` or `try`. chosen: `branch 2 of 3`; `seen`, `not seen`; `do`, `otherwise`, `neither`;
    `try 2 of 3`, `left in try 1 of 3`, `otherwise`, `failed`.
    """

    step: int
    line: int
    at_us: int
    kind: str
    about: str  # what was looked with, what was asked for
    chosen: str


class Cut(NamedTuple):
    """A routine that was still going when its period ended, the endgame began, or its program was reset."""

    period: str
    at_us: int
    reset: bool


@dataclass(frozen=True, slots=True)
class Trace:
    horizon_us: int
    moves: tuple[MoveRecord, ...]
    waits: tuple[WaitRecord, ...]
    needs: tuple[NeedRecord, ...]
    picks: tuple[PickRecord, ...]
    deliveries: tuple[Delivery, ...]
    mishaps: tuple[Mishap, ...]
    queues: tuple[QueueRecord, ...]
    cuts: tuple[Cut, ...]
    awards: tuple[Award, ...]
    failures: tuple[Failure, ...]
    acting: tuple[
        tuple[int, bool], ...
    ]  # line of every acting step that was executed, and whether it states needs
    places: tuple[PlaceRecord, ...] = ()
    hands: tuple[AtHand, ...] = ()
    falls: tuple[Fall, ...] = ()
    choices: tuple[Choice, ...] = ()
    allowed_us: int = 0  # by which allowances lengthened waits
    partner: Trace | None = None  # what the second robot left behind


@dataclass(slots=True)
class Log:
    """Collects the records while the run goes on, and numbers the steps in order of first execution.

    Where not all is told, of needs only those that were not met are written down, of waits only those that were cut,
    and those for an arrival whose limit ran out.
    """

    told: Told = Told.ALL
    period: str = ""
    moves: list[MoveRecord] = field(default_factory=list)
    waits: list[WaitRecord] = field(default_factory=list)
    needs: list[NeedRecord] = field(default_factory=list)
    picks: list[PickRecord | None] = field(default_factory=list)
    deliveries: list[Delivery] = field(default_factory=list)
    mishaps: list[Mishap] = field(default_factory=list)
    queues: list[QueueRecord] = field(default_factory=list)
    cuts: list[Cut] = field(default_factory=list)
    awards: list[Award] = field(default_factory=list)
    failures: list[Failure] = field(default_factory=list)
    places: list[PlaceRecord] = field(default_factory=list)
    hands: dict[tuple[str, int], AtHand] = field(default_factory=dict)
    falls: list[Fall] = field(default_factory=list)
    choices: list[Choice] = field(default_factory=list)
    allowed_us: int = 0
    acting: dict[int, bool] = field(default_factory=dict)
    _numbers: dict[int, int] = field(default_factory=lambda: defaultdict(count(1).__next__))
    _repeats: dict[tuple[int, str], int] = field(default_factory=dict)

    def number(self, line: int) -> int:
        """Number of the step on this line, a new one at its first execution."""
        return self._numbers[line]

    def choose(self, step: Step, at_us: int, kind: str, chosen: str, about: str = "") -> None:
        """Write down how a step that chooses ended."""
        if self.told is Told.ALL:
            self.choices.append(Choice(self.number(step.line), step.line, at_us, kind, about, chosen))

    def move(self, step: Step, move: Move, label: str) -> int:
        """Record a command; its index."""
        seen = (step.line, move.mechanism)
        repeat = self._repeats.get(seen, 0)
        self._repeats[seen] = repeat + 1
        by = step if isinstance(step, ActStep) else None
        self.moves.append(
            MoveRecord(
                self.number(step.line),
                step.line,
                label,
                move,
                self.period,
                repeat,
                getattr(step, "measured", ()),
                by,
            )
        )
        return len(self.moves) - 1

    def trace(self, horizon_us: int) -> Trace:
        """The finished, immutable record."""
        return Trace(
            horizon_us,
            tuple(self.moves),
            tuple(self.waits),
            tuple(self.needs),
            tuple(pick for pick in self.picks if pick is not None),
            tuple(self.deliveries),
            tuple(self.mishaps),
            tuple(self.queues),
            tuple(self.cuts),
            tuple(self.awards),
            tuple(self.failures),
            tuple(self.acting.items()),
            tuple(self.places),
            tuple(self.hands.values()),
            tuple(self.falls),
            tuple(self.choices),
            self.allowed_us,
        )
