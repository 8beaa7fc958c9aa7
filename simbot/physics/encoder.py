"""Where an encoder's zero stands, and the play behind it: how far a measured position is from the true one.

The encoder sits at the motor. true = measured + off, with off = zero + play/2 (side - side when it was zeroed). The
zero moves by its drift with every move. The play's side is -1 where the load hangs on the lower flank and +1 where it
is pushed against the upper one: the load decides where it is more than its friction at rest, else it lags behind the
last move (which ends gently: one that stops dead throws its load across). Zeroing takes the position that is known for
the true one; its own spread is that of `zero`.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import copysign, exp, inf
from typing import Any

from simbot.physics.luck import Luck

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

    @staticmethod
    def _side(lags: float, load: float, friction: float) -> float:
        return float(-copysign(1.0, load) if abs(load) > friction else lags)


def crossing_time(angle: float, torque: float, inertia: float, free_speed: float) -> float:
    """Time in which a motor alone turns through its play, from rest at full effort [s].

    angle = w t - w tau (1 - exp(-t/tau)), tau = J w/T (torque-speed line, no load; textbook), by Newton's method from
    sqrt(2 angle J/T), which is a little less.

    Parameters
    ----------
    angle : float
        Of the motor's shaft [rad].
    torque, inertia, free_speed : float
        At standstill [N m], of the rotor [kg m²], and at which it brings none [rad/s].
    """
    if angle <= 0.0:
        return 0.0
    if inertia <= 0.0:
        return angle / free_speed
    tau, last = inertia * free_speed / torque, inf
    t = (2.0 * angle * inertia / torque) ** 0.5
    while abs(t - last) > 1e-12 * t:
        gone = exp(-t / tau)
        last, t = t, t + (angle / free_speed - t + tau * (1.0 - gone)) / (1.0 - gone)
    return float(t)
