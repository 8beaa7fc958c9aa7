"""The energy account of one mechanism from a run's log alone: formulas of its own, no code of the kernel's.

Within a row positions follow its polynomial; everything is integrated by Gauss's rule.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

NODES, WEIGHTS = np.polynomial.legendre.leggauss(8)
X = 0.5 * (NODES + 1.0)
W = 0.5 * WEIGHTS


@dataclass
class Mechanism:
    """n equal motors of R, k, friction torque tf, rotor J, ratio G, efficiencies; load M(q), Q(q), friction F."""

    n: float
    resistance: float
    constant: float
    motor_friction: float
    rotor: float
    ratio: float
    forward: float
    back: float
    mass: Callable[[np.ndarray], np.ndarray]
    load: Callable[[np.ndarray], np.ndarray]
    friction: float
    damping: float = 0.0
    slope: Callable[[np.ndarray], np.ndarray] | None = (
        None  # dM/dq of an M that runs smoothly; None: in steps
    )
    gear: Callable[[np.ndarray], np.ndarray] = (
        np.ones_like
    )  # what the ratio is multiplied by along the travel


def account(rows: np.ndarray, it: Mechanism, open_circuit: float, ohms: float,
            duty: Callable[[np.ndarray, np.ndarray], np.ndarray],
            alone: np.ndarray | None = None) -> tuple[float, float, float, float]:  # fmt: skip
    """(energy taken from the battery's terminals, what it went into) [J]; rows: t, h, v0, v1, and the coefficients of
    the position over the share of the row.

    Also all energy that changed hands, either way (what an account can be exact to), and the least force
    that the load asked of its gears while they moved it: a cord does not push.
    What is lost where speed or mass jump between rows (a stop, a stage picked up or set down, a slack cord that
    tightens) has left the moving mass and is counted as spent. Within a row M is constant or, where it has a slope,
    smooth. `alone`: for every row, whether the rotors turn by themselves (not 0), their speeds at both ends and the
    coefficients of their way.
    """
    if alone is None:
        alone = np.zeros((len(rows), 4))
    taken = spent = turned = 0.0
    least = np.inf
    for (t0, h, v0, v1, *poly), (apart, u0, u1, *own) in zip(rows, alone, strict=True):
        q, v, a = state(h, np.array(poly))
        d = duty(t0 + X * h, q)
        w = it.ratio * (state(h, np.array(own))[1] if apart else it.gear(q) * v)
        sag = ohms * it.n / it.resistance
        volts = (open_circuit + sag * d * it.constant * w) / (1.0 + sag * d**2)
        i = (d * volts - it.constant * w) / it.resistance
        s = np.sign(v)
        moving = s != 0.0
        total = it.mass(q) * a + it.load(q) + s * it.friction + it.damping * v
        if it.slope is not None:
            total = total + 0.5 * it.slope(q) * v**2
        f = np.where(s * total >= 0.0, 1.0 / it.forward, it.back)
        heat = it.n * i**2 * it.resistance + it.n * it.motor_friction * abs(w)
        gears = 0.0 if apart else (f - 1.0) * total * v
        heat = heat + np.where(moving, gears + it.friction * abs(v) + it.damping * v**2, 0.0)
        work = it.load(q) * v
        taken += h * float(W @ (volts * it.n * d * i))
        spent += h * float(W @ (heat + work))
        turned += h * float(W @ (abs(volts * it.n * d * i) + abs(heat) + abs(work)))
        first = last = float(q[len(q) // 2])
        if it.slope is not None:
            first, last = poly[0], sum(poly)
        turns = 0.5 * it.n * it.rotor * it.ratio**2
        if apart:
            spent += 0.5 * float(it.mass(np.array([first]))[0]) * (v1**2 - v0**2) + turns * (u1**2 - u0**2)
        else:
            spent += kinetic(it, last, v1) - kinetic(it, first, v0)
            least = min(least, float(np.min(total[moving], initial=np.inf)))
    return taken, spent, turned, least


def kinetic(it: Mechanism, q: float, v: float) -> float:
    mass, gear = float(it.mass(np.array([q]))[0]), float(it.gear(np.array([q]))[0])
    return 0.5 * (mass + it.n * it.rotor * (it.ratio * gear) ** 2) * v**2


def state(h: float, poly: np.ndarray):  # type: ignore[no-untyped-def]
    """Position, speed and acceleration at Gauss's nodes of one row, from its polynomial over the share of the row."""
    whole = np.polynomial.Polynomial(poly)
    return whole(X), whole.deriv(1)(X) / h, whole.deriv(2)(X) / h**2


def brushed(rows: np.ndarray, it: Mechanism) -> float:
    """What the gears' loss would differ by in rows in which their force changes sides and comes back [J].

    A step looks for that at its ends alone.
    """
    missed = 0.0
    for _, h, _, _, *poly in rows:
        q, v, a = state(h, np.array(poly))
        s = np.sign(v)
        total = it.mass(q) * a + it.load(q) + s * it.friction + it.damping * v
        if it.slope is not None:
            total = total + 0.5 * it.slope(q) * v**2
        drives = s * total >= 0.0
        few = drives if np.sum(drives) < len(drives) / 2 else ~drives
        missed += h * float(W @ np.where(few, abs((1.0 / it.forward - it.back) * total * v), 0.0))
    return missed
