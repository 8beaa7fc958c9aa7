"""Timers against physics: the three times of every move, its margins, its verdict and what it breaks."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.analysis.results import MoveResult, PickResult, WaitResult
from simbot.analysis.unfinished import cut_off, unfinished_us
from simbot.physics.move import Spin
from simbot.physics.plant import Plant
from simbot.routine.acting import TAKEN_OVER, kept_needs
from simbot.routine.trace import MoveRecord, NeedRecord, PickRecord, Trace, WaitRecord
from simbot.scenario.model import WaitStep

UNFINISHED = "unfinished"


@dataclass(frozen=True, slots=True)
class Downstream:
    """What later asks for a move: the margin there, and whether it was missed."""

    margin_us: int | None  # None: missed, and never to be met
    missed: bool
    line: int  # of the acting step that asks
    mechanism: str
    # asked before the wait that times the move was over: that wait changes nothing of it
    too_soon: bool = False


@dataclass(frozen=True, slots=True)
class Links:
    """How the records of a trace hang together, by index of the move."""

    timed_by: dict[int, WaitRecord]
    downstream: dict[int, list[Downstream]]
    lost: dict[int, PickRecord]  # picks that were lost while they closed
    spare: dict[int, int]  # picks that held: how long after that the first of their needs was left [µs]

    def later(self, index: int) -> list[Downstream]:
        """What asks for the move once the wait that times it is over, and so hangs on how long that is."""
        return [one for one in self.downstream.get(index, ()) if not one.too_soon]

    def missed(self, index: int) -> bool:
        """Whether a need or a pick tells that the move was not there."""
        return any(one.missed for one in self.downstream.get(index, ()))


def link(trace: Trace, plant: Plant) -> Links:
    """Find the wait that times each move, and all that depends on it."""
    timed_by = {index: wait for wait in trace.waits if not wait.cut for index in wait.moves}
    downstream: dict[int, list[Downstream]] = {}
    for need in trace.needs:
        if need.cause is not None and not _sent_elsewhere(need, trace):
            wait = timed_by.get(need.cause)
            too_soon = need.margin_us is not None and wait is not None and wait.ended_us > need.at_us
            downstream.setdefault(need.cause, []).append(
                Downstream(need.margin_us, not need.met, need.line, need.need.mechanism, too_soon)
            )
    lost: dict[int, PickRecord] = {}
    spare: dict[int, int] = {}
    for pick in trace.picks:
        if pick.held_us is not None:
            left = _left_after(pick, trace.horizon_us, plant)
            if left is not None:
                spare[pick.move] = left - pick.held_us
                kept = Downstream(spare[pick.move], False, pick.line, pick.acting.by.mechanism)
                downstream.setdefault(pick.move, []).append(kept)
        elif is_lost(pick, timed_by):
            lost[pick.move] = pick
            late = late_us(pick, trace)
            hand = pick.acting.by.mechanism
            missed = Downstream(None if late is None else -late, True, pick.line, hand)
            downstream.setdefault(pick.move, []).append(missed)
    return Links(timed_by, downstream, lost, spare)


def missing_wait_us(need: NeedRecord, links: Links) -> int | None:
    """How much later its step had to begin to meet a need that no wait before it sees to; None elsewhere."""
    if need.met or need.cause is None or need.margin_us is None:
        return None
    wait = links.timed_by.get(need.cause)
    return None if wait is not None and wait.ended_us <= need.at_us else -need.margin_us


def _sent_elsewhere(need: NeedRecord, trace: Trace) -> bool:
    """Missed since the last move of its mechanism leads away from it: no timer of that move is too short for it."""
    never = not need.met and need.margin_us is None and need.cause is not None
    return never and trace.moves[need.cause or 0].move.arrival_us() is not None


def is_lost(pick: PickRecord, timed_by: dict[int, WaitRecord]) -> bool:
    """Lost while it closed; also where it never closed although its wait is over."""
    if pick.refused or pick.held_us is not None or pick.outcome == TAKEN_OVER:
        return False
    return pick.lost_us is not None or pick.move in timed_by


def late_us(pick: PickRecord, trace: Trace) -> int | None:
    """How long after it was lost a pick would have held; None: never."""
    arrival = trace.moves[pick.move].move.arrival_us()
    return None if arrival is None or pick.lost_us is None else max(0, arrival - pick.lost_us)


def move_results(trace: Trace, links: Links, guard_us: int) -> tuple[MoveResult, ...]:
    """One row for every executed command, in the order in which they were given."""
    return tuple(move_result(index, record, links, guard_us) for index, record in enumerate(trace.moves))


def pick_results(trace: Trace, links: Links, guard_us: int) -> tuple[PickResult, ...]:
    """One row for every pick and hand over that began."""
    rows = []
    for pick in trace.picks:
        outcome = pick.outcome or (pick.acting.otherwise if pick.move in links.lost else UNFINISHED)
        wait, spare = links.timed_by.get(pick.move), links.spare.get(pick.move)
        held = pick.held_us
        sure = wait is not None and wait.arrival and wait.seen and held is not None and held <= wait.ended_us
        narrow = spare is not None and spare < guard_us and not sure
        rows.append(PickResult(pick.step, pick.line, pick.begins_us, pick.held_us, outcome, spare, narrow))
    return tuple(rows)


def wait_results(trace: Trace) -> tuple[WaitResult, ...]:
    """One row for every wait, in the order in which they ended."""
    return tuple(_wait_result(wait) for wait in trace.waits)


def _wait_result(wait: WaitRecord) -> WaitResult:
    step = wait.given
    planned, limit = wait.written_us, getattr(step, "at_most_us", None)
    until = step.until_us if isinstance(step, WaitStep) and wait.purpose is None else None
    kind = wait.purpose or ("arrival" if wait.arrival else "time" if until is None else "until")
    if until is not None:
        planned = max(0, until - wait.began_us)
    waits_for = {"arrival": "arrival", "passing": "passing", "sense": "seen"}.get(kind)
    ended = "time" if waits_for is None else waits_for if wait.seen else "limit"
    limit = limit if waits_for else None
    return WaitResult(
        wait.step,
        wait.line,
        kind,
        wait.began_us,
        wait.ended_us,
        planned,
        limit,
        "cut" if wait.cut else ended,
    )


def verdict(timer_us: int, floor_us: int | None, arrival_us: int | None, guard_us: int) -> str:
    """What a real wait is worth beside floor and arrival, all from the command on [µs]."""
    if arrival_us is None:
        return "never"
    if floor_us is not None and timer_us < floor_us:
        return "impossible"
    if timer_us < arrival_us:
        return "short"
    return "snug" if timer_us <= arrival_us + guard_us else "slack"


def move_result(
    index: int, record: MoveRecord, links: Links, guard_us: int, with_floor: bool = True
) -> MoveResult:
    """One executed command; without its floor, which takes most of the time, `short` stands for impossible, too."""
    move = record.move
    start = move.start_us
    wait = links.timed_by.get(index)
    timer = None if wait is None else wait.ended_us - start
    turns = isinstance(move.command, Spin)  # it has nowhere to arrive
    arrival = None if turns else _since(start, move.arrival_us())
    first_inside = None if turns else _since(start, move.first_inside_us())
    floor_s = None if turns or not with_floor else move.floor_s()
    floor = None if floor_s is None else round(floor_s * 1e6)
    later = links.later(index)
    worth = None if timer is None or turns else verdict(timer, floor, arrival, guard_us)
    below = worth in ("impossible", "short", "never")
    rests = arrival is None and not turns
    had = unfinished_us(move) if rests else None
    return MoveResult(
        step=record.step,
        line=record.line,
        mechanism=move.mechanism,
        label=record.label,
        start_at_us=start,
        floor_us=floor,
        arrival_us=arrival,
        first_inside_us=first_inside if first_inside != arrival else None,
        seen_arrival_us=timer if wait is not None and wait.seen else None,
        timer_us=timer,
        timer_written_us=None if wait is None else wait.written_us,
        wait_line=None if wait is None else wait.line,
        margin_us=None if timer is None or arrival is None else timer - arrival,
        need_margin_us=_least(later),
        verdict=worth,
        consequence=("breaking" if any(one.missed for one in later) else "harmless") if below else None,
        measured_s=record.measured_s or (() if wait is None else wait.measured_s),
        cut=not turns and not move.arrived_for_real() and move.cut_us is not None,
        start_position=move.start_position,
        start_speed=move.start_speed,
        target=move.target,
        lag=move.lag(),
        ends_at=move.ends_at() if rests else None,
        reason=(move.reason() if had is None else cut_off(had)) if rests else "",
        period=record.period,
        repeat=record.repeat,
        unfinished_us=had,
        asked_too_soon=bool(links.downstream.get(index)) and not later,
    )


def _since(start_us: int, at_us: int | None) -> int | None:
    return None if at_us is None else at_us - start_us


def _least(later: list[Downstream]) -> int | None:
    """The smallest margin; None where nothing asks, or where something is never met."""
    margins = [one.margin_us for one in later]
    known = [margin for margin in margins if margin is not None]
    return min(known) if known and len(known) == len(margins) else None


def _left_after(pick: PickRecord, horizon_us: int, plant: Plant) -> int | None:
    """Instant at which the first need of a pick was left after it held: how late it could have held."""
    lefts = [
        plant.leaves_at(
            need.mechanism, need.target, need.within, pick.held_us or 0, horizon_us, need.heading_within
        )
        for need in kept_needs(pick.acting)
    ]
    return min((left for left in lefts if left is not None), default=None)
