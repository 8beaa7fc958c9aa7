"""Claw: jaws on a hobby servo that close freely, then meet the element and press on it.

Geometry: the coordinate is the horn's angle [rad], the jaws' too. From `contact` on the element gives way by
`stiffness` at the jaws. What is gripped moves with what carries the claw, and adds nothing to its inertia.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import cos, pi, sin
from typing import Any, NamedTuple

import numpy as np

from simbot.physics.kinds import servo
from simbot.physics.kinds.common import gravity_of, tilt_of
from simbot.physics.outline import Disc, Line, Outline, Shape
from simbot.physics.tables import GRAVITY, Knots, Reduced, Segment, tabulate
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

NAME = "claw"
COORDINATE = "angle"
SUMMARY = "claw on a hobby servo, pressing on what it holds"
PARAMETERS = (
    *servo.PARAMETERS,
    Parameter(
        "jaw", "length", "from a jaw's axle to where it presses", required=True, low=0.001, high=1.0
    ),
    Parameter(
        "moving_jaws", "count", "jaws that the servo moves: 1 against a fixed one, or 2", default=1, low=1, high=2,
    ),
    Parameter("contact", "angle", "where the jaws meet the element", required=True),
    Parameter("closes", "choice", "with a rising or a falling angle", default="rising", choices=("rising", "falling")),
    Parameter(
        "stiffness",
        "stiffness",
        "of element and jaws: force at a jaw for each unit by which they close further",
        default=10000.0,
        default_spread=8000.0,
        low=100.0,
        high=1e6,
        reason="1 to 50 N/mm, common practice, no source",
    ),
    Parameter("pressing_faces", "count", "faces that press on the element", default=2, low=1, high=6),
    Parameter(
        "grip", "number", "friction coefficient of face on element", default=0.5, default_spread=0.2, low=0.01,
        high=3.0, reason="dry plastics and rubber, 0.3 to 0.9, common practice, no source",
    ),
    Parameter("element_mass", "mass", "of what it is to hold; none: not asked", low=0.0, open_low=True, high=50.0),
)  # fmt: skip
EXAMPLE = """\
speed: 0.12 s/60deg
stall_torque: 15 kgf*cm
at: 6 V
travel: [0 deg, 90 deg]
jaw: 70 mm
contact: 25 deg
"""
SKETCH = """\
      moving_jaws: 1                    moving_jaws: 2
                  ___ jaw                  \\  element /
      axle  O----'                          \\  ____  /
             \\   contact: the angle          \\|    |/  stiffness: how hard
              \\   at which it meets           |____|   it is pressed for
               \\ [ element ]| fixed jaw       O    O   each mm further
                                              <-jaw->
      grip x pressing_faces: what carries the element's weight
"""


class Pressing(NamedTuple):
    """At rest on the element: angle [rad], force on each face [N] and the servos' effort (0 to 1)."""

    angle: float
    force: float
    effort: float


def _side(p: Mapping[str, Any]) -> float:
    return 1.0 if p["closes"] == "rising" else -1.0


def _per_angle(p: Mapping[str, Any]) -> tuple[float, float]:
    """Closing of the jaws per angle [m], and torque per angle while they press [N m/rad]."""
    closing = int(p["moving_jaws"]) * float(p["jaw"])
    return closing, float(p["stiffness"]) * closing**2


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[str, Fault]]:
    """A contact that the jaws do not come to."""
    low, high = p["travel"]
    if not low < p["contact"] < high:
        ends = f"{low.text} to {high.text}"
        yield "contact", Fault("the element is not met within the travel", p["contact"].text, ends)


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of a claw: those of its servo, and from `contact` on a torque that rises with the angle."""
    free = servo.reduce(p, 0.0).segments[0]
    contact, side = float(p["contact"]), _side(p)
    rate = _per_angle(p)[1]
    weighs = free.knots is not None
    moment = gravity_of(p) * float(p["load_mass"]) * float(p["load_at"]) if weighs else 0.0
    zero = float(p["load_angle"] or 0.0) + tilt_of(p)

    def inertia(q: Knots) -> tuple[Knots, Knots, Knots]:
        return np.full_like(q, free.mass), np.zeros_like(q), np.zeros_like(q)

    def weight(q: Knots) -> tuple[Knots, Knots]:
        return moment * np.cos(q + zero), -moment * np.sin(q + zero)

    def pressed(q: Knots) -> tuple[Knots, Knots]:
        return weight(q)[0] + rate * (q - contact), weight(q)[1] + rate

    def stretch(low: float, high: float, presses: bool) -> Segment:
        if presses:
            return tabulate(low, high, inertia, pressed, cells=64 if weighs else 1)
        return tabulate(low, high, inertia, weight) if weighs else Segment(low, high, free.mass, 0.0)

    segments = (stretch(free.low, contact, side < 0.0), stretch(contact, free.high, side > 0.0))
    return Reduced(segments, 1.0, 0.0, 0.0)


def meets(p: Mapping[str, Any], target: float) -> bool:
    """Whether jaws that are sent to a target [rad] come to the element."""
    return _side(p) * (target - float(p["contact"])) > 0.0


def pressing(p: Mapping[str, Any], target: float, volts: float) -> Pressing | None:
    """Where the jaws rest when sent to a target [rad] on a supply [V]; None: they do not press.

    Balance of k (q - contact) and Ts d - friction with d the share of the band that is left, at most 1. The
    friction is taken against the closing and weight of the jaws is left out: they press at least so hard.
    """
    past = _side(p) * (target - float(p["contact"]))
    if past <= 0.0:
        return None
    closing, rate = _per_angle(p)
    count, share = int(p["count"]), volts / float(p["at"])
    stall = count * float(p["stall_torque"])
    rubs = stall * float(p["friction"])
    slope = stall * share / float(p["band"])
    deep = (slope * past - rubs) / (rate + slope)  # effort (past - deep)/band
    if past - deep > float(p["band"]):
        deep = (stall * share - rubs) / rate
    if past - deep < float(p["dead_band"]):
        deep = past - float(p["dead_band"])
    if deep <= 0.0:
        return None
    effort = min((past - deep) / float(p["band"]), 1.0)
    return Pressing(float(p["contact"]) + _side(p) * deep, rate * deep / closing, effort)


def reach(p: Mapping[str, Any], volts: float) -> tuple[float, float]:
    """The part of its travel that it gets to on a supply [V]: where its jaws rest on the element, they end [rad]."""
    low, high = (float(end) for end in p["travel"])
    rest = pressing(p, high if _side(p) > 0.0 else low, volts)
    if rest is None:
        return low, high
    return (low, min(rest.angle, high)) if _side(p) > 0.0 else (max(rest.angle, low), high)


def holds_from(p: Mapping[str, Any]) -> float:
    """Angle from which the element is held at rest: n mu F = m g (the contact where no mass is asked for) [rad]."""
    closing, rate = _per_angle(p)
    force = GRAVITY * float(p["element_mass"] or 0.0) / (int(p["pressing_faces"]) * float(p["grip"]))
    return float(p["contact"]) + _side(p) * force * closing / rate


def window_at(p: Mapping[str, Any], target: float, window: float) -> float:
    """Half-width of the set of a command: one that closes on the element has arrived where it is held."""
    return max(window, _side(p) * (target - holds_from(p)))


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """View along the axles, x to the right: jaws open to the right, the element between them."""
    reach, side = float(p["jaw"]), _side(p)
    opened = side * (float(p["contact"]) - q)  # of each moving jaw, from where it meets
    size = 0.2 * reach
    shapes: list[Shape] = []
    for sign, moves in ((1.0, True), (-1.0, int(p["moving_jaws"]) == 2)):
        angle = sign * min(max(opened, 0.0), pi / 2) if moves else 0.0
        root = (0.0, sign * size)
        tip = (reach * cos(angle), root[1] + reach * sin(angle))
        shapes += [Disc(root, 0.1 * reach, "frame"), Line((root, tip), "moving" if moves else "frame")]
    return (*shapes, Disc((reach, 0.0), size, "load"))
