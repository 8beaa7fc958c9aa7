"""What a run comes to: battery, resets, and why a move ended where it did."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import inf, isinf

from simbot.physics import layout as L
from simbot.physics.move import Move, Spin, SpinTo, microseconds
from simbot.physics.plant.ahead import Ahead
from simbot.scenario.model import Reset

RESTS = "it rests outside its window without effort"
UNDER_WAY = "it does not come to rest there"


class Totals(Ahead):
    """Sums and reasons."""

    __slots__ = ()

    def moves(self) -> list[Move]:
        """All moves so far, in the order in which they were commanded."""
        return self._moves

    def under_way(self, names: Iterable[str], instants: Iterable[float]) -> list[str]:
        """Those of some mechanisms that had a command to carry out at one of some instants [s]."""
        at = [1e6 * instant for instant in instants]
        met = []
        for move in self._moves:
            if move.mechanism not in names or move.mechanism in met or isinstance(move.command, Spin):
                continue
            arrival = move.arrival_us()
            ends = min(inf if move.cut_us is None else move.cut_us, inf if arrival is None else arrival)
            if any(move.start_us <= instant < ends for instant in at):
                met.append(move.mechanism)
        return met

    def off_spells(self) -> list[tuple[Reset, tuple[str, ...], list[tuple[float, float]]]]:
        """For each device that acts: what it stops, and from when to when it was off until now [s]; inf: not back."""
        resets = self._resets
        if resets is None:
            return []
        now, w = self.now_us / 1e6, self.arrays.w
        return [
            (reset, resets.stopped[device], resets.spells(w, device, now))
            for device, reset in enumerate(resets.devices)
        ]

    def dips(self) -> list[tuple[float, float]]:
        """(instant [s], bus [V]) of all resets until now, as something went off."""
        self._return_to_now()
        return [] if self._resets is None else self._resets.dips(self.arrays.w)

    def lowest_bus(self) -> tuple[float, int]:
        """Lowest bus voltage so far [V] and its instant."""
        self._return_to_now()
        w = self.arrays.w
        return float(w[L.V_MIN]), microseconds(float(w[L.V_MIN_AT]))

    def currents(self) -> tuple[float, float]:
        """Peak and mean battery current so far [A]."""
        self._return_to_now()
        w = self.arrays.w
        return float(w[L.I_MAX]), float(w[L.CHARGE] / w[L.T]) if w[L.T] > 0.0 else 0.0

    def energy(self) -> float:
        """Energy that has left the battery's terminals so far [J]."""
        self._return_to_now()
        return float(self.arrays.w[L.ENERGY])

    def collapsed_at(self) -> float | None:
        """First instant at which the battery could not feed what hangs on it [s]; None: never."""
        self._return_to_now()
        at = float(self.arrays.w[L.COLLAPSED_AT])
        return None if at < 0.0 else at

    def _why(self, move: Move) -> str:
        """What holds a mechanism where it ends, and what left it without power on its way."""
        dark = dict(self._went_dark(move, float(self.arrays.w[L.T])))
        still = self.arrays.w[self.arrays.at[move.mechanism] + L.DUTY] == 0.0
        return "; ".join(dark if any(dark.values()) and still else [self._holds(move), *dark])

    def _went_dark(self, move: Move, end: float) -> Iterator[tuple[str, bool]]:
        """Devices that reset after its command and until an instant: how often, and when first; whether it has not had
        its power, or its command, back."""
        begin = move.start_us / 1e6
        for device, reset in enumerate(self._resets.devices if self._resets else ()):
            assert self._resets is not None
            spells = [spell for spell in self._resets.spells(self.arrays.w, device, end) if spell[1] > begin]
            if not spells or move.mechanism not in self._resets.stopped[device]:
                continue
            what = f"the reset of the {reset.name} below {reset.below:.4g} V"
            first = f"{1e3 * max(spells[0][0] - begin, 0.0):.0f} ms after its command"
            if reset.stops == "program":
                yield f"{what} takes its command away, {first}", True
            elif len(spells) == 1:
                yield f"{what} leaves it without power, {first}", isinf(spells[-1][1])
            else:
                often = f"{len(spells)} times in {end - begin:.3g} s, first {first}"
                yield f"{what} leaves it without power {often}", isinf(spells[-1][1])

    def _holds(self, move: Move) -> str:
        w, m = self.arrays.w, self.arrays.at[move.mechanism]
        q = float(w[m + L.Q])
        if isinstance(move.command, SpinTo):
            if abs(w[m + L.DUTY]) >= 0.999 * w[m + L.EFFORT]:
                return "its effort does not bring it to that speed"
            return "its speed loop leaves it there"
        if w[m + L.S] != 0.0:
            slow = abs(w[m + L.SPEED]) < 0.05 * self._built(move.mechanism).free_speed
            return "it sinks slowly" if slow and w[m + L.DUTY] == 0.0 else UNDER_WAY
        duty, ratchet = w[m + L.DUTY], self.robot.mechanisms[move.mechanism].values.get("ratchet")
        if (
            ratchet
            and q <= w[m + L.Q_LO] > self._built(move.mechanism).reduced.low
            and float(move.target) < q
        ):
            return f"its ratchet holds it: a `ratchet: {{{move.mechanism}: released}}` step lets it down"
        if w[m + L.DUTY] == 0.0:
            return RESTS
        if (q >= w[m + L.Q_HI] and duty > 0.0) or (q <= w[m + L.Q_LO] and duty < 0.0):
            return "blocked by the end of its travel"
        if abs(w[m + L.DUTY]) >= 0.999 * max(w[m + L.EFFORT], 1e-9) or w[m + L.CONTROL] == L.SERVO:
            return "stalled: its effort does not overcome load and friction"
        return f"its control holds it there with {abs(w[m + L.DUTY]):.0%} effort"
