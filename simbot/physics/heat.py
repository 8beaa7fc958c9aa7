"""Temperature of a motor: winding and case, each one heat store, the case against still air.

    C1 T1' = i² R(T1) - (T1 - T2)/R12        C2 T2' = (T1 - T2)/R12 - (T2 - Ta)/R2

with R(T) = R(Ta) (1 + a (T - Ta)), the two-body model of motor catalogues: C1 = winding time/R12, C2 = case
time/R2. With the mean square of the current over a span both equations are linear and are solved exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import expm1, sqrt

AIR = 25.0  # °C, and the temperature of the data sheet's values
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
    """

    winding: float
    case: float
    inner: float
    outer: float
    limit: float
    resistance: float

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

    def factor(self, rise: float) -> float:
        """Resistance at a rise of the winding over that at 25 °C."""
        return 1.0 + RISE_OF_R * rise
