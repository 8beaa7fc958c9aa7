"""What all drivetrains on the field share: straight lines at a fixed heading and turns in place.

Geometry: the coordinate is the distance along the line [m], or the heading in a turn (radians). A robot that
is free to move sideways keeps its heading along the straight line, then turns; a tank turns towards (or away
from) its goal, drives, and turns to the heading asked for.

A kind has HOLONOMIC (free to move sideways), `straight(p, mass, motors, direction)` and
`turn(p, mass, motors, size)`, which give a Leg, `rolls` (how far each wheel rolls on a curved way, see `bends`),
`shaft_per_travel` straight ahead, and `outline` in plan view. One with rollers that rub has `rubs`, with what `rolls`
is given. One whose wheels are steered also has
`steered` (how they stand on a leg), `steering_time` between two stands, and `steered_for` a time.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import cos, sin
from typing import Any, NamedTuple

from simbot.physics.kinds.common import DAMPING, DRIVEN, OF_A_TRAVEL
from simbot.physics.outline import Line, Outline, Point
from simbot.physics.tables import GRAVITY, Reduced, Segment
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter
from simbot.scenario.units_told import told

COORDINATE = "length"
PARAMETERS = (
    *(each for each in DRIVEN if each.key not in ("on", "room", *OF_A_TRAVEL)),
    Parameter(
        "counts", "counts_scale", "encoder counts per way straight ahead; none: by `encoder` and gearing"
    ),
    Parameter("wheel_diameter", "length", "of the wheels", required=True, low=0.01, high=1.0),
    Parameter("wheelbase", "length", "between front and rear axles", low=0.02, high=3.0),
    Parameter("track", "length", "between left and right wheels", low=0.02, high=3.0),
    Parameter(
        "centre_height",
        "length",
        "of the mass centre above the floor; none: no weight moves between the axles",
        low=0.0,
        high=3.0,
    ),
    Parameter(
        "extended",
        "block",
        "mass centre with everything extended, to hold against tipping; runs go by the keys above",
        block=(
            Parameter("centre_height", "length", "above the floor", required=True, low=0.0, high=5.0),
            Parameter(
                "centre_ahead",
                "length",
                "before the middle between the axles",
                default=0.0,
                low=-3.0,
                high=3.0,
            ),
            Parameter(
                "centre_left",
                "length",
                "left of the middle between the wheels",
                default=0.0,
                low=-3.0,
                high=3.0,
            ),
        ),
    ),
    Parameter("grip", "number", "friction coefficient of wheel on floor", required=True, low=0.05, high=3.0),
    Parameter(
        "friction",
        "force",
        "rolling and inner friction, as felt at the floor",
        default=0.0,
        low=0.0,
        reason="no friction stated; a real one never has none",
    ),
    Parameter(
        "static_friction", "ratio", "friction at rest over sliding friction", default=1.0, low=1.0, high=3.0
    ),
    DAMPING,
    Parameter(
        "cornering",
        "share",
        "of its grip that it uses sideways in a curve: the code slows down for it",
        default=0.8,
        low=0.05,
        high=1.0,
        open_low=True,
        reason="leaves 60 % of the grip for speeding up and braking",
    ),
    Parameter(
        "wheel_mismatch",
        "share",
        "by which the wheels of one side are larger than the other's, which its counts do not see; runs leave it out",
        low=0.0,
        high=0.1,
    ),
    Parameter(
        "wheel_inertia",
        "inertia",
        "of each wheel about its axle",
        default=0.0,
        low=0.0,
        high=1.0,
        reason="none stated; a rim's mass counts twice, moved along and turned",
    ),
    Parameter(
        "turning_inertia",
        "inertia",
        "of the robot about its centre; none: an even plate of its size",
        low=0.0,
        open_low=True,
        high=200.0,
    ),
    Parameter(
        "turn",
        "block",
        "control of a turn in place; none: the straight line's at half the track (mecanum: and half the wheelbase)",
        block=(
            Parameter("p", "turn_proportional_gain", "effort per radian of error", low=0.0),
            Parameter("d", "turn_derivative_gain", "effort taken away per rad/s", default=0.0, low=0.0),
            Parameter(
                "window",
                "angle",
                "inside means no further than this from the heading",
                low=0.0,
                open_low=True,
            ),
            Parameter(
                "slower_than",
                "angular_speed",
                "inside also means no faster than this",
                low=0.0,
                open_low=True,
            ),
        ),
    ),
)


SCRUB = Parameter(
    "scrub",
    "share",
    "sideways drag in a turn, as a share of grip x weight x wheelbase / 2",
    default=0.5,
    default_spread=0.3,
    low=0.0,
    high=1.0,
    reason="common practice, no source",
)
DRIVEN_WHEELS = Parameter(
    "driven", "choice", "which wheels the motors turn", default="all", choices=("all", "front", "rear")
)
CENTRE_AHEAD = Parameter(
    "centre_ahead",
    "length",
    "of the mass centre before (behind: negative) the middle between the axles: shares the weight between them",
    default=0.0,
    low=-1.5,
    high=1.5,
)
CENTRE_LEFT = Parameter(
    "centre_left",
    "length",
    "of the mass centre left (right: negative) of the middle between the wheels: shares the weight between them",
    default=0.0,
    low=-1.5,
    high=1.5,
)


class WheelGroup(NamedTuple):
    """Wheels that turn alike: how many motors, their shaft's angle per unit of travel, their share of the effort."""

    motors: int
    per_travel: float
    share: float
    most: float  # greatest force or torque on the robot that its grip allows, as the coordinate grows
    inertia: float = 0.0  # of its wheels, as felt along the coordinate
    most_back: float | None = None  # the same against the coordinate; None: as much


class Leg(NamedTuple):
    """A drivetrain on one straight line or in one turn, reduced to its coordinate."""

    reduced: Reduced
    groups: tuple[WheelGroup, ...]


def shaft_per_travel(p: Mapping[str, Any]) -> float:
    """Turns of a wheel per way straight ahead [rad/m]."""
    return 2.0 / float(p["wheel_diameter"])


ENDLESS = 1e6  # m, rad: a leg has no stops of its own


def leg(
    p: Mapping[str, Any],
    mass: float,
    friction: float,
    extra: float,
    groups: tuple[WheelGroup, ...],
    motors: int | None = None,
) -> Leg:
    """Assemble a leg: rolling friction, what comes on top of it (scrub), each group with its wheels' inertia.

    Driven wheels stand between the gears and the floor: grip bounds what the floor gives, after their inertia.
    The others are turned by the floor: theirs adds to the mass. `motors`: of the whole drive, where some of
    them stand still on this leg.
    """
    if p["wheel_inertia"]:
        motors = motors or sum(group.motors for group in groups)
        each = max(4, motors) / motors * float(p["wheel_inertia"])
        share = driven_share(p)
        wheels = [group.motors * each * group.per_travel**2 for group in groups]
        groups = tuple(
            one._replace(inertia=share * inertia) for one, inertia in zip(groups, wheels, strict=True)
        )
        mass += (1.0 - share) * sum(wheels)
    reduced = Reduced(
        (Segment(-ENDLESS, ENDLESS, mass, 0.0),),
        1.0,
        friction + extra,
        friction * float(p["static_friction"]) + extra,
        float(p["damping"]),
    )
    return Leg(reduced, groups)


def turning_inertia(p: Mapping[str, Any], mass: float, size: tuple[float, float]) -> float:
    """Inertia about the centre [kg m²]: as given, or that of an even plate of the robot's size."""
    if p["turning_inertia"] is not None:
        return float(p["turning_inertia"])
    return mass * (size[0] ** 2 + size[1] ** 2) / 12.0


LENGTH, WIDTH = 0.3, 0.3  # m: drawn where a robot states no wheelbase and no track
WHEEL_WIDTH = 0.4  # of its diameter, for the drawing alone


def impossible(p: Mapping[str, Any]) -> Iterator[tuple[str, Fault]]:
    """Keys that say nothing without another."""
    if p["wheelbase"] is None and p["centre_height"]:
        yield "centre_height", _needs("axle", "wheelbase")
    elif "centre_left" in p and p["track"] is None and p["centre_height"]:  # it speeds up sideways too
        yield "centre_height", _needs("side", "track")
    if p["extended"] is not None:
        yield from _out_of_its_wheels(p, p["extended"])
    if p["wheel_mismatch"] and p["track"] is None:
        yield (
            "wheel_mismatch",
            Fault("how far it turns by that depends on the track too", wanted="`track` beside it"),
        )
    for key, across, between in (
        ("centre_ahead", "wheelbase", "axle"),
        ("centre_left", "track", "side"),
    ):
        off = float(p.get(key) or 0.0)
        if off and p[across] is None:
            yield key, _needs(between, across)
        elif off and 2.0 * abs(off) >= float(p[across]):
            text = f"the mass centre is not between the {between}s"
            yield key, _too_far(text, p[key], float(p[across]) / 2.0)
            return
    if p.get("centre_left"):
        yield from _on_three_wheels(p)


def _too_far(text: str, given: Any, most: float, where: str = "") -> Fault:
    return Fault(text, given.text, f"less than {told(most, 'length', given.text, -1)}{where}")


def _out_of_its_wheels(p: Mapping[str, Any], out: Mapping[str, Any]) -> Iterator[tuple[Any, Fault]]:
    """Extended so far that it tips over as it stands."""
    for key, across, between in (("centre_ahead", "wheelbase", "axle"), ("centre_left", "track", "side")):
        if p[across] is None:
            yield "extended", _needs(between, across)
        elif 2.0 * abs(float(out[key])) >= float(p[across]):
            text = f"it tips over as it stands: that mass centre is not between the {between}s"
            yield ("extended", key), _too_far(text, out[key], float(p[across]) / 2.0)


def _on_three_wheels(p: Mapping[str, Any]) -> Iterator[tuple[str, Fault]]:
    """With the mass centre so far towards one wheel, its opposite leaves the floor: 1/4 - |x|/(2 L) - |y|/(2 T) < 0."""
    if p["wheelbase"] is None or p["track"] is None:
        return
    left, ahead = float(p["centre_left"]), abs(float(p.get("centre_ahead") or 0.0)) / float(p["wheelbase"])
    if ahead + abs(left) / float(p["track"]) >= 0.5:
        most = (0.5 - ahead) * float(p["track"])
        text = "with this and `centre_ahead` it stands on three wheels, the one opposite its mass centre is in the air"
        yield "centre_left", _too_far(text, p["centre_left"], most, " to either side")


def _needs(between: str, across: str) -> Fault:
    return Fault(
        f"how much weight stands on each {between} depends on the {across} too",
        wanted=f"`{across}` beside it",
    )


def driven_share(p: Mapping[str, Any]) -> float:
    """Share of the wheels that the motors turn."""
    return 1.0 if p.get("driven", "all") == "all" else 0.5


def on_front(p: Mapping[str, Any], acceleration: float = 0.0) -> float:
    """Share of the weight on the front axle while it speeds up ahead [m/s²]; braking is negative.

    Moments about the rear wheels' contact: N_front L = W (L/2 + x) - m a h, x the mass centre before the middle, h
    above the floor; 0 to 1, beyond which it tips.
    """
    if p["wheelbase"] is None:
        return 0.5
    moved = acceleration / GRAVITY * float(p["centre_height"] or 0.0) - float(p.get("centre_ahead") or 0.0)
    return min(max(0.5 - moved / float(p["wheelbase"]), 0.0), 1.0)


def grip_along(p: Mapping[str, Any], mass: float, direction: float) -> tuple[float, float]:
    """Greatest force on the robot along a line and against it, of wheels that roll along it [N].

    A force F at the floor, h below the mass centre, moves F h/L of the weight W to the rear axle. All wheels driven:
    mu W, however it is shared, where their motors can push as hard as each needs. One axle, with the share s of the
    weight at rest: F = mu (s W +- F h cos(direction)/L), so F = mu s W/(1 -+ mu h cos(direction)/L) (derivation; the
    textbooks' traction-limited acceleration, Gillespie or Wong, from memory), and mu W at the most: there the other
    axle lifts. What friction and undriven wheels take of F is left out of the moment.
    """
    weight = p["grip"] * mass * GRAVITY
    if p["driven"] == "all":
        return weight, weight
    moved = 0.0
    if p["centre_height"] is not None:
        moved = p["grip"] * p["centre_height"] / p["wheelbase"] * cos(direction)
    share = 1.0 - on_front(p)
    if p["driven"] == "front":
        moved, share = -moved, 1.0 - share
    return _at_most(weight, share, moved), _at_most(weight, share, -moved)


def _at_most(weight: float, share: float, moved: float) -> float:
    return float(weight if moved >= 1.0 - share else weight * share / (1.0 - moved))


def grip_turning(p: Mapping[str, Any], mass: float) -> float:
    """Greatest sum of forces of the driven wheels in a turn in place [N]."""
    share = {"all": 1.0, "front": on_front(p), "rear": 1.0 - on_front(p)}[p.get("driven", "all")]
    return float(p["grip"] * mass * GRAVITY * share)


def plan_view(
    p: Mapping[str, Any], q: float, axes: tuple[float, float, float, float], rollers: bool = False
) -> Outline:
    """Seen from above; the origin is where the robot's centre stood at coordinate 0, x its heading.

    Parameters
    ----------
    p : mapping
    q : float
    axes : four angles [rad]
        Direction in which each wheel rolls: front left, front right, rear right, rear left.
    rollers : bool
        With the lines of contact of mecanum wheels, at 45 degrees.
    """
    half, side = float(p["wheelbase"] or LENGTH) / 2.0, float(p["track"] or WIDTH) / 2.0
    radius = float(p["wheel_diameter"]) / 2.0
    wide = WHEEL_WIDTH * radius
    body = _box(q, 0.0, half + radius, max(side - wide, wide), 0.0)
    shapes = [Line(body, "frame", True)]
    corners = ((half, side), (half, -side), (-half, -side), (-half, side))
    for (x, y), angle in zip(corners, axes, strict=True):
        shapes.append(Line(_box(q + x, y, radius, wide, angle), "moving", True))
        if rollers:
            lean = wide if x * y < 0.0 else -wide
            shapes.append(Line(((q + x - lean, y - wide), (q + x + lean, y + wide)), "moving"))
    shapes.append(Line(((q, 0.0), (q + half, 0.0)), "load"))
    return tuple(shapes)


def _box(x: float, y: float, dx: float, dy: float, angle: float) -> tuple[Point, ...]:
    """Corners of a rectangle of half sizes dx, dy, turned about its middle [m]."""
    c, s = cos(angle), sin(angle)
    ends = ((-dx, -dy), (dx, -dy), (dx, dy), (-dx, dy))
    return tuple((x + a * c - b * s, y + a * s + b * c) for a, b in ends)
