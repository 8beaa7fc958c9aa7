"""How far an encoder's zero may be off before a need is not met or a move does not arrive.

A move under a loop ends where the measured position is right, so that its true place shifts with the zero by as much.
What has been met or reached in a run therefore says how much room is left on either side.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

from simbot.analysis.results import Finding
from simbot.analysis.words import extent
from simbot.physics.encoder import is_stated
from simbot.physics.kinds import KINDS
from simbot.physics.move import GoTo
from simbot.routine.trace import MoveRecord, NeedRecord, Trace
from simbot.scenario.model import MechanismSpec, Plan


@dataclass(frozen=True)
class _Bound:
    """The zero may be off by so much, up or down, before this goes wrong."""

    off: float  # signed [m, rad]
    was: float  # by how much it is off there in the run
    step: int
    line: int
    at_us: int
    text: str


def zero_findings(plan: Plan, trace: Trace) -> Iterator[Finding]:
    """For each mechanism that says anything of its zero: what fails first where it is off by more, either way."""
    for spec in plan.robot.mechanisms.values():
        if not is_stated(spec.values) or "zero" not in {each.key for each in KINDS[spec.kind].PARAMETERS}:
            continue
        bounds = [*_of_needs(trace, spec), *_of_moves(trace, spec)]
        up = min((each for each in bounds if each.off > 0.0), key=lambda each: each.off, default=None)
        down = max((each for each in bounds if each.off < 0.0), key=lambda each: each.off, default=None)
        if up is not None or down is not None:
            yield _finding(spec, up, down)


def _is_measured(record: MoveRecord, name: str) -> bool:
    """A move that ends where its encoder says: under a loop, and not against a stop."""
    move = record.move
    return move.mechanism == name and isinstance(move.command, GoTo) and not move.touch


def _of_needs(trace: Trace, spec: MechanismSpec) -> Iterator[_Bound]:
    """Met until it stands at the edge of what is needed; an edge that its stop is nearer than is never left."""
    name, (low, high) = spec.name, spec.values["travel"]
    for record in trace.needs:
        cause = None if record.cause is None else trace.moves[record.cause]
        if record.need.mechanism != name or not record.met or cause is None or not _is_measured(cause, name):
            continue
        arrival = cause.move.arrival_us()
        if arrival is None or arrival > record.at_us:
            continue
        beyond, off = _beyond(record), cause.move.zero_off
        text = f"step {record.step} (line {record.line}) does not find it at {record.need.text}"
        assert isinstance(record.position, float)
        stands, within = record.position, record.need.within
        for sign, stop in ((1.0, high), (-1.0, low)):
            if sign * (stop - stands) <= within - sign * beyond:
                continue
            yield _Bound(off + sign * within - beyond, off, record.step, record.line, record.at_us, text)


def _beyond(record: NeedRecord) -> float:
    """How far beyond what is needed it stood."""
    assert isinstance(record.position, float) and isinstance(record.target, float)
    return record.position - record.target


def _of_moves(trace: Trace, spec: MechanismSpec) -> Iterator[_Bound]:
    """Where its stop holds it before the measured position is inside the window."""
    low, high = (float(end) for end in spec.values["travel"])
    for record in trace.moves:
        if not _is_measured(record, spec.name) or record.move.arrival_us() is None:
            continue
        move = record.move
        asked = float(move.target) - move.zero_off
        text = f"step {record.step} (line {record.line}) never arrives: its stop is in the way"
        for end in (high - asked + move.window, low - asked - move.window):
            yield _Bound(end, move.zero_off, record.step, record.line, move.start_us, text)


def _finding(spec: MechanismSpec, up: _Bound | None, down: _Bound | None) -> Finding:
    name, coordinate = spec.name, spec.coordinate
    told = []
    for word, bound in (("below that", down), ("above that", up)):
        if bound is not None:
            told.append(f"{word} {bound.text}")
    if up is not None and down is not None and up.text == down.text:
        told = [f"beyond that {up.text}"]
    room = f"{extent(down.off if down else -inf, coordinate)} to {extent(up.off if up else inf, coordinate)}"
    was = " to ".join(
        extent(each, coordinate) for each in sorted({one.was for one in (down, up) if one is not None})
    )
    nearest = min((each for each in (up, down) if each is not None), key=lambda each: abs(each.off))
    return Finding(
        kind="zero_room",
        step=nearest.step,
        line=nearest.line,
        at_us=nearest.at_us,
        mechanism=name,
        text=f"the zero of the {name} may be off by {room} (there it is by {was} in this run): {'; '.join(told)}",
    )
