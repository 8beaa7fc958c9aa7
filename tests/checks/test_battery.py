"""The battery: published examples, and the bus with limits against a root finder.

Sources: E = 10 V, r = 0.5 ohm and E = 6 V: science-campus.com, dctheory_6_8 (read); 12.0 V, 11.5 V at 3.00 A:
College Physics, chapter 18 (inputs read); 12 V, 0.100 ohm with 0.500 ohm: OpenStax College Physics 21.2
(numbers from memory); 12 V, 1 ohm, 3 ohm: pastquestions.ng 2023 (read); maximum power E²/4r: a problem on
database-physics-solutions.com (read). Everything else is derived, each value found here a second way.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, sqrt
from random import Random
from typing import Any

import numpy as np
import pytest
from builders import LARGE, RPM, SMALL, G, a_move, a_plant, a_robot, winding
from scipy.optimize import brentq

from simbot.physics import bus
from simbot.physics import layout as L
from simbot.physics.compiled import entry
from simbot.physics.move import Spin

SMALL_R = 12.0 / 9.2
SMALL_K = (12.0 - 0.25 * SMALL_R) / (5800 * RPM)
LARGE_R = 12.0 / 131.0
LARGE_K = (12.0 - 2.7 * LARGE_R) / (5330 * RPM)


@entry
def solve(w, tab):  # type: ignore[no-untyped-def]
    """The kernel's own solver, callable from here."""
    bus.solve_from_top(w, tab)


@dataclass
class Device:
    """A motor on the bus at a speed: current d (d V - k w)/R, limited on its own side or on the battery's."""

    resistance: float
    emf: float  # k w [V]
    duty: float
    limit: float = inf
    battery_limit: float = inf

    def takes(self, volts: Any) -> Any:
        i = (self.duty * volts - self.emf) / self.resistance
        d = self.duty
        if self.limit < inf:
            held = (np.sign(i) * self.limit * self.resistance + self.emf) / volts
            held = np.clip(held, -1.0, 1.0)  # it cannot set more than all of the bus against the back-EMF
            d = np.where(np.abs(i) > self.limit, held, self.duty)
        return np.minimum(d * (d * volts - self.emf) / self.resistance, self.battery_limit)


@dataclass
class Supply:
    """A switching regulator that feeds a resistor: constant voltage or constant current, else in dropout."""

    voltage: float
    limit: float
    ohms: float

    def takes(self, volts: Any) -> Any:
        out = np.minimum(self.voltage, volts)
        current = np.minimum(out / self.ohms, self.limit)
        return current * current * self.ohms / 0.9 / volts


def state(emf: float, ohms: float, devices: list[Device], supply: Supply | None = None) -> np.ndarray:
    """The kernel's array for motors at given speeds; a servo at rest stands for the regulator's resistor."""
    mechs = len(devices) + (supply is not None)
    rails = int(supply is not None)
    first = L.RAILS + rails * L.RAIL_SIZE
    groups = first + mechs * L.MECH_SIZE
    w = np.zeros(groups + mechs * L.GROUP_SIZE)
    w[L.E], w[L.R0], w[L.N_RAIL], w[L.COLLAPSED_AT] = emf, ohms, rails, -1.0
    w[L.N_MECH] = w[L.N_BODY] = mechs
    if supply is not None:
        w[L.RAILS + L.RAIL_SET], w[L.RAILS + L.RAIL_LIMIT] = supply.voltage, supply.limit
        w[L.RAILS + L.RAIL_EFF] = 0.9
    everything = [*devices, Device(supply.ohms, 0.0, 1.0)] if supply is not None else devices
    for n, device in enumerate(everything):
        m, g = first + n * L.MECH_SIZE, groups + n * L.GROUP_SIZE
        w[m + L.N_GRP], w[m + L.GRP], w[m + L.DUTY] = 1, g, device.duty
        w[m + L.S], w[m + L.V_NEXT] = 1.0, device.emf
        w[g + L.G_N] = w[g + L.G_RATIO] = w[g + L.G_K] = w[g + L.G_SHARE] = w[g + L.G_CURRENT] = 1.0
        w[g + L.G_R], w[g + L.G_LIMIT], w[g + L.G_LIMIT_B] = (
            device.resistance,
            device.limit,
            device.battery_limit,
        )
        w[g + L.G_RAIL] = 0.0 if n == len(devices) else -1.0
    return w


TABLE = np.zeros((1, L.TAB_COLUMNS))


def volts(emf: float, ohms: float, devices: list[Device], supply: Supply | None = None) -> float:
    w = state(emf, ohms, devices, supply)
    solve(w, TABLE)
    return float(w[L.V]) if w[L.COLLAPSED_AT] < 0.0 else 0.0


def highest_root(emf: float, ohms: float, takes: Callable[[Any], Any]) -> float | None:
    """Highest root of V + R0 sum I(V) = E by a scan from the top and Brent's method."""

    def lack(v: Any) -> Any:
        return v + ohms * takes(v) - emf

    grid = np.linspace(200.0, 0.05, 8001)
    values = np.asarray(lack(grid))
    change = np.flatnonzero(values[:-1] * values[1:] <= 0.0)
    return float(brentq(lack, grid[change[0] + 1], grid[change[0]], xtol=1e-13)) if len(change) else None


@pytest.mark.parametrize(
    ("emf", "ohms", "load", "current", "bus_volts", "digits"),
    [
        (10.0, 0.5, 10.0, 0.952, 9.52, 5e-3),
        (10.0, 0.5, 50.0, 0.198, 9.9, 5e-3),
        (10.0, 0.5, 100.0, 0.0995, 9.95, 5e-3),
        (6.0, 2.0, 98.0, 0.060, 5.88, 1e-9),
        (12.0, 0.5 / 3.0, 11.5 / 3.0, 3.0, 11.5, 1e-9),
        (12.0, 1.0, 3.0, 3.0, 9.0, 1e-9),
        (12.0, 0.1, 0.5, 20.0, 10.0, 1e-9),
        (12.0, 0.5, 0.5, 12.0, 6.0, 1e-9),
        (12.0, 0.1, 10.0, 1.188, 11.88, 5e-3),
    ],
)
def test_published_examples(
    emf: float, ohms: float, load: float, current: float, bus_volts: float, digits: float
) -> None:
    """A resistor is a motor that stands still."""
    w = state(emf, ohms, [Device(load, 0.0, 1.0)])
    solve(w, TABLE)
    assert w[L.V] == pytest.approx(bus_volts, abs=digits)
    assert w[L.I] == pytest.approx(current, abs=max(digits / 10.0, 1e-9))


def test_most_power() -> None:
    """13.2 V behind 0.12 ohm: 363 W at 55 A and 6.6 V, and no load gets more."""
    power = {}
    for load in (0.05, 0.10, 0.119, 0.12, 0.121, 0.15, 0.3):
        w = state(13.2, 0.12, [Device(load, 0.0, 1.0)])
        solve(w, TABLE)
        power[load] = (w[L.V] * w[L.I], w[L.V], w[L.I])
    assert power[0.12] == pytest.approx((363.0, 6.6, 55.0))
    assert max(power.values()) == power[0.12]


def test_two_motors_switched_on_together() -> None:
    together = volts(13.2, 0.12, [Device(0.45, 0.0, 1.0), Device(0.80, 0.0, 1.0)])
    assert together == pytest.approx(13.2 / (1.0 + 0.12 * (1 / 0.45 + 1 / 0.80)), rel=1e-13)
    assert together == pytest.approx(9.3176470588, abs=5e-10)
    assert volts(13.2, 0.12, [Device(0.45, 0.0, 1.0)]) == pytest.approx(10.4210526316, abs=5e-10)


def test_three_duties() -> None:
    """Efforts 1, 0.5, -1 at 0, 100 and 50 rad/s on 13.2 V, 0.15 ohm."""
    motors = [Device(SMALL_R, SMALL_K * w, d) for d, w in ((1.0, 0.0), (0.5, 100.0), (-1.0, 50.0))]
    right = highest_root(13.2, 0.15, lambda v: sum(motor.takes(v) for motor in motors))
    assert volts(13.2, 0.15, motors) == pytest.approx(right, abs=1e-11)
    assert volts(13.2, 0.15, motors) == pytest.approx(10.486594, abs=6e-7)


def test_four_limited_motors_stalled() -> None:
    """At 40 A each they draw constant power; unlimited they would pull the bus to 6.725979 V."""
    limited = [Device(LARGE_R, 0.0, 1.0, 40.0)] * 4
    power = 4 * 40.0**2 * LARGE_R
    right = (12.6 + sqrt(12.6**2 - 4 * 0.02 * power)) / 2.0
    assert volts(12.6, 0.02, limited) == pytest.approx(right, rel=1e-12)
    assert right == pytest.approx(11.588176, abs=6e-7)
    assert volts(12.6, 0.02, [Device(LARGE_R, 0.0, 1.0)] * 4) == pytest.approx(6.725979, abs=6e-7)


def test_one_limited_motor_stalled() -> None:
    """20 A in the winding are 2.921582 A at the battery: motor amperes are not battery amperes."""
    w = state(12.6, 0.02, [Device(LARGE_R, 0.0, 1.0, 20.0)])
    solve(w, TABLE)
    assert w[L.I] == pytest.approx(2.921582, abs=6e-7)
    assert 20.0 * LARGE_R / w[L.V] == pytest.approx(0.146079, abs=6e-7)


def test_collapse() -> None:
    """120 W ask more than 12.4 V behind 0.35 ohm can give, 109.8 W at most: no operating point."""
    resistor = Supply(6.0, inf, 6.0**2 / (0.9 * 120.0))
    hold = 12.4**2 / 4.0 / 0.35
    assert hold < 120.0
    v = volts(12.4, 0.35, [], resistor)
    assert v < 6.0  # not regulated: in dropout the regulator passes what the bus has
    limited = Device(0.1, 11.0, 1.0, 30.0)
    assert hold < 30.0 * (30.0 * 0.1 + 11.0)
    right = highest_root(12.4, 0.35, limited.takes)
    assert volts(12.4, 0.35, [limited]) == pytest.approx(right, abs=1e-9)


def test_regenerating_motor_and_a_constant_power_load() -> None:
    """Two roots above half of E; the bus stands at the higher: 7.679279 V, not 6.647922 V."""
    motor = Device(SMALL_R, 23.0, 1.0)
    stalled = Device(1e-3, 0.0, 1.0, sqrt(185.0 / 1e-3))  # 185 W whatever the voltage

    def lack(v: Any) -> Any:
        return v + 0.35 * (motor.takes(v) + stalled.takes(v)) - 12.0

    assert brentq(lack, 7.2, 9.0, xtol=1e-13) == pytest.approx(7.679279, abs=6e-7)
    assert brentq(lack, 6.5, 7.2, xtol=1e-13) == pytest.approx(6.647922, abs=6e-7)
    assert volts(12.0, 0.35, [motor, stalled]) == pytest.approx(7.679279, abs=6e-7)


@pytest.mark.parametrize("kind", ["motor limits", "battery limits", "with a regulator"])
def test_random_systems(kind: str) -> None:
    """Up to eight motors, driving, plugging, regenerating, with limits, against the highest root."""
    random = Random(70)
    none = 0
    for _ in range(250):
        emf, ohms = random.uniform(10.0, 14.0), random.uniform(0.01, 0.4)
        devices = []
        for _ in range(random.randint(1, 8)):
            r, k = random.choice(((SMALL_R, SMALL_K), (LARGE_R, LARGE_K)))
            device = Device(
                r, k * random.uniform(-900, 900), random.choice((-1, 1)) * random.uniform(0.1, 1.0)
            )
            device.limit = random.uniform(2.0, 60.0)
            if kind == "battery limits" and random.random() < 0.6:
                device.battery_limit = random.uniform(1.0, 20.0)
            devices.append(device)
        supply = None
        if kind == "with a regulator":
            supply = Supply(6.0, random.uniform(1.0, 8.0), random.uniform(0.7, 6.0))

        def takes(v: Any, devices: list[Device] = devices, supply: Supply | None = supply) -> Any:
            return sum(device.takes(v) for device in devices) + (supply.takes(v) if supply else 0.0)

        right = highest_root(emf, ohms, takes)
        got = volts(emf, ohms, devices, supply)
        if right is None:
            none += 1
            assert got == 0.0
        else:
            assert got == pytest.approx(right, abs=1e-9), (emf, ohms, devices, supply)
    assert none < 125


def plug(duty: float) -> tuple[float, float]:
    """Motor and battery current of the large motor at free speed on a stiff 12 V bus [A]."""
    w = state(12.0, 0.0, [Device(LARGE_R, LARGE_K * 5330 * RPM, duty)])
    solve(w, TABLE)
    return (duty * w[L.V] - LARGE_K * 5330 * RPM) / LARGE_R, float(w[L.I])


@pytest.mark.parametrize(
    ("duty", "motor", "battery"), [(0.5, -62.8, -31.4), (0.0, -128.3, 0.0), (-1.0, -259.3, 259.3)]
)
def test_braking_shorting_and_plugging(duty: float, motor: float, battery: float) -> None:
    got = plug(duty)
    assert got == pytest.approx((motor, battery), abs=0.051)
    heat = got[0] ** 2 * LARGE_R
    shaft = LARGE_K * 5330 * RPM * got[0]
    assert 12.0 * got[1] == pytest.approx(heat + shaft, rel=1e-12)


def test_sag_slows_every_mechanism() -> None:
    """Four large motors at stall take what four resistors take: seen from a robot's file."""
    winch = {"kind": "winch", "motors": "4 x big", "gearing": [{"ratio": 2, "efficiency": "100 %"}],
             "drum_diameter": "50 mm", "load": "5000 N", "friction": "0 N", "travel": ["0 m", "1 m"],
             "control": {"loop": "full_effort", "window": "1 mm"}}  # fmt: skip
    plant = a_plant(a_robot({"winch": winch}, {"big": LARGE}, (12.6, 0.02)), seconds=1.0)
    a_move(plant, "winch", 1.0)
    plant.advance(100_000)
    assert plant.lowest_bus()[0] == pytest.approx(6.725979, abs=6e-7)
    assert plant.currents()[0] == pytest.approx((12.6 - 6.725979) / 0.02, rel=1e-6)


def test_energy_balance_on_the_way() -> None:
    """What leaves the battery is heat in windings, friction, height and motion: nothing is made or lost."""
    motor = winding(0.45, 0.0185, 2.4e-5)
    lift = {"kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "100 %"}],
            "drum_diameter": "40 mm", "moving_mass": "2.5 kg", "friction": "6 N", "travel": ["0 m", "2 m"],
            "control": {"loop": "full_effort", "window": "1 mm"}}  # fmt: skip
    plant = a_plant(a_robot({"lift": lift}, {"coil": motor}, (13.0, 0.1)), tolerance=1e-10)
    a_move(plant, "lift", 2.0)
    end = 500_000
    plant.advance(end)
    times = np.linspace(0.0, end * 1e-6, 5001)
    speed = np.array([plant._raw("lift", t)[1] for t in times])
    current = (13.0 - 0.0185 * 1000.0 * speed) / 0.55
    heat = np.trapezoid(current**2 * 0.45, times)
    height = float(plant.position("lift"))
    motion = 0.5 * (2.5 + 24.0) * plant.speed("lift") ** 2
    assert plant.energy() == pytest.approx(heat + 6.0 * height + 2.5 * G * height + motion, rel=1e-6)


def test_others_currents_slow_a_mechanism() -> None:
    """The same lift, while a stalled winch takes a share of the battery."""
    lift = {"kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "80 %"}],
            "drum_diameter": "38 mm", "moving_mass": "3.2 kg", "friction": "8 N", "travel": ["0 m", "0.75 m"],
            "control": {"loop": "full_effort", "window": "1 mm"}}  # fmt: skip
    wheel = {"kind": "roller", "motors": "1 x coil", "inertia": "1 kg*m^2", "friction": "10 N*m"}
    plant = a_plant(a_robot({"lift": lift, "wheel": wheel}, {"coil": SMALL}, (13.2, 0.15)))
    plant.command("wheel", Spin(1.0))
    move = a_move(plant, "lift", 0.75)
    # a stalled motor is a resistor beside the battery: E' = E R/(R + r), r' = R r/(R + r)
    emf, ohms = 13.2 * SMALL_R / (SMALL_R + 0.15), 0.15 * SMALL_R / (SMALL_R + 0.15)
    alone = a_move(a_plant(a_robot({"lift": lift}, {"coil": SMALL}, (emf, ohms))), "lift", 0.75)
    first, second = move.first_inside_us(), alone.first_inside_us()
    assert first is not None and second is not None
    assert abs(first - second) <= 2
