"""Timing on a machine that others use too: the least of several medians, taken by turns."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median
from time import perf_counter

ROUNDS = 4


@dataclass(frozen=True)
class Ratio:
    """What something takes [s] and what its baseline takes [s]."""

    name: str
    takes: float
    baseline: float

    @property
    def ratio(self) -> float:
        return self.takes / self.baseline

    def row(self) -> str:
        """A row of a markdown table."""
        takes, baseline = (f"{1e3 * time:.3g} ms" for time in (self.takes, self.baseline))
        return f"| {self.name} | {takes} | {baseline} | {self.ratio:.3g} |"


def once(call: Callable[[], object]) -> float:
    begin = perf_counter()
    call()
    return perf_counter() - begin


def side_by_side(calls: Sequence[tuple[Callable[[], object], int]], rounds: int = ROUNDS) -> list[float]:
    """Least of the medians of each call [s]; the calls take turns, each as often as it says in each round."""
    best = [float("inf")] * len(calls)
    for call, _ in calls:
        call()
    for _ in range(rounds):
        for number, (call, repeats) in enumerate(calls):
            best[number] = min(best[number], median(once(call) for _ in range(repeats)))
    return best
