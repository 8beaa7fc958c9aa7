"""Springs, detents and ratchets against integrations and closed forms written here; derived."""

from __future__ import annotations

from math import cos, radians, sin, sqrt

import numpy as np
import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot, seconds, winding
from scipy.integrate import quad, solve_ivp

from simbot.physics import layout as L
from simbot.physics.build import Models
from simbot.physics.move import PushFor
from simbot.physics.springs import BALANCE, ELASTIC, balance, elastic
from simbot.physics.tables import Reduced
from simbot.scenario.errors import ScenarioError

# R 0.45 ohm, k 0.0185, 1000 rad/m, 2.5 kg and a rotor felt as 24 kg, 3 N s/m, a stiff 12 V
MOTOR = winding(0.45, 0.0185, 2.4e-5)
FORCE, SLOPE, MASS, WEIGHT = 1000 * 0.0185 * 12 / 0.45, 1e6 * 0.0185**2 / 0.45 + 3.0, 26.5, 2.5 * G


def slide(**more: object) -> Words:
    return {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "100 %"}],
        "drum_diameter": "40 mm", "moving_mass": "2.5 kg", "damping": "3 N*s/m", "friction": "0 N",
        "travel": ["0 m", "0.6 m"],
        "control": {"loop": "full_effort", "window": "1 mm", "after": "coast"}, **more,
    }  # fmt: skip


LOOSE = {"loop": "full_effort", "window": "1 m", "after": "coast"}  # no control wakes up when it falls


def arm(**more: object) -> Words:
    return {
        "kind": "arm", "motors": "1 x coil", "gearing": [{"ratio": 60, "efficiency": "100 %"}],
        "moving_mass": "1.2 kg", "centre": "0.3 m", "friction": "0 N*m", "travel": ["-80 deg", "170 deg"],
        "control": {"loop": "full_effort", "window": "90 deg", "after": "coast"}, **more,
    }  # fmt: skip


def reduced(mechanism: Words) -> Reduced:
    return Models(a_robot({"it": mechanism}, {"coil": MOTOR})).get("it").reduced


def load_at(whole: Reduced, q: float) -> float:
    """Load by the cubic on each cell, as the integrator reads it; written here from its definition."""
    segment = next(each for each in whole.segments if q <= each.high)
    if segment.knots is None:
        return segment.load
    cells = len(segment.knots) - 1
    h = (segment.high - segment.low) / cells
    cell = min(int((q - segment.low) / h), cells - 1)
    u = (q - segment.low) / h - cell
    (y0, d0), (y1, d1) = segment.knots[cell : cell + 2, L.TAB_Q : L.TAB_DQ + 1]
    basis = ((1 + 2 * u) * (1 - u) ** 2, u * (1 - u) ** 2, u**2 * (3 - 2 * u), u**2 * (u - 1))
    return float(np.dot(basis, (y0, h * d0, y1, h * d1)))


def time_up(push: float, spring, distance: float) -> float:  # type: ignore[no-untyped-def]
    """Full effort from rest against weight, with `spring(q)` helping; high-accuracy integration."""

    def there(_t: float, y: list[float]) -> float:
        return y[0] - distance

    there.terminal = True  # type: ignore[attr-defined]
    right = solve_ivp(
        lambda _t, y: [y[1], (push - SLOPE * y[1] - WEIGHT + spring(y[0])) / MASS], (0.0, 9.0), [0.0, 0.0],
        events=there, rtol=1e-11, atol=1e-13, method="DOP853", max_step=0.01,
    )  # fmt: skip
    return float(right.t_events[0][0])


def measured(volts: float, **more: object) -> float:
    robot = a_robot({"lift": slide(**more)}, {"coil": MOTOR}, (volts, 0.0))
    return seconds(a_move(a_plant(robot, tolerance=1e-9), "lift", 0.6).first_inside_us())


def test_constant_force_spring_keeps_a_segment_constant() -> None:
    """8 N less weight and 1 N more friction, nothing else: the same as a lift of that load and friction."""
    springs = [{"constant_force": {"force": "8 N", "friction": "1 N"}}]
    (segment,) = reduced(slide(springs=springs)).segments
    assert segment.knots is None
    assert segment.load == pytest.approx(WEIGHT - 8.0)
    assert segment.friction == segment.static == pytest.approx(1.0)
    push = FORCE * 3.0 / 12.0
    assert measured(3.0, springs=springs) == pytest.approx(
        time_up(push, lambda q: 8.0 - 1.0, 0.6), abs=1.1e-6
    )


def test_elastic_band_helps_and_keeps_what_it_loses() -> None:
    """60 N/m, slack from 0.5 m up, 20 % lost: on its way back the band gives 0.8 k x."""
    band = {"stiffness": "60 N/m", "slack_until": "0.5 m", "stretched": "below", "loss": "20 %"}
    right = time_up(FORCE * 3.0 / 12.0, lambda q: 0.8 * 60.0 * max(0.5 - q, 0.0), 0.6)
    alone = time_up(FORCE * 3.0 / 12.0, lambda q: 0.0, 0.6)
    got = measured(3.0, springs=[{"elastic": band}])
    assert alone - right > 0.1
    assert got == pytest.approx(right, rel=2e-5)  # the loss is a friction constant on each of its pieces


def test_elastic_band_that_is_stretched_takes_its_full_pull() -> None:
    band = {"stiffness": "60 N/m", "slack_until": "0.1 m", "loss": "20 %"}
    right = time_up(FORCE * 4.0 / 12.0, lambda q: -60.0 * max(q - 0.1, 0.0), 0.6)
    assert measured(4.0, springs=[{"elastic": band}]) == pytest.approx(right, rel=2e-5)


@pytest.mark.parametrize("loss", [0.0, 0.15, 0.5])
def test_elastic_loss_is_the_share_of_the_work(loss: float) -> None:
    """Force over the way there and back, piece by piece: the loop holds `loss` of the work of stretching."""
    band = {"stiffness": "80 N/m", "slack_until": "0.12 m", "loss": f"{100 * loss} %"}
    whole = reduced(slide(incline="0 deg", springs=[{"elastic": band}]))
    work = 0.5 * 80.0 * 0.48**2
    edges = [segment.low for segment in whole.segments] + [0.6]
    assert edges == sorted(edges)
    mean = sum(quad(lambda q: load_at(whole, q), s.low, s.high)[0] for s in whole.segments)
    rub = sum((s.friction or 0.0) * (s.high - s.low) for s in whole.segments)
    assert mean + rub == pytest.approx(work, rel=1e-9)
    assert mean - rub == pytest.approx((1.0 - loss) * work, rel=1e-9)
    assert whole.segments[0].friction in (None, 0.0) and load_at(whole, 0.1) == 0.0


def test_default_loss_and_its_remark() -> None:
    assert ELASTIC.block[-1].default == 0.15 and BALANCE.block[-1].default == 0.0
    with_default = reduced(slide(springs=[{"elastic": {"stiffness": "80 N/m", "slack_until": "0 m"}}]))
    rub = sum((s.friction or 0.0) * (s.high - s.low) for s in with_default.segments)
    assert 2.0 * rub == pytest.approx(0.15 * 0.5 * 80.0 * 0.6**2)


def test_gas_spring() -> None:
    """30 N at 0 m that falls by 20 N/m as it comes out, 2 N of its own friction."""
    springs = [{"gas": {"force": "30 N", "at": "0 m", "rise": "20 N/m", "friction": "2 N"}}]
    right = time_up(FORCE * 3.0 / 12.0, lambda q: 30.0 - 20.0 * q - 2.0, 0.6)
    assert measured(3.0, springs=springs) == pytest.approx(right, abs=2e-6)


@pytest.mark.parametrize("share", [1.0, 0.98])
def test_zero_length_spring_balances_at_every_angle(share: float) -> None:
    """k = m g c/(a l): no torque anywhere, and it stays where it is put; 2 % less and it sinks."""
    stiffness = share * 1.2 * G * 0.3 / (0.25 * 0.2)
    spring = {"stiffness": f"{stiffness!r} N/m", "anchor": "0.25 m", "attached": "0.2 m"}
    mechanism = arm(springs=[{"balance": spring}])
    whole = reduced(mechanism)
    for angle in np.linspace(-1.3, 2.9, 40):
        left = 1.2 * G * 0.3 * (1.0 - share) * cos(angle)
        assert load_at(whole, float(angle)) == pytest.approx(left, abs=2e-8)
    for angle in (-1.0, 0.3, 1.1):
        robot = a_robot({"it": {**mechanism, "holding_brake": False}}, {"coil": winding(1.0, 0.02, 1e-6)})
        plant = a_plant(robot, it=angle)
        plant.advance(1_000_000)
        fell = angle - float(plant.position("it"))
        assert abs(fell) < 1e-6 if share == 1.0 else fell > 1e-3


def test_spring_between_two_points_is_the_slope_of_its_energy() -> None:
    keys = {
        "stiffness": 400.0, "free_length": 0.14, "anchor": 0.25, "attached": 0.18, "anchor_angle": 1.9, "loss": 0.0,
    }  # fmt: skip

    def energy(q: float) -> float:
        length = sqrt((0.25 * cos(1.9) - 0.18 * cos(q)) ** 2 + (0.25 * sin(1.9) - 0.18 * sin(q)) ** 2)
        return 200.0 * max(length - 0.14, 0.0) ** 2

    spring = balance(keys)
    for q in (-1.0, 0.2, 1.0, 1.7, 2.4):
        force, slope = (float(each[0]) for each in spring.pull(np.array([q])))
        assert force == pytest.approx((energy(q + 1e-5) - energy(q - 1e-5)) / 2e-5, abs=1e-6)
        bend = (energy(q + 1e-3) - 2.0 * energy(q) + energy(q - 1e-3)) / 1e-6
        assert slope == pytest.approx(bend, abs=2e-3)
        assert float(spring.energy(np.array([q]))[0]) == pytest.approx(energy(q))


def test_spring_on_a_servo() -> None:
    """A band on the horn, 0.3 N m/rad from 30 deg on: at 70 deg it asks 0.2094 N m."""
    servo: Words = {
        "kind": "servo", "speed": "0.12 s/60deg", "at": "6 V", "stall_torque": "1 N*m",
        "travel": ["0 deg", "180 deg"],
        "springs": [{"elastic": {"stiffness": "0.3 N*m/rad", "slack_until": "30 deg", "loss": "0 %"}}],
    }  # fmt: skip
    assert load_at(reduced(servo), radians(70.0)) == pytest.approx(0.3 * radians(40.0))
    assert load_at(reduced(servo), radians(20.0)) == 0.0


def test_a_table_that_is_cut_stays_the_same() -> None:
    """Cuts in an arm's table: the same weight and inertia as uncut, and no step of inertia at a cut."""
    whole, cut = (
        reduced(arm(detents=detents))
        for detents in ([], [{"position": "31 deg", "width": "7 deg", "static_friction": "1 N*m"}])
    )
    assert [len(each.segments) for each in (whole, cut)] == [1, 3]
    for q in np.linspace(radians(-80.0), radians(170.0), 200):
        assert load_at(cut, float(q)) == pytest.approx(1.2 * G * 0.3 * cos(q), abs=1e-7)
    assert {segment.mass for segment in cut.segments} == {whole.segments[0].mass}
    assert all(
        np.allclose(segment.knots[:, L.TAB_M], whole.segments[0].mass)
        for segment in cut.segments
        if segment.knots is not None
    )


@pytest.mark.parametrize(("share", "moves"), [(0.99, False), (1.01, True)])
def test_a_detent_has_to_be_pulled_out_of(share: float, moves: bool) -> None:
    """Friction 4 N, 10 N more at rest in the detent: 14 N to leave it, 4 N beside it."""
    reach = slide(
        incline="0 deg", friction="4 N", damping="0 N*s/m",
        detents=[{"position": "0.3 m", "width": "10 mm", "static_friction": "10 N"}],
    )  # fmt: skip
    volts = share * 14.0 * 0.45 / (1000.0 * 0.0185)
    robot = a_robot({"reach": reach}, {"coil": MOTOR}, (volts, 0.0))
    inside, beside = a_plant(robot, reach=0.3), a_plant(robot, reach=0.2)
    for plant in (inside, beside):
        plant.command("reach", PushFor(1.0, 0.6, 100_000))
        plant.advance(100_000)
    assert (inside.position("reach") > 0.3) is moves
    assert beside.position("reach") > 0.2


def test_a_ratchet_lets_it_fall_to_the_last_tooth() -> None:
    """Teeth every 50 mm from 0.1 m: let go at 0.33 m it falls to 0.30 m and rests; below 0.1 m it is free."""
    teeth = {"pitch": "50 mm", "from": "0.1 m"}
    for start, rest in ((0.33, 0.3), (0.06, 0.0)):
        robot = a_robot({"lift": slide(ratchet=teeth, control=LOOSE)}, {"coil": MOTOR})
        plant = a_plant(robot, lift=start)
        plant.advance(3_000_000)
        assert plant.position("lift") == pytest.approx(rest, abs=1e-12)
        assert plant.speed("lift") == 0.0


def test_a_ratchet_catches_on_the_way_up_and_holds_against_full_effort() -> None:
    """A band's pieces lie within the teeth: the tooth passed last still holds, also after a pick-up there."""
    lift = slide(
        ratchet={"pitch": "200 mm"},
        springs=[{"elastic": {"stiffness": "40 N/m", "slack_until": "0 m"}}],
    )  # fmt: skip
    plant = a_plant(a_robot({"lift": lift}, {"coil": MOTOR}), lift=0.0)
    plant.command("lift", PushFor(1.0, 0.6, 600_000, "coast"))
    plant.advance(600_000)
    top = float(plant.position("lift"))
    assert 0.3 < top < 0.4
    plant.set_payload("lift", 1.0)
    move = a_move(plant, "lift", 0.0)
    plant.advance(5_000_000)
    assert plant.position("lift") == pytest.approx(0.2, abs=1e-12)
    assert move.arrival_us() is None


def test_a_spring_does_not_slow_the_floor_below_the_arrival() -> None:
    band = {"stiffness": "40 N/m", "slack_until": "0.1 m"}
    lift = slide(
        springs=[{"elastic": band}, {"constant_force": {"force": "5 N ± 10 %"}}],
        control={"loop": "position", "p": "20 /m", "window": "5 mm", "slower_than": "50 mm/s"},
    )  # fmt: skip
    move = a_move(a_plant(a_robot({"lift": lift}, {"coil": MOTOR})), "lift", 0.4)
    arrival, floor = seconds(move.arrival_us()), move.floor_s()
    assert floor is not None and 0.2 < floor <= arrival


def test_elastic_slope_at_its_mark() -> None:
    """Where two pieces meet each has its own side's slope."""
    spring = elastic({"stiffness": 5.0, "slack_until": 1.0, "stretched": "above", "loss": 0.0})
    assert spring.pull(np.array([1.0, 1.5, 2.0]))[1].tolist() == [5.0, 5.0, 5.0]
    assert spring.pull(np.array([0.0, 0.5, 1.0]))[1].tolist() == [0.0, 0.0, 0.0]


MISTAKES = [
    ({"springs": [{"rubber": {"force": "1 N"}}]}, ["'rubber'", "elastic"]),
    ({"springs": [{"balance": {"stiffness": "1 N/m", "anchor": "1 m", "attached": "1 m"}}]}, ["'balance'"]),
    ({"springs": [{"elastic": {"stifness": "5 N/m", "slack_until": "0 m"}}]}, ["'stifness'", "'stiffness'"]),
    ({"springs": [{"elastic": {"stiffness": "5 N", "slack_until": "0 m"}}]}, ["'5 N'", "N/m"]),
    ({"springs": [{"gas": {"force": "9 N", "at": "0 m", "rise": "20 N/m"}}]}, ["'20 N/m'", "direction"]),
    ({"springs": {"elastic": {}}}, ["a list is wanted"]),
    ({"springs": [{}]}, ["one kind", "elastic"]),
    ({"detents": [{"position": "2 m", "width": "1 mm", "static_friction": "1 N"}]}, ["'2 m'", "0.6 m"]),
    ({"ratchet": {"pitch": "1 mm"}}, ["'1 mm'", "200 teeth"]),
    ({"ratchet": {"pitch": "9 mm", "from": "0.7 m"}}, ["'0.7 m'", "0 m to 0.6 m"]),
]


@pytest.mark.parametrize(("keys", "words"), MISTAKES)
def test_mistakes_in_forces(keys: Words, words: list[str]) -> None:
    with pytest.raises(ScenarioError) as caught:
        a_robot({"lift": slide(**keys)}, {"coil": SMALL})
    assert len(caught.value.problems) == 1
    for word in words:
        assert word in str(caught.value)


def test_the_number_of_segments_does_not_depend_on_the_payload() -> None:
    springs = [{"elastic": {"stiffness": "40 N/m", "slack_until": "0 m"}}]
    models = Models(a_robot({"it": slide(springs=springs)}, {"coil": MOTOR}))
    counts = {len(models.get("it", payload).reduced.segments) for payload in (0.0, 0.3, 2.0)}
    assert counts == {24}
