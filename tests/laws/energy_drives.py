"""The energy account of a drive on one leg, and drawn legs with their numbers worked out from the sheet alone.

Each wheel stands for itself: its motor, its gears, its own inertia, what the floor gives it at the most, and how it
turns where it slides.
Within a row positions follow its polynomial; everything is integrated by Gauss's rule.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import cos, hypot, inf, pi, sin, sqrt
from typing import Any

import numpy as np
from drawn import KINDS_DRAWN, MOTORS, Drawn, gearing, number
from energy import W, X, state
from energy_cases import back_of, num
from hypothesis import strategies as st

G = 9.80665  # m/s²
CORNERS = np.array(((1.0, 1.0), (1.0, -1.0), (-1.0, -1.0), (-1.0, 1.0)))  # ahead, left
PLATE, SIDE = 9.0, 0.4  # kg, m: the robot of builders.robot_text


@dataclass
class Wheel:
    """A driven wheel with its motors: shaft's angle per travel, share of the effort, inertia as felt along the leg,
    and the greatest force of the floor along the coordinate and against it [N, N m]."""

    motors: float
    per_travel: float
    share: float
    inertia: float
    most: float
    most_back: float


@dataclass
class Rolling:
    """A leg: its driven wheels, all that moves besides [kg, kg m²], friction, gears and motor."""

    wheels: list[Wheel]
    mass: float
    friction: float
    ratio: float
    forward: float
    back: float
    resistance: float
    constant: float
    motor_friction: float
    rotor: float


def drive_case(kind: str, data: Any) -> tuple[Drawn, Rolling, float | None]:
    """A drawn drive, a leg of it, and the leg's direction from the heading (None: a turn in place)."""
    drawn = data.draw(KINDS_DRAWN[kind]())
    values = {**drawn.mechanism, "gearing": data.draw(gearing(1.0, 2.0))}
    if data.draw(st.booleans()):
        values["wheel_inertia"] = f"{data.draw(number(1e-5, 5e-4))} kg*m^2"
    ways = (
        st.sampled_from([0.0, pi / 4.0, pi / 2.0, pi, None])
        if kind != "tank"
        else st.sampled_from([0.0, None])
    )
    direction = data.draw(st.one_of(ways, number(-3.1, 3.1)) if kind != "tank" else ways)
    sheet, stage = MOTORS["geared"], values["gearing"][0]
    resistance = 12.0 / num(sheet["stall_current"])
    constant = (12.0 - num(sheet["free_current"]) * resistance) / (num(sheet["free_speed"]) * pi / 30.0)
    forward = 0.01 * num(stage["efficiency"])
    wheels, mass, friction = (of_rollers if kind in ("mecanum", "x_drive") else of_tyres)(
        kind, values, direction
    )
    leg = Rolling(
        wheels, mass, friction, float(stage["ratio"].split(":")[0]), forward, back_of(stage), resistance,
        constant, constant * num(sheet["free_current"]), num(sheet["rotor_inertia"]) * sheet["internal_ratio"] ** 2,
    )  # fmt: skip
    return Drawn(values, 0.0, 0.0), leg, direction


def of_rollers(
    kind: str, values: dict[str, Any], direction: float | None
) -> tuple[list[Wheel], float, float]:
    """Mecanum wheels and omni wheels at 45 degrees: a force u along the wheel's grip is one of sqrt(2) u across it."""
    base, track, grip, friction = sizes(values)
    radius = 0.5e-3 * num(values["wheel_diameter"]) * (sqrt(2.0) if kind == "x_drive" else 1.0)
    own, sideways = num(values.get("wheel_inertia", "0")), num(values.get("sideways_friction", "0"))
    ahead, left, high = (1e-3 * num(values.get(f"centre_{way}", "0")) for way in ("ahead", "left", "height"))
    at_rest = 0.25 + 0.5 * CORNERS @ np.array((ahead / base, left / track))
    weight = PLATE * G
    if direction is None:
        lever = 0.5 * (base + track)
        most = grip / sqrt(2.0) * weight * at_rest * lever
        felt = lever / radius
        wheels = [Wheel(1.0, felt, 1.0, own * felt**2, float(each), float(each)) for each in most]
        return (
            wheels,
            PLATE * SIDE**2 / 6.0,
            friction * lever + sideways * 0.5 * base,
        )  # the same torques at the wheels as straight ahead, and at the rollers as sideways
    rolls = abs(cos(direction) - CORNERS[:, 0] * CORNERS[:, 1] * sin(direction))
    both_ways = [
        rollers_grip(rolls, way, at_rest, (base, track, high), grip) for way in (direction, direction + pi)
    ]
    wheels = [
        Wheel(1.0, roll / radius, roll / max(rolls), own * (roll / radius) ** 2, float(one), float(other))
        for roll, one, other in zip(rolls, *both_ways, strict=True)
        if roll > 1e-6
    ]
    return wheels, PLATE, friction + sideways * abs(sin(direction))


def rollers_grip(
    rolls: np.ndarray, way: float, at_rest: np.ndarray, sizes: tuple[float, float, float], grip: float
) -> np.ndarray:
    """What each wheel's load allows along the way: N = W share - F (h cos/(2 L) ahead + h sin/(2 T) left).

    Efforts go as the wheels roll, so that a wheel pushes roll²/4 of F; its grip ends at mu N roll²/(sqrt(2) max roll).
    Of two opposite wheels the lighter stays at what it had when it slipped; the other brings the pair's rest.
    """
    base, track, high = sizes
    weight = PLATE * G
    lost = CORNERS @ (np.array((cos(way) / base, sin(way) / track)) * 0.5 * high)
    holds = grip * rolls**2 / (sqrt(2.0) * max(rolls))
    whole = np.divide(
        holds * at_rest * weight, rolls**2 / 4.0 + holds * lost, out=np.zeros(4), where=rolls > 1e-6
    )
    first = whole * rolls**2 / 4.0
    pair = holds * weight / 2.0
    for one, other in ((0, 2), (1, 3)):
        light, heavy = (one, other) if first[one] <= first[other] else (other, one)
        first[light] = min(first[light], pair[light] / 2.0)
        first[heavy] = pair[heavy] - first[light]
    return first


def of_tyres(kind: str, values: dict[str, Any], direction: float | None) -> tuple[list[Wheel], float, float]:
    """Tank and swerve: all driven wheels alike, on one or both axles."""
    base, track, grip, friction = sizes(values)
    own, radius = num(values.get("wheel_inertia", "0")), 0.5e-3 * num(values["wheel_diameter"])
    ahead, high = (1e-3 * num(values[f"centre_{way}"]) for way in ("ahead", "height"))
    weight, driven = PLATE * G, values["driven"]
    front = 0.5 + ahead / base
    share = {"all": 1.0, "front": front, "rear": 1.0 - front}[driven]
    wheels = 4.0 if driven == "all" else 2.0
    if direction is None:
        lever = 0.5 * (track if kind == "tank" else hypot(base, track))
        most = back = grip * weight * share * lever
        moved, friction = PLATE * SIDE**2 / 6.0, friction * lever
        friction += 0.5 * grip * weight * base / 2.0 if kind == "tank" else 0.0
    else:
        lever, moved = 1.0, PLATE
        shift = {"all": 0.0, "front": -1.0, "rear": 1.0}[driven] * grip * high * cos(direction) / base
        most, back = (  # at mu W all the weight is on the driven axle
            grip * weight * min(1.0, share / max(1.0 - each, 1e-9)) for each in (shift, -shift)
        )
    felt = own * (lever / radius) ** 2
    return (
        [Wheel(4.0, lever / radius, 1.0, wheels * felt, most, back)],
        moved + (4.0 - wheels) * felt,
        friction,
    )


def sizes(values: dict[str, Any]) -> tuple[float, float, float, float]:
    return (
        1e-3 * num(values["wheelbase"]),
        1e-3 * num(values["track"]),
        values["grip"],
        num(values["friction"]),
    )


def drive_account(
    rows: np.ndarray,
    it: Rolling,
    open_circuit: float,
    ohms: float,
    duty: Callable[[np.ndarray], np.ndarray],
    alone: list[np.ndarray],
) -> tuple[float, float, float, float]:
    """(energy taken from the battery's terminals, what it went into, all that changed hands, least slip) [J].

    `alone`: for each wheel and every row, whether it slides (1: it drives, -1: it brakes), its speeds at both ends and
    the coefficients of its way, all as the robot would move if it rolled. Sliding, it gives all its grip; what it
    slips heats tyre and floor. Least slip: the least power that this came to. What the floor would have to give beyond
    the grip of wheels that roll counts as taken from nowhere: it is missing in what is spent.
    """
    taken = spent = turned = 0.0
    least = inf
    n, k, r = (
        np.array([each]).T
        for each in zip(*((w.motors, it.constant, it.resistance) for w in it.wheels), strict=True)
    )
    share = np.array([[w.share] for w in it.wheels])
    geared = np.array([[it.ratio * w.per_travel] for w in it.wheels])
    inertia, most, back = (np.array([[each] for each in (getattr(w, name) for w in it.wheels)])
                           for name in ("inertia", "most", "most_back"))  # fmt: skip
    whole = it.mass + float(np.sum(inertia + n * it.rotor * geared**2))
    own = (inertia + n * it.rotor * geared**2)[:, 0]
    for row, (t0, h, v0, v1, *poly) in enumerate(rows):
        _, v, a = state(h, np.array(poly))
        slides = np.array([[wheel[row, 0]] for wheel in alone])
        ways = [state(h, wheel[row, 3:])[1:] if wheel[row, 0] else (v, a) for wheel in alone]
        u, b = np.array([way[0] for way in ways]), np.array([way[1] for way in ways])
        d, w, s = share * duty(t0 + X * h), geared * u, np.sign(u)
        volts = (open_circuit + ohms * np.sum(n * d * k * w / r, axis=0)) / (
            1.0 + ohms * np.sum(n * d**2 / r, axis=0)
        )
        i = (d * volts - k * w) / r
        before = geared * n * (k * i - it.motor_friction * s - it.rotor * geared * b)
        gears = before * np.where(s * before >= 0.0, it.forward, 1.0 / it.back)
        asked = gears - inertia * b
        floor = np.where(slides > 0.0, most, np.where(slides < 0.0, -back, np.clip(asked, -back, most)))
        slip = floor * (u - v)
        heat = n * i**2 * r + n * it.motor_friction * abs(w)
        lost = np.where(s != 0.0, (before - gears) * u, 0.0)
        heat = np.sum(heat + lost + slip, axis=0) + it.friction * abs(v)
        electric = volts * np.sum(n * d * i, axis=0)
        moved = 0.5 * whole * (v1**2 - v0**2)
        for wheel, felt in zip(alone, own, strict=True):
            if wheel[row, 0]:
                moved += 0.5 * felt * (wheel[row, 2] ** 2 - wheel[row, 1] ** 2 - v1**2 + v0**2)
        taken += h * float(W @ electric)
        spent += h * float(W @ heat) + moved
        turned += h * float(W @ (abs(electric) + abs(heat))) + abs(moved)
        least = min(least, float(slip.min(initial=inf)))
    return taken, spent, turned, least


def wheels_alone(it: Rolling, groups: np.ndarray, courses: list[np.ndarray]) -> list[np.ndarray]:
    """The course of the group of motors that each wheel belongs to: of equal wheels, told by ratio and grip."""
    found = []
    for wheel in it.wheels:
        alike = [
            np.allclose((row[1], row[16] / row[0], -row[15] / row[0]),
                        (it.ratio * wheel.per_travel, wheel.most / wheel.motors, wheel.most_back / wheel.motors))
            for row in groups
        ]  # fmt: skip
        found.append(courses[alike.index(True)])
    return found
