"""Drives with omni wheels at 45 degrees and with steered wheels, and the weight that moves between the axles.

Wheel speeds from each wheel's own rolling direction (Lynch and Park, Modern Robotics, sec. 13.2, from memory);
axle loads from the statics of a plane body; steering as a plain delay.
"""

from __future__ import annotations

from math import cos, inf, pi, radians, sin, sqrt
from types import ModuleType

import numpy as np
import pytest
from builders import G, a_plant, a_robot
from scipy.optimize import brentq, linprog
from test_drive import FREE, GEARMOTOR, MASS, RADIUS, SLOPE, WHEEL, drive, values

from simbot.physics import layout as L
from simbot.physics.assumptions import physics_remarks
from simbot.physics.bends import build_curve
from simbot.physics.build import Models
from simbot.physics.follows import consequences
from simbot.physics.kinds import KINDS, mecanum, swerve, tank, x_drive
from simbot.physics.move import DriveTo, GoTo
from simbot.physics.plant import Plant
from simbot.physics.ways import Bend, facing, way_through
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Pose

BASE, TRACK = 0.30, 0.36
CORNERS = np.array([(1, 1), (1, -1), (-1, -1), (-1, 1)]) * (BASE / 2, TRACK / 2)  # FL, FR, RR, RL


def rolling(axes: np.ndarray, twist: tuple[float, float, float]) -> np.ndarray:
    """Wheel speeds [rad/s] from how fast each corner moves along its wheel's direction; twist (w, vx, vy)."""
    w, x, y = twist
    corners = np.column_stack((x - w * CORNERS[:, 1], y + w * CORNERS[:, 0]))
    return np.sum(corners * axes, axis=1) / RADIUS


ACROSS = np.array([(cos(a), sin(a)) for a in np.radians([-45, 45, -45, 45])])


@pytest.mark.parametrize("degrees", [0, 20, 45, 90, 130, 180, -60])
def test_wheel_speeds_of_omni_wheels(degrees: float) -> None:
    phi = radians(degrees)
    right = np.abs(rolling(ACROSS, (0.0, cos(phi), sin(phi))))
    leg = x_drive.straight(values(), MASS, 4, phi)  # type: ignore[arg-type]
    got = sorted({round(group.per_travel, 9) for group in leg.groups})
    assert got == pytest.approx(sorted({round(each, 9) for each in right if each > 1e-6}))
    turn = x_drive.turn(values(), MASS, 4, (0.4, 0.4))  # type: ignore[arg-type]
    assert turn.groups[0].per_travel == pytest.approx(np.abs(rolling(ACROSS, (1.0, 0.0, 0.0))))


def test_moment_of_omni_wheels() -> None:
    """Greatest moment about the centre without a force, by a linear programme over the four wheels' grip."""
    levers = CORNERS[:, 0] * ACROSS[:, 1] - CORNERS[:, 1] * ACROSS[:, 0]
    each = 0.7 * MASS * G / 4.0
    best = linprog(-levers, A_eq=ACROSS.T, b_eq=[0.0, 0.0], bounds=[(-each, each)] * 4)
    leg = x_drive.turn(values(), MASS, 4, (0.4, 0.4))  # type: ignore[arg-type]
    assert leg.groups[0].most == pytest.approx(-best.fun)


STANDS = {  # the way that each wheel rolls, straight ahead
    "tank": np.array([(1.0, 0.0)] * 4),
    "mecanum": np.array([(1.0, -1.0), (1.0, 1.0), (1.0, -1.0), (1.0, 1.0)]),
    "x_drive": ACROSS,
}


@pytest.mark.parametrize("kind", [tank, mecanum, x_drive, swerve])
def test_friction_of_a_turn_in_place_by_virtual_work(kind: ModuleType) -> None:
    """8 N straight ahead are four torques at the wheels; in a turn these do their work over how far wheels roll.

    Steered wheels stand across their levers there, wheels at 45 degrees and fixed ones as always.
    """
    p = values(friction=8.0, scrub=0.0)
    torque = 8.0 / np.abs(rolling(STANDS.get(kind.NAME, STANDS["tank"]), (0.0, 1.0, 0.0))).sum()
    axes = STANDS.get(kind.NAME)
    if axes is None:
        axes = np.column_stack((-CORNERS[:, 1], CORNERS[:, 0])) / np.hypot(*CORNERS[0])
    moment = torque * np.abs(rolling(axes, (1.0, 0.0, 0.0))).sum()
    assert kind.turn(p, MASS, 4, (0.4, 0.4)).reduced.friction == pytest.approx(moment)


def rollers_turn(twist: tuple[float, float, float]) -> float:
    """How fast the rollers on the floor turn, all four wheels' together: each contact is the wheel's way and theirs."""
    w, x, y = twist
    total = 0.0
    for (at_x, at_y), axis in zip(CORNERS, STANDS["mecanum"], strict=True):
        free = np.array((axis[1], -axis[0])) / sqrt(2.0)
        ways = np.column_stack(((1.0, 0.0), free))  # of the wheel ahead, of its roller
        total += abs(np.linalg.solve(ways, (x - w * at_y, y + w * at_x))[1])
    return total


@pytest.mark.parametrize("degrees", [0, 20, 45, 90, 130, 180, -60])
def test_friction_of_mecanum_rollers_by_virtual_work(degrees: float) -> None:
    """20 N straight sideways are four forces at the rollers; on any other way these do their work over its own."""
    phi, per_roller = radians(degrees), 20.0 / rollers_turn((0.0, 0.0, 1.0))
    p = values(friction=8.0, sideways_friction=20.0, static_friction=1.5)
    reduced = mecanum.straight(p, MASS, 4, phi).reduced
    rubs = per_roller * rollers_turn((0.0, cos(phi), sin(phi)))
    assert (reduced.friction, reduced.static) == pytest.approx((8.0 + rubs, 1.5 * (8.0 + rubs)))
    for turns in (-3.0, 0.4, 5.0):
        on_a_curve = mecanum.rubs(p, np.array([phi]), np.array([turns]))
        assert on_a_curve == pytest.approx(per_roller * rollers_turn((turns, cos(phi), sin(phi))))
    turn = [
        mecanum.turn({**p, "sideways_friction": each}, MASS, 4, (0.4, 0.4)).reduced for each in (0.0, 20.0)
    ]
    assert turn[1].friction - turn[0].friction == pytest.approx(per_roller * rollers_turn((1.0, 0.0, 0.0)))


def test_a_mecanum_that_rubs_sideways_is_slower_there_alone() -> None:
    """Steady speed at full effort: its force falls from the stall's in a straight line to nothing at the free speed."""
    ends = {}
    for rubs in ("0 N", "15 N"):
        for degrees in (0, 90):
            plant = on_the_field(drive("mecanum", sideways_friction=rubs))
            phi = radians(degrees)
            plant.command("drive", DriveTo(Pose(2.0 + 25.0 * cos(phi), 2.0 + 25.0 * sin(phi), 0.0)))
            plant.advance(8_000_000)
            ends[rubs, degrees] = plant.speed("drive")
    assert ends["15 N", 0] == pytest.approx(ends["0 N", 0], rel=1e-9)
    assert ends["0 N", 90] - ends["15 N", 90] == pytest.approx(15.0 / SLOPE, rel=1e-4)


def test_a_curve_rubs_where_it_goes_aside() -> None:
    robot = a_robot({"drive": drive("mecanum", sideways_friction="20 N")}, {"wheel": GEARMOTOR}, mass="12 kg")
    way = facing(way_through([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0)], Bend(0.3), 0.0), 0.0, 0.0)
    rub = build_curve(robot.mechanisms["drive"], Models(robot).robot, 0.0, way).guide.rows[:, L.GUIDE_RUB]
    assert rub[[0, -1]] == pytest.approx([0.0, 20.0], abs=1e-9)


def test_speed_of_omni_wheels() -> None:
    """Speed over wheel speed x radius: sqrt(2)/(|cos| + |sin|)."""
    for degrees in (0.0, 30.0, 45.0, 90.0):
        phi = radians(degrees)
        plant = on_the_field(drive("x_drive"))
        plant.command("drive", DriveTo(Pose(2.0 + 25.0 * cos(phi), 2.0 + 25.0 * sin(phi), 0.0)))
        plant.advance(8_000_000)
        right = FREE * RADIUS * sqrt(2.0) / (abs(cos(phi)) + abs(sin(phi)))
        assert plant.speed("drive") == pytest.approx(right, rel=1e-6)


def on_the_field(wheels: dict[str, object]) -> Plant:
    robot = a_robot({"drive": wheels}, {"wheel": GEARMOTOR}, (12.0, 0.0), mass="12 kg")
    return a_plant(robot, pose=Pose(2.0, 2.0, 0.0))


def test_wheel_speeds_of_steered_wheels() -> None:
    """v_i = v + w x r_i, every wheel along its own way."""
    for direction, twist in ((0.7, (0.0, cos(0.7), sin(0.7))), (None, (1.0, 0.0, 0.0))):
        angles = swerve.steered(values(), direction)
        axes = np.column_stack((np.cos(angles), np.sin(angles)))
        w, x, y = twist
        corners = np.column_stack((x - w * CORNERS[:, 1], y + w * CORNERS[:, 0]))
        assert np.abs(np.sum(corners * axes, axis=1)) == pytest.approx(np.hypot(*corners.T)), (
            "none slips aside"
        )
        leg = (
            swerve.turn(values(), MASS, 4, (0.4, 0.4))  # type: ignore[arg-type]
            if direction is None
            else swerve.straight(values(), MASS, 4, direction)  # type: ignore[arg-type]
        )
        assert leg.groups[0].per_travel == pytest.approx(np.abs(rolling(axes, twist)))


# --- axle loads -----------------------------------------------------------------------------------


def force_at_the_grip(driven: str, height: float, sign: float, grip: float = 0.7) -> float:
    """Greatest force ahead (+1) or back (-1): axle loads from vertical balance and moments about the mass centre."""
    weight = MASS * G
    rear, front = (1.0, 0.0) if driven == "rear" else (0.0, 1.0)
    # unknown: N front, N rear, F (ahead); moments: (N rear - N front) L/2 = F h
    rows = [[1.0, 1.0, 0.0], [-BASE / 2, BASE / 2, -height], [-sign * grip * front, -sign * grip * rear, 1.0]]
    n_front, n_rear, force = np.linalg.solve(rows, [weight, 0.0, 0.0])
    if min(n_front, n_rear) < 0.0:
        return grip * weight
    return float(abs(force))


@pytest.mark.parametrize("driven", ["front", "rear"])
@pytest.mark.parametrize("height", [0.0, 0.05, 0.12, 0.30])
def test_grip_of_one_driven_axle(driven: str, height: float) -> None:
    p = values(driven=driven, centre_height=height)  # type: ignore[arg-type]
    for kind in (tank, swerve):
        group = kind.straight(p, MASS, 4, 0.0).groups[0]  # type: ignore[arg-type]
        assert group.most == pytest.approx(force_at_the_grip(driven, height, 1.0))
        assert group.most_back == pytest.approx(force_at_the_grip(driven, height, -1.0))
    sideways = swerve.straight(p, MASS, 4, pi / 2.0).groups[0]  # type: ignore[arg-type]
    assert sideways.most == pytest.approx(0.7 * MASS * G / 2.0)


@pytest.mark.parametrize(
    ("driven", "ahead"), [("rear", 1.0), ("rear", -1.0), ("front", 1.0), ("front", -1.0)]
)
@pytest.mark.parametrize("wheel", [0.0, WHEEL])
def test_start_at_the_grip_of_one_axle(driven: str, ahead: float, wheel: float) -> None:
    """Through a file and the integrator: slippery ground, mass centre 150 mm up, two wheels turned by the floor."""
    more = {"grip": 0.4, "driven": driven, "centre_height": "150 mm", "wheel_inertia": f"{wheel} kg*m^2"}
    plant = on_the_field(drive("tank", **more))
    plant.command("drive", DriveTo(Pose(2.0 + 9.0 * ahead, 2.0, 0.0)))
    plant.advance(50_000)
    right = 0.5 * force_at_the_grip(driven, 0.15, ahead, 0.4) / (MASS + 2.0 * wheel / RADIUS**2) * 0.05**2
    assert ahead * (plant.pose().x - 2.0) == pytest.approx(right, rel=1e-6)


def test_a_height_needs_a_wheelbase() -> None:
    wheels = drive("tank", centre_height="150 mm")
    del wheels["wheelbase"]
    with pytest.raises(ScenarioError, match=r"centre_height.*wheelbase"):
        a_robot({"drive": wheels}, {"wheel": GEARMOTOR})


# --- steering -------------------------------------------------------------------------------------

QUARTER = 0.15  # s for 90 degrees at 0.1 s/60deg
LOOP = {"loop": "position", "p": "6 /m", "d": "0.6 s/m", "window": "20 mm", "slower_than": "60 mm/s"}


def arrival(plant: Plant, goal: Pose) -> float:
    at = plant.command("drive", DriveTo(goal)).arrival_us()
    assert at is not None
    return at * 1e-6


def test_steering_comes_first() -> None:
    """Sideways is as long as ahead and later by the tick at which the wheels stand; straight ahead takes none."""
    ahead = arrival(on_the_field(drive("swerve", control=LOOP)), Pose(4.0, 2.0, 0.0))
    plain = arrival(on_the_field(drive("tank", control=LOOP)), Pose(4.0, 2.0, 0.0))
    assert ahead == pytest.approx(plain, abs=1e-6)
    for degrees in (30.0, 90.0, 135.0, 180.0):
        phi = radians(degrees)
        plant = on_the_field(drive("swerve", control=LOOP))
        move = plant.command("drive", DriveTo(Pose(2.0 + 2.0 * cos(phi), 2.0 + 2.0 * sin(phi), 0.0)))
        angle = min(degrees, 180.0 - degrees)
        ready = -(-round(angle / 90.0 * QUARTER * 1e6) // 20_000) * 20_000
        at = move.arrival_us()
        assert at is not None
        assert at * 1e-6 == pytest.approx(ahead + ready * 1e-6, abs=2e-6)
        plant.advance(ready)
        assert plant.pose() == Pose(2.0, 2.0, 0.0)
        plant.advance(ready + 40_000)
        assert plant.position("drive") != 0.0


def test_steering_is_part_of_the_floor() -> None:
    ahead = on_the_field(drive("swerve")).command("drive", DriveTo(Pose(4.0, 2.0, 0.0))).floor_s()
    aside = on_the_field(drive("swerve")).command("drive", DriveTo(Pose(2.0, 4.0, 0.0))).floor_s()
    assert ahead is not None and aside is not None
    assert aside - ahead == pytest.approx(QUARTER, abs=2e-6)
    loose = on_the_field(drive("swerve", steering_speed="600 deg/s ± 20 %"))
    best = loose.command("drive", DriveTo(Pose(2.0, 4.0, 0.0))).floor_s()
    assert best is not None
    assert best - ahead == pytest.approx(90.0 / 720.0, abs=2e-6), "the favourable end of its spread"


def test_a_line_and_a_turn_are_steered_apart() -> None:
    """To a turn each wheel is steered across its lever: 39.8 degrees from straight ahead."""
    line = arrival(on_the_field(drive("swerve", control=LOOP)), Pose(4.0, 2.0, 0.0))
    plant = on_the_field(drive("swerve", control=LOOP))
    move = plant.command("drive", DriveTo(Pose(4.0, 2.0, pi / 2.0)))
    across = np.degrees(np.arctan2(BASE, TRACK))
    wanted = across / 90.0 * QUARTER
    turned_at = first_turning(plant)
    assert wanted <= turned_at - line < wanted + 0.041  # two ticks: seen at one, and steered to one
    assert move.arrival_us() is not None


def first_turning(plant: Plant) -> float:
    plant.advance(8_000_000)
    return min(t for t in range(0, 8_000_000, 1000) if plant.pose(t).heading > 1e-9) * 1e-6


def test_taken_over_while_steering() -> None:
    """Half way to sideways it is sent ahead: steered back as long as it had been steered, then ahead."""
    plain = arrival(on_the_field(drive("swerve", control=LOOP)), Pose(4.0, 2.0, 0.0))
    plant = on_the_field(drive("swerve", control=LOOP))
    plant.command("drive", DriveTo(Pose(2.0, 4.0, 0.0)))
    plant.advance(60_000)
    assert arrival(plant, Pose(4.0, 2.0, 0.0)) == pytest.approx(0.06 + 0.06 + plain, abs=2e-6)
    assert arrival(plant, Pose(2.0, 4.0, 0.0)) < inf


def test_a_lift_is_seen_while_the_wheels_are_steered() -> None:
    """What else moves is seen at its own tick, whether the drive is steering or not."""
    slide = {"kind": "slide", "motors": "1 x wheel", "gearing": [{"ratio": 1, "efficiency": "90 %"}],
             "drum_diameter": "38 mm", "moving_mass": "1 kg", "friction": "4 N", "travel": ["0 m", "0.6 m"],
             "control": {"loop": "full_effort", "window": "10 mm"}}  # fmt: skip
    wheels = drive("swerve", control=LOOP, steering_speed="1 s/60deg")
    robot = a_robot({"drive": wheels, "lift": slide}, {"wheel": GEARMOTOR}, (12.0, 0.0), mass="12 kg")
    plant = a_plant(robot, pose=Pose(2.0, 2.0, 0.0))
    lift = plant.command("lift", GoTo(0.3))
    plant.command("drive", DriveTo(Pose(2.0, 4.0, 0.0)))
    seen = plant.first_seen_us([lift], 5_000_000)
    at = lift.first_inside_us()
    assert seen is not None and at is not None and at < 1_500_000
    assert seen == -(-at // 20_000) * 20_000


# --- wheels of unlike size ------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["tank", "swerve", "mecanum", "x_drive"])
def test_wheels_of_unlike_size_drive_it_round(kind: str) -> None:
    """0.2 % on a track of 360 mm: after 2 m 0.6366 deg and 11.11 mm aside where wheels roll along the way.

    Its twist from how its four wheels roll, by least squares, integrated over the way.
    """
    axes = STANDS.get(kind, STANDS["tank"])
    straight = rolling(axes, (0.0, 1.0, 0.0)) * RADIUS
    unlike = straight * np.where(CORNERS[:, 1] < 0.0, 1.001, 0.999)
    each = np.column_stack([rolling(axes, twist) * RADIUS for twist in np.eye(3)])
    turns, ahead, _ = np.linalg.lstsq(each, unlike, rcond=None)[0]
    heading = 2.0 * turns
    aside = 2.0 * ahead * (1.0 - cos(heading)) / heading
    if kind in ("tank", "swerve"):
        assert heading * 180.0 / pi == pytest.approx(0.6366, abs=5e-5)
        assert 1000.0 * aside == pytest.approx(11.11, abs=5e-3)
    robot = a_robot({"drive": drive(kind, wheel_mismatch="0.2 %")}, {"wheel": GEARMOTOR})
    [text] = [each.text for each in consequences(robot) if each.key.endswith("wheel_mismatch")]
    assert f"turned by {heading * 180.0 / pi:.3g} deg and is {1000.0 * aside:.3g} mm aside" in text


def test_how_far_unlike_wheels_turn_it_needs_a_track() -> None:
    wheels = drive("mecanum", wheel_mismatch="0.2 %")
    del wheels["track"]
    with pytest.raises(ScenarioError, match=r"wheel_mismatch.*`track` beside it"):
        a_robot({"drive": wheels}, {"wheel": GEARMOTOR})


# --- tipping --------------------------------------------------------------------------------------


def tipping(kind: str, **more: object) -> tuple[str, str]:
    robot = a_robot({"drive": drive(kind, **more)}, {"wheel": GEARMOTOR}, mass="12 kg")
    found = [remark for remark in physics_remarks(robot) if remark.key.endswith("centre_height")]
    assert len(found) == 1
    return found[0].kind, found[0].text


def first_axle_to_lift(height: float, base: float) -> float:
    """Acceleration at which one axle carries nothing, from the loads of a plane body [m/s^2]."""
    loads = np.linalg.solve(
        [[1.0, 1.0], [-base / 2, base / 2]], np.column_stack(([MASS * G, 0.0], [0.0, MASS * height]))
    )
    return float(-loads[0, 0] / loads[0, 1])


@pytest.mark.parametrize(("cornering", "expected"), [("80 %", "assumed"), ("100 %", "doubt")])
def test_where_it_tips_in_a_curve(cornering: str, expected: str) -> None:
    """Rollover threshold track/(2 h) in g (Gillespie, Fundamentals of Vehicle Dynamics, ch. 9, from memory): 0.625 g.

    It is steered round with `cornering` of its grip of 0.7; along its heading it would tip at 0.75 g.
    """
    kind, text = tipping("tank", grip=0.7, centre_height="200 mm", track="250 mm", cornering=cornering)
    limit = first_axle_to_lift(0.2, 0.25)
    assert limit == pytest.approx(0.625 * G)
    goes = float(cornering.split()[0]) / 100.0 * 0.7 * G
    assert (
        f"in curves it tips above {limit:.3g} m/s^2 sideways, and is steered round them with {goes:.3g}"
        in text
    )
    assert kind == expected


@pytest.mark.parametrize("kind", ["tank", "mecanum", "swerve", "x_drive"])
def test_with_everything_extended(kind: str) -> None:
    """Slope and acceleration at which one axle carries nothing: a plane body's balance, its floor tilted or pushed."""
    out = {"centre_height": "420 mm", "centre_ahead": "-40 mm"}
    robot = a_robot({"drive": drive(kind, grip=0.8, extended=out)}, {"wheel": GEARMOTOR}, mass="12 kg")
    [said] = [remark for remark in physics_remarks(robot) if remark.key.endswith("extended")]
    lever, height = BASE / 2.0 - 0.04, 0.42

    def rear_alone(sideways: float, down: float) -> float:
        """What is left on the front axle: moments about the rear wheels' contact, per mass."""
        return down * lever - sideways * height

    limit = brentq(lambda a: rear_alone(a, G), 0.0, 50.0)
    slope = brentq(lambda phi: rear_alone(G * sin(phi), G * cos(phi)), 0.0, 1.5)
    assert f"standing still on up to {slope * 180.0 / pi:.3g} deg of slope" in said.text
    assert f"along its heading it tips above {limit:.3g} m/s^2" in said.text
    assert said.kind == "doubt" and "which no run shows" in said.text
    before = a_robot({"drive": drive(kind, grip=0.8)}, {"wheel": GEARMOTOR}, mass="12 kg")
    for spec in (robot.mechanisms["drive"], before.mechanisms["drive"]):  # runs go by the other keys
        leg = KINDS[kind].straight(spec.values, MASS, 4, 0.0)
        assert sum(group.most for group in leg.groups) == pytest.approx(0.8 * MASS * G * GRIPS[kind])


GRIPS = {"tank": 1.0, "swerve": 1.0, "mecanum": sqrt(0.5), "x_drive": sqrt(0.5)}


@pytest.mark.parametrize(
    ("key", "given", "told"),
    [
        (
            "centre_ahead",
            "160 mm",
            "tips over as it stands.*not between the axles.*less than 150 mm .0.15 m.",
        ),
        (
            "centre_left",
            "-180 mm",
            "tips over as it stands.*not between the sides.*less than 180 mm .0.18 m.",
        ),
    ],
)
def test_what_falls_over_extended_is_a_mistake(key: str, given: str, told: str) -> None:
    out = {"centre_height": "420 mm", key: given}
    with pytest.raises(ScenarioError, match=rf"extended\.{key}.*{told}"):
        a_robot({"drive": drive("tank", extended=out)}, {"wheel": GEARMOTOR})


def test_where_it_tips() -> None:
    along, aside = first_axle_to_lift(0.2, BASE), first_axle_to_lift(0.2, TRACK)
    kind, text = tipping("mecanum", grip=0.7, centre_height="200 mm")
    assert kind == "assumed"
    assert f"along its heading it tips above {along:.3g} m/s^2" in text
    assert f"sideways it tips above {aside:.3g} m/s^2" in text
    assert f"its grip allows {0.7 * G * sqrt(0.5):.3g} m/s^2" in text
    kind, text = tipping("tank", grip=0.9, centre_height="200 mm")
    assert kind == "doubt" and "; sideways it tips" not in text
    for grip, expected in (
        (0.74, "assumed"),
        (0.76, "doubt"),
    ):  # tips at 0.75 g, on whichever axle it is driven
        assert tipping("tank", grip=grip, centre_height="200 mm", driven="rear")[0] == expected
    assert not [
        r
        for r in physics_remarks(a_robot({"drive": drive("tank")}, {"wheel": GEARMOTOR}))
        if "tips" in r.text
    ]


def test_going_on_the_same_way_takes_no_steering() -> None:
    """Sent farther on the same line it keeps its speed; sent aside it brakes, is steered, and starts from rest."""
    plant = on_the_field(drive("swerve"))
    plant.command("drive", DriveTo(Pose(4.0, 2.0, 0.0)))
    plant.advance(500_000)
    before = plant.speed("drive")
    plant.command("drive", DriveTo(Pose(6.0, 2.0, 0.0)))
    plant.advance(520_000)
    assert plant.speed("drive") > before > 0.5
    plant.command("drive", DriveTo(Pose(2.9, 5.0, 0.0)))
    while plant.speed("drive") > 0.1:
        plant.advance(plant.now_us + 20_000)
    here, slow_us = plant.pose(), plant.now_us
    plant.advance(slow_us + 130_000)
    assert plant.pose() == here
    plant.advance(slow_us + 260_000)
    assert plant.pose().y > here.y


# --- drawings -------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [mecanum, x_drive, swerve, tank], ids=lambda kind: kind.NAME)
def test_outline(kind: ModuleType) -> None:
    """Seen from above: a wheel round every corner of wheelbase and track, as long as its diameter, as it rolls."""
    shapes = kind.outline(values(), 0.0)
    wheels = [np.array(shape.points) for shape in shapes if shape.role == "moving" and shape.closed]
    assert np.array([wheel.mean(axis=0) for wheel in wheels]) == pytest.approx(CORNERS)
    for wheel, axis in zip(wheels, ACROSS if kind is x_drive else np.array([(1.0, 0.0)] * 4), strict=True):
        along = (wheel - wheel.mean(axis=0)) @ axis
        assert along.max() - along.min() == pytest.approx(2.0 * RADIUS)
    lines = kind.SKETCH.splitlines()
    assert max(map(len, lines)) <= 76 and kind.SKETCH.isascii()
    assert all(key in kind.SKETCH for key in ("wheelbase", "track"))
