"""Places that count from their command on, while what they placed is still in the hand.

A place releases, and earns its points, at its first instant. A real hand takes as long as its move: what carries it
and goes on before that drags the element along.
"""

from __future__ import annotations

from collections.abc import Iterator

from simbot.analysis.results import LETS_GO, Finding
from simbot.analysis.words import ms, the
from simbot.physics.build import DRIVES
from simbot.physics.move import Spin, SpinTo
from simbot.routine.acting import carriers_of
from simbot.routine.trace import Trace
from simbot.scenario.model import PlaceStep, Plan


def release_findings(plan: Plan, trace: Trace) -> Iterator[Finding]:
    """Places whose hand, or what carries it, was sent on before its own move had arrived."""
    drives = [name for name, spec in plan.robot.mechanisms.items() if spec.kind in DRIVES]
    carriers = carriers_of(plan)
    delivered = {(one.line, one.at_us) for one in trace.deliveries}
    for index, record in enumerate(trace.moves):
        move, by = record.move, record.by
        if not isinstance(by, PlaceStep) or move.mechanism != by.by.mechanism:
            continue
        arrival = move.arrival_us()
        if (
            (by.line, move.start_us) not in delivered
            or arrival is None
            or isinstance(move.command, Spin | SpinTo)
        ):
            continue
        carry = {move.mechanism, *carriers[move.mechanism], *drives}
        later = (one for one in trace.moves[index + 1 :] if one.move.mechanism in carry)
        following = next(later, None)
        if following is None or following.move.start_us >= arrival:
            continue
        late = arrival - following.move.start_us
        yield Finding(
            kind="moved_on",
            step=record.step,
            line=record.line,
            at_us=following.move.start_us,
            mechanism=move.mechanism,
            cause_line=record.line,
            cause_step=record.step,
            late_us=late,
            provided=LETS_GO,
            text=(
                f"step {record.step} counts as placed from its command on, but step {following.step} sends the "
                f"{following.move.mechanism} on {ms(late)} before {the(move.mechanism)} is at {by.by.text}: on a real "
                "robot it may still hold what it places"
            ),
        )
