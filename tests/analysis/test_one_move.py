"""One mechanism alone: every number against an independent one.

The oracle integrates the textbook equations of a geared motor with scipy at rtol 1e-10, with energies as
further states; the rest are closed forms, written here from the data of the files.
"""

from __future__ import annotations

from math import cos, pi, sqrt

import numpy as np
import pytest
from builders import SMALL, G, a_robot, winding
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from simbot import api
from simbot.analysis.move_results import Way
from simbot.analysis.one_move import CAUSES, tables_of
from simbot.physics import layout as L
from simbot.physics import motion
from simbot.physics.build import Models
from simbot.physics.motion import Circuit
from simbot.physics.move import DriveTo, GoTo, PushFor, Spin
from simbot.physics.plant import Plant
from simbot.physics.tables import look_up
from simbot.scenario.errors import SimbotError
from simbot.scenario.model import Pose, Start

R, K, J, TF = 1.3, 0.02, 1e-5, 0.004  # ohm, V s/rad, kg m², N m of one motor
MOTOR = winding(R, K, J, friction=TF)
BATTERY = (12.6, 0.14)
DRUM, RATIO, ETA, MASS, FRICTION = 0.04, 12.0, 0.8, 2.5, 7.0
SLIDE = {
    "kind": "slide", "motors": "2 x m", "gearing": [{"ratio": f"{RATIO}:1", "efficiency": f"{100 * ETA} %"}],
    "drum_diameter": f"{DRUM} m", "moving_mass": f"{MASS} kg", "friction": f"{FRICTION} N",
    "travel": ["0 m", "0.6 m"], "control": {"loop": "full_effort", "window": "5 mm"},
}  # fmt: skip
ARM = {
    "kind": "arm", "motors": "1 x m", "gearing": [{"ratio": "150:1", "efficiency": "70 %"}],
    "moving_mass": "1.2 kg", "centre": "0.2 m", "friction": "0.3 N*m", "travel": ["0 deg", "100 deg"],
    "control": {"loop": "full_effort", "window": "1 deg"},
}  # fmt: skip
WINCH = {
    "kind": "winch", "motors": "1 x m", "gearing": [{"ratio": "40:1", "efficiency": "60 %"}],
    "drum_diameter": "30 mm", "load_mass": "6 kg", "friction": "5 N", "travel": ["0 m", "0.5 m"],
    "control": {"loop": "full_effort", "window": "5 mm"},
}  # fmt: skip


def bench(mechanism, motor=MOTOR, battery=BATTERY, **more):
    return a_robot({"it": mechanism}, {"m": motor}, battery, **more)


def only(result):
    return result.states[0]


def oracle(ratio, n, eta, mass, load, friction, goal):
    """Full effort from rest until `goal` is touched: time, battery energy, heat, work on the load, peak current."""
    volts, ohms = BATTERY

    def circuit(v):
        w = ratio * v
        i = (volts - K * w) / (R + n * ohms)
        return i, (volts - ohms * n * i) * n * i

    def slope(t, y):
        q, v = y[0], y[1]
        i, power = circuit(v)
        push = n * (K * i - TF) * ratio * eta
        a = (push - load(q) - friction) / (mass + n * J * ratio**2 * eta)
        return [v, a, power, n * i**2 * R, load(q) * v]

    def touched(t, y):
        return y[0] - goal

    touched.terminal = True
    done = solve_ivp(slope, (0, 30), [0.0] * 5, rtol=1e-11, atol=1e-12, events=touched)
    return done.t_events[0][0], *done.y_events[0][0][2:], circuit(0.0)


@pytest.mark.parametrize(
    ("mechanism", "numbers"),
    [
        (
            {**SLIDE, "holding_brake": True},
            (2 * RATIO / DRUM, 2, ETA, MASS, lambda q: MASS * G, FRICTION, 0.6),
        ),
        (ARM, (150, 1, 0.7, 1.2 * 0.04 * 4 / 3, lambda q: 1.2 * G * 0.2 * cos(q), 0.3, pi * 100 / 180)),
        ({**WINCH, "holding_brake": True}, (40 * 2 / 0.03, 1, 0.6, 6.0, lambda q: 6 * G, 5.0, 0.5)),
    ],
    ids=["slide", "arm", "winch"],
)
def test_a_move_against_scipy(mechanism, numbers):
    move = only(api.move(bench(mechanism), "it")).moves[0]
    time, energy, heat, work, (current, _) = oracle(*numbers)
    assert move.arrival_s == pytest.approx(time, abs=1.1e-6)
    assert move.floor_s == pytest.approx(time, rel=1e-6)
    stalled = (
        1.1e-6 * numbers[1] * current * BATTERY[0]
    )  # the arrival is rounded up, at the stop and full effort
    assert move.energy_j == pytest.approx(energy, rel=1e-7, abs=stalled)
    assert move.heat_j == pytest.approx(heat, rel=1e-7, abs=stalled)
    assert move.lifting_j == pytest.approx(work, rel=1e-6)
    assert move.motor_peak_a == pytest.approx(current, rel=1e-9)
    assert move.current_peak_a == pytest.approx(numbers[1] * current, rel=1e-9)
    assert move.bus_min_v == pytest.approx(BATTERY[0] - BATTERY[1] * numbers[1] * current, rel=1e-9)


def test_gears_of_which_nothing_is_stated_are_driven_back_by_the_load_that_they_lower():
    """What nobody stated returns what it passes, 37.5 %; full effort downwards against scipy, energies with it."""
    untold = {
        **SLIDE,
        "gearing": [{"ratio": f"{RATIO}:1"}],
        "motors": "1 x m",
        "control": {"loop": "full_effort"},
    }
    move = only(api.move(bench(untold), "it", start=0.6, target=0.0)).moves[0]
    eta, ratio, (volts, ohms) = 0.375, 2.0 * RATIO / DRUM, BATTERY

    def slope(t, y):
        i = (volts - K * ratio * y[1]) / (R + ohms)
        torque = K * i - TF
        for passed in (eta, 1.0 / eta):  # driving, and driven
            a = (ratio * torque * passed + MASS * G - FRICTION) / (MASS + J * ratio**2 * passed)
            if (torque - J * ratio * a >= 0.0) == (passed < 1.0):
                return [y[1], a, (volts - ohms * i) * i, i**2 * R]
        raise AssertionError("neither")

    def touched(t, y):
        return y[0] - 0.6

    touched.terminal = True
    done = solve_ivp(slope, (0, 30), [0.0] * 4, rtol=1e-11, atol=1e-12, max_step=0.01, events=touched)
    assert move.arrival_s == pytest.approx(done.t_events[0][0], abs=2e-6)
    energy, heat = done.y_events[0][0][2:]
    assert (move.energy_j, move.heat_j) == pytest.approx((energy, heat), rel=1e-5, abs=1e-4)
    assert move.heat_j < move.energy_j - move.lifting_j  # nothing comes from nowhere


@pytest.mark.parametrize("percent", [60, 50, 49, 40, 30])
def test_a_pull_settles_where_the_motor_brings_load_and_friction(percent):
    """V - I R_all = k G v with G eta (k I - friction) = load + friction; gears that lock pull as others do."""
    winch = {**WINCH, "gearing": [{"ratio": "40:1", "efficiency": f"{percent} %"}]}
    pull = only(api.move(bench(winch), "it")).pulls[0]
    ratio = 40 * 2 / 0.03
    current = ((6.0 * G + 5.0) / (ratio * 0.01 * percent) + TF) / K
    assert pull.speed == pytest.approx((BATTERY[0] - current * (R + BATTERY[1])) / (K * ratio), rel=1e-6)


def test_a_claw_opens_from_where_its_element_stopped_it():
    """Rest on the element: stiffness x way past contact x arm of the jaw = stall - friction, 10 N/mm and 60 mm."""
    claw = {
        "kind": "claw", "speed": "0.1 s/60deg", "stall_torque": "0.9 N*m", "at": "6 V", "rail": "rail",
        "travel": ["0 deg", "90 deg"], "jaw": "60 mm", "contact": "60 deg", "stiffness": "10 N/mm",
        "friction": "5 %",
    }  # fmt: skip
    rails = {"rail": {"voltage": "6 V", "current_limit": "10 A", "regulator": "switching"}}
    shuts, opens = only(api.move(bench(claw, rails=rails), "it")).moves
    rest = pi / 3 + 0.9 * 0.95 / (1e4 * 0.06**2)
    assert opens.way.start == pytest.approx(rest)
    assert shuts.stall_at == pytest.approx(rest)
    assert shuts.stall_share_max == pytest.approx(1.0, rel=1e-3)
    assert (
        opens.speed_max < 1.05 * pi / 3 / 0.1
    )  # as fast as its servo is, not thrown from a place it never gets to


def test_resets_on_the_way_are_told():
    """Stalled it takes the bus to 10.37 V, reversed at speed below 10.3 V, on a step of no length."""
    slide = {**SLIDE, "incline": "0 deg", "control": {"loop": "full_effort", "window": "14 mm"}}
    stage = {"below": "10.3 V", "back_above": "11 V", "back_after": "50 ms", "stops": "motors"}
    found = [
        only(api.move(bench(slide, brown_out=out), "it", 0.0, 0.3)).moves[0]
        for out in ({"outputs": stage}, {"outputs": {**stage, "below": "9 V"}})
    ]
    assert [len(one.resets) for one in found] == [1, 0]
    assert "the reset of the outputs below 10.3 V leaves it without power" in found[0].resets[0]
    assert found[0].bus_min_v < 10.3
    assert found[0].bus_min_v == pytest.approx(BATTERY[0] - BATTERY[1] * found[0].current_peak_a)


REACH = {
    **SLIDE, "incline": "0 deg", "tipped_by": "it", "travel": ["0.1 m", "0.6 m"],
}  # fmt: skip
TILTED = {**ARM, "travel": ["-30 deg", "60 deg"]}


def test_an_arm_with_a_slide_on_it_stands_at_the_slides_lower_end():
    """M = J + m r^2, Q = g (m1 c + m2 r) cos q with what lies on it at r = 0.22 m + 0.1 m; against scipy."""
    carrying = {**ARM, "extension": {"by": "out", "mass": "0.7 kg", "centre": "0.22 m"}}
    robot = a_robot({"it": carrying, "out": REACH}, {"m": MOTOR}, BATTERY)
    result = api.move(robot, "it", loads=(0.5,))
    time, energy, heat, work, _ = oracle(
        150, 1, 0.7, 1.2 * 0.04 * 4 / 3 + 0.7 * 0.32**2,
        lambda q: G * (1.2 * 0.2 + 0.7 * 0.32) * cos(q), 0.3, pi * 100 / 180,
    )  # fmt: skip
    move, hold = only(result).moves[0], only(result).holdings[0]
    assert move.arrival_s == pytest.approx(time, abs=1.1e-6)
    assert move.floor_s == pytest.approx(time, rel=1e-6)
    assert (move.energy_j, move.heat_j) == pytest.approx((energy, heat), rel=1e-4)
    assert move.lifting_j == pytest.approx(work, rel=1e-6)
    pull = (G * (1.2 * 0.2 + 0.7 * 0.32) - 0.3) * (2.0 - 1.0 / 0.7) / 150 - TF  # level, driven back
    assert hold.motor_current_a == pytest.approx(pull / K, rel=1e-6)
    assert result.others == {"out": 0.1}
    rows = tables_of(robot, "it", 0.0, None, 25.0).rows
    assert [row.load for row in rows] == pytest.approx(
        [G * (1.2 * 0.2 + 0.7 * 0.32) * cos(row.q) for row in rows]
    )


def test_what_an_arm_tips_is_as_on_rails_of_that_slope():
    """A slide and a servo on an arm whose lower end is 30 degrees below the horizontal."""
    rails = {"rail": {"voltage": "6 V", "current_limit": "5 A", "regulator": "switching"}}
    servo = {
        "kind": "servo", "speed": "0.14 s/60deg", "stall_torque": "20 kgf*cm", "at": "6 V", "rail": "rail",
        "load_mass": "0.25 kg", "load_at": "90 mm", "travel": ["-90 deg", "90 deg"],
    }  # fmt: skip
    tipped = a_robot(
        {"it": TILTED, "out": REACH, "wrist": {**servo, "load_angle": "0 deg", "tipped_by": "it"}},
        {"m": MOTOR}, BATTERY, rails=rails,
    )  # fmt: skip
    alone = {**REACH, "incline": "-30 deg"}
    del alone["tipped_by"]
    fixed = a_robot(
        {"out": alone, "wrist": {**servo, "load_angle": "-30 deg"}}, {"m": MOTOR}, BATTERY, rails=rails
    )
    for name in ("out", "wrist"):
        found, wanted = (only(api.move(robot, name)) for robot in (tipped, fixed))
        for one, other in zip(found.moves, wanted.moves, strict=True):
            assert (one.arrival_s, one.floor_s) == pytest.approx((other.arrival_s, other.floor_s), rel=1e-6)
            assert one.lifting_j == pytest.approx(other.lifting_j, rel=1e-6)
        assert found.holdings[0].at == wanted.holdings[0].at
        assert api.move(tipped, name).others == {"it": pytest.approx(-pi / 6)}


TURRET = {
    "kind": "turret", "motors": "1 x m", "gearing": [{"ratio": "100:1", "efficiency": "80 %"}],
    "inertia": "0.06 kg*m^2", "friction": "0.2 N*m", "travel": ["-180 deg", "180 deg"],
    "control": {"loop": "position", "p": "6 /rad", "d": "0.3 s/rad", "window": "2 deg"},
}  # fmt: skip


@pytest.mark.parametrize(
    ("ends", "turned"), [((None, None), 360.0), ((-180.0, 180.0), 360.0), ((-100.0, 140.0), 240.0)]
)
def test_a_turret_goes_the_way_that_is_written_though_a_shorter_one_exists(ends, turned):
    robot = bench({**TURRET, "travel": ["-180 deg", "180 deg"]})
    move = only(api.move(robot, "it", *(None if end is None else end * pi / 180 for end in ends))).moves[0]
    time, *_ = oracle(100, 1, 0.8, 0.06, lambda q: 0.0, 0.2, (turned - 2.0) * pi / 180)
    assert move.floor_s == pytest.approx(time, rel=1e-5)
    assert move.arrival_s >= move.floor_s > 0.0


def test_energy_balance_without_losses():
    motor = winding(R, K, J)
    slide = {**SLIDE, "friction": "0 N", "gearing": [{"ratio": f"{RATIO}:1", "efficiency": "100 %"}]}
    move = only(api.move(bench(slide, motor), "it", target=0.4)).moves[0]
    speed = move.series.v[-1]
    moving = 0.5 * (MASS + 2 * J * (2 * RATIO / DRUM) ** 2) * speed**2
    assert speed > 0.1
    assert move.energy_j == pytest.approx(move.heat_j + move.lifting_j + moving, rel=1e-7)
    assert move.lifting_j == pytest.approx(MASS * G * 0.395, rel=1e-5)
    assert move.arrival_s is None and move.first_inside_s == pytest.approx(move.series.t[-1])


# --- the same electrics as the integrator's, by other formulas ------------------------------------------------

LIMITED = {**SLIDE, "current_limit": "6 A"}
SUPPLY_LIMITED = {**SLIDE, "battery_current_limit": "3 A"}
SOFT = {
    **SLIDE,
    "control": {"loop": "position", "p": "18 /m", "d": "0.6 s/m", "window": "5 mm", "slower_than": "30 mm/s"},
}
PULLS = {**SLIDE, "cord": "pulls", "friction": "14 N", "travel": ["0 m", "0.6 m"]}
SERVO = {
    "kind": "servo", "speed": "0.15 s/60deg", "stall_torque": "1.5 N*m", "at": "6 V", "rail": "r",
    "travel": ["0 deg", "120 deg"], "load_mass": "150 g", "load_at": "120 mm", "load_angle": "-20 deg",
}  # fmt: skip
DRIVE = {
    "kind": "mecanum", "motors": "4 x m", "gearing": [{"ratio": "14:1", "efficiency": "90 %"}],
    "wheel_diameter": "96 mm", "grip": 0.5, "friction": "8 N",
    "wheelbase": "300 mm", "track": "360 mm", "wheel_inertia": "4e-4 kg*m^2",
    "control": {"loop": "position", "p": "6 /m", "d": "0.6 s/m", "window": "20 mm", "slower_than": "60 mm/s"},
}  # fmt: skip
RAILS = [
    {"r": {"voltage": "6 V", "current_limit": "5 A", "regulator": "switching"}},
    {"r": {"voltage": "6 V", "current_limit": "5 A", "regulator": "linear"}},
    {"r": {"voltage": "6 V", "current_limit": "1.2 A", "regulator": "switching"}},
]
ROLLER = {"kind": "roller", "motors": "1 x m", "gearing": [{"ratio": "4:1"}], "inertia": "3e-4 kg*m^2"}


@pytest.mark.parametrize(
    ("mechanism", "command", "rails"),
    [
        (SLIDE, GoTo(0.6), None), (LIMITED, GoTo(0.6), None), (SUPPLY_LIMITED, GoTo(0.6), None),
        (SOFT, GoTo(0.4), None), (PULLS, GoTo(0.5), None), (ROLLER, Spin(0.7), None),
        (SLIDE, PushFor(0.4, 0.6, 300_000, "coast"), None),
        *((SERVO, GoTo(2.0), rails) for rails in RAILS),
        (DRIVE, DriveTo(Pose(1.2, 0.5, 1.0)), None), (DRIVE, DriveTo(Pose(-0.8, 0.0, 0.0)), None),
    ],
)  # fmt: skip
def test_battery_energy_agrees_with_the_integrators_account(mechanism, command, rails):
    robot = bench(mechanism, rails=rails)
    plant = Plant(robot, robot.battery[0], Start(Pose(0.0, 0.0, 0.0), {}, {}), 10_000_000)
    plant.command("it", command)
    course = motion.motion_of(
        plant.steps_to("it", 1_500_000), Circuit(robot.battery[0], robot.rails.get("r"))
    )
    taken = course.total(course.flow.bus * course.flow.current)
    assert taken > 0.3
    assert taken == pytest.approx(plant.energy(), rel=2e-6)
    assert np.max(course.flow.current) == pytest.approx(plant.currents()[0], rel=1e-6)
    assert np.min(course.flow.bus) == pytest.approx(plant.lowest_bus()[0], rel=1e-6)
    assert np.sum(course.weight) == pytest.approx(1.5, abs=1e-9)


@pytest.mark.parametrize("rails", RAILS)
def test_a_linkages_servo_hangs_on_its_rail(rails):
    """Stalled at first it takes its stall current there, or what the rail gives; the battery V I/0.9 of 6 V or I."""
    sheet = {
        "speed": "0.15 s/60deg",
        "stall_torque": "1.5 N*m",
        "stall_current": "3 A",
        "at": "6 V",
        "rail": "r",
    }
    crank = {
        "kind": "slider_crank", "servo": sheet, "travel": ["10 deg", "160 deg"], "crank": "20 mm",
        "coupler": "80 mm", "slider_mass": "0.1 kg",
    }  # fmt: skip
    robot = bench(crank, rails=rails)
    move = only(api.move(robot, "it")).moves[0]
    rail = robot.rails["r"]
    amps = min(3.0, float(rail.current_limit))
    first = int(np.argmax(move.series.motor_current > 0.0))  # after half a frame
    assert move.series.motor_current[first] == pytest.approx(amps, rel=1e-3)
    switching = rail.regulator == "switching"
    volts, ohms = BATTERY
    power = amps / 3.0 * 6.0 * amps / 0.9  # its volts sink with the limit
    drawn = (volts - sqrt(volts**2 - 4.0 * ohms * power)) / (2.0 * ohms) if switching else amps
    assert move.series.current[first] == pytest.approx(drawn, rel=1e-3)
    plant = Plant(robot, robot.battery[0], Start(None, {"it": pi / 18}, {}), 10_000_000)
    plant.command("it", GoTo(160 * pi / 180))
    plant.advance(round(1e6 * move.arrival_s))
    assert move.energy_j == pytest.approx(plant.energy(), rel=2e-6)


def test_stepping_changes_nothing():
    robot = bench(SOFT)
    start = Start(None, {}, {})
    one, other = (Plant(robot, robot.battery[0], start, 10_000_000) for _ in range(2))
    first, second = (plant.command("it", GoTo(0.4)) for plant in (one, other))
    other.steps_to("it", 300_000)
    other.steps_to("it", 700_000)
    assert second.arrival_us() == pytest.approx(first.arrival_us(), abs=2)
    one.advance(700_000)
    assert one.position("it") == pytest.approx(other.position("it"), abs=1e-8)


# --- what holds it back ---------------------------------------------------------------------------------------


def held_back(mechanism, battery=BATTERY, **more):
    move = only(api.move(bench(mechanism, battery=battery), "it", **more)).moves[0]
    assert list(move.limited_by) == list(CAUSES)
    assert sum(move.limited_by.values()) == pytest.approx(1.0, abs=1e-12)
    assert min(move.limited_by.values()) >= 0.0
    return move


def test_shares_of_a_steady_run_are_those_of_the_voltage():
    slow = {**WINCH, "travel": ["0 m", "4 m"], "gearing": [{"ratio": "60:1", "efficiency": "60 %"}]}
    shares = held_back(slow).limited_by
    ratio = 60 * 2 / 0.03
    current = ((6 * G + 5) / (ratio * 0.6) + TF) / K
    volts = BATTERY[0]
    assert shares["sag"] == pytest.approx(BATTERY[1] * current / volts, abs=5e-4)
    assert shares["torque"] == pytest.approx(R * current / volts, abs=5e-3)
    assert shares["speed"] == pytest.approx(1 - (R + BATTERY[1]) * current / volts, abs=5e-3)


@pytest.mark.parametrize(
    ("cause", "mechanism", "battery", "more"),
    [
        ("torque", {**SLIDE, "gearing": [{"ratio": "3:1", "efficiency": "80 %"}]}, BATTERY, {}),
        ("speed", {**SLIDE, "gearing": [{"ratio": "60:1", "efficiency": "80 %"}]}, BATTERY, {}),
        ("sag", {**SLIDE, "gearing": [{"ratio": "5:1", "efficiency": "80 %"}]}, (12.6, 1.6), {}),
        ("grip", {**DRIVE, "grip": 0.12, "friction": "0 N"}, BATTERY, {"target": 1.5}),
        ("current_limit", {**SLIDE, "current_limit": "2.2 A"}, BATTERY, {}),
        ("control", {**SLIDE, "control": {"loop": "profile", "speed": "0.2 m/s", "acceleration": "1 m/s^2",
                                          "p": "20 /m", "window": "5 mm"}}, BATTERY, {}),
        ("slack", {**PULLS, "friction": "18 N", "gearing": [{"ratio": "5:1"}]}, BATTERY, {"start": 0.6, "target": 0.0}),
    ],
)  # fmt: skip
def test_each_cause_rules_where_it_should(cause, mechanism, battery, more):
    shares = held_back(mechanism, battery, **more).limited_by
    assert max(shares, key=shares.get) == cause


def test_current_limit_rules_until_the_speed_at_which_it_would_not_be_reached():
    """Constant current, hence constant acceleration, until k w = E - (R + n R0) Im ... the rest is not limited."""
    most = 4.0
    move = held_back(
        {**SLIDE, "current_limit": f"{most} A", "gearing": [{"ratio": "6:1", "efficiency": "80 %"}]}
    )
    ratio = 2 * 6 / DRUM
    push = 2 * (K * most - TF) * ratio * 0.8 - MASS * G - FRICTION
    a = push / (MASS + 2 * J * ratio**2 * 0.8)
    limited = (BATTERY[0] - most * (R + 2 * BATTERY[1])) / (K * ratio) / a
    lasts = move.series.t[-1]
    assert 0.3 < limited < 0.95 * lasts
    assert move.limited_by["current_limit"] == pytest.approx(limited / lasts, rel=1e-4)


# --- at rest --------------------------------------------------------------------------------------------------


def test_stall_share_by_hand():
    robot = bench(ARM)
    up, down = only(api.move(robot, "it", loads=(0.4,))).moves[:2]
    stalled = BATTERY[0] / (R + BATTERY[1])
    force = 150 * (K * stalled - TF) * 0.7
    assert up.stall_share_max == pytest.approx((1.2 * G * 0.2 + 0.3) / force, rel=1e-9)
    assert up.stall_at == 0.0
    loaded = only(api.move(robot, "it", loads=(0.4,))).moves[2]
    assert loaded.stall_share_max == pytest.approx((1.6 * G * 0.2 + 0.3) / force, rel=1e-9)
    over = 1.2 * G * 0.2 * abs(cos(pi * 100 / 180))  # beyond the upright it must be lifted back
    assert down.stall_share_max == pytest.approx((over + 0.3) / force, rel=1e-9)
    assert down.stall_at == pytest.approx(pi * 100 / 180)


def test_what_cannot_start_has_a_share_above_one_and_never_arrives():
    heavy = {**SLIDE, "moving_mass": "60 kg", "gearing": [{"ratio": "2:1", "efficiency": "80 %"}]}
    move = only(api.move(bench(heavy), "it")).moves[0]
    assert move.stall_share_max > 1.0 and move.arrival_s is None and "stalled" in move.reason
    stalled = BATTERY[0] / (R + 2 * BATTERY[1])
    assert move.motor_peak_a == pytest.approx(stalled, rel=1e-9)
    assert move.heat_j == pytest.approx(2 * stalled**2 * R * move.series.t[-1], rel=1e-9)
    assert move.limited_by["torque"] == pytest.approx(stalled * R / BATTERY[0], rel=1e-9)


def falling(load=0.0):
    """Acceleration of the slide let go with open leads [m/s²]: gears of 0.8 return 2 - 1/0.8 = 0.75."""
    ratio, back = 2 * RATIO / DRUM, 0.75
    mass = MASS + load
    return (back * (mass * G - FRICTION) - 2 * TF * ratio) / (back * mass + 2 * J * ratio**2)


def test_holding_and_letting_go_by_hand():
    slide = {
        **SLIDE,
        "travel": ["0 m", "0.3 m"],
    }  # so short that no diode conducts: k w stays below the battery
    state = only(api.move(bench(slide), "it", loads=(0.4,)))
    ratio = 2 * RATIO / DRUM
    for hold, load in zip(state.holdings, (0.0, 0.4), strict=True):
        need = 0.75 * ((MASS + load) * G - FRICTION) / ratio - 2 * TF
        assert not hold.holds_off and not hold.holds_off_surely
        assert hold.motor_current_a == pytest.approx(need / (2 * K), rel=1e-9)
        assert hold.heat_w == pytest.approx(2 * hold.motor_current_a**2 * R, rel=1e-9)
        drawn = brentq(lambda i, h=hold: (BATTERY[0] - BATTERY[1] * i) * i - h.heat_w, 0.0, 20.0)
        assert hold.battery_current_a == pytest.approx(drawn, rel=1e-6)
        assert (hold.fall.start, hold.fall.end) == (0.3, 0.0)
        assert hold.fall.speed_max == pytest.approx(sqrt(2 * falling(load) * 0.3), rel=1e-6)
        assert hold.fall.lasts_s == pytest.approx(sqrt(2 * 0.3 / falling(load)), rel=1e-6)
        assert (hold.fall.loose_speed_max, hold.fall.loose_s) == (hold.fall.speed_max, hold.fall.lasts_s)
        assert hold.fall.braked_s is None or hold.fall.braked_s > 2 * hold.fall.lasts_s


def test_with_a_wire_off_it_falls_faster_than_its_controllers_diodes_let_it():
    """Free fall v^2 = 2 a s with a wire off; its controller's diodes lead current from k w = E on, and brake it."""
    state = only(api.move(bench({**SLIDE, "travel": ["0 m", "3 m"]}), "it"))
    fall, ratio = state.holdings[0].fall, 2 * RATIO / DRUM
    assert fall.loose_speed_max == pytest.approx(sqrt(2 * falling(0.0) * 3.0), rel=1e-6)
    assert fall.loose_s == pytest.approx(sqrt(2 * 3.0 / falling(0.0)), rel=1e-6)
    assert BATTERY[0] / (K * ratio) < fall.speed_max < 0.99 * fall.loose_speed_max
    assert fall.lasts_s > fall.loose_s


def test_a_servo_on_a_rail_falls_as_with_a_wire_off():
    """m g r less friction against m r^2 and the rotor: a rail takes nothing back, though 2 V are passed on the way."""
    rails = {"r": {"voltage": "2 V", "current_limit": "5 A", "regulator": "switching"}}
    heavy = {**SERVO, "at": "2 V", "load_mass": "3 kg", "load_angle": "0 deg", "travel": ["0 deg", "90 deg"]}
    robot = bench(heavy, rails=rails)
    fall = only(api.move(robot, "it")).holdings[0].fall
    built = Models(robot).get("it")
    row, down = built.groups[0], pi / 2
    loss = (float(row[L.G_TF]) + built.reduced.friction) * down
    energy = 3.0 * G * 0.12 - loss  # from upright to level
    inertia = 3.0 * 0.12**2 + float(row[L.G_J])
    assert fall.loose_speed_max == pytest.approx(sqrt(2 * energy / inertia), rel=2e-3)
    assert fall.speed_max == fall.loose_speed_max > 1.5 * 2.0 / float(row[L.G_K])


def test_the_current_that_holds_is_what_keeps_it_there():
    """At a little less than the holding current's effort it sinks, at a little more it stays."""
    robot = bench(SLIDE)
    hold = only(api.move(robot, "it")).holdings[0]
    effort = hold.motor_current_a * R / (BATTERY[0] - BATTERY[1] * hold.battery_current_a)
    for share, moves in ((0.98, True), (1.02, False)):
        plant = Plant(robot, robot.battery[0], Start(None, {"it": 0.3}, {}), 5_000_000)
        plant.command("it", PushFor(share * effort, 0.6, 400_000))
        plant.advance(300_000)
        assert (plant.position("it") < 0.3 - 1e-6) == moves


def test_a_worm_a_brake_and_much_friction_hold():
    worm = {**SLIDE, "gearing": [{"ratio": "40:1", "efficiency": "40 %"}]}
    brake = {**SLIDE, "holding_brake": True}
    for mechanism in (worm, brake):
        hold = only(api.move(bench(mechanism), "it")).holdings[0]
        assert hold.holds_off and hold.holds_off_surely and hold.fall is None and hold.motor_current_a == 0.0
    rough = only(api.move(bench({**SLIDE, "friction": "25 N"}), "it")).holdings[0]
    assert rough.holds_off and rough.holds_off_surely
    unsure = only(api.move(bench({**SLIDE, "friction": "25 N +/- 40 %"}), "it")).holdings[0]
    assert unsure.holds_off and not unsure.holds_off_surely


# --- sheets ---------------------------------------------------------------------------------------------------


CRANK = {
    "kind": "slider_crank", "motors": "1 x m", "gearing": [{"ratio": "60:1", "efficiency": "80 %"}], "crank": "60 mm",
    "coupler": "180 mm", "slider_mass": "0.5 kg", "travel": ["-6 deg", "160 deg"],
    "control": {"loop": "full_effort", "window": "1 deg"},
}  # fmt: skip


@pytest.mark.parametrize("push", [20.0, 2000.0, -200.0])
def test_over_its_centre_a_push_along_the_slide_holds_it_without_current(push):
    """The torque of a push F there is F dx/dq, of x = a cos q + sqrt(b^2 - a^2 sin^2 q): onto the stop for F > 0."""
    robot = bench({**CRANK, "load": f"{push} N"})
    (lock,) = only(api.move(robot, "it")).holdings[0].locks
    stop, a, b = -6 * pi / 180, 0.06, 0.18
    assert (lock.stop, lock.centre, lock.inwards) == (
        pytest.approx(stop),
        pytest.approx(0.0, abs=1e-12),
        True,
    )
    rises = -a * np.sin(stop) * (1.0 + a * cos(stop) / sqrt(b**2 - (a * np.sin(stop)) ** 2))
    driven = max(-push * rises, 0.0) * (2.0 - 1.0 / 0.8) / 60 - TF
    assert lock.motor_current_a == pytest.approx(driven / K if push < 0.0 else 0.0, rel=1e-6)
    plant = Plant(robot, robot.battery[0], Start(None, {"it": stop}, {}), 2_000_000)
    plant.command("it", PushFor(0.0, stop, 0, "coast"))
    plant.advance(1_000_000)
    assert (plant.position("it") == pytest.approx(stop)) == (push > 0.0)


@pytest.mark.parametrize(
    ("travel", "found"),
    [
        (["10 deg", "160 deg"], []),
        (["10 deg", "185 deg"], [(185, 180, False)]),
        (["-6 deg", "185 deg"], [(-6, 0, True), (185, 180, False)]),
        (["-6 deg", "4 deg"], [(-6, 0, True), (4, 0, True)]),
        (["-90 deg", "90 deg"], []),
    ],
)
def test_where_a_stop_lies_just_past_a_dead_centre(travel, found):
    """At 180 degrees the slider is farthest in: there a pull outwards holds it."""
    locks = only(api.move(bench({**CRANK, "travel": travel}), "it")).holdings[0].locks
    assert [(round(180 * one.stop / pi), round(180 * one.centre / pi), one.inwards) for one in locks] == found
    assert not only(api.move(bench(ARM), "it")).holdings[0].locks


def test_pull_sheet_by_hand():
    state = only(api.move(bench({**WINCH, "holding_brake": True}), "it"))
    (pull,) = state.pulls
    ratio, force = 40 * 2 / 0.03, 6 * G + 5
    current = (force / (ratio * 0.6) + TF) / K
    speed = (BATTERY[0] - current * (R + BATTERY[1])) / (K * ratio)
    assert pull.speed == pytest.approx(speed, rel=1e-9)
    stalled = BATTERY[0] / (R + BATTERY[1])
    assert pull.stall_share == pytest.approx(force / (ratio * (K * stalled - TF) * 0.6), rel=1e-9)
    assert pull.time_s == state.moves[0].arrival_s and pull.time_s > 0.5 / speed
    assert pull.holds is state.holdings[0]


def test_a_pull_that_sags_afterwards_has_its_first_reach():
    """Full effort as long as it is outside: inside it brakes, 6 kg turn its motor, and it leaves its window."""
    state = only(api.move(bench(WINCH), "it"))
    (pull,), braked = state.pulls, only(api.move(bench({**WINCH, "holding_brake": True}), "it")).pulls[0]
    assert pull.time_s is None and state.moves[0].arrival_s is None and not pull.holds.holds_off
    assert pull.reached_s == state.moves[0].first_inside_s
    assert pull.reached_s == braked.time_s == braked.reached_s  # where a brake keeps it


def test_a_ratchets_teeth_hold_a_pull_with_the_power_off():
    """From the first tooth on, a pitch apart: without any current, after a drop of one pitch at most."""
    toothed = {**WINCH, "ratchet": {"pitch": "8 mm"}}
    hold = only(api.move(bench(toothed), "it")).holdings[0]
    assert (hold.holds_off, hold.holds_off_surely, hold.motor_current_a, hold.fall) == (True, True, 0.0, None)
    assert hold.onto_tooth == pytest.approx(0.008)
    low = only(api.move(bench({**WINCH, "ratchet": {"pitch": "8 mm", "from": "0.2 m"}}), "it")).holdings[0]
    plain = only(api.move(bench(WINCH), "it")).holdings[0]
    assert not low.holds_off and not low.holds_off_surely and low.at < 0.2
    assert low.motor_current_a == plain.motor_current_a and low.onto_tooth == pytest.approx(0.008)
    assert plain.onto_tooth is None
    lifted = {**SLIDE, "ratchet": {"pitch": "8 mm"}, "springs": [{"constant_force": {"force": "60 N"}}]}
    up = only(api.move(bench(lifted), "it")).holdings[0]  # drawn upwards, where no tooth holds
    assert not up.holds_off and up.onto_tooth is None


def test_a_hoist_has_the_same_sheet():
    """6 kg hang at the end: as the winch that lifts as much all the way; slack takes less time than load."""
    hoist = {**WINCH, "kind": "hoist", "slack": "0.15 m", "load_mass": "6 kg", "holding_brake": True}
    state = only(api.move(bench(hoist), "it"))
    (pull,) = state.pulls
    (plain,) = only(api.move(bench({**WINCH, "holding_brake": True}), "it")).pulls
    assert pull.speed == pytest.approx(plain.speed, rel=1e-9)
    assert pull.stall_share == pytest.approx(plain.stall_share, rel=1e-9)
    slack = only(api.move(bench(hoist), "it", 0.0, 0.15)).moves[0].arrival_s
    assert slack + 0.3 / pull.speed < pull.time_s == state.moves[0].arrival_s < plain.time_s
    assert pull.holds.holds_off


def test_a_servos_table_is_that_of_single_moves():
    robot = bench(SERVO, rails=RAILS[0])
    state = only(api.move(robot, "it"))
    angles = [angle for angle, _ in state.times]
    assert angles == pytest.approx([pi / 18 * k for k in range(1, 13)])
    for angle, time in state.times[::4]:
        assert only(api.move(robot, "it", 0.0, angle)).moves[0].arrival_s == time
    assert state.times[-1][1] == state.moves[0].arrival_s


def test_a_roller_is_up_to_speed_when_it_should_be():
    """First order: t = tau ln 20 for a motor without friction on a stiff battery."""
    roller = {**ROLLER, "gearing": [{"ratio": "4:1", "efficiency": "100 %"}]}
    robot = bench(roller, winding(R, K, J), (12.0, 0.0))
    move = only(api.move(robot, "it")).moves[0]
    tau = (3e-4 + 16 * J) * R / (16 * K**2)
    assert move.arrival_s == pytest.approx(tau * np.log(20.0), rel=1e-3)
    assert move.series.v[-1] == pytest.approx(0.95 * 12.0 / (4 * K), rel=1e-3)


WHEEL = {
    "kind": "flywheel", "motors": "1 x m", "gearing": [{"ratio": "2:1"}], "inertia": "1e-3 kg*m^2",
    "speed": "2000 rpm", "diameter": "90 mm", "element_mass": "60 g",
}  # fmt: skip


def test_a_flywheel_spins_up_to_its_own_speed_and_dips_as_by_hand():
    """w = w1 (1 - exp(-t/tau)); a throw keeps the moment of momentum, J w1 = (J + m s r^2) w2 with s = 1/2."""
    robot = bench({**WHEEL, "gearing": [{"ratio": "2:1", "efficiency": "100 %"}]}, winding(R, K, J))
    state = only(api.move(robot, "it"))
    move, spins = state.moves[0], state.turning
    volts, ohms = BATTERY
    inertia, asked, final = 1e-3 + 4 * J, 2000 * pi / 30, volts / (2 * K)
    tau = inertia * (R + ohms) / (4 * K**2)
    assert move.arrival_s == pytest.approx(tau * np.log(final / (final - asked)), rel=1e-5)
    assert move.series.v[-1] == pytest.approx(asked, rel=1e-5)
    assert spins.steady == pytest.approx(final, rel=1e-9)
    assert spins.left == pytest.approx(inertia / (inertia + 0.06 * 0.5 * 0.045**2), rel=1e-9)
    back = tau * np.log((final - spins.left * asked) / (final - asked))
    assert spins.back_s == pytest.approx(back, rel=1e-3)
    assert spins.thrown == pytest.approx(0.5 * spins.left * asked * 0.045, rel=1e-9)
    assert spins.pull_in_s is None


def test_a_flywheel_that_is_asked_for_too_much_never_gets_there():
    state = only(api.move(bench({**WHEEL, "speed": "4000 rpm"}, winding(R, K, J)), "it"))
    assert state.moves[0].arrival_s is None and state.turning.back_s is None
    assert state.moves[0].reason == f"it ends at {30 / pi * state.turning.steady:.4g} rpm"


def test_a_roller_pulls_in_on_every_battery_state():
    """It slips with a = mu N/m up to the rim's speed u, then goes along: u/(2 a) + L/u."""
    pull = {"diameter": "2 in", "grip": 0.8, "press": "10 N", "element_mass": "0.2 kg", "length": "150 mm"}
    roller = {"kind": "roller", "motors": "1 x m", "gearing": [{"ratio": "10:1"}], "inertia": "3e-4 kg*m^2"}
    (state,) = api.move(bench({**roller, "pull_in": pull}), "it").states
    rim, a = state.turning.steady * 0.0254, 0.8 * 10 / 0.2
    assert 0.0 < rim**2 < 2 * a * 0.15
    assert state.turning.pull_in_s == pytest.approx(rim / (2 * a) + 0.15 / rim, rel=1e-9)
    assert only(api.move(bench(roller), "it")).turning.pull_in_s is None
    assert only(api.move(bench(ARM), "it")).turning is None


@pytest.mark.parametrize(("magnets", "loss"), [("ferrite", 0.002), ("neodymium", 0.0011), (None, 0.0)])
def test_tables_by_hand(magnets, loss):
    """Magnets that the sheet does not name keep their field, in the tables as in a run."""
    heat = {"winding_to_case": "3 K/W", "case_to_air": "8 K/W", "winding_time": "36 s", "case_time": "960 s",
            "limit": "125 degC", **({"magnets": magnets} if magnets else {})}  # fmt: skip
    robot = bench(ARM, {**MOTOR, "heat": heat})
    tables = tables_of(robot, "it", 0.4, 10.0, 70.0)
    assert tables.magnets == magnets
    # sheets at 25 degrees C, copper 0.00393/K at 20 degrees C
    warm_r, warm_k = R * (1 + 0.00393 * 50) / (1 + 0.00393 * 5), K * (1 - loss * 45)
    assert len(tables.rows) == 11
    for row in tables.rows:
        inertia = 1.2 * 0.04 * 4 / 3 + 0.4 * 0.04
        assert row.mass == pytest.approx(inertia, rel=1e-9)
        assert row.moved == pytest.approx(inertia + J * 150**2, rel=1e-9)
        assert row.load == pytest.approx(1.6 * G * 0.2 * cos(row.q), abs=1e-6)
        assert row.ratio == 150.0
        assert row.force == pytest.approx(150 * (warm_k * 10 / warm_r - TF) * 0.7, rel=1e-9)
        assert row.speed == pytest.approx((10 - warm_r * TF / warm_k) / (warm_k * 150), rel=1e-9)
    assert tables_of(robot, "it", 0.0, None, 20.0).volts == 12.0


@pytest.mark.parametrize(
    ("sheet", "ratio", "rpm"),
    [
        ({"free_speed": "312 rpm", "free_current": "250 mA", "stall_torque": "24.3 kg*cm", "stall_current": "9.2 A",
          "internal_ratio": 19.2}, 1, 312.0),
        ({"free_speed": "5800 rpm", "free_current": "0.25 A", "stall_current": "9.2 A", "internal_ratio": 1}, 150,
         5800.0),
    ],
)  # fmt: skip
def test_free_speed_in_the_tables_is_that_of_the_motors_sheet(sheet, ratio, rpm):
    """At nominal voltage, cold, after the gears: the sheet's own number."""
    motor = {"voltage": "12 V", "rotor_inertia": "1e-5 kg*m^2", "source": "illustrative", **sheet}
    robot = bench({**ARM, "gearing": [{"ratio": f"{ratio}:1", "efficiency": "70 %"}]}, motor)
    for row in tables_of(robot, "it", 0.0, None, 25.0).rows:
        assert row.speed == pytest.approx(rpm / ratio * pi / 30.0, rel=1e-9)


def test_look_up_goes_through_the_tables_knots_and_between():
    reduced = Models(bench(ARM)).get("it").reduced
    q = np.linspace(reduced.low, reduced.high, 1001)
    mass, slope, load, factor, bend = look_up(reduced, q)
    assert load == pytest.approx(1.2 * G * 0.2 * np.cos(q), abs=1e-9)
    assert np.all(factor == 1.0) and not np.any(bend) and not np.any(slope)
    assert mass == pytest.approx(1.2 * 0.04 * 4 / 3, rel=1e-12)


def test_a_stages_masses_are_looked_up_by_segment():
    staged = {**SLIDE, "stages": 2, "moving_mass": ["0.6 kg", "0.9 kg"]}
    reduced = Models(bench(staged)).get("it").reduced
    mass, _, load, _, _ = look_up(reduced, np.array([0.1, 0.5]))
    assert mass == pytest.approx([0.9, 1.5]) and load == pytest.approx([0.9 * G, 1.5 * G])


# --- asking ---------------------------------------------------------------------------------------------------


def test_ways():
    robot = bench(SLIDE)
    assert api.move(robot, "it").ways == (Way(0.0, 0.6), Way(0.6, 0.0))
    assert api.move(robot, "it", target=0.2).ways == (Way(0.0, 0.2),)
    assert api.move(robot, "it", start=0.2).ways == (Way(0.2, 0.6),)
    assert api.move(robot, "it", target=0.0).ways == (Way(0.6, 0.0),)
    assert api.move(bench(DRIVE), "it", turn=0.5).ways == (Way(0.0, 0.5, True),)
    with pytest.raises(SimbotError, match="it would not move"):
        api.move(robot, "it", start=0.3, target=0.3)
    with pytest.raises(SimbotError, match=r"'itt'.*did you mean 'it'"):
        api.move(robot, "itt")
    hook = a_robot({"hook": {"kind": "measured", "time": "0.3 s"}}, {"m": SMALL})
    with pytest.raises(SimbotError, match=r"hook is `measured`: a stopwatch time of 0\.3 s"):
        api.move(hook, "hook")


def test_others_on_the_robot_do_not_matter():
    alone = only(api.move(bench(SLIDE), "it")).moves[0]
    crowd = a_robot({"arm": ARM, "it": SLIDE, "drive": DRIVE}, {"m": MOTOR}, BATTERY)
    among = only(api.move(crowd, "it")).moves[0]
    assert (alone.arrival_s, alone.energy_j, alone.floor_s) == (
        among.arrival_s,
        among.energy_j,
        among.floor_s,
    )
