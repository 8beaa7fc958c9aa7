"""An invented winding without friction, and when a solution of an integrator of its own comes to a value."""

from __future__ import annotations

from typing import Any

from builders import winding
from scipy.integrate import solve_ivp

R, K, J = 1.3, 0.02, 1.2e-5  # ohm, N m/A, kg m²
MOTOR = winding(R, K, J)


def crossing(rates: Any, start: list[float], at: float) -> float:
    """Time at which the first component reaches a value, by an integrator of its own [s]."""

    def hit(_: float, y: Any) -> float:
        return float(y[0] - at)

    hit.terminal = True  # type: ignore[attr-defined]
    return float(solve_ivp(rates, (0.0, 20.0), start, events=hit, rtol=1e-10, atol=1e-12).t_events[0][0])
