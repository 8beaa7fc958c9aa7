"""One axle with several drums: what each cord draws moves together, each as far as its drum is thick.

Geometry: the coordinate is the axle's angle [rad]. A follower stands at s = `at_zero` + r angle above its lower
end along its rails, r half its drum, negative where its cord is wound the other way round. With cords that only
pull, s below 0 is a slack cord: the follower rests at its lower end and takes no part.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from math import cos, pi, sin
from typing import Any, NamedTuple

from simbot.physics.kinds.common import DAMPING, DRIVEN, STANCE, STATIC, TRAVEL, gravity_of, tilt_of
from simbot.physics.outline import Disc, Line, Outline, Point
from simbot.physics.tables import Reduced, Segment
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter
from simbot.scenario.units_told import told

NAME = "axle"
COORDINATE = "angle"
SUMMARY = "one axle with several drums, each drawing its own follower"
PARAMETERS = (
    *DRIVEN,
    TRAVEL,
    Parameter(
        "drum_diameter", "length", "of each drum, to the middle of its cord", shape="list", required=True,
        low=0.001, high=0.5,
    ),
    Parameter(
        "moving_mass", "mass", "drawn by each cord, in the order of the drums", shape="list", required=True,
        low=0.0, high=200.0,
    ),
    Parameter(
        "highest", "length", "where each follower stops, above its lower end", shape="list", required=True,
        low=0.0, open_low=True, high=20.0,
    ),
    Parameter(
        "at_zero", "length",
        "where each follower stands when the axle stands at 0; negative: slack in its cord; none: 0",
        shape="list", low=-20.0, high=20.0,
    ),
    Parameter(
        "wound", "number", "1, or -1 for a cord wound the other way round, of each; none: 1", shape="list",
        low=-1.0, high=1.0,
    ),
    Parameter(
        "incline", "angle", "of each follower's rails from the horizontal; none: upright", shape="list",
        low=-pi / 2, high=pi / 2,
    ),
    Parameter(
        "friction", "force", "sliding friction of each follower, at its cord; none: 0", shape="list", low=0.0,
        high=2000.0,
    ),
    STATIC,
    DAMPING,
    *STANCE,
    Parameter("inertia", "inertia", "of the axle and its drums", default=0.0, low=0.0, high=10.0),
    Parameter(
        "cord", "choice",
        "pulls: a follower is lowered by its weight alone; pulls_both_ways: loops of cord",
        default="pulls_both_ways", choices=("pulls_both_ways", "pulls"),
    ),
    Parameter("carrier", "count", "which follower carries what is held, the first is 1", default=1, low=1),
)  # fmt: skip
EXAMPLE = """\
motors: 1 x NAME
travel: [0 deg, 900 deg]
drum_diameter: [48 mm, 12 mm]
moving_mass: [0.6 kg, 2 kg]
highest: [0.8 m, 0.2 m]
"""
SKETCH = """\
             angle         highest  ---        --- highest
               __                    |          |
          ____/  \\____              [ ] moving_mass
         |    |  |    |              |          |
     ====| 48 |==| 12 |==== axle     |         [ ] moving_mass
         |____|  |____|              |          |
           |  \\__/  |               -+-        -+-  lower end, 0
     drum_diameter of each          turn for turn the drums' ratio:
     (wound -1: the other way       48 mm moves its follower 4 times
     round)                         as far as 12 mm; incline of each
"""


class Follower(NamedTuple):
    """Lever [m, signed], mass [kg], rails [rad], friction [N], where it stands at angle 0 and its upper stop [m]."""

    lever: float
    mass: float
    incline: float
    friction: float
    at_zero: float
    highest: float

    @property
    def stops(self) -> float:
        """Angle at which it meets its upper stop."""
        return (self.highest - self.at_zero) / self.lever

    @property
    def taut(self) -> float:
        """Angle at which it leaves (or meets) its lower end."""
        return -self.at_zero / self.lever


def followers(p: Mapping[str, Any], payload: float = 0.0) -> list[Follower]:
    count = len(p["drum_diameter"])

    def each(key: str, otherwise: float) -> list[float]:
        return [otherwise] * count if p[key] is None else [float(value) for value in p[key]]

    held = [payload if number + 1 == int(p["carrier"]) else 0.0 for number in range(count)]
    levers = [0.5 * side * d for side, d in zip(each("wound", 1.0), each("drum_diameter", 0.0), strict=True)]
    masses = [mass + more for mass, more in zip(each("moving_mass", 0.0), held, strict=True)]
    rails, rubs = each("incline", pi / 2), each("friction", 0.0)
    return [
        Follower(*row)
        for row in zip(levers, masses, rails, rubs, each("at_zero", 0.0), each("highest", 0.0), strict=True)
    ]


def _stops(p: Mapping[str, Any], drawn: list[Follower]) -> Iterator[tuple[bool, float, str]]:
    """What else may stop the axle: whether upwards, at which angle [rad], and what it is."""
    for number, each in enumerate(drawn, 1):
        stops = [(each.stops, "upper stop")]
        if p["cord"] != "pulls":
            stops.append((each.taut, "lower end"))
        for at, what in stops:
            yield (at == each.stops) == (each.lever > 0.0), at, f"follower {number} is at its {what}"


def ends_of(p: Mapping[str, Any], drawn: list[Follower]) -> tuple[float, float]:
    """Where the axle is stopped: by its own stops or by the first follower that meets one of its."""
    low, high = (float(end) for end in p["travel"])
    for upwards, at, _ in _stops(p, drawn):
        low, high = (low, min(high, at)) if upwards else (max(low, at), high)
    return low, high


def stops_within(p: Mapping[str, Any]) -> Iterator[tuple[int, float, str]]:
    """Ends of the travel (0 the lower, 1 the upper) that it never comes to: where it is stopped before, by what."""
    drawn = followers(p)
    for end, at in enumerate(ends_of(p, drawn)):
        if at != float(p["travel"][end]):
            yield (
                end,
                at,
                next(what for upwards, stop, what in _stops(p, drawn) if stop == at and upwards == bool(end)),
            )


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[str, Fault]]:
    """Lists that do not fit together, and followers whose stops leave the axle nothing."""
    count = len(p["drum_diameter"])
    for key in ("moving_mass", "highest", "at_zero", "wound", "incline", "friction"):
        if p[key] is not None and len(p[key]) != count:
            yield key, Fault(f"{len(p[key])} value(s) for {count} drum(s)", wanted="one for each drum")
            return
    for value in p["wound"] or ():
        if abs(value) != 1.0:
            yield "wound", Fault("a cord is wound one way or the other", value.text, "1 or -1")
            return
    if not 1 <= int(p["carrier"]) <= count:
        yield "carrier", Fault("there is no such follower", str(int(p["carrier"])), f"1 to {count}")
        return
    drawn = followers(p)
    for number, follower in enumerate(drawn):
        if follower.at_zero > follower.highest:
            given = p["at_zero"][number].text
            most = f"at most {told(follower.highest, 'length', given, -1)}"
            yield "at_zero", Fault("beyond its upper stop", given, most)
            return
        if follower.at_zero < 0.0 and p["cord"] != "pulls":
            yield (
                "at_zero",
                Fault(
                    "a loop of cord has no slack", p["at_zero"][number].text, "0 or more, or `cord: pulls`"
                ),
            )
            return
    low, high = ends_of(p, drawn)
    if not low < high:
        yield "travel", Fault("the followers' stops leave the axle no travel", wanted="stops further apart")
    elif float(p["inertia"]) == 0.0 and not any(follower.mass for follower in drawn):
        yield "moving_mass", Fault("nothing is moved", wanted="a mass above 0")


def reduce(p: Mapping[str, Any], payload: float) -> Reduced:
    """Tables of an axle; the follower `carrier` holds a `payload` [kg].

    M = inertia + sum m r², Q = g sum m r sin(incline), friction sum f |r|, over the followers that are drawn: the
    travel is cut where a cord becomes taut. While it lowers what only hangs, a cord is taken as taut.
    """
    drawn = followers(p, payload)
    low, high = ends_of(p, drawn)
    cuts = {low, high}
    if p["cord"] == "pulls":
        cuts |= {follower.taut for follower in drawn if low < follower.taut < high}
    edges = sorted(cuts)
    segments = []
    for begin, end in pairwise(edges):
        middle = 0.5 * (begin + end)
        taut = [each for each in drawn if each.at_zero + each.lever * middle > 0.0 or p["cord"] != "pulls"]
        mass = float(p["inertia"]) + sum(each.mass * each.lever**2 for each in taut)
        load = gravity_of(p) * sum(each.mass * each.lever * sin(each.incline + tilt_of(p)) for each in taut)
        rubs = sum(each.friction * abs(each.lever) for each in taut)
        rests = rubs * float(p["static_friction"])
        segments.append(Segment(begin, end, mass, load, friction=rubs, static=rests))
    return Reduced(tuple(segments), 1.0, 0.0, 0.0, float(p["damping"]))


def outline(p: Mapping[str, Any], q: float) -> Outline:
    """Side view: the axle at the origin, each follower on its rails from there."""
    shapes: list[Any] = []
    for number, each in enumerate(followers(p)):
        at = 0.1 + 0.15 * number
        along: Point = (cos(each.incline), sin(each.incline))
        stands = min(max(each.at_zero + each.lever * q, 0.0), each.highest)

        def point(s: float, at: float = at, along: Point = along) -> Point:
            return at + s * along[0], s * along[1]

        shapes += [
            Disc((0.0, 0.0), abs(each.lever), "moving"),
            Line((point(0.0), point(each.highest)), "frame"),
            Line(((0.0, each.lever), point(stands)), "cord"),
            Disc(point(stands), 0.02, "load"),
        ]
    return tuple(shapes)
