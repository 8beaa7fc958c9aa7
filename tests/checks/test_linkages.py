"""Linkages: angles and speeds against published worked examples, tables against differences, times integrated.

The integrations here place the joints by intersecting circles and take all slopes by differences; the same
motions by a multibody engine stand in engines/test_closed_loops.py.
"""

from __future__ import annotations

from collections.abc import Callable
from math import degrees, pi, radians, tau

import numpy as np
import pytest
from builders import G, Words, a_move, a_plant, a_robot, seconds, winding
from scipy.integrate import solve_ivp

from simbot.physics import layout as L
from simbot.physics.build import Models
from simbot.physics.kinds import four_bar
from simbot.scenario.errors import ScenarioError

COIL = winding(0.45, 0.0185, 2.4e-7)  # behind 60:1 8.64e-4 kg m²


def linkage(**more: object) -> Words:
    return {
        "kind": "four_bar", "motors": "1 x coil", "gearing": [{"ratio": 60, "efficiency": "100 %"}],
        "ground": "100 mm", "crank": "40 mm", "coupler": "120 mm", "rocker": "80 mm",
        "parts": [{"link": "crank", "mass": "50 g"}, {"link": "coupler", "mass": "100 g"},
                  {"link": "rocker", "mass": "80 g"}, {"link": "rocker", "mass": "400 g", "at": "80 mm"}],
        "friction": "0 N*m", "travel": ["0 deg", "180 deg"],
        "control": {"loop": "full_effort", "window": "0.1 deg"}, **more,
    }  # fmt: skip


def values(**more: object) -> Words:
    return a_robot({"it": linkage(**more)}, {"coil": COIL}).mechanisms["it"].values


@pytest.mark.parametrize(
    ("branch", "coupler", "rocker"), [("open", 20.30, 57.32), ("crossed", -60.98, -98.01)]
)
def test_published_angles(branch: str, coupler: float, rocker: float) -> None:
    """Ground 100, crank 40, coupler 120, rocker 80, crank at 40 degrees.

    Source: Norton, Design of Machinery, worked example of the position analysis, from memory (it prints 57.33
    for 57.325).
    """
    moves = four_bar.motion(values(branch=branch), np.array([radians(40.0)]))
    assert degrees(moves["coupler"][1].at[0]) == pytest.approx(coupler, abs=0.0051)
    assert (degrees(moves["rocker"][1].at[0]) + 180.0) % 360.0 - 180.0 == pytest.approx(rocker, abs=0.0051)


def test_published_speed() -> None:
    """Chain of 150, 40, 150, 80 mm, crank at 60 degrees and 120 rpm: 4.8 rad/s, 0.385 m/s by drawing.

    Source: Theory of Machines, graphical worked example, its answer from memory; exactly 4.7846 and 0.3828.
    """
    lengths = {"ground": "150 mm", "crank": "40 mm", "coupler": "150 mm", "rocker": "80 mm"}
    rocker = four_bar.motion(values(**lengths), np.array([pi / 3.0]))["rocker"][1]
    assert 2.0 * tau * abs(rocker.d1[0]) == pytest.approx(4.7846, abs=5e-5)
    assert 0.08 * 2.0 * tau * abs(rocker.d1[0]) == pytest.approx(0.385, rel=0.01)


def joints(q: float, crossed: bool, sizes: tuple[float, ...]) -> tuple[complex, complex]:
    """Crank's and rocker's joint: the latter where two circles meet, on one or the other side."""
    d, a, b, c = sizes
    first = a * np.exp(1j * q)
    gap = d - first
    along = (abs(gap) ** 2 + b**2 - c**2) / (2.0 * abs(gap))
    side = np.sqrt(b**2 - along**2) * (-1.0 if crossed else 1.0)
    return first, first + (along + 1j * side) * gap / abs(gap)


SIZES = (0.1, 0.04, 0.12, 0.08)


def energy_at(q: float, crossed: bool = False, held: float = 0.4) -> tuple[float, float]:
    """Reduced inertia without rotor, and potential energy, of the linkage above."""
    step = 1e-5
    ways = [joints(q + way * step, crossed, SIZES) for way in (-2, -1, 1, 2)]

    def rate(of: Callable[[complex, complex], complex]) -> complex:
        one, two, three, four = (of(*way) for way in ways)
        return (one - 8.0 * two + 8.0 * three - four) / (12.0 * step)

    first, second = joints(q, crossed, SIZES)
    v = abs(rate(lambda _a, b: b))
    middle = abs(rate(lambda a, b: 0.5 * (a + b)))
    turn = (rate(lambda a, b: b - a) / (second - first)).imag
    swing = (rate(lambda _a, b: b - 0.1) / (second - 0.1)).imag
    inertia = 0.05 * 0.04**2 / 3.0 + 0.1 * middle**2 + 0.1 * 0.12**2 / 12.0 * turn**2
    inertia += 0.08 * 0.08**2 / 3.0 * swing**2 + held * v**2
    heights = 0.05 * first.imag / 2.0 + 0.1 * (first + second).imag / 2.0 + (0.04 + held) * second.imag
    return inertia, G * heights


@pytest.mark.parametrize("branch", ["open", "crossed"])
def test_tables_against_differences(branch: str) -> None:
    """M, Q and the slopes in the tables, everywhere on a full turn and more."""
    robot = a_robot({"it": linkage(branch=branch, travel=["-100 deg", "300 deg"])}, {"coil": COIL})
    for segment in Models(robot).get("it").reduced.segments:
        assert segment.knots is not None
        for q, row in zip(
            np.linspace(segment.low, segment.high, len(segment.knots))[::7], segment.knots[::7], strict=True
        ):
            at = [energy_at(q + way * 1e-4, branch == "crossed") for way in (-1, 0, 1)]
            assert row[L.TAB_M] == pytest.approx(at[1][0], rel=1e-8)
            assert row[L.TAB_DM] == pytest.approx((at[2][0] - at[0][0]) / 2e-4, rel=1e-5, abs=1e-8)
            assert row[L.TAB_Q] == pytest.approx((at[2][1] - at[0][1]) / 2e-4, rel=1e-5, abs=1e-7)


def test_inertia_of_the_linkage() -> None:
    """With its rotor 1.203180e-3 kg m² at 40 degrees and 1.607564e-3 at 140: two multibody engines agree."""
    for q, right in ((40.0, 0.001203180), (140.0, 0.001607564)):
        assert energy_at(radians(q))[0] + 60.0**2 * 2.4e-7 == pytest.approx(right, abs=6e-10)


def test_crank_turned_against_gravity() -> None:
    """6 V, 60:1, 40 to 140 degrees: 0.323985754 s by two multibody engines; here a third way."""
    k, r, gear = 0.0185, 0.45, 60.0

    def slope(_t: float, y: list[float]) -> list[float]:
        q, w = y
        h = 1e-4
        (m0, u0), (m1, _), (m2, u2) = (energy_at(q + way * h) for way in (-1, 0, 1))
        torque = gear * k * (6.0 - k * gear * w) / r
        mass = m1 + gear**2 * 2.4e-7
        return [w, (torque - 0.5 * (m2 - m0) / (2 * h) * w * w - (u2 - u0) / (2 * h)) / mass]

    def there(_t: float, y: list[float]) -> float:
        return y[0] - radians(140.0)

    there.terminal = True  # type: ignore[attr-defined]
    right = solve_ivp(slope, (0.0, 2.0), [radians(40.0), 0.0], rtol=1e-10, atol=1e-12, events=there)
    time = float(right.t_events[0][0])
    assert time == pytest.approx(0.323985754, abs=2e-8)
    robot = a_robot({"it": linkage(travel=["40 deg", "140 deg"])}, {"coil": COIL}, (6.0, 0.0))
    move = a_move(a_plant(robot, tolerance=1e-9), "it", radians(140.0))
    assert seconds(move.first_inside_us()) == pytest.approx(time, abs=1.2e-6)


def test_close_to_where_its_links_are_in_line() -> None:
    """1.2 degrees from the toggle the inertia rises as one over the distance: the tables still follow."""
    lengths = {"ground": "100 mm", "crank": "80 mm", "coupler": "40 mm", "rocker": "60 mm"}
    robot = a_robot({"it": linkage(**lengths, travel=["20 deg", "65.2 deg"])}, {"coil": COIL})
    segments = Models(robot).get("it").reduced.segments
    assert len(segments) > 2
    given = robot.mechanisms["it"].values
    for segment in segments:
        assert segment.knots is not None
        h = (segment.high - segment.low) / (len(segment.knots) - 1)
        middle = 0.5 * (segment.knots[:-1, :3] + segment.knots[1:, :3])
        middle[:, 0] += h / 8.0 * (segment.knots[:-1, 1] - segment.knots[1:, 1])
        q = np.linspace(segment.low, segment.high, len(segment.knots))[:-1] + 0.5 * h
        right = four_bar.inertia_of(four_bar.bodies(given, 0.0, q))[0]
        assert abs(middle[:, 0] - right).max() <= 2e-9 * right.max()


def test_a_parallelogram_is_the_parallelogram_arm() -> None:
    """Equal cranks, a coupler as long as the ground: the same time as of the other kind, from one small table."""
    four = linkage(
        coupler="100 mm", rocker="40 mm", travel=["10 deg", "170 deg"],
        parts=[{"link": "crank", "mass": "50 g"}, {"link": "rocker", "mass": "50 g"},
               {"link": "coupler", "mass": "200 g", "at": "20 mm", "aside": "30 mm"}],
    )  # fmt: skip
    arm = {
        "kind": "parallelogram_arm", "motors": "1 x coil", "gearing": four["gearing"], "length": "40 mm",
        "moving_mass": "100 g", "centre": "20 mm", "carried_mass": "200 g", "friction": "0 N*m",
        "travel": four["travel"], "control": four["control"],
    }  # fmt: skip
    times = []
    for it in (four, arm):
        robot = a_robot({"it": it}, {"coil": COIL}, (6.0, 0.0))
        times.append(seconds(a_move(a_plant(robot, tolerance=1e-9), "it", radians(170.0)).first_inside_us()))
        assert len(Models(robot).get("it").reduced.segments) == 1
    assert times[0] == pytest.approx(times[1], abs=1e-6)


@pytest.mark.parametrize("kind", ["four_bar", "slider_crank"])
def test_inertia_about_the_joint_or_any_axis_is_that_about_the_centre(kind: str) -> None:
    """Parallel axis theorem, with the mass centre 70 mm along and 20 mm beside its link."""
    sizes = {"crank": "60 mm", "coupler": "180 mm", "slider_mass": "0.5 kg", "travel": ["10 deg", "170 deg"]}
    bare = linkage() if kind == "four_bar" else {**linkage(), **sizes, "kind": kind}
    gone = () if kind == "four_bar" else ("ground", "rocker")
    place = {"link": "coupler", "mass": "300 g", "at": "70 mm", "aside": "-20 mm"}
    own = 4e-4
    abouts: tuple[Words, ...] = (
        {"inertia": own},
        {"inertia": own + 0.3 * (0.07**2 + 0.02**2), "inertia_about": "joint"},
        {"inertia": own + 0.3 * (0.03**2 + 0.05**2), "inertia_about": "axis", "axis_at": "100 mm",
         "axis_aside": "30 mm"},
        {"inertia": own, "inertia_about": "axis", "axis_at": "70 mm", "axis_aside": "-20 mm"},
    )  # fmt: skip
    tables = []
    for about in abouts:
        part = {**place, **about, "inertia": f"{about['inertia']!r} kg*m^2"}
        given = {key: value for key, value in {**bare, "parts": [part]}.items() if key not in gone}
        tables.append(Models(a_robot({"it": given}, {"coil": COIL})).get("it", 0.0).reduced.segments[0].knots)
    for table in tables[1:]:
        assert table == pytest.approx(tables[0], rel=1e-12, abs=1e-15)
    point = {**bare, "parts": [place]}
    other = a_robot({"it": {key: value for key, value in point.items() if key not in gone}}, {"coil": COIL})
    assert Models(other).get("it", 0.0).reduced.segments[0].knots != pytest.approx(tables[0], rel=1e-3)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"ground": "100 mm", "crank": "80 mm", "coupler": "40 mm", "rocker": "60 mm", "travel": ["10 deg", "80 deg"]},
         ["in line at 66.422 deg", "[10 deg, 80 deg]", "inside 1 deg to 65.422 deg"]),
        ({"ground": "400 mm"}, ["do not close", "longest is shorter than the other three"]),
        ({"coupler": "21.5 mm ± 2 mm", "rocker": "119.5 mm", "travel": ["77 deg", "100 deg"]},
         ["ends of their spreads"]),
        ({"parts": []}, ["at least one mass"]),
        ({"parts": [{"link": "coupler", "mass": "300 g", "at": "70 mm", "inertia": "1 kg*mm^2",
                     "inertia_about": "joint"}]},
         ["parts.0.inertia", "at least 1470 kg*mm^2 (0.00147 kg*m^2), or inertia_about: centre"]),
        ({"parts": [{"link": "handle", "mass": "1 kg"}]}, ["handle", "crank"]),
        ({"branch": "up"}, ["up", "crossed"]),
    ],
)  # fmt: skip
def test_what_cannot_be_built_is_one_message(more: Words, words: list[str]) -> None:
    with pytest.raises(ScenarioError) as error:
        a_robot({"it": linkage(**more)}, {"coil": COIL})
    assert len(error.value.problems) == 1
    for word in words:
        assert word in str(error.value)
