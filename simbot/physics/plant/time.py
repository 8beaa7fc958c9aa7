"""How far a plant has come: now, and ahead of now as if nothing more were commanded."""

from __future__ import annotations

from math import nan

import numpy as np

from simbot.physics import layout as L
from simbot.physics.build import Built
from simbot.physics.motion import Steps, paths
from simbot.physics.plant.driving import Driving


class Time(Driving):
    """Settles what has happened, runs ahead, and comes back."""

    __slots__ = ()

    def advance(self, to_us: int) -> None:
        """Carry everything to an instant with the present commands (to_us >= now_us)."""
        if to_us != self.now_us:
            if self.arrays.w.item(L.T) * 1e6 < to_us - 0.5:
                self._run(
                    to_us / 1e6, ()
                )  # nothing beyond `now` then, so that nothing need be kept to return to
            self.now_us = to_us

    def steps_to(self, mechanism: str, to_us: int) -> Steps:
        """Carry everything to an instant, as `advance` does, and tell the steps of one mechanism on the way."""
        self._return_to_now()
        w, m, first = self.arrays.w, self.arrays.at[mechanism], self._rows
        notes: list[tuple[float, ...]] = []
        built: list[Built] = []

        def note() -> None:
            del notes[self._rows - first :], built[self._rows - first :]  # it may have gone back
            zone = w[m + L.ZONE] if w[m + L.CONTROL] == L.SERVO else nan
            notes.append((w[m + L.DUTY], w[m + L.OPEN], zone, w[m + L.TARGET]))
            built.append(self._built(mechanism))

        self._run(to_us / 1e6, (), note)
        self.now_us = to_us
        rows = self._log[first : self._rows].copy()
        ohms = w[L.R0]
        path = paths(rows, self.arrays.number[mechanism])
        alone = [
            np.where(
                rows[:, L.LOG_MECH + L.LOG_PER_MECH * each + L.LOG_BACK, None] != 0.0, paths(rows, each), nan
            )
            for each in self.arrays.rotors[mechanism]
        ]
        ends = ((L.LOG_V0, L.LOG_I0), (L.LOG_V1, L.LOG_I1))
        emf = np.column_stack([rows[:, volts] + ohms * rows[:, amps] for volts, amps in ends])
        noted = np.array(notes).reshape(-1, 4)
        return Steps(
            rows[:, L.LOG_T], rows[:, L.LOG_H], path, emf, noted[:, 0], noted[:, 1] == 1.0, noted[:, 2], noted[:, 3],
            float(w[m + L.BAND]), tuple(built), np.array(alone).reshape(len(alone), *path.shape),
        )  # fmt: skip

    def _covered_us(self) -> int:
        return round(self.arrays.w.item(L.T) * 1e6)

    def _reach(self, to_us: int) -> None:
        """Make the log cover an instant; what lies beyond `now` is what comes if nothing more is commanded."""
        if self.arrays.w.item(L.T) * 1e6 < to_us - 0.5:
            self._save()
            self._run(to_us / 1e6, ())

    def _save(self) -> None:
        """Remember the last state that is settled fact, before the plant runs ahead of `now`."""
        if self.arrays.w.item(L.T) * 1e6 < self.now_us + 0.5:
            if self._spare is None:
                self._spare = np.empty_like(self.arrays.w)
            self._spare[:] = self.arrays.w
            self._saved = (self._spare, self._rows, self._route)

    def _return_to_now(self) -> None:
        """Forget what was computed beyond `now`."""
        now, covered = self.now_us / 1e6, self.arrays.w.item(L.T)
        if covered > now:
            assert self._saved is not None
            self._spare = self.arrays.w
            self.arrays.w, self._rows, self._route = self._saved
            self._saved = None
            covered = self.arrays.w.item(L.T)
        if covered < now:
            self._run(now, ())
