"""What a plan says of the match around its steps: the end, the driver, and who else is on the field."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from simbot.scenario.errors import Fault
from simbot.scenario.fields import Shape, microseconds
from simbot.scenario.model import Defender, Driver, EndCondition, Need, Pattern
from simbot.scenario.schema import DefenderShape, DriverShape, PartnerShape, PatternShape
from simbot.scenario.sheet import Loc, Sheet, listed
from simbot.scenario.steps import StepReader

FORMS: dict[str, type[Shape]] = {"uses": PatternShape, "plan": PartnerShape, "defends": DefenderShape}


class MatchReader:
    """Reads what a plan says around its steps; a partner's own plan file is read by the loader."""

    def __init__(self, sheet: Sheet, reader: StepReader, periods: Sequence[str]) -> None:
        self.sheet = sheet
        self.reader = reader
        self.periods = periods
        self.at_end: dict[str, tuple[Need, ...]] = {}
        self.orientations: dict[str, tuple[Need, ...]] = {}
        self.driver: Driver | None = None
        self.patterns: list[Pattern] = []
        self.defenders: list[Defender] = []

    def read(self) -> None:
        """Read all of it; mistakes are noted."""
        for name, at in self.sheet.entries(("plan", "at_end")):
            known = self._ends()
            self.at_end[name] = self._needs(name, at, "condition `at_end` of the game", known)
            if known is not None and name in known and known[name].pose is None:
                self._not_empty(at)
        for name, at in self.sheet.entries(("plan", "orientations")):
            self.orientations[name] = self._needs(name, at, "orientation of a place", self._orientations())
            self._not_empty(at)
        if self.sheet.node(("plan", "driver")) is not None:
            shape = self.sheet.read(("plan", "driver"), DriverShape)
            if shape is not None:
                periods = self._periods(("plan", "driver", "periods"), shape.periods)
                self.driver = Driver(microseconds(shape.reaction), periods)
        others = ("plan", "others")
        nameless = next((key for key in self.sheet.keys(others) if key in FORMS), None)
        if nameless and not self.sheet.keys((*others, nameless)):
            wanted = f"a name before it: others: {{mate: {{{nameless}: ...}}}}"
            self.sheet.fail(others, Fault("who does this is not named", nameless, wanted), of_key=True)
            return
        for name, at in self.sheet.entries(others):
            self._other(name, at)

    def _not_empty(self, loc: Loc) -> None:
        if (node := self.sheet.node(loc)) is not None and node.value == {}:
            self.sheet.fail(
                loc, Fault("nothing is stated that makes it so", "{}", "wrist: 90 deg within 5 deg")
            )

    def _ends(self) -> Mapping[str, EndCondition] | None:
        game = self.reader.game.game if self.reader.game else None
        return None if game is None else game.at_end

    def _orientations(self) -> Iterable[str] | None:
        game = self.reader.game.game if self.reader.game else None
        return None if game is None else {one.orientation for one in game.places.values() if one.orientation}

    def _needs(self, name: str, loc: Loc, what: str, known: Iterable[str] | None) -> tuple[Need, ...]:
        """What makes something of the game so."""
        if known is not None and name not in known:
            self.sheet.unknown(loc, what, name, known, of_key=True)
        needs = [self.reader.need((*loc, each), each) for each, _ in self.sheet.entries(loc)]
        return tuple(need for need in needs if need)

    def _periods(self, loc: Loc, given: Sequence[str]) -> tuple[str, ...]:
        for index, period in enumerate(given):
            if period not in self.periods:
                self.sheet.unknown((*loc, index), "period", period, self.periods)
        return tuple(given)

    def _other(self, name: str, loc: Loc) -> None:
        keys = self.sheet.keys(loc)
        form = next((FORMS[key] for key in keys if key in FORMS), None)
        if form is None:
            wanted = "uses: chute, plan: other.yaml, or defends: 20 %"
            self.sheet.fail(loc, Fault("what does it do?", listed(keys) or "nothing", wanted), of_key=True)
            return
        shape = self.sheet.read(loc, form)
        if isinstance(shape, PatternShape):
            self._known((*loc, "uses"), shape.uses)
            self.patterns.append(
                Pattern(
                    name,
                    shape.uses,
                    microseconds(shape.every),
                    microseconds(shape.stays),
                    int(shape.takes),
                    microseconds(shape.begins),
                    self.sheet.line(loc),
                )
            )
        elif isinstance(shape, DefenderShape):
            periods = self.periods
            if shape.periods is not None:
                periods = self._periods((*loc, "periods"), shape.periods)
            delay = microseconds(shape.delay)
            self.defenders.append(Defender(name, shape.defends, delay, tuple(periods), self.sheet.line(loc)))

    def _known(self, loc: Loc, name: str) -> None:
        game = self.reader.game
        if game is not None and name not in game.stations and name not in game.places:
            self.sheet.unknown(loc, "station or place", name, [*game.stations, *game.places])
