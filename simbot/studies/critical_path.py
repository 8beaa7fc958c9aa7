"""Critical path of activities that follow one another: earliest and latest instants, slack, the longest chain.

The critical path method, forward and backward pass (Kelley and Walker, 1959; any textbook of operations
research has it).
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from graphlib import TopologicalSorter
from typing import Generic, TypeVar

Name = TypeVar("Name", bound=Hashable)


@dataclass(frozen=True)
class Schedule(Generic[Name]):
    """Instants in the unit of the durations."""

    earliest_start: dict[Name, float]
    earliest_finish: dict[Name, float]
    latest_start: dict[Name, float]
    latest_finish: dict[Name, float]
    length: float
    path: tuple[Name, ...]  # one longest chain

    def slack(self, name: Name) -> float:
        """How much later an activity may end without making the whole longer."""
        return self.latest_start[name] - self.earliest_start[name]


def schedule(durations: Mapping[Name, float], after: Mapping[Name, Sequence[Name]]) -> Schedule[Name]:
    """Forward and backward pass.

    Parameters
    ----------
    durations : mapping
        Of each activity, not negative.
    after : mapping
        What has to be finished before an activity begins; nothing where it is absent.

    Raises
    ------
    graphlib.CycleError
        Where activities wait for one another in a circle.
    """
    order = list(TopologicalSorter({name: list(after.get(name, ())) for name in durations}).static_order())
    begins: dict[Name, float] = {}
    ends: dict[Name, float] = {}
    for name in order:
        begins[name] = max((ends[one] for one in after.get(name, ())), default=0)
        ends[name] = begins[name] + durations[name]
    length = max(ends.values(), default=0)
    followers: dict[Name, list[Name]] = {name: [] for name in order}
    for name in order:
        for one in after.get(name, ()):
            followers[one].append(name)
    latest_end: dict[Name, float] = {}
    latest_begin: dict[Name, float] = {}
    for name in reversed(order):
        latest_end[name] = min((latest_begin[one] for one in followers[name]), default=length)
        latest_begin[name] = latest_end[name] - durations[name]
    path = _longest(order, begins, ends, after, length)
    return Schedule(begins, ends, latest_begin, latest_end, length, path)


def _longest(
    order: list[Name],
    begins: dict[Name, float],
    ends: dict[Name, float],
    after: Mapping[Name, Sequence[Name]],
    length: float,
) -> tuple[Name, ...]:
    last = next((name for name in order if ends[name] == length), None)
    path: list[Name] = []
    while last is not None:
        path.append(last)
        begin = begins[last]
        last = next((one for one in after.get(last, ()) if ends[one] == begin), None)
    return tuple(reversed(path))
