"""Pneumatic cylinder: strokes by a stopwatch's time, or by air, valve and load; a tank that runs out.

Geometry: the mechanism is `in` or `out`. Its time is a stopwatch's, or follows from the `conductance` of its valve
and what it moves (see `stroke`). The air: isothermal, ideal, pressures in the file above the atmosphere's.

What a stroke takes from the tank: the side that is filled begins with its dead volume V_d (hose and end space) full of
air at the atmosphere's pressure p_a, since the stroke before it vented that side, and ends with V_d and the stroke's
volume V_s at the cylinder's pressure p: p (V_s + V_d) - p_a V_d, as pressure times volume (derivation). It is what the
equations of `stroke` bring in by the time that the pressure has settled. A stroke is taken to go on until it has.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from math import inf, pi
from typing import Any, NamedTuple

from simbot.physics.air import ATMOSPHERE
from simbot.physics.kinds.common import HOLDING
from simbot.physics.outline import Line, Outline
from simbot.physics.stroke import stroke_time
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

NAME = "cylinder"
COORDINATE = "word"
SUMMARY = "pneumatic cylinder, its strokes timed or by its air"
PARAMETERS = (
    Parameter(
        "time", "time", "of a stroke outwards, by a stopwatch; none: by `conductance`", low=0.0, high=60.0,
        needed="unless `conductance` and `moving_mass`",
    ),
    Parameter("time_in", "time", "of a stroke inwards; none: as outwards", low=0.0, high=60.0),
    Parameter("bore", "length", "inner diameter", required=True, low=0.001, high=0.5),
    Parameter("rod", "length", "diameter of the piston's rod", default=0.0, low=0.0, high=0.5),
    Parameter("stroke", "length", "from in to out", required=True, low=0.001, high=3.0),
    Parameter("count", "count", "cylinders that move together", default=1, low=1, high=8),
    Parameter("single_acting", "flag", "a spring brings it back in, without air", default=False),
    Parameter("tank", "volume", "of its air tanks and hoses", low=1e-6, high=0.1, needed="unless `tank_of`"),
    Parameter("tank_of", "word", "the cylinder whose tank it shares, instead of a `tank` and `supply` of its own"),
    Parameter(
        "supply", "pressure", "in the tank at the start",
        low=0.0, open_low=True, high=2e6, needed="unless `tank_of`",
    ),
    Parameter("regulator", "pressure", "let through to the cylinder; none: all", low=0.0, open_low=True, high=2e6),
    Parameter(
        "least_pressure", "pressure",
        "below this at the end of a stroke it does not get there; none: what its load and friction need",
        low=0.0, open_low=True, high=2e6, needed="unless `conductance`",
    ),
    Parameter(
        "conductance", "conductance", "sonic conductance C (ISO 6358) of what lets air in, for all cylinders",
        low=0.0, open_low=True, high=1e-6,
    ),
    Parameter(
        "conductance_out", "conductance", "of what lets it out, a throttle say; none: the same",
        low=0.0, open_low=True, high=1e-6,
    ),
    Parameter(
        "critical_ratio", "share", "critical pressure ratio b of the valve", default=0.3, low=0.0, high=0.9,
        reason="0.2 to 0.5, from memory",
    ),
    Parameter("moving_mass", "mass", "that moves with the piston", low=0.0, open_low=True, high=200.0),
    Parameter("load", "force", "against the stroke outwards, and for it inwards", default=0.0),
    Parameter("friction", "force", "of piston, seals and guide", default=0.0, low=0.0, reason="no friction stated"),
    Parameter("return_spring", "force", "of a single acting one, the same all the way", default=0.0, low=0.0),
    Parameter(
        "dead_volume", "volume", "of hose and end space on either side, of all cylinders; none: a tenth of a stroke's",
        low=0.0, high=0.01,
    ),
    Parameter(
        "valve_delay", "time", "from the command to the open valve", default=0.015, low=0.0, high=1.0,
        reason="10 to 30 ms, common practice, no source",
    ),
    *HOLDING,
)  # fmt: skip
EXAMPLE = """\
bore: 20 mm
stroke: 150 mm
tank: 0.6 l
supply: 7 bar
time: 180 ms
least_pressure: 3 bar
"""
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
    if p["tank_of"] is not None:
        for key in ("tank", "supply"):
            if p[key] is not None:
                yield key, Fault(f"its tank is that of {p['tank_of']}", p[key].text, "one of the two")
    else:
        for key in ("tank", "supply"):
            if p[key] is None:
                yield (
                    "bore",
                    Fault(f"the key `{key}` is missing", wanted="a tank and its supply, or `tank_of`"),
                )
    yield from _timing(p)
    for key in ("supply", "regulator"):
        if p[key] is not None and p["least_pressure"] is not None and p[key] < p["least_pressure"]:
            wanted = f"at least {p['least_pressure'].text}"
            yield key, Fault("below `least_pressure`: it never moves", p[key].text, wanted)
            return


def _timing(p: Mapping[str, Any]) -> Iterator[tuple[str, Fault]]:
    """A stopwatch's time, or what it follows from: one of the two."""
    if p["time"] is None and p["conductance"] is None:
        yield (
            "bore",
            Fault(
                "nothing says how long a stroke takes", wanted="`time`, or `conductance` and `moving_mass`"
            ),
        )
    elif p["time"] is not None:
        if p["conductance"] is not None:
            yield (
                "conductance",
                Fault("`time` says how long a stroke takes", p["conductance"].text, "one of the two"),
            )
        if p["least_pressure"] is None:
            yield (
                "time",
                Fault("the key `least_pressure` is missing", wanted="the pressure that the stroke needs"),
            )
    elif p["moving_mass"] is None:
        yield (
            "conductance",
            Fault("the key `moving_mass` is missing", wanted="what the piston moves, such as 0.4 kg"),
        )
    if p["single_acting"] and p["time"] is None and p["return_spring"] == 0.0:
        yield (
            "single_acting",
            Fault("the key `return_spring` is missing", wanted="its spring's force, such as 15 N"),
        )


def volume(p: Mapping[str, Any], outwards: bool) -> float:
    """What the piston sweeps on the side that is filled [m³]."""
    if not outwards and p["single_acting"]:
        return 0.0
    square = float(p["bore"]) ** 2 - (0.0 if outwards else float(p["rod"]) ** 2)
    return int(p["count"]) * pi / 4.0 * square * float(p["stroke"])


def dead_volume(p: Mapping[str, Any]) -> float:
    """Of hose and end space on either side [m³]."""
    return 0.1 * volume(p, True) if p["dead_volume"] is None else float(p["dead_volume"])


def after_stroke(
    p: Mapping[str, Any], tank: float, outwards: bool, room: float | None = None
) -> tuple[float, float]:
    """(pressure left in the tank, pressure in the cylinder at the end of the stroke), both absolute [Pa].

    `room`: the tank's volume where it is another one's [m³].
    Regulated: p_tank V falls by what the stroke takes. Where that would leave the tank below the regulator's
    pressure, and without a regulator, tank and cylinder share: p (V + V_s + V_d) = p_tank V + p_a V_d.
    """
    swept, room = volume(p, outwards), float(p["tank"]) if room is None else room
    if swept == 0.0:
        return tank, inf
    dead = dead_volume(p)
    if p["regulator"] is not None:
        regulated = float(p["regulator"]) + ATMOSPHERE
        left = tank - (regulated * (swept + dead) - ATMOSPHERE * dead) / room
        if left >= regulated:
            return left, regulated
    shared = max(ATMOSPHERE, (tank * room + ATMOSPHERE * dead) / (room + swept + dead))
    return shared, shared


def least_pressure(p: Mapping[str, Any], outwards: bool) -> float:
    """Pressure that it needs at the end of a stroke: as stated, or what load, spring and friction ask for [Pa]."""
    if p["least_pressure"] is not None:
        return float(p["least_pressure"])
    area = volume(p, outwards) / float(p["stroke"])
    return max(0.0, _against(p, outwards) + float(p["friction"])) / area if area > 0.0 else 0.0


def _against(p: Mapping[str, Any], outwards: bool) -> float:
    """Force against a stroke without friction and air [N]."""
    force = float(p["load"]) + (int(p["count"]) * float(p["return_spring"]) if p["single_acting"] else 0.0)
    return force if outwards else -force


def arrives(p: Mapping[str, Any], at_end: float, outwards: bool) -> bool:
    return at_end - ATMOSPHERE >= least_pressure(p, outwards)


def seconds(
    p: Mapping[str, Any], tank: float, outwards: bool, room: float,
    run: Callable[..., float] = stroke_time,
) -> float:  # fmt: skip
    """Time from the command to the end of a stroke that follows from its valve [s]; inf: it does not get there.

    Parameters
    ----------
    tank, room : float
        Absolute pressure in the tank [Pa], and its volume [m³].
    run : callable
        `stroke_time`, or the same compiled.
    """
    stroke, single = float(p["stroke"]), bool(p["single_acting"])
    area_in = volume(p, outwards) / stroke
    emptied = volume({**p, "single_acting": False}, not outwards) / stroke
    area_out = 0.0 if single and outwards else emptied
    regulated = inf if p["regulator"] is None else float(p["regulator"]) + ATMOSPHERE
    flow = float(p["conductance"])
    out = flow if p["conductance_out"] is None else float(p["conductance_out"])
    load = _against(p, outwards) + ATMOSPHERE * (area_in - area_out)
    moves = (float(p["moving_mass"]), load, float(p["friction"]))
    before = min(tank, regulated)
    gas = (flow, out, float(p["critical_ratio"]), tank, room, regulated)
    return float(p["valve_delay"]) + run(
        *gas, area_in, area_out, before, stroke, max(dead_volume(p), 1e-9), *moves
    )


class Stroke(NamedTuple):
    """What became of a stroke; pressures absolute [Pa]."""

    seconds: float  # inf: it does not get there
    left: float  # in the tank afterwards
    at_end: float  # in the cylinder at the end; inf: it takes no air
    why: str  # of one that does not get there


def one_stroke(
    p: Mapping[str, Any], tank: float, outwards: bool, room: float, timed: float | None,
    run: Callable[..., float] = stroke_time,
) -> Stroke:  # fmt: skip
    """A stroke from a tank at a pressure; `timed`: its time by a stopwatch, else by its valve (see `seconds`)."""
    lasts = seconds(p, tank, outwards, room, run) if timed is None else timed
    left, at_end = after_stroke(p, tank, outwards, room)
    if not arrives(p, at_end, outwards):
        least = least_pressure(p, outwards) / 1e5
        why = f"its air ends at {(at_end - ATMOSPHERE) / 1e5:.3g} bar, it needs {least:.3g} bar"
        return Stroke(inf, left, at_end, why)
    return Stroke(lasts, left, at_end, "" if lasts < inf else "its air does not push it all the way")


def push(p: Mapping[str, Any], at_end: float, outwards: bool) -> float:
    """Force at the end of a stroke, its spring's taken into account, load and friction not [N]."""
    spring = int(p["count"]) * float(p["return_spring"]) if p["single_acting"] else 0.0
    area = volume(p, outwards) / float(p["stroke"])
    air = (at_end - ATMOSPHERE) * area if area > 0.0 else 0.0
    return air - spring if outwards else air + spring


def holds_down_to(p: Mapping[str, Any], out: bool) -> float | None:
    """Pressure above the outer air's down to which it stays at an end [Pa]; None: no air could hold it."""
    pulls = _against(p, out) - float(p["friction"])
    area = volume(p, out) / float(p["stroke"])
    if pulls <= 0.0:
        return 0.0
    return pulls / area if area > 0.0 else None


def without_air(p: Mapping[str, Any]) -> str:
    """Where it goes with the air let out: `in`, `out`, or nowhere (empty)."""
    pulls = _against(p, True)
    return "" if abs(pulls) <= float(p["friction"]) else ("in" if pulls > 0.0 else "out")


def strokes(p: Mapping[str, Any], most: int = 10_000) -> int:
    """Strokes on one fill, out and in by turns, before the first that does not get there."""
    tank, done = float(p["supply"]) + ATMOSPHERE, 0
    while done < most:
        tank, at_end = after_stroke(p, tank, done % 2 == 0)
        if not arrives(p, at_end, done % 2 == 0):
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
