"""What commands and needs name: mechanisms and their positions, stations, places and poses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from simbot.scenario.errors import Fault, ValueFault
from simbot.scenario.fields import Shape, microseconds
from simbot.scenario.game_file import GameDraft, pose_of
from simbot.scenario.model import (
    DriveForStep,
    DriveStep,
    EffortStep,
    Goal,
    MechanismSpec,
    MoveStep,
    Need,
    PawlStep,
    Pose,
    SourceNumber,
    SpinStep,
    StandsAt,
    Step,
    ZeroStep,
)
from simbot.scenario.parameters import Quantity
from simbot.scenario.positions import scale_of, split_need
from simbot.scenario.robot_file import RobotDraft
from simbot.scenario.schema import (
    DriveShape,
    EffortKeys,
    EffortShape,
    MoveShape,
    PawlShape,
    SpinShape,
    ZeroKeys,
    ZeroShape,
)
from simbot.scenario.sheet import Loc, Sheet, listed
from simbot.scenario.source_plan import Sources
from simbot.scenario.units import NO_SCALE, read_quantity

_ACTIONS = {
    "move": ("positioned", "measured"),
    "effort": ("positioned", "drive"),
    "zero": ("positioned",),
    "spin": ("free",),
}
_WHAT_ROLES_DO = {
    "drive": "a drive goes to places (`drive: rack`), or for a time (`effort`)",
    "free": "it has no travel; it turns: `spin: {intake: 80 %}` or `{shooter: 3000 rpm}`",
    "measured": "it has a stopwatch time only; it is moved by a word: `move: {flap: open}`",
    "positioned": "it has a travel; it is moved to a position: `move: {lift: 0.42 m}`",
}


class CommandReader:
    """Reads commands and needs against the robot and the game (None: that file could not be read at all)."""

    def __init__(self, sheet: Sheet, robot: RobotDraft | None, game: GameDraft | None) -> None:
        self.sheet = sheet
        self.robot = robot
        self.game = game
        self.sources = Sources()

    def _lasts(self, loc: Loc, given: Any) -> tuple[int, SourceNumber | None, StandsAt | None] | None:
        """A time [us], and where its number stands: in the robot's code, or in the plan. None: a mistake, noted."""
        if not isinstance(given, dict):
            return microseconds(given), None, self.sheet.stands_at(loc)
        found = self.sources.read(self.sheet, loc)
        if found is not None and found[0] <= 0:
            self.sheet.fail(loc, Fault("it has to last some time", f"{found[0] / 1e6:g} s", "more than 0 s"))
            return None
        return None if found is None else (*found, None)

    def _move(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, MoveShape)
        if shape is None:
            return []
        goals = [self._goal((*loc, "move", name), name, text) for name, text in shape.move.items()]
        self._measures_one(loc, list(shape.move), shape.measured)
        return [MoveStep(self.sheet.line(loc), tuple(goal for goal in goals if goal), shape.measured)]

    def _measures_one(self, loc: Loc, names: list[str], measured: tuple[float, ...]) -> None:
        """A stopwatch time is that of one move."""
        if measured and len(names) > 1:
            text = f"it does not say which of {listed(names)} was timed"
            wanted = "one mechanism in a step, or `measured` beside the wait for all of them"
            self.sheet.fail((*loc, "measured"), Fault(text, wanted=wanted), of_key=True)

    def _goal(self, loc: Loc, name: str, text: str, action: str = "move") -> Goal | None:
        if not self._can(loc, name, action):
            return None
        positions = self.robot.positions(self.sheet, name) if self.robot else None
        target = positions.read(loc, text) if positions else None
        return None if target is None else Goal(name, target, text, self.sheet.line(loc))

    def _can(self, loc: Loc, name: str, action: str) -> bool:
        """Whether there is such a mechanism and it can be commanded so; a mistake is noted."""
        if self.robot is None:
            return False
        if name not in self.robot.mechanisms:
            self.sheet.unknown(loc, "mechanism", name, self.robot.mechanisms, of_key=True)
            return False
        role = self.robot.roles.get(name)
        if role is not None and role not in _ACTIONS[action]:
            self.sheet.fail(
                loc, Fault(f"{name} cannot be given a {action}", name, _WHAT_ROLES_DO[role]), of_key=True
            )
            return False
        return role is not None

    def _drive(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, DriveShape)
        if shape is None:
            return []
        if self.robot is not None and self.robot.drive is None:
            self.sheet.fail(
                (*loc, "drive"),
                Fault(
                    "the robot has no drive",
                    listed(self.robot.roles.values()),
                    "a mechanism of kind mecanum, x_drive, swerve or tank",
                ),
                of_key=True,
            )
            return []
        at = (*loc, "drive")
        pose = self.pose(at)
        if pose is None or self.robot is None or self.robot.drive is None:
            return []
        name = self.sheet.text(at) or ", ".join(self.sheet.text((*at, index)) or "" for index in range(3))
        through = tuple(self._points((*loc, "through")))
        self._bends(loc, shape, bool(through), self.robot.mechanisms.get(self.robot.drive))
        corner = None if shape.corner is None else float(shape.corner)
        how = (through, corner, shape.curve is not None, shape.turn is not None, shape.measured)
        return [DriveStep(self.sheet.line(loc), self.robot.drive, name, pose, shape.allowance, *how)]

    def _bends(self, loc: Loc, shape: DriveShape, through: bool, spec: MechanismSpec | None) -> None:
        """Note keys of a curved way that say nothing here."""
        for key, given in (("corner", shape.corner), ("curve", shape.curve)):
            if given is not None and not through:
                text = self.sheet.text((*loc, key))
                fault = Fault("there is no point to go round", text, "`through: [[1 m, 2 m]]` beside it")
                self.sheet.fail((*loc, key), fault, of_key=True)
                return
        if shape.corner is not None and shape.curve is not None:
            fault = Fault(
                "points are rounded by `corner` or lie on a smooth `curve`", wanted="one of the two"
            )
            self.sheet.fail((*loc, "curve"), fault, of_key=True)
        if shape.turn is not None and spec is not None and spec.keeps_to_its_heading:
            fault = Fault(
                f"{spec.name} moves along its heading only: it cannot turn by itself on the way", "along"
            )
            self.sheet.fail((*loc, "turn"), fault)

    def _points(self, loc: Loc) -> Iterator[tuple[float, float]]:
        """`[[1 m, 2 m], [3 m, 2 m]]`: points of the field."""
        for at in self.sheet.items(loc):
            node = self.sheet.node(at)
            values = node.plain() if node is not None else None
            if not isinstance(values, list) or len(values) != 2:
                self.sheet.fail(at, Fault("a point has two values", wanted="x and y, as in [1 m, 2 m]"))
                continue
            x, y = (self._quantity((*at, index), value, "length") for index, value in enumerate(values))
            if x is not None and y is not None:
                pose_of(self.sheet, at, (x, y, Quantity(0.0)), self.game.size if self.game else None)
                yield float(x), float(y)

    def _quantity(self, loc: Loc, value: Any, dimension: str) -> Quantity | None:
        return self.sheet.attempt(loc, read_quantity, value if isinstance(value, str) else None, dimension)

    def pose(self, loc: Loc) -> Pose | None:
        """A station's or place's pose by its name, or the three values of a pose."""
        node = self.sheet.node(loc)
        if node is not None and isinstance(node.value, list):
            return self._written_pose(loc)
        name = self.sheet.text(loc)
        if name is None:
            self.sheet.fail(loc, self._no_pose(loc))
            return None
        return self._named_pose(loc, name)

    def _no_pose(self, loc: Loc) -> Fault:
        """Of a mapping or nothing in its place; a pose that stands under `to` is shown as it is written."""
        key, inner = loc[-1], self.sheet.node((*loc, "to"))
        value = inner.plain() if inner is not None else None
        written = (
            f"[{', '.join(map(str, value))}]" if isinstance(value, list) else value or "[3 m, 1 m, 0 deg]"
        )
        keys = self.sheet.keys(loc)
        given = f"a mapping with {listed(keys)}" if keys else "nothing"
        beside = [each for each in keys if each != "to"]
        more = f", and {listed(beside)} beside `{key}`" if beside else ""
        return Fault("a station, a place or a pose is wanted", given, f"{key}: {written}{more}")

    def _named_pose(self, loc: Loc, name: str) -> Pose | None:
        if self.game is None:
            return None
        everything: dict[str, Any] = {**self.game.stations, **self.game.places}
        if name not in everything:
            self.sheet.unknown(loc, "station or place", name, everything)
            return None
        found = everything[name]
        return found.pose if found is not None else None

    def _written_pose(self, loc: Loc) -> Pose | None:
        node = self.sheet.node(loc)
        values = node.plain() if node is not None else None
        if not isinstance(values, list) or len(values) != 3:
            self.sheet.fail(
                loc, Fault("a pose has three values", wanted="x, y and heading, as in [1 m, 1 m, 90 deg]")
            )
            return None
        read = [
            self._quantity((*loc, index), value, dimension)
            for index, (value, dimension) in enumerate(
                zip(values, ("length", "length", "angle"), strict=True)
            )
        ]
        known = [value for value in read if value is not None]
        return (
            pose_of(self.sheet, loc, known, self.game.size if self.game else None)
            if len(known) == 3
            else None
        )

    def _effort(self, loc: Loc) -> list[Step]:
        if self.sheet.read(loc, EffortShape) is None:
            return []
        at = (*loc, "effort")
        name = self._one_name(at, EffortKeys, "{lift: 80 %, toward: 0.6 m, for: 500 ms}")
        if name is None:
            return []
        keys = self.sheet.read(at, EffortKeys, own=(name,))
        share = self.sheet.attempt(
            (*at, name), read_quantity, self.sheet.text((*at, name)), "share", low=0.0, high=1.0
        )
        if keys is None or share is None or not self._can((*at, name), name, "effort"):
            return []
        positions = self.robot.positions(self.sheet, name) if self.robot else None
        if self.robot is not None and name == self.robot.drive:
            return self._drive_for(loc, name, keys, share, self.robot)
        if keys.direction is not None:
            self._no_direction(at, f"{name} is no drive")
        toward = positions.read((*at, "toward"), keys.toward) if positions else None
        lasts = self._lasts((*at, "for"), keys.duration)
        if not isinstance(toward, float) or lasts is None:
            return []
        duration, source, stands = lasts
        line = self.sheet.line(loc)
        return [EffortStep(line, name, share, toward, keys.toward, duration, keys.after, source, stands)]

    def _one_name(self, at: Loc, shape: type[Shape], example: str) -> str | None:
        """The one key that is no key of the step's own: a mechanism."""
        own = [field.alias or key for key, field in shape.model_fields.items()]
        names = [key for key in self.sheet.keys(at) if key not in own]
        if len(names) != 1:
            self.sheet.fail(at, Fault("one mechanism is wanted", listed(names) or "none", example))
            return None
        return names[0]

    def _zero(self, loc: Loc) -> list[Step]:
        """`zero: {lift: 0 m, effort: 30 %}`: an end of the travel is its stop, a place inside it a switch."""
        if self.sheet.read(loc, ZeroShape) is None:
            return []
        at = (*loc, "zero")
        name = self._one_name(at, ZeroKeys, "{lift: 0 m, effort: 30 %}")
        if name is None:
            return []
        keys, text = self.sheet.read(at, ZeroKeys, own=(name,)), self.sheet.text((*at, name))
        if keys is None or not self._can((*at, name), name, "zero"):
            return []
        spec = self.robot.mechanisms.get(name) if self.robot else None
        if spec is not None and (spec.servo is not None or "zero" not in spec.values):
            fault = Fault(
                f"{name} has no encoder to be zeroed", spec.kind, "a mechanism with motors and a travel"
            )
            self.sheet.fail((*at, name), fault, of_key=True)
            return []
        positions = self.robot.positions(self.sheet, name) if self.robot else None
        position = positions.read((*at, name), text) if positions else None
        if not isinstance(position, float):
            return []
        return [ZeroStep(self.sheet.line(loc), name, position, text or "", keys.effort)]

    def _pawl(self, loc: Loc) -> list[Step]:
        """`ratchet: {hook: released}`: its pawl is taken out of the teeth, or let in."""
        shape = self.sheet.read(loc, PawlShape)
        if shape is None or self.robot is None:
            return []
        steps: list[Step] = []
        for name, word in shape.ratchet.items():
            at = (*loc, "ratchet", name)
            if name not in self.robot.mechanisms:
                self.sheet.unknown(at, "mechanism", name, self.robot.mechanisms, of_key=True)
                continue
            spec = self.robot.mechanisms[name]
            teeth = None if spec is None else spec.values.get("ratchet")
            if spec is not None and teeth is None:
                fault = Fault(
                    f"{name} has no ratchet",
                    spec.kind,
                    "a mechanism with `ratchet: {pitch: …}`, or `{from: …}`",
                )
                self.sheet.fail(at, fault, of_key=True)
            elif teeth is not None:
                after = microseconds(teeth["release_time"])
                steps.append(PawlStep(self.sheet.line(loc), name, word == "engaged", after))
        return steps

    def _drive_for(
        self, loc: Loc, name: str, keys: EffortKeys, share: float, robot: RobotDraft
    ) -> list[Step]:
        """A drive's effort: `toward` is a distance ahead (or back), or an angle by which it turns in place."""
        at, spec = (*loc, "effort", "toward"), robot.mechanisms.get(name)
        direction: float | None = 0.0 if keys.direction is None else float(keys.direction)
        by: Quantity | None
        try:
            by = read_quantity(keys.toward, "angle")
            direction = None
        except ValueFault:
            scale = NO_SCALE if spec is None else scale_of(spec)
            by = self.sheet.attempt(at, read_quantity, keys.toward, "length", scale)
        if by == 0.0:
            wanted = (
                "a distance such as 0.8 m (ahead) or -0.8 m (back), or an angle to turn by such as 90 deg"
            )
            self.sheet.fail(at, Fault("nowhere to go", keys.toward, wanted))
        if keys.direction is not None and direction is None:
            self._no_direction((*loc, "effort"), "it turns in place")
        elif keys.direction is not None and spec is not None and spec.keeps_to_its_heading:
            self._no_direction((*loc, "effort"), f"{name} moves along its heading only")
        lasts = self._lasts((*loc, "effort", "for"), keys.duration)
        if by is None or lasts is None:
            return []
        duration, source, stands = lasts
        line, text = self.sheet.line(loc), keys.toward
        return [DriveForStep(line, name, share, by, direction, text, duration, keys.after, source, stands)]

    def _no_direction(self, loc: Loc, why: str) -> None:
        given = self.sheet.text((*loc, "direction"))
        self.sheet.fail((*loc, "direction"), Fault(f"no `direction` here: {why}", given), of_key=True)

    def _spin(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, SpinShape)
        if shape is None:
            return []
        self._measures_one(loc, list(shape.spin), shape.measured)
        found = (self._spins((*loc, "spin", name), name, text) for name, text in shape.spin.items())
        steps = [replace(step, measured=shape.measured) for step in found if step is not None]
        if shape.measured and any(step.speed is None for step in steps):
            text = "a roller that is only told to turn, or to stop, arrives nowhere that could be timed"
            self.sheet.fail((*loc, "measured"), Fault(text, wanted="a speed, such as 3000 rpm"), of_key=True)
        return [*steps]

    def _spins(self, loc: Loc, name: str, text: str) -> SpinStep | None:
        """An effort, or a speed that its speed loop holds."""
        if not self._can(loc, name, "spin"):
            return None
        line = self.sheet.line(loc)
        try:
            speed = read_quantity(text, "angular_speed", low=-1e5, high=1e5)
        except ValueFault:
            effort = self.sheet.attempt(loc, read_quantity, text, "share", low=-1.0, high=1.0)
            return None if effort is None else SpinStep(line, name, effort, None, text)
        return SpinStep(line, name, 0.0, float(speed) if speed != 0.0 else None, text)

    def _speed_need(self, loc: Loc, name: str, text: str) -> Need | None:
        """`3000 rpm within 100 rpm`; no `within`: the speed loop's own window, or 2 %."""
        main, within, moving = split_need(text)
        speed = self.sheet.attempt(loc, read_quantity, main, "angular_speed")
        if speed is None:
            return None
        spec = self.robot.mechanisms.get(name) if self.robot else None
        window = None if spec is None else (spec.values.get("speed_control") or {}).get("window")
        tolerance: float | None = 0.02 * abs(speed) if window is None else window
        if within:
            tolerance = self.sheet.attempt(
                loc, read_quantity, within, "angular_speed", low=0.0, open_low=True
            )
        if tolerance is None:
            return None
        return Need(name, float(speed), text, float(tolerance), None, moving, self.sheet.line(loc))

    def need(self, loc: Loc, name: str) -> Need | None:
        text = self.sheet.text(loc)
        if text is None or not text.strip():
            self.sheet.fail(loc, Fault("a position is wanted", "nothing", "such as 0.42 m within 15 mm"))
            return None
        if self.robot is None:
            return None
        if name not in self.robot.mechanisms:
            self.sheet.unknown(loc, "mechanism", name, self.robot.mechanisms, of_key=True)
            return None
        role = self.robot.roles.get(name)
        if role == "drive":
            return self._drive_need(loc, name, text)
        if role == "free":
            return self._speed_need(loc, name, text)
        positions = self.robot.positions(self.sheet, name)
        return positions.need(loc, text) if positions else None

    def _drive_need(self, loc: Loc, name: str, text: str) -> Need | None:
        """`board within 30 mm`, and a heading: `board within 30 mm and 3 deg`."""
        main, within, moving = split_need(text)
        pose = self._named_pose(loc, main)
        distance, _, heading = within.partition(" and ")
        spec = self.robot.mechanisms.get(name) if self.robot else None
        tolerance: float | None = spec.values["control"]["window"] if spec else None
        if distance:
            tolerance = self.sheet.attempt(loc, read_quantity, distance, "length", low=0.0, open_low=True)
        angle = (
            self.sheet.attempt(loc, read_quantity, heading, "angle", low=0.0, open_low=True)
            if heading
            else None
        )
        if pose is None or tolerance is None:
            return None
        return Need(name, pose, text, tolerance, angle, moving, self.sheet.line(loc))
