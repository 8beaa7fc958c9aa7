"""What a `when` asks: what is in hand, the clock, the points, a place, a station, what a sensor has seen."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from simbot.scenario.errors import Fault, nearest
from simbot.scenario.fields import microseconds, read_instant
from simbot.scenario.game_file import GameDraft
from simbot.scenario.model import Condition
from simbot.scenario.robot_file import RobotDraft
from simbot.scenario.sheet import Loc, Sheet, listed
from simbot.scenario.units import read_quantity


def instant_of(sheet: Sheet, loc: Loc, text: str, end_us: int) -> int | None:
    """Microseconds of the match clock; an instant outside the match is a mistake. `end_us`: 0 where it is not known."""
    instant = sheet.attempt(loc, read_instant, text)
    if instant is None or end_us == 0:
        return None
    at_us = microseconds(instant.seconds)
    at_us = end_us - at_us if instant.before_end else at_us
    if not 0 <= at_us <= end_us:
        sheet.fail(loc, Fault("outside the match", text, f"0 s to {end_us / 1e6:g} s"))
        return None
    return at_us


class ConditionReader:
    """Reads the mapping after `when`; every entry has to be so, those under `not` have not to be."""

    def __init__(self, sheet: Sheet, robot: RobotDraft | None, game: GameDraft | None, end_us: int) -> None:
        self.sheet = sheet
        self.robot = robot
        self.game = game
        self.end_us = end_us
        self.senses: list[tuple[Loc, str]] = []  # asked for by `seen`
        self.forms: dict[str, Callable[[Loc], Iterator[Condition]]] = {
            "holds": self._holds,
            "clock": self._clock,
            "points": self._points,
            "room": self._room,
            "stock": self._stock,
            "seen": self._seen,
        }

    def read(self, loc: Loc, negated: bool = False) -> tuple[Condition, ...]:
        node = self.sheet.node(loc)
        if node is None or not isinstance(node.value, dict) or not node.value:
            self.sheet.not_a_mapping(loc, f"{listed(self.forms)}, not")
            return ()
        found: list[Condition] = []
        for key in node.value:
            at = (*loc, key)
            if key == "not" and not negated:
                found += self.read(at, negated=True)
            elif key in self.forms:
                found += self.forms[key](at)
            elif key == "not":
                fault = Fault(
                    "a second `not` takes back the first", key, f"{listed(self.forms)} without either"
                )
                self.sheet.fail(at, fault, of_key=True)
            else:
                known = [*self.forms, "not"]
                fault = Fault("there is no such condition", key, listed(known), nearest(key, known))
                self.sheet.fail(at, fault, of_key=True)
        if not negated:
            return tuple(found)
        return tuple(replace(each, negated=True) for each in found)

    def _holds(self, loc: Loc) -> Iterator[Condition]:
        """`{gripper: lantern}`, `{hopper: 2 tin}`, `{gripper: nothing}`, `{gripper: anything}`."""
        for name, at in self.sheet.entries(loc):
            text = (self.sheet.text(at) or "").strip()
            if self.robot is not None and name not in self.robot.mechanisms:
                self.sheet.unknown(at, "mechanism", name, self.robot.mechanisms, of_key=True)
            words = text.split()
            count = 1.0
            if len(words) == 2:
                given = self.sheet.attempt(at, read_quantity, words[0], "count", low=1)
                count = 1.0 if given is None else float(given)
            element = words[-1] if words else ""
            if element == "nothing":
                yield Condition("holds", name, None, None, 1.0)
                continue
            known = [*(self.game.elements if self.game else ()), "nothing", "anything"]
            if self.game is not None and element not in known:
                self.sheet.unknown(at, "element", element or "nothing", known)
            yield Condition("holds", name, None if element == "anything" else element, count)

    def _clock(self, loc: Loc) -> Iterator[Condition]:
        """`before 90 s`, `after 12 s before_end`."""
        text = (self.sheet.text(loc) or "").strip()
        side, _, rest = text.partition(" ")
        if side not in ("before", "after"):
            near = nearest(side, ("before", "after"))
            self.sheet.fail(
                loc, Fault("before or after which instant?", text or "nothing", "before 90 s", near)
            )
            return
        at_us = instant_of(self.sheet, loc, rest, self.end_us)
        if at_us is None:
            return
        if side == "before":
            yield Condition("clock", least=None, below=at_us)
        else:
            yield Condition("clock", least=at_us)

    def _points(self, loc: Loc) -> Iterator[Condition]:
        """`at_least 30`, `below 30`."""
        text = (self.sheet.text(loc) or "").strip()
        side, _, rest = text.partition(" ")
        if side not in ("at_least", "below"):
            near = nearest(side, ("at_least", "below"))
            self.sheet.fail(loc, Fault("how many points?", text or "nothing", "at_least 30", near))
            return
        value = self.sheet.attempt(loc, read_quantity, rest, "number")
        if value is not None:
            bound = float(value)
            least, below = (bound, None) if side == "at_least" else (None, bound)
            yield Condition("points", least=least, below=below)

    def _room(self, loc: Loc) -> Iterator[Condition]:
        """`{pan: 3}`: room for so many at least."""
        yield from self._counts(loc, "room", "place", self.game.places if self.game else None)

    def _stock(self, loc: Loc) -> Iterator[Condition]:
        """`{rack: 1}`: so many at least."""
        yield from self._counts(loc, "stock", "station", self.game.stations if self.game else None)

    def _counts(self, loc: Loc, kind: str, what: str, known: Iterable[str] | None) -> Iterator[Condition]:
        for name, at in self.sheet.entries(loc):
            if known is not None and name not in known:
                self.sheet.unknown(at, what, name, known, of_key=True)
            value = self.sheet.attempt(at, read_quantity, self.sheet.text(at), "count", low=1)
            if value is not None:
                yield Condition(kind, name, least=float(value))

    def _seen(self, loc: Loc) -> Iterator[Condition]:
        name = (self.sheet.text(loc) or "").strip()
        self.senses.append((loc, name))
        yield Condition("seen", name, least=1.0)
