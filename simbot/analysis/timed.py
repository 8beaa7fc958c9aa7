"""Efforts for a time that end beside what they are meant for: how far they go, on this battery."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from simbot.analysis.results import Finding
from simbot.analysis.timers import Links
from simbot.analysis.unfinished import unfinished_us
from simbot.analysis.words import extent
from simbot.physics.move import DriveFor, Move, PushFor
from simbot.physics.plant.totals import RESTS
from simbot.routine.trace import Trace

TIMED = (DriveFor, PushFor)


def off_the_mark(move: Move, coordinate: str) -> str:
    """`goes 0.41 m, 0.17 m short`, and what holds it there if it is anything but that its time is over."""
    went, meant = move.went()
    text = f"ends at {extent(move.ends_at(), coordinate)}"
    if isinstance(move.command, DriveFor):
        coordinate = "angle" if move.command.direction is None else "length"
        text = f"goes {extent(went, coordinate)}"
    short = abs(meant) - (went if meant >= 0.0 else -went)
    text += f", {extent(abs(short), coordinate)} {'short' if short > 0.0 else 'too far'}"
    reason = move.reason()
    return text if reason == RESTS else f"{text} ({reason})"


def timed_findings(
    trace: Trace, links: Links, coordinates: dict[str, str], stuck: Collection[int]
) -> Iterator[Finding]:
    """Of each that never arrives, taken over later or not, where no need or pick tells of it, nor that it is stuck."""
    for index, record in enumerate(trace.moves):
        move = record.move
        told = index in stuck or links.missed(index)
        if not isinstance(move.command, TIMED) or told or move.arrival_us() is not None:
            continue
        if unfinished_us(move) is not None:
            continue
        wait = links.timed_by.get(index)
        yield Finding(
            kind="never_arrived",
            step=record.step if wait is None else wait.step,
            line=record.line if wait is None else wait.line,
            at_us=move.start_us if wait is None else wait.ended_us,
            mechanism=move.mechanism,
            cause_line=record.line,
            cause_step=record.step,
            text=f"step {record.step} ({record.label}) {off_the_mark(move, coordinates[move.mechanism])}",
        )
