"""Devices that reset when the bus falls below their volts, as a plant goes through time.

Each is on or off. On, it goes off at the first instant at which the bus is below `below`; off, it comes back once the
bus has been at or above `back_above` for `back_after` without a break. A dip between the ends of one smooth step is not
seen. The state stands behind the kernel's own in the plant's array, so that whoever goes back in time takes it
along.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import inf

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.scenario.model import Reset, Robot

Array = npt.NDArray[np.float64]
Step = tuple[float, float, float, float]
Volts = Callable[[float], float]  # instant [s] -> bus voltage then [V]
EXACT = 1e-7  # s
ON = -1.0  # in place of a control that waits for power
OFF, SINCE = 0, 1  # of a device: 1 while it is off; since when the bus has been high enough (inf: it is not)
PER_RESET = 2


def stopped_by(reset: Reset, robot: Robot, names: Sequence[str]) -> tuple[str, ...]:
    """Mechanisms that stand without power, or without a command, while a device is off."""
    mechanisms = robot.mechanisms
    if reset.stops == "program":
        return tuple(names)
    if reset.stops == "motors":
        return tuple(name for name in names if mechanisms[name].servo is None)
    return tuple(name for name in names if mechanisms[name].rail == reset.stops)


class Resets:
    """Which devices act on a plant, and when they change.

    Parameters
    ----------
    robot : Robot
    names : sequence of str
        The plant's mechanisms.
    base : int
        Where their state begins in the plant's array: the number of changes so far, two numbers a device, then one a
        mechanism (the control that waits for its power, ON where it has it).
    """

    def __init__(self, robot: Robot, names: Sequence[str], base: int) -> None:
        self.devices = robot.resets
        self.names = tuple(names)
        self.base = base
        self.stopped = [stopped_by(reset, robot, names) for reset in robot.resets]
        self.log: list[tuple[float, int, bool, float]] = []  # (instant, device, it went off, bus [V] before)

    def state(self) -> Array:
        """What is put behind the kernel's array at the start."""
        return np.array([0.0, *[0.0, inf] * len(self.devices), *[ON] * len(self.names)])

    def _at(self, device: int) -> int:
        return self.base + 1 + PER_RESET * device

    def is_off(self, w: Array, device: int) -> bool:
        return bool(w[self._at(device) + OFF] == 1.0)

    def change(self, w: Array, device: int) -> bool:
        """Let it go off, or come back: now; True where it goes off."""
        off, at, so_far = not self.is_off(w, device), self._at(device), int(w[self.base])
        w[at + OFF], w[at + SINCE] = float(off), inf
        self.log[so_far:] = [(float(w[L.T]), device, off, float(w[L.V]))]
        w[self.base] = so_far + 1
        for other, reset in enumerate(self.devices):
            if off and w[L.V] < reset.back_above:  # a dip of no length is a break, too
                w[self._at(other) + SINCE] = inf
        return off

    def waits(self, name: str) -> int:
        """Where the control of a mechanism without power is kept."""
        return self._at(len(self.devices)) + self.names.index(name)

    def without_power(self, w: Array) -> set[str]:
        off = [names for device, names in enumerate(self.stopped) if self.is_off(w, device)]
        return {name for names in off for name in names}

    def program_is_down(self, w: Array) -> bool:
        return any(
            reset.stops == "program" and self.is_off(w, device) for device, reset in enumerate(self.devices)
        )

    def next_change(self, w: Array, rows: Array, end: float, volts: Volts) -> tuple[float, list[int]] | None:
        """First instant [s] at which devices change within the steps of `rows`, which end at `end`, and which."""
        found = []
        for device, reset in enumerate(self.devices):
            if self.is_off(w, device):
                since = _high_since(rows, reset, w[self._at(device) + SINCE], volts)
                if since + reset.back_after <= end:
                    found.append((since + reset.back_after, device))
            else:
                at = _first_below(rows, reset.below, volts)
                if at is not None:
                    found.append((at, device))
        first = min(found, default=(inf, -1))[0]
        return (first, [device for at, device in found if at == first]) if found else None

    def since(self, w: Array, rows: Array, volts: Volts) -> list[float]:
        """For each device: since when the bus has been high enough, if it is off [s]; inf: it is not."""
        return [
            _high_since(rows, reset, w[self._at(device) + SINCE], volts) if self.is_off(w, device) else inf
            for device, reset in enumerate(self.devices)
        ]

    def remember(self, w: Array, since: Sequence[float]) -> None:
        """Take down what `since` gave."""
        for device, each in enumerate(since):
            w[self._at(device) + SINCE] = each

    def spells(self, w: Array, device: int, now: float) -> list[tuple[float, float]]:
        """(off, on again [s]; inf: not yet) of a device until an instant."""
        out: list[tuple[float, float]] = []
        for t, which, off, _ in self.log[: int(w[self.base])]:
            if which == device and t <= now:
                if off:
                    out.append((t, inf))
                else:
                    out[-1] = (out[-1][0], t)
        return out

    def dips(self, w: Array) -> list[tuple[float, float]]:
        """(instant [s], bus [V]) at which something went off: what it took the bus down to may last no time at all."""
        return [(t, volts) for t, _, off, volts in self.log[: int(w[self.base])] if off]

    def program_resets(self, w: Array, now: float) -> list[tuple[float, float]]:
        """The same of whatever stops the program."""
        devices = [device for device, reset in enumerate(self.devices) if reset.stops == "program"]
        return sorted(spell for device in devices for spell in self.spells(w, device, now))

    def copy(self) -> Resets:
        twin = Resets.__new__(Resets)
        twin.__dict__.update(self.__dict__)
        twin.log = list(self.log)
        return twin


def _crossing(step: Step, level: float, volts: Volts) -> float:
    """Where a step crosses a voltage that its ends lie on either side of: by bisection of the run itself."""
    begin, span, first, _ = step
    low, high = begin, begin + span
    while high - low > EXACT:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if (volts(middle) < level) == (first < level) else (low, middle)
    return high


def _steps(rows: Array) -> list[Step]:
    """(begin, length, volts at both ends) of those that take time."""
    columns = rows[rows[:, L.LOG_H] > 0.0][:, (L.LOG_T, L.LOG_H, L.LOG_V0, L.LOG_V1)]
    return [(float(t), float(h), float(v0), float(v1)) for t, h, v0, v1 in columns]


def _first_below(rows: Array, level: float, volts: Volts) -> float | None:
    low = np.minimum(rows[:, L.LOG_V0], rows[:, L.LOG_V1]) < level
    step = next(iter(_steps(rows[low])), None)
    if step is None:
        return None
    return step[0] if step[2] < level else _crossing(step, level, volts)


def _high_since(rows: Array, reset: Reset, since: float, volts: Volts) -> float:
    """Begin of the first stretch that is high for long enough, or of the one that is not over yet; inf: none."""
    level = reset.back_above
    for step in _steps(rows):
        begin, span, first, last = step
        if first < level:
            if since + reset.back_after <= begin:
                return since
            since = _crossing(step, level, volts) if last >= level else inf
        elif since == inf:
            since = begin
        over = begin + span if last >= level or first < level else _crossing(step, level, volts)
        if since + reset.back_after <= over:
            return since
        if last < level:
            since = inf
    return since
