"""Units as data sheets write them, against published conversion factors.

Source: 1 kgf = 9.80665 N exactly, ozf in 7.061552e-3, lbf in 1.129848e-1, lbf ft 1.355818, kgf m 9.80665 N m
(NIST SP 811, appendix B.8, from memory; the same figures read in a unit table); inch, ounce and yard as the
unit library has them (read). Compared to all the digits that are printed.
"""

from __future__ import annotations

from math import pi

import pytest
from builders import a_robot
from scipy import constants

ROLLER = {"kind": "roller", "motors": "1 x coil", "inertia": "1e-5 kg*m^2"}


def read(key: str, written: str) -> float:
    """What a motor's sheet in a robot file comes to, SI."""
    sheet = {"voltage": "12 V", "free_speed": "300 rpm", "free_current": "0.1 A", "stall_torque": "0.5 N*m",
             "rotor_inertia": "1e-5 kg*m^2", "source": "illustrative"}  # fmt: skip
    robot = a_robot({"wheel": ROLLER}, {"coil": {**sheet, key: written}})
    return float(getattr(robot.motors["coil"], key))


@pytest.mark.parametrize(
    ("written", "printed", "digits"),
    [
        ("1 kgf*m", 9.806650, 5e-7),
        ("100 kgf*cm", 9.806650, 5e-7),
        ("100 ozf*in", 7.061552e-1, 5e-8),
        ("10 lbf*in", 1.129848, 5e-7),
        ("1 lbf*ft", 1.355818, 5e-7),
        ("24.3 kgf*cm", 24.3 * 0.0980665, 1e-12),
        ("500 mN*m", 0.5, 1e-15),
    ],
)
def test_torque(written: str, printed: float, digits: float) -> None:
    assert read("stall_torque", written) == pytest.approx(printed, abs=digits)


def test_torque_by_exact_constants() -> None:
    """From the definitions of pound, inch and standard acceleration."""
    assert read("stall_torque", "1 lbf*in") == pytest.approx(constants.lbf * constants.inch, rel=1e-14)
    assert read("stall_torque", "8.850746 lbf*in") == pytest.approx(
        1.0, abs=5e-7
    )  # and not the other way round
    assert read("stall_torque", "16 ozf*in") == pytest.approx(constants.lbf * constants.inch, rel=1e-14)


@pytest.mark.parametrize(
    ("written", "right"), [("1 rpm", 0.1047197551), ("60 rpm", 2 * pi), ("360 deg/s", 2 * pi)]
)
def test_speed(written: str, right: float) -> None:
    assert read("free_speed", written) == pytest.approx(right, rel=1e-9)


@pytest.mark.parametrize(
    ("written", "right"),
    [
        ("0.20 s/60deg", 5.235988),
        ("0.12 s/60deg", pi / 3 / 0.12),
        ("0.15 s/60deg", 6.981317),
        ("50 rpm", 5.235988),
    ],
)
def test_servo_speed(written: str, right: float) -> None:
    """0.20 s for 60 degrees are 50 rpm: by definition."""
    servo = {"kind": "servo", "speed": written, "stall_torque": "10 kgf*cm", "at": "6 V", "rail": "rail",
             "travel": ["0 deg", "90 deg"]}  # fmt: skip
    rails = {"rail": {"voltage": "6 V", "current_limit": "5 A", "regulator": "linear"}}
    robot = a_robot({"hand": servo}, {}, rails=rails)
    assert robot.mechanisms["hand"].values["speed"] == pytest.approx(right, abs=5e-7)


@pytest.mark.parametrize(
    ("written", "right"),
    [("1 in", 0.0254), ("36 in", 0.9144), ("1 ft", 0.3048), ("100 mm", 0.1), ("3.8 cm", 0.038)],
)
def test_length(written: str, right: float) -> None:
    slide = {"kind": "slide", "motors": "1 x coil", "drum_diameter": "1 in", "moving_mass": "2 lb",
             "travel": ["0 m", written]}  # fmt: skip
    sheet = {"voltage": "12 V", "free_speed": "300 rpm", "stall_current": "9 A", "source": "illustrative"}
    values = a_robot({"lift": slide}, {"coil": sheet}).mechanisms["lift"].values
    assert values["travel"][1] == pytest.approx(right, rel=1e-14)
    assert values["drum_diameter"] == pytest.approx(0.0254, rel=1e-14)
    mass = values["moving_mass"]
    assert float(mass[0] if isinstance(mass, tuple) else mass) == pytest.approx(2 * constants.lb, rel=1e-14)


@pytest.mark.parametrize(
    ("written", "right"), [("8 oz", 8 * 0.028349523125), ("1 lb", 0.45359237), ("250 g", 0.25)]
)
def test_mass(written: str, right: float) -> None:
    sheet = {"voltage": "12 V", "free_speed": "300 rpm", "stall_current": "9 A", "source": "illustrative"}
    robot = a_robot({"wheel": ROLLER}, {"coil": sheet}, mass=written)
    assert robot.mass == pytest.approx(right, rel=1e-12)
