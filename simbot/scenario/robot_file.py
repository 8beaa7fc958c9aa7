"""The robot file: battery, rails, motors and mechanisms, with what stands in for what is not given."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from simbot.scenario.battery_file import read_battery
from simbot.scenario.blocks import assumption, block_value, read_block, read_blocks
from simbot.scenario.brown_out_file import read_brown_out
from simbot.scenario.carriers import check_carriers
from simbot.scenario.counts import with_counts
from simbot.scenario.echo import shown
from simbot.scenario.errors import Fault, nearest
from simbot.scenario.fields import Shape, microseconds, read_word
from simbot.scenario.kind_checks import check_kind
from simbot.scenario.kind_schema import NOT_NUMBERS, default_of, role, shape_of
from simbot.scenario.misplaced import put_back
from simbot.scenario.model import (
    Fuse,
    GearStage,
    MechanismSpec,
    Motor,
    MotorUse,
    OrderRule,
    Rail,
    Robot,
)
from simbot.scenario.motor_file import note_reading, read_motor
from simbot.scenario.parameters import Kind, Kinds, Parameter, Quantity
from simbot.scenario.positions import Positions, read_counts_and_range
from simbot.scenario.schema import (
    FuseShape,
    OrderShape,
    RailShape,
    RobotShape,
    StageShape,
)
from simbot.scenario.sheet import Desk, Loc, Sheet, listed
from simbot.scenario.travel_keys import check_travel

# keys that stand beside mechanisms' names
RESERVED = ("toward", "direction", "for", "after", "pose", "holds")
FUSE_TIME = 2.0  # s, of a blade fuse: 0.9 s at twice its rating, from memory
WINDOW_SHARE = 0.02  # of the travel
MOST = 22  # mechanisms: the physics has room for these, and for motors of theirs that turn by themselves
BLOCK_READERS: dict[str, Callable[..., Any]] = {
    "block": read_block,
    "blocks": read_blocks,
    "variants": read_blocks,
}
DRIVE_CONTROL = {"p": 5.0, "d": 0.5, "window": 0.025, "slower_than": 0.06}  # /m, s/m, m, m/s


@dataclass
class RobotDraft:
    """What is known of a robot so far: a mechanism whose values have mistakes is there as None."""

    robot: Robot | None = None
    mechanisms: dict[str, MechanismSpec | None] = field(default_factory=dict)
    roles: dict[str, str] = field(default_factory=dict)
    rails: dict[str, Rail | None] = field(default_factory=dict)
    motors: dict[str, Motor | None] = field(default_factory=dict)
    # of a mechanism with mistakes: what positions need of it, so that those of the plan are found too
    loose: dict[str, MechanismSpec] = field(default_factory=dict)

    @property
    def drive(self) -> str | None:
        """Name of the drive, where there is one."""
        return next((name for name, kind in self.roles.items() if kind == "drive"), None)

    def positions(self, sheet: Sheet, name: str) -> Positions | None:
        """How positions of a mechanism are read; None where that is unknown."""
        spec = self.mechanisms.get(name) or self.loose.get(name)
        return Positions(sheet, spec) if spec is not None else None


def read_robot(sheet: Sheet, kinds: Kinds) -> RobotDraft:
    """The robot of a sheet; its mistakes and assumptions are noted on the sheet's desk."""
    loc: Loc = ("robot",)
    head = sheet.read(loc, RobotShape)
    draft = RobotDraft()
    battery = read_battery(sheet, (*loc, "battery"))
    for name, at in sheet.entries((*loc, "rails")):
        draft.rails[name] = _rail(sheet, name, at)
    for name, at in sheet.entries((*loc, "motors")):
        draft.motors[name] = read_motor(sheet, name, at)
    names = sheet.keys((*loc, "mechanisms"))
    for name, at in sheet.entries((*loc, "mechanisms")):
        if name in RESERVED:
            sheet.fail(at, Fault("this word is taken by the format", name, "another name"), of_key=True)
        draft.mechanisms[name] = _mechanism(sheet, name, at, kinds, draft, names)
    if len(names) > MOST:
        fault = Fault(
            "more mechanisms than are simulated at once", f"{len(names)} of them", f"at most {MOST}"
        )
        sheet.fail((*loc, "mechanisms"), fault, of_key=True)
    check_carriers(sheet, (*loc, "mechanisms"), draft.mechanisms)
    if head is not None:
        _check_latencies(sheet, (*loc, "mechanisms"), draft, float(head.loop))
    if list(draft.roles.values()).count("drive") > 1:
        sheet.fail(
            (*loc, "mechanisms"),
            Fault(
                "more than one drive",
                listed(name for name, kind in draft.roles.items() if kind == "drive"),
                "one",
            ),
            of_key=True,
        )
    order = tuple(rule for at in sheet.items((*loc, "order")) for rule in _order(sheet, at, draft))
    brown_out, resets = read_brown_out(sheet, (*loc, "brown_out"), draft.rails)
    if head is not None:
        draft.robot = Robot(
            path=Path(sheet.path),
            name=head.name,
            mass=head.mass,
            length=head.size[0],
            width=head.size[1],
            loop_us=microseconds(head.loop),
            battery=battery,
            rails={name: rail for name, rail in draft.rails.items() if rail},
            motors={name: motor for name, motor in draft.motors.items() if motor},
            mechanisms={name: spec for name, spec in draft.mechanisms.items() if spec},
            order=order,
            fuse=_fuse(sheet, (*loc, "fuse")),
            brown_out=brown_out,
            resets=resets,
            tilt=head.tilt,
        )
    return draft


def _fuse(sheet: Sheet, loc: Loc) -> Fuse | None:
    if sheet.node(loc) is None:
        return None
    shape = sheet.read(loc, FuseShape)
    if shape is None:
        return None
    if shape.time is None:
        sheet.remark(loc, "assumed", f"time: {FUSE_TIME:g} s (a blade fuse, from memory)")
    return Fuse(float(shape.rating), float(shape.time or FUSE_TIME), sheet.line(loc))


def _rail(sheet: Sheet, name: str, loc: Loc) -> Rail | None:
    shape = sheet.read(loc, RailShape)
    if shape is None:
        return None
    limit = shape.current_limit if shape.current_limit is not None else math.inf
    return Rail(name, shape.voltage, limit, shape.regulator, shape.dropout, sheet.line(loc))


def _mechanism(
    sheet: Sheet, name: str, loc: Loc, kinds: Kinds, draft: RobotDraft, names: list[str]
) -> MechanismSpec | None:
    node = sheet.node(loc)
    if node is None or not isinstance(node.value, dict):
        sheet.not_a_mapping(loc, wanted="kind, and those of the kind")
        return None
    word = sheet.text((*loc, "kind"))
    kind = kinds.get(word or "")
    if kind is None:
        where = (*loc, "kind")
        sheet.fail(
            where,
            Fault(
                "there is no such kind of mechanism" if word else "the key `kind` is missing",
                word or "nothing",
                listed(kinds),
                nearest(word or "", kinds),
            ),
        )
        return None
    draft.roles[name] = role(kind)
    problems = len(sheet.desk.problems)
    values = _values(sheet, loc, kind)
    if values is not None:
        _check_names(sheet, loc, values, draft, names)
        if draft.roles[name] != "measured":
            _complete_control(sheet, loc, kind, values)
    if values is None or len(sheet.desk.problems) > problems:
        loose = _loose(sheet, loc, kind)
        if loose is not None:
            draft.loose[name] = loose
        return None
    lines = {key: sheet.line((*loc, key)) for key in sheet.keys(loc)}
    return MechanismSpec(name, kind.NAME, kind.COORDINATE, values, sheet.line(loc), lines)


def _loose(sheet: Sheet, loc: Loc, kind: Kind) -> MechanismSpec | None:
    """What positions need of a mechanism with mistakes elsewhere; its mistakes are told already."""
    keys = ("travel", "counts", "range", "named", "wraps")
    parameters = tuple(parameter for parameter in kind.PARAMETERS if parameter.key in keys)
    silent = Sheet(sheet.path, sheet.root, Desk())
    others = [key for key in sheet.keys(loc) if key not in keys]
    shape = shape_of(parameters, kind.COORDINATE, "loose")
    scale = read_counts_and_range(sheet, loc, kind)
    given = silent.read(loc, shape, scale, own=others)
    if given is None:
        return None
    values: dict[str, Any] = {parameter.key: getattr(given, parameter.key) for parameter in parameters}
    with_counts(values, scale.counts)
    if values.get("travel") and not values["travel"][0] < values["travel"][1]:
        return None
    values["window"] = Quantity(1.0)
    values["control"] = {"window": Quantity(1.0)}
    if "named" in values:
        values["named"] = Positions.read_named(silent, loc, values, kind.COORDINATE)
    return MechanismSpec(str(loc[-1]), kind.NAME, kind.COORDINATE, values, sheet.line(loc))


def _values(sheet: Sheet, loc: Loc, kind: Kind) -> dict[str, Any] | None:
    """All keys of the kind's parameters: read, or their defaults."""
    own = Parameter("kind", "word", "its kind", required=True)
    shape = shape_of((own, *kind.PARAMETERS), kind.COORDINATE, kind.NAME)
    homeless = put_back(sheet, loc, kind)
    scale = read_counts_and_range(sheet, loc, kind)
    given = sheet.read(loc, shape, scale)
    blocks = {
        parameter.key: BLOCK_READERS[parameter.dimension](
            sheet, (*loc, parameter.key), parameter, kind, scale
        )
        for parameter in kind.PARAMETERS
        if parameter.dimension in BLOCK_READERS and sheet.node((*loc, parameter.key)) is not None
    }
    stages = {
        parameter.key: _stages(sheet, (*loc, parameter.key))
        for parameter in kind.PARAMETERS
        if parameter.dimension == "stages" and sheet.node((*loc, parameter.key)) is not None
    }
    if given is None or homeless or None in blocks.values() or None in stages.values():
        return None
    values: dict[str, Any] = _filled(sheet, loc, kind.PARAMETERS, kind, given)
    values.update(blocks)
    values.update(stages)
    with_counts(values, scale.counts)
    check_travel(sheet, loc, values)
    if isinstance(values.get("motors"), tuple):
        values["motors"] = MotorUse(*values["motors"])
    check_kind(sheet, loc, kind, values)
    if "named" in values:
        values["named"] = Positions.read_named(sheet, loc, values, kind.COORDINATE)
    return values


def _filled(
    sheet: Sheet, loc: Loc, parameters: tuple[Parameter, ...], kind: Kind, given: Shape
) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for parameter in parameters:
        value = getattr(given, parameter.key)
        if value is None:
            value = default_of(parameter)
            if parameter.reason and parameter.dimension not in NOT_NUMBERS:
                sheet.desk.remarks.append(assumption(sheet, loc, parameter, kind))
        elif parameter.dimension == "torque" or parameter.dimension == "coordinate_friction":
            note_reading(sheet, (*loc, parameter.key), "torque" if kind.COORDINATE == "angle" else "force")
        values[parameter.key] = value
    return values


def _stages(sheet: Sheet, loc: Loc) -> tuple[GearStage, ...] | None:
    stages = []
    items = sheet.items(loc)
    for at in items:
        shape = sheet.read(at, StageShape)
        if shape is not None:
            stages.append(
                GearStage(shape.ratio, shape.efficiency, shape.back_efficiency, shape.inertia, sheet.line(at))
            )
    return tuple(stages) if len(stages) == len(items) else None


def _check_names(sheet: Sheet, loc: Loc, values: dict[str, Any], draft: RobotDraft, names: list[str]) -> None:
    motors = values.get("motors")
    if motors is not None and motors.motor not in draft.motors:
        sheet.unknown((*loc, "motors"), "motor", motors.motor, draft.motors)
    for servo, at in ((values, loc), (values.get("servo") or {}, (*loc, "servo"))):
        rail = servo.get("rail")
        if rail is not None and rail not in draft.rails:
            sheet.unknown((*at, "rail"), "rail", rail, draft.rails)
    carrier = values.get("on")
    if carrier is not None and (carrier not in names or carrier == loc[-1]):
        sheet.unknown((*loc, "on"), "mechanism", carrier, [name for name in names if name != loc[-1]])


BRAKES = "brake: its motors are shorted once it is inside its window"
MOST_UNDER_WAY = 63  # outputs of one control
WITHOUT_EFFECT = {
    "full_effort": ("p", "i", "d", "speed", "acceleration", "jerk"),
    "position": ("speed", "acceleration", "jerk", "after"),
}


def _complete_control(sheet: Sheet, loc: Loc, kind: Kind, values: dict[str, Any]) -> None:
    """Fill in what a control leaves open; every such value is listed as an assumption."""
    block = next((parameter for parameter in kind.PARAMETERS if parameter.key == "control"), None)
    if block is None or values.get("servo") is not None:
        return
    stated = values["control"] is not None
    control = values["control"] or {inner.key: block_value(inner, None) for inner in block.block}
    values["control"] = control
    at = (*loc, "control")
    brakes = sheet.node((*at, "after")) is None and role(kind) != "free"
    if not stated and role(kind) == "drive":
        for key, value in DRIVE_CONTROL.items():
            control[key] = Quantity(value, text="no control stated", assumed=True)
        control["loop"] = "position"
        sheet.remark(
            at,
            "assumed",
            "no control stated: a position loop with p 5 /m, d 0.5 s/m, window 25 mm, "
            "slower than 60 mm/s (common practice, no source)",
        )
    if control["loop"] is None:
        control["loop"] = "position" if control["p"] is not None else "full_effort"
        if role(kind) != "free":
            ends = f", then {BRAKES}" if brakes and control["loop"] != "position" else ""
            sheet.remark(at, "assumed", f"no loop stated: {control['loop']}{ends}")
    elif brakes and control["loop"] != "position":
        sheet.remark((*at, "after"), "assumed", BRAKES)
    if control["window"] is None and role(kind) != "free":
        control["window"] = _default_window(sheet, at, kind, values)
    for key in WITHOUT_EFFECT.get(control["loop"], ()):
        if sheet.node((*at, key)) is not None:
            loop = control["loop"].replace("_", " ")
            sheet.remark((*at, key), "doubt", f"`{key}` does nothing under a {loop} control")
    for key, loops in (("p", ("position",)), ("speed", ("profile",)), ("acceleration", ("profile",))):
        if control[key] is None and control["loop"] in loops:
            sheet.fail(
                at,
                Fault(
                    f"the key `{key}` is missing: a {control['loop']} control needs it",
                    wanted=next(inner.meaning for inner in block.block if inner.key == key),
                ),
            )


def _check_latencies(sheet: Sheet, loc: Loc, draft: RobotDraft, loop: float) -> None:
    """Outputs are under way for so long, one a loop tick: no more than a run keeps."""
    most = MOST_UNDER_WAY * loop
    for name, spec in draft.mechanisms.items():
        control = None if spec is None else spec.values.get("control")
        latency = control.get("latency") if control else None
        if latency is not None and float(latency) + 2.0 * latency.spread > most:
            text = f"more than {MOST_UNDER_WAY} outputs would be under way, one each {1e3 * loop:.4g} ms of the loop"
            wanted = f"at most {1e3 * most:.4g} ms with twice its spread, or a longer `loop`"
            sheet.fail((*loc, name, "control", "latency"), Fault(text, latency.text, wanted))


def _default_window(sheet: Sheet, loc: Loc, kind: Kind, values: dict[str, Any]) -> Quantity:
    dimension = "angle" if kind.COORDINATE == "angle" else "length"
    if values.get("travel"):
        low, high = values["travel"]
        window, reason = WINDOW_SHARE * (high - low), "2 % of the travel"
    else:
        window, reason = DRIVE_CONTROL["window"], "common practice, no source"
    sheet.remark(
        (*loc, "window"), "assumed", f"no window stated: {shown(Quantity(window), dimension)} ({reason})"
    )
    return Quantity(window, text=reason, assumed=True)


def _order(sheet: Sheet, loc: Loc, draft: RobotDraft) -> list[OrderRule]:
    """`{mechanism: arm, may_move_when: {lift: above 0.30 m}}`; of a measured mechanism `at` a word."""
    shape = sheet.read(loc, OrderShape)
    if shape is None:
        return []
    if shape.mechanism not in draft.mechanisms:
        sheet.unknown((*loc, "mechanism"), "mechanism", shape.mechanism, draft.mechanisms)
    conditions = []
    for name, text in shape.may_move_when.items():
        at = (*loc, "may_move_when", name)
        if name not in draft.mechanisms:
            sheet.unknown(at, "mechanism", name, draft.mechanisms, of_key=True)
            continue
        positions = draft.positions(sheet, name)
        if name == shape.mechanism or draft.roles.get(name) in ("drive", "free"):
            reason = (
                "its own travel limits it"
                if name == shape.mechanism
                else "it has no position to be held against"
            )
            sheet.fail(at, Fault(reason, name, "another mechanism, one with a travel"), of_key=True)
            continue
        if positions is None:
            continue
        sides, wanted = (("at",), "at open") if positions.is_word else (("above", "below"), "above 0.30 m")
        side, _, position = read_word(text).partition(" ")
        if side not in sides or not position:
            fault = Fault(f"a condition begins with {' or '.join(sides)}", text, wanted, nearest(side, sides))
            sheet.fail(at, fault)
            continue
        target = positions.read(at, position)
        if target is not None:
            conditions.append((name, side, target))
    return [OrderRule(shape.mechanism, tuple(conditions), sheet.line(loc))]
