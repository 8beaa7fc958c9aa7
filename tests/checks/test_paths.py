"""Obstacles on the way: first contacts in closed form, and by polygons tried at many instants (separating axes)."""

from __future__ import annotations

from math import asin, atan2, degrees, hypot, pi, radians

import numpy as np
import pytest
from builders import Words, a_plant, a_robot, a_run
from test_drive import GEARMOTOR, drive

from simbot.analysis.results import Finding
from simbot.physics.move import DriveTo
from simbot.physics.plant import Plant
from simbot.scenario.model import Pose

SIZE = (0.46, 0.38)  # along and across
LOOP = {"loop": "position", "p": "6 /m", "d": "0.6 s/m", "window": "20 mm", "slower_than": "60 mm/s"}
ROBOT = {"mass": "12 kg", "size": (f"{SIZE[0]} m", f"{SIZE[1]} m")}


def box(x: tuple[float, float], y: tuple[float, float]) -> Words:
    corners = [(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])]
    return {"polygon": [[f"{a} m", f"{b} m"] for a, b in corners]}


def found(steps: list[object], obstacles: list[Words], kind: str = "mecanum") -> list[Finding]:
    wheels = drive(kind, control=LOOP, scrub="1 %") if kind == "tank" else drive(kind, control=LOOP)
    result = a_run(steps, {"drive": wheels}, {"wheel": GEARMOTOR}, obstacles=obstacles, **ROBOT)
    assert not any(each.fails for each in result.findings)
    return [each for each in result.findings if each.kind == "path_blocked"]


def twin(goal: Pose, kind: str = "mecanum") -> Plant:
    wheels = drive(kind, control=LOOP, scrub="1 %") if kind == "tank" else drive(kind, control=LOOP)
    plant = a_plant(a_robot({"drive": wheels}, {"wheel": GEARMOTOR}, **ROBOT), pose=Pose(2.0, 2.0, 0.0))
    plant.command("drive", DriveTo(goal))
    plant.advance(8_000_000)
    return plant


def to(x: float, y: float, heading: float = 0.0) -> list[object]:
    return [{"drive": [f"{x} m", f"{y} m", f"{heading} deg"]}, {"wait": "arrival"}]


def test_a_wall_ahead() -> None:
    """It touches when its front is there, half its length before its centre; the finding says step, place, instant."""
    (one,) = found(to(4.0, 2.0), [box((3.0, 3.2), (0.0, 5.0))])
    assert (one.step, one.mechanism, one.fails) == (1, "drive", False)
    plant = twin(Pose(4.0, 2.0, 0.0))
    assert plant.pose(one.at_us).x >= 3.0 - SIZE[0] / 2.0 - 1e-9 > plant.pose(one.at_us - 1).x - 1e-9
    assert "obstacle 1" in one.text and "2.77 m, 2.00 m" in one.text


@pytest.mark.parametrize(("gap", "touches"), [(0.001, False), (-0.001, True)])
def test_a_wall_beside(gap: float, touches: bool) -> None:
    """Past a box beside the line by a millimetre more or less than half its width."""
    edge = 2.0 + SIZE[1] / 2.0 + gap
    assert bool(found(to(4.0, 2.0), [box((2.8, 3.0), (edge, edge + 0.3))])) == touches


def test_between_the_ends_of_a_turn() -> None:
    """Clear before and after, its corner sweeps out: r sin(corner + heading) reaches the edge."""
    reach, corner = hypot(*SIZE) / 2.0, atan2(SIZE[1], SIZE[0])
    edge = 0.27
    assert max(SIZE) / 2.0 < edge < reach
    (one,) = found(to(2.0, 2.0, 90.0), [box((1.0, 3.0), (2.0 + edge, 3.0))])
    heading = asin(edge / reach) - corner
    plant = twin(Pose(2.0, 2.0, pi / 2.0))
    assert degrees(plant.pose(one.at_us).heading) == pytest.approx(degrees(heading), abs=0.02)
    assert not found(to(2.0, 2.0, 90.0), [box((1.0, 3.0), (2.0 + reach + 0.001, 3.0))])


def test_only_the_ways_that_are_driven() -> None:
    """Round it through a point nothing is touched; sent elsewhere before it gets there neither."""
    block = box((2.9, 3.1), (1.8, 2.6))
    straight, round_it = to(4.0, 2.0), to(4.0, 2.0)
    assert len(found(straight, [block])) == 1
    round_it[0] = {**dict(round_it[0]), "through": [["2 m", "1.3 m"], ["4 m", "1.3 m"]]}  # type: ignore[call-overload]
    assert found(round_it, [block]) == []
    turned_back = [{"drive": ["4 m", "2 m", "0 deg"]}, {"wait": "400 ms"}, *to(2.0, 2.0)]
    assert found(turned_back, [block]) == []


def test_each_obstacle_and_command_by_itself() -> None:
    both = found([*to(4.0, 2.0), *to(2.0, 2.0)], [box((2.9, 3.0), (1.9, 2.1)), box((3.3, 3.4), (1.9, 2.1))])
    told = [("to 4.0 m" in each.text, "obstacle 1" in each.text) for each in both]
    assert told == [(True, True), (True, False), (False, False), (False, True)]


@pytest.mark.parametrize(("to_x", "out"), [(0.222, False), (0.19, True)])
def test_out_of_the_field(to_x: float, out: bool) -> None:
    """Against the border as deep as its window of 20 mm is no harm: it comes to stand there."""
    told = found(to(to_x, 2.0), [])
    assert bool(told) == out
    if out:
        (one,) = told
        plant, edge = twin(Pose(to_x, 2.0, 0.0)), SIZE[0] / 2.0 - 0.02
        assert plant.pose(one.at_us).x < edge <= plant.pose(one.at_us - 1).x
        assert "leaves the field at x = 0 m" in one.text
    back = found([*to(to_x, 2.0), *to(2.0, 2.0)], [])
    assert len(back) == len(told)  # the way back is none further out


def test_round_a_corner_of_the_field() -> None:
    """Its corner sweeps out of the field in a turn between two headings at which it does not."""
    start = {"pose": ["2 m", "0.235 m", "0 deg"]}
    wheels, motors = {"drive": drive("mecanum", control=LOOP)}, {"wheel": GEARMOTOR}
    result = a_run(to(2.0, 0.235, 90.0), wheels, motors, start=start, **ROBOT)
    (one,) = result.findings
    assert "leaves the field at y = 0 m" in one.text


BIN: Words = {"takes": "block", "points": 1}


@pytest.mark.parametrize(
    ("front", "aside", "wanted"),
    [
        (0.0, 0.3, []),
        (-0.015, 0.3, []),  # less deep than its window of 20 mm: it comes to stand against it
        (-0.03, 0.3, ["the bin"]),
        (0.0, 0.189, ["the shelf"]),  # half its width is 190 mm: what it passes is not to be touched at all
    ],
)
def test_outlines_of_places(front: float, aside: float, wanted: list[str]) -> None:
    edge = 3.0 + SIZE[0] / 2.0 + front
    places = {
        "bin": {**BIN, "pose": ["3 m", "2 m", "0 deg"], "outline": box((edge, 3.6), (1.0, 3.0))["polygon"]},
        "shelf": {
            **BIN,
            "pose": ["2.6 m", "3 m", "90 deg"],
            "outline": box((2.4, 2.7), (2.0 + aside, 2.9))["polygon"],
        },
    }
    wheels, motors = {"drive": drive("mecanum", control=LOOP)}, {"wheel": GEARMOTOR}
    steps = [{"drive": "bin"}, {"wait": "arrival"}, *to(2.0, 2.0)]
    more = {"elements": {"block": {"mass": "0.1 kg"}}, "places": places}
    told = [one.text for one in a_run(steps, wheels, motors, **more, **ROBOT).findings]
    assert [any(f"touches {name}," in text for text in told) for name in wanted] == [True] * len(wanted)
    assert len(told) == 2 * len(wanted)  # on the way back too


def test_a_polygon_that_crosses_itself() -> None:
    bow = {"polygon": [["3 m", "1.8 m"], ["3.2 m", "2.2 m"], ["3.2 m", "1.8 m"], ["3 m", "2.2 m"]]}
    assert len(found(to(4.0, 2.0), [bow])) == 1


def outline(pose: Pose) -> np.ndarray:
    c, s = np.cos(pose.heading), np.sin(pose.heading)
    ends = np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)]) * SIZE / np.array(2.0)
    return ends @ np.array([[c, s], [-s, c]]) + (pose.x, pose.y)


def apart(a: np.ndarray, b: np.ndarray) -> bool:
    """Two convex polygons are apart where an edge of either separates them."""
    for one in (a, b):
        edges = np.roll(one, -1, axis=0) - one
        for normal in np.column_stack((edges[:, 1], -edges[:, 0])):
            if (a @ normal).max() < (b @ normal).min() or (b @ normal).max() < (a @ normal).min():
                return True
    return False


def test_by_separating_axes() -> None:
    """Triangles strewn over the field of a tank that turns, drives and turns: the first instant of contact of each."""
    goal = Pose(3.2, 3.1, radians(-60.0))
    plant = twin(goal, "tank")
    arrival = plant.moves()[0].arrival_us()
    assert arrival is not None
    times = range(0, arrival, 2000)
    outlines = [outline(plant.pose(t)) for t in times]
    random = np.random.default_rng(7)
    triangles = [
        np.round(random.uniform((1.5, 1.5), (3.8, 3.8)) + random.uniform(-0.15, 0.15, (3, 2)), 4)
        for _ in range(30)
    ]
    obstacles = [{"polygon": [[f"{x} m", f"{y} m"] for x, y in triangle]} for triangle in triangles]
    told = {
        each.text.split("obstacle ")[1].split()[0]: each.at_us
        for each in found(to(3.2, 3.1, -60.0), obstacles, "tank")
    }
    hit = 0
    for number, triangle in enumerate(triangles, 1):
        first = next(
            (t for t, where in zip(times, outlines, strict=True) if not apart(where, triangle)), None
        )
        if first is not None:
            hit += 1
            assert abs(told[str(number)] - first) <= 4000
    assert 5 < hit < 25
    assert len(told) == pytest.approx(hit, abs=1)  # one may be grazed between two instants
