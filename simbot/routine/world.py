"""Elements, stations, places and points: the game as the robots on the field meet it. Knows nothing of volts."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from simbot.physics.luck import NOMINAL, Luck
from simbot.scenario.model import Game, Place, Station

NO_LIMITS: Mapping[str, float | None] = {}


class Supply:
    """What lies at a station: full at the start, refilled from time to time up to its stock."""

    def __init__(self, station: Station, luck: Luck = NOMINAL) -> None:
        self.station = station
        self.luck = luck
        self.brought = 0  # refilled so far
        self._left = station.stock
        self._next_us = self._after(0)
        self.waiting: list[Callable[[], None]] = []  # called once when something comes back

    def _after(self, at_us: int) -> int:
        return at_us + self.luck.span_us(self.station.refill_us, "refill", self.station.name)

    def left(self, now_us: int) -> int | None:
        """How many there are; None: no end of them."""
        station = self.station
        if self._left is not None and station.refill_count:
            while self._next_us <= now_us:
                more = min(station.refill_count, max(0, (station.stock or 0) - self._left))
                self._left += more
                self.brought += more
                self._next_us = self._after(self._next_us)
        return self._left

    def take(self, now_us: int) -> bool:
        """Take one away, if there is one."""
        left = self.left(now_us)
        if left is None:
            return True
        if left == 0:
            return False
        self._left = left - 1
        return True

    def put_back(self, now_us: int, count: int) -> None:
        """What was dropped comes back."""
        left = self.left(now_us)
        if left is not None:
            self._left = left + count
        waiting, self.waiting = self.waiting, []
        for call in waiting:
            call()

    def free_from(self, now_us: int) -> int | None:
        """Earliest instant at which there is one to take; None: never again."""
        if self.left(now_us) != 0:
            return now_us
        return self._next_us if self.station.refill_count else None


class Site:
    """What stands in a place, and since when it is being cleared."""

    def __init__(self, place: Place, luck: Luck = NOMINAL) -> None:
        self.place = place
        self.luck = luck
        self.filled = 0
        self.ever = 0  # put in so far, what was cleared too
        self._empty_at_us: int | None = None

    def free_from(self, now_us: int) -> int:
        """Earliest instant at which it is not being cleared."""
        if self._empty_at_us is not None:
            if now_us < self._empty_at_us:
                return self._empty_at_us
            self._empty_at_us = None
            self.filled = 0
        return now_us

    def room(self, wanted: int) -> int:
        """How many of those wanted still fit."""
        return wanted if self.place.room is None else min(wanted, self.place.room - self.filled)

    def fill(self, count: int, period: str, now_us: int) -> tuple[float, float]:
        """Put some in: points for them, and the bonus where that fills the place."""
        place = self.place
        self.filled += count
        self.ever += count
        full = place.room is not None and self.filled == place.room
        if full and place.clearing_us is not None:
            self._empty_at_us = now_us + self.luck.span_us(place.clearing_us, "clearing", place.name)
        return count * place.points[period], place.points_when_full if full else 0.0


class World:
    """The field's supplies and places, the points so far, and which period an instant belongs to."""

    def __init__(self, game: Game, luck: Luck = NOMINAL) -> None:
        self.game = game
        self.supplies = {name: Supply(station, luck) for name, station in game.stations.items()}
        self.sites = {name: Site(place, luck) for name, place in game.places.items()}
        self.points = 0.0
        self.lost: dict[str, int] = {}  # elements that fell and stay where nobody takes them
        self._sets = dict.fromkeys((bonus.name for bonus in game.bonuses), 0)
        self.end_us = sum(period.duration_us for period in game.periods)
        self.endgame_us = None if game.endgame_us is None else self.end_us - game.endgame_us

    def in_endgame(self, at_us: int) -> bool:
        """Whether points that fall now are the endgame's; those of its first instant are not."""
        return self.endgame_us is not None and at_us > self.endgame_us

    def deliver(self, place: str, count: int, period: str, now_us: int) -> tuple[float, float]:
        """Put elements into a place: points for them in a period, and all bonuses that this earns."""
        points, bonus = self.sites[place].fill(count, period, now_us)
        for each in self.game.bonuses:
            sets = min((self.sites[name].ever // number for name, number in each.each.items()), default=0)
            sets = sets if each.at_most is None else min(sets, each.at_most)
            bonus += (sets - self._sets[each.name]) * each.points
            self._sets[each.name] = sets
        self.points += points + bonus
        return points, bonus

    def fall(self, element: str, count: int, now_us: int) -> None:
        """Elements fall: they come back to a station, or are lost."""
        to = self.game.elements[element].when_dropped
        if to in self.supplies:
            self.supplies[to].put_back(now_us, count)
        else:
            self.lost[element] = self.lost.get(element, 0) + count


class Hands:
    """What the mechanisms of one robot have in hand."""

    def __init__(
        self, game: Game, holds: Mapping[str, tuple[str, ...]], rooms: Mapping[str, float | None] = NO_LIMITS
    ) -> None:
        self.game = game
        self.rooms = rooms
        self.held = {mechanism: list(elements) for mechanism, elements in holds.items()}

    def mass_in(self, mechanism: str) -> float:
        """Mass of what a mechanism has in hand [kg]."""
        return sum(self.game.elements[name].mass for name in self.held.get(mechanism, ()))

    def count(self, mechanism: str, element: str | None = None) -> int:
        """How many of an element (None: of anything) a mechanism has in hand."""
        hand = self.held.get(mechanism, [])
        return len(hand) if element is None else hand.count(element)

    def fits(self, mechanism: str, more: int) -> bool:
        """Whether a hand has room for so many more."""
        room = self.rooms.get(mechanism)
        return room is None or self.count(mechanism) + more <= room

    def total(self) -> int:
        """How many elements the robot has."""
        return sum(len(hand) for hand in self.held.values())

    def take(self, mechanism: str, elements: list[str]) -> None:
        self.held.setdefault(mechanism, []).extend(elements)

    def empty(self, mechanism: str) -> list[str]:
        """Take everything out of a hand; what it was."""
        hand = self.held.get(mechanism, [])
        self.held[mechanism] = []
        return hand

    def release(self, mechanism: str, element: str, most: int | None) -> int:
        """Let go of the elements of one name, at most so many; how many they were."""
        hand = self.held.get(mechanism, [])
        count = hand.count(element)
        if most is not None:
            count = min(count, most)
        for _ in range(count):
            hand.remove(element)
        return count
