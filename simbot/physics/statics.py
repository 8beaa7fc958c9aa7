"""A mechanism that stands or runs steadily: what stalled motors bring, what holding takes, where speeds settle.

Closed forms from the tables over the travel; the circuit is that of `motion`.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np

from simbot.physics import layout as L
from simbot.physics.build import SWITCHING_EFFICIENCY, Built
from simbot.physics.heat import AIR, LOSS_OF_FIELD, RISE_OF_R
from simbot.physics.motion import TINY, Array, Circuit, Flags, flow, force_of
from simbot.physics.tables import look_up, rubbing


def stall_force(built: Built, circuit: Circuit, q: Array, way: float) -> Array:
    """What the stalled motors at full effort bring to the load on their own sag [N, N m], at positions.

    Less the motors' own friction and the gears' losses, at most what can be passed on (grip, a pulling cord).
    """
    factor = look_up(built.reduced, q)[3]
    still = np.zeros(len(q))
    none = np.zeros((len(built.groups), len(q)))
    currents = flow(built, circuit, still + 1.0, none, still > 0.0).motor
    total = np.zeros(len(q))
    for group, i in zip(built.groups, currents, strict=True):
        x = np.maximum(group[L.G_N] * (group[L.G_K] * np.abs(i) - group[L.G_TF]), 0.0)
        force = np.abs(group[L.G_RATIO] * factor) * x * group[L.G_RF] / group[L.G_FWD]
        total += np.minimum(force, group[L.G_HI] if way > 0.0 else -group[L.G_LO])
    return total


def stall_share(built: Built, circuit: Circuit, q: Array, way: float) -> Array:
    """Load and friction at rest over stall_force; above 1 it does not start, 0 where the load itself starts it."""
    need = np.maximum(way * look_up(built.reduced, q)[2] + rubbing(built.reduced, q)[1], 0.0)
    there = stall_force(built, circuit, q, way)
    return np.where(need <= 0.0, 0.0, np.where(there > 0.0, need / np.maximum(there, TINY), inf))


def holding_torque(built: Built, q: Array) -> Array:
    """Torque at one shaft that all motors must bring to keep it from sinking [N m]; below 0: friction holds it.

    Friction at rest and the gears' losses help to hold; gears that lock hold all (-inf).
    """
    group = built.groups[0]
    _, _, load, factor, _ = look_up(built.reduced, q)
    back = group[L.G_RB] * group[L.G_BACK_TRUE]
    if group[L.G_LOCKS] == 1.0 or back <= 0.0:
        return np.full_like(q, -inf)
    ratio = np.abs(group[L.G_RATIO] * factor)
    return np.asarray(
        (np.abs(load) - rubbing(built.reduced, q)[1]) * back / ratio - group[L.G_N] * group[L.G_TF]
    )


def holding_current(built: Built, q: Array) -> Array:
    """Least current of one motor that keeps it from sinking [A], at positions; of a servo its supply's."""
    group = built.groups[0]
    torque = np.maximum(holding_torque(built, q), 0.0)
    return np.asarray(torque / (group[L.G_N] * group[L.G_K]) * group[L.G_CURRENT])


def caught(built: Built, q: Array) -> Flags:
    """Whether a tooth of a ratchet holds it where its load draws it down from positions."""
    teeth = [segment.low for segment in built.reduced.segments if segment.catch]
    sinks = look_up(built.reduced, q)[2] > 0.0
    return np.asarray(sinks & (q >= min(teeth, default=inf)))


def onto_tooth(built: Built) -> float:
    """Greatest way from which it drops onto a tooth of its ratchet [m, rad]."""
    teeth = [segment.low for segment in built.reduced.segments if segment.catch]
    return float(np.max(np.diff([*teeth, built.reduced.high])))


def steady_speed(built: Built, circuit: Circuit, q: float, way: float) -> float:
    """Speed at which full effort just carries load and friction at a position [m/s, rad/s]; 0: it does not move.

    By bisection: what the motors bring falls as the speed rises.
    """
    here = np.array([q])
    _, _, load, factor, bend = look_up(built.reduced, here)
    sliding, resting = (each[0] for each in rubbing(built.reduced, here))
    if way * load[0] + resting >= stall_force(built, circuit, here, way)[0]:
        return 0.0
    low, high = 0.0, 10.0 * built.free_speed
    for _ in range(100):
        speed = 0.5 * (low + high)
        v = np.array([way * speed])
        emf = np.array([group[L.G_K] * group[L.G_RATIO] * factor * v for group in built.groups])
        currents = flow(built, circuit, np.array([way]), emf, np.array([False])).motor
        brought = 0.0
        for group, i in zip(built.groups, currents, strict=True):
            braked = way * group[L.G_K] * i[0] <= group[L.G_TF]  # gears that lock pass nothing of that on
            if braked and group[L.G_BACK] <= 0.0:
                brought = -inf
                continue
            force = force_of(group, i, factor, 0.0 * bend, v, 0.0 * v)[0]
            brought += way * min(max(force, group[L.G_LO]), group[L.G_HI])
        asked = way * load[0] + sliding + built.reduced.damping * speed
        low, high = (speed, high) if brought > asked else (low, speed)
    return 0.5 * (low + high)


def holding_draw(group: Array, current: float, circuit: Circuit) -> tuple[float, float]:
    """Heat in all motors of a group [W] and battery current [A] while each holds with a supply current [A]."""
    heat = float(group[L.G_N] * current**2 * group[L.G_R] / group[L.G_CURRENT])
    power = heat
    if circuit.rail is not None:
        if circuit.rail.regulator == "linear":  # the same current, and what it does not need is burnt
            model = current / group[L.G_CURRENT]
            return heat, float(group[L.G_N] * current * model * group[L.G_R] / circuit.rail.voltage)
        power /= SWITCHING_EFFICIENCY
    e, ohms = float(circuit.battery.open_circuit), float(circuit.battery.resistance)
    inside = e * e - 4.0 * ohms * power
    return heat, power / (0.5 * (e + inside**0.5)) if inside >= 0.0 else inf


def warmed(built: Built, celsius: float, magnets: str | None = None) -> Built:
    """The same mechanism with motors at another temperature than the 25 degrees C of their sheets.

    Resistance as `heat` has it; the motor constant falls with the magnets' field, and stays as it is cold where the
    sheet does not say which magnets they are, as in a run.
    """
    groups = built.groups.copy()
    groups[:, L.G_R] *= 1.0 + RISE_OF_R * (celsius - AIR)
    groups[:, L.G_K] *= 1.0 - LOSS_OF_FIELD[magnets] * (celsius - AIR)
    return replace(built, groups=groups)
