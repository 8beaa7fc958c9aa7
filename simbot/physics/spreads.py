"""The stated spreads behind one mechanism, and the same mechanism with some of them at an end."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from typing import Any

from simbot.physics.build import DRIVES, Models
from simbot.scenario.model import BatteryState, Robot
from simbot.scenario.parameters import Quantity

Path = tuple[str | int, ...]
Ends = tuple[tuple[Path, float], ...]  # a quantity, and at which end of its spread it is (-1 or +1)
NO_PART = ("control", "zero", "zero_drift")  # in how long a move takes


def spread_paths(robot: Robot, battery: BatteryState, name: str, driven: bool) -> list[Path]:
    """Where the quantities with a spread stand that a mechanism's moves depend on.

    `driven`: it is a drive, which the robot's own mass belongs to.
    """
    spec = robot.mechanisms[name]
    paths = [("mechanisms", name, *path) for path in _in(spec.values) if path[0] not in NO_PART]
    use = spec.values.get("motors")
    if use is not None:
        paths += [("motors", use.motor, *path) for path in _in(robot.motors[use.motor])]
    rail = spec.rail
    if rail is not None:
        paths += [("rails", rail, *path) for path in _in(robot.rails[rail])]
    whole = {"mass": robot.mass} if driven else {"tilt": robot.tilt}
    paths += [("robot", *path) for path in _in(whole)]
    return paths + [("battery", *path) for path in _in(battery)]


def all_spread_paths(robot: Robot, battery: BatteryState) -> list[Path]:
    """Those that the moves of any mechanism depend on."""
    own = [
        path
        for name, spec in robot.mechanisms.items()
        for path in spread_paths(robot, battery, name, spec.kind in DRIVES)
    ]
    return list(dict.fromkeys(own))


def _in(thing: Any) -> Iterator[Path]:
    """Paths of the quantities with a spread within a value, a tuple, a dict or a record."""
    if isinstance(thing, Quantity):
        if thing.spread > 0.0:
            yield ()
    elif isinstance(thing, dict):
        for key, value in thing.items():
            yield from ((key, *path) for path in _in(value))
    elif isinstance(thing, tuple):
        for number, value in enumerate(thing):
            yield from ((number, *path) for path in _in(value))
    elif hasattr(thing, "__dataclass_fields__"):
        for each in fields(thing):
            yield from ((each.name, *path) for path in _in(getattr(thing, each.name)))


def quantity_at(robot: Robot, battery: BatteryState, path: Path) -> Quantity:
    """The quantity at one of the paths of `spread_paths`."""
    where, *parts = path
    thing: Any = {"battery": battery, "robot": robot}.get(str(where))
    if where == "mechanisms":
        thing = robot.mechanisms[str(parts.pop(0))].values
    elif thing is None:
        thing = getattr(robot, str(where))
    for part in parts:
        thing = getattr(thing, str(part)) if hasattr(thing, "__dataclass_fields__") else thing[part]
    assert isinstance(thing, Quantity)
    return thing


def _at_end(thing: Any, path: Path, sign: float) -> Any:
    """The same thing with the quantity at `path` moved to an end of its spread."""
    if not path:
        value = float(thing) + sign * thing.spread
        if float(thing) > 0.0:
            value = max(value, 1e-3 * float(thing))
        return Quantity(value, 0.0, thing.text, thing.assumed)
    key, rest = path[0], path[1:]
    if isinstance(thing, dict):
        return {**thing, key: _at_end(thing[key], rest, sign)}
    if isinstance(thing, tuple):
        assert isinstance(key, int)
        return (*thing[:key], _at_end(thing[key], rest, sign), *thing[key + 1 :])
    return replace(thing, **{str(key): _at_end(getattr(thing, str(key)), rest, sign)})


def at_ends(
    robot: Robot, battery: BatteryState, ends: Sequence[tuple[Path, float]]
) -> tuple[Models, BatteryState]:
    """Models of a robot, and a battery state, with the named quantities at an end (-1 or +1) of their spread."""
    return Models(robot_at_ends(robot, ends)), battery_at_ends(battery, ends)


def robot_at_ends(robot: Robot, ends: Sequence[tuple[Path, float]]) -> Robot:
    """The robot with those of the named quantities that are its own at an end of their spread."""
    for path, sign in ends:
        where, rest = path[0], path[1:]
        if where == "robot":
            robot = _at_end(robot, rest, sign)
        elif where == "mechanisms":
            name = str(rest[0])
            spec = robot.mechanisms[name]
            values = _clipped(_at_end(spec.values, rest[1:], sign))
            robot = replace(robot, mechanisms={**robot.mechanisms, name: replace(spec, values=values)})
        elif where != "battery":
            robot = replace(robot, **{str(where): _at_end(getattr(robot, str(where)), rest, sign)})
    return robot


def battery_at_ends(battery: BatteryState, ends: Sequence[tuple[Path, float]]) -> BatteryState:
    """The battery state with those of the named quantities that are its own at an end of their spread."""
    for path, sign in ends:
        if path[0] == "battery":
            battery = _at_end(battery, path[1:], sign)
    return battery


def _clipped(values: dict[str, Any]) -> dict[str, Any]:
    """Efficiencies stay at most 1."""
    if not values.get("gearing"):
        return values
    stages = []
    for stage in values["gearing"]:
        if stage.efficiency > 1.0:
            stage = replace(stage, efficiency=Quantity(1.0))
        if stage.back_efficiency is not None and stage.back_efficiency > 1.0:
            stage = replace(stage, back_efficiency=Quantity(1.0))
        stages.append(stage)
    return {**values, "gearing": tuple(stages)}
