"""The kernel under way: steps to an instant, and what resets on the way as the bus sags."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import cache, partial
from math import isinf

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.physics.move import microseconds
from simbot.physics.plant.whereabouts import Whereabouts
from simbot.physics.resets import ON, Resets
from simbot.physics.stepper import LOG_FULL, SEEN, advance

Array = npt.NDArray[np.float64]


class EndlessSteps(RuntimeError):
    """The integrator makes no headway: a fault of the program, never of a file."""


TAIL_ROWS = 256  # of the log of what would have come after a takeover
LOOKED_AT = 16  # steps after a reset in which the next is looked for, whole ones, wherever they end
MORE = 4  # times so many where there is none in them
MOST_ROWS = 500_000
HEADWAY_ROWS = 32_768  # so many steps in a row that take less than a microsecond each lead nowhere


class Running(Whereabouts):
    """Goes on with the commands that the arrays have, on the leg under way."""

    __slots__ = ()

    def _go_on(
        self,
        t_end: float,
        watched: tuple[str, ...],
        before_step: Callable[[], None] | None = None,
        most: int = sys.maxsize,
    ) -> bool:
        """As _advance, without resets; no more than `most` steps."""
        w, tab = self.arrays.w, self.arrays.tab
        last = self._rows + most
        if watched:
            self._watch_for(watched, 1.0)
        while True:
            log = self._log if last >= len(self._log) else self._log[:last]
            if before_step is not None:  # no room for a step: it stops before it; then room for one
                code, _ = advance(w, tab, log[: self._rows], self._rows, t_end)
                if code == LOG_FULL:
                    before_step()
                    log = log[: self._rows + 1]
            code, self._rows = advance(w, tab, log, self._rows, t_end)
            if code != LOG_FULL or self._rows == last:
                break
            if self._rows < len(self._log):
                continue
            self._check_headway()
            known = self._log
            self._log = np.empty((len(known) + max(TAIL_ROWS, len(known)), known.shape[1]))
            self._log[: len(known)] = known
        if watched:
            self._watch_for(watched, 0.0)
        return code == SEEN  # type: ignore[no-any-return]

    def _check_headway(self) -> None:
        """Give up where the steps are without end, or next to it."""
        w, rows = self.arrays.w, self._rows
        spent = "" if rows <= MOST_ROWS else f"more than {MOST_ROWS} steps"
        if rows >= 2 * HEADWAY_ROWS:
            span = float(w[L.T] - self._log[rows - HEADWAY_ROWS, L.LOG_T])
            if span < 1e-6 * HEADWAY_ROWS:
                spent = f"{HEADWAY_ROWS} steps for the last {1e6 * span:.3g} us"
        if spent:
            moving = [name for name in self.names if w[self.arrays.at[name] + L.S] != 0.0]
            what = f", while {' and '.join(moving)} move{'' if len(moving) > 1 else 's'}" if moving else ""
            raise EndlessSteps(f"the simulation needs {spent}, at {w[L.T]:.6f} s{what}: please report this")

    def _watch_for(self, names: tuple[str, ...], so: float) -> None:
        """Let the kernel stop where it sees mechanisms inside, or (0) never; none but these are watched."""
        w, at = self.arrays.w, self.arrays.at
        w[L.WATCHING] = so
        for name in names:
            w[at[name] + L.WATCH] = so

    def _advance(
        self, t_end: float, watched: tuple[str, ...], before_step: Callable[[], None] | None = None
    ) -> bool:
        """As _run, on the leg under way; what resets on the way does so."""
        resets = self._resets
        if resets is None:
            return self._go_on(t_end, watched, before_step)
        most = sys.maxsize  # steps; few after a reset, so that what comes after the next is not gone through
        while True:
            begin = self._bookmark(self._rows)
            volts = cache(partial(self._volts_at, begin))
            while True:
                seen = self._go_on(t_end, watched, before_step, most)
                end, until = self._bookmark(begin[1]), float(self.arrays.w[L.T])
                change = resets.next_change(self.arrays.w, end[2], until, volts)
                if seen or until >= t_end or (change is not None and change[0] < until):
                    break
                self._go_back(begin)  # not on from here: the kernel, entered anew, may act at one more tick
                most *= MORE
            if change is not None and change[0] < until:
                self._go_back(begin)
                seen = self._go_on(change[0], (), before_step)
                end = self._bookmark(begin[1])
            since = resets.since(end[0], end[2], volts)
            self._go_back(end)
            resets.remember(self.arrays.w, since)
            if change is not None:
                for device in change[1]:
                    self._change_power(resets, device)
            if change is None or seen or self.arrays.w[L.T] >= t_end:
                return seen
            most = LOOKED_AT

    def _bookmark(self, rows: int) -> tuple[Array, int, Array]:
        """The present state: the kernel's array, the number of steps, and those of them from a number on."""
        return self.arrays.w.copy(), self._rows, self._log[rows : self._rows].copy()

    def _go_back(self, mark: tuple[Array, int, Array]) -> None:
        self.arrays.w[:], self._rows = mark[0], mark[1]
        self._log[mark[1] - len(mark[2]) : mark[1]] = mark[2]

    def _volts_at(self, begin: tuple[Array, int, Array], t: float) -> float:
        """Bus voltage at an instant [s] after a bookmark; the state is then that of the instant."""
        self._go_back(begin)
        self._go_on(t, ())
        return float(self._log[self._rows - 1, L.LOG_V1])

    def _change_power(self, resets: Resets, device: int) -> None:
        """A device resets, or comes back: what it feeds or commands loses its power, or has it again."""
        w = self.arrays.w
        off, program = resets.change(w, device), resets.devices[device].stops == "program"
        dark = resets.without_power(w)
        for name in resets.stopped[device]:
            waits = resets.waits(name)
            if off and w[waits] == ON:
                self._without_power(name, resets)
            if off and program:
                w[waits] = L.NO_CONTROL  # its command is lost
            if not off and name not in dark:
                self._with_power(name, w[waits])
                w[waits] = ON
        w[L.DIRTY] = 1.0

    def _without_power(self, name: str, resets: Resets) -> None:
        """Its motors' leads are open, a brake that holds it closes, its command waits."""
        w, m = self.arrays.w, self.arrays.at[name]
        w[resets.waits(name)] = L.NO_CONTROL if resets.program_is_down(w) else w[m + L.CONTROL]
        w[m + L.CONTROL], w[m + L.DUTY], w[m + L.OPEN] = L.NO_CONTROL, 0.0, 1.0
        w[m + L.N_PENDING], w[m + L.NEW], w[m + L.PINNED], w[m + L.LOCK] = 0.0, 0.0, 0.0, w[m + L.BRAKE]
        w[L.DIRTY] = 1.0

    def _with_power(self, name: str, control: float) -> None:
        """Its command acts again."""
        w, m = self.arrays.w, self.arrays.at[name]
        w[m + L.CONTROL] = control
        if control == L.NO_CONTROL:  # what its code sent last is lost too, so that the same is sent again
            w[m + L.SENT], w[m + L.SENT_OPEN] = w[m + L.DUTY], w[m + L.OPEN]
            return
        w[m + L.OPEN] = w[m + L.LOCK] = 0.0
        if control == L.SERVO:
            w[m + L.T_PENDING] = w[L.T]
        elif control == L.SPIN:
            w[m + L.DUTY], w[m + L.OPEN] = w[m + L.SENT], w[m + L.SENT_OPEN]
        else:
            w[m + L.SENT] = w[m + L.SENT_OPEN] = 0.0
            w[m + L.NEW] = w[L.FRESH] = 1.0

    def _keep_dark(self, name: str) -> None:
        """A command that is given to a mechanism without power waits for it."""
        resets = self._resets
        if resets is not None and name in resets.without_power(self.arrays.w):
            self._without_power(name, resets)

    def program_resets(self) -> list[tuple[int, int | None]]:
        """(instant, when it runs again [us], None: not yet) of every reset of the program until now."""
        if self._resets is None:
            return []
        spells = self._resets.program_resets(self.arrays.w, self.now_us / 1e6)
        return [(microseconds(off), None if isinf(on) else microseconds(on)) for off, on in spells]
