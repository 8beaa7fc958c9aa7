"""Commands that begin together while the battery gives more than its main fuse is rated for."""

from __future__ import annotations

from collections.abc import Iterator

from simbot.analysis.results import Finding
from simbot.analysis.words import ms
from simbot.physics import strain
from simbot.physics.move import Spin
from simbot.physics.plant import Plant
from simbot.routine.trace import MoveRecord, Trace
from simbot.scenario.model import Robot

TOGETHER_US = 200_000  # motors take most in the first of their time: after so long they are staggered
LEAST = 0.1  # of the rating: what takes less is nothing to stagger


def fuse_findings(robot: Robot, trace: Trace, plant: Plant) -> Iterator[Finding]:
    """One for each two commands of different mechanisms that begin together while the current is above the rating."""
    if robot.fuse is None:
        return
    spells = [(round(begin * 1e6), round(end * 1e6)) for begin, end in strain.above(plant, robot.fuse.rating)]
    begun = sorted(
        (record for record in trace.moves if record.move.mechanism in plant.names and _asks(record)),
        key=lambda record: record.move.start_us,
    )
    for number, later in enumerate(begun):
        at = later.move.start_us
        for earlier in reversed(begun[:number]):
            until = earlier.move.start_us + TOGETHER_US
            if until <= at:
                break
            over = any(begin < until and at < end for begin, end in spells)
            if over and earlier.move.mechanism != later.move.mechanism:
                asked = (strain.taken(plant, one.move.mechanism, at, until) for one in (earlier, later))
                if min(asked) >= LEAST * robot.fuse.rating:
                    yield _finding(earlier, later, robot.fuse.rating)


def _asks(record: MoveRecord) -> bool:
    command = record.move.command
    return not isinstance(command, Spin) or command.effort != 0.0


def _finding(earlier: MoveRecord, later: MoveRecord, rating: float) -> Finding:
    apart = later.move.start_us - earlier.move.start_us
    begin = "at one instant" if apart == 0 else f"within {ms(apart)}"
    return Finding(
        kind="over_fuse",
        step=later.step,
        line=later.line,
        at_us=later.move.start_us,
        mechanism=later.move.mechanism,
        about=earlier.label,
        text=(
            f"step {earlier.step} ({earlier.label}) and step {later.step} ({later.label}) begin {begin}, and the "
            f"battery gives more than the {rating:.4g} A of its main fuse: motors take most as they start, so let "
            "one of them begin 200 to 300 ms after the other (common practice, no source)"
        ),
    )
