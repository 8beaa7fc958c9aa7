"""Measured values, and what they are of."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees

from simbot.scenario.model import MechanismSpec, Plan

STOPWATCH, FRAMES, TRIES = "stopwatch", "frames", "tries"


@dataclass(frozen=True)
class Condition:
    """What was measured, as far as a prediction hangs on it. Lengths [m], angles [rad], masses [kg].

    kind: `move` of a mechanism alone, `line` of the plan, `cycle`, `tries` of an acting step.
    """

    kind: str
    battery: str
    mechanism: str = ""
    start: float | None = None
    target: float | None = None
    turning: bool = False
    load: float = 0.0
    line: int = 0


@dataclass(frozen=True)
class Measured:
    """One measurement. Of tries `value` is the number that succeeded."""

    line: int  # of the file
    text: str  # "lift from 0 m to 0.62 m"
    condition: Condition
    value: float  # s
    method: str
    period: float = 0.0  # s, of a frame or a row of the log
    error: float | None = None  # s, expanded (k = 2)
    tries: int = 0


def text_of(plan: Plan, condition: Condition) -> str:
    """What was measured, in words: `lift 0 m to 0.62 m with 1 kg`."""
    if condition.kind == "cycle":
        return "cycle"
    name = condition.mechanism
    if condition.kind in ("line", "tries"):
        return f"line {condition.line} {name}"
    spec = plan.robot.mechanisms[name]
    carrying = f" with {condition.load:g} kg" if condition.load else ""
    assert condition.start is not None and condition.target is not None
    if "travel" not in spec.values:
        far = f"{degrees(condition.target):g} deg" if condition.turning else f"{condition.target:g} m"
        return f"{name} {far}{carrying}"
    return f"{name} {_place(condition.start, spec)} to {_place(condition.target, spec)}{carrying}"


def _place(value: float, spec: MechanismSpec) -> str:
    for word, place in (spec.values.get("named") or {}).items():
        if abs(float(place) - value) < 1e-9:
            return str(word)
    return f"{degrees(value):.4g} deg" if spec.coordinate == "angle" else f"{value:.4g} m"
