"""A robot and a battery as they are today: every quantity with a stated (or assumed) spread drawn from it.

What belongs to the robot is unknown but fixed: drawn once a day. The battery of a match is drawn each match.
A stopwatch time varies each time, and is drawn by the plant.
"""

from __future__ import annotations

from dataclasses import fields, replace
from math import inf
from typing import Any

from simbot.physics.build import completed
from simbot.physics.kinds import KINDS
from simbot.physics.luck import Drawn
from simbot.scenario.model import BatteryState, GearStage, Robot
from simbot.scenario.parameters import Parameter, Quantity

LEAST = 1e-3  # of the nominal value: what is positive stays so
VARIES = ("zero", "zero_drift")  # drawn by the plant, each time
NOT_DRAWN = (*VARIES, "battery", "control", "turn", "order", "path", "named", "line", "lines")


def robot_of_day(robot: Robot, luck: Drawn) -> Robot:
    """The robot with everything that is unknown but fixed as it is today."""
    whole = completed(robot)[0]
    changed: dict[str, Any] = {}
    for each in fields(whole):
        if each.name == "mechanisms":
            changed["mechanisms"] = {
                name: replace(spec, values=_values(spec.values, spec.kind, luck, ("mechanisms", name)))
                for name, spec in whole.mechanisms.items()
            }
        elif each.name not in NOT_DRAWN:
            changed[each.name] = _of_day(getattr(whole, each.name), luck, (each.name,), (0.0, inf))
    return replace(whole, **changed)


def battery_of_match(battery: BatteryState, luck: Drawn) -> BatteryState:
    """A battery state as it is in this match."""
    changed: dict[str, Any] = {
        each.name: luck.of_match(value, LEAST * abs(value), inf, "battery", battery.name, each.name)
        for each in fields(battery)
        if isinstance(value := getattr(battery, each.name), Quantity) and value.spread > 0.0
    }
    return replace(battery, **changed) if changed else battery


def _values(values: dict[str, Any], kind: str, luck: Drawn, key: tuple[str, ...]) -> dict[str, Any]:
    parameters = {parameter.key: parameter for parameter in KINDS[kind].PARAMETERS}
    stopwatch = KINDS[kind].COORDINATE == "word"
    drawn = {}
    for name, value in values.items():
        fixed = name in NOT_DRAWN or (stopwatch and name in ("time", "time_in"))
        parameter = parameters.get(name)
        drawn[name] = value if fixed else _of_day(value, luck, (*key, name), _bounds(parameter), parameter)
    return drawn


def _bounds(parameter: Parameter | None) -> tuple[float, float]:
    return (0.0, inf) if parameter is None else (parameter.low, parameter.high)


def _of_day(
    value: Any,
    luck: Drawn,
    key: tuple[Any, ...],
    bounds: tuple[float, float],
    parameter: Parameter | None = None,
) -> Any:
    """A value, or all that is in it, as it is today."""
    if isinstance(value, Quantity):
        if value.spread == 0.0:
            return value
        low = max(bounds[0], LEAST * value) if value > 0.0 else bounds[0]
        return Quantity(luck.fixed(value, low, bounds[1], *key), 0.0, value.text, value.assumed)
    if isinstance(value, dict):
        inner = {each.key: each for each in parameter.block} if parameter is not None else {}
        return {
            name: _of_day(
                each, luck, (*key, name), _bounds(inner.get(name)) if inner else bounds, inner.get(name)
            )
            for name, each in value.items()
        }
    if isinstance(value, tuple):
        return tuple(_of_day(each, luck, (*key, n), bounds, parameter) for n, each in enumerate(value))
    if isinstance(value, GearStage):
        return replace(
            value,
            **{
                each.name: _of_day(
                    getattr(value, each.name), luck, (*key, each.name), _stage_bounds(each.name)
                )
                for each in fields(value)
            },
        )
    if hasattr(value, "__dataclass_fields__"):
        return replace(
            value,
            **{
                each.name: _of_day(getattr(value, each.name), luck, (*key, each.name), (0.0, inf))
                for each in fields(value)
                if each.name not in NOT_DRAWN
            },
        )
    return value


def _stage_bounds(name: str) -> tuple[float, float]:
    return {"efficiency": (0.01, 1.0), "back_efficiency": (-10.0, 1.0)}.get(name, (0.0, inf))
