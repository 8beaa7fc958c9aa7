"""Cycles, points, and where the time of the mean cycle goes."""

from __future__ import annotations

from statistics import fmean, stdev

from simbot.analysis.results import TimeShares
from simbot.analysis.timers import Links
from simbot.physics.move import Spin
from simbot.routine.trace import Trace
from simbot.scenario.model import Game

Spans = list[tuple[int, int]]


def points_by_period(trace: Trace, game: Game) -> dict[str, float | None]:
    """Points of each period, of the endgame's window (listed only there) and in total."""
    points: dict[str, float | None] = {period.name: 0 for period in game.periods}
    points["endgame"] = None if game.endgame_us is None else 0
    total = 0.0
    fell = [(one.endgame, one.period, one.points + one.bonus) for one in trace.deliveries]
    fell += [(one.endgame, one.period, one.points) for one in trace.awards]
    for endgame, period, worth in fell:
        key = "endgame" if endgame else period
        points[key] = (points[key] or 0) + worth
        total += worth
    points["total"] = total
    return points


def delivered_points(trace: Trace) -> float:
    """Points of all deliveries with their bonuses; penalties and what counts at the end left out."""
    return sum(delivery.points + delivery.bonus for delivery in trace.deliveries)


def cycle_times_s(trace: Trace) -> list[float]:
    """Length of every whole cycle: from delivery to delivery, the first from the start of the match [s]."""
    ends = [delivery.at_us for delivery in trace.deliveries]
    return [(end - begin) * 1e-6 for begin, end in zip([0, *ends], ends, strict=False)]


def mean_s(times_s: list[float]) -> float | None:
    """Mean cycle time [s]; None without a whole cycle."""
    return fmean(times_s) if times_s else None


def points_per_s(trace: Trace, times_s: list[float]) -> float | None:
    """Delivered points over the whole cycles; None without one that takes time."""
    return delivered_points(trace) / sum(times_s) if any(times_s) else None


def spread_s(times_s: list[float]) -> float | None:
    """Standard deviation of the cycle times [s]; None below two cycles."""
    return stdev(times_s) if len(times_s) > 1 else None


def time_shares(trace: Trace, links: Links, drives: frozenset[str], guard_us: int) -> TimeShares | None:
    """Give every instant up to the last delivery its one owner; parts of the mean cycle.

    The owners by rank: the drive under way, another mechanism under way, waiting at a station or place, a
    marked wait or the guard after the last arrival that a wait times. What is left is given away.
    """
    if not trace.deliveries:
        return None
    end = trace.deliveries[-1].at_us
    driving: Spans = []
    moving: Spans = []
    for index, record in enumerate(trace.moves):
        if isinstance(record.move.command, Spin):
            continue
        span = (record.move.start_us, _under_way_until(index, trace, links))
        (driving if record.move.mechanism in drives else moving).append(span)
    queues = [(queue.from_us, queue.to_us) for queue in trace.queues]
    owners = (driving, moving, queues, _guarded(trace, guard_us))
    covered: Spans = []
    parts: list[int] = []
    for spans in owners:
        before = _length(covered)
        covered = _union(covered + [(begin, min(until, end)) for begin, until in spans])
        parts.append(_length(covered) - before)
    each = 1e-6 / len(trace.deliveries)
    return TimeShares(
        driving_s=parts[0] * each,
        moving_s=parts[1] * each,
        stations_s=parts[2] * each,
        timers_s=parts[3] * each,
        given_away_s=(end - sum(parts)) * each,
    )


def left_idle(trace: Trace, links: Links, game: Game, endgame_from_us: int | None = None) -> dict[str, float]:
    """What periods leave idle after the end of their routine, where a later delivery has it in its cycle [s]."""
    last = trace.deliveries[-1].at_us if trace.deliveries else 0
    busy = [(wait.began_us, wait.ended_us) for wait in trace.waits]
    busy += [(queue.from_us, queue.to_us) for queue in trace.queues]
    busy += [(delivery.at_us, delivery.at_us) for delivery in trace.deliveries]
    for index, record in enumerate(trace.moves):
        if not isinstance(record.move.command, Spin):
            busy.append((record.move.start_us, _under_way_until(index, trace, links)))
    idle, begin = {}, 0
    for period in game.periods:
        full = end = begin + period.duration_us
        if endgame_from_us is not None and begin < endgame_from_us < end:
            end = endgame_from_us
        until = max((min(one, end) for since, one in busy if since < end), default=begin)
        if last > end > until:
            idle[period.name] = (end - max(until, begin)) * 1e-6
        begin = full
    return idle


def unfinished(trace: Trace, endgame_from_us: int | None) -> str:
    """A sentence where the cycle that was not whole was the slow one, else nothing."""
    until = trace.horizon_us if endgame_from_us is None else endgame_from_us
    whole = cycle_times_s(trace)
    if not whole or all(cut.at_us != until for cut in trace.cuts):
        return ""
    last = trace.deliveries[-1].at_us
    lasted = (until - last) * 1e-6
    if lasted <= fmean(whole):
        return ""
    queued = _length(_union([(max(last, q.from_us), min(until, q.to_us)) for q in trace.queues]))
    where = sorted({queue.where for queue in trace.queues if queue.to_us > last})
    held_up = f", {queued * 1e-6:.2f} s of it waiting at {' and '.join(where)}" if queued else ""
    ended = "the match ended" if endgame_from_us is None else "the endgame began"
    return (
        f"the cycle begun at {last * 1e-6:.2f} s was unfinished when {ended}, after {lasted:.2f} s{held_up}; "
        f"it does not count, though it was slower than the mean of the whole ones, {fmean(whole):.2f} s"
    )


def _under_way_until(index: int, trace: Trace, links: Links) -> int:
    """End of a move: its arrival or takeover; where it never arrives, the end of the wait that times it."""
    move = trace.moves[index].move
    arrival = move.arrival_us()
    until = trace.horizon_us if move.cut_us is None else move.cut_us
    if arrival is not None:
        return min(arrival, until)
    wait = links.timed_by.get(index)
    return until if wait is None else min(wait.ended_us, until)


def _guarded(trace: Trace, guard_us: int) -> Spans:
    """Marked waits, and the first guard after the last arrival that a wait times."""
    spans: Spans = []
    for wait in trace.waits:
        if wait.purpose is not None:
            spans.append((wait.began_us, wait.ended_us))
        elif wait.moves and not wait.cut:
            arrivals = [trace.moves[index].move.arrival_us() for index in wait.moves]
            known = [arrival for arrival in arrivals if arrival is not None]
            if known and len(known) == len(arrivals):
                last = max(known)
                spans.append((last, min(last + guard_us, wait.ended_us)))
    return spans


def _union(spans: Spans) -> Spans:
    """The same instants as spans that do not touch, in order; empty and turned ones are dropped."""
    joined: Spans = []
    for begin, end in sorted(spans):
        if end <= begin:
            continue
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((begin, end))
    return joined


def _length(spans: Spans) -> int:
    return sum(end - begin for begin, end in spans)
