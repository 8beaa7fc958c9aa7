"""What the physics assumes in place of what a robot file leaves out, and what it replaces: for `simbot check`.

Needs no compiled code.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import atan2, degrees, pi
from typing import Any

from simbot.physics.build import (
    DRIVES,
    LEAST_DRIVEN_LAG,
    SWITCHING_EFFICIENCY,
    WHOLE_BUILT,
    Models,
    completed,
)
from simbot.physics.gearing import back_efficiency
from simbot.physics.kinds import KINDS, mecanum
from simbot.physics.kinds.drive import Leg, turning_inertia
from simbot.physics.kinds.slide import comes_down_otherwise
from simbot.physics.motor import motor_model
from simbot.physics.orders import control_of
from simbot.physics.stance import leans_on
from simbot.physics.tables import GRAVITY
from simbot.scenario.counts import counts_given
from simbot.scenario.echo import shown
from simbot.scenario.model import MechanismSpec, Remark, Robot
from simbot.scenario.parameters import Quantity
from simbot.scenario.unit_table import resolved

COUNTS_TOLERANCE = 0.05
DIMENSIONS = {
    "free_current": "current",
    "stall_current": "current",
    "rotor_inertia": "inertia",
    "internal_ratio": "ratio",
}


def physics_remarks(robot: Robot) -> list[Remark]:
    """Assumptions and replacements of the physics, in file order."""
    filled, assumed = completed(robot)
    file = str(robot.path)
    remarks = []
    for owner, line, key, value, spread, reason in assumed:
        dimension = DIMENSIONS.get(key, "share")
        text = f"{shown(Quantity(value, spread), dimension)} ({reason})"
        remarks.append(Remark("assumed", file, line, f"robot.{owner}.{key}", text))
    more = (
        *_general(robot, file),
        *_weightless(filled, file),
        *_too_light(filled, file),
        *_counts(filled, file),
    )
    return [*remarks, *_replaced(filled, file), *more]


def _weightless(robot: Robot, file: str) -> Iterator[Remark]:
    """Linkages in which somewhere nothing moves that weighs anything."""
    models = Models(robot)
    for spec in robot.mechanisms.values():
        if spec.kind in DRIVES or spec.coordinate != "angle":
            continue
        lacking = models.get(spec.name).lacking
        if lacking > 0.0:
            text = (
                "where it stands in line nothing in it moves that has a mass, its rotors neither: "
                f"{lacking:.2g} kg m^2 are taken for what turns there"
            )
            yield Remark("assumed", file, spec.line, f"robot.mechanisms.{spec.name}", text)


def _too_light(robot: Robot, file: str) -> Iterator[Remark]:
    """Rotors that follow their volts faster than any real motor."""
    models = Models(robot)
    for spec in robot.mechanisms.values():
        light = 0.0 if spec.kind in DRIVES or "motors" not in spec.values else models.get(spec.name).light
        if light > 0.0:
            motor = spec.values["motors"].motor
            text = (
                "its motors and what they move follow their volts faster than any real motor does: the `rotor_inertia` "
                f"of {motor}, its torque and this gearing do not go together; {light:.2g} kg m^2 are added to each "
                f"rotor, with which it lags {1e3 * LEAST_DRIVEN_LAG:g} ms"
            )
            yield Remark(
                "doubt",
                file,
                spec.lines.get("motors", spec.line),
                f"robot.mechanisms.{spec.name}.motors",
                text,
            )


def _counts(robot: Robot, file: str) -> Iterator[Remark]:
    """Encoder counts per unit of travel that the gearing does not give."""
    for spec in robot.mechanisms.values():
        given, counts = counts_given(KINDS[spec.kind], spec.values), spec.values.get("counts")
        if given is None and spec.values.get("encoder") is not None:
            text = "it does nothing: what turns it is not geared alike along the whole travel; state `counts`"
            yield Remark("doubt", file, spec.lines["encoder"], f"robot.mechanisms.{spec.name}.encoder", text)
        if given is None or counts is None:
            continue
        if abs(float(counts) / given - 1.0) > COUNTS_TOLERANCE:
            dimension = resolved("counts_scale", spec.coordinate)
            text = (
                f"{shown(counts, dimension)} do not belong to its encoder and gearing, which give "
                f"{shown(Quantity(given), dimension)}: a target written in counts is taken here as "
                f"{given / float(counts):.3g} times the position that the robot would go to"
            )
            line = spec.lines.get("counts", spec.line)
            yield Remark("doubt", file, line, f"robot.mechanisms.{spec.name}.counts", text)


def _replaced(robot: Robot, file: str) -> Iterator[Remark]:
    """Data sheets whose stall current cannot belong to their torque."""
    for name, sheet in robot.motors.items():
        model = motor_model(sheet)
        if model.stall_current_replaced_by is None or sheet.stall_current is None:
            continue
        text = (
            f"torque and speed are kept; the stall current of {float(sheet.stall_current):.4g} A would make "
            f"energy and is replaced by {model.stall_current_replaced_by:.4g} A"
        )
        yield Remark("assumed", file, sheet.line, f"robot.motors.{name}.stall_current", text)


def _general(robot: Robot, file: str) -> Iterator[Remark]:
    """Readings that hold for every run and that no key states."""
    for rail in robot.rails.values():
        if rail.regulator == "switching":
            text = f"its regulator passes on {SWITCHING_EFFICIENCY:.0%} (common practice, no source)"
            yield Remark("assumed", file, rail.line, f"robot.rails.{rail.name}", text)
    for spec in robot.mechanisms.values():
        yield from _gears(spec, file)
        if spec.kind in DRIVES:
            owner = f"robot.mechanisms.{spec.name}"
            yield from _turning(robot, spec, file)
            yield Remark("assumed", file, spec.line, owner, _of_a_drive(spec))
            yield from _turn_control(spec, file)
            if spec.values["centre_height"] is not None:
                kind, text = _tipping(robot, spec)
                yield Remark(kind, file, spec.lines["centre_height"], f"{owner}.centre_height", text)
            if spec.values["extended"] is not None:
                kind, text = _tipping(robot, spec, spec.values["extended"])
                yield Remark(kind, file, spec.lines["extended"], f"{owner}.extended", text)
        others = leans_on(robot, spec.name)
        if others:
            text = (
                f"its load depends on where {' and '.join(others)} stand{'' if len(others) > 1 else 's'}: that is "
                "taken at the instant a move of its own begins, and kept until its next"
            )
            yield Remark("assumed", file, spec.line, f"robot.mechanisms.{spec.name}", text)
        if spec.kind == "slide" and comes_down_otherwise(spec.values):
            text = (
                "by their friction its stages would come down in another order than they went up; they are taken to "
                "come down in reverse"
            )
            line = spec.lines.get("friction", spec.line)
            yield Remark("assumed", file, line, f"robot.mechanisms.{spec.name}.friction", text)


def _gears(spec: MechanismSpec, file: str) -> Iterator[Remark]:
    """What its gears are taken for where nothing is stated of them, and what they return to a load that drives them.

    Of an efficiency that is not stated either see `completed`.
    """
    owner, stages = f"robot.mechanisms.{spec.name}.gearing", spec.values.get("gearing")
    if spec.values.get("motors") is None:
        return
    if stages is None and spec.kind not in WHOLE_BUILT:
        own = hasattr(KINDS[spec.kind], "own_stages")
        lost = "what it loses itself is all that is lost" if own else "nothing is lost"
        text = f"none is stated: its motors turn it directly, and {lost} after them"
        yield Remark("assumed", file, spec.line, owner, text)
    back = [
        back_efficiency(float(stage.efficiency))
        for stage in stages or ()
        if stage.efficiency is not None and stage.back_efficiency is None
    ]
    if back:
        told = ", ".join("locks" if each <= 0.0 else f"{each:.1%}".replace("%", " %") for each in back)
        text = f"{told} (2 - 1/efficiency: as much is lost where its load drives it back)"
        yield Remark("assumed", file, spec.lines["gearing"], f"{owner}: back_efficiency", text)


def _turning(robot: Robot, spec: MechanismSpec, file: str) -> Iterator[Remark]:
    """The inertia that all times of turns follow from."""
    if spec.values["turning_inertia"] is None:
        value = turning_inertia(spec.values, float(robot.mass), (float(robot.length), float(robot.width)))
        text = f"{shown(Quantity(value), 'inertia')} (an even plate of the robot's size and mass)"
        yield Remark("assumed", file, spec.line, f"robot.mechanisms.{spec.name}.turning_inertia", text)


def _turn_control(spec: MechanismSpec, file: str) -> Iterator[Remark]:
    """What a turn in place is controlled by where its `turn` does not say."""
    used, given = control_of(spec, turning=True), spec.values.get("turn") or {}
    units = {
        "p": "turn_proportional_gain",
        "d": "turn_derivative_gain",
        "window": "angle",
        "slower_than": "angular_speed",
    }
    if used["loop"] not in ("position", "profile"):
        units = {key: units[key] for key in ("window", "slower_than")}
    told = [
        f"{key} {shown(Quantity(float(used[key])), dimension)}"
        for key, dimension in units.items()
        if given.get(key) is None and used.get(key)
    ]
    if told:
        text = f"of a turn in place: {', '.join(told)}"
        if any(not each.startswith("window") for each in told):
            text += " (from `control`, at the lever of its wheels: not tuned for turns)"
        line = spec.lines.get("turn", spec.line)
        yield Remark("assumed", file, line, f"robot.mechanisms.{spec.name}.turn", text)


def _of_a_drive(spec: MechanismSpec) -> str:
    p = spec.values
    if "centre_left" in p and mecanum.own_wheels(p, p["motors"].count):
        shared = "on each wheel as its mass centre has it, straight on and in turns in place; in curves on all alike"
    elif p.get("centre_ahead"):
        shared = "on either axle as its mass centre has it, left and right alike"
    else:
        shared = "half on either axle, evenly on its wheels"
    if p["centre_height"] is None:
        shared += ", also while it speeds up or brakes (no centre_height stated)"
    text = (
        f"wheels that slide give as much as ones at the limit of their grip; the weight {shared}; what "
        "a turn leaves of its heading error is steered out on the next straight line at no cost of "
        "time"
    )
    if "steering_speed" in spec.values:
        text += "; its wheels stand straight ahead at the start and are steered before it moves, not while it does"
    return text


def _tipping(robot: Robot, spec: MechanismSpec, extended: Mapping[str, Any] | None = None) -> tuple[str, str]:
    """Where it would tip, against what its grip allows: a = g b/h, b from the mass centre to the nearer wheels.

    From moments about the wheels it tips over (derivation); a doubt where the grip reaches that. `extended`: with its
    mass centre there; else as it drives.
    """
    module, p = KINDS[spec.kind], {**spec.values, **(extended or {})}
    nearer = float(p["wheelbase"]) / 2.0 - abs(float(p.get("centre_ahead") or 0.0))
    aside = None if p["track"] is None else float(p["track"]) / 2.0 - abs(float(p.get("centre_left") or 0.0))
    ways = [("along its heading", 0.0, nearer)]
    if module.HOLONOMIC and aside is not None:
        ways.append(("sideways", pi / 2.0, aside))
    height = max(float(p["centre_height"]), 1e-6)
    told, doubtful = [], False
    for way, direction, lever in ways:
        limit = GRAVITY * lever / height
        grip = _held(module.straight(p, float(robot.mass), p["motors"].count, direction)) / float(robot.mass)
        doubtful = doubtful or grip >= limit
        told.append(f"{way} it tips above {limit:.3g} m/s^2, and its grip allows {grip:.3g} m/s^2")
    if not module.HOLONOMIC and aside is not None:
        limit = GRAVITY * aside / height
        goes = float(p["cornering"] * p["grip"]) * GRAVITY
        doubtful = doubtful or goes >= limit
        told.append(
            f"in curves it tips above {limit:.3g} m/s^2 sideways, and is steered round them with {goes:.3g}"
        )
    text = "; ".join(told)
    if extended is not None:
        slope = degrees(atan2(min(nearer, nearer if aside is None else aside), height))
        text = f"with everything extended, standing still on up to {slope:.3g} deg of slope; {text}"
    if not doubtful:
        return "assumed", f"{text}: it slips before it tips"
    return "doubt", f"{text}: where it is not slower by its motors it tips, which no run shows"


def _held(leg: Leg) -> float:
    """Greatest force that all its wheels hold along a line, either way [N]."""
    ahead = sum(group.most for group in leg.groups)
    back = sum(group.most if group.most_back is None else group.most_back for group in leg.groups)
    return max(ahead, back)
