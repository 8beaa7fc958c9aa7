"""Energy of drives on a leg: battery = windings + gears + friction + slip at the floor + what the robot has."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from drawn import BATTERIES, number
from energy_drives import drive_account, drive_case
from hypothesis import given
from hypothesis import strategies as st
from test_every_kind import QUICK, columns, plant_of

from simbot.physics.build import DRIVES
from simbot.physics.move import DriveFor


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

    taken, spent, turned, least = drive_account(columns(plant), leg, *battery, duty)
    scale = max(turned, 1e-3)
    assert plant.energy() == pytest.approx(taken, abs=closes * scale)
    assert plant.energy() == pytest.approx(spent, abs=closes * scale)
    print(kind, least)
