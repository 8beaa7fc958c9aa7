"""Times of a plan beside its waits: how long an effort lasts (`for`), and how long something may take (`at_most`).

Both are numbers in the plan or in the robot's code, and steps that read the same number are one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from simbot.analysis.better_timer import grain_of, number_read
from simbot.scenario.model import (
    DriveForStep,
    EffortStep,
    Plan,
    SourceNumber,
    StandsAt,
    Step,
    TryStep,
    WaitStep,
)
from simbot.scenario.plan_file import all_steps, with_steps

EffortFor = EffortStep | DriveForStep
Bounded = WaitStep | TryStep


@dataclass(frozen=True, eq=False)
class OtherTime:
    """One number, and the steps that read it, by their place among all such steps of the plan."""

    what: str  # "effort" or "limit"
    places: tuple[int, ...]
    steps: tuple[Step, ...]
    line: int
    now_us: int
    source: SourceNumber | None

    @property
    def grain_us(self) -> int:
        return grain_of(self.source)

    @property
    def fixed(self) -> bool:
        """Whether no single number stands for it."""
        return self.source is not None and self.source.computed


def efforts_of(plan: Plan) -> list[OtherTime]:
    """Every `effort … for`."""
    return _grouped(plan, "effort", _of_effort)


def limits_of(plan: Plan) -> list[OtherTime]:
    """Every `at_most` of a wait or of tries."""
    return _grouped(plan, "limit", _of_limit)


def with_times(plan: Plan, changed: dict[OtherTime, int]) -> Plan:
    """The plan with these at other values [us]."""
    values = {place: (time.what, value) for time, value in changed.items() for place in time.places}
    place = -1

    def change(step: Step) -> Step:
        nonlocal place
        if not isinstance(step, EffortFor | Bounded):
            return step
        place += 1
        what, value = values.get(place, ("", 0))
        if isinstance(step, EffortFor):
            return replace(step, duration_us=value) if what == "effort" else step
        return replace(step, at_most_us=value) if what == "limit" else step

    return with_steps(plan, change) if values else plan


def with_limits_of(plan: Plan, other: Plan) -> Plan:
    """The plan with the limits of another one with the same steps."""
    limits = {here: there.now_us for here, there in zip(limits_of(plan), limits_of(other), strict=True)}
    changed = {time: value for time, value in limits.items() if time.now_us != value}
    return with_times(plan, changed)


Found = tuple[int, SourceNumber | None, StandsAt | None]


def _of_effort(step: Step) -> Found | None:
    if not isinstance(step, EffortFor):
        return None
    return step.duration_us, step.source, step.written_at


def _of_limit(step: Step) -> Found | None:
    if not isinstance(step, Bounded) or step.at_most_us is None:
        return None
    return step.at_most_us, step.limit_source, step.limit_at


def _grouped(plan: Plan, what: str, of: Callable[[Step], Found | None]) -> list[OtherTime]:
    groups: dict[object, list[tuple[int, Step, Found]]] = {}
    for place, step in enumerate(step for step in all_steps(plan) if isinstance(step, EffortFor | Bounded)):
        found = of(step)
        if found is not None:
            _, source, written_at = found
            groups.setdefault(number_read(source, written_at, place), []).append((place, step, found))
    return list(_times(what, groups))


def _times(what: str, groups: dict[object, list[tuple[int, Step, Found]]]) -> Iterator[OtherTime]:
    for group in groups.values():
        _, first, (value, source, _) = group[0]
        places = tuple(place for place, _, _ in group)
        yield OtherTime(what, places, tuple(step for _, step, _ in group), first.line, value, source)
