"""A number of the files as something that can be turned in the model, without reading the files again.

A number is counted in the unit in which it is written. Where it stands in the model is found once: by its key, or
by reading the files with another value and looking for what differs.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from math import isclose
from pathlib import Path
from typing import Any

from simbot.scenario.errors import ScenarioError, SimbotError
from simbot.scenario.given_numbers import GivenNumber
from simbot.scenario.load import load_plan
from simbot.scenario.model import Plan
from simbot.scenario.parameters import Kinds, Quantity, Span

Where = tuple[str | int, ...]
PER_ANGLE = re.compile(r"/\s*\d")  # a servo's speed as a time per angle
AT_MOST_ONE = ("efficiency", "back_efficiency", "succeeds")
FROM_ZERO = ("friction", "allowance", "succeeds", "back_efficiency", "damping")
LEAST, MOST = 1e-2, 20.0  # of the given value: how far an estimate may go
FORGOTTEN = ("path", "text", "line", "lines", "column")


@dataclass(frozen=True)
class Leaf:
    """A value of the model that follows a number: in proportion (power 1) or inversely (-1), or from an offset."""

    where: Where
    value: float
    power: int
    slope: float = 0.0  # only where the number given is 0

    def at(self, number: float, given: float) -> float:
        if given == 0.0:
            return self.value + self.slope * number
        return self.value * float((number / given) ** self.power)


@dataclass(frozen=True)
class Unknown:
    """One number and where it stands in the model; `low`, `high` in its own unit."""

    given: GivenNumber
    name: str
    spread: float  # as stated, in its own unit; 0: none
    low: float
    high: float
    leaves: tuple[Leaf, ...]

    @property
    def scale(self) -> float:
        """What counts as a large change."""
        return abs(self.given.number) or self.spread or 1.0

    def si(self, number: float) -> float:
        return self.leaves[0].at(number, self.given.number)

    def touches(self, mechanism: str, battery: str, plan: Plan) -> bool:
        """Whether a mechanism alone, on a battery state, can depend on it."""
        return any(_touches(leaf.where, mechanism, battery, plan) for leaf in self.leaves)


def unknown_of(
    path: Path, plan: Plan, kinds: Kinds, given: GivenNumber, name: str, overrides: Mapping[str, str]
) -> Unknown:
    """A number of the files as an unknown.

    Raises
    ------
    SimbotError
        Where it cannot take other values, or nothing in the model follows it.
    """
    leaves = _by_key(plan, given) or _by_reading(path, plan, kinds, given, overrides)
    if not leaves:
        raise SimbotError(f"--unknown {name}: nothing that is simulated follows {given.text} there")
    number = given.number
    spread = 0.0
    first = _get(plan, leaves[0].where)
    if given.has_spread and isinstance(first, Quantity) and float(first):
        spread = abs(number * first.spread / float(first))
    last = given.key.rpartition(".")[2]
    high = (100.0 if given.unit == "%" else 1.0) if last in AT_MOST_ONE else MOST * abs(number or 1.0)
    low = 0.0 if last in FROM_ZERO else LEAST * abs(number or 1.0)
    if number < 0.0:
        low = -high
    return Unknown(given, name, spread, low, high, leaves)


def with_numbers(plan: Plan, unknowns: Sequence[Unknown], numbers: Sequence[float]) -> Plan:
    """The plan with other numbers."""
    for unknown, number in zip(unknowns, numbers, strict=True):
        for leaf in unknown.leaves:
            plan = _put(plan, leaf.where, leaf.at(number, unknown.given.number))
    return plan


def short_name(key: str, others: Sequence[str]) -> str:
    """A key without what is not needed to tell it from others."""
    parts = [
        part for part in key.split(".") if part not in ("robot", "mechanisms", "states", "plan", "routines")
    ]
    name = ".".join(part for part in parts if not part.isdigit() and part != "gearing")
    return name if name not in others else ".".join(parts)


# --- where it stands ----------------------------------------------------------------------------------


def _by_key(plan: Plan, given: GivenNumber) -> tuple[Leaf, ...]:
    """Its place in the model, where keys and model run alike."""
    parts = given.key.split(".")
    if parts[0] != "robot" or PER_ANGLE.search(given.unit) or given.number == 0.0:
        return ()
    where: list[str | int] = list(parts)
    if parts[1] == "mechanisms":
        where.insert(3, "values")
    elif parts[1:3] == ["battery", "states"]:
        names = [state.name for state in plan.robot.battery]
        where[2:4] = [names.index(parts[3])] if parts[3] in names else [-1]
    steps = tuple(int(part) if isinstance(part, str) and part.isdigit() else part for part in where)
    value = _get(plan, steps)
    if not isinstance(value, Quantity) or value.text != given.text.strip() or value == 0.0:
        return ()
    return (Leaf(steps, float(value), 1),)


def _get(thing: Any, where: Where) -> Any:
    for part in where:
        if isinstance(thing, dict):
            thing = thing.get(part)
        elif isinstance(thing, tuple):
            thing = thing[part] if isinstance(part, int) and part < len(thing) else None
        else:
            thing = getattr(thing, str(part), None)
    return thing


def _by_reading(
    path: Path, plan: Plan, kinds: Kinds, given: GivenNumber, overrides: Mapping[str, str]
) -> tuple[Leaf, ...]:
    number = given.number
    other = 0.99 * number if number else 0.01
    try:
        changed = load_plan(path, kinds, {**overrides, given.key: given.written(other)})[0]
    except ScenarioError as error:
        raise SimbotError(f"--unknown {given.key}: {given.text} cannot take other values: {error}") from error
    leaves = []
    for where, before, after in _differences(plan, changed, ()):
        if number == 0.0:
            leaves.append(Leaf(where, before, 1, (after - before) / other))
            continue
        power = next((p for p in (1, -1) if isclose(after, before * 0.99**p, rel_tol=1e-6, abs_tol=1.0 * (
            isinstance(_get(plan, where), int)))), 0)  # fmt: skip
        if not power:
            raise SimbotError(
                f"--unknown {given.key}: what follows from {given.text} is not in proportion to it"
            )
        leaves.append(Leaf(where, before, power))
    return tuple(leaves)


def _differences(one: Any, other: Any, where: Where) -> Iterator[tuple[Where, float, float]]:
    """Numbers that differ between two models of the same shape."""
    if one is other or isinstance(one, bool | str | Path) or one is None:
        return
    if isinstance(one, int | float):
        if isinstance(other, int | float) and one != other:
            yield where, float(one), float(other)
    elif isinstance(one, dict):
        for key, value in one.items():
            yield from _differences(value, other.get(key), (*where, key))
    elif isinstance(one, tuple):
        for index, (value, twin) in enumerate(zip(one, other, strict=False)):
            yield from _differences(value, twin, (*where, index))
    elif hasattr(one, "__dataclass_fields__") and type(one) is type(other):
        for each in fields(one):
            if each.name not in FORGOTTEN:
                yield from _differences(
                    getattr(one, each.name), getattr(other, each.name), (*where, each.name)
                )


def _put(thing: Any, where: Where, value: float) -> Any:
    """The same thing with a number replaced."""
    if not where:
        if isinstance(thing, Span):
            return Span(round(value), thing.spread_us)
        if isinstance(thing, int):
            return round(value)
        return Quantity(value, 0.0, getattr(thing, "text", ""))
    part, rest = where[0], where[1:]
    if isinstance(thing, dict):
        return {**thing, part: _put(thing[part], rest, value)}
    if isinstance(thing, tuple):
        assert isinstance(part, int)
        return (*thing[:part], _put(thing[part], rest, value), *thing[part + 1 :])
    return replace(thing, **{str(part): _put(getattr(thing, str(part)), rest, value)})


def _touches(where: Where, mechanism: str, battery: str, plan: Plan) -> bool:
    if where[0] != "robot":
        return False
    if where[1] == "mechanisms":
        return where[2] == mechanism
    if where[1] == "battery":
        assert isinstance(where[2], int)
        return plan.robot.battery[where[2]].name == battery
    if where[1] == "motors":
        use = plan.robot.mechanisms[mechanism].values.get("motors")
        return use is not None and use.motor == where[2]
    return True
