"""When a mechanism was, is and will be within some tolerance of anything."""

from __future__ import annotations

from math import inf, isinf

from simbot.physics.build import SPINNING
from simbot.physics.move import SPEEDS, Move, microseconds
from simbot.physics.plant.target_sets import TargetSets
from simbot.physics.record import first_time, inside_since
from simbot.physics.route import Leg
from simbot.scenario.model import Pose, Target

JUST_AFTER = (
    5e-10  # s: a leg's coordinate is its own from here on; less than what counts as the same microsecond
)
JUST_BEFORE = (
    1e-6  # s: no step ends so little before an instant that it is taken for one that does not hold it
)


class Needs(TargetSets):
    """Sets of states that are asked for."""

    __slots__ = ()

    def _tolerances(
        self,
        mechanism: str,
        leg: Leg | None,
        target: Target | Pose,
        within: float,
        slower: float | None,
        heading_within: float | None,
    ) -> tuple[float, float, float] | None:
        """Target, half-width and speed limit in the kernel's coordinate; None where nothing on the leg will do."""
        limit = inf if slower is None else slower
        if self.robot.mechanisms[mechanism].kind in SPINNING:
            limit = SPEEDS
        if leg is None:
            assert not isinstance(target, Pose)
            return float(target), within, limit
        if not isinstance(target, Pose):
            return None if leg.turning else (float(target), within, limit)
        turning = self._control(mechanism, True)
        heading = turning.window if heading_within is None else heading_within
        found = leg.coordinate_of(target, within, heading)
        if found is None:
            return None
        if leg.turning and slower is not None:
            limit = turning.slower_than
        return found[0], found[1], limit

    def inside_since(
        self,
        mechanism: str,
        target: Target | Pose,
        within: float,
        slower_than: float | None,
        at_us: int,
        heading_within: float | None = None,
    ) -> int | None:
        """Instant since which the position has been within the tolerance of the target, and no faster than
        `slower_than` (None: any speed), without a break up to at_us (<= now); None if it is not met at at_us.
        0 where it has been so from the start."""
        if mechanism in self._watch:
            return self._word_since(mechanism, str(target), at_us)
        self._reach(at_us)
        since = self._since(mechanism, target, within, slower_than, 0.0, at_us / 1e6, heading_within)
        return None if isinf(since) else microseconds(since)

    def is_inside(
        self,
        mechanism: str,
        target: Target | Pose,
        within: float,
        slower_than: float | None,
        at_us: int,
        heading_within: float | None = None,
    ) -> bool:
        """Whether `inside_since` knows an instant, without looking for it."""
        if mechanism in self._watch:
            return self._word_since(mechanism, str(target), at_us) is not None
        self._reach(at_us)
        at = at_us / 1e6
        start = max(0.0, at - JUST_BEFORE)
        return not isinf(self._since(mechanism, target, within, slower_than, start, at, heading_within))

    def _since(
        self,
        mechanism: str,
        target: Target | Pose,
        within: float,
        slower: float | None,
        start: float,
        at: float,
        heading_within: float | None,
    ) -> float:
        """As inside_since, in seconds, looking back to `start`; inf where it is not met."""
        best = inf
        number = self.arrays.number[mechanism]
        if not isinstance(target, Pose):
            target = self._nearest_at(mechanism, float(target), at)
        for begin, end, leg in self._legs_between(mechanism, start, at):
            found = self._tolerances(mechanism, leg, target, within, slower, heading_within)
            if found is None:
                return best
            if self._rows == 0 or end <= begin:
                since = begin if self._met_at(mechanism, begin, *found) else inf
            else:
                since = float(inside_since(self._log, self._rows, number, *found, begin, end))
            if isinf(since):
                return best
            best = since
            if since > begin:
                return best
        return best

    def inside_for_good_from(
        self,
        mechanism: str,
        target: Target | Pose,
        within: float,
        slower_than: float | None,
        at_us: int,
        heading_within: float | None = None,
    ) -> int | None:
        """Instant (> at_us) from which it would be met for good with the command it has at at_us, if nothing
        more were commanded after that; None: never."""
        if mechanism in self._watch:
            last = [watch for watch in self._watch[mechanism] if watch.start_us <= at_us][-1]
            return last.there_us if last.word == str(target) and not last.why else None
        move = self._move_at(mechanism, at_us)
        at, end = at_us / 1e6, self.horizon_us / 1e6
        if move is None or move.cut_us is None:
            self._reach(self.horizon_us)
            since = self._since(mechanism, target, within, slower_than, at, end, heading_within)
        else:
            cut = move.cut_us / 1e6
            since = move._ahead()._since(mechanism, target, within, slower_than, cut, end, heading_within)
            if since <= cut:
                before = self._since(mechanism, target, within, slower_than, at, cut, heading_within)
                since = min(since, before)
        return None if isinf(since) else microseconds(since)

    def _move_at(self, mechanism: str, at_us: int) -> Move | None:
        found = None
        for move in self._moves:
            if move.mechanism == mechanism and move.start_us <= at_us:
                found = move
        return found

    def leaves_at(
        self,
        mechanism: str,
        target: Target | Pose,
        within: float,
        from_us: int,
        to_us: int,
        heading_within: float | None = None,
    ) -> int | None:
        """First instant in [from_us, to_us] (<= now) at which its position is outside the tolerance."""
        if mechanism in self._watch:
            return self._word_left(mechanism, str(target), from_us, to_us)
        number = self.arrays.number[mechanism]
        if not isinstance(target, Pose):
            target = self._nearest_at(mechanism, float(target), from_us / 1e6)
        for begin, end, leg in reversed([*self._legs_between(mechanism, from_us / 1e6, to_us / 1e6)]):
            found = self._tolerances(mechanism, leg, target, within, None, heading_within)
            if found is None:
                return microseconds(begin)
            if self._rows == 0:
                return None
            if leg is not None:  # the step that ends where it begins is told in the coordinate before
                begin = min(begin + JUST_AFTER, end)
            t = float(first_time(self._log, self._rows, number, *found, begin, end, False))
            if not isinf(t):
                return microseconds(t)
        return None

    def slower_than(self, mechanism: str) -> float | None:
        """The speed limit of the mechanism's own target set, None where it states none."""
        if mechanism in self._watch:
            return None
        limit = self._control(mechanism).slower_than
        return None if isinf(limit) else limit
