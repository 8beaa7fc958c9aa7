"""What follows from a plan alone is worked out once, however many matches of it are played."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TypeVar

from simbot.scenario.model import Plan

Found = TypeVar("Found")

PLANS_KEPT = 32


def once_a_plan(work: Callable[[Plan], Found]) -> Callable[[Plan], Found]:
    """The same function, which remembers what it has found for the plans that it saw last; nobody is to change that."""
    known: dict[int, tuple[Plan, Found]] = {}  # a plan that is kept keeps its identity

    @wraps(work)
    def found(plan: Plan) -> Found:
        kept = known.get(id(plan))
        if kept is None:
            kept = plan, work(plan)
            while len(known) >= PLANS_KEPT:
                del known[next(iter(known))]
            known[id(plan)] = kept
        return kept[1]

    return found
