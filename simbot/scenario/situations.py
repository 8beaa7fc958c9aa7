"""What the conditions of a plan can tell apart: hands, the clock, points, room, stock, what was seen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import product
from math import inf, prod

from simbot.scenario.model import Condition, Plan, WhenStep
from simbot.scenario.plan_file import may_hold

MOST = 5000  # situations that are looked through
OTHER = ""  # an element that no condition names
Key = tuple[str, str, str]


@dataclass(frozen=True)
class Situation:
    """What each condition asks for, as a number; of a hand by elements."""

    values: dict[Key, float]

    def so(self, step: WhenStep) -> bool:
        """Whether all conditions of a step are so."""
        return all(self._holds(condition) for condition in step.conditions)

    def _holds(self, one: Condition) -> bool:
        if one.kind == "holds" and one.element is None:
            value = sum(count for key, count in self.values.items() if key[:2] == ("holds", one.name))
        else:
            value = self.values[_key(one)]
        inside = (one.least is None or value >= one.least) and (one.below is None or value < one.below)
        return inside != one.negated


def situations(plan: Plan, whens: Iterable[WhenStep], begin_us: int, end_us: int) -> Iterator[Situation]:
    """Every situation of a period that some conditions tell apart; none where they are too many."""
    conditions = [one for step in whens for one in step.conditions]
    held = may_hold(plan)
    values: dict[Key, set[float]] = {}
    for one in conditions:
        bounds = {bound for bound in (one.least, one.below) if bound is not None}
        if one.kind != "holds":
            key = _key(one)
            values[key] = values.get(key, set()) | _values(plan, one, bounds, begin_us, end_us)
            continue
        named = {each.element for each in conditions if each.name == one.name and each.element is not None}
        for element in named | {OTHER}:
            possible = (
                element in held.get(one.name, set()) if element else bool(held.get(one.name, set()) - named)
            )
            more = {bound - below for bound in bounds for below in (0.0, 1.0)} | {1.0} if possible else set()
            room = plan.robot.mechanisms[one.name].values.get("room")
            key = ("holds", one.name, element)
            fits = {count for count in more if room is None or count <= room}
            values[key] = values.get(key, set()) | {0.0} | fits
    if prod(len(each) for each in values.values()) <= MOST:
        for chosen in product(*(sorted(each) for each in values.values())):
            yield Situation(dict(zip(values, chosen, strict=True)))


def _key(one: Condition) -> Key:
    return one.kind, one.name, one.element or ""


def _values(plan: Plan, one: Condition, bounds: set[float], begin_us: int, end_us: int) -> set[float]:
    """Values on either side of the bounds of a condition."""
    either = bounds | {bound - 1 for bound in bounds}
    if one.kind == "clock":
        return {float(begin_us)} | {at for at in either if begin_us <= at < end_us}
    if one.kind == "points":
        below = bool(plan.game.penalties) or plan.game.possession is not None
        return {each for each in either if below or each >= 0}
    if one.kind == "seen":
        return {0.0, 1.0}
    most = plan.game.places[one.name].room if one.kind == "room" else plan.game.stations[one.name].stock
    return {inf} if most is None else {0.0, float(most)} | {each for each in either if 0 <= each <= most}
