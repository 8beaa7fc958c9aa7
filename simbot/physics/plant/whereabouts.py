"""Where a plant's mechanisms are and were, read from its arrays, its log and its route."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import inf, nextafter

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.build import Built
from simbot.physics.move import NEVER_US
from simbot.physics.plant.state import State
from simbot.physics.record import state_at
from simbot.physics.route import Leg, Route
from simbot.scenario.model import Pose

Array = npt.NDArray[np.float64]


class Whereabouts(State):
    """Positions, speeds and poses at instants that are covered."""

    __slots__ = ()

    def built_at(self, name: str, t: float) -> Built:
        """A mechanism with what it carried at an instant [s], and where others stood that its load depends on."""
        known = self._built_since.get(name, [])
        before = [built for since, built in known if since < t]
        return before[-1] if before else self.models.get(name, 0.0, places=self._places.get(name, ()))

    def motors_at(self, name: str, t: Array) -> Array:
        """How many of its motors take part in steps that begin at instants [s]: of a drive those of the leg."""
        if self._route is None or name != self._drive:
            return np.full(len(t), self._built(name).groups[:, L.G_N].sum())
        legs = self._route.legs
        many = [
            self.models.get(name, self._payload[name], leg.built_for).groups[:, L.G_N].sum()
            for _, leg in legs
        ]
        begins = np.array([begin for begin, _ in legs])
        return np.array(many)[np.maximum(np.searchsorted(begins, t, side="right") - 1, 0)]

    def _raw(self, name: str, t: float) -> tuple[float, float]:
        """Coordinate and speed of the kernel at an instant it has covered."""
        of = self.arrays.w.item
        if t >= of(L.T) or self._rows == 0:
            m = self.arrays.at[name]
            return of(m + L.Q), of(m + L.SPEED)
        return state_at(self._log, self._rows, self.arrays.number[name], t)  # type: ignore[no-any-return]

    def _position_at(self, name: str, t: float) -> float:
        return self._odometer_at(t) if name == self._drive else self._raw(name, t)[0]

    def _nearest_at(self, name: str, target: float, t: float) -> float:
        """The target; where whole turns may be added to it, that nearest to where the mechanism is at an instant."""
        if name not in self._facts.wraps:
            return target
        return self._nearest(name, target, self._position_at(name, t))

    def position(self, mechanism: str, at_us: int | None = None) -> float | str:
        """Where it is (now or at an earlier instant) [m, rad]; of a drive: along its lines; a word: the place that
        it came to last, also on its way to another."""
        at_us = self.now_us if at_us is None else at_us
        if mechanism in self._watch:
            return self._stay(mechanism, at_us)[2]
        return self._position_at(mechanism, at_us / 1e6)

    def speed(self, mechanism: str, at_us: int | None = None) -> float:
        """Speed [m/s, rad/s]; of a drive: along its line, 0 in a turn."""
        at_us = self.now_us if at_us is None else at_us
        if mechanism in self._watch:
            return 0.0
        if mechanism == self._drive and self._route is not None and self._route.at(at_us / 1e6).turning:
            return 0.0
        return self._raw(mechanism, at_us / 1e6)[1]

    def pose(self, at_us: int | None = None) -> Pose:
        """The robot's centre and heading."""
        if self._route is None:
            return Pose(0.0, 0.0, 0.0)
        return self._pose_at((self.now_us if at_us is None else at_us) / 1e6)

    def _odometer_at(self, t: float) -> float:
        """Distance along all straight lines at an instant."""
        assert self._route is not None
        for begin, leg in reversed(self._route.legs):
            if begin <= t:
                if not leg.turning:
                    return self._raw(self._drive or "", t)[0]
                t = min(t, nextafter(begin, -inf))
        return self._route.legs[0][1].at

    def _pose_at(self, t: float) -> Pose:
        assert self._route is not None and self._drive is not None
        leg = self._route.at(t)
        return leg.pose(self._raw(self._drive, t)[0])

    def _legs_between(self, name: str, start: float, end: float) -> Iterable[tuple[float, float, Leg | None]]:
        """Stretches of time with one meaning of the coordinate, latest first."""
        if name != self._drive or self._route is None:
            return ((start, end, None),)
        return self._driven_between(self._route, start, end)

    @staticmethod
    def _driven_between(route: Route, start: float, end: float) -> Iterator[tuple[float, float, Leg | None]]:
        stop, latest = end, True
        for begin, leg in reversed(route.legs):
            if begin < stop or (begin == stop and latest):
                first = max(start, begin)
                yield first, stop, leg
                stop, latest = first, False
            if begin <= start:
                return

    def ways(self, from_us: int, to_us: int) -> list[tuple[Leg, float, float]]:
        """Lines and turns of commands since from_us, until to_us (<= now); least and greatest coordinate on each."""
        name = self._drive
        if name is None:
            return []
        column = L.LOG_MECH + L.LOG_PER_MECH * self.arrays.number[name] + L.LOG_Q0
        out = []
        for begin, end, leg in reversed([*self._legs_between(name, from_us / 1e6, to_us / 1e6)]):
            assert leg is not None
            rows = np.searchsorted(self._log[: self._rows, L.LOG_T], (begin, end), side="left")
            places = [leg.at, *self._log[rows[0] : rows[1], column]]
            if end > begin:
                places.append(self._raw(name, nextafter(end, -inf))[0])
            out.append((leg, float(min(places)), float(max(places))))
        return out

    def stays(self, mechanism: str) -> list[tuple[int, int | None, str]]:
        """Of a mechanism whose places are words: since when, until when (None: for good) it stood at which.

        It leaves a place at the instant at which it is sent elsewhere, and is nowhere until it is there. Where it was
        called elsewhere on its way it never came.
        """
        out: list[tuple[int, int | None, str]] = []
        history = self._watch[mechanism]
        ends = [*(watch.start_us for watch in history[1:]), None]
        for watch, end in zip(history, ends, strict=True):
            begin = watch.there_us
            if begin == NEVER_US or (end is not None and end < begin):
                continue
            if out and out[-1][1:] == (begin, watch.word):
                begin = out.pop()[0]
            out.append((begin, end, watch.word))
        return out

    def _stay(self, mechanism: str, at_us: int) -> tuple[int, int | None, str]:
        """The latest place that it came to by an instant; where it was before the first, if it came to none."""
        stays = self.stays(mechanism)
        return next((stay for stay in reversed(stays) if stay[0] <= at_us), stays[0])

    def _word_since(self, mechanism: str, word: str, at_us: int) -> int | None:
        """Since when it stands at a place; None where it does not."""
        begin, end, place = self._stay(mechanism, at_us)
        return begin if place == word and (end is None or at_us <= end) else None

    def _word_left(self, mechanism: str, word: str, from_us: int, to_us: int) -> int | None:
        if self._word_since(mechanism, word, from_us) is None:
            return from_us
        end = self._stay(mechanism, from_us)[1]
        return end if end is not None and end <= to_us else None

    def stands(self, mechanism: str, at_us: int) -> str:
        """At which of its places it stands; empty on its way from one to another."""
        _, end, place = self._stay(mechanism, at_us)
        return place if end is None or at_us <= end else ""

    def words_rest_since(self, mechanism: str, at_us: int) -> int | None:
        """Since when it is on no way; where a stroke stops on its way, nothing says when: since its command."""
        last = [watch for watch in self._watch[mechanism] if watch.start_us <= at_us][-1]
        return last.start_us if last.why else self._word_since(mechanism, last.word, at_us)

    def comes_to(self, mechanism: str, word: str, from_us: int, to_us: int) -> int | None:
        """First instant in [from_us, to_us] at which a mechanism whose places are words stands at one."""
        if from_us <= to_us and self._word_since(mechanism, word, from_us) is not None:
            return from_us
        later = (begin for begin, _, place in self.stays(mechanism) if place == word and begin > from_us)
        return next((begin for begin in later if begin <= to_us), None)
