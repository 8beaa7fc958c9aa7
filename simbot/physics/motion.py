"""What a mechanism's motors did in a run: currents, heat and limits, worked out anew from the run's steps.

A step tells position, speed and acceleration at both ends and the effort that acted in it; currents follow
from the motor's line i = (d V - k w)/R under its limits, and the bus voltage from V = E - R0 I(V), for the
one mechanism alone on its battery. Integrals are taken by Gauss's rule within each step.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isinf

import numpy as np
import numpy.typing as npt
from numpy.polynomial.polynomial import polyder, polyval

from simbot.physics import layout as L
from simbot.physics.build import SWITCHING_EFFICIENCY, Built
from simbot.physics.tables import look_up, rubbing
from simbot.scenario.model import BatteryState, Rail

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
INNER = 6  # nodes within a step; its ends are told besides, with no weight
NODES = INNER + 2
GAUSS = np.polynomial.legendre.leggauss(INNER)
NODES_AT = np.array([0.0, *(0.5 * (GAUSS[0] + 1.0)), 1.0])
TINY = 1e-12
CAP_NEAR = 1e-5  # of the forces at play: a force this near to what can be passed on stands there


@dataclass(frozen=True)
class Steps:
    """The steps of one mechanism's motion.

    Parameters
    ----------
    t, h : ndarray, shape (n,)
        Begin and length of each [s].
    path : ndarray, shape (n, order + 1)
        Position as a polynomial over the share of the step.
    emf : ndarray, shape (n, 2)
        Open-circuit voltage of the battery, less its polarisation, at both ends [V].
    duty : ndarray, shape (n,)
        Effort that acted, -1..1.
    open_leads : ndarray of bool, shape (n,)
    zone, target : ndarray, shape (n,)
        A servo's (see layout.ZONE); zone is nan for anything else.
    band : float
        A servo's.
    built : tuple of Built, one a step
        Of a drive: that of the leg.
    alone : ndarray, shape (groups, n, order + 1)
        Way of each group's motors over their ratio while they turn by themselves, as `path`; nan while they do not.
    """

    t: Array
    h: Array
    path: Array
    emf: Array
    duty: Array
    open_leads: Flags
    zone: Array
    target: Array
    band: float
    built: tuple[Built, ...]
    alone: Array


def paths(rows: Array, number: int) -> Array:
    """Position of a mechanism, or of what is logged as one, as a polynomial over the share of each step of a log."""
    own, h = rows[:, L.LOG_MECH + L.LOG_PER_MECH * number :], rows[:, L.LOG_H]
    head = (own[:, L.LOG_Q0], h * own[:, L.LOG_SPEED0], 0.5 * h**2 * own[:, L.LOG_ACC0])
    return np.column_stack((*head, own[:, L.LOG_POLY : L.LOG_PER_MECH]))


@dataclass(frozen=True)
class Circuit:
    """The battery, and the rail between it and the motors where there is one."""

    battery: BatteryState
    rail: Rail | None = None

    @property
    def full(self) -> float:
        """Voltage that full effort would have without any sag [V]."""
        return float(self.battery.open_circuit if self.rail is None else self.rail.voltage)


@dataclass(frozen=True)
class Flow:
    """Voltages and currents at some instants; one row a motor group where two-dimensional.

    Parameters
    ----------
    bus : ndarray, shape (n,)
        [V]
    current : ndarray, shape (n,)
        Of the battery [A].
    supply : ndarray, shape (n,)
        Voltage that feeds the motors [V].
    motor : ndarray, shape (groups, n)
        Current in the winding of one motor [A] (of a servo: in units of its model's, see G_CURRENT).
    limited : ndarray of bool, shape (n,)
        A limit of the controller rules.
    """

    bus: Array
    current: Array
    supply: Array
    motor: Array
    limited: Flags


@dataclass(frozen=True)
class Motion:
    """Everything at the nodes and ends of all steps, in order of time.

    Parameters
    ----------
    t, weight : ndarray, shape (n,)
        Instants, and the time each stands for [s]: sum(weight * x) is the integral of x.
    q, v : ndarray
        Position and speed.
    duty : ndarray
    flow : Flow
    motor_current : ndarray
        Greatest of the windings' currents, without sign; of a servo: its supply current at that torque [A].
    heat : ndarray
        In the windings of all motors, i² R [W]; of a servo scaled as its supply current is.
    lifting : ndarray
        Power into weight and springs, Q v [W].
    capped : ndarray of bool
        The wheels are at their grip, or the cord is slack.
    shares : ndarray, shape (3, n)
        Parts of the full voltage that sag, winding and back-EMF take; they add up to 1.
    """

    t: Array
    weight: Array
    q: Array
    v: Array
    duty: Array
    flow: Flow
    motor_current: Array
    heat: Array
    lifting: Array
    capped: Flags
    shares: Array

    def total(self, values: Array) -> float:
        return float(np.sum(self.weight * values))


# --- the circuit --------------------------------------------------------------------------------------


def flow(
    built: Built, circuit: Circuit, duty: Array, emf: Array, open_leads: Flags, source: Array | None = None
) -> Flow:
    """Where battery and motors meet: the bus voltage by Newton's method from above, and all currents.

    Parameters
    ----------
    duty : ndarray, shape (n,)
        The mechanism's effort; groups take their share of it.
    emf : ndarray, shape (groups, n)
        k w of each group's motors [V].
    source : ndarray, shape (n,)
        Open-circuit voltage less polarisation [V]; None: the battery's, at rest and untouched.
    """
    battery = circuit.battery
    source = np.full(np.shape(duty), float(battery.open_circuit)) if source is None else source
    bus = source
    ohms = float(battery.resistance)
    for _ in range(60):
        now = _flow_at(built, circuit, duty, emf, open_leads, bus)
        error = bus + ohms * now.current - source
        if ohms == 0.0 or np.all(np.abs(error) < TINY * battery.open_circuit):
            break
        step = 1e-6 * battery.open_circuit
        beside = _flow_at(built, circuit, duty, emf, open_leads, bus + step)
        slope = 1.0 + ohms * (beside.current - now.current) / step
        bus = np.maximum(bus - error / np.where(np.abs(slope) > 1e-3, slope, 1.0), L.NO_VOLTS)
    found = _flow_at(built, circuit, duty, emf, open_leads, bus)
    if ohms == 0.0:
        return found
    held = bus <= L.NO_VOLTS  # by the diodes of what asks more than the battery gives at no volts
    return replace(found, current=np.where(held, (source - bus) / ohms, found.current))


def _flow_at(built: Built, circuit: Circuit, duty: Array, emf: Array, open_leads: Flags, bus: Array) -> Flow:
    """Currents at a bus voltage."""
    rail = circuit.rail
    supply = bus if rail is None else np.minimum(rail.voltage, bus - rail.dropout)
    motors, limited, drawn = _motors(built, duty, emf, open_leads, supply)
    if rail is None:
        return Flow(bus, drawn, supply, motors, limited)
    over = drawn > rail.current_limit
    if np.any(over):  # the regulator lets its voltage fall until its limit is what flows: i is linear in it
        step = 1e-3
        _, _, more = _motors(built, duty, emf, open_leads, supply + step)
        per_volt = np.maximum((more - drawn) / step, 1e-12)
        supply = np.where(over, np.maximum(supply - (drawn - rail.current_limit) / per_volt, TINY), supply)
        motors, limited, drawn = _motors(built, duty, emf, open_leads, supply)
    drawn = np.maximum(drawn, 0.0)
    taken = drawn if rail.regulator == "linear" else supply * drawn / (SWITCHING_EFFICIENCY * bus)
    return Flow(bus, taken, supply, motors, limited)


def _motors(
    built: Built, duty: Array, emf: Array, open_leads: Flags, supply: Array
) -> tuple[Array, Flags, Array]:
    """Winding currents of each group, whether a limit rules, and what all take from their supply [A]."""
    currents = np.zeros((len(built.groups), len(duty)))
    limited = np.zeros(len(duty), dtype=bool)
    drawn = np.zeros(len(duty))
    for number, group in enumerate(built.groups):
        e, ohms = emf[number], group[L.G_R]
        given = np.where(np.abs(e) > supply, (np.sign(e) * supply - e) / ohms, 0.0)  # through the diodes
        conducts = given if group[L.G_RAIL] < 0.0 else 0.0  # a rail takes nothing back
        i = np.where(open_leads, conducts, (duty * group[L.G_SHARE] * supply - e) / ohms)
        if not isinf(group[L.G_LIMIT]):
            held = np.clip(i, -group[L.G_LIMIT], group[L.G_LIMIT])
            reach = np.clip((held * ohms + e) / supply, -1.0, 1.0)
            bound = ~open_leads & (held != i)
            i = np.where(bound, (reach * supply - e) / ohms, i)
            limited |= bound
        if not isinf(group[L.G_LIMIT_B]):
            most, way = group[L.G_LIMIT_B], np.sign(i)
            bound = ~open_leads & (i * (i * ohms + e) > most * supply) & (duty * group[L.G_SHARE] * i > 0.0)
            root = np.sqrt(e * e + 4.0 * supply * ohms * most)
            i = np.where(bound, way * 2.0 * most * supply / (root + way * e), i)
            limited |= bound
        currents[number] = i
        drawn += group[L.G_N] * group[L.G_CURRENT] * i * (i * ohms + e) / supply
    return currents, limited, drawn


# --- a run --------------------------------------------------------------------------------------------


def motion_of(steps: Steps, circuit: Circuit) -> Motion:
    """The motion at Gauss's nodes of all steps, and at the steps' ends."""
    x, weight = NODES_AT, np.array([0.0, *(0.5 * GAUSS[1]), 0.0])
    parts = []
    legs = [0, *(k for k in range(1, len(steps.built)) if steps.built[k] is not steps.built[k - 1])]
    for first, last in zip(legs, [*legs[1:], len(steps.built)], strict=True):
        rows = slice(first, last)
        q, v, a = (values.ravel() for values in _states(steps, rows, x))
        t = (steps.t[rows, None] + steps.h[rows, None] * x).ravel()
        dt = (steps.h[rows, None] * weight).ravel()
        source = (steps.emf[rows, :1] + np.diff(steps.emf[rows]) * x).ravel()
        parts.append(_motion(steps, rows, circuit, t, dt, q, v, a, source))
    return joined(parts)


def _states(steps: Steps, rows: slice, x: Array) -> tuple[Array, Array, Array]:
    """Position, speed, acceleration at shares x of the steps, shape (n, nodes)."""
    h = np.maximum(steps.h[rows, None], 1e-300)
    first = steps.path[rows].T
    second, third = polyder(first), polyder(first, 2)
    q, v, a = (np.asarray(polyval(x, each), dtype=np.float64) for each in (first, second, third))
    return q, v / h, a / h**2


def _speeds_alone(steps: Steps, rows: slice) -> Array:
    """Speed of each group's motors over their ratio at all nodes where they turn by themselves, else nan."""
    h = np.maximum(steps.h[rows, None], 1e-300)
    return np.array([(polyval(NODES_AT, polyder(each[rows].T)) / h).ravel() for each in steps.alone])


def _motion(
    steps: Steps,
    rows: slice,
    circuit: Circuit,
    t: Array,
    dt: Array,
    q: Array,
    v: Array,
    a: Array,
    source: Array,
) -> Motion:
    built = steps.built[rows.start]
    duty, open_leads = np.repeat(steps.duty[rows], NODES), np.repeat(steps.open_leads[rows], NODES)
    zone, target = np.repeat(steps.zone[rows], NODES), np.repeat(steps.target[rows], NODES)
    loop = np.where(np.abs(zone) == 1.0, (target - q) / max(steps.band, TINY), np.sign(zone))
    duty = np.where(np.isnan(zone) | (v == 0.0), duty, loop)
    mass, slope, load, factor, bend = look_up(built.reduced, q)
    groups = built.groups
    turn = _speeds_alone(steps, rows)[: len(groups)]
    turn = np.array(
        [np.where(np.isnan(each), factor * v, each) for each in turn] or [factor * v] * len(groups)
    )
    emf = groups[:, L.G_K, None] * groups[:, L.G_RATIO, None] * turn
    meets = flow(built, circuit, duty, emf, open_leads, source)
    heat = sum(
        (
            group[L.G_N] * group[L.G_CURRENT] * i**2 * group[L.G_R]
            for group, i in zip(groups, meets.motor, strict=True)
        ),
        np.zeros_like(t),
    )
    winding = np.max(np.abs(meets.motor) * groups[:, L.G_CURRENT, None], axis=0)
    way = np.where(duty < 0.0, -1.0, 1.0)
    taken = np.array([circuit.full - meets.supply, way * meets.motor[0] * groups[0, L.G_R], way * emf[0]])
    taken = np.maximum(taken, 0.0)
    shares = taken / np.maximum(np.sum(taken, axis=0), TINY)
    capped = _capped(built, meets, q, mass, slope, load, factor, bend, v, a) & (v != 0.0)
    capped |= ~np.isnan(_speeds_alone(steps, rows)).all(axis=0)
    return Motion(t, dt, q, v, duty, meets, winding, heat, load * v, capped, shares)


def _capped(
    built: Built,
    meets: Flow,
    q: Array,
    mass: Array,
    slope: Array,
    load: Array,
    factor: Array,
    bend: Array,
    v: Array,
    a: Array,
) -> Flags:
    """Where the force passed on stands at what can be passed on (grip; zero of a cord that only pulls)."""
    reduced, groups = built.reduced, built.groups
    low, high = groups[:, L.G_LO, None], groups[:, L.G_HI, None]
    if len(groups) > 1:
        forces = np.array(
            [force_of(group, i, factor, bend, v, a) for group, i in zip(groups, meets.motor, strict=True)]
        )
        return np.asarray(np.any((forces > high) | (forces < low), axis=0))
    friction = np.sign(v) * rubbing(reduced, q)[0] + reduced.damping * v
    force = mass * a + 0.5 * slope * v * v + load + friction
    near = CAP_NEAR * (np.abs(mass * a) + np.abs(load) + np.abs(friction))
    return np.asarray((force >= high[0] - near) | (force <= low[0] + near))


def force_of(group: Array, i: Array, factor: Array, bend: Array, v: Array, a: Array) -> Array:
    """Force or torque that a group would pass on to the mechanism if nothing bounded it."""
    s = np.sign(v)
    ratio = group[L.G_RATIO] * factor
    spin = s * np.sign(ratio)
    x = group[L.G_N] * (group[L.G_K] * i - group[L.G_TF] * spin)
    x = np.where(x * spin >= 0.0, x * group[L.G_RF], x / group[L.G_RB])
    inertia = group[L.G_N] * group[L.G_J]
    bare = ratio * (x - inertia * (ratio * a + group[L.G_RATIO] * bend * v * v))
    passed = np.where(s * bare >= 0.0, bare / group[L.G_FWD], bare / group[L.G_BACK])
    return np.asarray(passed - group[L.G_WHEEL] * a)


def joined(parts: list[Motion]) -> Motion:
    """Motions one after the other."""

    def along(name: str) -> Array:
        return np.concatenate([getattr(part, name) for part in parts], axis=-1)

    most = max(len(part.flow.motor) for part in parts)
    motors = [
        np.vstack((part.flow.motor, np.zeros((most - len(part.flow.motor), len(part.t))))) for part in parts
    ]
    bus, current, supply = (
        np.concatenate([getattr(part.flow, name) for part in parts]) for name in ("bus", "current", "supply")
    )
    limited = np.concatenate([part.flow.limited for part in parts])
    flows = Flow(bus, current, supply, np.concatenate(motors, axis=1), limited)
    return Motion(
        along("t"), along("weight"), along("q"), along("v"), along("duty"), flows, along("motor_current"),
        along("heat"), along("lifting"), np.concatenate([part.capped for part in parts]), along("shares"),
    )  # fmt: skip
