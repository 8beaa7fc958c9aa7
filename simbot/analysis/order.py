"""Order rules ("the arm may move only when the lift is above 0.30 m"), watched over a whole run."""

from __future__ import annotations

from simbot.analysis.results import Finding
from simbot.analysis.words import clock, extent, ms, the
from simbot.physics.move import Spin
from simbot.physics.plant import Plant
from simbot.routine.trace import MoveRecord, Trace
from simbot.scenario.model import OrderRule, Robot, Target

FAR = 1e3  # m or rad: a half-line is an interval that reaches this far
OPPOSITE = {"above": "below", "below": "above"}
STANDS = 1e-4  # m or rad: what stays so near where it ends has come to rest there


def order_findings(robot: Robot, trace: Trace, plant: Plant) -> list[Finding]:
    """One finding for every move during which a rule was broken."""
    coordinates = {name: spec.coordinate for name, spec in robot.mechanisms.items()}
    found = []
    for rule in robot.order:
        for record in trace.moves:
            if record.move.mechanism == rule.mechanism:
                found += _broken(rule, record, trace, plant, coordinates)
    return found


def _broken(
    rule: OrderRule, record: MoveRecord, trace: Trace, plant: Plant, coordinates: dict[str, str]
) -> list[Finding]:
    begin = record.move.start_us
    until_us = trace.horizon_us if record.move.cut_us is None else record.move.cut_us
    found = []
    for other, side, bound in rule.may_move_when:
        allowed = _half_line(side, bound)
        first = plant.leaves_at(other, *allowed, begin, until_us)
        if first is None:
            continue
        end = _ends(record, trace, plant)
        out: int | None = first
        overlap, way = 0, 0.0
        while out is not None and out < end:
            if isinstance(bound, str):
                back = plant.comes_to(other, bound, out + 1, end)
            else:
                back = plant.leaves_at(other, *_half_line(OPPOSITE[side], bound), out, end)
            until = end if back is None else back
            overlap += until - out
            way += _way(record.move.mechanism, plant, out, until)
            out = plant.leaves_at(other, *allowed, max(until, out + 1), end) if until < end else None
        if overlap > 0:
            bounded = f"{the(other)} was not {side} {extent(bound, coordinates[other])}"
            stood = _stood(other, bound, first, plant, coordinates[other])
            went = f" and {extent(way, coordinates[record.move.mechanism])}" if way else ""
            found.append(_finding(record, other, bounded, stood, first, overlap, went))
    return found


def _stood(other: str, bound: Target, at_us: int, plant: Plant, coordinate: str) -> str:
    """Where a mechanism was that was not where it had to be."""
    place = plant.position(other, at_us)
    if isinstance(bound, str) and place == bound:
        return f"had left {bound}"
    if isinstance(place, str) and plant.stands(other, at_us) != place:
        return f"was on its way from {place}"
    return f"was at {extent(place, coordinate)}"


def _half_line(side: str, bound: Target) -> tuple[Target, float]:
    """Where a mechanism may be, as a target and how far from it: all that lies on one side, or a word."""
    if isinstance(bound, str):
        return bound, 0.0
    return bound + (FAR if side == "above" else -FAR), FAR


def _way(mechanism: str, plant: Plant, from_us: int, to_us: int) -> float:
    """How far it is from where a mechanism was to where it is then [m, rad]; 0 where it has words for places."""
    begin, end = plant.position(mechanism, from_us), plant.position(mechanism, to_us)
    return 0.0 if isinstance(begin, str) or isinstance(end, str) else abs(end - begin)


def _ends(record: MoveRecord, trace: Trace, plant: Plant) -> int:
    """When a move is over: arrived, at rest elsewhere, taken over, or the match is."""
    move = record.move
    until = trace.horizon_us if move.cut_us is None else move.cut_us
    if isinstance(move.command, Spin):
        return until if move.command.effort else move.start_us
    arrival = move.arrival_us()
    if arrival is not None:
        return min(arrival, until)
    return max(move.start_us, rests_from(plant, move.mechanism, until))


def rests_from(plant: Plant, mechanism: str, at_us: int) -> int:
    """Since when a mechanism has not moved any more; that instant, where it still does."""
    rests = still_since(plant, mechanism, at_us)
    return at_us if rests is None else rests


def still_since(plant: Plant, mechanism: str, at_us: int) -> int | None:
    """The same; None where it still moves."""
    place = plant.position(mechanism, at_us)
    if isinstance(place, str):
        return plant.words_rest_since(mechanism, at_us)
    return plant.inside_since(mechanism, place, STANDS, None, at_us)


def _finding(
    record: MoveRecord, other: str, bounded: str, stood: str, at_us: int, overlap_us: int, went: str
) -> Finding:
    mechanism = record.move.mechanism
    return Finding(
        kind="order_broken",
        step=record.step,
        line=record.line,
        at_us=at_us,
        mechanism=mechanism,
        about=other,
        cause_line=record.line,
        cause_step=record.step,
        late_us=overlap_us,
        text=(
            f"step {record.step} had the {mechanism} moving for {ms(overlap_us)}{went} while {bounded}: "
            f"at {clock(at_us)} it {stood}"
        ),
    )
