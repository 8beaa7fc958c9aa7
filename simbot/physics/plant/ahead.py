"""What would come if nothing more were commanded: when code sees an arrival or a passing, when all is at rest."""

from __future__ import annotations

from collections.abc import Iterable
from math import inf, isinf
from typing import Any

from simbot.physics import layout as L
from simbot.physics.linear import nearly_steady
from simbot.physics.move import Move, Spin, microseconds
from simbot.physics.plant.zeroing import Zeroing
from simbot.physics.record import first_time

FAR_AWAY = 1e3  # m or rad: half a line, as far as any mechanism gets
ON_POINT = 1e-12  # m or rad
LOOK_US = 2_000_000  # how far to look ahead at a time
CHUNK_S = 0.25


class Ahead(Zeroing):
    """Looks ahead of now."""

    __slots__ = ()

    def first_seen_us(self, moves: Iterable[Move], limit_us: int) -> int | None:
        """First tick >= now at which code would SEE all these moves inside their sets, if nothing more is
        commanded; None if not before or at limit_us."""
        begin = self.now_us
        names = []
        for move in moves:
            if move.stopwatch is not None:
                begin = max(begin, move.stopwatch.there_us)
            elif not isinstance(move.command, Spin):
                names.append(move.mechanism)
        begin = self.tick_at_or_after(begin)
        if not names:
            return begin if begin <= limit_us else None
        if begin > limit_us:
            return None
        self._return_to_now()
        self._save()
        self._run(begin / 1e6, ())
        if self._all_inside(names):
            return begin
        return self._covered_us() if self._run(limit_us / 1e6, tuple(names)) else None

    def first_past_us(
        self, mechanism: str, move: Move | None, share: float | None, position: float | None, limit_us: int
    ) -> int | None:
        """First tick >= now at which code would see a mechanism at or beyond a point of its way, if nothing more
        is commanded; None if not before or at limit_us. The point is a share of a move's way, or a position
        [m, rad], which it passes upwards unless its move goes downwards."""
        if move is not None and move.stopwatch is not None:
            watch = move.stopwatch
            at = watch.start_us + round((share or 0.0) * (watch.there_us - watch.start_us))
            tick = self.tick_at_or_after(max(at, self.now_us))
            return tick if tick <= limit_us and not watch.why else None
        begin = end = 0.0
        if move is not None:
            begin, end = float(move.start_position), float(move.target)
        point = (
            begin + share * (end - begin)
            if position is None and share is not None
            else float(position or 0.0) + self.zero_off(mechanism)
        )
        down = end < begin
        tick = self.tick_at_or_after(self.now_us)
        while tick <= limit_us:
            self._reach(tick)
            here = float(self._position_at(mechanism, tick / 1e6))
            if here <= point + ON_POINT if down else here >= point - ON_POINT:
                return tick
            out = self._crosses(mechanism, point, down, tick, limit_us)
            if out is None:
                return None
            tick = max(self.tick_at_or_after(out), tick + 1)
            tick = self.tick_at_or_after(tick)
        return None

    def _crosses(self, mechanism: str, point: float, down: bool, from_us: int, to_us: int) -> int | None:
        """First instant at or after from_us at which a mechanism reaches a point from its near side."""
        number = self.arrays.number[mechanism]
        centre = point - FAR_AWAY if down else point + FAR_AWAY
        begin = from_us
        while begin < to_us:
            until = min(to_us, begin + LOOK_US)
            self._reach(until)
            for start, end, leg in reversed([*self._legs_between(mechanism, begin / 1e6, until / 1e6)]):
                if leg is not None and leg.turning:
                    continue
                if self._rows:
                    t = first_time(self._log, self._rows, number, centre, FAR_AWAY, inf, start, end, True)
                    if not isinf(t):
                        return microseconds(float(t))
            begin = until
        return None

    def _all_inside(self, names: list[str]) -> bool:
        if self._drive in names and self._route is not None and self._route.ahead:
            return False
        for name in names:
            m = self.arrays.at[name]
            of = self.arrays.w[m : m + L.TOUCHED + 1].tolist()
            if of[L.CONTROL] == L.SPEED_LOOP:
                if abs(of[L.SPEED] - of[L.TARGET]) > of[L.WINDOW] + 1e-12:
                    return False
                continue
            if of[L.TOUCH] != 0.0 and of[L.TOUCHED] == 0.0:
                return False
            if abs(of[L.Q] - of[L.TARGET_PENDING]) > of[L.WINDOW] + 1e-12:
                return False
            if abs(of[L.SPEED]) > of[L.SLOW] + 1e-12:
                return False
        return True

    def _settle(self, move: Move) -> None:
        """Run ahead until the mechanism of a move is at rest and nothing else changes, or to the horizon."""
        w: Any = self.arrays.w.data
        m = self.arrays.at[move.mechanism]
        self._save()
        still = 0  # chunks in a row in which nothing moved: whatever a later tick changes has had its time
        while self._covered_us() < self.horizon_us:
            quiet = w[L.DIRTY] == 0.0 and w[m + L.T_PENDING] == inf and self._steady()
            still = still + 1 if quiet and not self._route_open(move) else 0
            enough = still > 1 or self._stays(m)
            if enough and self._covered_us() > max(move.start_us, self.now_us):
                return
            span = max(CHUNK_S, 0.5 * (w[L.T] - move.start_us / 1e6))
            self._run(min(self.horizon_us / 1e6, w[L.T] + span), ())

    def _steady(self) -> bool:
        """Whether nothing moves but what turns at a constant effort and has its speed, so that the bus stands still."""
        w: Any = self.arrays.w.data
        count = int(w[L.N_LIVE])
        if count == 0:
            return True
        if w[L.STRAIGHT] != 1.0 or w[L.SAGS] != 0.0:
            return False
        live = map(int, w[L.LIVE : L.LIVE + count].tolist())
        return all(abs(w[m + L.ACC]) < nearly_steady(w, m) for m in live)

    def _stays(self, m: int) -> bool:
        """Whether a mechanism rests until its next command whatever others do: a servo without effort, or pinned."""
        w: Any = self.arrays.w.data
        if self._resets is not None or w[m + L.CONTROL] != L.SERVO or w[m + L.S] != 0.0 or w[L.DIRTY] != 0.0:
            return False
        still = w[m + L.DUTY] == 0.0 or w[m + L.PINNED] == 1.0
        return bool(still and w[m + L.T_PENDING] == inf)

    def _route_open(self, move: Move) -> bool:
        return move.mechanism == self._drive and self._route is not None and bool(self._route.ahead)

    def next_program_reset_us(self, known: int) -> int | None:
        """When the program resets after so many times, if nothing more is commanded."""
        if self._resets is None or all(reset.stops != "program" for reset in self._resets.devices):
            return None
        self._reach(self.horizon_us)
        ahead = self._resets.program_resets(self.arrays.w, inf)[known:]
        return microseconds(ahead[0][0]) if ahead else None
