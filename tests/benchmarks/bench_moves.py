"""One move in the compiled kernel against scipy's LSODA on the very same right-hand side, equally accurate.

Both get the loosest tolerance, by powers of ten, with which their arrival is right to a millionth; the kernel
is timed with the tolerance it is shipped with as well. The right instant is that of DOP853 at 1e-12, again on
the same right-hand side. LSODA sees smooth problems only, as it needs them: an
event ends a move, a servo's band begins a new one, and a loop that acts at ticks is started again at each.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, isinf
from typing import Any

import numpy as np
from bench_time import Ratio, side_by_side
from builders import LARGE, SMALL, Words, a_plant, a_robot, winding
from scipy.integrate import solve_ivp

from simbot.api import TOLERANCE
from simbot.physics import layout as L
from simbot.physics.bus import evaluate
from simbot.physics.compiled import entry
from simbot.physics.control import output
from simbot.physics.move import GoTo
from simbot.physics.record import inside_since, touched_at
from simbot.physics.stepper import SEEN, advance
from simbot.physics.ticks import feed_forward

ACCURACY = 1e-6
TRIES = (1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9, 1e-10, 1e-11)
FRICTIONLESS = winding(0.9, 0.018, 1e-5)


@entry
def slope(w: Any, tab: Any, y: Any) -> Any:
    """Speeds and accelerations of all moving mechanisms; y: position and speed of each by turns."""
    out = np.empty_like(y)
    n = int(w[L.N_LIVE])
    for k in range(n):
        m = int(w[L.LIVE + k])
        w[m + L.Q_NEXT] = y[2 * k]
        w[m + L.V_NEXT] = y[2 * k + 1]
    evaluate(w, tab)
    for k in range(n):
        m = int(w[L.LIVE + k])
        out[2 * k] = y[2 * k + 1]
        out[2 * k + 1] = w[m + L.A_NEXT]
    return out


@entry
def decided(w: Any, tab: Any, m: int, t: float, q: float, v: float) -> Any:
    """Effort that the mechanism's own loop decides at a tick."""
    return output(w, m, t, q, v, feed_forward(w, tab, m, t))[0]


def slide(control: Words, **more: object) -> Words:
    return {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "95 %"}],
        "drum_diameter": "40 mm", "moving_mass": "2.5 kg", "friction": "4 N", "travel": ["0 m", "0.6 m"],
        "control": control, **more,
    }  # fmt: skip


FULL: Words = {"loop": "full_effort", "window": "5 mm"}
LOOP: Words = {"loop": "position", "p": "12 /m", "d": "0.6 s/m", "window": "5 mm", "slower_than": "30 mm/s"}
ARM: Words = {
    "kind": "arm", "motors": "1 x coil", "gearing": [{"ratio": 150, "efficiency": "90 %"}],
    "moving_mass": "2 kg", "centre": "250 mm", "length": "500 mm", "friction": "0.2 N*m",
    "travel": ["-30 deg", "80 deg"], "control": {"loop": "full_effort", "window": "2 deg"},
}  # fmt: skip
SERVO: Words = {
    "kind": "servo", "speed": "0.15 s/60deg", "stall_torque": "1.5 N*m", "at": "6 V", "rail": "rail",
    "travel": ["-180 deg", "180 deg"], "range": "360 deg", "band": "5 deg", "dead_band": "0 deg",
    "friction": "0 %", "rotor_time": "40 ms", "stall_current": "2.4 A", "load_inertia": "0.00675 kg*m^2",
    "window": "1 deg",
}  # fmt: skip
RAILS: Words = {"rail": {"voltage": "5 V", "current_limit": "10 A", "regulator": "switching"}}
PROFILE: Words = {
    "loop": "profile", "p": "12 /m", "d": "0.1 s/m", "window": "5 mm", "slower_than": "30 mm/s",
    "speed": "0.6 m/s", "acceleration": "3 m/s^2",
}  # fmt: skip
SMOOTH: Words = {
    "friction": "0 N", "incline": "0 deg", "gearing": [{"ratio": 20, "efficiency": "100 %"}],
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    """Mechanisms and where each is sent; the first one's arrival counts."""

    name: str
    mechanisms: Words
    motors: Words
    targets: dict[str, float]
    starts: dict[str, float]
    rails: Words | None = None


CASES = (
    Case("slide, full effort", {"lift": slide(FULL)}, {"coil": LARGE}, {"lift": 0.6}, {"lift": 0.0}),
    Case("arm with gravity", {"arm": ARM}, {"coil": SMALL}, {"arm": 1.3962634015954636}, {"arm": -0.5}),
    Case(
        "two slides on one battery",
        {"lift": slide(FULL), "reach": slide(FULL, incline="0 deg", travel=["0 m", "2 m"])},
        {"coil": LARGE},
        {"lift": 0.6, "reach": 2.0},
        {"lift": 0.0, "reach": 0.0},
    ),
    Case(
        "position loop that settles",
        {"lift": slide(LOOP, **SMOOTH)},
        {"coil": FRICTIONLESS},
        {"lift": 0.4},
        {"lift": 0.0},
    ),
    Case(
        "motion profile",
        {"lift": slide(PROFILE, **SMOOTH)},
        {"coil": FRICTIONLESS},
        {"lift": 0.4},
        {"lift": 0.0},
    ),
    Case("servo", {"wrist": SERVO}, {"coil": SMALL}, {"wrist": 1.5}, {"wrist": 0.0}, RAILS),
)


class Bench:
    """One case with its state prepared: everything commanded, no time passed."""

    def __init__(self, case: Case) -> None:
        robot = a_robot(case.mechanisms, case.motors, (13.2, 0.15), rails=case.rails)
        plant = a_plant(robot, **case.starts)
        for name, target in case.targets.items():
            plant.command(name, GoTo(target))
        first = next(iter(case.targets))
        self.tab, self.m, self.number = plant.arrays.tab, plant.arrays.at[first], plant.arrays.number[first]
        self.ready = plant.arrays.w.copy()
        self.ready[L.WATCHING] = self.ready[self.m + L.WATCH] = 1.0
        self.w = self.ready.copy()
        self.log = np.empty((4096, plant.arrays.columns))
        self.start = self.begun()

    def begun(self) -> Any:
        """The state once the command is in force and all modes are found."""
        w = self.ready.copy()
        w[L.WATCHING] = 0.0
        pending = w[self.m + L.T_PENDING]
        advance(w, self.tab, self.log, 0, w[L.T] if isinf(pending) else pending)
        return w

    def kernel(self, tolerance: float = TOLERANCE) -> float:
        """Arrival as the kernel finds it [s]."""
        w, m = self.ready.copy(), self.m
        w[L.TOL] = tolerance
        code, rows = advance(w, self.tab, self.log, 0, 20.0)
        assert code == SEEN
        if w[m + L.TOUCH] != 0.0:
            return float(touched_at(self.log, rows, self.number, w[m + L.Q_HI], 0.0))
        target, window, slow = w[m + L.TARGET], w[m + L.WINDOW], w[m + L.SLOW]
        return float(inside_since(self.log, rows, self.number, target, window, slow, 0.0, w[L.T]))

    def scipy(self, method: str, rtol: float) -> float:
        """Arrival as scipy's integrator finds it [s]."""
        w = self.start.copy()
        if w[self.m + L.TOUCH] != 0.0:
            limit = w[self.m + L.Q_HI]
            return self._until(w, method, rtol, limit)[0]
        if w[self.m + L.CONTROL] == L.SERVO:
            target = w[self.m + L.TARGET]
            w[L.T], y = self._until(w, method, rtol, target - w[self.m + L.BAND])
            self._hand_over(w, y, zone=1.0)
            return self._until(w, method, rtol, target - w[self.m + L.WINDOW])[0]
        return self._by_ticks(w, method, rtol)

    def _state(self, w: Any) -> Any:
        live = [int(w[L.LIVE + k]) for k in range(int(w[L.N_LIVE]))]
        return np.array([w[m + at] for m in live for at in (L.Q, L.SPEED)])

    def _hand_over(self, w: Any, y: Any, zone: float | None = None) -> None:
        """Put scipy's state into the array and let the modes that follow from it be found."""
        w[self.m + L.Q], w[self.m + L.SPEED] = y[0], y[1]
        if zone is not None:
            w[self.m + L.ZONE] = zone
        w[L.DIRTY] = 1.0
        advance(w, self.tab, self.log, 0, w[L.T])

    def _solve(self, w: Any, method: str, rtol: float, end: float, events: list[Callable[..., float]]) -> Any:
        tab = self.tab
        return solve_ivp(
            lambda _t, y: slope(w, tab, y), (w[L.T], end), self._state(w),
            method=method, rtol=rtol, atol=0.1 * rtol, events=events,
        )  # fmt: skip

    def _until(self, w: Any, method: str, rtol: float, goal: float) -> tuple[float, Any]:
        def there(_t: float, y: Any) -> float:
            return float(y[0] - goal)

        there.terminal = True  # type: ignore[attr-defined]
        right = self._solve(w, method, rtol, 20.0, [there])
        return float(right.t_events[0][0]), right.y_events[0][0]

    def _by_ticks(self, w: Any, method: str, rtol: float) -> float:
        m, loop = self.m, w[L.LOOP]
        target, window, slow = w[m + L.TARGET], w[m + L.WINDOW], w[m + L.SLOW]

        def near(_t: float, y: Any) -> float:
            return float(window - abs(y[0] - target))

        def still(_t: float, y: Any) -> float:
            return float(slow - abs(y[1]))

        near.direction = still.direction = 1.0  # type: ignore[attr-defined]
        since = [-inf, -inf]
        for tick in range(1, 1000):
            right = self._solve(w, method, rtol, tick * loop, [near, still])
            for number, times in enumerate(right.t_events):
                if len(times):
                    since[number] = float(times[-1])
            y = right.y[:, -1]
            if near(0.0, y) >= 0.0 and still(0.0, y) >= 0.0:
                return max(since)
            w[m + L.DUTY] = decided(w, self.tab, m, tick * loop, y[0], y[1])
            w[L.T] = tick * loop
            w[m + L.Q], w[m + L.SPEED] = y
        raise AssertionError("it never settles")


@dataclass(frozen=True)
class Measured:
    """Instants of the arrival as shipped, by kernel and LSODA at their loosest, and the right one [s]."""

    shipped: float
    loose: float
    lsoda: float
    right: float
    equally_accurate: Ratio
    as_shipped: Ratio


def loosest(right: float, arrival: Callable[[float], float]) -> float:
    """Loosest tolerance with which an arrival, and that of every tighter one, is right to a millionth."""
    kept = TRIES[-1]
    for tolerance in reversed(TRIES):
        if abs(arrival(tolerance) - right) > ACCURACY * right:
            break
        kept = tolerance
    return kept


def measure(case: Case) -> Measured:
    bench = Bench(case)
    right = bench.scipy("DOP853", 1e-12)
    ours = loosest(right, bench.kernel)
    theirs = loosest(right, lambda rtol: bench.scipy("LSODA", rtol))
    loose, shipped, lsoda = side_by_side(
        [
            (lambda: bench.kernel(ours), 150),
            (bench.kernel, 150),
            (lambda: bench.scipy("LSODA", theirs), 7),
        ]
    )
    return Measured(
        bench.kernel(),
        bench.kernel(ours),
        bench.scipy("LSODA", theirs),
        right,
        Ratio(case.name, loose, lsoda),
        Ratio(f"{case.name}, as shipped", shipped, lsoda),
    )
