"""Every need when its acting step began; and which were met, but nearly were not: in time, or in place.

A need is narrow

- in time, where its mechanism had been where it is needed for less than the guard when the acting step began;
- in its tolerance, where it stood in the last tenth of it (LAST_TENTH).

Not where the code itself makes sure of it: a wait for the arrival that saw it, in a window that lies within what is
needed. Such a wait is as long as it takes. What no step sent anywhere is narrow in its tolerance only.
"""

from __future__ import annotations

from math import hypot, pi, remainder

from simbot.analysis.never import asked
from simbot.analysis.results import NeedResult, Off
from simbot.analysis.timers import Links, missing_wait_us
from simbot.physics.build import DRIVES, SPINNING
from simbot.physics.move import DriveTo, Move
from simbot.physics.orders import control_of
from simbot.physics.plant import Plant
from simbot.routine.trace import NeedRecord, Trace
from simbot.scenario.model import MechanismSpec, Need, Pose, Robot

TIME, TOLERANCE = "time", "tolerance"
LAST_TENTH = 0.9


def need_results(
    trace: Trace, links: Links, plant: Plant, robot: Robot, guard_us: int
) -> tuple[NeedResult, ...]:
    """One row for every need that was checked."""
    rows = []
    for record in trace.needs:
        need, spec = record.need, robot.mechanisms[record.need.mechanism]
        assert record.position is not None and record.target is not None
        off = off_of(record, plant, spec)
        row = NeedResult(
            step=record.step,
            line=record.line,
            at_us=record.at_us,
            mechanism=need.mechanism,
            cause_line=None if record.cause is None else trace.moves[record.cause].line,
            position=record.position,
            speed=record.speed,
            target=record.target,
            within=None if isinstance(need.target, str) else need.within,
            met=record.met,
            margin_us=record.margin_us,
            text=need.text,
            off=off,
            narrow=narrow(record, off, trace, links, spec, guard_us),
            missing_wait_us=missing_wait_us(record, links),
        )
        rows.append(row)
    return tuple(rows)


def off_of(record: NeedRecord, plant: Plant, spec: MechanismSpec) -> Off | None:
    """None for a word, and for what has no tolerance."""
    need, at_us = record.need, record.at_us
    if isinstance(need.target, str) or need.within <= 0.0:
        return None
    if isinstance(need.target, Pose):
        pose = plant.pose(at_us)
        away = hypot(pose.x - need.target.x, pose.y - need.target.y)
        found = [Off(away, need.within, "length")]
        if need.heading_within:
            turned = abs(remainder(pose.heading - need.target.heading, 2.0 * pi))
            found.append(Off(turned, need.heading_within, "angle"))
        return max(found, key=lambda one: one.share)
    spins = spec.kind in SPINNING
    stands = plant.speed(need.mechanism, at_us) if spins else plant.position(need.mechanism, at_us)
    off = abs(float(stands) - need.target)
    if off > need.within and spec.coordinate == "angle" and not spins:
        off = abs(remainder(off, 2.0 * pi))  # it may turn on and on
    return Off(off, need.within, "angular_speed" if spins else spec.coordinate)


def narrow(
    record: NeedRecord, off: Off | None, trace: Trace, links: Links, spec: MechanismSpec, guard_us: int
) -> tuple[str, ...]:
    """In which ways a need that is met nearly was not."""
    if not record.met or _is_made_sure(record, trace, links, spec):
        return ()
    found = []
    if record.cause is not None and record.margin_us is not None and record.margin_us < guard_us:
        found.append(TIME)
    if off is not None and off.share > LAST_TENTH:
        found.append(TOLERANCE)
    return tuple(found)


def _is_made_sure(record: NeedRecord, trace: Trace, links: Links, spec: MechanismSpec) -> bool:
    """Whether a wait saw the mechanism arrive, so near to where it is needed that it then was there."""
    if record.cause is None:
        return False
    move, wait = trace.moves[record.cause].move, links.timed_by.get(record.cause)
    if wait is None or not wait.seen or wait.ended_us > record.at_us:
        return False
    arrival = move.arrival_us()
    return arrival is not None and arrival <= wait.ended_us and _window_lies_within(move, record.need, spec)


def _window_lies_within(move: Move, need: Need, spec: MechanismSpec) -> bool:
    if isinstance(need.target, Pose):
        if (
            not isinstance(move.command, DriveTo)
            or move.command.pose != need.target
            or spec.kind not in DRIVES
        ):
            return False
        turn = float(control_of(spec, True)["window"])
        line = float(control_of(spec, False)["window"])
        return line <= need.within and (need.heading_within is None or turn <= need.heading_within)
    if isinstance(need.target, str):
        return move.target == need.target
    return asked(move) == need.target and move.window + abs(move.zero_off) <= need.within
