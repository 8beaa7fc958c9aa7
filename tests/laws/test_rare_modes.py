"""Modes that meet rarely: locking gears on a slack cord, limits on a bus that recovers, wheels that stand still."""

from __future__ import annotations

from math import cos, exp, log, pi, sin, sqrt

import numpy as np
import pytest
from builders import LARGE, G, Words, a_plant, a_robot, winding

from simbot.physics import layout as L
from simbot.physics.build import Models
from simbot.physics.events import lowest_between, stays_above
from simbot.physics.move import DriveTo, GoTo, PushFor, Spin
from simbot.physics.record import state_at
from simbot.physics.strain import hits
from simbot.scenario.model import Pose

# invented data
GEARMOTOR: Words = {
    "voltage": "12 V", "free_speed": "330 rpm", "free_current": "0.35 A", "stall_torque": "2.35 N*m",
    "stall_current": "9.4 A", "rotor_inertia": "8e-6 kg*m^2", "internal_ratio": 18, "source": "illustrative",
}  # fmt: skip
FULL: Words = {"loop": "full_effort", "window": "10 mm"}


def winch(ratio: float, efficiency: int) -> Words:
    return {
        "kind": "winch", "motors": "1 x gm", "gearing": [{"ratio": ratio, "efficiency": f"{efficiency} %"}],
        "drum_diameter": "30 mm", "load_mass": "1 kg", "travel": ["0 m", "0.5 m"], "friction": "1 N", "control": FULL,
    }  # fmt: skip


@pytest.mark.parametrize("efficiency", [40, 45, 49, 50, 60])
@pytest.mark.parametrize("ratio", [1, 2, 3, 5])
def test_a_worm_pays_out_and_winds_in_whether_its_cord_hangs_slack_or_not(
    ratio: int, efficiency: int
) -> None:
    robot = a_robot({"lift": winch(ratio, efficiency)}, {"gm": GEARMOTOR}, (13.0, 0.16))
    plant = a_plant(robot, 20.0, lift=0.0)
    up = plant.command("lift", GoTo(0.2))
    above = up.arrival_us()
    assert above is not None
    turned = plant.tick_at_or_after(above)
    plant.advance(turned)
    speed = plant.speed("lift")
    down = plant.command("lift", GoTo(0.0))
    below = down.arrival_us()
    assert below is not None and plant._rows < 2000
    for move, arrival in ((up, above), (down, below)):
        floor = move.floor_s()
        assert floor is not None and round(floor * 1e6) <= arrival - move.start_us
    # reversed on its way up, the motor runs ahead of the load, which the slack cord leaves to its weight
    if ratio <= 2 and speed > 0.1:
        plant.advance(turned + 5_000)
        assert plant.speed("lift") == pytest.approx(speed - (G + 1.0) * 0.005, rel=1e-7)  # of the integrator


@pytest.mark.parametrize("ohms", [0.6, 1.0, 1.2, 1.5])
def test_what_rests_below_its_current_limit_rests_while_the_bus_recovers(ohms: float) -> None:
    """Its current is volts over its winding until that is the limit; no step is wasted on it."""
    lift: Words = {
        "kind": "slide", "motors": "1 x gm", "gearing": [], "current_limit": "2 A", "drum_diameter": "50 mm",
        "moving_mass": "1.6 kg", "friction": "5 N", "travel": ["0 m", "0.6 m"], "control": FULL,
    }  # fmt: skip
    drive: Words = {
        "kind": "mecanum", "motors": "4 x gm", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "360 mm",
        "grip": 0.8, "friction": "8 N",
        "control": {"loop": "position", "p": "6 /m", "d": "0.8 s/m", "window": "20 mm", "slower_than": "60 mm/s"},
    }  # fmt: skip
    robot = a_robot({"drive": drive, "lift": lift}, {"gm": GEARMOTOR}, (13.0, ohms), mass="10 kg")
    plant = a_plant(robot, 10.0, pose=Pose(0.6, 1.8, 0.0), lift=0.0)
    plant.command("lift", GoTo(0.45))
    plant.advance(300_000)
    plant.command("drive", DriveTo(Pose(2.6, 1.8, 0.0)))
    w, group = plant.arrays.w, int(plant.arrays.w[plant.arrays.at["lift"] + L.GRP])
    for at in range(310_000, 3_000_000, 50_000):
        plant.advance(at)
        plant._return_to_now()
        assert w[group + L.G_I] <= 2.0 + 1e-9
    plant.advance(5_000_000)
    assert plant._rows < 3000 and plant.position("lift") == 0.0


def test_wheels_that_stand_still_count_for_nothing() -> None:
    """Exactly along the rollers two wheels turn: what they weigh there is the limit of directions close by."""
    drive: Words = {
        "kind": "mecanum", "motors": "4 x gm", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "360 mm",
        "grip": 0.8, "wheel_inertia": "4e-3 kg*m^2",
        "control": {"loop": "position", "p": "6 /m", "window": "20 mm"},
    }  # fmt: skip
    models = Models(a_robot({"drive": drive}, {"gm": GEARMOTOR}))
    near, there = (
        models.get("drive", 0.0, angle).groups[:, L.G_WHEEL].sum() for angle in (pi / 4 - 1e-5, pi / 4)
    )
    # two wheels of the radius r that turn sqrt(2) v/r: 2 J (sqrt(2)/r)^2
    assert there == pytest.approx(2 * 4e-3 * 2 / 0.048**2, rel=1e-12)
    assert near == pytest.approx(there, rel=1e-4)


def test_the_energy_of_a_hit_is_that_of_what_was_carried_then() -> None:
    lift: Words = {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 4, "efficiency": "90 %"}], "incline": "0 deg",
        "drum_diameter": "40 mm", "moving_mass": "1 kg", "travel": ["0 m", "0.4 m"], "control": FULL,
    }  # fmt: skip
    plant = a_plant(a_robot({"lift": lift}, {"coil": LARGE}, (12.0, 0.1)), 5.0, lift=0.0)
    plant.advance(100_000)
    plant.set_payload("lift", 0.7)
    plant.command("lift", GoTo(0.4))
    plant.advance(3_000_000)
    (at, speed, energy), *_ = hits(plant, "lift")
    plant.set_payload("lift", 0.0)
    plant.advance(4_000_000)
    group = plant._built("lift").groups[0]
    rotor = group[L.G_RATIO] ** 2 * group[L.G_N] * group[L.G_J]
    assert energy == pytest.approx(0.5 * (1.7 + rotor) * speed**2, rel=1e-12)
    assert hits(plant, "lift")[0] == (at, speed, energy)


@pytest.mark.parametrize("kind", ["mecanum", "x_drive"])
@pytest.mark.parametrize("back", [-20, -50, -80])
def test_wheels_whose_gears_lock_slide_while_they_brake(kind: str, back: int) -> None:
    """Braked as hard as can be, what decides is the grip, whether the gears would return a little or nothing."""

    def floor(returned: int) -> float:
        gears = [{"ratio": 1.4, "efficiency": "60 %", "back_efficiency": f"{returned} %"}]
        drive: Words = {
            "kind": kind, "motors": "4 x gm", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "340 mm",
            "grip": 0.8, "friction": "8 N", "gearing": gears, "control": {**FULL, "window": "25 mm"},
            "turn": {"p": "4 /rad", "d": "0.3 s/rad", "window": "3 deg", "slower_than": "30 deg/s"},
        }  # fmt: skip
        robot = a_robot({"drive": drive}, {"gm": GEARMOTOR}, (12.3, 0.3), mass="12 kg")
        plant = a_plant(robot, 6.0, 1e-9, pose=Pose(1.0, 1.0, 0.0))
        move = plant.command("drive", DriveTo(Pose(1.0, 1.0, 3.0)))
        found, arrival = move.floor_s(), move.arrival_us()
        assert found is not None and arrival is not None and found <= arrival * 1e-6
        return found

    assert floor(back) == pytest.approx(floor(20), rel=1e-8)


@pytest.mark.parametrize("kind", ["mecanum", "x_drive"])
@pytest.mark.parametrize("efficiency", [20, 40])
@pytest.mark.parametrize("way", [(2.0, 0.1), (2.0, 0.2), (0.3, 2.0)])
def test_pairs_of_wheels_that_turn_unlike_and_return_nothing(
    kind: str, efficiency: int, way: tuple[float, float]
) -> None:
    """Askew, gears that lock: one pair is dragged by its motors, the other drives; near to a little given back."""

    def arrival(returned: float) -> int:
        gears = [{"ratio": 1, "efficiency": f"{efficiency} %", "back_efficiency": f"{returned} %"}]
        drive: Words = {
            "kind": kind, "motors": "4 x gm", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "340 mm",
            "grip": 0.8, "friction": "8 N", "gearing": gears,
            "control": {"loop": "position", "p": "6 /m", "d": "0.8 s/m", "window": "25 mm", "slower_than": "80 mm/s"},
        }  # fmt: skip
        robot = a_robot({"drive": drive}, {"gm": GEARMOTOR}, (13.0, 0.1), mass="12 kg")
        plant = a_plant(robot, 6.0, 1e-9, pose=Pose(1.0, 1.0, 0.0))
        move = plant.command("drive", DriveTo(Pose(1.0 + way[0], 1.0 + way[1], 0.0)))
        plant.advance(6_000_000)
        there, floor = move.arrival_us(), move.floor_s()
        assert plant._rows < 200 and there is not None and floor is not None and floor <= there * 1e-6
        return there

    assert arrival(-50.0) == pytest.approx(arrival(0.001), abs=5) == pytest.approx(arrival(0.1), rel=1e-3)


@pytest.mark.parametrize(
    ("kind", "degrees"), [("x_drive", 3), ("x_drive", 84), ("mecanum", 39), ("mecanum", 42)]
)
def test_wheels_that_slide_and_stand_by_turns_on_a_weak_battery(kind: str, degrees: int) -> None:
    """Braked as hard as can be each pair has its own effort; creeping to its rest, one slips and the other does not."""
    motor: Words = {
        "voltage": "12 V", "free_speed": "320 rpm", "free_current": "0.3 A", "stall_current": "9 A",
        "rotor_inertia": "9e-6 kg*m^2", "internal_ratio": 19, "source": "illustrative",
    }  # fmt: skip
    drive: Words = {
        "kind": kind, "motors": "4 x gm", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "340 mm",
        "grip": 0.8, "friction": "8 N", "gearing": [{"ratio": 1, "efficiency": "90 %"}],
        "control": {"loop": "position", "p": "6 /m", "d": "0.8 s/m", "window": "25 mm", "slower_than": "80 mm/s"},
    }  # fmt: skip
    robot = a_robot({"drive": drive}, {"gm": motor}, (12.0, 0.55), mass="12 kg")
    plant = a_plant(robot, 6.0, 1e-9, pose=Pose(1.0, 1.0, 0.0))
    way = degrees * pi / 180.0
    move = plant.command("drive", DriveTo(Pose(1.0 + cos(way), 1.0 + sin(way), 0.0)))
    plant.advance(6_000_000)
    arrival, floor = move.arrival_us(), move.floor_s()
    assert plant._rows < 2000 and arrival is not None and floor is not None
    assert 0.5 < floor <= arrival * 1e-6


@pytest.mark.parametrize("slower", [None, "2 m/s"])
def test_no_floor_of_a_way_through_points_is_above_its_arrival(slower: str | None) -> None:
    control: Words = {"loop": "position", "p": "30 /m", "d": "1 s/m", "window": "20 mm"}
    if slower:
        control["slower_than"] = slower
    drive: Words = {
        "kind": "mecanum", "motors": "4 x gm", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "360 mm",
        "grip": 0.8, "friction": "8 N", "control": control,
    }  # fmt: skip
    plant = a_plant(a_robot({"drive": drive}, {"gm": GEARMOTOR}, (13.0, 0.1)), 20.0, pose=Pose(1.0, 1.0, 0.0))
    points = tuple((1.0 + 0.4 * k, 1.0) for k in range(1, 5))
    move = plant.command("drive", DriveTo(Pose(3.0, 1.0, 0.0), points))
    arrival, floor = move.arrival_us(), move.floor_s()
    assert arrival is not None and floor is not None and floor * 1e6 <= arrival


@pytest.mark.parametrize("lasts", [20.0, 20.3, 23.0])
def test_what_hunts_never_arrives_however_long_the_match_is(lasts: float) -> None:
    """Full effort without a brake sinks and jumps back for ever; where the match ends is no arrival."""
    lift: Words = {
        "kind": "slide", "motors": "1 x gm", "gearing": [], "drum_diameter": "50 mm", "moving_mass": "1.6 kg",
        "friction": "5 N", "travel": ["0 m", "0.6 m"], "control": {"loop": "full_effort", "window": "12 mm"},
    }  # fmt: skip
    plant = a_plant(a_robot({"lift": lift}, {"gm": GEARMOTOR}, (13.0, 0.16)), lasts, lift=0.0)
    move = plant.command("lift", GoTo(0.4))
    assert move.arrival_us() is None and move.first_inside_us() is not None
    assert move.reason() == "it leaves its window again and again"


def test_what_a_servo_draws_as_it_leans_on_its_dead_band_is_what_the_battery_gives() -> None:
    """Alone on the battery: its own current is the battery's, but for the sag between the two ways to hold."""
    servo = {
        "kind": "servo", "speed": "0.16 s/60deg", "at": "6 V", "stall_torque": "1.8 N*m", "stall_current": "1.5 A",
        "travel": ["0 deg", "180 deg"], "friction": "3 %", "load_mass": "0.2 kg", "load_at": "0.1 m",
        "load_angle": "0 deg", "dead_band": "0.7 deg",
    }  # fmt: skip
    plant = a_plant(a_robot({"it": servo}, {}, (6.0, 0.1)), it=0.1)
    plant.command("it", GoTo(0.7))
    plant.advance(2_000_000)
    w, m = plant.arrays.w, plant.arrays.at["it"]
    assert w[m + L.PINNED] == 1.0
    assert w[L.I] > 0.01
    assert w[m + L.CURRENT] == pytest.approx(w[L.I], rel=2e-3)


def test_power_that_turns_round_and_back_within_a_step_is_seen() -> None:
    """A crank near its dead centre, whose gears are driven for a moment of a step; against a thousand times tighter."""
    crank: Words = {
        "kind": "slider_crank", "crank": "20 mm", "coupler": "52.74344 mm", "offset": "0 mm",
        "incline": "78.580479 deg", "slider_mass": "0.648965 kg", "load": "-12.791761 N",
        "parts": [{"link": "crank", "mass": "0.053169 kg"}],
        "friction": "0.023613 N*m", "travel": ["-20 deg", "220 deg"], "motors": "1 x gm",
        "gearing": [{"ratio": "1.5:1", "efficiency": "92.811417 %"}],
        "control": {"loop": "full_effort", "window": "0.024313 rad", "after": "brake"},
    }  # fmt: skip
    sheet = {key: value for key, value in GEARMOTOR.items() if key != "stall_torque"}
    robot = a_robot({"crank": crank}, {"gm": sheet}, (12.923869695857748, 0.0523164092463383))
    courses = []
    for tolerance in (1e-8, 1e-11):
        plant = a_plant(robot, 6.0, tolerance, crank=0.95)
        plant.command("crank", GoTo(0.0))
        plant.advance(4_000_000)
        log = plant._log[: plant._rows]
        courses.append([state_at(log, len(log), 0, 0.02 * k)[0] for k in range(1, 196)])
    assert courses[0] == pytest.approx(courses[1], abs=2e-7)


RAILS: Words = {"servos": {"voltage": "6 V", "current_limit": "5 A", "regulator": "switching"}}
STALL, FREE = 1.5, 8.0  # of a servo at 6 V [N m, rad/s]


def servo(**more: object) -> Words:
    return {
        "kind": "servo", "speed": f"{FREE} rad/s", "stall_torque": f"{STALL} N*m", "at": "6 V", "rail": "servos",
        "travel": ["0 rad", "2.5 rad"], "rotor_time": "40 ms", "friction": "4 %", "stall_current": "2 A", **more,
    }  # fmt: skip


PULLED = {"springs": [{"constant_force": {"force": "4 N*m"}}]}


def fall_of_what_is_pulled(way: float) -> tuple[float, float]:
    """Instant and speed at the end of a way from rest, with open leads: all but friction speeds up the rotor."""
    a = (4.0 - 0.04 * STALL) / (0.040 * STALL / FREE)
    return sqrt(2.0 * way / a), sqrt(2.0 * way * a)


def test_a_servo_with_open_leads_on_a_rail_gives_nothing_back_however_fast_it_is_turned() -> None:
    """A regulator lets no current back: its rail rises with the servo, above the battery's own volts too."""
    plant = a_plant(a_robot({"it": servo(**PULLED)}, {}, (12.0, 0.1), rails=RAILS), it=0.0)
    plant.command("it", PushFor(0.0, 0.0, 0, "coast"))
    lasts, speed = fall_of_what_is_pulled(2.5)
    assert 6.0 * speed / FREE > 1.5 * 12.0  # its back-EMF [V]
    plant.advance(round(1e6 * lasts) - 10)
    assert plant.speed("it") == pytest.approx(speed, rel=1e-3)
    plant.advance(1_000_000)
    assert [hit[:2] for hit in hits(plant, "it")] == [pytest.approx((lasts, speed), rel=1e-6)]
    assert plant.energy() == 0.0 and plant._rows < 50


def test_a_claw_lets_go_of_what_it_presses_with_open_leads() -> None:
    """The pressed element gives its work, 1/2 k x^2 less friction, to the rotor, which runs on with it."""
    claw: Words = {
        **servo(), "kind": "claw", "travel": ["0 rad", "1.5 rad"], "jaw": "70 mm", "contact": "1.2 rad",
        "stiffness": "10 N/mm",
    }  # fmt: skip
    plant = a_plant(a_robot({"it": claw}, {}, (12.0, 0.1), rails=RAILS), it=1.5)
    plant.command("it", PushFor(0.0, 0.0, 0, "coast"))
    plant.advance(2_000_000)
    work = 0.5 * 10e3 * 0.07**2 * 0.3**2 - 0.04 * STALL * 1.5
    speed = sqrt(2.0 * work / (0.040 * STALL / FREE))
    assert 6.0 * speed / FREE > 12.0
    assert [hit[1] for hit in hits(plant, "it")] == [pytest.approx(speed, rel=1e-6)]
    assert plant._rows < 100


def test_a_rail_that_goes_off_lets_a_spring_turn_its_servo_past_the_volts_of_the_battery() -> None:
    stage = {"below": "8.5 V", "back_above": "10.5 V", "back_after": "0.15 s", "stops": "servos"}
    wheel = {"kind": "roller", "motors": "2 x free", "inertia": "1e-9 kg*m^2"}
    robot = a_robot(
        {"it": servo(springs=[{"constant_force": {"force": "1.2 N*m"}}]), "wheel": wheel},
        {"free": winding(0.6, 0.02, 2e-4)}, (12.6, 0.2), rails=RAILS, brown_out={"servos": stage},
    )  # fmt: skip
    plant = a_plant(robot, it=0.1)
    plant.advance(200_000)
    plant.command("wheel", Spin(1.0))
    plant.advance(400_000)
    end = sqrt(2.0 * (2.5 - 0.1) * (1.2 - 0.04 * STALL) / (0.040 * STALL / FREE))
    assert 6.0 * end / FREE > 12.6
    assert plant.position("it") == 2.5
    plant.advance(3_000_000)
    assert plant.position("it") == pytest.approx(0.1, abs=0.2)  # its power is back
    assert plant._rows < 500


def test_what_creeps_off_while_the_bus_still_moves_does_not_stand_and_set_out_for_ever() -> None:
    """A lift that droops on its friction, set free by next to nothing as a drive that slows gives the bus back."""
    lift: Words = {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 14, "efficiency": "88 %"}],
        "drum_diameter": "40 mm", "moving_mass": "1 kg", "friction": "2 N", "travel": ["0 m", "0.7 m"],
        "control": {"loop": "position", "p": "6 /m", "d": "0.5 s/m", "window": "15 mm", "slower_than": "50 mm/s"},
    }  # fmt: skip
    drive: Words = {
        "kind": "mecanum", "motors": "4 x gm", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "360 mm",
        "grip": 0.9, "friction": "4 N",
        "control": {"loop": "position", "p": "3 /m", "d": "0.75 s/m", "window": "25 mm", "slower_than": "60 mm/s"},
    }  # fmt: skip
    sheet = {key: value for key, value in GEARMOTOR.items() if key != "stall_torque"}
    robot = a_robot({"lift": lift, "drive": drive}, {"coil": LARGE, "gm": sheet}, (12.0, 0.25))
    plant = a_plant(robot, 15.0, pose=Pose(1.0, 1.0, 0.0))
    plant.command("drive", DriveTo(Pose(2.0, 1.0, 0.0)))
    plant.command("lift", GoTo(0.5))
    plant.advance(15_000_000)
    assert plant._rows < 2000


def test_motors_thrown_into_reverse_on_a_weak_battery_brake_as_if_shorted() -> None:
    """They ask more than the battery gives at no volts: its diodes hold the bus there, until k w/R is E/R0 again.

    v falls as exp(-k^2 ratio^2 t/(R M)) until then, from 8 V of back-EMF to 2.4 V, and as under E behind R + R0 after.
    """
    ohms, k, rotor, ratio = 0.1, 0.02, 1e-5, 4.0 / 0.02
    slide: Words = {
        "kind": "slide", "motors": "1 x m", "gearing": [{"ratio": 4, "efficiency": "100 %"}], "incline": "0 deg",
        "drum_diameter": "40 mm", "moving_mass": "2 kg", "friction": "0 N", "travel": ["0 m", "5 m"],
        "control": FULL,
    }  # fmt: skip
    robot = a_robot({"it": slide}, {"m": winding(ohms, k, rotor)}, (12.0, 0.5))
    plant = a_plant(robot, 9.0, it=0.5)
    plant.command("it", GoTo(4.9))
    while plant.speed("it") < 8.0 / k / ratio:
        plant.advance(plant.now_us + 100)
    begin, before, steps = plant.now_us, plant.speed("it"), plant._rows
    plant.command("it", GoTo(0.0))
    rate = (k * ratio) ** 2 / (2.0 + rotor * ratio**2)
    held = ohms / rate * log(before * k * ratio / 2.4)
    plant.advance(begin + round(0.5e6 * held))
    assert plant.speed("it") == pytest.approx(before * exp(-0.5 * held * rate / ohms), rel=1e-3)
    assert plant.lowest_bus()[0] == pytest.approx(0.0, abs=2e-3)
    assert plant.collapsed_at() == pytest.approx(begin / 1e6, abs=1e-9)
    plant.advance(begin + round(1e6 * held))
    speed, more = plant.speed("it"), 0.05  # from here on E behind R + R0 as ever
    plant.advance(plant.now_us + 50_000)
    end = -12.0 / (k * ratio)
    right = end + (speed - end) * exp(-more * rate / (ohms + 0.5))
    assert plant.speed("it") == pytest.approx(right, rel=1e-3)
    assert plant._rows < steps + 100


def test_a_bus_that_sags_at_a_stop_has_not_collapsed() -> None:
    """Whatever was tried on the way to the modes that rule: every row lies on the battery's line, above no volts."""
    slide: Words = {
        "kind": "slide", "motors": "1 x m", "gearing": [{"ratio": 4, "efficiency": "100 %"}], "incline": "0 deg",
        "drum_diameter": "40 mm", "moving_mass": "2 kg", "friction": "0 N", "travel": ["0 m", "0.8 m"],
        "control": FULL, "current_limit": "60 A",
    }  # fmt: skip
    other = {**slide, "moving_mass": "1 kg", "current_limit": "3 A", "travel": ["0 m", "5 m"]}
    robot = a_robot({"it": slide, "two": other}, {"m": winding(0.1, 0.02, 1e-5)}, (12.0, 0.5))
    plant = a_plant(robot, 2.0, it=0.0, two=0.0)
    plant.command("two", GoTo(4.9))
    plant.advance(300_000)
    plant.command("it", GoTo(0.8))
    plant.advance(1_800_000)
    rows = plant._log[: plant._rows]
    assert rows[:, L.LOG_V0] == pytest.approx(12.0 - 0.5 * rows[:, L.LOG_I0], abs=1e-9)
    assert plant.lowest_bus()[0] > 5.0
    assert plant.collapsed_at() is None


@pytest.mark.parametrize(("begin", "end"), [(0.0, 0.0), (0.0, 2.0), (3.0, 0.0), (1.0, 1.0), (0.04, 5.0)])
def test_what_leaves_a_line_by_no_more_than_a_parabola_is_above_0_where_it_says_so(
    begin: float, end: float
) -> None:
    """Against the parabola's own lowest point and where it is, and x - x^k against (k - 1) x (1 - x)."""
    holds, where = (getattr(each, "py_func", each) for each in (stays_above, lowest_between))
    x = np.linspace(0.0, 1.0, 20_001)
    for bend in np.geomspace(1e-3, 1e2, 60):
        least = begin * (1.0 - x) + end * x - bend * x * (1.0 - x)
        lowest = float(least.min())
        assert holds(begin, end, bend) == (lowest >= -1e-12) or abs(lowest) < 1e-6
        if not holds(begin, end, bend):
            assert x[least.argmin()] == pytest.approx(where(begin, end, bend), abs=1e-4)
    for k in range(2, L.ORDER + 1):
        assert (x - x**k <= (k - 1) * x * (1.0 - x) + 1e-15).all()
