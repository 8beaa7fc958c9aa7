"""Elements, stations, places and points: the game as one robot meets it. Knows nothing of volts."""

from __future__ import annotations

from simbot.scenario.model import Game, Place, Station


class Supply:
    """What lies at a station: full at the start, refilled at fixed instants up to its stock."""

    def __init__(self, station: Station) -> None:
        self.station = station
        self._left = station.stock
        self._refills = 0

    def left(self, now_us: int) -> int | None:
        """How many there are; None: no end of them."""
        station = self.station
        if self._left is not None and station.refill_count:
            due = now_us // station.refill_us
            if due > self._refills:
                self._left = min(
                    station.stock or 0, self._left + (due - self._refills) * station.refill_count
                )
                self._refills = due
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

    def free_from(self, now_us: int) -> int | None:
        """Earliest instant at which there is one to take; None: never again."""
        if self.left(now_us) != 0:
            return now_us
        if not self.station.refill_count:
            return None
        return (self._refills + 1) * self.station.refill_us


class Site:
    """What stands in a place, and since when it is being cleared."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self.filled = 0
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
        full = place.room is not None and self.filled == place.room
        if full and place.clearing_us is not None:
            self._empty_at_us = now_us + place.clearing_us
        return count * place.points[period], place.points_when_full if full else 0.0


class World:
    """The field's supplies and places, what is in hand, and which period an instant belongs to."""

    def __init__(self, game: Game, holds: dict[str, tuple[str, ...]]) -> None:
        self.game = game
        self.supplies = {name: Supply(station) for name, station in game.stations.items()}
        self.sites = {name: Site(place) for name, place in game.places.items()}
        self.hands = {mechanism: list(elements) for mechanism, elements in holds.items()}
        self._ends: list[tuple[int, str]] = []
        end = 0
        for period in game.periods:
            end += period.duration_us
            self._ends.append((end, period.name))
        self.end_us = end
        self.endgame_us = None if game.endgame_us is None else end - game.endgame_us

    def period_at(self, at_us: int) -> str:
        """The period an instant belongs to; the last instant of one is still its own."""
        return next((name for end, name in self._ends if at_us <= end), self._ends[-1][1])

    def in_endgame(self, at_us: int) -> bool:
        """Whether points that fall now are the endgame's; those of its first instant are not."""
        return self.endgame_us is not None and at_us > self.endgame_us

    def mass_in(self, mechanism: str) -> float:
        """Mass of what a mechanism has in hand [kg]."""
        return sum(self.game.elements[name].mass for name in self.hands.get(mechanism, ()))

    def release(self, mechanism: str, element: str, most: int | None) -> int:
        """Let go of the elements of one name, at most so many; how many they were."""
        hand = self.hands.get(mechanism, [])
        count = hand.count(element)
        if most is not None:
            count = min(count, most)
        for _ in range(count):
            hand.remove(element)
        return count
