"""Order rules ("the arm may move only when the lift is above 0.30 m"), watched over a whole run."""

from __future__ import annotations

from simbot.analysis.results import Finding
from simbot.physics.plant import Plant, Spin
from simbot.routine.trace import MoveRecord, Trace
from simbot.scenario.model import OrderRule

FAR = 1e3  # m or rad: a half-line is an interval that reaches this far


def order_findings(rules: tuple[OrderRule, ...], trace: Trace, plant: Plant) -> list[Finding]:
    """One finding for every move during which a rule was broken."""
    found = []
    for rule in rules:
        for record in trace.moves:
            if record.move.mechanism == rule.mechanism:
                found += _broken(rule, record, trace, plant)
    return found


def _broken(rule: OrderRule, record: MoveRecord, trace: Trace, plant: Plant) -> list[Finding]:
    begin, end = record.move.start_us, _ends(record, trace)
    found = []
    for other, side, bound in rule.may_move_when:
        up = 1.0 if side == "above" else -1.0
        first: int | None = None
        overlap = 0
        at = begin
        while at < end:
            out = plant.leaves_at(other, bound + up * FAR, FAR, at, end)
            if out is None:
                break
            back = plant.leaves_at(other, bound - up * FAR, FAR, out, end)
            until = end if back is None else back
            first = out if first is None else first
            overlap += until - out
            at = max(until, at + 1)
        if first is not None and overlap > 0:
            found.append(_finding(record, other, side, bound, first, overlap, plant))
    return found


def _ends(record: MoveRecord, trace: Trace) -> int:
    """When a move is over: arrived, taken over, or the match is."""
    move = record.move
    until = trace.horizon_us if move.cut_us is None else move.cut_us
    arrival = None if isinstance(move.command, Spin) else move.arrival_us()
    return until if arrival is None else min(arrival, until)


def _finding(
    record: MoveRecord, other: str, side: str, bound: float, at_us: int, overlap_us: int, plant: Plant
) -> Finding:
    mechanism = record.move.mechanism
    was = plant.position(other, at_us)
    stood = was if isinstance(was, str) else f"{was:.4g}"
    return Finding(
        kind="order_broken",
        step=record.step,
        line=record.line,
        at_us=at_us,
        mechanism=mechanism,
        cause_line=record.line,
        cause_step=record.step,
        late_us=overlap_us,
        outcome=None,
        text=(
            f"the {mechanism} moved for {overlap_us / 1000:.0f} ms with the {other} not {side} {bound:g}: "
            f"it was at {stood} when step {record.step} had it moving at {at_us * 1e-6:.3f} s"
        ),
        fails=False,
    )
