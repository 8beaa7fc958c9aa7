"""Values of a single mechanism given on the command line: positions, masses, times, in a file's spelling."""

from __future__ import annotations

from simbot.scenario.errors import SimbotError, ValueFault, nearest, quoted
from simbot.scenario.model import MechanismSpec, Robot
from simbot.scenario.parameters import Quantity
from simbot.scenario.positions import END_TOLERANCE, scale_of
from simbot.scenario.unit_table import resolved
from simbot.scenario.units import NO_SCALE, Scale, read_quantity


def quantity_given(
    option: str, text: str, dimension: str, low: float = -1e9, high: float = 1e9, scale: Scale = NO_SCALE
) -> Quantity:
    """A quantity of an option; a wrong one is told with the option's name."""
    try:
        return read_quantity(text, dimension, scale, low, high)
    except ValueFault as error:
        raise SimbotError(f"{option} {text}: {error}") from error


def way_given(option: str, text: str, spec: MechanismSpec) -> float:
    """How far a drive goes [m]."""
    return float(quantity_given(option, text, "length", 0.0, 100.0, scale_of(spec)))


def position_given(option: str, text: str, spec: MechanismSpec) -> float:
    """A position inside the travel of a mechanism, in its units or by name [m, rad]."""
    named: dict[str, float] = spec.values.get("named") or {}
    word = text.strip()
    if word in named:
        return float(named[word])
    if word[:1].isalpha():
        known = f"; there is {', '.join(named)}" if named else f"; {spec.name} has no named positions"
        guess = nearest(word, named)
        hint = f"; did you mean {quoted(guess)}?" if guess else ""
        raise SimbotError(f"{option} {text}: there is no such named position{known}{hint}")
    value = float(quantity_given(option, text, resolved("coordinate", spec.coordinate), scale=scale_of(spec)))
    low, high = (float(end) for end in spec.values["travel"])
    for end in (low, high):
        if abs(value - end) <= END_TOLERANCE * (high - low):
            return end
    if not low < value < high:
        ends = " to ".join(getattr(end, "text", "") or f"{float(end):g}" for end in spec.values["travel"])
        raise SimbotError(f"{option} {text}: outside the travel of {spec.name}; would do: {ends}")
    return value


def mechanism_given(robot: Robot, name: str) -> MechanismSpec:
    """A mechanism that has physics, by its name."""
    if name not in robot.mechanisms:
        guess = nearest(name, robot.mechanisms)
        hint = f"; did you mean {quoted(guess)}?" if guess else ""
        raise SimbotError(
            f"{robot.name} has no mechanism {quoted(name)}; it has {', '.join(robot.mechanisms)}{hint}"
        )
    spec = robot.mechanisms[name]
    if spec.kind == "measured":
        raise SimbotError(
            f"{name} is `measured`: a stopwatch time of {float(spec.values['time']):g} s, no physics"
        )
    if spec.coordinate == "word":
        raise SimbotError(
            f"{name} is a {spec.kind}: it knows two ends and nothing between; simbot move tells its strokes"
        )
    return spec
