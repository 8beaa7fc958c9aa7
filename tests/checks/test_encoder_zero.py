"""Encoders whose zero is off: drift, play, zeroing against a stop or at a switch, and what fails by how much.

Where a mechanism ends is held against an integration of motor and load as two bodies with play between them; the time
to cross the play against the motor's own equation of motion.
"""

from __future__ import annotations

from math import cos, pi, radians, sin, sqrt

import pytest
from builders import SMALL, Words, a_move, a_plant, a_robot, a_run
from scipy.integrate import solve_ivp

from simbot.analysis.results import StateResult
from simbot.physics.encoder import crossing
from simbot.physics.follows import consequences
from simbot.physics.luck import Drawn
from simbot.physics.motor import motor_model
from simbot.physics.move import PushFor, Rezero
from simbot.physics.plant import Plant
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Motor, Start

LOOP = {"loop": "position", "p": "20 /m", "d": "0.5 s/m", "window": "4 mm", "slower_than": "20 mm/s"}


def rack(**more: object) -> Words:
    """Level: its friction is more than its load."""
    return {
        "kind": "rack", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "90 %"}],
        "pinion_diameter": "40 mm", "moving_mass": "2 kg", "friction": "6 N", "incline": "0 deg",
        "travel": ["0 m", "0.6 m"], "control": LOOP, **more,
    }  # fmt: skip


def a_rack(**more: object) -> Plant:
    start = float(str(more.pop("start", 0.0)))
    return a_plant(a_robot({"it": rack(**more)}, {"coil": SMALL}), it=start)


def rests(plant: Plant, target: float, after: float = 3.0) -> float:
    a_move(plant, "it", target)
    plant.advance(plant.now_us + round(after * 1e6))
    return float(plant.position("it"))


# --- off by a constant, and drifting ------------------------------------------------------------------


def test_a_zero_that_is_off_shifts_every_place_by_as_much() -> None:
    off, right = a_rack(zero="8 mm"), a_rack()
    move = a_move(off, "it", 0.3)
    assert move.arrival_us() == a_move(right, "it", 0.308).arrival_us()
    assert move.target == pytest.approx(0.308) and move.zero_off == pytest.approx(0.008)
    assert rests(off, 0.2) == pytest.approx(rests(right, 0.208), abs=1e-9)


def test_the_zero_drifts_with_every_move_and_not_with_none() -> None:
    plant = a_rack(zero_drift="0.5 mm")
    offs = []
    for target in (0.3, 0.1, 0.1, 0.4):  # the third is no move
        offs.append(a_move(plant, "it", target).zero_off)
        plant.advance(plant.now_us + 3_000_000)
    assert offs == pytest.approx([0.0005, 0.0010, 0.0010, 0.0015])


def test_a_push_drifts_too() -> None:
    plant = a_rack(zero_drift="0.5 mm")
    plant.command("it", PushFor(0.5, 0.4, 300_000))
    plant.advance(2_000_000)
    assert a_move(plant, "it", 0.1).zero_off == pytest.approx(0.001)


def test_a_loop_against_a_stop_never_arrives() -> None:
    """The stop at 0.6 m is measured as 0.59 m: that is not within 4 mm of 0.6 m."""
    plant = a_rack(zero="10 mm")
    move = a_move(plant, "it", 0.6)
    assert move.arrival_us() is None and "end of its travel" in move.reason()
    assert a_move(a_rack(zero="3 mm"), "it", 0.6).arrival_us() is not None


def test_full_effort_finds_the_stop_whatever_the_zero_says() -> None:
    full = {"loop": "full_effort", "window": "4 mm"}
    arrivals = [a_move(a_rack(zero=zero, control=full), "it", 0.6).arrival_us() for zero in ("0 mm", "10 mm")]
    assert arrivals[0] == arrivals[1] is not None


def test_a_passing_point_is_seen_where_the_encoder_says() -> None:
    plant = a_rack(zero="8 mm")
    move = a_move(plant, "it", 0.5)
    at = plant.first_past_us("it", move, None, 0.3, 5_000_000)
    assert at is not None and plant.position("it", at - 20_000) < 0.308 <= plant.position("it", at)  # type: ignore[operator]


# --- play ------------------------------------------------------------------------------------------------


def ends_with_play(way: float, weight: float) -> float:
    """Load less motor [m] after a gentle way of the motor: two bodies, a stiff contact on either side of the play."""
    play, mass, rub, stiff, damp = 2e-3, 2.0, 6.0, 4e5, 600.0

    def contact(gap: float, rate: float) -> float:
        """Force on the load; gap: load less motor."""
        over = gap - play / 2 if gap > play / 2 else (gap + play / 2 if gap < -play / 2 else 0.0)
        force = -stiff * over - damp * rate if over != 0.0 else 0.0
        return min(force, 0.0) if over > 0.0 else max(force, 0.0)

    def motor(t: float) -> tuple[float, float]:
        if t >= 1.0:
            return way, 0.0
        return way * (1.0 - cos(pi * t)) / 2.0, way * pi * sin(pi * t) / 2.0

    def right(t: float, y: list[float]) -> list[float]:
        q, v = motor(t)
        force = contact(y[0] - q, y[1] - v)
        slip = max(-1.0, min(1.0, y[1] / 1e-5))  # friction, steep about rest
        return [y[1], (force - weight - rub * slip) / mass]

    begin = play / 2 if weight <= rub else -play / 2
    run = solve_ivp(right, (0.0, 1.3), [begin, 0.0], method="Radau", rtol=1e-6, atol=1e-9, max_step=2e-3)
    return float(run.y[0][-1]) - way


@pytest.mark.parametrize(("incline", "weight"), [("0 deg", 0.0), ("90 deg", 2.0 * 9.80665)])
@pytest.mark.parametrize("way", [0.1, -0.1])
def test_play_lies_on_the_side_of_the_load_or_behind_the_move(
    incline: str, weight: float, way: float
) -> None:
    """Off by load less motor, counted from where it was when it was zeroed from above."""
    plant = a_rack(backlash="2 mm", incline=incline, start=0.3)
    off = a_move(plant, "it", 0.3 + way).zero_off
    begin = 1e-3 if weight == 0.0 else -1e-3
    assert off == pytest.approx(ends_with_play(way, weight) - begin, abs=6e-5)


def test_play_from_both_sides_differs_by_the_play() -> None:
    plant = a_rack(backlash="2 mm")
    up = rests(plant, 0.3)
    rests(plant, 0.5)
    down = rests(plant, 0.3)
    straight = a_rack()
    first = rests(straight, 0.3)
    rests(straight, 0.5)
    assert (down - up) - (rests(straight, 0.3) - first) == pytest.approx(0.002, abs=2e-4)


def coil() -> Motor:
    return a_robot({"it": rack()}, {"coil": SMALL}).motors["coil"]


def test_time_to_cross_the_play() -> None:
    """A motor of 12 V, 5800 rpm, 0.25 A, 9.2 A, 1e-5 kg m^2 behind 20:1 crosses 1.5 degrees in 8.1006 ms."""
    motor = motor_model(coil())
    torque = motor.constant * 12.0 / motor.resistance - motor.friction
    free = (12.0 - motor.friction / motor.constant * motor.resistance) / motor.constant
    got, _ = crossing(radians(30.0), torque, 1e-5, free)
    assert got == pytest.approx(8.1006e-3, abs=5e-8)

    def there(_t: float, y: list[float]) -> float:
        return y[0] - radians(30.0)

    there.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(lambda _t, y: [y[1], torque * (1.0 - y[1] / free) / 1e-5], (0.0, 1.0), [0.0, 0.0], events=there,
                    rtol=1e-12, atol=1e-14)  # fmt: skip
    assert got == pytest.approx(float(run.t_events[0][0]), rel=1e-9)
    assert got > sqrt(2.0 * radians(30.0) * 1e-5 / torque)
    assert crossing(0.0, torque, 1e-5, free) == (0.0, 0.0)
    assert crossing(1.0, torque, 0.0, free) == pytest.approx((1.0 / free, free))


def test_check_tells_the_time_to_cross() -> None:
    arc = 20e-3 * radians(1.5)  # of a pinion of 40 mm
    robot = a_robot({"it": rack(backlash=f"{arc!r} m")}, {"coil": SMALL}, (12.0, 0.1))
    told = [each.text for each in consequences(robot) if each.key.endswith("backlash")]
    assert len(told) == 1 and "at least 8.1 ms" in told[0]


@pytest.mark.parametrize("most", [0.004, 0.012])
def test_time_to_cross_with_limited_current(most: float) -> None:
    """Constant torque up to the line, then the line: against an integration; within the limit sqrt(2 angle J/T)."""
    torque, free, inertia = 0.03, 600.0, 1e-5

    def slope(_t: float, y: list[float]) -> list[float]:
        return [y[1], min(most, torque * (1.0 - y[1] / free)) / inertia]

    for angle in (0.2, 3.0, 300.0):

        def there(_t: float, y: list[float], angle: float = angle) -> float:
            return y[0] - angle

        there.terminal = True  # type: ignore[attr-defined]
        run = solve_ivp(slope, (0.0, 5.0), [0.0, 0.0], events=there, rtol=1e-11, atol=1e-12, max_step=2e-3)
        time, speed = crossing(angle, torque, inertia, free, most)
        assert time == pytest.approx(float(run.t_events[0][0]), rel=1e-7)
        assert speed == pytest.approx(float(run.y_events[0][0][1]), rel=1e-6)
    assert crossing(0.2, torque, inertia, free, most)[0] == pytest.approx(sqrt(2.0 * 0.2 * inertia / most))


FULL = {"loop": "full_effort", "window": "4 mm"}
RATIO, DRUM = 20.0, 0.02  # motor's turns per turn of the pinion; its radius [m]


def two_bodies(play: float, effort: float, way: float) -> float:
    """Time [s] for a rack at rest to have gone `way` where its motor crosses the play first: the motor alone, a
    plastic impact, then both; 90 % of the gears' torque and of the rotor's momentum reach the rack."""
    motor = motor_model(coil())
    k, r, j = motor.constant, motor.resistance, 1e-5
    ratio, eta = RATIO / DRUM, 0.9

    def alone(_t: float, y: list[float]) -> list[float]:
        return [y[1], (k * (effort * 12.0 - k * y[1]) / r - motor.friction) / j]

    def met(_t: float, y: list[float]) -> float:
        return y[0] - play * ratio

    def both(_t: float, y: list[float]) -> list[float]:
        torque = k * (effort * 12.0 - k * ratio * y[1]) / r - motor.friction
        return [y[1], (torque * ratio * eta - 6.0) / (2.0 + j * ratio**2 * eta)]

    def gone(_t: float, y: list[float]) -> float:
        return y[0] - way

    met.terminal = gone.terminal = True  # type: ignore[attr-defined]
    tight = {"rtol": 1e-11, "atol": 1e-13}
    time, speed = 0.0, 0.0
    if play > 0.0:
        first = solve_ivp(alone, (0.0, 5.0), [0.0, 0.0], events=met, **tight)
        time, speed = float(first.t_events[0][0]), float(first.y_events[0][0][1]) / ratio
    shared = speed * j * ratio**2 * eta / (2.0 + j * ratio**2 * eta)
    then = solve_ivp(both, (0.0, 5.0), [0.0, shared], events=gone, **tight)
    return time + float(then.t_events[0][0])


@pytest.mark.parametrize("effort", [1.0, 0.5])
@pytest.mark.parametrize("play", [0.0, 0.001, 0.004])
def test_a_move_back_crosses_the_play_first(play: float, effort: float) -> None:
    """Zeroed from above its load lies on the upper flank's side: a move up crosses the play, a second one does not."""
    control = {**FULL, "effort": f"{100 * effort} %"}
    plant = a_rack(backlash=f"{play!r} m", start=0.3, control=control)
    move = a_move(plant, "it", 0.4)
    arrival = move.first_inside_us()
    assert arrival is not None
    way = move.target - 0.3 - 0.004
    assert way == pytest.approx(0.096 - play)  # what the play takes of the way
    assert arrival * 1e-6 == pytest.approx(two_bodies(play, effort, way), abs=2e-6)
    assert move.floor_s() == pytest.approx(two_bodies(play, 1.0, way), abs=2e-6)
    plant.advance(5_000_000)
    here = float(plant.position("it"))
    again = a_move(plant, "it", 0.5)
    at = again.first_inside_us()
    assert at is not None
    straight = two_bodies(0.0, effort, again.target - here - 0.004)
    assert (at - again.start_us) * 1e-6 == pytest.approx(straight, abs=2e-6)


def test_a_load_that_presses_is_never_left() -> None:
    """Hung up, its weight is more than its friction: the motor stays on the flank that carries it, both ways."""
    times = []
    for play in ("0 mm", "4 mm"):
        plant = a_rack(backlash=play, incline="90 deg", start=0.3, control=FULL)
        for target in (0.4, 0.2):
            move = a_move(plant, "it", target)
            assert move.target == pytest.approx(target)
            times.append(move.first_inside_us())
            plant.advance(plant.now_us + 3_000_000)
    assert times[:2] == times[2:]


def test_a_profile_takes_its_load_along_when_it_comes_to_it() -> None:
    """From 2 mm behind the load at 0.5 m/s^2: sqrt(2 x 2 mm/0.5) = 89.4 ms, with its share of 44.7 mm/s."""
    control = {
        "loop": "profile",
        "speed": "0.3 m/s",
        "acceleration": "0.5 m/s^2",
        "p": "20 /m",
        "window": "4 mm",
    }
    plant = a_rack(backlash="2 mm", start=0.3, control=control)
    a_move(plant, "it", 0.5)
    begin = sqrt(2.0 * 0.002 / 0.5)
    before, after = round(begin * 1e6) - 1, round(begin * 1e6) + 1
    plant.advance(before)
    assert plant.position("it") == 0.3
    plant.advance(after)
    inertia = 1e-5 * (RATIO / DRUM) ** 2 * 0.9
    assert plant.speed("it") == pytest.approx(0.5 * begin * inertia / (2.0 + inertia), rel=1e-2)


def test_latency_comes_before_the_play() -> None:
    plain = a_rack(backlash="2 mm", start=0.3, control=FULL)
    late = a_rack(backlash="2 mm", start=0.3, control={**FULL, "latency": "30 ms"})
    first, second = (a_move(each, "it", 0.4).first_inside_us() for each in (plain, late))
    assert first is not None and second == first + 30_000


# --- zeroing ---------------------------------------------------------------------------------------------


def test_zeroing_against_the_stop_takes_the_drift_away() -> None:
    plant = a_rack(zero_drift="0.5 mm", zero="1 mm")
    for target in (0.3, 0.1, 0.4):
        rests(plant, target)
    move = plant.command("it", Rezero(0.0, 0.3))
    at = move.arrival_us()
    assert move.touch and at is not None
    plant.advance(at + 200_000)
    assert plant.position("it") == 0.0
    assert a_move(plant, "it", 0.3).zero_off == pytest.approx(
        0.0015
    )  # what zeroing leaves, and this move's drift


def test_cut_before_its_stop_it_is_not_zeroed() -> None:
    plant = a_rack(zero_drift="0.5 mm")
    for target in (0.3, 0.1, 0.4):
        rests(plant, target)
    plant.command("it", Rezero(0.0, 0.3))
    plant.advance(plant.now_us + 200_000)
    assert a_move(plant, "it", 0.3).zero_off == pytest.approx(0.002)


@pytest.mark.parametrize(("switch", "start"), [(0.05, 0.3), (0.55, 0.3), (0.05, 0.02)])
def test_a_switch_is_seen_at_a_tick_and_the_zero_is_off_by_the_way_since(switch: float, start: float) -> None:
    """Closed from there to the nearer end; started on it, it is zeroed where it stands."""
    plant = a_rack(start=start)
    move = plant.command("it", Rezero(switch, 0.4))
    arrival = move.arrival_us()
    assert arrival is not None and not move.touch
    seen = plant.tick_at_or_after(arrival)
    plant.advance(seen + 1_000_000)
    beyond = float(plant.position("it", seen)) - switch
    stood_on_it = start < switch < 0.3
    assert float(plant.position("it", arrival)) == pytest.approx(start if stood_on_it else switch, abs=1e-6)
    assert beyond * (switch - 0.3) >= 0.0
    assert a_move(plant, "it", 0.3).zero_off == pytest.approx(beyond, abs=1e-8)


def test_zeroing_on_a_stop_leaves_the_play_on_the_side_of_the_push() -> None:
    """Pushed down against the stop the motor is ahead by half the play; upwards the load lags by the other half."""
    plant = a_rack(backlash="2 mm", start=0.3)
    plant.command("it", Rezero(0.0, 0.3))
    plant.advance(3_000_000)
    assert a_move(plant, "it", 0.3).zero_off == pytest.approx(-0.002)
    plant.advance(6_000_000)
    assert a_move(plant, "it", 0.1).zero_off == pytest.approx(0.0)


def test_under_chance_every_zeroing_and_every_move_has_its_own_draw() -> None:
    robot = a_robot({"it": rack(zero="0 mm ± 1 mm", zero_drift="0 mm ± 0.2 mm")}, {"coil": SMALL})
    firsts, steps = [], []
    for match in range(200):
        plant = Plant(robot, robot.battery[0], Start(None, {}, {}), 20_000_000, luck=Drawn(1, 0, match))
        firsts.append(plant.zero_off("it"))
        a_move(plant, "it", 0.3)
        steps.append(plant.zero_off("it") - firsts[-1])
    for drawn, sd in ((firsts, 0.5e-3), (steps, 0.1e-3)):
        assert abs(sum(drawn) / 200) < 4 * sd / sqrt(200)
        assert sqrt(sum(each**2 for each in drawn) / 200) == pytest.approx(sd, rel=0.2)
    assert a_plant(robot).zero_off("it") == 0.0


# --- what fails ------------------------------------------------------------------------------------------

HAND = {"kind": "measured", "time": "0.1 s"}


def placed(within: str = "10 mm", then: list[Words] | None = None, **more: object) -> StateResult:
    need = {"it": f"0.3 m within {within}"}
    steps = [
        {"move": {"it": "0.3 m"}}, {"wait": "arrival", "at_most": "3 s"}, {"wait": "1 s", "for": "settling"},
        {"place": {"into": "bin", "by": {"hand": "open"}, "needs": need, "count": 1}}, *(then or []),
    ]  # fmt: skip
    start = {"holds": {"hand": "ball"}, "hand": "shut"}
    places = {"bin": {"pose": ["1 m", "1 m", "0 deg"], "takes": "ball", "points": 3}}
    return a_run(steps, {"it": rack(**more), "hand": HAND}, {"coil": SMALL}, start=start,
                 elements={"ball": {}}, places=places)  # fmt: skip


def room(result: StateResult) -> tuple[float, float]:
    text = next(one.text for one in result.findings if one.kind == "zero_room")
    words = text.split("may be off by ")[1].split()
    return float(words[0]), float(words[3])


def test_what_fails_when_the_zero_is_off() -> None:
    """Inside the room that a run tells the same plan passes, outside it the need is not met: tried by runs."""
    low, high = room(placed(zero="1 mm"))
    assert -0.014 < low < -0.006 and 0.006 < high < 0.014
    for off, passes in ((low + 1e-4, True), (low - 1e-4, False), (high - 1e-4, True), (high + 1e-4, False)):
        result = placed(zero=f"{off!r} m")
        assert result.passes == passes
        if not passes:
            unmet = next(one for one in result.findings if one.kind == "need_unmet")
            assert "outside what is needed (its zero is" in unmet.text and "off)" in unmet.text


def test_a_stop_in_the_way_is_told_too() -> None:
    top = [{"move": {"it": "0.6 m"}}, {"wait": "arrival", "at_most": "3 s"}]
    low, high = room(placed(within="50 mm", then=top, zero="1 mm"))
    assert high == pytest.approx(0.004) and low < -0.04
    found = placed("50 mm", top, zero="1 mm").findings
    text = next(one.text for one in found if one.kind == "zero_room")
    assert "never arrives: its stop is in the way" in text
    for off, arrives in ((0.0039, True), (0.0041, False)):
        result = placed("50 mm", top, zero=f"{off!r} m")
        assert (result.moves[-1].arrival_us is not None) == arrives


def test_nothing_is_told_where_nothing_is_stated() -> None:
    assert not [one for one in placed().findings if one.kind == "zero_room"]


def test_a_zeroing_in_a_plan_has_its_three_times() -> None:
    then = [
        {"zero": {"it": "0 m", "effort": "40 %"}},
        {"wait": "2 s"},
        {"move": {"it": "0.3 m"}},
        {"wait": "arrival"},
    ]
    result = placed(zero_drift="2 mm", then=then)
    move = next(each for each in result.moves if "to its zero at 0 m" in each.label)
    assert move.floor_us is not None and move.arrival_us is not None and move.timer_us is not None
    assert 0 < move.floor_us < move.arrival_us < move.timer_us
    assert result.moves[-1].arrival_us is not None


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ({"zero": {"hand": "open"}}, ["hand cannot be given a zero", "stopwatch"]),
        ({"zero": {"if": "0 m"}}, ["no such mechanism", "if", "it"]),
        ({"zero": {"it": "0.7 m"}}, ["outside the travel of it", "0.7 m"]),
        ({"zero": {"it": "0 m", "effort": "0 %"}}, ["effort", "0 %"]),
        ({"zero": {"it": "0 m", "speed": "1 m/s"}}, ["one mechanism is wanted", "speed"]),
        ({"zero": {"it": "low"}}, ["no such named position", "low"]),
        ({"zero": {"tip": "0 deg"}}, ["tip has no encoder to be zeroed", "servo"]),
    ],
)
def test_mistakes_in_zeroing(step: Words, words: list[str]) -> None:
    tip = {"kind": "servo", "speed": "0.12 s/60deg", "stall_torque": "1 N*m", "at": "6 V", "rail": "rail",
           "travel": ["0 deg", "90 deg"]}  # fmt: skip
    rails = {"rail": {"voltage": "6 V", "current_limit": "5 A", "regulator": "switching"}}
    with pytest.raises(ScenarioError) as caught:
        a_run([step, {"wait": "1 s"}], {"it": rack(), "hand": HAND, "tip": tip}, {"coil": SMALL}, rails=rails)
    for word in words:
        assert word in str(caught.value)


@pytest.mark.parametrize(("key", "value"), [("backlash", "-1 mm"), ("zero", "5"), ("zero_drift", "1 deg")])
def test_mistakes_in_its_keys(key: str, value: str) -> None:
    with pytest.raises(ScenarioError, match=value):
        a_robot({"it": rack(**{key: value})}, {"coil": SMALL})


def test_an_arm_measures_angles() -> None:
    arm = {"kind": "arm", "motors": "1 x coil", "gearing": [{"ratio": 60, "efficiency": "85 %"}], "moving_mass": "1 kg",
           "centre": "0.2 m", "friction": "0.1 N*m", "travel": ["-30 deg", "150 deg"], "zero": "2 deg",
           "backlash": "1 deg",
           "control": {"loop": "position", "p": "3 /rad", "d": "0.2 s/rad", "window": "2 deg"}}  # fmt: skip
    plant = a_plant(a_robot({"it": arm}, {"coil": SMALL}), it=0.0)
    assert a_move(plant, "it", radians(45.0)).zero_off == pytest.approx(radians(2.0))
    plant.advance(3_000_000)  # beyond the vertical its weight presses the other way, over the play
    assert a_move(plant, "it", radians(135.0)).zero_off == pytest.approx(radians(3.0))
    assert pi > radians(135.0)
