"""How long a timer should be: the one rule that `run`'s advice and `tune`'s sets go by.

A move that has to be there, because a need misses it or none says that it may be late, gets its arrival and a guard.
Of the others a timer takes what keeps a guard at the next need. It is rounded up to whole loops of the code, as the
routine goes on at a tick, and to what its number can be written as.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil

from simbot.scenario.model import Plan, SourceNumber, StandsAt, WaitStep
from simbot.scenario.plan_file import all_steps
from simbot.scenario.source_units import UNITS

FINEST_US = 1000  # timers are written to the millisecond


@dataclass(frozen=True)
class Waited:
    """One execution of a timer. Times count from the begin of the wait [us]."""

    arrival_us: int | None  # the latest of what it times; None: one never arrives
    need_margin_us: int | None  # the least of what asks for it later; None: nothing does
    breaks: bool  # a need later misses it
    unasked: bool  # one has not arrived a guard before the end, and no stated need says that it may


@dataclass(frozen=True)
class TimerNumber:
    """The waits that read one number of the plan or of the robot's code."""

    places: tuple[int, ...]  # among the plan's waits, in file order
    lines: tuple[int, ...]
    grain_us: int  # it can be changed in steps of this


def wanted_us(found: Sequence[Waited], have_us: int, guard_us: int) -> int | None:
    """How long a timer should be for these executions; None where it times nothing, or something never arrives."""
    wanted = []
    for one in found:
        if one.arrival_us is None:
            return None
        full = one.arrival_us + guard_us
        if one.breaks or one.unasked:
            wanted.append(full)
        else:
            spare = guard_us if one.need_margin_us is None else one.need_margin_us
            wanted.append(min(full, have_us + max(0, guard_us - spare)))
    return max(wanted, default=None)


def better_us(value_us: int, found: Sequence[Waited], guard_us: int, tick_us: int, grain_us: int) -> int:
    """A better value for these executions; the same one where it would be right for an arrival up to a loop later."""
    have_us = rounded_up(value_us, tick_us, 1)
    wanted = wanted_us(found, have_us, guard_us)
    if wanted is None:
        return value_us
    target = rounded_up(wanted, tick_us, grain_us)
    latest = rounded_up(wanted + tick_us, tick_us, grain_us)
    return value_us if target <= have_us <= latest else target


def rounded_up(time_us: int, tick_us: int, grain_us: int) -> int:
    """The least timer that waits so long: whole loops, as the routine goes on at a tick; then as it can be written."""
    ticks = -(-time_us // tick_us) * tick_us
    return -(-ticks // grain_us) * grain_us


def grain_of(source: SourceNumber | None) -> int:
    """In steps of what a time can be changed [us]."""
    if source is None:
        return FINEST_US
    unit = UNITS[source.unit]
    return max(FINEST_US, ceil(unit)) if source.whole else FINEST_US


def waits_of(plan: Plan) -> list[WaitStep]:
    """Every wait that stands in the file, in file order."""
    return [step for step in all_steps(plan) if isinstance(step, WaitStep)]


def numbers_of(plan: Plan) -> Iterator[TimerNumber]:
    """The timers that time something: written durations without a mark, those that read one number together."""
    groups: dict[object, list[int]] = {}
    waits = waits_of(plan)
    for place, wait in enumerate(waits):
        if wait.duration_us is not None and wait.purpose is None:
            groups.setdefault(number_read(wait.source, wait.written_at, place), []).append(place)
    for places in groups.values():
        lines = dict.fromkeys(waits[place].line for place in places)
        yield TimerNumber(tuple(places), tuple(lines), grain_of(waits[places[0]].source))


def number_read(source: SourceNumber | None, written_at: StandsAt | None, place: int) -> object:
    """What two times share if they read the same number; a computed one reads none that is its own."""
    if source is None:
        return written_at or place  # a routine that is given words is written out more than once
    return place if source.computed else (source.file.resolve(), source.start, source.unit)
