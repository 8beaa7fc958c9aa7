"""Temperature of a motor: winding and case, each one heat store, the case against still air.

    C1 T1' = i² R(T1) - (T1 - T2)/R12        C2 T2' = (T1 - T2)/R12 - (T2 - Ta)/R2

with R(T) = R(Ta) (1 + a (T - Ta)), the two-body model of motor catalogues: C1 = winding time/R12, C2 = case
time/R2. With the mean square of the current over a span both equations are linear and are solved exactly. Magnets
are as warm as the case that they sit in (a brushed motor's): the motor constant falls with their field,
k(T2) = k(Ta) (1 - b (T2 - Ta)).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import expm1, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from simbot.physics import layout as L
from simbot.scenario.model import Heat

Array = npt.NDArray[np.float64]

HEAT_STEP = 0.1  # s: over so long the square of a current counts as even
AIR = 25.0  # °C, and the temperature of the data sheet's values
LOSS_OF_FIELD = {"ferrite": 0.0020, "neodymium": 0.0011, None: 0.0}  # 1/K, of the remanence; from memory
COPPER = 0.00393  # 1/K at 20 °C, annealed copper (IEC 60028)
RISE_OF_R = COPPER / (1.0 + COPPER * (AIR - 20.0))  # 1/K at 25 °C


@dataclass(frozen=True)
class HeatModel:
    """Heat stores of one motor.

    Parameters
    ----------
    winding, case : float
        Heat capacities [J/K].
    inner, outer : float
        Resistances winding to case and case to air [K/W].
    limit : float
        Highest winding temperature that is allowed [°C].
    resistance : float
        Of the winding at 25 °C [ohm].
    loss : float
        b, of the magnets [1/K].
    """

    winding: float
    case: float
    inner: float
    outer: float
    limit: float
    resistance: float
    loss: float = 0.0

    @classmethod
    def of(cls, sheet: Heat, resistance: float) -> HeatModel:
        """The model of a motor's sheet."""
        return cls(
            sheet.winding_time / sheet.winding_to_case,
            sheet.case_time / sheet.case_to_air,
            sheet.winding_to_case,
            sheet.case_to_air,
            sheet.limit,
            resistance,
            LOSS_OF_FIELD[sheet.magnets],
        )

    def after(self, rises: tuple[float, float], mean_square: float, span: float) -> tuple[float, float]:
        """Rises above air of winding and case [K] after a span [s] with this mean square of the current [A²]."""
        heat = mean_square * self.resistance
        a = (heat * RISE_OF_R - 1.0 / self.inner) / self.winding
        b = 1.0 / (self.inner * self.winding)
        c = 1.0 / (self.inner * self.case)
        d = -(1.0 / self.inner + 1.0 / self.outer) / self.case
        # x' = A x + (heat/C1, 0), along the two eigenvectors of A: x_i' = r_i x_i + its share of the heat
        middle, half = 0.5 * (a + d), sqrt(0.25 * (a - d) ** 2 + b * c)
        winding = case = 0.0
        for rate, other in ((middle + half, middle - half), (middle - half, middle + half)):
            grown = expm1(min(rate * span, 500.0))
            driven = grown / rate if rate != 0.0 else span
            x = (grown + 1.0) * rises[0] + driven * heat / self.winding
            y = (grown + 1.0) * rises[1]
            winding += ((a - other) * x + b * y) / (rate - other)
            case += (c * x + (d - other) * y) / (rate - other)
        return winding, case

    def factor(self, rise: Any) -> Any:
        """Resistance at a rise of the winding over that at 25 °C."""
        return 1.0 + RISE_OF_R * rise

    def field(self, rise: Any) -> Any:
        """Motor constant at a rise of the case over that at 25 °C."""
        return 1.0 - self.loss * rise


class Warmth:
    """Temperature of one mechanism's motors as a run goes on, asked for at later and later instants."""

    def __init__(self, model: HeatModel) -> None:
        self.model = model
        self._at = 0.0
        self._square = 0.0
        self._rises = (0.0, 0.0)

    def factors(self, log: Array, column: int, now: float) -> tuple[float, float]:
        """Resistance and motor constant at an instant [s] over those at 25 °C; log: all steps up to it."""
        while self._at + HEAT_STEP <= now:
            self._at, self._square, self._rises = self._after(log, column, self._at + HEAT_STEP)
        winding, case = self._after(log, column, now)[2]
        return self.model.factor(winding), self.model.field(case)

    def _after(self, log: Array, column: int, at: float) -> tuple[float, float, tuple[float, float]]:
        square = float(squares_at(log, column, np.array([at]))[0])
        span = at - self._at
        mean = (square - self._square) / span if span > 0.0 else 0.0
        return at, square, self.model.after(self._rises, mean, span)


def squares_at(log: Array, column: int, times: Array) -> Array:
    """Integral of a current's square up to each instant [A² s]; even within a step."""
    ends = np.concatenate(([0.0], log[:, L.LOG_T] + log[:, L.LOG_H]))
    return np.interp(times, ends, np.concatenate(([0.0], log[:, column])))
