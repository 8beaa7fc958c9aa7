"""The timers of a plan as things that can be turned: one for each number that stands somewhere.

Waits that point at the same number, in the robot's code or in a routine of the plan, are one knob.
`with_waits` makes the plan with other numbers; nothing else of it changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil

from simbot.scenario.model import (
    Plan,
    SourceNumber,
    Step,
    WaitStep,
)
from simbot.scenario.plan_file import all_steps, with_steps
from simbot.scenario.source_units import UNITS

FINEST_US = 1000  # timers are written to the millisecond


@dataclass(frozen=True)
class Knob:
    """One number that one or more waits of the plan read."""

    waits: tuple[int, ...]  # places among the plan's waits, in file order
    line: int  # of the first of them in the plan
    now_us: int
    source: SourceNumber | None
    grain_us: int  # it can be changed in steps of this

    @property
    def fixed(self) -> bool:
        """Whether no single number stands for it."""
        return self.source is not None and self.source.computed


def waits_of(plan: Plan) -> list[WaitStep]:
    """Every wait that stands in the file, in file order."""
    return [step for step in all_steps(plan) if isinstance(step, WaitStep)]


def knobs_of(plan: Plan) -> list[Knob]:
    """The timers that time something: written durations without a mark."""
    groups: dict[object, list[int]] = {}
    waits = waits_of(plan)
    for place, wait in enumerate(waits):
        if wait.duration_us is not None and wait.purpose is None:
            groups.setdefault(_number_of(wait, place), []).append(place)
    return [
        Knob(
            waits=tuple(places),
            line=waits[places[0]].line,
            now_us=waits[places[0]].duration_us or 0,
            source=waits[places[0]].source,
            grain_us=grain_of(waits[places[0]].source),
        )
        for places in groups.values()
    ]


def rounded_up(time_us: int, tick_us: int, grain_us: int) -> int:
    """The least timer that waits so long: whole loops, as the routine goes on at a tick; then as it can be written."""
    ticks = -(-time_us // tick_us) * tick_us
    return -(-ticks // grain_us) * grain_us


def with_waits(plan: Plan, changed: Mapping[int, WaitStep]) -> Plan:
    """The plan with other waits at some places (see `waits_of`)."""
    place = -1

    def change(step: Step) -> Step:
        nonlocal place
        if isinstance(step, WaitStep):
            place += 1
            return changed.get(place, step)
        return step

    return with_steps(plan, change)


def with_timers(plan: Plan, knobs: list[Knob], values_us: list[int]) -> Plan:
    """The plan with the knobs at other values [us]."""
    waits = waits_of(plan)
    changed = {
        place: replace(waits[place], duration_us=value)
        for knob, value in zip(knobs, values_us, strict=True)
        for place in knob.waits
    }
    return with_waits(plan, changed)


def _number_of(wait: WaitStep, place: int) -> object:
    """What two waits share if they read the same number."""
    source = wait.source
    if source is None:
        return wait.written_at or place  # a routine that is given words is written out more than once
    return place if source.computed else (source.file.resolve(), source.start, source.unit)


def grain_of(source: SourceNumber | None) -> int:
    """In steps of what a time can be changed [us]."""
    if source is None:
        return FINEST_US
    unit = UNITS[source.unit]
    return max(FINEST_US, ceil(unit)) if source.whole else FINEST_US


def source_value(source: SourceNumber, time_us: int) -> Fraction:
    """A time in the unit of a number in source code."""
    return Fraction(time_us) / UNITS[source.unit]
