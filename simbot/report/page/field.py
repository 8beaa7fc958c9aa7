"""The field from above: where stations and places are, the way the robot goes, and the robot."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, degrees, sin

from simbot.analysis.polylines import Courses
from simbot.report.page.svg import number, percent, polyline, tag, words
from simbot.scenario.model import Game, Plan, Pose

LINE_M = 0.5  # hairlines over the field
EDGE = 0.06  # share of the field in which no name fits


def field(plan: Plan, courses: Courses, partner: Courses | None, label: str, ink: str) -> str:
    """The field with the robot where it starts; the script moves it. Lengths in mm inside, y upwards on the field."""
    game = plan.game
    wide, high = game.length * 1000.0, game.width * 1000.0
    way = [(1000.0 * x, high - 1000.0 * y) for x, y, _ in courses.pose]
    inner = [
        *_floor(game),
        polyline(way, f"way {ink}"),
        *(_obstacle(solid.corners, high) for solid in game.solids),
        *(_spot(pose, plan, high) for pose in _named(game)),
        polyline(way[:1], f"trail {ink}"),
    ]
    if partner is not None and plan.partner is not None:
        robot = plan.partner.plan.robot
        inner.append(_robot(partner, robot.length, robot.width, high, "robot partner"))
    inner.append(_robot(courses, plan.robot.length, plan.robot.width, high, "robot"))
    drawn = tag(
        "svg", "".join(inner), width="100%", height="100%", viewBox=f"0 0 {number(wide)} {number(high)}",
        preserveAspectRatio="none", class_="part",
    )  # fmt: skip
    knots = tag("g", class_="knots")
    return tag(
        "svg", drawn + knots + "".join(_names(game, plan)), width="100%", height="100%", role="img", aria_label=label,
        class_="field", focusable="false", data_wide=wide, data_high=high,
    )  # fmt: skip


def _floor(game: Game) -> Iterator[str]:
    wide, high = game.length * 1000.0, game.width * 1000.0
    step = LINE_M * 1000.0
    for index in range(1, int(wide / step) + 1):
        yield _line(index * step, 0.0, index * step, high, "hair")
    for index in range(1, int(high / step) + 1):
        yield _line(0.0, high - index * step, wide, high - index * step, "hair")
    yield tag("rect", x=0, y=0, width=wide, height=high, class_="edge", vector_effect="non-scaling-stroke")


def _line(x1: float, y1: float, x2: float, y2: float, class_: str) -> str:
    return tag("line", x1=x1, y1=y1, x2=x2, y2=y2, class_=class_, vector_effect="non-scaling-stroke")


def _obstacle(corners: tuple[tuple[float, float], ...], high: float) -> str:
    points = " ".join(f"{number(1000 * x)},{number(high - 1000 * y)}" for x, y in corners)
    return tag("polygon", points=points, class_="obstacle", vector_effect="non-scaling-stroke")


def _named(game: Game) -> dict[Pose, list[str]]:
    """Poses and the stations and places that are reached from each."""
    out: dict[Pose, list[str]] = {}
    stations = ((one.pose, one.name) for one in game.stations.values())
    places = ((one.pose, one.name) for one in game.places.values())
    for pose, name in (*stations, *places):
        out.setdefault(pose, []).append(name)
    return out


def _front(pose: Pose, plan: Plan) -> tuple[float, float]:
    half = plan.robot.length / 2.0
    return pose.x + half * cos(pose.heading), pose.y + half * sin(pose.heading)


def _spot(pose: Pose, plan: Plan, high: float) -> str:
    """Where the robot's centre stands there, and a bar where its front comes to stand."""
    x, y = _front(pose, plan)
    across, up = 0.11 * sin(pose.heading), 0.11 * cos(pose.heading)
    centre = tag(
        "circle",
        cx=1000 * pose.x,
        cy=high - 1000 * pose.y,
        r=26,
        class_="spot",
        vector_effect="non-scaling-stroke",
    )
    bar = _line(
        1000 * (x - across), high - 1000 * (y + up), 1000 * (x + across), high - 1000 * (y - up), "front"
    )
    return centre + bar


def _names(game: Game, plan: Plan) -> Iterator[str]:
    """Names beyond the bar of the place's front; where the wall is too near, under the bar or behind the robot."""
    for pose, names in _named(game).items():
        x, y = _front(pose, plan)
        text = ", ".join(names)
        at_x, at_y = x + 0.13 * cos(pose.heading), y + 0.13 * sin(pose.heading)
        if not EDGE < at_y / game.width < 1.0 - EDGE:
            at_x, at_y = pose.x, pose.y - 0.16 * sin(pose.heading)
        elif not EDGE < at_x / game.length < 1.0 - EDGE:
            at_x, at_y = x, y - 0.2
        share = at_x / game.length
        anchor = "start" if share < 0.12 else "end" if share > 0.88 else "middle"
        at = percent(min(max(share, 0.012), 0.988), 1.0)
        yield words(text, at, percent(1.0 - at_y / game.width, 1.0), "halo", anchor, dy=4)


def _robot(courses: Courses, length: float, width: float, high: float, class_: str) -> str:
    """A square with its heading as a line out of the middle of its front."""
    along, across = 1000.0 * length, 1000.0 * width
    x, y, heading = (float(value) for value in courses.pose[0])
    body = tag(
        "rect",
        x=-along / 2,
        y=-across / 2,
        width=along,
        height=across,
        class_="hull",
        vector_effect="non-scaling-stroke",
    )
    body += _line(0.0, 0.0, along / 2 + 60.0, 0.0, "nose")
    place = f"translate({number(1000 * x)} {number(high - 1000 * y)}) rotate({number(-degrees(heading), 2)})"
    return tag("g", body, class_=class_, transform=place)
