"""Racks, screws, scissors and linkages on a robot that stands tilted, or on an arm: loads from heights, derived."""

from __future__ import annotations

from collections.abc import Callable
from math import asin, cos, radians, sin, sqrt

import numpy as np
import pytest
from builders import G, Words, a_move, a_plant, a_robot, seconds, winding

from simbot.physics.build import Models
from simbot.scenario.model import Robot

COIL = winding(0.45, 0.0185, 2.4e-5)
Weights = list[tuple[float, complex]]  # masses [kg] and where they are, forward and up [m]
STRAIGHT: Words = {"moving_mass": "2 kg", "incline": "60 deg", "travel": ["0 m", "0.5 m"]}
CASES: dict[str, Words] = {
    "rack": {**STRAIGHT, "pinion_diameter": "40 mm"},
    "lead_screw": {**STRAIGHT, "pitch": "8 mm", "mean_diameter": "8 mm"},
    "scissor": {
        "cells": 3, "link": "0.2 m", "link_mass": "0.3 kg", "top_mass": "0.5 kg", "travel": ["0.1 m", "0.55 m"],
        "gearing": [{"ratio": 100}],
    },
    "parallelogram_arm": {
        "length": "0.4 m", "moving_mass": "0.6 kg", "centre": "0.2 m", "carried_mass": "0.8 kg",
        "travel": ["-60 deg", "150 deg"],
    },
    "four_bar": {
        "ground": "100 mm", "crank": "40 mm", "coupler": "120 mm", "rocker": "80 mm", "ground_angle": "25 deg",
        "parts": [{"link": "rocker", "mass": "400 g", "at": "80 mm"}], "travel": ["10 deg", "170 deg"],
    },
    "slider_crank": {
        "crank": "40 mm", "coupler": "80 mm", "slider_mass": "0.5 kg", "incline": "35 deg",
        "travel": ["10 deg", "170 deg"],
    },
}  # fmt: skip


def four_bar(q: float) -> Weights:
    """The rocker's end is where two circles meet, on the left of the way from the crank's end to its pivot."""
    first = 0.04 * np.exp(1j * q)
    gap = 0.1 - first
    along = (abs(gap) ** 2 + 0.12**2 - 0.08**2) / (2.0 * abs(gap))
    end = first + (along + 1j * sqrt(0.12**2 - along**2)) * gap / abs(gap)
    return [(0.4, end * np.exp(1j * radians(25.0)))]


def scissor(h: float) -> Weights:
    wide = 0.2 * cos(asin(h / 0.6))
    links: Weights = [(0.6, complex(0.5 * wide, h * (cell + 0.5) / 3.0)) for cell in range(3)]
    return [(0.5, complex(0.0, h)), *links]


PLACES: dict[str, Callable[[float], Weights]] = {
    "rack": lambda q: [(2.0, q * np.exp(1j * radians(60.0)))],
    "lead_screw": lambda q: [(2.0, q * np.exp(1j * radians(60.0)))],
    "scissor": scissor,
    "parallelogram_arm": lambda q: [(0.6, 0.2 * np.exp(1j * q)), (0.8, 0.4 * np.exp(1j * q))],
    "four_bar": four_bar,
    "slider_crank": lambda q: [
        (0.5, (0.04 * cos(q) + sqrt(0.08**2 - (0.04 * sin(q)) ** 2)) * np.exp(1j * radians(35.0)))
    ],
}


def mechanism(kind: str, **more: object) -> Words:
    return {
        "kind": kind, "motors": "1 x coil", **CASES[kind],
        "control": {"loop": "full_effort", "window": "1 mm" if "m" in CASES[kind]["travel"][0].split() else "1 deg"},
        **more,
    }  # fmt: skip


def robot(tilt: str = "0 deg", **mechanisms: Words) -> Robot:
    return a_robot(mechanisms, {"coil": COIL}, (12.0, 0.0), tilt=tilt)


@pytest.mark.parametrize("faces", ["forward", "backward", "left"])
@pytest.mark.parametrize("kind", CASES)
def test_load_on_a_robot_with_its_nose_up(kind: str, faces: str) -> None:
    """Nose up 12 degrees: gravity in the robot's frame is g (-sin, 0, -cos); loads are slopes of the energy."""
    tilt = radians(12.0)
    forward = {"forward": 1.0, "backward": -1.0, "left": 0.0}[faces]
    reduced = Models(robot("12 deg", it=mechanism(kind, faces=faces))).get("it").reduced

    def energy(q: float) -> float:
        return sum(m * G * (forward * z.real * sin(tilt) + z.imag * cos(tilt)) for m, z in PLACES[kind](q))

    step = 1e-5
    for segment in reduced.segments:
        at = np.linspace(segment.low, segment.high, 2 if segment.knots is None else len(segment.knots))
        loads = [segment.load] * 2 if segment.knots is None else segment.knots[:, 3]
        for q, load in list(zip(at, loads, strict=True))[1:-1:17] or [(0.5 * sum(at), loads[0])]:
            right = (energy(q + step) - energy(q - step)) / (2.0 * step)
            assert load == pytest.approx(right, rel=1e-6, abs=1e-6)


OWN_ANGLE = {
    "rack": "incline",
    "lead_screw": "incline",
    "four_bar": "ground_angle",
    "slider_crank": "incline",
}


@pytest.mark.parametrize("kind", CASES)
def test_on_an_arm_it_moves_as_if_it_were_built_so(kind: str) -> None:
    """An arm stands at 40 degrees: the time of one whose own angle has them in it; no stretch more than level."""
    arm = {
        "kind": "arm", "motors": "1 x coil", "gearing": [{"ratio": 60, "efficiency": "100 %"}],
        "moving_mass": "1 kg", "centre": "0.3 m", "travel": ["-80 deg", "170 deg"], "holding_brake": True,
        "control": {"loop": "full_effort", "window": "2 deg"},
    }  # fmt: skip
    more: Words = {"gearing": [{"ratio": 100}]} if kind != "lead_screw" else {}
    own = OWN_ANGLE.get(kind)
    level = mechanism(kind, **more, **({own: "15 deg"} if own else {}))
    if own:
        alone = robot(it={**level, own: "55 deg"})
    else:  # nothing of its own to turn: a robot with its nose up so far
        alone = robot("40 deg", it=level)
    tipped = robot(arm=arm, it={**level, "tipped_by": "arm"})
    ends = [
        [(each.low, each.high) for each in Models(tipped).get("it", places=places).reduced.segments]
        for places in ((), (("arm", radians(40.0)),))
    ]
    assert ends[0] == ends[1]
    low, high = (float(end) for end in tipped.mechanisms["it"].values["travel"])
    start, goal = low + 0.1 * (high - low), low + 0.9 * (high - low)
    there, right, flat = (
        seconds(a_move(a_plant(which, it=start, **more), "it", goal).first_inside_us())
        for which, more in ((tipped, {"arm": radians(40.0)}), (alone, {}), (robot(it=level), {}))
    )
    assert there == pytest.approx(right, abs=1e-6)
    assert abs(flat - right) > 1e-5


@pytest.mark.parametrize("incline", [-20.0, 0.0, 90.0])
def test_a_crank_that_an_arm_lays_level_needs_no_finer_tables(incline: float) -> None:
    """Where the slide lies level its mass weighs nothing: what is left there is rounding and not a curve."""
    arm = {
        "kind": "arm", "motors": "1 x coil", "gearing": [{"ratio": 60}], "moving_mass": "1 kg", "centre": "0.3 m",
        "travel": ["-180 deg", "180 deg"],
    }  # fmt: skip
    models = Models(robot(arm=arm, it=mechanism("slider_crank", incline=f"{incline} deg", tipped_by="arm")))
    counts = {
        len(models.get("it", places=(("arm", radians(angle)),)).reduced.segments)
        for angle in (-incline, 0.0, 17.0, 180.0 - incline)
    }
    assert counts == {2}
