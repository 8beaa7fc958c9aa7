"""A robot and a battery as they are today: every quantity with a stated (or assumed) spread drawn from it.

What belongs to the robot is unknown but fixed: drawn once a day. The battery of a match is drawn each match.
A stopwatch time varies each time, and is drawn by the plant.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from math import inf
from typing import Any

from simbot.physics.build import completed
from simbot.physics.kinds import KINDS
from simbot.physics.luck import Drawn
from simbot.scenario.model import BatteryState, GearStage, Robot
from simbot.scenario.once import once_a_plan
from simbot.scenario.parameters import Parameter, Quantity

Draw = Callable[[Drawn], Any]  # a value as it is today

LEAST = 1e-3  # of the nominal value: what is positive stays so
VARIES = ("zero", "zero_drift")  # drawn by the plant, each time
NOT_DRAWN = (*VARIES, "battery", "control", "turn", "order", "path", "named", "line", "lines")


def robot_of_day(robot: Robot, luck: Drawn) -> Robot:
    """The robot with everything that is unknown but fixed as it is today."""
    whole, drawn = _whole(robot)
    today: Robot = whole if drawn is None else drawn(luck)
    return today


@once_a_plan
def _whole(robot: Robot) -> tuple[Robot, Draw | None]:
    """The robot with all that its file leaves out, and how it is drawn."""
    whole = completed(robot)[0]
    parts = {
        each.name: _mechanisms(whole) if each.name == "mechanisms" else _of_field(whole, each.name, ())
        for each in fields(whole)
        if each.name not in NOT_DRAWN
    }
    return whole, _replaced(whole, parts)


def _mechanisms(robot: Robot) -> Draw | None:
    parts = {}
    for name, spec in robot.mechanisms.items():
        values = _values(spec.values, spec.kind, ("mechanisms", name))
        parts[name] = _replaced(spec, {"values": values})
    return _filled(robot.mechanisms, parts)


def battery_of_match(battery: BatteryState, luck: Drawn) -> BatteryState:
    """A battery state as it is in this match."""
    changed: dict[str, Any] = {
        each.name: luck.of_match(value, LEAST * abs(value), inf, "battery", battery.name, each.name)
        for each in fields(battery)
        if isinstance(value := getattr(battery, each.name), Quantity) and value.spread > 0.0
    }
    return replace(battery, **changed) if changed else battery


def _values(values: dict[str, Any], kind: str, key: tuple[str, ...]) -> Draw | None:
    parameters = {parameter.key: parameter for parameter in KINDS[kind].PARAMETERS}
    fixed = (*NOT_DRAWN, "time", "time_in") if KINDS[kind].COORDINATE == "word" else NOT_DRAWN
    parts = {
        name: _of_day(value, (*key, name), _bounds(parameters.get(name)), parameters.get(name))
        for name, value in values.items()
        if name not in fixed
    }
    return _filled(values, parts)


def _bounds(parameter: Parameter | None) -> tuple[float, float]:
    return (0.0, inf) if parameter is None else (parameter.low, parameter.high)


def _of_day(
    value: Any, key: tuple[Any, ...], bounds: tuple[float, float], parameter: Parameter | None = None
) -> Draw | None:
    """How a value, or what is in it, is drawn; None: it is the same every day."""
    if isinstance(value, Quantity):
        return _quantity(value, key, bounds) if value.spread != 0.0 else None
    if isinstance(value, dict):
        inner = {each.key: each for each in parameter.block} if parameter is not None else {}
        parts = {
            name: _of_day(each, (*key, name), _bounds(inner.get(name)) if inner else bounds, inner.get(name))
            for name, each in value.items()
        }
        return _filled(value, parts)
    if isinstance(value, tuple):
        return _tuple(value, [_of_day(each, (*key, n), bounds, parameter) for n, each in enumerate(value)])
    if isinstance(value, GearStage):
        names = [each.name for each in fields(value)]
        return _replaced(value, {name: _of_field(value, name, key, _stage_bounds(name)) for name in names})
    if hasattr(value, "__dataclass_fields__"):
        names = [each.name for each in fields(value) if each.name not in NOT_DRAWN]
        return _replaced(value, {name: _of_field(value, name, key) for name in names})
    return None


def _of_field(
    record: Any, name: str, key: tuple[Any, ...], bounds: tuple[float, float] = (0.0, inf)
) -> Draw | None:
    return _of_day(getattr(record, name), (*key, name), bounds)


def _quantity(value: Quantity, key: tuple[Any, ...], bounds: tuple[float, float]) -> Draw:
    low = max(bounds[0], LEAST * value) if value > 0.0 else bounds[0]
    return lambda luck: Quantity(luck.fixed(value, low, bounds[1], *key), 0.0, value.text, value.assumed)


def _filled(values: dict[str, Any], parts: dict[str, Draw | None]) -> Draw | None:
    drawn = [(name, draw) for name, draw in parts.items() if draw is not None]
    return (lambda luck: {**values, **{name: draw(luck) for name, draw in drawn}}) if drawn else None


def _replaced(record: Any, parts: dict[str, Draw | None]) -> Draw | None:
    drawn = [(name, draw) for name, draw in parts.items() if draw is not None]
    return (lambda luck: replace(record, **{name: draw(luck) for name, draw in drawn})) if drawn else None


def _tuple(values: tuple[Any, ...], parts: list[Draw | None]) -> Draw | None:
    both = list(zip(values, parts, strict=True))
    if all(draw is None for draw in parts):
        return None
    return lambda luck: tuple(value if draw is None else draw(luck) for value, draw in both)


def _stage_bounds(name: str) -> tuple[float, float]:
    return {"efficiency": (0.01, 1.0), "back_efficiency": (-10.0, 1.0)}.get(name, (0.0, inf))
