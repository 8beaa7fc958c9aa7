"""Drives on curved ways: geometry, wheel speeds, grip across and along, and the speed that the code lets it have.

Independent: scipy's spline and quadrature; every wheel by itself in an ODE solver; closed forms of a circle at the
grip, v^2 = (a/k) sin 2ks from rest (derivation: v' = sqrt(a^2 - k^2 v^4), Lynch and Park, Modern Robotics, section
9.4 for the method, from memory).
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from math import cos, degrees, hypot, pi, radians, sin, sqrt

import numpy as np
import pytest
from builders import RPM, G, Words, a_plant, a_robot, a_run, seconds
from scipy.integrate import quad, solve_ivp
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize

from simbot.analysis.results import StateResult
from simbot.physics import layout as L
from simbot.physics.bends import build_curve
from simbot.physics.kinds import KINDS
from simbot.physics.move import DriveTo
from simbot.physics.plant import Plant
from simbot.physics.route import Curve, Leg
from simbot.physics.ways import Bend, Way, cells_of, facing, pieces_at_stops, tangent, way_through
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Pose

STALL, FREE, RADIUS, MASS, WHEEL, TURNING = 2.4, 300.0 * RPM, 0.05, 12.0, 0.001, 0.3
BASE, TRACK = 0.30, 0.36
MOTOR = {
    "voltage": "12 V", "free_speed": "300 rpm", "free_current": "0 A", "stall_torque": f"{STALL} N*m",
    "rotor_inertia": "1e-15 kg*m^2", "internal_ratio": 1, "source": "illustrative",
}  # fmt: skip
START = Pose(2.0, 2.0, 0.0)


def as_python(inner):
    """A function of the kernel that only compiled ones call, called by Python."""
    return getattr(inner, "py_func", inner)


def a_drive(kind: str, full: bool = False, motor: Words = MOTOR, **more: object) -> Plant:
    loop: Words = {
        "loop": "position",
        "p": "6 /m",
        "d": "0.6 s/m",
        "window": "20 mm",
        "slower_than": "60 mm/s",
    }
    if full:
        loop = {"loop": "full_effort", "window": "100 mm"}
    wheels: Words = {
        "kind": kind, "motors": "4 x wheel", "gearing": [{"ratio": 1, "efficiency": "100 %"}],
        "wheel_diameter": f"{2000 * RADIUS} mm", "wheelbase": f"{BASE} m", "track": f"{TRACK} m", "grip": 3.0,
        "wheel_inertia": f"{WHEEL} kg*m^2", "turning_inertia": f"{TURNING} kg*m^2", "control": loop,
        **({"steering_speed": "0.01 s/60deg"} if kind == "swerve" else {}), **more,
    }  # fmt: skip
    robot = a_robot({"drive": wheels}, {"wheel": motor}, mass=f"{MASS} kg")
    return a_plant(robot, pose=START)


def circle(radius: float, angle: float, length: float | None = None) -> Way:
    """An arc to the left from the start, without any easing."""
    length = radius * angle if length is None else length
    psi = np.linspace(0.0, length / radius, cells_of(length) + 1)
    x, y = START.x + radius * np.sin(psi), START.y + radius * (1.0 - np.cos(psi))
    way = Way(0.0, length, x, y, psi, np.full_like(psi, 1.0 / radius), psi, np.full_like(psi, 1.0 / radius))
    return way


def drive_along(plant: Plant, way: Way) -> None:
    """Command a way of our own making, in place of one through points."""
    plant._route.plan_bent = lambda *_: [Curve.along(way)]  # type: ignore[union-attr, method-assign]
    plant.command("drive", DriveTo(Pose(0.0, 0.0, 0.0), (), Bend()))


# --- geometry ------------------------------------------------------------------------------------------


def test_a_smooth_curve_is_the_natural_spline() -> None:
    points = [(0.0, 0.0), (1.0, 0.3), (1.5, 1.0), (3.0, 0.5)]
    at = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(np.array(points), axis=0).T))))
    right = CubicSpline(at, np.array(points), bc_type="natural")
    way = way_through(points, Bend(smooth=True), 0.0)
    length = sum(
        quad(lambda t: hypot(*right(t, 1)), a, b, epsabs=1e-13)[0] for a, b in itertools.pairwise(at)
    )
    assert way.length == pytest.approx(length, abs=1e-8)
    for t in np.linspace(0.0, at[-1], 23):
        s = sum(
            quad(lambda t: hypot(*right(t, 1)), min(a, t), min(b, t), epsabs=1e-13)[0]
            for a, b in itertools.pairwise(at)
        )
        x, y, direction, _, curvature = way.at(s)
        (dx, dy), (ddx, ddy) = right(t, 1), right(t, 2)
        assert (x, y) == pytest.approx(tuple(right(t)), abs=1e-7)
        assert (cos(direction), sin(direction)) == pytest.approx(
            (dx / hypot(dx, dy), dy / hypot(dx, dy)), abs=1e-5
        )
        assert curvature == pytest.approx(
            (dx * ddy - dy * ddx) / hypot(dx, dy) ** 3, abs=1e-2
        )  # straight between knots


@pytest.mark.parametrize("degrees", [10.0, 45.0, 90.0, -120.0, 149.0])
def test_a_rounded_corner(degrees: float) -> None:
    """It ends on its points, its least radius is as stated, and turns by the angle between the lines."""
    angle = radians(degrees)
    points = [(0.0, 0.0), (3.0, 0.0), (3.0 + 3.0 * cos(angle), 3.0 * sin(angle))]
    way = way_through(points, Bend(corner=0.2), 0.0)
    assert (way.x[-1], way.y[-1]) == pytest.approx(points[-1], abs=1e-9)
    assert way.direction[-1] == pytest.approx(angle)
    assert np.abs(way.curvature).max() == pytest.approx(5.0, rel=1e-2)
    turned = np.trapezoid(way.curvature, dx=way.length / way.cells)
    assert turned == pytest.approx(angle, abs=2e-3)
    corner = 0.2 * tangent(angle)
    assert way.length == pytest.approx(6.0 - 2.0 * corner + 1.5 * 0.2 * abs(angle), abs=1e-9)
    px, py, *_ = way.at(3.0 - corner)
    assert (px, py) == pytest.approx((3.0 - corner, 0.0), abs=1e-6)


def test_corners_share_a_line_and_sharp_ones_are_stops() -> None:
    close = way_through([(0.0, 0.0), (1.0, 0.0), (1.0, 0.2), (2.0, 0.2)], Bend(corner=0.5), 0.0)
    assert (close.x[-1], close.y[-1]) == pytest.approx((2.0, 0.2), abs=1e-9)
    assert 1.0 / np.abs(close.curvature).max() < 0.5
    assert pieces_at_stops([(0, 0), (1, 0), (1, 0), (0, 0.1), (0, 1)]) == [
        [(0, 0), (1, 0)],
        [(1, 0), (0, 0.1), (0, 1)],
    ]


# --- the motion ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["mecanum", "x_drive", "swerve", "tank"])
@pytest.mark.parametrize("full", [True, False])
def test_a_way_without_curves_is_a_line(kind: str, full: bool) -> None:
    line = a_drive(kind, full).command("drive", DriveTo(Pose(4.0, 2.0, 0.0)))
    way = a_drive(kind, full).command("drive", DriveTo(Pose(4.0, 2.0, 0.0), ((3.0, 2.0),), Bend(corner=0.2)))
    assert seconds(way.arrival_us()) == pytest.approx(seconds(line.arrival_us()), abs=3e-6)
    floors = way.floor_s(), line.floor_s()
    assert floors[0] == pytest.approx(floors[1], abs=3e-6)


MATRIX = np.array(
    [[1, -1, -1], [1, 1, 1], [1, -1, 1], [1, 1, -1]]
)  # FL, FR, RR, RL: ahead, aside, lever x turn


def wheels_of(kind: str, beta: float, turns: float) -> np.ndarray:
    """How far each wheel rolls per metre of the way, by the wheels' matrix (Modern Robotics 13.10, from memory)."""
    lever = (BASE + TRACK) / 2.0
    if kind in ("mecanum", "x_drive"):
        rolls = MATRIX @ [cos(beta), sin(beta), lever * turns] / RADIUS
        return rolls if kind == "mecanum" else rolls / sqrt(2.0)
    corners = [(BASE / 2, TRACK / 2), (BASE / 2, -TRACK / 2), (-BASE / 2, -TRACK / 2), (-BASE / 2, TRACK / 2)]
    moves = [(cos(beta) - turns * y, sin(beta) + turns * x) for x, y in corners]
    return np.array([hypot(*move) if kind == "swerve" else move[0] for move in moves]) / RADIUS


@pytest.mark.parametrize("kind", ["mecanum", "x_drive", "swerve", "tank"])
def test_every_wheel_by_itself(kind: str) -> None:
    """Full effort with grip to spare: each wheel's duty in proportion to its speed, its own current and inertia."""
    points = ((3.0, 2.0), (3.6, 2.8), (3.0, 4.0))
    plant = a_drive(
        kind,
        full=True,
        grip=3.0,
        friction="5 N",
        cornering="100 %",
        **({"scrub": "10 %"} if kind == "tank" else {}),
    )
    bend = Bend(smooth=True, along=kind != "tank")
    plant.command("drive", DriveTo(Pose(2.5, 4.5, 2.0), points, bend))
    leg = (
        next(leg for leg in plant._route.ahead if isinstance(leg, Curve))
        if kind in ("tank", "swerve")
        else plant._route.now
    )  # type: ignore[union-attr]
    way = leg.curve  # type: ignore[union-attr]
    assert way is not None
    k = 12.0 / FREE
    ohms = k * 12.0 / STALL
    scrub = 0.1 * 3.0 * MASS * G * BASE / 2.0 if kind == "tank" else 0.0

    def at(s: float, turning: float = 1.0) -> tuple[np.ndarray, float]:
        x = s / way.length * way.cells
        grid = np.arange(way.cells + 1)
        turns = turning * float(np.interp(x, grid, way.turns))
        beta = float(np.interp(x, grid, way.direction - way.heading))
        return wheels_of(kind, beta, turns), turns

    def mass(s: float) -> float:
        rolls, turns = at(s)
        return float(MASS + TURNING * turns**2 + WHEEL * (rolls**2).sum())

    def slope(_t: float, y: list[float]) -> list[float]:
        s, v = y
        rolls, turns = at(s)
        duty = rolls / np.abs(rolls).max()
        force = float((rolls * k * (12.0 * duty - k * rolls * v) / ohms).sum())
        m, h = mass(s), 1e-4
        dm = (mass(s + h) - mass(s - h)) / 2.0 / h if h < s < way.length - h else 0.0
        farther = float(np.abs(rolls).sum() / np.abs(at(s, 0.0)[0]).sum())
        drag = 5.0 * farther + scrub * abs(turns)
        return [v, (force - drag - 0.5 * dm * v * v) / m]

    begin = 0.0
    if kind in ("tank", "swerve"):
        plant.advance(3_000_000)
        begin = next(t for t, each in plant._route.legs if each is leg)  # type: ignore[union-attr]
    lasts = 0.9
    right = solve_ivp(slope, (0.0, lasts), [0.0, 0.0], rtol=1e-9, atol=1e-10, max_step=0.002)
    plant.advance(max(plant.now_us, round((begin + lasts) * 1e6)))
    q, v = plant._raw("drive", begin + lasts)
    assert right.y[0, -1] > 0.5
    assert q - leg.at == pytest.approx(right.y[0, -1], rel=2e-4)
    assert v == pytest.approx(right.y[1, -1], rel=5e-4)
    there, now = way.at(right.y[0, -1]), plant.pose(round((begin + lasts) * 1e6))
    assert (now.x, now.y) == pytest.approx(there[:2], abs=3e-4)
    if kind != "tank":
        assert now.heading == pytest.approx(there[3], abs=1e-3)


STRONG = {**MOTOR, "stall_torque": "40 N*m", "free_speed": "3000 rpm"}


def test_a_circle_from_rest_at_the_grip() -> None:
    """5 m/s^2 of grip, radius 0.6 m: 45 degrees in 0.454154 s at 1.73205 m/s, and no faster after that."""
    a, r = 5.0, 0.6
    grip: Words = {
        "grip": a / G,
        "cornering": "100 %",
        "wheel_inertia": "0 kg*m^2",
        "turning_inertia": "1e-9 kg*m^2",
    }
    plant = a_drive("swerve", True, STRONG, **grip)
    way = facing(circle(r, pi), 0.0, 0.0)
    drive_along(plant, way)
    plant.advance(454_154)
    leg = plant._route.now  # type: ignore[union-attr]
    turned = float(leg.way_at(plant._raw("drive", 0.454154)[0]))
    assert degrees(turned) == pytest.approx(45.0, abs=0.02)
    assert plant.speed("drive") == pytest.approx(sqrt(a * r), rel=2e-3)
    for t in range(0, 440_000, 40_000):
        s = plant._raw("drive", t / 1e6)[0]
        assert plant.speed("drive", t) ** 2 == pytest.approx(a * r * sin(2.0 * s / r), rel=1e-5, abs=1e-9)
    plant.advance(900_000)
    fastest = max(plant.speed("drive", t) for t in range(450_000, 900_000, 1000))
    assert sqrt(a * r) * 0.99 < fastest < sqrt(a * r) * 1.005


def test_a_quarter_circle_from_rest_to_rest_at_the_grip() -> None:
    """Twice its half, 0.908307 s: what the floor says where it has to stop at its end."""
    grip: Words = {"grip": 5.0 / G, "wheel_inertia": "0 kg*m^2", "turning_inertia": "1e-9 kg*m^2"}
    loop = {"loop": "position", "p": "60 /m", "d": "9 s/m", "window": "0.1 mm", "slower_than": "0.1 mm/s"}
    plant = a_drive("swerve", False, STRONG, **grip, control=loop)
    way = facing(circle(0.6, pi / 2.0), 0.0, 0.0)
    plant._route.plan_bent = lambda *_: [Curve.along(way)]  # type: ignore[union-attr, method-assign]
    move = plant.command("drive", DriveTo(Pose(START.x + 0.6, START.y + 0.6, 0.0), (), Bend()))
    assert move.floor_s() == pytest.approx(0.908307, abs=2e-4)


def test_grip_of_a_square_is_what_a_linear_programme_gives() -> None:
    """Rollers: force along the way beside a given one across it, at angles all round."""
    from scipy.optimize import linprog

    axes = np.array([[cos(a), sin(a)] for a in np.radians([-45, 45, -45, 45])]).T
    plant = a_drive("mecanum", grip=0.7)
    weight = 0.7 * MASS * G
    way = facing(circle(0.5, 2.0 * pi), 0.0, 0.0)
    drive_along(plant, way)
    w, m = plant.arrays.w, plant.arrays.at["drive"]
    guide = plant._built("drive").guide
    for cell in range(0, way.cells, 7):
        beta, square = float(way.direction[cell]), 0.9
        across = MASS * square / 0.5
        t, n = np.array([cos(beta), sin(beta)]), np.array([-sin(beta), cos(beta)])
        best = linprog(-(t @ axes), A_eq=[n @ axes], b_eq=[across], bounds=[(-weight / 4, weight / 4)] * 4)
        from simbot.physics.forces import follow

        as_python(follow)(w, plant.arrays.tab, m, way.length * cell / way.cells, sqrt(square))
        high = w[int(w[m + L.GRP]) + L.G_HI]
        assert high == pytest.approx(-best.fun, rel=1e-6)
    assert not guide.round


def most_along(grip: float, lateral: float, height: float) -> float:
    """Greatest acceleration along the way of four wheels with friction circles [g], beside one across it.

    Loads of a body on four alike springs, the outer and the rear ones heavier; no moment about the mass centre is left.
    """
    x, y = np.array([(BASE, TRACK), (BASE, -TRACK), (-BASE, -TRACK), (-BASE, TRACK)]).T / 2.0

    def loads(along: float) -> np.ndarray:
        return (
            0.25 - height * along / (2.0 * BASE) * np.sign(x) - height * lateral / (2.0 * TRACK) * np.sign(y)
        )

    holds = [
        {"type": "eq", "fun": lambda f: f[4:].sum() - lateral},
        {"type": "eq", "fun": lambda f: (x * f[4:] - y * f[:4]).sum()},
        {"type": "ineq", "fun": lambda f: (grip * loads(f[:4].sum())) ** 2 - f[:4] ** 2 - f[4:] ** 2},
        {"type": "ineq", "fun": lambda f: loads(f[:4].sum())},
    ]
    first = np.concatenate((np.full(4, 0.05), np.full(4, lateral / 4.0)))
    best = minimize(lambda f: -f[:4].sum(), first, constraints=holds, method="SLSQP", options={"ftol": 1e-12})
    assert best.success
    return float(-best.fun)


@pytest.mark.parametrize(("grip", "lateral", "height"), [(0.8, 0.3, 0.15), (0.8, 0.7, 0.15), (0.6, 0.4, 0.1)])
def test_weight_that_moves_outwards_takes_no_grip(grip: float, lateral: float, height: float) -> None:
    """While all four wheels stand, they hold together what they would with even loads: the run's own limit.

    Moved outwards: m a h/track on either side (Gillespie, Fundamentals of Vehicle Dynamics, ch. 6, from memory).
    """
    from simbot.physics.forces import follow

    outer = 0.5 + lateral * height / TRACK
    assert outer < 1.0
    plant = a_drive("swerve", grip=grip, centre_height=f"{height} m")
    way = facing(circle(0.5, 2.0 * pi), 0.0, 0.0)
    drive_along(plant, way)
    w, m = plant.arrays.w, plant.arrays.at["drive"]
    as_python(follow)(w, plant.arrays.tab, m, 0.4 * way.length, sqrt(lateral * G * 0.5))
    high = w[int(w[m + L.GRP]) + L.G_HI]
    assert high / (MASS * G) == pytest.approx(most_along(grip, lateral, height), rel=1e-6)


@pytest.mark.parametrize("kind", ["mecanum", "x_drive", "swerve", "tank"])
@pytest.mark.parametrize("grip", [0.3, 0.6])
def test_it_slows_down_for_a_corner(kind: str, grip: float) -> None:
    """Nowhere more than `cornering` of the grip sideways, and through the corner not much less."""
    plant = a_drive(kind, grip=grip, **({"scrub": "0 %"} if kind == "tank" else {}))
    move = plant.command("drive", DriveTo(Pose(4.0, 4.0, pi / 2.0), ((4.0, 2.0),), Bend(corner=0.3)))
    arrival = move.arrival_us()
    assert arrival is not None
    plant.advance(arrival)
    leg = plant._route.legs[1][1]  # type: ignore[union-attr]
    assert isinstance(leg, Curve) and leg.curve is not None
    most = 0.0
    for t in range(0, arrival, 2000):
        q, v = plant._raw("drive", t / 1e6)
        if plant._route.at(t / 1e6) is leg:  # type: ignore[union-attr]
            x = (q - leg.at) / leg.curve.length * leg.curve.cells
            guide = plant.models.get("drive", 0.0, leg.curve).guide
            rows = np.array([np.interp(x, np.arange(len(guide.rows)), np.abs(col)) for col in guide.rows.T])
            across = max(rows[L.GUIDE_B1], 0.0 if guide.round else rows[L.GUIDE_B2]) * v * v
            most = max(most, float(across))
    assert 0.7 < most < 0.83
    assert (plant.pose().x, plant.pose().y) == pytest.approx((4.0, 4.0), abs=0.021)
    floor = move.floor_s()
    assert floor is not None and floor < seconds(arrival)


def test_wheels_are_steered_no_faster_than_they_can() -> None:
    """On a circle at a fixed heading they turn at curvature x speed."""
    plant = a_drive("swerve", True, grip=3.0, steering_speed="60 deg/s")
    drive_along(plant, facing(circle(0.5, 5.0), 0.0, 0.0))
    plant.advance(3_000_000)
    speeds = [plant.speed("drive", t) for t in range(1_500_000, 3_000_000, 1000)]
    assert max(speeds) == pytest.approx(radians(60.0) * 0.5, rel=5e-3)


def test_the_outer_side_of_a_tank_limits_it() -> None:
    """On a circle: free speed over 1 + track/2 curvature, without losses."""
    plant = a_drive("tank", True, grip=3.0, scrub="0 %")
    drive_along(plant, facing(circle(0.8, 5.0 * pi), 0.0, None))
    plant.advance(4_000_000)
    assert plant.speed("drive") == pytest.approx(FREE * RADIUS / (1.0 + TRACK / 2.0 / 0.8), rel=1e-3)


def test_scrub_turns_up_as_friction() -> None:
    """At constant speed the motors give what the tank's wheels take slipping sideways."""
    scrub = 0.5 * 0.9 * MASS * G * BASE / 2.0
    plant = a_drive("tank", True, grip=0.9, scrub="50 %", cornering="100 %")
    drive_along(plant, facing(circle(0.8, 5.0 * pi), 0.0, None))
    plant.advance(6_000_000)
    g = [1.0 - TRACK / 1.6, 1.0 + TRACK / 1.6]
    top = FREE * RADIUS / g[1]
    slope = 2.0 * STALL / RADIUS**2 / FREE * (g[0] ** 2 + g[1] ** 2)
    v = top - scrub / 0.8 / slope
    assert v**2 / 0.8 < 0.9 * G
    assert plant.speed("drive") == pytest.approx(v, rel=1e-3)


@pytest.mark.parametrize("kind", ["mecanum", "x_drive", "swerve", "tank"])
def test_rolling_friction_grows_with_how_far_wheels_roll(kind: str) -> None:
    """Turning at 5 rad/m, round its own middle and more: each wheel's torque does its work over its own way."""
    plant = a_drive(kind, friction="10 N", scrub="0 %") if kind == "tank" else a_drive(kind, friction="10 N")
    way = circle(0.2, 2.0)
    way = facing(way, 0.0, None) if kind == "tank" else replace(way, turns=np.full_like(way.turns, 5.0))
    built = build_curve(plant.robot.mechanisms["drive"], plant.robot, 0.0, way)
    beta = float(way.direction[7] - way.heading[7])
    own, straight = (np.abs(wheels_of(kind, beta, turns)).sum() for turns in (float(way.turns[7]), 0.0))
    assert built.guide.rows[7, L.GUIDE_RUB] == pytest.approx(10.0 * (own / straight - 1.0), abs=1e-9)
    assert own == pytest.approx(straight) if kind == "tank" else own > 1.05 * straight


def test_turning_along_saves_time_and_ends_where_it_should() -> None:
    goal = Pose(4.0, 2.5, 1.5)
    after = a_drive("mecanum").command("drive", DriveTo(goal))
    plant = a_drive("mecanum")
    along = plant.command("drive", DriveTo(goal, (), Bend(along=True)))
    assert seconds(along.arrival_us()) < seconds(after.arrival_us()) - 0.3
    plant.advance(5_000_000)
    end = plant.pose()
    assert (end.x, end.y) == pytest.approx((4.0, 2.5), abs=0.02)
    assert end.heading == pytest.approx(1.5, abs=1e-3)


def test_a_tank_goes_backwards_round_a_corner() -> None:
    plant = a_drive("tank", grip=0.9)
    move = plant.command("drive", DriveTo(Pose(0.5, 0.5, pi / 2.0), ((0.5, 2.0),), Bend(corner=0.3)))
    arrival = move.arrival_us()
    assert arrival is not None
    plant.advance(arrival)
    assert not any(leg.turning for _, leg in plant._route.legs)  # type: ignore[union-attr]
    assert plant.pose().heading == pytest.approx(pi / 2.0, abs=radians(2.0))


def test_where_it_turns_back_it_stops() -> None:
    plant = a_drive("mecanum")
    move = plant.command("drive", DriveTo(Pose(2.2, 3.0, 0.0), ((4.0, 2.0), (2.2, 2.1)), Bend(corner=0.2)))
    arrival = move.arrival_us()
    assert arrival is not None
    plant.advance(arrival)
    legs: list[Leg] = [leg for _, leg in plant._route.legs[1:]]  # type: ignore[union-attr]
    assert [isinstance(leg, Curve) for leg in legs] == [True, True]
    joint = plant._route.legs[2][0]  # type: ignore[union-attr]
    assert plant.speed("drive", round(joint * 1e6)) < 0.1


def test_taken_over_on_a_curve() -> None:
    """It brakes on its way, not off it, and goes on from there."""
    plant = a_drive("mecanum", grip=0.8)
    plant.command("drive", DriveTo(Pose(3.0, 4.0, 0.0), ((3.0, 2.0),), Bend(corner=0.4)))
    plant.advance(900_000)
    leg = plant._route.now  # type: ignore[union-attr]
    assert isinstance(leg, Curve)
    move = plant.command("drive", DriveTo(Pose(5.0, 2.5, 0.0)))
    brakes = plant._route.now  # type: ignore[union-attr]
    assert brakes.brakes and isinstance(brakes, Curve)
    arrival = move.arrival_us()
    assert arrival is not None
    plant.advance(arrival)
    assert (plant.pose().x, plant.pose().y) == pytest.approx((5.0, 2.5), abs=0.02)
    places = [plant.pose(t) for t in range(900_000, 1_100_000, 5000)]
    assert max(hypot(b.x - a.x, b.y - a.y) for a, b in itertools.pairwise(places)) < 0.012


def test_a_need_is_met_on_a_curve() -> None:
    plant = a_drive("swerve")
    plant.command("drive", DriveTo(Pose(4.0, 4.0, 0.0), ((4.0, 2.0),), Bend(corner=0.5)))
    plant.advance(4_000_000)
    leg = plant._route.now  # type: ignore[union-attr]
    assert isinstance(leg, Curve) and leg.curve is not None
    x, y, *_ = leg.curve.at(2.1)
    found = leg.coordinate_of(Pose(x, y, 0.0), 0.03, 0.1)
    assert found is not None and found[0] == pytest.approx(leg.at + 2.1, abs=1e-6)
    assert found[1] == pytest.approx(0.03, abs=1e-6)
    assert leg.coordinate_of(Pose(x + 0.5, y - 0.5, 0.0), 0.03, 0.1) is None
    assert replace(leg, at=leg.at + 0.3).pose(leg.at + 2.1) == leg.pose(leg.at + 2.1)


def test_every_drive_tells_how_its_wheels_roll() -> None:
    for name in ("mecanum", "x_drive", "swerve", "tank"):
        kind, p = KINDS[name], {"wheel_diameter": 2 * RADIUS, "wheelbase": BASE, "track": TRACK}
        for beta, turns in ((0.0, 0.0), (0.0, 1.3), (0.0 if name == "tank" else 0.9, -2.0)):
            rolls = kind.rolls(p, np.array([beta]), np.array([turns]))[:, 0]
            assert sorted(np.abs(rolls)) == pytest.approx(sorted(np.abs(wheels_of(name, beta, turns))))


def a_result(step: Words, kind: str = "mecanum") -> StateResult:
    loop: Words = {
        "loop": "position",
        "p": "6 /m",
        "d": "0.6 s/m",
        "window": "20 mm",
        "slower_than": "60 mm/s",
    }
    wheels: Words = {
        "kind": kind, "motors": "4 x wheel", "wheel_diameter": "100 mm", "wheelbase": f"{BASE} m",
        "track": f"{TRACK} m", "grip": 0.8, "control": loop,
    }  # fmt: skip
    steps = [{"drive": ["4 m", "4 m", "90 deg"], **step}, {"wait": "arrival"}]
    blocks = [{"polygon": [["3.3 m", "2.25 m"], ["3.4 m", "2.25 m"], ["3.4 m", "2.4 m"]]}]
    return a_run(steps, {"drive": wheels}, {"wheel": MOTOR}, mass="12 kg", obstacles=blocks)


def test_written_in_a_plan() -> None:
    """Through a point: rounded is sooner than a stop, and a wide round touches what stands inside the corner."""
    through: Words = {"through": [["4 m", "2 m"]]}
    ways: list[Words] = [{}, {"corner": "0.1 m"}, {"corner": "1 m"}, {"curve": "smooth"}]
    results = [a_result({**through, **way}) for way in ways]
    times = [seconds(each.moves[0].arrival_us) for each in results]
    assert times[0] > times[1] > times[2]
    touched = [any(finding.kind == "path_blocked" for finding in each.findings) for each in results]
    assert touched[:3] == [False, False, True]
    assert (
        0.8 * times[0] < times[3] < 1.1 * times[0]
    )  # a mecanum drive is slow aslant, which a smooth curve begins with


def test_a_tank_cannot_turn_along() -> None:
    with pytest.raises(ScenarioError, match="moves along its heading only"):
        a_result({"turn": "along"}, "tank")
