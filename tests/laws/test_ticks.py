"""No tick passes at which the code would have done something else: every output worked out again from the log."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from drawn import BATTERIES, KINDS_DRAWN, Drawn, number
from energy_cases import num
from hypothesis import given
from hypothesis import strategies as st
from test_every_kind import QUICK, columns, plant_of

from simbot.physics.move import GoTo

LASTS = 3.0
TICK = 0.02


def output(loop: dict[str, Any], target: float, q: float, v: float) -> float:
    """Full effort outside its window, or p times the error less d times the speed."""
    if loop["loop"] == "full_effort":
        return 0.0 if abs(q - target) <= num(loop["window"]) + 1e-12 else float(np.sign(target - q))
    return float(np.clip(num(loop["p"]) * (target - q) - num(loop.get("d", "0")) * v, -1.0, 1.0))


@pytest.mark.parametrize("kind", ["slide", "arm", "turret"])
@QUICK
@given(data=st.data(), battery=BATTERIES, share=number(0.1, 0.9), loop=st.sampled_from(["full", "position"]))
def test_outputs_change_at_the_first_tick_at_which_they_would(
    kind: str, data: Any, battery: tuple[float, float], share: float, loop: str
) -> None:
    drawn = data.draw(KINDS_DRAWN[kind]())
    unit, room = ("m", 0.8) if kind == "slide" else ("rad", 2.0)
    control: dict[str, Any] = {"loop": "full_effort", "window": f"{0.02 * room!r} {unit}"}
    if loop == "position":
        control = {
            "loop": "position", "p": f"{6.0 / room!r} /{unit}", "d": f"{0.3 / room!r} s/{unit}",
            "window": f"{0.02 * room!r} {unit}", "slower_than": f"{0.1 * room!r} {unit}/s",
        }  # fmt: skip
    target = share * room
    mechanism = {**drawn.mechanism, "control": control, "wraps": False} if kind == "turret" else {
        **drawn.mechanism, "control": control
    }  # fmt: skip
    start = min(max(drawn.start, 0.0), room) if kind == "slide" else drawn.start
    plant = plant_of(Drawn(mechanism, start, target), battery, LASTS)
    plant.command("it", GoTo(target))
    plant.advance(round(1e6 * LASTS))
    before = output(control, target, start, 0.0)
    for t, h, _, _, *poly in columns(plant):
        way = np.polynomial.Polynomial(poly)
        first = int(np.floor(t / TICK + 1e-9)) + 1
        for k in range(first, int(np.floor((t + h) / TICK + 1e-9)) + 1):
            x = (k * TICK - t) / h
            now = output(control, target, float(way(x)), float(way.deriv()(x)) / h)
            if k * TICK < t + h - 1e-9:  # inside a row nothing changes
                assert now == pytest.approx(before, abs=1e-9)
            before = now
