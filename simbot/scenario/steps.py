"""The steps of a plan: from mappings to the model, every name and position held against game and robot."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from simbot.scenario.conditions import instant_of
from simbot.scenario.errors import Fault, nearest
from simbot.scenario.fields import microseconds
from simbot.scenario.flow import FlowReader
from simbot.scenario.game_file import GameDraft
from simbot.scenario.model import (
    Goal,
    HandOverStep,
    LetGoStep,
    Past,
    PickStep,
    PlaceStep,
    SenseStep,
    SequenceStep,
    Step,
    WaitStep,
)
from simbot.scenario.parameters import Span
from simbot.scenario.robot_file import RobotDraft
from simbot.scenario.schema import (
    ActShape,
    HandOverShape,
    LetGoShape,
    OuterShape,
    PickShape,
    PlaceStepShape,
    SenseShape,
    WaitShape,
)
from simbot.scenario.sheet import Loc, Sheet, listed
from simbot.scenario.units import read_quantity


class StepReader(FlowReader):
    """Reads whole lists of steps."""

    def __init__(self, sheet: Sheet, robot: RobotDraft | None, game: GameDraft | None, end_us: int) -> None:
        super().__init__(sheet, robot, game, end_us)
        self.senses: set[str] = set()
        self.forms: dict[str, Callable[[Loc], list[Step]]] = {
            "move": self._move,
            "drive": self._drive,
            "effort": self._effort,
            "zero": self._zero,
            "ratchet": self._pawl,
            "spin": self._spin,
            "wait": self._wait,
            "pick": self._pick,
            "place": self._place,
            "hand_over": self._hand_over,
            "sense": self._sense,
            "let_go": self._let_go,
            "together": self._together,
            "first": self._first,
            "repeat": self._repeat,
            "try": self._try,
            "when": self._when,
            "leave": self._leave,
            "run": self._run,
        }

    def sequence(self, loc: Loc) -> SequenceStep:
        """The steps of a list, in order; a list inside it is a sequence of its own."""
        steps: list[Step] = []
        node = self.sheet.node(loc)
        if node is not None and node.value is None:
            return SequenceStep(self.sheet.line(loc), ())
        for at in self.sheet.items(loc):
            steps.extend(self._one(at))
        return SequenceStep(self.sheet.line(loc), tuple(steps))

    def _one(self, loc: Loc) -> list[Step]:
        node = self.sheet.node(loc)
        if node is not None and isinstance(node.value, list):
            return [self.sequence(loc)]
        keys = self.sheet.keys(loc)
        forms = [key for key in keys if key in self.forms]
        if len(forms) == 1:
            return self.forms[forms[0]](loc)
        wanted = listed(self.forms)
        if forms:
            text = "two steps in one: each is an item of its own"
            self.sheet.fail((*loc, forms[1]), Fault(text, ", ".join(forms), "one of them"), of_key=True)
        elif keys:
            self.sheet.fail(
                (*loc, keys[0]),
                Fault("there is no such step", keys[0], wanted, nearest(keys[0], self.forms)),
                of_key=True,
            )
        else:
            given = node.value if node is not None and isinstance(node.value, str) else "nothing"
            self.sheet.fail(loc, Fault("a step is wanted", given, wanted, nearest(given, self.forms)))
        return []

    # --- waits -----------------------------------------------------------------------------------------

    def _wait(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, WaitShape)
        if shape is None:
            return []
        if isinstance(shape.wait, dict):
            return self._wait_in_source(loc, shape)
        text = shape.wait
        arrival = text == "arrival"
        duration: int | None = None
        until = past = None
        if isinstance(text, tuple):
            whole = tuple(microseconds(time) for time in text)
            duration = Span(round(sum(whole) / len(whole)), 0, whole)
        elif text.startswith("until ") and " past " in text:
            past = self._past((*loc, "wait"), text.removeprefix("until "))
        elif text.startswith("until "):
            until = self.instant((*loc, "wait"), text.removeprefix("until "))
        elif not arrival:
            duration = self._duration((*loc, "wait"), text)
        if shape.at_most is not None and not arrival and past is None:
            self.sheet.fail(
                (*loc, "at_most"),
                Fault(
                    "a limit stands with `wait: arrival` or `wait: until … past …` alone",
                    self.sheet.text((*loc, "at_most")),
                ),
                of_key=True,
            )
        limit = None if shape.at_most is None else self._lasts((*loc, "at_most"), shape.at_most)
        return [
            WaitStep(
                line=self.sheet.line(loc),
                duration_us=duration,
                arrival=arrival,
                until_us=until,
                past=past,
                at_most_us=None if limit is None else limit[0],
                limit_source=None if limit is None else limit[1],
                limit_at=None if limit is None else limit[2],
                purpose=shape.purpose,
                allowance=shape.allowance,
                measured=shape.measured,
                written_at=None if duration is None else self.sheet.stands_at((*loc, "wait")),
            )
        ]

    def _past(self, loc: Loc, text: str) -> Past | None:
        """`lift past 60 %` of the move under way, `lift past 0.40 m`."""
        name, _, where = (part.strip() for part in text.partition(" past "))
        if not self._can(loc, name, "move"):
            return None
        if where.endswith("%"):
            share = self.sheet.attempt(loc, read_quantity, where, "share", low=0.0, high=1.0)
            return None if share is None else Past(name, float(share), None)
        positions = self.robot.positions(self.sheet, name) if self.robot else None
        place = positions.read(loc, where) if positions else None
        if isinstance(place, str):
            self.sheet.fail(loc, Fault(f"{name} has only a stopwatch time, no way to pass a point of", text))
            return None
        return None if place is None else Past(name, None, place)

    def _wait_in_source(self, loc: Loc, shape: WaitShape) -> list[Step]:
        """A duration that stands in the robot's code."""
        at = (*loc, "wait")
        if shape.at_most is not None:
            fault = Fault("a limit stands with `wait: arrival` alone", self.sheet.text((*loc, "at_most")))
            self.sheet.fail((*loc, "at_most"), fault, of_key=True)
        found = self.sources.read(self.sheet, at)
        if found is None:
            return []
        return [
            WaitStep(
                line=self.sheet.line(loc),
                duration_us=found[0],
                purpose=shape.purpose,
                allowance=shape.allowance,
                measured=shape.measured,
                source=found[1],
            )
        ]

    def _duration(self, loc: Loc, text: str) -> int | None:
        if text[0].isalpha():
            wanted = "a time such as 600 ms, `arrival`, `until 12 s` or `until lift past 60 %`"
            self.sheet.fail(loc, Fault("not a wait", text, wanted, nearest(text, ("arrival", "until 12 s"))))
            return None
        value = self.sheet.attempt(loc, read_quantity, text, "time", low=0.0, high=36000)
        return None if value is None else microseconds(value)

    def _sense(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, SenseShape)
        if shape is None:
            return []
        if shape.station is not None and self.game is not None and shape.station not in self.game.stations:
            self.sheet.unknown((*loc, "of"), "station", shape.station, self.game.stations)
        if shape.at_most < shape.every:
            fault = Fault(
                "it is over before its first look", shape.at_most.text, f"{shape.every.text} or more"
            )
            self.sheet.fail((*loc, "at_most"), fault)
        self.senses.add(shape.sense)
        return [
            SenseStep(
                self.sheet.line(loc),
                shape.sense,
                shape.station,
                microseconds(shape.every),
                microseconds(shape.latency),
                shape.sees,
                shape.false_alarm,
                microseconds(shape.at_most),
            )
        ]

    def _let_go(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, LetGoShape)
        if shape is None:
            return []
        if self.robot is not None and shape.let_go not in self.robot.mechanisms:
            self.sheet.unknown((*loc, "let_go"), "mechanism", shape.let_go, self.robot.mechanisms)
        return [LetGoStep(self.sheet.line(loc), shape.let_go)]

    def instant(self, loc: Loc, text: str) -> int | None:
        """Microseconds of the match clock."""
        return instant_of(self.sheet, loc, text, self.end_us)

    # --- acting ----------------------------------------------------------------------------------------

    def _act(
        self, loc: Loc, form: str, shape: type[ActShape], outcome: str
    ) -> tuple[Any, dict[str, Any]] | None:
        """The shape of an acting step and what all acting steps share; None where it has mistakes."""
        if self.sheet.read(loc, OuterShape) is None:
            return None
        at = (*loc, form)
        problems = len(self.sheet.desk.problems)
        given = self.sheet.read(at, shape)
        by = self._by((*at, "by")) if self.sheet.node((*at, "by")) is not None else None
        needs = [self.need((*at, "needs", name), name) for name, _ in self.sheet.entries((*at, "needs"))]
        if given is not None and given.tries > 1 and given.each is None:
            self.sheet.fail(
                (*at, "tries"),
                Fault(
                    "more than one try needs `each`, the time of one more", given.tries.text, "each: 0.8 s"
                ),
                of_key=True,
            )
        if given is None or by is None or len(self.sheet.desk.problems) > problems:
            return (given, {}) if given is not None else None
        return given, {
            "line": self.sheet.line(loc),
            "by": by,
            "needs": tuple(need for need in needs if need),
            "otherwise": given.otherwise or outcome,
            "succeeds": given.succeeds,
            "tries": int(given.tries),
            "each_us": microseconds(given.each) if given.each is not None else None,
            "measured": given.measured,
        }

    def _by(self, loc: Loc) -> Goal | None:
        names = self.sheet.keys(loc)
        if len(names) != 1:
            self.sheet.fail(
                loc,
                Fault(
                    "one mechanism and where it goes is wanted",
                    listed(names) or self.sheet.text(loc) or "nothing",
                    "{gripper: open}",
                ),
            )
            return None
        text = self.sheet.text((*loc, names[0]))
        if text is None:
            self.sheet.fail((*loc, names[0]), Fault("a position is wanted", "nothing", "{gripper: open}"))
            return None
        return self._goal((*loc, names[0]), names[0], text)

    def _pick(self, loc: Loc) -> list[Step]:
        found = self._act(loc, "pick", PickShape, "missed")
        if found is None:
            return []
        shape, common = found
        at = (*loc, "pick")
        if self.game is not None:
            station = self.game.stations.get(shape.station)
            if shape.station not in self.game.stations:
                self.sheet.unknown((*at, "from"), "station", shape.station, self.game.stations)
            if shape.element not in self.game.elements:
                self.sheet.unknown((*at, "element"), "element", shape.element, self.game.elements)
            elif station is not None and shape.element != station.gives in self.game.elements:
                self.sheet.fail(
                    (*at, "element"),
                    Fault(f"{shape.station} gives something else", shape.element, station.gives),
                )
        return [PickStep(**common, element=shape.element, station=shape.station)] if common else []

    def _place(self, loc: Loc) -> list[Step]:
        found = self._act(loc, "place", PlaceStepShape, "dropped")
        if found is None:
            return []
        shape, common = found
        if self.game is not None and shape.into not in self.game.places:
            self.sheet.unknown((*loc, "place", "into"), "place", shape.into, self.game.places)
        self._check_thrower((*loc, "place", "thrown_by"), shape.thrown_by)
        count = int(shape.count) if shape.count is not None else None
        return (
            [PlaceStep(**common, place=shape.into, count=count, thrown_by=shape.thrown_by)] if common else []
        )

    def _check_thrower(self, loc: Loc, name: str | None) -> None:
        """What throws is a flywheel: others state nothing of what an element takes from them."""
        if name is None or self.robot is None:
            return
        if name not in self.robot.mechanisms:
            self.sheet.unknown(loc, "mechanism", name, self.robot.mechanisms)
        elif (spec := self.robot.mechanisms[name]) is not None and spec.kind != "flywheel":
            self.sheet.fail(loc, Fault(f"{name} is no flywheel", spec.kind, "a mechanism of kind flywheel"))

    def _hand_over(self, loc: Loc) -> list[Step]:
        found = self._act(loc, "hand_over", HandOverShape, "dropped")
        if found is None:
            return []
        shape, common = found
        at = (*loc, "hand_over", "from")
        if self.robot is not None and shape.giver not in self.robot.mechanisms:
            self.sheet.unknown(at, "mechanism", shape.giver, self.robot.mechanisms)
        elif common and common["by"].mechanism == shape.giver:
            self.sheet.fail(at, Fault("it cannot hand over to itself", shape.giver, "another mechanism"))
        release = None
        if shape.release is not None:
            release = self._by((*loc, "hand_over", "release"))
            if release is not None and release.mechanism != shape.giver:
                text = f"the giver is {shape.giver}: it is the one to let go"
                self.sheet.fail((*loc, "hand_over", "release"), Fault(text, release.mechanism, shape.giver))
        elif shape.both_hold:
            text = "how long both hold it needs the giver's letting go"
            wanted = f"release: {{{shape.giver}: open}}"
            self.sheet.fail((*loc, "hand_over", "both_hold"), Fault(text, shape.both_hold.text, wanted), True)
        if not common:
            return []
        return [
            HandOverStep(
                **common, giver=shape.giver, release=release, both_hold_us=microseconds(shape.both_hold)
            )
        ]
