"""Waits that stand nowhere: a step that began before what it needs was there, with no wait to see to it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from simbot.analysis.better_timer import FINEST_US, rounded_up
from simbot.analysis.timers import Links, missing_wait_us
from simbot.analysis.words import listed
from simbot.routine.trace import Trace


class Unseen(NamedTuple):
    """A need that was missed and that no wait sees to."""

    line: int  # of the acting step
    step: int
    mechanism: str
    place: str  # "0.40 m within 15 mm"
    late_us: int


@dataclass(frozen=True)
class MissingWait:
    """A wait to put in before a step."""

    line: int
    step: int
    needs: tuple[tuple[str, str], ...]  # mechanisms that come too late for it, and where they have to be
    wait_us: int  # so long, a guard included

    @property
    def said(self) -> str:
        """`lift at 0.40 m within 15 mm and arm at 90 deg`."""
        return listed([f"{mechanism} at {place}" for mechanism, place in self.needs])


def unseen(trace: Trace, links: Links) -> Iterator[Unseen]:
    """All of a run."""
    for need in trace.needs:
        late = missing_wait_us(need, links)
        if late is not None:
            yield Unseen(need.line, need.step, need.need.mechanism, need.need.text, late)


def missing_waits(found: Iterable[Unseen], guard_us: int, tick_us: int) -> tuple[MissingWait, ...]:
    """One for each step in need of one, by line, for the latest of what it needs."""
    steps: dict[int, list[Unseen]] = {}
    for one in found:
        steps.setdefault(one.line, []).append(one)
    return tuple(
        MissingWait(
            line,
            own[0].step,
            tuple(dict.fromkeys((one.mechanism, one.place) for one in own)),
            rounded_up(max(one.late_us for one in own) + guard_us, tick_us, FINEST_US),
        )
        for line, own in sorted(steps.items())
    )
