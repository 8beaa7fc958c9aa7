"""When a move was inside its own target set."""

from __future__ import annotations

from itertools import pairwise
from math import inf, isinf

from simbot.physics import layout as L
from simbot.physics.move import SPEEDS, Move, microseconds
from simbot.physics.plant.time import Time
from simbot.physics.record import first_time, inside_since, touched_at

HUNTS = 4  # times that a mechanism comes into its set before that is called hunting
MOST_ENTRIES = 10_000


class TargetSets(Time):
    """Sets of states that moves aim at."""

    __slots__ = ()

    def _set_of(self, move: Move) -> tuple[float, float, float, float, bool]:
        """(target, window, speed limit, touch, is the last leg under way) of a move in the kernel's coordinate."""
        begun = move._begun
        assert begun is not None
        if move.mechanism != self._drive:
            return begun.target, move.window, move.slower_than, begun.touch, True
        assert self._route is not None and move._route is not None
        last = (move._route.now, *move._route.ahead)[-1]
        control = self._control(move.mechanism, last.turning)
        reached = any(leg.carries_out(last) for _, leg in self._route.legs)
        return last.to, control.window, control.slower_than, 0.0, reached

    def _went(self, move: Move) -> tuple[float, float]:
        """How far an effort for a time has taken its mechanism at the end, and how far it was to."""
        q = self._raw(move.mechanism, self.horizon_us / 1e6)[0]
        if move.mechanism != self._drive:
            start = float(move.start_position)
            return q - start, float(move.target) - start
        assert self._route is not None and move._route is not None
        planned = (move._route.now, *move._route.ahead)[-1]
        begun = next((leg for _, leg in self._route.legs if leg.carries_out(planned)), None)
        return 0.0 if begun is None else q - begun.at, planned.to - planned.at

    def _set_from(self, move: Move) -> float:
        """Instant from which the coordinate of a move's set has its meaning [s]."""
        if move.mechanism != self._drive or move._route is None or self._route is None:
            return move.start_us / 1e6
        last = (move._route.now, *move._route.ahead)[-1]
        return next(begin for begin, leg in self._route.legs if leg.carries_out(last))

    def _set_since(self, move: Move, at_us: int) -> int | None:
        """Instant since which a move has been inside its own target set without a break, at at_us."""
        target, window, slower, touch, reached = self._set_of(move)
        if not reached:
            return None
        number = self.arrays.number[move.mechanism]
        begin, at = self._set_from(move), at_us / 1e6
        low = 0.0
        if touch != 0.0:
            low = self._touch(move, number, touch, begin)
            if isinf(low) or low > at:
                return None
        if self._rows == 0 or at <= begin:
            inside = self._met_at(move.mechanism, begin, target, window, slower)
            return microseconds(begin) if inside else None
        since = inside_since(self._log, self._rows, number, target, window, slower, begin, at)
        return None if isinf(since) else microseconds(max(since, low))

    def _touch(self, move: Move, number: int, touch: float, begin: float) -> float:
        assert move._begun is not None
        low = move._begun.low if False not in move.pawls else self._built(move.mechanism).reduced.low
        if move._begun.touched and (touch > 0.0 or move._begun.position <= low):
            return begin
        limit = move._begun.high if touch > 0.0 else low
        return float(touched_at(self._log, self._rows, number, limit, begin)) if self._rows else inf

    def _hunts(self, move: Move, since_us: int) -> bool:
        """Whether it came into its set at since_us for the last time only because the match ends then.

        It has come in several times before, and what is left is less than it took from one time to the next.
        """
        target, window, slower, _, reached = self._set_of(move)
        if not reached or self._rows == 0:
            return False
        end = since_us / 1e6
        begin = max(self._set_from(move), float(self._log[0, L.LOG_T]))
        left = self.horizon_us / 1e6 - end
        if left >= 1.5 * (end - begin):  # no gap is as long
            return False
        number = self.arrays.number[move.mechanism]
        asked = (self._log, self._rows, number, target, window, slower)
        entries: list[float] = []
        while len(entries) < MOST_ENTRIES:
            entered = float(first_time(*asked, begin, end, True))
            if isinf(entered):
                break
            entries.append(entered)
            begin = float(first_time(*asked, entered, end, False))
            if isinf(begin):
                break
        if len(entries) < HUNTS:
            return False
        gap = max(later - earlier for earlier, later in pairwise(entries))
        return left < 1.5 * gap

    def _first_in_set(self, move: Move, from_us: int, to_us: int) -> int | None:
        target, window, slower, touch, reached = self._set_of(move)
        if not reached or self._rows == 0:
            return None
        number = self.arrays.number[move.mechanism]
        begin = max(self._set_from(move), from_us / 1e6)
        if touch != 0.0:
            begin = max(begin, self._touch(move, number, touch, self._set_from(move)))
            if begin > to_us / 1e6:
                return None
        t = first_time(self._log, self._rows, number, target, window, slower, begin, to_us / 1e6, True)
        return None if isinf(t) else microseconds(t)

    def _met_at(self, mechanism: str, t: float, target: float, within: float, slower: float) -> bool:
        q, v = self._raw(mechanism, t)
        if slower == SPEEDS:
            return abs(v - target) <= within + 1e-12
        return abs(q - target) <= within + 1e-12 and abs(v) <= slower + 1e-12
