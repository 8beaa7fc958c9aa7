"""Encoders: where their zero stands, and the play that a motor crosses before its load."""

from __future__ import annotations

from math import copysign

import numpy as np

from simbot.physics import layout as L
from simbot.physics.encoder import Encoder, taken_along
from simbot.physics.move import Move, Rezero
from simbot.physics.orders import Order, later, order_for
from simbot.physics.plant.needs import Needs
from simbot.physics.tables import look_up, rubbing


class Zeroing(Needs):
    """What the code takes for a position, and what it truly is."""

    __slots__ = ()

    def _pressed(self, name: str, q: float) -> tuple[float, float]:
        """Load at a place, and friction at rest [N, N m]."""
        reduced, here = self._built(name).reduced, np.clip([q], *self._travel(name))
        return float(look_up(reduced, here)[2][0]), float(rubbing(reduced, here)[1][0])

    def _take_zero(self, old: Move) -> None:
        """If a command was to zero, and its stop or switch has been seen by now: the encoder was set then."""
        if not isinstance(old.command, Rezero):
            return
        name = old.mechanism
        since = self._set_since(old, self.now_us)
        seen = None if since is None else self.tick_at_or_after(since)
        if seen is None or seen > self.now_us:
            return
        known, spec = old.command.position, self.robot.mechanisms[name]
        beyond = 0.0 if old.touch else self._raw(name, seen / 1e6)[0] - known
        encoder = self._encoders.setdefault(name, Encoder(spec.values, self.luck, name))
        encoder.is_zeroed(self._way_to_zero(name, known), beyond)

    def zero_off(self, name: str) -> float:
        """True position less measured one, as its encoder's zero now stands [m, rad]."""
        encoder = self._encoders.get(name)
        return 0.0 if encoder is None else encoder.off

    def _drifts(self, name: str, target: float, window: float) -> tuple[float, float]:
        """Of a move that begins now: by how much the true position differs from the measured one at its end, and the
        play that its motor crosses first [m, rad]."""
        encoder = self._encoders.get(name)
        if encoder is None:
            return 0.0, 0.0
        way = target + encoder.off - self._raw(name, self.now_us / 1e6)[0]
        play = 0.0
        if abs(way) > window:
            play = self._play_before(name, target + encoder.off)
            encoder.moves(way, *self._pressed(name, target))
        return encoder.off, play

    def _play_before(self, name: str, target: float) -> float:
        """The play that its motor crosses before it takes its load along towards a place, upwards positive."""
        encoder, (here, speed) = self._encoders.get(name), self._raw(name, self.now_us / 1e6)
        if encoder is None or speed != 0.0:
            return 0.0
        return encoder.crosses(target - here, *self._pressed(name, here))

    def _first_effort(self, name: str, order: Order, play: float) -> float:
        """What a control asks for at its first tick, or at most while a profile runs."""
        w, m = self.arrays.w, self.arrays.at[name]
        if play == 0.0 or order.control.loop != "position":
            return float(w[m + L.EFFORT])
        return min(float(w[m + L.EFFORT]), abs(float(w[m + L.KP] * (order.target - w[m + L.Q] + play))))

    def _cross(self, move: Move, play: float, effort: float) -> None:
        """Its motors cross the play first; its load begins to move with its share of their momentum."""
        name, move.play = move.mechanism, play
        w, m = self.arrays.w, self.arrays.at[name]
        if play == 0.0 or self.arrays.is_apart(name):
            return
        q, volts, ohms = float(w[m + L.Q]), float(w[L.V]), float(w[L.R0])
        found = taken_along(self._built(name), q, play, effort, volts, ohms)
        if found is None:
            return
        time, speed = found.time, found.speed
        if w[m + L.CONTROL] == L.PROFILED:
            time, speed = later(w, m, time, speed)
        w[m + L.PLAY_UNTIL] = w[L.T] + w[m + L.LATENCY] + time
        w[m + L.KICK] = copysign(speed * found.share, play)

    def _way_to_zero(self, name: str, position: float) -> float:
        """-1 to the lower end, +1 to the upper one: a switch is closed from its place to the nearer end."""
        low, high = self._travel(name)
        return -1.0 if position - low <= high - position else 1.0

    def _to_zero(self, name: str, command: Rezero) -> Order:
        """Effort towards the stop, or into the part of the travel in which the switch is closed."""
        control = self._control(name).with_effort(command.effort)
        end = self._travel(name)[0 if self._way_to_zero(name, command.position) < 0.0 else 1]
        target, half = 0.5 * (end + command.position), 0.5 * abs(end - command.position)
        if half > 0.0:
            control = control._replace(window=half * (1.0 + 1e-9))
        return order_for(self.arrays, name, control, target)
