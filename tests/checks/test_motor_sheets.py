"""Data sheets of two makers: what a sheet's few numbers imply against the maker's own derived lines.

Sources, read: catalogue page "3,2 mNm DC-Micromotors", series 1331 SR of Faulhaber, three windings (its stall
torque is after friction); catalogue page of May 2013, EC 40, 120 W of maxon, first winding (before friction).
Values derived from the equations are computed here a second way.
"""

from __future__ import annotations

from math import log, sqrt

import pytest
from builders import RPM, SMALL, a_plant, a_robot, a_sheet
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from simbot.physics.build import completed
from simbot.physics.motor import MotorModel, motor_model, resistance_from_torque
from simbot.physics.move import Spin

# volts, ohm, rpm, no-load A, stall mN m, friction mN m, mN m/A, ms, g cm², W, efficiency %, 1e3 rad/s²
BRUSHED = {
    "006": (6.0, 2.83, 10600, 0.0220, 11.20, 0.12, 5.35, 7.0, 0.71, 3.11, 81, 160),
    "012": (12.0, 13.7, 9900, 0.0105, 9.90, 0.12, 11.4, 7.0, 0.67, 2.57, 80, 150),
    "024": (24.0, 52.9, 10400, 0.0055, 9.76, 0.12, 21.8, 7.0, 0.63, 2.66, 80, 160),
}


@pytest.mark.parametrize("winding", BRUSHED)
@pytest.mark.parametrize("with_resistance", [True, False])
def test_brushed_sheet(winding: str, with_resistance: bool) -> None:
    volts, ohms, rpm, idle, stall, friction, constant, tau, inertia, power, efficiency, start = BRUSHED[
        winding
    ]
    current = volts / ohms if with_resistance else None
    model = motor_model(a_sheet(volts, rpm * RPM, idle, stall * 1e-3, current, inertia * 1e-7))
    assert model.resistance == pytest.approx(ohms, rel=0.015)
    assert model.constant == pytest.approx(constant * 1e-3, rel=0.015)
    assert model.friction == pytest.approx(friction * 1e-3, rel=0.02)
    assert model.resistance * model.rotor_inertia / model.constant**2 == pytest.approx(tau * 1e-3, rel=0.02)
    stall_torque = model.r * (model.constant * volts / model.resistance - model.friction)
    assert stall_torque == pytest.approx(stall * 1e-3, rel=1e-9)  # the torque line is kept
    assert rpm * RPM * stall_torque / 4.0 == pytest.approx(power, rel=0.015)
    assert (1.0 - sqrt(idle * model.resistance / volts)) ** 2 == pytest.approx(efficiency / 100.0, rel=0.015)
    assert stall_torque / model.rotor_inertia == pytest.approx(start * 1e3, rel=0.035)


def test_stall_torque_before_friction() -> None:
    """12 V, 10300 rpm, 0.886 A; stall 985 mN m and 89.2 A; 0.134 ohm, 11.0 mN m/A, 10.5 rpm/mN m, 9.39 ms."""
    for current in (89.2, None):
        sheet = a_sheet(12.0, 10300 * RPM, 0.886, 0.985, current, 85e-7, after_friction=False)
        model = motor_model(sheet)
        assert model.resistance == pytest.approx(0.134, rel=0.01)
        assert model.constant == pytest.approx(11.0e-3, rel=0.005)
        assert model.constant == pytest.approx(1.0 / (865.0 * RPM), rel=0.005)
        assert model.constant * 12.0 / model.resistance == pytest.approx(0.985, rel=0.005)
        assert model.resistance / model.constant**2 / RPM * 1e-3 == pytest.approx(10.5, rel=0.01)
        assert model.resistance * 85e-7 / model.constant**2 == pytest.approx(9.39e-3, rel=0.01)
        # at the nominal point 9050 rpm, 107 mN m, 10.4 A: warm winding and losses with speed, hence 2.5 %
        speed = (12.0 - 10.4 * model.resistance) / model.constant
        assert speed / RPM == pytest.approx(9050, rel=0.025)
        assert model.constant * 10.4 - model.friction == pytest.approx(0.107, rel=0.025)


def test_resistance_from_the_two_conventions() -> None:
    """The 6 V sheet's torque taken either way; each is the root of its own equation."""
    volts, speed, idle, stall = 6.0, 10600 * RPM, 0.022, 0.0112
    before = brentq(lambda r: volts * (volts - idle * r) / (speed * r) - stall, 0.1, 100.0, xtol=1e-14)
    after = brentq(lambda r: (volts - idle * r) ** 2 / (speed * r) - stall, 0.1, 100.0, xtol=1e-14)
    assert resistance_from_torque(volts, speed, idle, stall, False) == pytest.approx(before, rel=1e-12)
    assert resistance_from_torque(volts, speed, idle, stall, True) == pytest.approx(after, rel=1e-12)
    assert (before, after) == pytest.approx((2.865254, 2.835772), abs=5e-7)


def small() -> MotorModel:
    return motor_model(a_sheet(12.0, 5800 * RPM, 0.25, None, 9.2))


def large() -> MotorModel:
    return motor_model(a_sheet(12.0, 5330 * RPM, 2.7, 2.41, 131.0, 7.5e-5))


def test_model_of_a_sheet_without_torque() -> None:
    model = small()
    assert (model.resistance, model.constant, model.friction) == pytest.approx(
        (1.304348, 0.0192203, 0.004805), rel=3e-5
    )
    assert model.r == 1.0 and model.stall_current_replaced_by is None


def test_sheet_that_says_everything() -> None:
    """Torque below what its currents make: a loss inside; the torque line is kept with one constant."""
    model = large()
    assert model.r == pytest.approx(0.8921, abs=5e-5)
    assert model.r * (model.constant * 131.0 - model.friction) == pytest.approx(2.41, rel=1e-12)
    assert (12.0 - 2.7 * model.resistance) / model.constant == pytest.approx(5330 * RPM, rel=1e-12)


def test_sheet_that_would_make_energy() -> None:
    """More torque than its currents can make: torque and speed stay, the stall current gives way."""
    sheet = a_sheet(12.0, 5676 * RPM, 1.7, 2.6, 105.0)
    model = motor_model(sheet)
    assert model.sheet_r > 1.0 and model.r == 1.0
    assert model.stall_current_replaced_by == pytest.approx(12.0 / model.resistance)
    assert model.stall_current_replaced_by > 105.0
    assert model.constant * 12.0 / model.resistance - model.friction == pytest.approx(2.6, rel=1e-12)
    assert (12.0 - 1.7 * model.resistance) / model.constant == pytest.approx(5676 * RPM, rel=1e-12)


def test_gearmotor_keeps_its_rotor_before_its_gears() -> None:
    sheet = a_sheet(12.0, 312 * RPM, 0.25, 24.3 * 0.0980665, 9.2, 8e-6, internal_ratio=19.2)
    model = motor_model(sheet)
    assert model.geared and model.r < 1.0
    assert model.rotor_inertia == pytest.approx(8e-6 * 19.2**2)
    assert motor_model(a_sheet(12.0, 312 * RPM, 0.25, None, 9.2)).geared is False


def spin_down(after: str, motor: MotorModel, seconds: float) -> list[float]:
    """Speeds of a bare rotor [rad/s] every millisecond after full effort was taken away."""
    roller = {"kind": "roller", "motors": "1 x coil", "inertia": "0 kg*m^2", "friction": "0 N*m",
              "control": {"after": after}}  # fmt: skip
    plant = a_plant(a_robot({"wheel": roller}, {"coil": SMALL}), seconds=10.0)
    plant.command("wheel", Spin(1.0))
    plant.advance(1_000_000)
    assert plant.speed("wheel") == pytest.approx(5800 * RPM, rel=1e-6)
    plant.command("wheel", Spin(0.0))
    end = round(seconds * 1e6)
    plant.advance(1_000_000 + end)
    return [plant.speed("wheel", 1_000_000 + t) for t in (end // 2, end)]


def test_bare_motor_shorted_and_open() -> None:
    """From free speed to a tenth of it: 73.575 ms shorted, 1.137625 s with open leads."""
    model = small()
    top, k, r, tf, j = 5800 * RPM, model.constant, model.resistance, model.friction, 1e-5
    still = tf * r / k**2
    brake = j * r / k**2 * log((top + still) / (0.1 * top + still))
    coast = 0.9 * j * top / tf
    assert (brake, coast) == pytest.approx((0.073575, 1.137625), abs=6e-7)
    slope = solve_ivp(lambda _t, w: (-k * k * w / r - tf) / j, (0, brake), [top], rtol=1e-12, atol=1e-12)
    assert slope.y[0, -1] == pytest.approx(0.1 * top, rel=1e-9)
    half, end = spin_down("brake", model, brake)
    assert end == pytest.approx(0.1 * top, rel=2e-5)  # to the microsecond
    assert half == pytest.approx(
        (top + still) * 10 ** (-0.5 * brake / (j * r / k**2) / log(10)) - still, rel=2e-5
    )
    half, end = spin_down("coast", model, coast)
    assert end == pytest.approx(0.1 * top, rel=1e-5)
    assert half == pytest.approx(0.55 * top, rel=1e-5)


def test_assumed_values_are_said() -> None:
    """A sheet without rotor inertia and free current gets both, each listed with its reason."""
    thin = {key: SMALL[key] for key in ("voltage", "free_speed", "stall_current", "source")}
    robot = a_robot(
        {"wheel": {"kind": "roller", "motors": "1 x coil", "inertia": "1e-5 kg*m^2"}}, {"coil": thin}
    )
    filled, assumed = completed(robot)
    keys = {key for owner, _, key, *_ in assumed if owner == "motors.coil"}
    assert keys == {"free_current", "rotor_inertia"}
    assert filled.motors["coil"].free_current == pytest.approx(0.04 * 9.2)
