"""Random robots, one mechanism each: every kind has an entry here, and a test fails for one that has none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

from builders import LARGE, SMALL, Words
from hypothesis import strategies as st

GEARED = {
    "voltage": "12 V", "free_speed": "330 rpm", "free_current": "0.35 A", "stall_current": "9.4 A",
    "rotor_inertia": "8e-6 kg*m^2", "internal_ratio": 18, "source": "illustrative",
}  # fmt: skip
MOTORS = {"small": SMALL, "large": LARGE, "geared": GEARED}


CYLINDER = {
    "kind": "cylinder", "time": "0.2 s", "bore": "20 mm", "stroke": "100 mm", "tank": "500 ml", "supply": "6 bar",
    "least_pressure": "3 bar",
}  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """A mechanism called `it`, where it starts and where it is sent [m, rad], both as numbers of its coordinate."""

    mechanism: Words
    start: float
    target: float
    word: str = ""  # of a measured one


@cache  # made once: making one takes as long as drawing from it
def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False).map(lambda value: round(value, 6))


@cache
def controls(unit: str, scale: float = 1.0) -> st.SearchStrategy[Words]:
    """Controls of a mechanism whose moves are about this many units long."""
    window = number(0.004, 0.03).map(lambda w: f"{scale * w} {unit}")
    slow = number(0.02, 0.4).map(lambda v: f"{scale * v} {unit}/s")
    full = st.fixed_dictionaries(
        {"loop": st.just("full_effort"), "window": window, "after": st.sampled_from(["brake", "coast"])}
    )
    position = st.fixed_dictionaries(
        {
            "loop": st.just("position"), "window": window, "slower_than": slow,
            "p": number(2.0, 40.0).map(lambda p: f"{p / scale} /{unit}"),
            "d": number(0.0, 1.0).map(lambda d: f"{d / scale} s/{unit}"),
        }
    )  # fmt: skip
    profile = st.fixed_dictionaries(
        {
            "loop": st.just("profile"), "window": window, "slower_than": slow,
            "p": number(5.0, 30.0).map(lambda p: f"{p / scale} /{unit}"),
            "speed": number(0.1, 0.8).map(lambda v: f"{scale * v} {unit}/s"),
            "acceleration": number(0.5, 4.0).map(lambda a: f"{scale * a} {unit}/s^2"),
        }
    )  # fmt: skip
    return st.one_of(full, position, profile)


@cache
def gearing(low: float, high: float) -> st.SearchStrategy[list[Words]]:
    """Gears that lose as much torque driven back as driving; or, as where nothing is stated, the same share."""

    def stage(ratio: float, efficiency: float, alike: bool) -> list[Words]:
        drives = {"ratio": f"{ratio}:1", "efficiency": f"{efficiency} %"}
        return [{**drives, "back_efficiency": f"{efficiency} %"} if alike else drives]

    return st.builds(stage, number(low, high), number(55.0, 99.0), st.sampled_from([False, False, True]))


@cache
def forces(unit: str, force: str, span: tuple[float, float]) -> st.SearchStrategy[Words]:
    """No springs or detents, or some."""
    place = number(*span).map(lambda q: f"{q} {unit}")
    friction = number(0.0, 1.0).map(lambda f: f"{f} {force}")
    elastic = st.fixed_dictionaries(
        {
            "stiffness": number(0.1, 20.0).map(lambda k: f"{k} {force}/{unit}"), "slack_until": place,
            "stretched": st.sampled_from(["above", "below"]),
        }
    )  # fmt: skip
    constant = st.fixed_dictionaries(
        {"force": number(-2.0, 2.0).map(lambda f: f"{f} {force}"), "friction": friction}
    )
    springs = st.one_of(
        elastic.map(lambda keys: {"elastic": keys}), constant.map(lambda keys: {"constant_force": keys})
    )
    detent = st.fixed_dictionaries(
        {"position": place, "width": number(0.005, 0.1).map(lambda w: f"{w} {unit}"), "static_friction": friction}
    )  # fmt: skip
    some = st.fixed_dictionaries(
        {"springs": st.lists(springs, max_size=2), "detents": st.lists(detent, max_size=1)}
    )
    return st.one_of(st.just({}), some)


@st.composite
def slides(draw: Any) -> Drawn:
    count = draw(st.integers(1, 3))
    masses = [f"{draw(number(0.3, 2.0))} kg" for _ in range(count)]
    mechanism = {
        "kind": "slide", "motors": f"{draw(st.integers(1, 2))} x small", "gearing": draw(gearing(12.0, 30.0)),
        "drum_diameter": f"{draw(number(20.0, 50.0))} mm", "moving_mass": masses, "stages": count,
        "rigging": draw(st.sampled_from(["continuous", "cascade"])),
        "incline": f"{draw(st.sampled_from([0, 30, 60, 90]))} deg", "friction": f"{draw(number(0.5, 12.0))} N",
        "travel": ["0 m", "0.8 m"], "control": draw(controls("m")), **draw(forces("m", "N", (0.05, 0.75))),
    }  # fmt: skip
    return Drawn(
        mechanism, draw(number(0.0, 0.8)), draw(st.one_of(number(0.0, 0.8), st.sampled_from([0.0, 0.8])))
    )


@st.composite
def racks(draw: Any) -> Drawn:
    mechanism = {
        "kind": "rack", "motors": "1 x small", "gearing": draw(gearing(15.0, 40.0)),
        "pinion_diameter": f"{draw(number(20.0, 50.0))} mm", "moving_mass": f"{draw(number(0.3, 3.0))} kg",
        "incline": f"{draw(number(-90.0, 90.0))} deg", "friction": f"{draw(number(0.5, 12.0))} N",
        "travel": ["0 m", "0.6 m"], "control": draw(controls("m")),
    }  # fmt: skip
    return Drawn(mechanism, draw(number(0.0, 0.6)), draw(st.one_of(number(0.0, 0.6), st.just(0.6))))


@st.composite
def lead_screws(draw: Any) -> Drawn:
    mechanism = {
        "kind": "lead_screw", "motors": "1 x small", "gearing": draw(gearing(1.0, 4.0)),
        "pitch": f"{draw(number(2.0, 5.0))} mm", "starts": draw(st.integers(1, 4)),
        "mean_diameter": f"{draw(number(6.0, 14.0))} mm", "thread_friction": draw(number(0.05, 0.4)),
        "screw_inertia": f"{draw(number(0.0, 5e-6))} kg*m^2", "moving_mass": f"{draw(number(0.3, 5.0))} kg",
        "incline": f"{draw(st.sampled_from([0, 45, 90]))} deg", "friction": f"{draw(number(0.5, 12.0))} N",
        "travel": ["0 m", "0.3 m"], "control": draw(controls("m")),
    }  # fmt: skip
    return Drawn(mechanism, draw(number(0.0, 0.3)), draw(st.one_of(number(0.0, 0.3), st.just(0.3))))


@st.composite
def scissors(draw: Any) -> Drawn:
    """By a screw or by a link that turns."""
    mechanism: Words = {
        "kind": "scissor", "motors": "1 x small", "cells": 3, "link": f"{draw(number(180.0, 260.0))} mm",
        "link_mass": f"{draw(number(0.0, 0.1))} kg", "top_mass": f"{draw(number(0.2, 1.5))} kg",
        "friction": f"{draw(number(0.5, 6.0))} N", "travel": ["0.1 m", "0.5 m"], "control": draw(controls("m")),
    }  # fmt: skip
    if draw(st.booleans()):
        mechanism["gearing"] = draw(gearing(1.0, 3.0))
        mechanism["screw"] = {
            "pitch": "2 mm", "starts": draw(st.integers(1, 4)), "mean_diameter": "7 mm",
            "thread_friction": draw(number(0.05, 0.3)),
        }  # fmt: skip
    else:
        mechanism["gearing"] = draw(gearing(120.0, 300.0))
    return Drawn(mechanism, draw(number(0.1, 0.5)), draw(st.one_of(number(0.1, 0.5), st.just(0.5))))


@st.composite
def arms(draw: Any) -> Drawn:
    mechanism = {
        "kind": "arm", "motors": "1 x geared", "gearing": draw(gearing(2.0, 8.0)),
        "moving_mass": f"{draw(number(0.3, 2.0))} kg", "centre": f"{draw(number(0.1, 0.4))} m",
        "friction": f"{draw(number(0.02, 0.5))} N*m", "travel": ["-60 deg", "170 deg"],
        "control": draw(controls("rad")), **draw(forces("rad", "N*m", (-1.0, 2.9))),
    }  # fmt: skip
    return Drawn(mechanism, draw(number(-1.0, 2.9)), draw(number(-1.0, 2.9)))


@st.composite
def parallelogram_arms(draw: Any) -> Drawn:
    mechanism: Words = {
        "kind": "parallelogram_arm", "motors": "1 x geared", "gearing": draw(gearing(2.0, 8.0)),
        "length": f"{draw(number(0.15, 0.5))} m", "carried_mass": f"{draw(number(0.0, 1.0))} kg",
        "parts": [{"mass": f"{draw(number(0.1, 1.0))} kg", "at": f"{draw(number(-0.1, 0.4))} m"} for _ in range(2)],
        "friction": f"{draw(number(0.02, 0.5))} N*m", "travel": ["-60 deg", "170 deg"],
        "control": draw(controls("rad")),
    }  # fmt: skip
    if draw(st.booleans()):
        mechanism["counterweight"] = {
            "mass": f"{draw(number(0.1, 2.0))} kg",
            "at": f"{draw(number(0.05, 0.2))} m",
        }
    return Drawn(mechanism, draw(number(-1.0, 2.9)), draw(number(-1.0, 2.9)))


@st.composite
def four_bars(draw: Any) -> Drawn:
    """A crank shorter than the rest by enough to turn all round, however it is built."""
    crank, coupler, rocker = draw(number(40.0, 60.0)), draw(number(110.0, 140.0)), draw(number(100.0, 130.0))
    mechanism = {
        "kind": "four_bar", "motors": "1 x geared", "gearing": draw(gearing(1.0, 6.0)),
        "ground": "120 mm", "crank": f"{crank} mm", "coupler": f"{coupler} mm", "rocker": f"{rocker} mm",
        "ground_angle": f"{draw(number(-180.0, 180.0))} deg", "branch": draw(st.sampled_from(["open", "crossed"])),
        "parts": [
            {"link": "crank", "mass": f"{draw(number(0.02, 0.2))} kg"},
            {"link": "coupler", "mass": f"{draw(number(0.05, 1.0))} kg", "at": f"{draw(number(0.0, 200.0))} mm",
             "aside": f"{draw(number(-80.0, 80.0))} mm", "inertia": f"{draw(number(0.0, 2e-3))} kg*m^2"},
            {"link": "rocker", "mass": f"{draw(number(0.02, 0.2))} kg"},
        ],
        "friction": f"{draw(number(0.02, 0.3))} N*m", "travel": ["-30 deg", "400 deg"],
        "control": draw(controls("rad")),
    }  # fmt: skip
    return Drawn(mechanism, draw(number(-0.5, 6.9)), draw(number(-0.5, 6.9)))


@st.composite
def slider_cranks(draw: Any) -> Drawn:
    """By a motor or by a servo, over one or both dead centres."""
    length = draw(number(20.0, 60.0))
    mechanism: Words = {
        "kind": "slider_crank", "crank": f"{length} mm", "coupler": f"{length * draw(number(1.3, 3.0))} mm",
        "offset": f"{length * draw(number(-0.2, 0.2))} mm", "incline": f"{draw(number(-90.0, 90.0))} deg",
        "slider_mass": f"{draw(number(0.1, 2.0))} kg", "load": f"{draw(number(-15.0, 15.0))} N",
        "parts": [{"link": "crank", "mass": f"{draw(number(0.01, 0.1))} kg"}],
        "friction": f"{draw(number(0.01, 0.1))} N*m", "travel": ["-20 deg", "220 deg"],
    }  # fmt: skip
    if draw(st.booleans()):
        mechanism["servo"] = {
            "speed": f"{draw(number(0.1, 0.25))} s/60deg", "at": "6 V", "stall_torque": f"{draw(number(1.0, 3.0))} N*m",
            "band": f"{draw(number(3.0, 8.0))} deg", "dead_band": f"{draw(number(0.3, 1.0))} deg",
        }  # fmt: skip
    else:
        mechanism |= {
            "motors": "1 x geared",
            "gearing": draw(gearing(1.0, 4.0)),
            "control": draw(controls("rad")),
        }
    return Drawn(mechanism, draw(number(-0.3, 3.8)), draw(number(-0.3, 3.8)))


@st.composite
def servos(draw: Any) -> Drawn:
    mechanism: Words = {
        "kind": "servo", "speed": f"{draw(number(0.08, 0.25))} s/60deg", "at": "6 V",
        "stall_torque": f"{draw(number(0.4, 3.0))} N*m", "travel": ["0 deg", "180 deg"],
        "band": f"{draw(number(3.0, 8.0))} deg", "dead_band": f"{draw(number(0.3, 1.0))} deg",
        "friction": f"{draw(number(3.0, 10.0))} %", "rotor_time": f"{draw(number(30.0, 60.0))} ms",
    }  # fmt: skip
    if draw(st.booleans()):
        mechanism |= {
            "load_mass": f"{draw(number(0.05, 0.5))} kg", "load_at": f"{draw(number(0.03, 0.2))} m",
            "load_angle": f"{draw(number(-90.0, 90.0))} deg",
        }  # fmt: skip
    return Drawn(mechanism, draw(number(0.0, 3.14)), draw(number(0.0, 3.14)))


@st.composite
def claws(draw: Any) -> Drawn:
    servo = draw(servos()).mechanism
    side = draw(st.sampled_from(["rising", "falling"]))
    mechanism = {
        **servo, "kind": "claw", "jaw": f"{draw(number(30.0, 120.0))} mm", "closes": side,
        "contact": f"{draw(number(60.0, 120.0))} deg", "stiffness": f"{draw(number(1.0, 50.0))} N/mm",
        "moving_jaws": draw(st.integers(1, 2)), "element_mass": f"{draw(number(0.02, 0.3))} kg",
    }  # fmt: skip
    ends = (draw(number(0.0, 1.0)), draw(number(0.2, 3.14)))
    return Drawn(mechanism, *(ends if side == "rising" else (3.14 - ends[0], 3.14 - ends[1])))


@st.composite
def rollers(draw: Any) -> Drawn:
    mechanism = {
        "kind": "roller", "motors": "1 x small", "gearing": draw(gearing(1.0, 8.0)),
        "inertia": f"{draw(number(1e-4, 3e-3))} kg*m^2", "friction": f"{draw(number(0.0, 0.02))} N*m",
    }  # fmt: skip
    return Drawn(mechanism, 0.0, draw(number(0.2, 1.0)))


@st.composite
def flywheels(draw: Any) -> Drawn:
    wheel = draw(rollers())
    more = {"kind": "flywheel", "speed": "300 rpm", "diameter": "90 mm", "element_mass": "0.2 kg"}
    return Drawn({**wheel.mechanism, **more}, wheel.start, wheel.target)


@st.composite
def winches(draw: Any) -> Drawn:
    mechanism = {
        "kind": "winch", "motors": "1 x small", "gearing": draw(gearing(30.0, 80.0)),
        "drum_diameter": f"{draw(number(15.0, 40.0))} mm", "load": f"{draw(number(0.0, 80.0))} N",
        "load_mass": f"{draw(number(0.1, 5.0))} kg", "friction": f"{draw(number(0.5, 6.0))} N",
        "travel": ["0 m", "0.5 m"], "control": draw(controls("m")),
    }  # fmt: skip
    return Drawn(mechanism, draw(number(0.0, 0.4)), draw(st.one_of(number(0.1, 0.5), st.just(0.5))))


@st.composite
def hoists(draw: Any) -> Drawn:
    mechanism: Words = {
        "kind": "hoist", "motors": "1 x small", "gearing": draw(gearing(40.0, 100.0)),
        "drum_diameter": f"{draw(number(12.0, 30.0))} mm", "load_mass": f"{draw(number(2.0, 12.0))} kg",
        "slack": f"{draw(st.sampled_from([0.0, 0.08, 0.2]))} m", "friction": f"{draw(number(0.5, 6.0))} N",
        "travel": ["0 m", "0.5 m"], "control": draw(controls("m")), "holding_brake": draw(st.booleans()),
    }  # fmt: skip
    if draw(st.booleans()):
        mechanism |= {
            "hook": [f"{draw(number(0.25, 0.40))} m", "0.45 m"], "mass_centre": ["0.22 m", "0.15 m"],
        }  # fmt: skip
    if draw(st.booleans()):
        mechanism |= {"drum_width": "12 mm", "cord_diameter": f"{draw(number(1.0, 3.0))} mm"}
    return Drawn(mechanism, draw(number(0.0, 0.4)), draw(st.one_of(number(0.1, 0.5), st.just(0.5))))


@st.composite
def axles(draw: Any) -> Drawn:
    mechanism: Words = {
        "kind": "axle", "motors": "1 x geared", "gearing": draw(gearing(1.0, 3.0)),
        "drum_diameter": [f"{draw(number(10.0, 40.0))} mm" for _ in range(2)],
        "moving_mass": [f"{draw(number(0.3, 2.0))} kg" for _ in range(2)],
        "friction": [f"{draw(number(0.5, 6.0))} N" for _ in range(2)],
        "highest": ["1 m", "1 m"], "travel": ["0 rad", "6 rad"], "control": draw(controls("rad", 20.0)),
    }  # fmt: skip
    side = draw(st.sampled_from([1, -1]))
    if side < 0:
        mechanism |= {"wound": [1, -1], "at_zero": ["0 m", "500 mm"]}
    if draw(st.booleans()):
        mechanism |= {"cord": "pulls", "at_zero": ["0 m", f"{draw(number(20.0, 60.0)) * -side} mm"]}
    return Drawn(mechanism, draw(number(0.0, 5.5)), draw(number(0.5, 5.8)))


@st.composite
def turrets(draw: Any) -> Drawn:
    mechanism: Words = {
        "kind": "turret", "motors": "1 x geared", "gearing": draw(gearing(2.0, 8.0)),
        "inertia": f"{draw(number(0.01, 0.3))} kg*m^2", "off_axis_mass": f"{draw(number(0.0, 1.5))} kg",
        "off_axis": f"{draw(number(0.0, 0.2))} m", "friction": f"{draw(number(0.02, 0.5))} N*m",
        "travel": ["-200 deg", "200 deg"], "wraps": draw(st.booleans()), "control": draw(controls("rad")),
    }  # fmt: skip
    return Drawn(mechanism, draw(number(-3.1, 3.1)), draw(number(-3.4, 3.4)))


@st.composite
def drives(draw: Any, kind: str) -> Drawn:
    mechanism = {
        "kind": kind, "motors": "4 x geared", "wheel_diameter": f"{draw(number(70.0, 110.0))} mm",
        "wheelbase": "300 mm", "track": "360 mm", "grip": draw(number(0.4, 1.2)),
        "friction": f"{draw(number(2.0, 12.0))} N",
        "control": {
            "loop": "position", "p": f"{draw(number(3.0, 10.0))} /m", "d": f"{draw(number(0.2, 1.0))} s/m",
            "window": "25 mm", "slower_than": "60 mm/s",
        },
    }  # fmt: skip
    if kind in ("tank", "swerve"):
        mechanism |= {"driven": draw(st.sampled_from(["all", "front", "rear"])), "centre_height": "120 mm"}
        mechanism["centre_ahead"] = f"{draw(number(-60.0, 60.0))} mm"
    elif draw(st.booleans()):
        mechanism |= {"centre_height": "120 mm", "centre_ahead": f"{draw(number(-60.0, 60.0))} mm"}
        mechanism["centre_left"] = f"{draw(number(-60.0, 60.0))} mm"
    if kind == "mecanum":
        mechanism["sideways_friction"] = f"{draw(number(0.0, 25.0))} N"
    if kind == "swerve":
        mechanism["steering_speed"] = f"{draw(number(0.05, 0.3))} s/60deg"
    return Drawn(mechanism, 0.0, draw(number(0.2, 2.5)))


KINDS_DRAWN: dict[str, Callable[[], st.SearchStrategy[Drawn]]] = {
    "slide": slides,
    "rack": racks,
    "lead_screw": lead_screws,
    "scissor": scissors,
    "arm": arms,
    "parallelogram_arm": parallelogram_arms,
    "four_bar": four_bars,
    "slider_crank": slider_cranks,
    "servo": servos,
    "claw": claws,
    "roller": rollers,
    "flywheel": flywheels,
    "winch": winches,
    "hoist": hoists,
    "axle": axles,
    "turret": turrets,
    "mecanum": lambda: drives("mecanum"),
    "x_drive": lambda: drives("x_drive"),
    "swerve": lambda: drives("swerve"),
    "tank": lambda: drives("tank"),
    "measured": lambda: st.just(Drawn({"kind": "measured", "time": "0.35 s"}, 0.0, 0.0, "open")),
    "cylinder": lambda: st.just(Drawn(CYLINDER, 0.0, 0.0, "out")),
}
BATTERIES = st.tuples(number(11.5, 14.0), number(0.02, 0.35))
