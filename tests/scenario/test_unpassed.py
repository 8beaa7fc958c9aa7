"""Waits for a point that nothing on the way leads past, and for an instant after the end: told where it is certain."""

from __future__ import annotations

import pytest
from stopwatches import a_plan, wait

from simbot.routine.match import play
from simbot.scenario.check import plan_doubts
from simbot.scenario.time_doubts import too_late
from simbot.scenario.unpassed import unpassed

COIL = {"voltage": "12 V", "free_speed": "330 rpm", "free_current": "0.4 A", "stall_torque": "2.4 N*m",
        "stall_current": "9.4 A", "rotor_inertia": "1e-4 kg*m^2"}  # fmt: skip
MAST = {"kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": "1:1", "efficiency": "95 %"}],
        "drum_diameter": "50 mm", "moving_mass": "1.6 kg", "friction": "5 N", "travel": ["0 m", "0.6 m"],
        "control": {"loop": "position", "p": "15 /m", "window": "12 mm"}}  # fmt: skip


def with_mast(folder, steps, start="0 m", **more):
    hands = {name: {"kind": "measured", "time": "0.2 s"} for name in ("hand", "other")}
    robot = {"motors": {"coil": COIL}, "mechanisms": {**hands, "mast": {**MAST, **more}}}
    return a_plan(
        folder, steps, lasts="6 s", robot=robot, start={"hand": "open", "other": "open", "mast": start}
    )


def to(where, how="arrival"):
    return [{"move": {"mast": where}}, wait(how)]


def past(where, **more):
    return wait(f"until mast past {where}", **more)


@pytest.mark.parametrize(("steps", "says"), [
    ([past("0.3 m"), *to("0.4 m")], "nothing sends the mast"),
    ([past("60 %"), *to("0.4 m")], "nothing sends the mast"),
    ([{"repeat": 3, "steps": [past("0.3 m"), *to("0.4 m")]}], "nothing sends the mast"),
    ([{"move": {"mast": "0.2 m"}}, past("0.3 m")], "sends the mast on a way that does not pass 0.3 m"),
    ([{"together": [[past("0.3 m")], to("0.2 m")]}], "sends the mast on a way that does not pass 0.3 m"),
    ([{"together": [[past("0.5 m")], [*to("0.1 m"), *to("0.2 m")]]}], "send the mast on a way"),
    ([*to("0.4 m"), {"move": {"mast": "0.3 m"}}, past("0.1 m")], "on a way that does not pass 0.1 m"),
    ([{"when": {"holds": {"hand": "ball"}}, "do": to("0.1 m")}, past("0.4 m")], "on a way that does not pass 0.4 m"),
])  # fmt: skip
def test_a_wait_that_nothing_ends_is_told_and_stands_to_the_end(steps, says, tmp_path):
    plan = with_mast(tmp_path, steps)
    ((line, key, text),) = unpassed(plan)
    assert says in text and key == "wait"
    assert (line, text) in [(remark.line, remark.text) for remark in plan_doubts(plan)]
    trace, _ = play(plan, plan.robot.battery[0])
    (stood,) = [each for each in trace.waits if each.purpose == "passing"]
    assert stood.line == line and stood.cut and stood.ended_us == 6_000_000


@pytest.mark.parametrize(("steps", "start"), [
    ([{"move": {"mast": "0.4 m"}}, past("0.3 m")], "0 m"),
    ([{"together": [[past("0.3 m")], to("0.4 m")]}], "0 m"),
    ([{"together": [[past("0.3 m")], [*to("0.2 m"), *to("0.4 m")]]}], "0 m"),
    ([past("0.3 m"), *to("0.4 m")], "0.35 m"),  # it is there
    ([{"move": {"mast": "0 m"}}, past("0.2 m")], "0.4 m"),  # downwards
    ([{"move": {"mast": "0.4 m"}}, past("0.41 m")], "0 m"),  # within its window
    ([{"move": {"mast": "0.1 m"}}, past("0.05 m")], "0.2 m"),  # what comes down may swing as far again
    ([{"repeat": 2, "steps": [past("60 %", at_most="0.1 s"), *to("0.4 m")]}], "0 m"),  # the next round passes
    ([{"effort": {"mast": "80 %", "toward": "0.4 m", "for": "300 ms"}}, past("0.3 m")], "0 m"),
    ([{"when": {"holds": {"hand": "ball"}}, "do": to("0.5 m")}, past("0.4 m")], "0 m"),
    ([{"repeat": 2, "steps": [{"when": {"clock": "after 1 s"}, "do": [past("0.3 m")]}, *to("0.4 m")]}], "0 m"),
])  # fmt: skip
def test_a_wait_that_may_end_is_not_told(steps, start, tmp_path):
    assert not list(unpassed(with_mast(tmp_path, steps, start)))


def test_what_may_stand_elsewhere_than_it_is_seen_is_not_told(tmp_path):
    steps = [{"move": {"mast": "0.2 m"}}, past("0.3 m")]
    assert not list(unpassed(with_mast(tmp_path, steps, zero_drift="1 mm")))
    full = {"loop": "full_effort", "window": "12 mm"}
    assert not list(unpassed(with_mast(tmp_path, steps, control=full)))
    assert list(unpassed(with_mast(tmp_path, [steps[0], past("0.5 m")], control=full)))
    assert not list(
        unpassed(with_mast(tmp_path, [steps[0], past("0.5 m")], control={**full, "after": "coast"}))
    )


@pytest.mark.parametrize(
    ("text", "told"), [("until 12 s", True), ("until 10 s", False), ("until 4 s", False)]
)
def test_a_wait_for_an_instant_after_the_end_is_told(text, told, tmp_path):
    plan = a_plan(tmp_path, [wait(text)], game={"periods": {"only": "10 s", "second": "20 s"}})
    found = [text for _, _, text in too_late(plan)]
    assert bool(found) is told
    if told:
        assert found == [
            "12 s on the match clock is after the end of what it stands in (10 s): it is never waited out"
        ]
