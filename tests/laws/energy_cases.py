"""Drawn mechanisms with their numbers worked out a second time, from their sheets alone, for the energy account."""

from __future__ import annotations

from math import pi, radians
from typing import Any

import numpy as np
from builders import SMALL
from drawn import KINDS_DRAWN, MOTORS, Drawn
from energy import Mechanism

G = 9.80665  # m/s²
ENERGY_CASES = (
    "slide",
    "rack",
    "lead_screw",
    "scissor",
    "arm",
    "parallelogram_arm",
    "four_bar",
    "slider_crank",
    "winch",
    "hoist",
    "axle",
    "turret",
    "roller",
    "flywheel",
    "servo",
    "claw",
)  # the drives: see energy_drives


def energy_case(kind: str, data: Any, battery: tuple[float, float]) -> tuple[Drawn, Mechanism]:
    """A drawn mechanism whose numbers are also worked out here, from its sheet alone."""
    assert kind in ENERGY_CASES
    drawn = data.draw(KINDS_DRAWN[kind]())
    values = {key: value for key, value in drawn.mechanism.items() if key not in ("springs", "detents")}
    drawn = Drawn(values, drawn.start, drawn.target)
    if kind in ("servo", "claw"):
        values = {key: value for key, value in values.items() if not key.startswith("load")}
        drawn = Drawn(values, drawn.start, drawn.target)
        pressed = np.zeros_like
        if kind == "claw":
            side = 1.0 if values["closes"] == "rising" else -1.0
            rate = 1e3 * num(values["stiffness"]) * (1e-3 * num(values["jaw"]) * values["moving_jaws"]) ** 2
            contact = radians(num(values["contact"]))

            def pressed(q: np.ndarray) -> np.ndarray:
                return side * rate * np.maximum(side * (q - contact), 0.0)

        return drawn, servo_with(values, np.zeros_like, pressed, 0.0)
    if "servo" in values:
        loads, bend = cranked(values)
        return drawn, servo_with(values["servo"], *loads, num(values["friction"]), bend)
    if kind == "hoist":  # lifted straight, on one layer
        more = ("hook", "mass_centre", "drum_width", "cord_diameter", "holding_brake")
        values = {key: value for key, value in values.items() if key not in more}
    elif kind == "axle":  # both followers drawn all the way
        values = {key: value for key, value in values.items() if key not in ("cord", "at_zero", "wound")}
    drawn = Drawn(values, drawn.start, drawn.target)
    sheet = MOTORS["geared"] if values["motors"].endswith("geared") else SMALL
    resistance = 12.0 / num(sheet["stall_current"])
    constant = (12.0 - num(sheet["free_current"]) * resistance) / (num(sheet["free_speed"]) * pi / 30.0)
    rotor = num(sheet["rotor_inertia"]) * sheet["internal_ratio"] ** 2
    stage = values["gearing"][0]
    forward = 0.01 * num(stage["efficiency"])
    ratio = float(stage["ratio"].split(":")[0])
    friction, back = 0.0 if kind == "axle" else num(values["friction"]), back_of(stage)
    bend, gear = None, np.ones_like
    if kind == "slide":
        masses, slope = (
            [num(mass) for mass in values["moving_mass"]],
            G * np.sin(radians(num(values["incline"]))),
        )
        n = len(masses)
        ratio *= 2000.0 / num(values["drum_diameter"])
        if values["rigging"] == "cascade":
            mass = sum((i + 1) ** 2 * m for i, m in enumerate(masses)) / n**2
            lifted = sum((i + 1) * m for i, m in enumerate(masses)) / n
            loads = (lambda q: np.full_like(q, mass), lambda q: np.full_like(q, lifted * slope))
            ratio, friction = ratio / n, friction / n
        else:
            moving = np.cumsum(masses[::-1])  # the topmost stage goes first
            loads = (
                lambda q: moving[np.clip(np.floor(q * n / 0.8), 0, n - 1).astype(int)],
                lambda q: slope * moving[np.clip(np.floor(q * n / 0.8), 0, n - 1).astype(int)],
            )
    elif kind == "winch":
        mass, pull = num(values["load_mass"]), num(values["load"])
        loads = (lambda q: np.full_like(q, mass), lambda q: np.full_like(q, mass * G + pull))
        ratio *= 2000.0 / num(values["drum_diameter"])
    elif kind == "hoist":
        mass, slack = num(values["load_mass"]), num(values["slack"])
        loads = (lambda q: np.where(q < slack, 0.0, mass), lambda q: np.where(q < slack, 0.0, mass * G))
        ratio *= 2000.0 / num(values["drum_diameter"])
    elif kind == "axle":
        levers = [num(each) / 2000.0 for each in values["drum_diameter"]]
        masses = [num(each) for each in values["moving_mass"]]
        friction = sum(num(each) * r for each, r in zip(values["friction"], levers, strict=True))
        inertia = sum(m * r * r for m, r in zip(masses, levers, strict=True))
        moment = G * sum(m * r for m, r in zip(masses, levers, strict=True))
        loads = (lambda q: np.full_like(q, inertia), lambda q: np.full_like(q, moment))
    elif kind in ("turret", "roller", "flywheel"):
        loads = (lambda q: np.full_like(q, num(values["inertia"])), np.zeros_like)
    elif kind in ("rack", "lead_screw"):
        mass = num(values["moving_mass"])
        weight = mass * G * np.sin(radians(num(values["incline"])))
        loads = (lambda q: np.full_like(q, mass), lambda q: np.full_like(q, weight))
        if kind == "rack":
            ratio *= 2000.0 / num(values["pinion_diameter"])
        else:
            rotor += num(values["screw_inertia"]) / ratio**2
            forward, back, ratio = threaded(values, forward, back, ratio)
    elif kind == "scissor":
        links, top, side = num(values["link_mass"]), num(values["top_mass"]), 1e-3 * num(values["link"])
        loads, bend, gear = folding(links, top, side, "screw" in values)
        if "screw" in values:
            forward, back, ratio = threaded(values["screw"], forward, back, ratio)
    elif kind == "four_bar":
        loads, bend = linked(values)
    elif kind == "slider_crank":
        loads, bend = cranked(values)
    elif kind == "parallelogram_arm":
        parts = [(num(part["mass"]), num(part["at"])) for part in values["parts"]]
        parts.append((num(values["carried_mass"]), num(values["length"])))
        if "counterweight" in values:
            parts.append((num(values["counterweight"]["mass"]), -num(values["counterweight"]["at"])))
        inertia = sum(m * r * r for m, r in parts)
        moment = G * sum(m * r for m, r in parts)
        loads = (lambda q: np.full_like(q, inertia), lambda q: moment * np.cos(q))
    else:
        mass, centre = num(values["moving_mass"]), num(values["centre"])
        inertia = mass * centre**2 * 4.0 / 3.0
        loads = (lambda q: np.full_like(q, inertia), lambda q: mass * G * centre * np.cos(q))
    count = int(values["motors"].split()[0])
    it = Mechanism(count, resistance, constant, constant * num(sheet["free_current"]), rotor, ratio, forward,
                   back, *loads, friction, 0.0, bend, gear)  # fmt: skip
    return drawn, it


def servo_with(values: dict[str, Any], mass: Any, load: Any, friction: float, bend: Any = None) -> Mechanism:
    """A servo on what it moves; its sheet is given the stall current that its torque and speed come to."""
    speed = pi / 3.0 / num(values["speed"])
    torque, constant = num(values["stall_torque"]), 6.0 / speed
    values["stall_current"] = f"{torque / constant!r} A"
    rotor = 1e-3 * num(values.get("rotor_time", "45 ms")) * torque / speed
    rubs = 0.01 * num(values.get("friction", "5 %")) * torque
    return Mechanism(
        1, constant * 6.0 / torque, constant, rubs, rotor, 1.0, 1.0, 1.0, mass, load, friction, 0.0, bend
    )


def back_of(stage: dict[str, Any]) -> float:
    """Efficiency of a stage driven back: as stated, or with the loss torque that it has driving."""
    if "back_efficiency" in stage:
        return 0.01 * num(stage["back_efficiency"])
    return 2.0 - 100.0 / num(stage["efficiency"])


def threaded(values: dict[str, Any], forward: float, back: float, ratio: float) -> tuple[float, float, float]:
    """Efficiencies and ratio (per metre of the nut) with a trapezoidal thread of 15 degrees after the gears."""
    lead = 1e-3 * num(values["pitch"]) * values["starts"]
    steep = lead / (pi * 1e-3 * num(values["mean_diameter"]))
    rough = values["thread_friction"] / np.cos(radians(15.0))
    raising, lowering = (steep + rough) / (1.0 - steep * rough), (steep - rough) / (1.0 + steep * rough)
    return forward * steep / raising, back * lowering / steep, ratio * 2.0 * pi / lead


def folding(links: float, top: float, side: float, screw: bool):  # type: ignore[no-untyped-def]
    """M, Q, dM/dq and the factor of the ratio of three cells, from the height's share s = h/(3 side)."""

    def mass(q: np.ndarray) -> np.ndarray:
        s = q / (3.0 * side)
        middles = 2.0 * links * ((0.25 + 2.25 + 6.25) / 9.0 + 3.0 * (s / (6.0 * np.sqrt(1.0 - s * s))) ** 2)
        return top + middles + 6.0 * links * side**2 / 12.0 / (9.0 * side**2 * (1.0 - s * s))

    def gear(q: np.ndarray) -> np.ndarray:
        s = q / (3.0 * side)
        return (s / 3.0 if screw else 1.0 / (3.0 * side)) / np.sqrt(1.0 - s * s)

    weight = G * (top + 3.0 * links)
    return (mass, lambda q: np.full_like(q, weight)), lambda q: (mass(q + 1e-6) - mass(q - 1e-6)) / 2e-6, gear


def linked(values: dict[str, Any]):  # type: ignore[no-untyped-def]
    """M, Q, dM/dq of a four-bar: joints where circles meet, every slope by differences."""
    d, a, b, c = (1e-3 * num(values[key]) for key in ("ground", "crank", "coupler", "rocker"))
    side = -1.0 if values["branch"] == "crossed" else 1.0
    lift = np.exp(1j * radians(num(values["ground_angle"])))
    crank, coupler, rocker = values["parts"]
    arm = 1e-3 * (num(coupler["at"]) + 1j * num(coupler["aside"]))
    own = num(coupler["inertia"])
    m1, m2, m3 = (num(part["mass"]) for part in (crank, coupler, rocker))

    def places(q: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        first = a * np.exp(1j * q)
        gap = d - first
        along = (abs(gap) ** 2 + b**2 - c**2) / (2.0 * abs(gap))
        second = first + (along + 1j * side * np.sqrt(b**2 - along**2)) * gap / abs(gap)
        return first, (second - first) / b, (second - d) / c

    def rates(q: np.ndarray) -> list[np.ndarray]:
        h = 1e-3
        ways = [places(q + k * h) for k in (-2, -1, 1, 2)]
        return [
            (one - 8.0 * two + 8.0 * three - four) / (12.0 * h)
            for one, two, three, four in zip(*ways, strict=True)
        ]

    def mass(q: np.ndarray) -> np.ndarray:
        first, along, across = rates(q)
        rods = m1 * a**2 / 3.0 + m3 * c**2 / 3.0 * abs(across) ** 2
        return rods + m2 * abs(first + arm * along) ** 2 + own * abs(along) ** 2

    def load(q: np.ndarray) -> np.ndarray:
        first, along, across = rates(q)
        return G * np.imag(lift * (m1 * first / 2.0 + m2 * (first + arm * along) + m3 * c * across / 2.0))

    return (mass, load), lambda q: (mass(q + 1e-4) - mass(q - 1e-4)) / 2e-4


def cranked(values: dict[str, Any]):  # type: ignore[no-untyped-def]
    """M, Q, dM/dq of a slider-crank from x = a cos q + sqrt(b² - (a sin q - e)²), its slopes written out.

    The crank is an even rod; the slider's way and its weight's are x along the incline.
    """
    a, b, e = (1e-3 * num(values[key]) for key in ("crank", "coupler", "offset"))
    rise = np.sin(radians(num(values["incline"])))
    level = np.cos(radians(num(values["incline"])))
    slides, rod, push = num(values["slider_mass"]), num(values["parts"][0]["mass"]), num(values["load"])

    def way(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        u, du, ddu = a * np.sin(q) - e, a * np.cos(q), -a * np.sin(q)
        root = np.sqrt(b**2 - u**2)
        return -a * np.sin(q) - u * du / root, -a * np.cos(q) - (du**2 + u * ddu) / root - (
            u * du
        ) ** 2 / root**3

    def mass(q: np.ndarray) -> np.ndarray:
        return slides * way(q)[0] ** 2 + rod * a**2 / 3.0

    def load(q: np.ndarray) -> np.ndarray:
        lifted = rod * G * 0.5 * a * (level * np.cos(q) - rise * np.sin(q))
        return lifted + (slides * G * rise + push) * way(q)[0]

    return (mass, load), lambda q: 2.0 * slides * way(q)[0] * way(q)[1]


def num(text: Any) -> float:
    return float(str(text).split()[0].split("s/")[0])
