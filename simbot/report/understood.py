"""What `simbot check` prints: what was understood, what is assumed, what looks doubtful."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from pathlib import PurePath
from typing import IO, Any

from simbot.physics.kinds import KINDS
from simbot.scenario.echo import shown
from simbot.scenario.model import (
    ActStep,
    BatteryState,
    Game,
    GearStage,
    MechanismSpec,
    Motor,
    MotorUse,
    Plan,
    Remark,
    Reset,
    Robot,
    SourceNumber,
    WaitStep,
)
from simbot.scenario.parameters import Parameter, Quantity
from simbot.scenario.plan_file import all_steps
from simbot.scenario.unit_table import resolved

WIDTH = 80


def print_understood(plan: Plan, remarks: Sequence[Remark], stream: IO[str]) -> None:
    for line in understood_lines(plan, remarks):
        print(line, file=stream)


def understood_lines(plan: Plan, remarks: Sequence[Remark]) -> Iterator[str]:
    """The text of `simbot check`, line by line."""
    yield f"{plan.name}: well formed"
    for word, text in understood(plan):
        yield from _entry(word, text)
    yield ""
    yield from _remarks(remarks, "assumed", "Assumed, because the files do not say")
    yield from _remarks(remarks, "doubt", "Doubtful, please look again")
    if any(remark.kind == "follows" for remark in remarks):
        yield from _remarks(remarks, "follows", "Follows from the values")


def understood(plan: Plan) -> Iterator[tuple[str, str]]:
    """What was understood of the files: a word and its text each."""
    yield "plan", f"{plan.path.name}, {_steps(plan)}"
    yield "game", _game(plan.game)
    yield "robot", _robot(plan.robot)
    for state in plan.robot.battery:
        yield "battery", f"{state.name}: {_battery(state)}"
    if plan.robot.fuse is not None:
        yield "fuse", f"{plan.robot.fuse.rating:g} A, time constant {plan.robot.fuse.time:g} s"
    acting = {reset.name: reset for reset in plan.robot.resets}
    for device, volts in plan.robot.brown_out.items():
        yield "resets", f"{device}: below {volts:g} V of the bus{_acts(acting.get(device))}"
    for motor in plan.robot.motors.values():
        yield "motor", f"{motor.name}: {_motor(motor)}"
    for spec in plan.robot.mechanisms.values():
        yield "mechanism", f"{spec.name}: {spec.kind}; {'; '.join(_values(spec))}"
    for source, wait_us in _numbers_in_code(plan):
        place = f"{source.file.name}:{source.line}"
        said = f" ({source.text})" if source.text else " (computed)"
        yield "code", f"{source.name}: {wait_us / 1000:g} ms{said}, {place}"


def _entry(word: str, text: str) -> list[str]:
    return textwrap.wrap(f"{word:<10}{text}", WIDTH, subsequent_indent=" " * 12, break_on_hyphens=False)


def _remarks(remarks: Sequence[Remark], kind: str, title: str) -> Iterator[str]:
    chosen = [remark for remark in remarks if remark.kind == kind]
    yield f"{title}: {len(chosen) or 'nothing'}"
    for remark in chosen:
        file = PurePath(remark.file).name
        place = f"{file}:{remark.line}" if remark.line else file
        text = f"{place} {remark.key}: {remark.text}"
        yield from textwrap.wrap(
            text, WIDTH, initial_indent=" - ", subsequent_indent="   ", break_on_hyphens=False
        )


def _numbers_in_code(plan: Plan) -> Iterator[tuple[SourceNumber, int]]:
    """Waits that stand in the robot's code, each number once."""
    found = {
        step.source: step.duration_us or 0
        for step in all_steps(plan)
        if isinstance(step, WaitStep) and step.source is not None
    }
    yield from found.items()


def _acts(reset: Reset | None) -> str:
    if reset is None:
        return ", told and no more"
    what = "the program" if reset.stops == "program" else reset.stops
    return f"; it stops {what}, and is back after {reset.back_after:g} s at {reset.back_above:g} V"


def _battery(state: BatteryState) -> str:
    text = f"{state.open_circuit:g} V behind {state.resistance:g} ohm"
    if state.polarisation > 0.0:
        text += f", {state.polarisation:.4g} ohm more within {state.settling:g} s"
    if state.capacity and state.falls > 0.0:
        text += f", {state.falls:g} V less when {state.capacity / 3600.0:.4g} Ah are taken"
    return text


def _steps(plan: Plan) -> str:
    acting = [step for step in all_steps(plan) if isinstance(step, ActStep)]
    without = sum(not step.needs for step in acting)
    return f"{len(acting)} picks, places and hand-overs written, {without} of them without needs"


def _game(game: Game) -> str:
    periods = ", ".join(f"{one.name.replace('_', ' ')} {one.duration_us / 1e6:g} s" for one in game.periods)
    endgame = f", endgame the last {game.endgame_us / 1e6:g} s" if game.endgame_us else ""
    return f"{game.name}, field {game.length:g} m x {game.width:g} m, {periods}{endgame}"


def _robot(robot: Robot) -> str:
    size = f"{robot.length * 1000:g} mm x {robot.width * 1000:g} mm"
    mass = shown(_quantity(robot.mass), "mass")
    tilt = f", nose up {shown(_quantity(robot.tilt), 'angle')}" if robot.tilt else ""
    return f"{robot.name}, {mass}, {size}, loop {robot.loop_us / 1000:g} ms{tilt}"


def _quantity(value: float) -> Quantity:
    return value if isinstance(value, Quantity) else Quantity(value)


def _motor(motor: Motor) -> str:
    given = (
        ("", motor.voltage, "voltage"),
        ("free ", motor.free_speed, "angular_speed"),
        ("free ", motor.free_current, "current"),
        ("stall ", motor.stall_torque, "torque"),
        ("stall ", motor.stall_current, "current"),
        ("rotor ", motor.rotor_inertia, "inertia"),
        ("internal ratio ", motor.internal_ratio, "ratio"),
    )
    parts = [
        f"{word}{shown(_quantity(value), dimension)}" for word, value, dimension in given if value is not None
    ]
    return ", ".join(parts) + (f"; source: {motor.source}" if motor.source else "")


def _values(spec: MechanismSpec) -> Iterator[str]:
    for parameter in KINDS[spec.kind].PARAMETERS:
        text = _value(spec.values.get(parameter.key), parameter, spec.coordinate)
        if text and parameter.key in spec.lines:
            yield f"{parameter.key} {text}"


def _value(value: Any, parameter: Parameter, coordinate: str) -> str:
    """One value and its other unit; empty where the file does not give it."""
    if value is None or isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, MotorUse):
        return f"{value.count} x {value.motor}"
    if isinstance(value, GearStage):
        efficiency = "" if value.efficiency is None else f" at {value.efficiency:.3g}"
        return f"{value.ratio:.4g}:1{efficiency}"
    if isinstance(value, dict):
        return f"({', '.join(_inner(value, parameter, coordinate))})" if value else ""
    if isinstance(value, float):
        text = shown(_quantity(value), resolved(parameter.dimension, coordinate))
        return f"{_quantity(value).text} = {text}" if parameter.dimension == "servo_speed" else text
    if isinstance(value, tuple):
        return ", ".join(_value(one, parameter, coordinate) for one in value) or "none"
    return str(value)


def _inner(values: dict[str, Any], parameter: Parameter, coordinate: str) -> Iterator[str]:
    """The keys of a block, or words and their positions."""
    if parameter.dimension == "names":
        for word, value in values.items():
            yield f"{word} {shown(_quantity(value), coordinate)}"
    for inner in parameter.block:
        text = _value(values.get(inner.key), inner, coordinate)
        if text and (inner.key == "loop" or values.get(inner.key) != inner.default):
            yield f"{inner.key} {text}"
