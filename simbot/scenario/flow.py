"""Steps that hold other steps: side by side, again and again, tried, chosen, and routines that are run by name."""

from __future__ import annotations

import re
from dataclasses import replace

from simbot.scenario.commands import CommandReader
from simbot.scenario.conditions import ConditionReader
from simbot.scenario.errors import Fault, nearest
from simbot.scenario.game_file import GameDraft
from simbot.scenario.model import (
    FirstStep,
    LeaveStep,
    RepeatStep,
    RunStep,
    SequenceStep,
    Step,
    TogetherStep,
    TryStep,
    WhenStep,
)
from simbot.scenario.robot_file import RobotDraft
from simbot.scenario.schema import LeaveShape, OuterShape, RepeatShape, RunShape, TryShape, WhenShape
from simbot.scenario.sheet import Loc, Sheet, listed
from simbot.scenario.units import read_quantity
from simbot.scenario.yaml_reader import Node

MOST_FORMS = 200  # routines written out with what they are given
PARAMETER = re.compile(r"\$(\w+)")


class FlowReader(CommandReader):
    """Reads the steps that say in which order, how often and whether others are done."""

    def __init__(self, sheet: Sheet, robot: RobotDraft | None, game: GameDraft | None, end_us: int) -> None:
        super().__init__(sheet, robot, game)
        self.end_us = end_us
        self.routines = Routines(sheet)
        self.runs: list[tuple[Loc, str]] = []
        self.conditions = ConditionReader(sheet, robot, game, end_us)
        self.repeats = 0  # that the step under way stands in, within its branch
        self.aside = False  # the step under way stands in a branch of together or first
        self.leaves: set[str] = set()  # routines that leave a repeat around where they are run
        self.bare_runs: list[
            tuple[Loc, str, bool]
        ] = []  # runs with no repeat around them; whether in a branch

    def sequence(self, loc: Loc) -> SequenceStep:
        """The steps of a list, in order."""
        raise NotImplementedError

    def _one(self, loc: Loc) -> list[Step]:
        raise NotImplementedError

    def _branches(self, loc: Loc) -> tuple[SequenceStep, ...]:
        outside = self.repeats, self.aside
        self.repeats, self.aside = 0, True
        branches = []
        for at in self.sheet.items(loc):
            node = self.sheet.node(at)
            if node is not None and isinstance(node.value, list):
                branches.append(self.sequence(at))
            else:
                branches.append(SequenceStep(self.sheet.line(at), tuple(self._one(at))))
        self.repeats, self.aside = outside
        return tuple(branches)

    def _together(self, loc: Loc) -> list[Step]:
        if self.sheet.read(loc, OuterShape) is None:
            return []
        return [TogetherStep(self.sheet.line(loc), self._branches((*loc, "together")))]

    def _first(self, loc: Loc) -> list[Step]:
        if self.sheet.read(loc, OuterShape) is None:
            return []
        branches = self._branches((*loc, "first"))
        node = self.sheet.node((*loc, "first"))
        if node is not None and isinstance(node.value, list) and len(branches) < 2:
            self.sheet.fail(loc, Fault("at least two branches race", str(len(branches)), "a list of lists"))
        return [FirstStep(self.sheet.line(loc), branches)]

    def _repeat(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, RepeatShape)
        self.repeats += 1
        steps = self.sequence((*loc, "steps")) if self.sheet.node((*loc, "steps")) is not None else None
        self.repeats -= 1
        if shape is None or steps is None:
            return []
        times = None
        if shape.repeat != "until period_end":
            at = (*loc, "repeat")
            if shape.repeat[0].isalpha():
                wanted = "`until period_end` or a number such as 4"
                near = nearest(shape.repeat, ("until period_end",))
                self.sheet.fail(at, Fault("how often?", shape.repeat, wanted, near))
                return []
            value = self.sheet.attempt(at, read_quantity, shape.repeat, "count", low=1, high=10000)
            if value is None:
                return []
            times = int(value)
        return [RepeatStep(self.sheet.line(loc), times, steps)]

    def _try(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, TryShape)
        steps = self.sequence((*loc, "try"))
        otherwise = self._otherwise(loc)
        if shape is None:
            return []
        lasts = None if shape.at_most is None else self._lasts((*loc, "at_most"), shape.at_most)
        limit, source, stands = lasts or (None, None, None)
        return [TryStep(self.sheet.line(loc), steps, int(shape.tries), limit, otherwise, source, stands)]

    def _otherwise(self, loc: Loc) -> SequenceStep | None:
        at = (*loc, "otherwise")
        return None if self.sheet.node(at) is None else self.sequence(at)

    def _when(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, WhenShape)
        conditions = self.conditions.read((*loc, "when"))
        steps = self.sequence((*loc, "do")) if self.sheet.node((*loc, "do")) is not None else None
        otherwise = self._otherwise(loc)
        if shape is None or steps is None:
            return []
        return [WhenStep(self.sheet.line(loc), conditions, steps, otherwise)]

    def _leave(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, LeaveShape)
        if shape is None:
            return []
        if shape.leave == "repeat" and not self.repeats:
            if loc[1] == "routines" and not self.aside:
                self.leaves.add(str(loc[2]))
            else:
                text = "there is no repeat around it in its branch"
                self.sheet.fail((*loc, "leave"), Fault(text, shape.leave, "period, or a repeat around it"))
        return [LeaveStep(self.sheet.line(loc), shape.leave)]

    def _run(self, loc: Loc) -> list[Step]:
        shape = self.sheet.read(loc, RunShape)
        if shape is None:
            return []
        name = self.routines.named((*loc, "run"), shape.run, (*loc, "with"))
        if name is None:
            return []
        self.runs.append(((*loc, "run"), name))
        if not self.repeats:
            self.bare_runs.append(((*loc, "run"), name, self.aside))
        return [RunStep(self.sheet.line(loc), name)]

    def check_leaves(self) -> None:
        """A routine stands where it is run: what leaves a repeat in it needs one around it there."""
        inside = [
            (str(loc[2]), name) for loc, name, aside in self.bare_runs if loc[1] == "routines" and not aside
        ]
        leaves, before = set(self.leaves), -1
        while len(leaves) > before:
            before = len(leaves)
            leaves |= {routine for routine, name in inside if name in leaves}
        for loc, name, aside in self.bare_runs:
            if name in leaves and (aside or loc[1] != "routines"):
                text = f"{name} leaves a repeat, and there is none around it in its branch"
                self.sheet.fail(
                    loc, Fault(text, name, "a repeat around it, or `leave: period` in the routine")
                )


class Routines:
    """The routines of a plan; those that are given something are written out once for each thing they are given."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.base: Loc = ("plan", "routines")
        self.names = sheet.keys(self.base)
        self.waiting = [name for name in self.names if self._wants(name) is None]
        self.forms: dict[str, Loc] = {name: self._steps(name) for name in self.waiting}
        self.written: dict[str, str] = {}  # form -> the routine that it is of
        self.calls: dict[str, set[str]] = {}  # routine -> those that it runs

    def _wants(self, name: str) -> list[str] | None:
        """Words that a routine is to be given; None: it is a plain list of steps."""
        node = self.sheet.node((*self.base, name))
        if node is None or not isinstance(node.value, dict):
            return None
        words = self.sheet.node((*self.base, name, "with"))
        plain = words.plain() if words is not None else None
        return [str(word) for word in plain] if isinstance(plain, list) else []

    def _steps(self, name: str) -> Loc:
        node = self.sheet.node((*self.base, name))
        keyed = node is not None and isinstance(node.value, dict)
        return (*self.base, name, "steps") if keyed else (*self.base, name)

    def check(self) -> None:
        """Mistakes in the heads of routines that are given something."""
        for name in self.names:
            if self._wants(name) is None:
                continue
            at = (*self.base, name)
            for key in self.sheet.keys(at):
                if key not in ("with", "steps"):
                    self.sheet.fail((*at, key), Fault("unknown key", key, "with, steps"), of_key=True)
            for key, what in (("with", "words such as [post, height]"), ("steps", "a list of steps")):
                node = self.sheet.node((*at, key))
                if node is None or not isinstance(node.value, list):
                    self.sheet.fail(at, Fault(f"a list is wanted under `{key}`", wanted=what))

    def named(self, loc: Loc, name: str, given_at: Loc) -> str | None:
        """The name under which a run's steps are kept; None: a mistake."""
        if name not in self.names:
            self.sheet.unknown(loc, "routine", name, self.names)
            return None
        wants = self._wants(name)
        given = {key: self.sheet.text((*given_at, key)) for key in self.sheet.keys(given_at)}
        if wants is None:
            for key in given:
                self.sheet.fail((*given_at, key), Fault(f"{name} is given nothing", key), of_key=True)
            return None if given else name
        wrong = [key for key in given if key not in wants]
        for key in wrong:
            wanted, near = listed(wants), nearest(key, wants)
            self.sheet.fail((*given_at, key), Fault(f"{name} asks for no such word", key, wanted, near), True)
        missing = [key for key in wants if given.get(key) is None]
        if missing:
            self.sheet.fail(
                loc, Fault(f"{name} has to be given {listed(missing)}", wanted=f"with: {{{missing[0]}: …}}")
            )
        if wrong or missing:
            return None
        if self._comes_back(loc, name):
            return None
        form = f"{name} ({', '.join(f'{key}: {given[key]}' for key in wants)})" if wants else name
        self.written[form] = name
        if form not in self.forms:
            if len(self.forms) >= MOST_FORMS:
                self.sheet.fail(loc, Fault("routines are given too many different things", str(MOST_FORMS)))
                return None
            places = {key: self.sheet.node((*given_at, key)) for key in wants}
            self._write_out(form, name, {key: node for key, node in places.items() if node is not None})
        return form

    def _comes_back(self, loc: Loc, name: str) -> bool:
        """Whether a routine is run by itself, given whatever: that would never end."""
        if loc[1] != "routines":
            return False
        caller = self.written.get(str(loc[2]), str(loc[2]))
        self.calls.setdefault(caller, set()).add(name)
        reached, waiting = {name}, [name]
        while waiting:
            more = self.calls.get(waiting.pop(), set()) - reached
            reached |= more
            waiting += more
        if caller in reached:
            through = "" if name == caller else f", through {name}"
            self.sheet.fail(loc, Fault(f"the routine {caller} runs itself{through}", name))
        return caller in reached

    def _write_out(self, form: str, name: str, given: dict[str, Node]) -> None:
        source = self.sheet.node((*self.base, name, "steps"))
        everything = self.sheet.node(self.base)
        assert everything is not None and isinstance(everything.value, dict)
        if source is None:
            return
        everything.value[form] = _filled(source, given, self.sheet, (*self.base, name, "steps"))
        self.forms[form] = (*self.base, form)
        self.waiting.append(form)


def _filled(node: Node, given: dict[str, Node], sheet: Sheet, loc: Loc) -> Node:
    """A copy of a tree with `$word` replaced by what is given for it; a text that is one stands where that stands."""

    def fill(text: str) -> str:
        def one(match: re.Match[str]) -> str:
            word = match.group(1)
            if word not in given:
                text = "it is given no such word"
                sheet.fail(loc, Fault(text, f"${word}", listed(given), nearest(word, given)))
                return ""
            return str(given[word].value)

        return PARAMETER.sub(one, text)

    if isinstance(node.value, dict):
        inside = {fill(key): _filled(value, given, sheet, (*loc, key)) for key, value in node.value.items()}
        return replace(node, value=inside)
    if isinstance(node.value, list):
        return replace(
            node, value=[_filled(each, given, sheet, (*loc, i)) for i, each in enumerate(node.value)]
        )
    if not isinstance(node.value, str):
        return node
    whole = PARAMETER.fullmatch(node.value)
    place = given[whole.group(1)].place if whole and whole.group(1) in given else node.place
    return replace(node, value=fill(node.value), place=place)
