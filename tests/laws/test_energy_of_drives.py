"""Energy of drives on a leg: battery = windings + gears + friction + slip at the floor + what the robot has."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from drawn import BATTERIES, Drawn, number
from energy_drives import Rolling, drive_account, drive_case, wheels_alone
from hypothesis import given
from hypothesis import strategies as st
from test_every_kind import QUICK, columns, plant_of, rotors

from simbot.physics.build import DRIVES
from simbot.physics.move import DriveFor
from simbot.physics.plant import Plant

SLIDING = Drawn(
    {
        "kind": "tank", "motors": "4 x geared", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "360 mm",
        "grip": 0.5, "friction": "4 N", "driven": "all", "centre_height": "120 mm", "centre_ahead": "0 mm",
        "control": {"loop": "position", "p": "5 /m", "d": "0.3 s/m", "window": "25 mm", "slower_than": "60 mm/s"},
    },
    0.0,
    0.0,
)  # fmt: skip


@pytest.mark.parametrize("kind", DRIVES)
@pytest.mark.parametrize(("tolerance", "closes"), [(1e-7, 1e-6), (1e-11, 1e-9)])
@QUICK
@given(data=st.data(), battery=BATTERIES, effort=number(0.3, 1.0))
def test_energy_closes(
    kind: str, tolerance: float, closes: float, data: Any, battery: tuple[float, float], effort: float
) -> None:
    drawn, leg, direction = drive_case(kind, data)
    plant = plant_of(drawn, battery, 3.0, tolerance)
    plant.command("it", DriveFor(effort, 20.0, direction, 600_000, "brake"))
    plant.advance(2_000_000)
    assert plant._route is not None
    begin = plant._route.legs[-1][0]  # a swerve's wheels are steered before

    def duty(t: np.ndarray) -> np.ndarray:
        return np.where((t >= begin) & (t < max(0.6, begin)), effort, 0.0)

    taken, spent, turned, least = drive_account(columns(plant), leg, *battery, duty, turning(plant, leg))
    scale = max(turned, 1e-3)
    assert plant.energy() == pytest.approx(taken, abs=closes * scale)
    assert plant.energy() == pytest.approx(spent, abs=closes * scale)
    assert least >= -1e-9 * scale  # wheels that slide only heat the floor


def turning(plant: Plant, leg: Rolling) -> list[np.ndarray]:
    return wheels_alone(leg, plant._built("it").groups, rotors(plant))


def test_wheels_that_slide_as_they_brake_take_no_energy_from_the_floor() -> None:
    """Shorted motors brake beyond the grip: sliding wheels turn more slowly, and heat their windings less."""
    drawn, leg, direction = drive_case(
        "tank", Given(SLIDING, [{"ratio": "1:1", "efficiency": "90 %"}], False, 0.0)
    )
    plant = plant_of(drawn, (12.6, 0.1), 3.0)
    plant.command("it", DriveFor(1.0, 20.0, direction, 600_000, "brake"))
    plant.advance(2_000_000)
    alone = turning(plant, leg)
    taken, spent, turned, least = drive_account(
        columns(plant), leg, 12.6, 0.1, lambda t: np.where(t < 0.6, 1.0, 0.0), alone
    )
    assert least >= -1e-9 and alone[0][:, 0].min() == -1.0
    assert plant.energy() == pytest.approx(taken, abs=1e-6 * turned)
    assert plant.energy() == pytest.approx(spent, abs=1e-6 * turned)


GRAZING = Drawn(
    {
        "kind": "mecanum", "motors": "4 x geared", "wheel_diameter": "109.286681 mm", "wheelbase": "300 mm",
        "track": "360 mm", "grip": 1.16929, "friction": "10.25311 N", "sideways_friction": "19.141751 N",
        "centre_height": "120 mm", "centre_ahead": "1.165036 mm", "centre_left": "44.830281 mm",
        "control": {"loop": "position", "p": "5 /m", "d": "0.36 s/m", "window": "25 mm", "slower_than": "60 mm/s"},
    },
    0.0,
    0.0,
)  # fmt: skip


@pytest.mark.parametrize("tolerance", [1e-6, 1e-7, 1e-9, 1e-11])
def test_a_wheel_that_rolls_for_a_moment_within_a_step_is_seen_to_roll(tolerance: float) -> None:
    """Of a wheel that brakes, the slip falls to nothing near 0.16 s and rises again; else the floor gave it 80 uW."""
    stage = {"ratio": "1.872711:1", "efficiency": "75.471668 %", "back_efficiency": "75.471668 %"}
    drawn, leg, direction = drive_case("mecanum", Given(GRAZING, [stage], False, 0.9144))
    battery, effort = (12.638652, 0.132938), 0.916146
    plant = plant_of(drawn, battery, 3.0, tolerance)
    plant.command("it", DriveFor(effort, 20.0, direction, 600_000, "brake"))
    plant.advance(2_000_000)
    rows, alone = columns(plant), turning(plant, leg)
    *_, least = drive_account(rows, leg, *battery, lambda t: np.where(t < 0.6, effort, 0.0), alone)
    assert least >= -1e-9


class Given:
    """In the place of hypothesis: what it is made with, in order."""

    def __init__(self, *draws: Any) -> None:
        self.given = iter(draws)

    def draw(self, _from: object) -> Any:
        return next(self.given)
