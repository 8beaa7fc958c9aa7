"""Where an encoder's zero stands, and the play behind it: how far a measured position is from the true one.

The encoder sits at the motor. true = measured + off, with off = zero + play/2 (side - side when it was zeroed). The
zero moves by its drift with every move. The play's side is -1 where the load hangs on the lower flank and +1 where it
is pushed against the upper one: the load decides where it is more than its friction at rest, else it lags behind the
last move (which ends gently: one that stops dead throws its load across). Zeroing takes the position that is known for
the true one; its own spread is that of `zero`.

A move from rest whose motor stands on the other flank crosses the play first, with its rotors' inertia alone and at
the effort that the control begins with (a profile: as it runs); then it takes the load along, and the momentum is
shared (no bounce). The current of that time is left out; so is the play of a move that begins while it moves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import copysign, exp, inf
from typing import Any

import numpy as np

from simbot.physics import layout as L
from simbot.physics.luck import Luck
from simbot.physics.tables import look_up

KEYS = ("zero", "zero_drift", "backlash")


def is_stated(values: Mapping[str, Any]) -> bool:
    """Whether a mechanism says anything of its encoder's zero."""
    given = [values[key] for key in KEYS if values.get(key) is not None]
    return any(value != 0.0 or getattr(value, "spread", 0.0) > 0.0 for value in given)


class Encoder:
    """One mechanism's; `off`: true position less measured one [m, rad]."""

    def __init__(self, values: Mapping[str, Any], luck: Luck, name: str) -> None:
        self.values, self.luck, self.name = values, luck, name
        self.play = float(values["backlash"])
        self.zero = luck.value(values["zero"], "zero", name)
        self.side = self.zeroed_side = 1.0

    @property
    def off(self) -> float:
        return float(self.zero) + 0.5 * self.play * (self.side - self.zeroed_side)

    def begins(self, load: float, friction: float) -> None:
        """It has been zeroed from above, and stands under a load [N, N m]."""
        self.side = self.zeroed_side = self._side(1.0, load, friction)

    def moves(self, way: float, load: float, friction: float) -> None:
        """It is sent up (way > 0) or down, to where it bears a load."""
        self.zero += self.luck.value(self.values["zero_drift"], "zero_drift", self.name)
        self.side = self._side(-copysign(1.0, way), load, friction)

    def is_zeroed(self, way: float, beyond: float) -> None:
        """It was zeroed moving up or down, `beyond` the position that its encoder was set to."""
        self.zero = self.luck.value(self.values["zero"], "zero", self.name) + beyond
        self.side = self.zeroed_side = -copysign(1.0, way)

    def crosses(self, way: float, load: float, friction: float) -> float:
        """The play that its motor crosses before it takes a load at rest along, upwards positive [m, rad].

        None where it stands on the flank that drives it, or where its load presses it to one, whichever way it goes.
        """
        if self.play == 0.0 or self.side == -copysign(1.0, way) or abs(load) > friction:
            return 0.0
        return copysign(self.play, way)

    @staticmethod
    def _side(lags: float, load: float, friction: float) -> float:
        return float(-copysign(1.0, load) if abs(load) > friction else lags)


def crossing(
    angle: float, torque: float, inertia: float, free_speed: float, most: float = inf
) -> tuple[float, float]:
    """Time in which a motor alone turns through its play, from rest, and its speed there [s, rad/s].

    At most `most`, a limit of its current, up to the speed w0 at which its torque-speed line is below that; from
    there on angle = w t - (w - w0) tau (1 - exp(-t/tau)), tau = J w/T (no load; textbook), by Newton's method.

    Parameters
    ----------
    angle : float
        Of the motor's shaft [rad].
    torque, inertia, free_speed : float
        At standstill [N m], of the rotor [kg m²], and at which it brings none [rad/s].
    most : float
        Torque that it is limited to [N m].
    """
    if angle <= 0.0:
        return 0.0, 0.0
    if inertia <= 0.0:
        return angle / free_speed, free_speed
    first = begin = 0.0
    if most < torque:
        begin = free_speed * (1.0 - most / torque)
        turned = 0.5 * inertia * begin**2 / most
        if turned >= angle:
            time = (2.0 * angle * inertia / most) ** 0.5
            return time, time * most / inertia
        first, angle = begin * inertia / most, angle - turned
    tau, gap, last = inertia * free_speed / torque, free_speed - begin, inf
    start = gap / tau  # acceleration at the beginning of what is left
    t = (
        2.0 * angle / (begin + (begin**2 + 2.0 * angle * start) ** 0.5)
    )  # as if that lasted: a little too short
    while abs(t - last) > 1e-12 * t:
        gone = exp(-t / tau)
        last = t
        t += (angle - free_speed * t + gap * tau * (1.0 - gone)) / (free_speed - gap * gone)
    return float(first + t), float(free_speed - gap * exp(-t / tau))


@dataclass(frozen=True)
class Crossing:
    """How motors cross a play [s, and as the load would move with them: m/s, rad/s], and the load's share of that."""

    time: float
    speed: float
    share: float = 1.0


def crossing_of(
    row: Any, ratio: float, play: float, effort: float, volts: float, ohms: float
) -> Crossing | None:
    """Of n equal motors (a row of layout.G_*) on a bus of `volts` behind `ohms`; None: they do not turn.

    V = u (volts - ohms n u I) over the windings, as in the run; their friction is in it, the gears' losses are
    not: there is no load yet.

    Parameters
    ----------
    ratio : float
        Motor angle per unit of travel there.
    effort : float
        0 to 1.
    """
    constant, resistance = row[L.G_K], row[L.G_R] + ohms * row[L.G_N] * effort**2
    drag = row[L.G_TF] / constant
    torque = row[L.G_RF] * constant * (effort * volts / resistance - drag)
    if effort <= 0.0 or torque <= 0.0:
        return None
    most = row[L.G_RF] * constant * (min(row[L.G_LIMIT], row[L.G_LIMIT_B] / effort) - drag)
    if most <= 0.0:
        return None
    free = (effort * volts - drag * resistance) / constant
    time, speed = crossing(abs(play * ratio), float(torque), float(row[L.G_J]), float(free), float(most))
    return Crossing(time, speed / abs(ratio))


def taken_along(
    built: Any, q: float, play: float, effort: float, volts: float, ohms: float
) -> Crossing | None:
    """How a load at rest begins to move once the motors of a mechanism (build.Built) have crossed the play.

    Its speed is its share of the rotors' momentum, as where a stage is picked up; `time` is that of the crossing.
    """
    row = built.groups[0]
    mass, _, _, factor, _ = look_up(built.reduced, np.array([q]))
    ratio = float(row[L.G_RATIO] * factor[0])
    found = crossing_of(row, ratio, play, effort, volts, ohms)
    if found is None:
        return None
    rotors = ratio**2 * row[L.G_N] * row[L.G_J] / row[L.G_FWD]
    return Crossing(found.time, found.speed, float(rotors / (rotors + mass[0])))
