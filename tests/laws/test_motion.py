"""Laws of `simbot move` for every kind: its account of currents is the integrator's, and it always has an answer."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import numpy as np
import pytest
from builders import a_robot
from drawn import BATTERIES, KINDS_DRAWN, MOTORS
from hypothesis import assume, given
from hypothesis import strategies as st
from test_every_kind import QUICK, WITH_PHYSICS, plant_of, send

from simbot import api
from simbot.physics.motion import Circuit, motion_of
from simbot.report.document import schema_text, to_text
from simbot.report.move_document import move_document
from simbot.report.one_move import move_lines


@pytest.mark.parametrize("kind", WITH_PHYSICS)
@QUICK
@given(data=st.data(), battery=BATTERIES)
def test_currents_worked_out_anew_are_the_integrators(
    kind: str, data: Any, battery: tuple[float, float]
) -> None:
    drawn = data.draw(KINDS_DRAWN[kind]())
    plant = plant_of(drawn, battery)
    send(plant, drawn)
    end = 1_490_001  # no tick: what one changes belongs to the step after it
    if (
        kind == "servo"
    ):  # while it moves: at the edge of its dead band the integrator takes a mean of its chatter
        steps = plant.steps_to("it", end)
        moving = np.flatnonzero(steps.path[:, 1])
        assume(moving.size > 0)
        end = int(1e6 * steps.t[moving[-1]])
        plant = plant_of(drawn, battery)
        send(plant, drawn)
    course = motion_of(plant.steps_to("it", end), Circuit(plant.battery))
    power = course.flow.bus * course.flow.current
    turned = course.total(np.abs(power))
    assert course.total(power) == pytest.approx(plant.energy(), rel=1e-5, abs=1e-5 * turned + 1e-9)
    peak, lowest = np.max(course.flow.current, initial=0.0), np.min(course.flow.bus)
    most, least = plant.currents()[0], plant.lowest_bus()[0]
    # those of the course are at its points, the integrator's at the ends of its steps and within those of a series
    assert most / 1.02 - 1e-9 <= peak <= 1.02 * most + 1e-9
    assert 0.99 * least <= lowest <= least / 0.99
    assert np.all(course.heat >= 0.0) and np.all((course.shares >= 0.0) & (course.shares <= 1.0 + 1e-12))


@pytest.mark.parametrize("kind", WITH_PHYSICS)
@QUICK
@given(data=st.data(), battery=BATTERIES)
def test_every_drawn_mechanism_has_its_numbers(kind: str, data: Any, battery: tuple[float, float]) -> None:
    drawn = data.draw(KINDS_DRAWN[kind]())
    robot = a_robot({"it": drawn.mechanism}, MOTORS, battery)
    move = api.move(robot, "it", loads=(0.5,))
    lines = list(move_lines(move, [], "only", None))
    assert all(len(line) <= 80 and line.isascii() for line in lines)
    jsonschema.Draft202012Validator(json.loads(schema_text("move"))).validate(
        json.loads(to_text(move_document(move, [], None)))
    )
    for one in move.states[0].moves:
        assert sum(one.limited_by.values()) == pytest.approx(1.0, abs=1e-9)
        if one.arrival_s is not None and one.floor_s is not None:
            assert one.floor_s <= one.arrival_s + 1e-6
        assert 0.0 < one.bus_min_v <= battery[0] + 1e-9
        if (
            one.stall_share_max is not None
            and one.stall_share_max > 1.0 + 1e-6
            and one.way.start == one.stall_at
        ):
            assert one.arrival_s is None  # what cannot leave its start does not arrive
    for hold in move.states[0].holdings:
        assert hold.holds_off == (hold.motor_current_a == 0.0)
        assert hold.holds_off or not hold.holds_off_surely
        if hold.holds_off:
            assert hold.fall is None
