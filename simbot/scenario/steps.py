"""The steps of a plan: from mappings to the model, every name and position held against game and robot."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from simbot.scenario.commands import CommandReader
from simbot.scenario.errors import Fault, nearest
from simbot.scenario.fields import microseconds, read_instant
from simbot.scenario.game_file import GameDraft
from simbot.scenario.model import (
    Goal,
    HandOverStep,
    PickStep,
    PlaceStep,
    RepeatStep,
    RunStep,
    SequenceStep,
    Step,
    TogetherStep,
    WaitStep,
)
from simbot.scenario.robot_file import RobotDraft
from simbot.scenario.schema import (
    ActShape,
    HandOverShape,
    OuterShape,
    PickShape,
    PlaceStepShape,
    RepeatShape,
    WaitShape,
)
from simbot.scenario.sheet import Loc, Sheet, listed
from simbot.scenario.source_plan import Sources
from simbot.scenario.units import read_quantity


class StepReader(CommandReader):
    """Reads whole lists of steps."""

    def __init__(self, sheet: Sheet, robot: RobotDraft | None, game: GameDraft | None, end_us: int) -> None:
        super().__init__(sheet, robot, game)
        self.end_us = end_us
        self.routines = sheet.keys(("plan", "routines"))
        self.runs: list[tuple[Loc, str]] = []
        self.sources = Sources()
        self.forms: dict[str, Callable[[Loc], list[Step]]] = {
            "move": self._move,
            "drive": self._drive,
            "effort": self._effort,
            "spin": self._spin,
            "wait": self._wait,
            "pick": self._pick,
            "place": self._place,
            "hand_over": self._hand_over,
            "together": self._together,
            "repeat": self._repeat,
            "run": self._run,
        }

    def sequence(self, loc: Loc) -> SequenceStep:
        """The steps of a list, in order; a list inside it is a sequence of its own."""
        steps: list[Step] = []
        node = self.sheet.node(loc)
        if node is not None and node.value is None:
            return SequenceStep(self.sheet.line(loc), ())
        for at in self.sheet.items(loc):
            steps.extend(self._step(at))
        return SequenceStep(self.sheet.line(loc), tuple(steps))

    def _step(self, loc: Loc) -> list[Step]:
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
        arrival = shape.wait == "arrival"
        if shape.at_most is not None and not arrival:
            self.sheet.fail(
                (*loc, "at_most"),
                Fault("a limit stands with `wait: arrival` alone", shape.at_most.text),
                of_key=True,
            )
        duration = until = None
        if shape.wait.startswith("until "):
            until = self.instant((*loc, "wait"), shape.wait.removeprefix("until "))
        elif not arrival:
            duration = self._duration((*loc, "wait"), shape.wait)
        return [
            WaitStep(
                line=self.sheet.line(loc),
                duration_us=duration,
                arrival=arrival,
                until_us=until,
                at_most_us=microseconds(shape.at_most) if shape.at_most is not None else None,
                purpose=shape.purpose,
                allowance=shape.allowance,
                measured=shape.measured,
            )
        ]

    def _wait_in_source(self, loc: Loc, shape: WaitShape) -> list[Step]:
        """A duration that stands in the robot's code."""
        at = (*loc, "wait")
        if shape.at_most is not None:
            fault = Fault("a limit stands with `wait: arrival` alone", shape.at_most.text)
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
            wanted = "a time such as 600 ms, `arrival`, or `until 12 s`"
            self.sheet.fail(loc, Fault("not a wait", text, wanted, nearest(text, ("arrival", "until 12 s"))))
            return None
        value = self.sheet.attempt(loc, read_quantity, text, "time", low=0.0, high=36000)
        return None if value is None else microseconds(value)

    def instant(self, loc: Loc, text: str) -> int | None:
        """Microseconds of the match clock; an instant outside the match is a mistake."""
        instant = self.sheet.attempt(loc, read_instant, text)
        if instant is None or self.end_us == 0:
            return None
        at_us = microseconds(instant.seconds)
        at_us = self.end_us - at_us if instant.before_end else at_us
        if not 0 <= at_us <= self.end_us:
            self.sheet.fail(loc, Fault("outside the match", text, f"0 s to {self.end_us / 1e6:g} s"))
            return None
        return at_us

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
        needs = [self._need((*at, "needs", name), name) for name, _ in self.sheet.entries((*at, "needs"))]
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
        count = int(shape.count) if shape.count is not None else None
        return [PlaceStep(**common, place=shape.into, count=count)] if common else []

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
        return [HandOverStep(**common, giver=shape.giver)] if common else []

    # --- order of steps --------------------------------------------------------------------------------

    def _together(self, loc: Loc) -> list[Step]:
        if self.sheet.read(loc, OuterShape) is None:
            return []
        branches = []
        for at in self.sheet.items((*loc, "together")):
            node = self.sheet.node(at)
            if node is not None and isinstance(node.value, list):
                branches.append(self.sequence(at))
            else:
                branches.append(SequenceStep(self.sheet.line(at), tuple(self._step(at))))
        return [TogetherStep(self.sheet.line(loc), tuple(branches))]

    def _repeat(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, RepeatShape)
        steps = self.sequence((*loc, "steps")) if self.sheet.node((*loc, "steps")) is not None else None
        if shape is None or steps is None:
            return []
        times = None
        if shape.repeat != "until period_end":
            at = (*loc, "repeat")
            if shape.repeat[0].isalpha():
                self.sheet.fail(
                    at,
                    Fault(
                        "how often?",
                        shape.repeat,
                        "`until period_end` or a number such as 4",
                        nearest(shape.repeat, ("until period_end",)),
                    ),
                )
                return []
            value = self.sheet.attempt(at, read_quantity, shape.repeat, "count", low=1, high=10000)
            if value is None:
                return []
            times = int(value)
        return [RepeatStep(self.sheet.line(loc), times, steps)]

    def _run(self, loc: Loc) -> list[Step]:
        if self.sheet.read(loc, OuterShape) is None:
            return []
        at = (*loc, "run")
        name = self.sheet.text(at)
        if name is None or name not in self.routines:
            self.sheet.unknown(at, "routine", name or "nothing", self.routines)
            return []
        self.runs.append((at, name))
        return [RunStep(self.sheet.line(loc), name)]
