"""What follows from a plan, or its robot, alone is worked out once, however many matches of it are played."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TypeVar

Of = TypeVar("Of")
Found = TypeVar("Found")

PLANS_KEPT = 32


def once_a_plan(work: Callable[[Of], Found]) -> Callable[[Of], Found]:
    """The same function, which remembers what it has found for the plans or robots seen last; none may change."""
    known: dict[int, tuple[Of, Found]] = {}  # a plan that is kept keeps its identity

    @wraps(work)
    def found(of: Of) -> Found:
        kept = known.get(id(of))
        if kept is None:
            kept = of, work(of)
            while len(known) >= PLANS_KEPT:
                del known[next(iter(known))]
            known[id(of)] = kept
        return kept[1]

    return found
