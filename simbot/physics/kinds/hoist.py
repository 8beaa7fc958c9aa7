"""Hoist: the robot winds in slack cord, its hook meets the bar, and it pulls itself up.

Geometry: the coordinate is the cord wound in [m]. Over `slack` nothing hangs on it; then the load takes part at
once, an impact that keeps momentum. A load with `hook` and `mass_centre` tilts about its rear contact until its
mass centre is below the hook, and then hangs. The cord is taken as upright.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import atan2, cos, hypot, sin
from typing import Any

import numpy as np

from simbot.physics.kinds.common import CORD_RATING, DAMPING, DRIVEN, FRICTION, STATIC, TRAVEL
from simbot.physics.kinds.drum import DRUM, LAYERED, Phase, Slopes, width_faults, wound
from simbot.physics.kinds.drum import shaft_per_travel as shaft_per_travel
from simbot.physics.outline import Disc, Line, Outline
from simbot.physics.tables import GRAVITY, Knots, Reduced
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

NAME = "hoist"
COORDINATE = "length"
SUMMARY = "hoist whose hook meets its load part of the way"
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    CORD_RATING,
    DRUM,
    *LAYERED,
    Parameter(
        "load_mass", "mass", "mass that is lifted, the robot's own as a rule", required=True, low=0.0,
        open_low=True, high=500.0,
    ),
    Parameter("slack", "length", "cord to wind in before the hook meets", default=0.0, low=0.0, high=20.0),
    Parameter(
        "hook", "length", "[forward, up] from its rear contact to where the cord pulls on it", shape="pair",
        low=0.0, high=5.0,
    ),
    Parameter(
        "mass_centre", "length", "[forward, up] from its rear contact to its mass centre", shape="pair",
        low=0.0, high=5.0,
    ),
    Parameter(
        "tilting_inertia", "inertia",
        "of the load about its mass centre; none: an even body with its centre in the middle", low=0.0,
        high=500.0,
    ),
    Parameter(
        "moving_mass", "mass", "mass that moves with the slack cord already", default=0.0, low=0.0, high=500.0
    ),
    FRICTION,
    STATIC,
    DAMPING,
)  # fmt: skip
EXAMPLE = """\
motors: 2 x NAME
gearing: [{ratio: 2:1}]   # efficiency not stated: 25 to 50 % in all
travel: [0 m, 0.6 m]
drum_diameter: 20 mm
load_mass: 10 kg
"""
SKETCH = """\
   ======= bar =======         slack   cord wound in before the hook meets
            |                  travel  cord wound in, lowest and highest
            | cord, upright
            |                  The load tilts about its rear contact until
      ,-----+ hook             the mass centre is below the hook:
      |     |\\
      |  +  | drum_diameter      tan(tilt) = (hook - centre, forward)
      | mass_centre                          / (hook - centre, up)
      |     |
      '-----'                  and hangs from there on.
      ^rear contact: [0, 0], forward to the right, up
"""


def _geometry(p: Mapping[str, Any]) -> tuple[float, float, float, float] | None:
    """Hook and mass centre (forward, up) of a load that tilts; None: it is lifted straight."""
    if p["hook"] is None or p["mass_centre"] is None:
        return None
    return (*(float(each) for each in p["hook"]), *(float(each) for each in p["mass_centre"]))  # type: ignore[return-value]


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[str, Fault]]:
    """What cannot be lifted so."""
    yield from width_faults(p)
    low, high = p["travel"]
    if not 0.0 <= p["slack"] < high - low:
        yield (
            "slack",
            Fault("the hook never meets within the travel", p["slack"].text, "less than the travel"),
        )
    if (p["hook"] is None) != (p["mass_centre"] is None):
        given, missing = ("hook", "mass_centre") if p["hook"] is not None else ("mass_centre", "hook")
        yield given, Fault(f"`{given}` says nothing without `{missing}`", wanted="both, or neither")
        return
    geometry = _geometry(p)
    if geometry is None:
        return
    x_h, h_h, x_c, h_c = geometry
    given = f"[{p['hook'][0].text}, {p['hook'][1].text}]"
    if h_h <= h_c:
        text = "the hook is not above the mass centre: the load topples"
        yield "hook", Fault(text, given, f"higher than {p['mass_centre'][1].text}")
    elif x_h < x_c:
        text = "the hook lies behind the mass centre: the load tilts about its other contact"
        yield "hook", Fault(text, given, "both measured from the contact that stays on the ground longest")
    elif x_c * h_h <= h_c * x_h:
        text = "the load topples backwards over its rear contact before the mass centre is below the hook"
        yield "hook", Fault(text, given, "a hook nearer to the mass centre, or higher")


def tilt_when_lifted(hook: tuple[float, float], centre: tuple[float, float]) -> tuple[float, float]:
    """Tilt [rad] at which the mass centre is below the hook, and the cord it takes [m]."""
    tilt = atan2(hook[0] - centre[0], hook[1] - centre[1])
    return tilt, hook[0] * sin(tilt) + hook[1] * cos(tilt) - hook[1]


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a hoist; a `payload` [kg] adds to the load at its mass centre.

    Tilted by a, with lever D = x_h cos a - h_h sin a of the cord and N = x_c cos a - h_c sin a of the weight
    about the rear contact: cord force m g N/D, inertia (J + m r_c²)/D² as felt at the cord, dq = D da. With
    K = x_c h_h - h_c x_h: dQ/dq = m g K/D³.
    """
    low, high = (float(end) for end in p["travel"])
    mass, along = float(p["load_mass"]) + payload, float(p["moving_mass"])
    met = low + float(p["slack"])
    phases = []
    if met > low:
        phases.append(Phase.constant(met, along, 0.0))
    geometry = _geometry(p)
    lifted, at_once = met, along + mass
    if geometry is not None:
        x_h, h_h, x_c, h_c = geometry
        lifted = met + tilt_when_lifted((x_h, h_h), (x_c, h_c))[1]
        own = p["tilting_inertia"]
        about = (mass / 3.0 if own is None else 0.0) * (x_c**2 + h_c**2) + float(own or 0.0)
        about += mass * (x_c**2 + h_c**2)
        reach, rise = hypot(x_h, h_h), atan2(h_h, x_h)
        fixed = GRAVITY * mass * (x_c * h_h - h_c * x_h)

        def levers(q: Knots) -> tuple[Knots, Knots, Knots]:
            tilt = np.arcsin((h_h + q - met) / reach) - rise
            c, s = np.cos(tilt), np.sin(tilt)
            return x_h * c - h_h * s, -x_h * s - h_h * c, x_c * c - h_c * s

        def inertia(q: Knots) -> Slopes:
            d, slope, _ = levers(q)
            bend = 2.0 * about * (d**-4 + 4.0 * slope**2 * d**-6)
            return along + about / d**2, -2.0 * about * slope / d**4, bend

        def pull(q: Knots) -> tuple[Knots, Knots]:
            d, _, weight = levers(q)
            return GRAVITY * mass * weight / d, fixed / d**3

        if lifted > met:
            at_once = along + about / x_h**2
            phases.append(Phase(min(lifted, high), inertia, pull, at_once, False))
    if lifted < high:
        phases.append(Phase.constant(high, along + mass, GRAVITY * mass, at_once))
    friction = float(p["friction"])
    return Reduced(
        wound(p, low, phases),
        2.0 / p["drum_diameter"],
        friction,
        friction * float(p["static_friction"]),
        float(p["damping"]),
    )


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view, origin on the ground below the rear contact; the bar hangs where the slack cord reaches it."""
    low = float(p["travel"][0])
    geometry = _geometry(p) or (0.0, 0.3, 0.0, 0.15)
    x_h, h_h, x_c, h_c = geometry
    slack = float(p["slack"])
    bar = h_h + float(p["travel"][1]) - low - slack
    up = max(q - low - slack, 0.0)
    stands, cord = tilt_when_lifted((x_h, h_h), (x_c, h_c)) if x_h > x_c else (0.0, 0.0)
    tilt = stands if up >= cord else _tilt_at(up, x_h, h_h)
    rise = max(up - cord, 0.0)
    c, s = cos(tilt), sin(tilt)

    def placed(x: float, y: float) -> tuple[float, float]:
        return x * c - y * s, x * s + y * c + rise

    reach = 1.2 * max(x_h, x_c, 0.1)
    hook = placed(x_h, h_h)
    body = Line(
        tuple(placed(*at) for at in ((0.0, 0.0), (reach, 0.0), (reach, h_h), (0.0, h_h))), "moving", True
    )
    return (
        Line(((-0.2, 0.0), (reach + 0.2, 0.0)), "ground"),
        Line(((hook[0] - 0.2, bar), (hook[0] + 0.2, bar)), "frame"),
        Line((hook, (hook[0], bar)), "cord"),
        body,
        Disc(placed(x_c, h_c), 0.02, "load"),
    )


def _tilt_at(up: float, x_h: float, h_h: float) -> float:
    reach = hypot(x_h, h_h)
    return float(np.arcsin(min((h_h + up) / reach, 1.0))) - atan2(h_h, x_h) if x_h > 0.0 else 0.0
