"""The game file: field, periods, elements, stations, places."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simbot.scenario.errors import Fault
from simbot.scenario.fields import microseconds, read_points
from simbot.scenario.model import (
    Bonus,
    Corners,
    Element,
    EndCondition,
    Game,
    Period,
    Place,
    Pose,
    Possession,
    Station,
)
from simbot.scenario.parameters import Quantity
from simbot.scenario.schema import (
    AtEndShape,
    BonusShape,
    ElementShape,
    FieldShape,
    GameShape,
    ObstacleShape,
    PlaceShape,
    PlanShape,
    PossessionShape,
    StationShape,
)
from simbot.scenario.sheet import Loc, Sheet, shape_keys
from simbot.scenario.units import read_quantity
from simbot.scenario.units_told import told

PLAN_KEYS = shape_keys(PlanShape)
OUTCOMES = ("dropped", "missed", "left", "stuck")


@dataclass
class GameDraft:
    """What is known of a game so far: names are there even where their values have mistakes."""

    game: Game | None
    size: tuple[float, float] | None
    periods: tuple[Period, ...]
    elements: dict[str, Element | None]
    stations: dict[str, Station | None]
    places: dict[str, Place | None]


def read_game(sheet: Sheet) -> GameDraft:
    """The game of a sheet; its mistakes are noted on the sheet's desk."""
    loc: Loc = ("game",)
    head = sheet.read(loc, GameShape)
    size = None
    if sheet.node((*loc, "field")) is not None:
        field = sheet.read((*loc, "field"), FieldShape)
        size = (float(field.length), float(field.width)) if field else None
    periods = _periods(sheet, (*loc, "periods"))
    elements: dict[str, Element | None] = {}
    for name, at in sheet.entries((*loc, "elements")):
        element = sheet.read(at, ElementShape)
        elements[name] = Element(name, element.mass, element.when_dropped) if element else None
    draft = GameDraft(None, size, periods, elements, {}, {})
    for name, at in sheet.entries((*loc, "stations")):
        draft.stations[name] = _station(sheet, name, at, draft)
    for name, at in sheet.entries((*loc, "places")):
        if name in draft.stations:
            sheet.fail(at, Fault("a station has this name already", name), of_key=True)
        draft.places[name] = _place(sheet, name, at, draft)
    obstacles = [shape for at in sheet.items((*loc, "obstacles")) if (shape := sheet.read(at, ObstacleShape))]
    endgame = _endgame(sheet, loc, head, periods)
    _dropped(sheet, loc, draft)
    rules = GameRules(sheet, draft)
    if head is not None and size is not None:
        draft.game = Game(
            path=Path(sheet.path),
            name=head.name,
            length=size[0],
            width=size[1],
            periods=periods,
            endgame_us=endgame,
            elements={name: element for name, element in elements.items() if element},
            stations={name: station for name, station in draft.stations.items() if station},
            places={name: place for name, place in draft.places.items() if place},
            obstacles=tuple(_corners(shape.polygon) for shape in obstacles),
            bonuses=rules.bonuses(),
            penalties=rules.penalties(),
            possession=rules.possession(),
            at_end=rules.at_end(),
        )
    return draft


def pose_of(sheet: Sheet, loc: Loc, shape: Iterable[Quantity], size: tuple[float, float] | None) -> Pose:
    """A pose; a centre outside the field is a mistake."""
    x, y, heading = shape
    for value, index, limit in ((x, 0, size and size[0]), (y, 1, size and size[1])):
        if limit is not None and not 0 <= value <= limit:
            axis = "length" if index == 0 else "width"
            sheet.fail(
                (*loc, index),
                Fault(
                    f"outside the field ({axis})", value.text, f"0 to {told(limit, 'length', value.text, -1)}"
                ),
            )
    return Pose(x, y, heading)


def _periods(sheet: Sheet, loc: Loc) -> tuple[Period, ...]:
    periods = []
    node = sheet.node(loc)
    if node is not None and node.value in ({}, None):
        sheet.fail(loc, Fault("at least one period is wanted", "nothing", "such as {autonomous: 20 s}"))
        return ()
    for name, at in sheet.entries(loc):
        if name in PLAN_KEYS:
            wanted = "another name"
            if name == "endgame":
                wanted = "`endgame: 25 s` beside `periods`, where it is the last part of the last one; or another name"
            sheet.fail(at, Fault("this word is a key of plans already", name, wanted), of_key=True)
        value = sheet.node(at)
        text: Any = value.value if value is not None else None
        duration = sheet.attempt(
            at, read_quantity, text if isinstance(text, str) else None, "time", low=1e-3, high=36000
        )
        periods.append(Period(name, microseconds(duration) if duration is not None else 1))
    return tuple(periods)


def _endgame(sheet: Sheet, loc: Loc, head: GameShape | None, periods: tuple[Period, ...]) -> int | None:
    if head is None or head.endgame is None:
        return None
    endgame = microseconds(head.endgame)
    if periods and endgame > periods[-1].duration_us:
        last = periods[-1]
        sheet.fail(
            (*loc, "endgame"),
            Fault(
                "longer than the last period",
                head.endgame.text,
                f"at most the {last.duration_us / 1e6:g} s of {last.name}",
            ),
        )
    return endgame


def _dropped(sheet: Sheet, loc: Loc, draft: GameDraft) -> None:
    for name, element in draft.elements.items():
        to = "lost" if element is None else element.when_dropped
        if to != "lost" and to not in draft.stations:
            sheet.unknown((*loc, "elements", name, "when_dropped"), "station", to, ("lost", *draft.stations))
        station = draft.stations.get(to)
        if station is not None and station.gives != name:
            fault = Fault(f"{to} gives something else", to, f"lost, or a station that gives {name}")
            sheet.fail((*loc, "elements", name, "when_dropped"), fault)


class GameRules:
    """Bonuses, penalties, the possession limit and what counts at the end."""

    def __init__(self, sheet: Sheet, draft: GameDraft) -> None:
        self.sheet = sheet
        self.draft = draft

    def bonuses(self) -> tuple[Bonus, ...]:
        found = []
        for name, at in self.sheet.entries(("game", "bonuses")):
            shape = self.sheet.read(at, BonusShape)
            each: dict[str, int] = {}
            for place, inner in self.sheet.entries((*at, "each")):
                if place not in self.draft.places:
                    self.sheet.unknown(inner, "place", place, self.draft.places, of_key=True)
                count = self.sheet.attempt(inner, read_quantity, self.sheet.text(inner), "count", low=1)
                if count is not None:
                    each[place] = int(count)
                there = self.draft.places.get(place)
                most = there.room if there is not None and there.clearing_us is None else None
                if count is not None and most is not None and count > most:
                    fault = Fault(f"more than {place} ever takes", count.text, f"at most {most}")
                    self.sheet.fail(inner, fault)
            if not each:
                self.sheet.fail(
                    at, Fault("a set needs at least one place", wanted="each: {low_row: 1}"), True
                )
            if shape is not None:
                most = None if shape.at_most is None else int(shape.at_most)
                found.append(Bonus(name, each, shape.points, most))
        return tuple(found)

    def penalties(self) -> dict[str, float]:
        found = {}
        for outcome, at in self.sheet.entries(("game", "penalties")):
            if outcome not in OUTCOMES:
                self.sheet.unknown(at, "outcome", outcome, OUTCOMES, of_key=True)
            points = self.sheet.attempt(at, read_quantity, self.sheet.text(at), "number", low=0.0)
            if points is not None:
                found[outcome] = float(points)
        return found

    def possession(self) -> Possession | None:
        loc = ("game", "possession")
        shape = self.sheet.read(loc, PossessionShape) if self.sheet.node(loc) is not None else None
        return None if shape is None else Possession(int(shape.limit), shape.penalty)

    def at_end(self) -> dict[str, EndCondition]:
        found = {}
        for name, at in self.sheet.entries(("game", "at_end")):
            shape = self.sheet.read(at, AtEndShape)
            if shape is None:
                continue
            if (shape.pose is None) != (shape.within is None):
                missing = "within" if shape.within is None else "pose"
                self.sheet.fail(at, Fault(f"`pose` and `within` go together: the key `{missing}` is missing"))
                continue
            pose = None
            if shape.pose is not None:
                pose = pose_of(self.sheet, (*at, "pose"), shape.pose, self.draft.size)
            within = 0.0 if shape.within is None else shape.within
            line = self.sheet.line(at)
            found[name] = EndCondition(name, shape.points, pose, within, shape.best_of, line)
        return found


def _element(sheet: Sheet, loc: Loc, name: str, draft: GameDraft) -> None:
    if name not in draft.elements:
        sheet.unknown(loc, "element", name, draft.elements)


def _station(sheet: Sheet, name: str, loc: Loc, draft: GameDraft) -> Station | None:
    shape = sheet.read(loc, StationShape)
    if shape is None:
        return None
    _element(sheet, (*loc, "gives"), shape.gives, draft)
    if shape.refill is not None and shape.stock is None:
        sheet.fail(
            (*loc, "refill"), Fault("a refill needs a `stock` to fill up to", sheet.text((*loc, "refill")))
        )
    count, every = shape.refill if shape.refill else (0, 0.0)
    return Station(
        name=name,
        pose=pose_of(sheet, (*loc, "pose"), shape.pose, draft.size),
        gives=shape.gives,
        stock=int(shape.stock) if shape.stock is not None else None,
        refill_count=count,
        refill_us=microseconds(every),
        line=sheet.line(loc),
        outline=_corners(shape.outline),
    )


def _place(sheet: Sheet, name: str, loc: Loc, draft: GameDraft) -> Place | None:
    shape = sheet.read(loc, PlaceShape)
    if shape is None:
        return None
    _element(sheet, (*loc, "takes"), shape.takes, draft)
    if shape.clearing is not None and shape.room is None:
        sheet.fail(
            (*loc, "clearing"), Fault("clearing needs a `room` that fills up", sheet.text((*loc, "clearing")))
        )
    return Place(
        name=name,
        pose=pose_of(sheet, (*loc, "pose"), shape.pose, draft.size),
        takes=shape.takes,
        room=int(shape.room) if shape.room is not None else None,
        points=_points(sheet, (*loc, "points"), draft.periods),
        points_when_full=shape.points_when_full,
        clearing_us=microseconds(shape.clearing) if shape.clearing is not None else None,
        orientation=shape.orientation,
        line=sheet.line(loc),
        outline=_corners(shape.outline),
    )


def _corners(points: Iterable[tuple[Quantity, Quantity]] | None) -> Corners:
    return tuple((float(x), float(y)) for x, y in points or ())


def _points(sheet: Sheet, loc: Loc, periods: tuple[Period, ...]) -> dict[str, float]:
    node = sheet.node(loc)
    points = sheet.attempt(loc, read_points, node.plain() if node else None)
    names = [period.name for period in periods]
    if not isinstance(points, dict):
        return dict.fromkeys(names, points if points is not None else 0.0)
    for period in points:
        if period not in names:
            sheet.unknown((*loc, period), "period", period, names, of_key=True)
    return {name: points.get(name, Quantity(0.0)) for name in names}
