"""Reflected inertia, slides in stages, and what happens when a load is picked up on the way.

Source of the sizing cases: machinemfg.com, servo motor sizing (read). The rest is derived: each number is
worked out here by a second way (integration stage by stage, Lagrange's equations, a root, a search).
"""

from __future__ import annotations

from dataclasses import replace
from math import inf, pi, sqrt
from typing import Any

import numpy as np
import pytest
from builders import RPM, SMALL, G, a_move, a_plant, a_robot, a_sheet, seconds
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from simbot.physics import layout as L
from simbot.physics.build import Built, Models
from simbot.physics.gearing import back_efficiency, chain
from simbot.physics.kinds.slide import comes_down_otherwise, reduce
from simbot.physics.motor import motor_model
from simbot.physics.move import DriveTo
from simbot.physics.plant import Plant
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import GearStage, Pose, Start

R = 12.0 / 9.2
K = (12.0 - 0.25 * R) / (5800 * RPM)


def sheet_without_friction() -> dict[str, object]:
    """The small motor's winding and constant, but no friction of its own."""
    return {**SMALL, "free_current": "0 A", "free_speed": f"{12.0 / K!r} rad/s"}


def test_disc_through_a_gearbox() -> None:
    """Disc of 50 kg and 500 mm: 15625 kg cm²; at 25:1 it is felt as three rotors of 8.17."""
    disc = 50.0 * 0.5**2 / 8.0
    assert disc * 1e4 == pytest.approx(15625)
    load = reduce(slide_values(50.0, drum=0.5, friction=0.0), 0.0)  # the same mass at half the radius squared
    stage = chain((GearStage(25.0, 1.0, None),))
    felt = load.segments[0].mass / (load.per_travel * stage.ratio) ** 2
    assert felt / 2.0 == pytest.approx(disc / 25.0**2)
    assert disc * 1e4 / 25.0**2 == pytest.approx(25.0, abs=0.51)


def test_belt_load() -> None:
    """50 kg on a 120 mm pulley, 10:1: 18 kg cm² at the motor; 0.882 N m against friction with 20:1."""
    load = reduce(slide_values(50.0, drum=0.12, friction=0.6 * 50.0 * 9.8), 0.0)
    assert load.segments[0].mass / (load.per_travel * 10.0) ** 2 * 1e4 == pytest.approx(18.0)
    assert load.friction / (load.per_travel * 20.0) == pytest.approx(0.882)
    speed = 0.5 * 20.0 / 0.06  # rad/s of the motor at 30 m/min
    felt = load.segments[0].mass / (load.per_travel * 20.0) ** 2
    assert felt * speed / 0.2 == pytest.approx(0.375)


def slide_values(*masses: float, drum: float, friction: float, **more: object) -> dict[str, object]:
    return {
        "moving_mass": masses, "stages": 1, "incline": 0.0, "travel": (0.0, 1.0), "drum_diameter": drum,
        "cord": "pulls_both_ways",
        "friction": friction, "rigging": "continuous", "static_friction": 1.0, "damping": 0.0, **more,
    }  # fmt: skip


def test_best_ratio_of_a_pure_inertia() -> None:
    """For a given torque G/(J_L + G² J_m) is greatest at sqrt(J_L/J_m), textbook; here 63.2456."""

    def start(ratio: float) -> float:
        load = reduce(slide_values(0.04, drum=2.0, friction=0.0), 0.0)
        total = load.per_travel * ratio
        return total / (load.segments[0].mass + total**2 * 1e-5)

    best = max(np.linspace(60.0, 66.0, 60001), key=start)
    assert best == pytest.approx(sqrt(0.04 / 1e-5), abs=2e-4)


@pytest.mark.parametrize("masses", [(0.6, 0.5, 0.9), (1.0,), (0.3, 0.2)])
def test_cascade_formula(masses: tuple[float, ...]) -> None:
    """Stage i (bottom first) moves i times as far as the cord. Energies, stage by stage."""
    n = len(masses)
    payload = 0.25
    reduced = reduce(
        slide_values(*masses, drum=0.04, friction=6.0, rigging="cascade", stages=n, incline=pi / 2), payload
    )
    heights = [(i + 1) / n for i in range(n)]
    kinetic = sum(0.5 * m * h**2 for m, h in zip(masses, heights, strict=True)) + 0.5 * payload
    weight = G * (sum(m * h for m, h in zip(masses, heights, strict=True)) + payload)
    segment = reduced.segments[0]
    assert 0.5 * segment.mass == pytest.approx(kinetic)
    assert segment.load == pytest.approx(weight)
    assert reduced.friction == pytest.approx(6.0 / n)  # felt at the cord; the tip goes n times as far
    assert reduced.per_travel == pytest.approx(2.0 / 0.04 / n)


def test_cascade_felt_at_the_cord() -> None:
    """0.6, 0.5 and 0.9 kg on 40:1 and 15 mm, a rotor of 2.4e-5 kg m²: 181.3667 kg and 42.168595 N (derived; an engine's
    joint-equality model travels the same to 3.4e-9).
    """
    masses, n = (0.6, 0.5, 0.9), 3
    reduced = reduce(
        slide_values(*masses, drum=0.03, friction=0.0, rigging="cascade", stages=n, incline=pi / 2), 0.0
    )
    segment = reduced.segments[0]
    assert segment.mass * n**2 + (40.0 / 0.015) ** 2 * 2.4e-5 == pytest.approx(181.3666667, abs=1e-6)
    assert segment.load * n == pytest.approx(42.168595, abs=1e-6)


def stages(rigging: str, travel: float, friction: str, ratio: float = 20.0) -> dict[str, object]:
    return {
        "kind": "slide", "rigging": rigging, "stages": 3, "motors": "1 x coil",
        "gearing": [{"ratio": ratio, "efficiency": "100 %"}], "drum_diameter": "38 mm",
        "moving_mass": ["0.6 kg", "0.5 kg", "0.9 kg"], "friction": friction, "travel": ["0 m", f"{travel} m"],
        "control": {"loop": "full_effort", "window": "1 mm"},
    }  # fmt: skip


def passing(mass: float, load: float, distance: float, speed: float) -> tuple[float, float]:
    """Time and end speed of (M + G²J) a = G k (12 - k G v)/R - load over a distance."""
    g = 20.0 / 0.019

    def there(_t: float, y: list[float]) -> float:
        return y[0] - distance

    there.terminal = True  # type: ignore[attr-defined]
    right = solve_ivp(
        lambda _t, y: [y[1], (g * K * (12.0 - K * g * y[1]) / R - load) / (mass + g * g * 1e-5)],
        (0.0, 9.0), [0.0, speed], events=there, rtol=1e-12, atol=1e-13, method="DOP853",
    )  # fmt: skip
    return float(right.t_events[0][0]), float(right.y_events[0][0][1])


def test_continuous_slide_picks_up_its_stages() -> None:
    """The topmost stage first; each joint's stop takes the next stage along, momentum kept (rotor included).

    0.485703, 0.946602, 1.423962 s, also by a multibody engine with inelastic stops within 0.1 ms.
    """
    g = 20.0 / 0.019
    rotor = g * g * 1e-5
    t, v, total, marks = 0.0, 0.0, 0.0, []
    for mass in (0.9, 0.5, 0.6):
        v *= (total + rotor) / (total + mass + rotor) if total else 1.0
        total += mass
        dt, v = passing(total, total * G + 2.0, 0.25, v)
        t += dt
        marks.append(t)
    assert marks == pytest.approx([0.485703, 0.946602, 1.423962], abs=6e-7)
    plant = a_plant(a_robot({"lift": stages("continuous", 0.75, "2 N")}, {"coil": sheet_without_friction()}))
    move = a_move(plant, "lift", 0.75)
    plant.advance(1_500_000)
    for height, at in zip((0.25, 0.5), marks, strict=False):
        assert plant.position("lift", round(at * 1e6)) == pytest.approx(height, abs=1.5e-6)
    assert seconds(move.first_inside_us()) == pytest.approx(marks[-1], abs=3e-6)


@pytest.mark.parametrize(
    ("order", "rubs", "joints"),
    [
        (None, (2.0, 2.0, 2.0), (2, 1, 0)),
        ("bottom_first", (2.0, 2.0, 2.0), (0, 1, 2)),
        (
            None,
            (1.0, 14.0, 5.0),
            (2, 0, 1),
        ),  # pulls 20.6, 27.7 and 13.8 N: the middle joint binds, and goes last
        ("top_first", (1.0, 14.0, 5.0), (2, 1, 0)),
        (None, (0.0, 0.0, 12.0), (1, 0, 2)),
    ],
)
def test_the_cheapest_joint_moves_first(
    order: str | None, rubs: tuple[float, ...], joints: tuple[int, ...]
) -> None:
    """Joints of unequal ways, stretch by stretch: what is above a joint moves, masses picked up keep momentum."""
    masses, ways = (0.6, 0.5, 0.9), (0.2, 0.3, 0.25)
    pulls = {k: G * sum(masses[k:]) + rubs[k] for k in range(3)}
    if order is None:
        assert list(joints) == sorted(pulls, key=pulls.__getitem__)
    rotor = (20.0 / 0.019) ** 2 * 1e-5
    t, v, before, marks, height = 0.0, 0.0, inf, [], 0.0
    for k in joints:
        mass = sum(masses[k:])
        v *= (before + rotor) / (mass + rotor) if mass > before else 1.0  # set down: its speed stays
        dt, v = passing(mass, pulls[k], ways[k], v)
        t, before, height = t + dt, mass, height + ways[k]
        marks.append((t, height))
    lift = {
        **stages("continuous", 0.75, "0 N"), "friction": [f"{rub} N" for rub in rubs],
        "stage_travel": [f"{way} m" for way in ways],
    }  # fmt: skip
    if order is not None:
        lift["order"] = order
    plant = a_plant(a_robot({"lift": lift}, {"coil": sheet_without_friction()}))
    move = a_move(plant, "lift", 0.75)
    plant.advance(2_000_000)
    for at, reached in marks[:-1]:
        assert plant.position("lift", round(at * 1e6)) == pytest.approx(reached, abs=1.5e-6)
    assert seconds(move.first_inside_us()) == pytest.approx(marks[-1][0], abs=3e-6)


def test_a_cascade_adds_the_friction_of_its_joints() -> None:
    lift = {**stages("cascade", 0.75, ""), "friction": ["1 N", "2 N", "3 N"]}
    built = Models(a_robot({"lift": lift}, {"coil": sheet_without_friction()})).get("lift")
    assert built.reduced.friction == pytest.approx(6.0 / 3.0)


def test_coming_down_in_another_order_is_said() -> None:
    even = slide_values(0.6, 0.5, 0.9, drum=0.04, friction=2.0, incline=pi / 2)
    assert not comes_down_otherwise(even)
    assert comes_down_otherwise({**even, "friction": (1.0, 14.0, 5.0)})


SLIDE_MISTAKES = [
    ({"stage_travel": ["0.2 m", "0.3 m", "0.3 m"]}, ["'0.2 m + 0.3 m + 0.3 m'", "0.75 m"]),
    ({"stage_travel": ["0.2 m", "0.3 m"]}, ["2 way(s) for 3 stage(s)"]),
    ({"friction": ["2 N", "3 N"]}, ["2 friction(s)", "3 stage(s)"]),
    ({"order": "middle_first"}, ["'middle_first'", "top_first, bottom_first"]),
    ({"order": "top_first", "rigging": "cascade"}, ["continuous cord"]),
]


@pytest.mark.parametrize(("keys", "words"), SLIDE_MISTAKES)
def test_mistakes_in_stages(keys: dict[str, object], words: list[str]) -> None:
    with pytest.raises(ScenarioError) as caught:
        a_robot({"lift": {**stages("continuous", 0.75, "2 N"), **keys}}, {"coil": SMALL})
    assert len(caught.value.problems) == 1
    for word in words:
        assert word in str(caught.value)


def test_cascade_slide() -> None:
    """0.25 m of cord, 21.7803 kg and 48.1686 N felt at the cord with the rotor: 0.638055 s."""
    mass = 0.6 + 4 * 0.5 + 9 * 0.9
    load = G * (0.6 + 2 * 0.5 + 3 * 0.9) + 6.0
    assert (mass + (20.0 / 0.019) ** 2 * 1e-5, load) == pytest.approx((21.7803, 48.1686), abs=6e-5)
    right, _ = passing(mass, load, 0.25, 0.0)
    assert right == pytest.approx(0.638055, abs=6e-7)
    plant = a_plant(a_robot({"lift": stages("cascade", 0.75, "6 N")}, {"coil": sheet_without_friction()}))
    assert seconds(a_move(plant, "lift", 0.75).first_inside_us()) == pytest.approx(right, abs=2e-6)


def test_picking_up_is_an_impact() -> None:
    """0.5 m/s with 9.8643 kg felt (1 kg and the rotor through 80 %) meets 6 kg: 0.310896 m/s."""
    g = 20.0 / 0.019
    felt = 1.0 + 0.8 * g**2 * 1e-5
    assert 0.5 * felt / (felt + 6.0) == pytest.approx(0.310896, abs=6e-7)
    lift = {
        "kind": "slide", "incline": "0 deg", "motors": "1 x coil", "friction": "0 N",
        "gearing": [{"ratio": 20, "efficiency": "80 %"}],
        "drum_diameter": "38 mm", "moving_mass": "1 kg", "travel": ["0 m", "5 m"],
        "control": {"loop": "full_effort", "window": "1 mm"},
    }  # fmt: skip
    plant = a_plant(a_robot({"reach": lift}, {"coil": SMALL}))
    a_move(plant, "reach", 5.0)
    plant.advance(2_000_000)
    before = plant.speed("reach")
    plant.set_payload("reach", 6.0)
    assert plant.speed("reach") / before == pytest.approx(felt / (felt + 6.0), rel=1e-9)
    plant.advance(3_000_000)
    before = plant.speed("reach")
    plant.set_payload("reach", 0.0)  # set down: its speed does not change
    assert plant.speed("reach") == before


GEAR = 20.0 / 0.019
WEIGHT = 3.2 * G


def accelerations(torque: float, way: int, efficiency: float) -> float:
    """Root of the rotor's balance with the loss (1/eta - 1)|T| against the motion."""
    loss = 1.0 / efficiency - 1.0
    rotor = GEAR**2 * 1e-5

    def lack(force: float) -> float:
        a = (force - WEIGHT) / 3.2
        return GEAR * torque - rotor * a - force - loss * abs(force) * way

    return (brentq(lack, -1e5, 1e5, xtol=1e-13) - WEIGHT) / 3.2


@pytest.mark.parametrize(
    ("torque", "way", "efficiency", "right"), [(0.15, 1, 0.8, 7.869066), (-0.05, -1, 0.8, -5.650272),
                                               (-0.05, -1, 0.4, -3.8966)]
)  # fmt: skip
def test_gears_that_lose(torque: float, way: int, efficiency: float, right: float) -> None:
    """A lift without friction of its own, its motor's torque given, driving and driven back."""
    assert accelerations(torque, way, efficiency) == pytest.approx(right, abs=6e-5)
    volts = torque * R / K  # standing: all of it is current
    lift = {
        "kind": "slide", "motors": "1 x coil",
        "gearing": [{"ratio": 20, "efficiency": f"{100 * efficiency} %"}],
        "drum_diameter": "38 mm", "moving_mass": "3.2 kg", "friction": "0 N", "travel": ["0 m", "4 m"],
        "control": {"loop": "full_effort", "window": "1 mm"},
    }  # fmt: skip
    robot = a_robot({"lift": lift}, {"coil": sheet_without_friction()}, battery=(abs(volts), 0.0))
    plant = a_plant(robot, lift=2.0)
    a_move(plant, "lift", 2.0 + way)
    plant.advance(100)  # 0.1 ms: the back-EMF is still next to nothing
    got = plant.speed("lift") / 1e-4
    damping = GEAR**2 * K**2 / R / (GEAR**2 * 1e-5)
    assert got == pytest.approx(right, rel=1e-4 * damping)


def test_force_that_leaves_the_gears() -> None:
    """0.15 N m up lift 3.2 kg with 7.869066 m/s²: the cord carries m (g + a) = 56.56229 N, by the run's own log."""
    lift = {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "80 %"}],
        "drum_diameter": "38 mm", "moving_mass": "3.2 kg", "friction": "0 N", "travel": ["0 m", "4 m"],
        "control": {"loop": "full_effort", "window": "1 mm"},
    }  # fmt: skip
    robot = a_robot({"lift": lift}, {"coil": sheet_without_friction()}, battery=(0.15 * R / K, 0.0))
    plant = a_plant(robot, lift=2.0)
    a_move(plant, "lift", 3.0)
    plant.advance(100)
    force = plant._log[0, L.LOG_MECH + L.LOG_FORCE0]
    assert force == pytest.approx(3.2 * (G + 7.869066), abs=5e-5)
    assert force == pytest.approx(56.56229, abs=5e-5)


def test_unlike_ratios_on_one_axle_circulate_current() -> None:
    """20:1 and 15:1 without load: 34.9631 rad/s, where the slower-geared motor drives the other, -1.104 and 1.472 A."""
    cart = {
        "kind": "tank", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "100 %"}],
        "wheel_diameter": "1 m", "wheelbase": "1 m", "track": "1 m", "grip": 3.0, "friction": "0 N",
        "control": {"loop": "full_effort", "window": "50 mm"},
    }  # fmt: skip

    class Both(Models):
        def get(self, *what: Any, **more: Any) -> Built:
            built = super().get(*what, **more)
            groups = np.vstack((built.groups, built.groups))
            groups[1, L.G_RATIO] *= 15.0 / 20.0
            groups[:, L.G_HI] = inf
            return replace(built, groups=groups)

    robot = a_robot({"it": cart}, {"coil": sheet_without_friction()}, mass="1 kg")
    start = Start(Pose(0.0, 0.0, 0.0), {}, {})
    plant = Plant(robot, robot.battery[0], start, 20_000_000, models=Both(robot))
    plant.command("it", DriveTo(Pose(1000.0, 0.0, 0.0)))
    plant.advance(20_000_000)
    assert plant.speed("it") / 0.5 == pytest.approx(34.9631, abs=1e-4)
    assert plant.speed("it") / 0.5 == pytest.approx(12.0 * 35.0 / (K * (20.0**2 + 15.0**2)), rel=1e-6)
    g = int(plant.arrays.w[plant.arrays.at["it"] + L.GRP])
    amps = [plant.arrays.w[g + k * L.GROUP_SIZE + L.G_I] for k in range(2)]
    assert amps == pytest.approx([-1.104, 1.472], abs=5e-4)


def test_stages_drive_back_one_by_one() -> None:
    """Five stages of 87 % return 0.445 of the torque, though the formula on the whole says that they lock."""
    five = chain(tuple(GearStage(2.0, 0.87, None) for _ in range(5)))
    assert five.forward == pytest.approx(0.87**5)
    assert five.back == pytest.approx((2.0 - 1.0 / 0.87) ** 5)
    assert five.back == pytest.approx(0.445, abs=5e-4) and not five.locks
    assert back_efficiency(five.forward) < 0.0
    two = chain(
        (GearStage(2.0, 0.4, None), GearStage(2.0, 0.4, None))
    )  # two that lock do not make one that does not
    assert two.locks and two.back <= 0.0


def test_band_of_rest() -> None:
    """A lift at rest stays where the motor's torque lies between what holds it and what lifts it."""
    low, high = WEIGHT * 0.75 / GEAR, WEIGHT / 0.8 / GEAR
    assert (low, high) == pytest.approx((0.022359, 0.037265), abs=6e-7)
    lift = {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "80 %"}],
        "drum_diameter": "38 mm", "moving_mass": "3.2 kg", "friction": "0 N", "travel": ["0 m", "1 m"],
        "control": {"loop": "full_effort", "window": "1 mm"},
    }  # fmt: skip
    for torque, way in ((0.99 * low, -1), (1.01 * low, 0), (0.99 * high, 0), (1.01 * high, 1)):
        robot = a_robot({"lift": lift}, {"coil": sheet_without_friction()}, battery=(torque * R / K, 0.0))
        plant = a_plant(robot, lift=0.5)
        a_move(plant, "lift", 0.9)
        plant.advance(200_000)
        moved = float(plant.position("lift")) - 0.5
        assert np.sign(moved) == way, torque


def test_internal_gears_of_a_gearmotor() -> None:
    """A rotor behind 19.2:1 is felt at the output as 19.2² times its own inertia."""
    plain = motor_model(a_sheet(12.0, 312 * RPM, 0.25, None, 9.2, 8e-6, internal_ratio=19.2))
    assert plain.rotor_inertia == pytest.approx(8e-6 * 368.64)


def test_losses_of_a_block_and_tackle() -> None:
    """Four parts, plain sheaves of 0.917: mechanical advantage E (1 - E^n)/(1 - E) = 3.25, 1000 lb for 3250 lb.

    Source: Pipeline Rules of Thumb Handbook, hoisting (read; it rounds: exactly 3.2361, hence 0.5 %). A tackle is
    typed as a stage of ratio n with the efficiency advantage/n.
    """
    advantage = 0.917 * (1.0 - 0.917**4) / (1.0 - 0.917)
    assert advantage == pytest.approx(3.25, rel=5e-3) and 3250.0 / advantage == pytest.approx(
        1000.0, rel=5e-3
    )
    pull = 1000.0 * 0.45359237 * G  # what the motor's drum brings on the cord when it stalls [N]
    motor = {"voltage": "12 V", "free_speed": "100 rpm", "free_current": "0 A", "stall_torque": f"{pull * 0.05!r} N*m",
             "rotor_inertia": "1e-15 kg*m^2", "internal_ratio": 1, "source": "illustrative"}  # fmt: skip
    for pounds, lifts in ((3250.0 * 0.99, True), (3250.0 * 1.001, False)):
        winch = {"kind": "winch", "motors": "1 x m", "gearing": [{"ratio": 4, "efficiency": f"{25 * advantage!r} %"}],
                 "drum_diameter": "100 mm", "load": f"{pounds * 0.45359237 * G!r} N", "travel": ["0 m", "1 m"],
                 "friction": "0 N", "control": {"loop": "full_effort", "window": "1 mm"}}  # fmt: skip
        plant = a_plant(a_robot({"it": winch}, {"m": motor}, (12.0, 0.0)), it=0.2)
        assert (a_move(plant, "it", 0.21).first_inside_us() is not None) == lifts
