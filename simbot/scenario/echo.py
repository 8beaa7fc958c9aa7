"""How a value is told back: in its usual unit, and in the other one where people mix them up."""

from __future__ import annotations

from math import degrees, pi

from simbot.scenario.parameters import Quantity
from simbot.scenario.unit_table import DIMENSIONS, GRAVITY, INCH, POUND

# dimension -> (factor from SI, unit) of the usual unit and of the other
_TWINS: dict[str, tuple[tuple[float, str], ...]] = {
    "length": ((1.0, "m"), (1 / INCH, "in")),
    "angle": ((degrees(1), "deg"), (1.0, "rad")),
    "mass": ((1.0, "kg"), (1 / POUND, "lb")),
    "force": ((1.0, "N"), (1 / (POUND * GRAVITY), "lbf")),
    "torque": ((1.0, "N*m"), (100 / GRAVITY, "kgf*cm")),
    "speed": ((1.0, "m/s"), (1 / (12 * INCH), "ft/s")),
    "angular_speed": ((30 / pi, "rpm"), (1.0, "rad/s")),
    "servo_speed": ((1.0, "rad/s"), (degrees(1), "deg/s")),
    "inertia": ((1.0, "kg*m^2"), (1e7, "g*cm^2")),
    "acceleration": ((1.0, "m/s^2"), (1 / INCH, "in/s^2")),
    "pressure": ((1e-5, "bar"), (INCH**2 / (POUND * GRAVITY), "psi")),
    "volume": ((1e6, "ml"),),
    "share": ((100.0, "%"),),
    "turn_proportional_gain": ((1.0, "/rad"), (1 / degrees(1), "/deg")),
    "length_counts_scale": ((0.001, "counts/mm"), (INCH, "counts/in")),
    "angle_counts_scale": ((2 * pi, "counts/rev"), (1 / degrees(1), "counts/deg")),
}


def shown(value: Quantity, dimension: str) -> str:
    """`0.42 m ± 0.01 m (16.5 in)`: five digits, the spread where there is one."""
    known = DIMENSIONS.get(dimension)
    twins = _TWINS.get(dimension, ((1.0, known.si if known else ""),))
    (factor, unit), *others = twins
    text = _with_unit(value, factor, unit)
    if value.spread:
        text += f" ± {_with_unit(value.spread, factor, unit)}"
    if others:
        text += f" ({', '.join(_with_unit(value, *other) for other in others)})"
    return text


def _with_unit(value: float, factor: float, unit: str) -> str:
    return f"{float(value) * factor:.5g} {unit}".strip()
