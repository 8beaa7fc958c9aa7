"""A ratchet's pawl taken out of its teeth and let in again: what falls, and how far.

The fall is held against an integration of its own: mass, rotor behind its gears and friction, the motor's leads open
(so slow that its back-EMF stays below the battery).
"""

from __future__ import annotations

import pytest
from builders import G, Words, a_move, a_plant, a_robot, a_run, winding
from scipy.integrate import solve_ivp

from simbot.physics.plant import Plant
from simbot.scenario.errors import ScenarioError

MOTOR = winding(0.45, 0.0185, 2e-6)
LOOSE = {"loop": "full_effort", "window": "2 m", "after": "coast"}


def hoisted(**more: object) -> Words:
    """A winch that a load unwinds where no tooth holds it."""
    return {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 4, "efficiency": "100 %"}],
        "drum_diameter": "40 mm", "moving_mass": "5 kg", "friction": "10 N", "travel": ["0 m", "0.6 m"],
        "control": LOOSE, "ratchet": {"pitch": "50 mm"}, **more,
    }  # fmt: skip


def at_rest_on_a_tooth() -> Plant:
    plant = a_plant(a_robot({"hook": hoisted()}, {"coil": MOTOR}), hook=0.43)
    plant.advance(2_000_000)
    assert plant.position("hook") == pytest.approx(0.40, abs=1e-12)
    return plant


def fall(way: float) -> tuple[float, float]:
    """Time [s] from rest over a way, and the speed there."""
    mass = 5.0 + (4.0 / 0.02) ** 2 * 2e-6

    def there(_t: float, y: list[float]) -> float:
        return y[0] - way

    there.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(lambda _t, y: [y[1], (5.0 * G - 10.0) / mass], (0.0, 5.0), [0.0, 0.0], events=there,
                    rtol=1e-11, atol=1e-13)  # fmt: skip
    return float(run.t_events[0][0]), float(run.y_events[0][0][1])


def test_released_it_falls_to_its_stop() -> None:
    plant = at_rest_on_a_tooth()
    plant.set_pawl("hook", False)
    time, speed = fall(0.40)
    plant.advance(2_000_000 + round(time * 1e6) - 100)
    assert plant.speed("hook") == pytest.approx(-speed, rel=1e-3)
    plant.advance(5_000_000)
    assert plant.position("hook") == 0.0 and plant.speed("hook") == 0.0


def test_a_latch_is_one_tooth() -> None:
    """Let go above it, it falls onto it and stays; below it, or with the latch out, it falls to its stop."""
    latch = {"from": "0.25 m"}
    for start, ends in ((0.43, 0.25), (0.2, 0.0)):
        plant = a_plant(a_robot({"hook": hoisted(ratchet=latch)}, {"coil": MOTOR}), seconds=8.0, hook=start)
        plant.advance(4_000_000)
        assert plant.position("hook") == pytest.approx(ends, abs=1e-12) and plant.speed("hook") == 0.0
        plant.set_pawl("hook", False)
        plant.advance(8_000_000)
        assert plant.position("hook") == 0.0
    time, _ = fall(0.18)
    plant = a_plant(a_robot({"hook": hoisted(ratchet=latch)}, {"coil": MOTOR}), hook=0.43)
    plant.advance(round(time * 1e6) - 500)
    assert plant.speed("hook") < -0.1
    plant.advance(round(time * 1e6) + 50)
    assert plant.speed("hook") == 0.0


def driven_down(way: float) -> float:
    """Time from rest over a way at full effort on 12 V, its motor's winding and its weight pulling down [s]."""
    turns, ohms, constant = 4.0 / 0.02, 0.45, 0.0185
    mass = 1.0 + turns**2 * 2e-6

    def goes(_t: float, y: list[float]) -> list[float]:
        pull = turns * constant * (12.0 - turns * constant * y[1]) / ohms
        return [y[1], (pull + 1.0 * G - 10.0) / mass]

    def there(_t: float, y: list[float]) -> float:
        return y[0] - way

    there.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(goes, (0.0, 5.0), [0.0, 0.0], events=there, rtol=1e-11, atol=1e-13)
    return float(run.t_events[0][0])


@pytest.mark.parametrize(
    ("ratchet", "engaged", "way"),
    [
        (None, True, 0.40),
        ({"from": "5 mm"}, True, 0.395),
        ({"from": "5 mm"}, False, 0.40),
        ({"from": "0.3 m"}, False, 0.40),
        ({"pitch": "50 mm"}, False, 0.40),
        ({"from": "0.3 m"}, True, None),
        ({"pitch": "50 mm"}, True, None),
    ],
)
def test_floors_of_what_goes_down(ratchet: Words | None, engaged: bool, way: float | None) -> None:
    """Onto a latch inside its window, or to its stop; no control gets past a tooth that is not."""
    hook = hoisted(moving_mass="1 kg", control={"loop": "full_effort", "window": "15 mm"})
    hook = {**hook, "ratchet": ratchet} if ratchet else {k: v for k, v in hook.items() if k != "ratchet"}
    plant = a_plant(a_robot({"hook": hook}, {"coil": MOTOR}), hook=0.40)
    if not engaged:
        plant.set_pawl("hook", False)
    move = a_move(plant, "hook", 0.0)
    arrival, floor = move.arrival_us(), move.floor_s()
    if way is None:
        assert (arrival, floor) == (None, None)
        assert move.reason() == "its ratchet holds it: a `ratchet: {hook: released}` step lets it down"
        return
    assert arrival is not None and floor is not None
    assert arrival * 1e-6 == pytest.approx(driven_down(way), abs=1.5e-6)
    assert floor == pytest.approx(driven_down(way), abs=1e-6) and floor <= arrival * 1e-6


def test_a_pawl_taken_out_on_the_way_lets_it_arrive_and_gives_it_a_floor() -> None:
    hook = hoisted(moving_mass="1 kg", control={"loop": "full_effort", "window": "15 mm"})
    plant = a_plant(a_robot({"hook": hook}, {"coil": MOTOR}), hook=0.40)
    move = a_move(plant, "hook", 0.0)
    assert move.floor_s() is None
    plant.advance(100_000)
    plant.set_pawl("hook", False)
    arrival, floor = move.arrival_us(), move.floor_s()
    assert arrival is not None and arrival * 1e-6 == pytest.approx(0.1 + driven_down(0.40), abs=1.5e-6)
    assert floor == pytest.approx(driven_down(0.40), abs=1e-6)


def test_teeth_or_a_latch_have_to_be_somewhere() -> None:
    with pytest.raises(ScenarioError, match=r"ratchet.*`pitch` for teeth, `from` alone for a latch"):
        a_robot({"hook": hoisted(ratchet={"release_time": "0.1 s"})}, {"coil": MOTOR})


def test_let_in_again_the_next_tooth_below_catches_it() -> None:
    plant = at_rest_on_a_tooth()
    plant.set_pawl("hook", False)
    time, _ = fall(0.18)  # between the teeth at 0.25 and 0.20 m
    plant.advance(2_000_000 + round(time * 1e6))
    assert plant.position("hook") == pytest.approx(0.22, abs=1e-5)
    plant.set_pawl("hook", True)
    plant.advance(6_000_000)
    assert plant.position("hook") == pytest.approx(0.20, abs=1e-12)


def test_what_it_carries_does_not_let_the_pawl_in() -> None:
    plant = at_rest_on_a_tooth()
    plant.set_pawl("hook", False)
    plant.set_payload("hook", 0.5)
    plant.advance(6_000_000)
    assert plant.position("hook") == 0.0


def hung(steps: list[Words], pitch: Words | None = None) -> float:
    hook = hoisted(ratchet={"pitch": "50 mm", **(pitch or {})}, named={"low": "0 m"})
    result = a_run(steps, {"hook": hook, "flap": {"kind": "measured", "time": "0.1 s"}}, {"coil": MOTOR},
                   start={"hook": "0.42 m"}, elements={"ball": {}},
                   places={"bin": {"pose": ["1 m", "1 m", "0 deg"], "takes": "ball", "points": 3}})  # fmt: skip
    [need] = result.needs
    assert not isinstance(need.position, str)
    return need.position


def test_steps_of_a_plan() -> None:
    """Its needs tell where it hangs: on the tooth at 0.40 m, on the floor, or still there while the pawl moves."""
    look = {
        "place": {
            "into": "bin",
            "by": {"flap": "open"},
            "needs": {"hook": "0.1 m within 1 mm"},
            "else": "missed",
        }
    }
    out = {"ratchet": {"hook": "released"}}
    wait = {"wait": "0.6 s"}
    assert hung([wait, look, wait]) == pytest.approx(0.40, abs=1e-9)
    assert hung([wait, out, wait, look, wait]) == pytest.approx(0.0, abs=1e-9)
    assert hung(
        [wait, out, {"wait": "0.1 s"}, {"ratchet": {"hook": "engaged"}}, wait, look, wait]
    ) == pytest.approx(0.35, abs=1e-9)
    slow = {"release_time": "0.5 s"}
    assert hung([wait, out, {"wait": "0.3 s"}, look, wait], slow) == pytest.approx(0.40, abs=1e-9)
    assert hung([wait, out, {"wait": "1.5 s"}, look, wait], slow) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ({"ratchet": {"flap": "released"}}, ["flap has no ratchet", "measured"]),
        ({"ratchet": {"hok": "released"}}, ["no such mechanism", "hok", "hook"]),
        ({"ratchet": {"hook": "open"}}, ["ratchet", "open", "released"]),
    ],
)
def test_mistakes(step: Words, words: list[str]) -> None:
    with pytest.raises(ScenarioError) as caught:
        hung([step])
    for word in words:
        assert word in str(caught.value)
