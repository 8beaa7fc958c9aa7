"""Pneumatic cylinder: a timed stroke, fed from a tank that runs out.

Geometry: the mechanism is `in` or `out`; the time of a stroke is a stopwatch's. What is worked out is the air:
isothermal, ideal, pressures in the file above the atmosphere's.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import inf, pi
from typing import Any

from simbot.physics.outline import Line, Outline
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

NAME = "cylinder"
COORDINATE = "word"
SUMMARY = "pneumatic cylinder: a timed stroke, a tank that runs out"
ATMOSPHERE = 101325.0  # Pa, standard atmosphere (ISO 2533)
PARAMETERS = (
    Parameter("time", "time", "of a stroke outwards", required=True, low=0.0, high=60.0),
    Parameter("time_in", "time", "of a stroke inwards; none: as outwards", low=0.0, high=60.0),
    Parameter("bore", "length", "inner diameter", required=True, low=0.001, high=0.5),
    Parameter("rod", "length", "diameter of the piston's rod", default=0.0, low=0.0, high=0.5),
    Parameter("stroke", "length", "from in to out", required=True, low=0.001, high=3.0),
    Parameter("count", "count", "cylinders that move together", default=1, low=1, high=8),
    Parameter("single_acting", "flag", "a spring brings it back in, without air", default=False),
    Parameter("tank", "volume", "of its air tanks and hoses", required=True, low=1e-6, high=0.1),
    Parameter("supply", "pressure", "in the tank at the start", required=True, low=0.0, open_low=True, high=2e6),
    Parameter("regulator", "pressure", "let through to the cylinder; none: all", low=0.0, open_low=True, high=2e6),
    Parameter(
        "least_pressure", "pressure", "below this at the end of a stroke it does not get there", required=True,
        low=0.0, open_low=True, high=2e6,
    ),
    Parameter("on", "word", "the mechanism that carries what this one holds"),
)  # fmt: skip
SKETCH = """\
      supply                  regulator
     .------.                    __
     ( tank )-------------------|__|----.
     '------'                           |
                      .-----------------+----.
              bore    |       |==============|======= rod
                      '----------------------'
                              |<-- stroke -->|
                              in             out
"""


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[str, Fault]]:
    """Sizes and pressures that do not fit together."""
    if p["rod"] >= p["bore"]:
        yield "rod", Fault("not thinner than the bore", p["rod"].text, f"less than {p['bore'].text}")
    for key in ("supply", "regulator"):
        if p[key] is not None and p[key] < p["least_pressure"]:
            yield (
                key,
                Fault(
                    "below `least_pressure`: it never moves",
                    p[key].text,
                    f"at least {p['least_pressure'].text}",
                ),
            )
            return


def volume(p: Mapping[str, Any], outwards: bool) -> float:
    """Air that a stroke takes in, at the cylinder's pressure [m³]."""
    if not outwards and p["single_acting"]:
        return 0.0
    square = float(p["bore"]) ** 2 - (0.0 if outwards else float(p["rod"]) ** 2)
    return int(p["count"]) * pi / 4.0 * square * float(p["stroke"])


def after_stroke(p: Mapping[str, Any], tank: float, outwards: bool) -> tuple[float, float]:
    """(pressure left in the tank, pressure in the cylinder at the end of the stroke), both absolute [Pa].

    Regulated: p_tank V falls by p_regulated V_stroke. Where that would leave the tank below the regulator's
    pressure, and without a regulator, tank and cylinder share: p V/(V + V_stroke).
    """
    air, room = volume(p, outwards), float(p["tank"])
    if air == 0.0:
        return tank, inf
    if p["regulator"] is not None:
        regulated = float(p["regulator"]) + ATMOSPHERE
        left = tank - regulated * air / room
        if left >= regulated:
            return left, regulated
    shared = max(ATMOSPHERE, tank * room / (room + air))
    return shared, shared


def arrives(p: Mapping[str, Any], at_end: float) -> bool:
    return at_end - ATMOSPHERE >= float(p["least_pressure"])


def strokes(p: Mapping[str, Any], most: int = 10_000) -> int:
    """Strokes on one fill, out and in by turns, before the first that does not get there."""
    tank, done = float(p["supply"]) + ATMOSPHERE, 0
    while done < most:
        tank, at_end = after_stroke(p, tank, done % 2 == 0)
        if not arrives(p, at_end):
            break
        done += 1
    return done


def outline(p: Mapping[str, Any], q: str) -> Outline:
    """Side view: the cylinder from the origin, its rod to the right."""
    bore, stroke = float(p["bore"]), float(p["stroke"])
    at = stroke if q == "out" else 0.0
    half, rod = 0.5 * bore, 0.5 * (float(p["rod"]) or 0.3 * bore)
    body = ((0.0, -half), (1.1 * stroke, -half), (1.1 * stroke, half), (0.0, half))
    piston = ((at, -half), (at + 0.1 * stroke, -half), (at + 0.1 * stroke, half), (at, half))
    end = at + 1.2 * stroke
    shaft = ((at + 0.1 * stroke, -rod), (end, -rod), (end, rod), (at + 0.1 * stroke, rod))
    return Line(body, "frame", True), Line(piston, "moving", True), Line(shaft, "moving", True)
