"""The timers of a plan as things that can be turned: one for each number that stands somewhere.

Waits that point at the same number, in the robot's code or in a routine of the plan, are one knob.
`with_waits` makes the plan with other numbers; nothing else of it changes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from simbot.analysis.better_timer import numbers_of, waits_of
from simbot.scenario.model import (
    Plan,
    SourceNumber,
    Step,
    WaitStep,
)
from simbot.scenario.plan_file import with_steps
from simbot.scenario.source_units import UNITS


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


def knobs_of(plan: Plan) -> list[Knob]:
    """The timers that time something: written durations without a mark."""
    waits = waits_of(plan)
    return [
        Knob(
            waits=number.places,
            line=number.lines[0],
            now_us=waits[number.places[0]].duration_us or 0,
            source=waits[number.places[0]].source,
            grain_us=number.grain_us,
        )
        for number in numbers_of(plan)
    ]


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


def source_value(source: SourceNumber, time_us: int) -> Fraction:
    """A time in the unit of a number in source code."""
    return Fraction(time_us) / UNITS[source.unit]
