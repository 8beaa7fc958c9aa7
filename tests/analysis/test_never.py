"""Moves that never arrive are told, also where no need asks for them."""

from __future__ import annotations

from stopwatches import a_plan, wait

from simbot import api

WEAK = {
    "motors": {
        "coil": {
            "voltage": "12 V", "free_speed": "6000 rpm", "free_current": "0.3 A", "stall_torque": "0.1 N*m",
            "stall_current": "9 A", "rotor_inertia": "9e-6 kg*m^2", "source": "illustrative",
        }
    },
    "mechanisms": {
        "lift": {
            "kind": "slide", "incline": "90 deg", "motors": "1 x coil", "gearing": [{"ratio": "1:1"}],
            "drum_diameter": "40 mm",
            "moving_mass": "5 kg", "travel": ["0 m", "0.5 m"], "control": {"loop": "full_effort", "window": "10 mm"},
        }
    },
}  # fmt: skip


def test_a_timed_wait_for_what_never_arrives_is_a_finding(tmp_path):
    steps = [{"move": {"lift": "0.4 m"}}, wait("300 ms")]
    plan = a_plan(tmp_path, steps, "2 s", robot=WEAK, start={"lift": "0 m"})
    (state,) = api.run(plan).states
    (found,) = [one for one in state.findings if one.kind == "never_arrived"]
    assert (found.mechanism, found.fails, found.late_us) == ("lift", False, None)
    assert "waits for the lift, which ends at 0 m, not 0.4 m" in found.text


TANK, STROKE = 0.5e-3, 0.7853981633974483 * 0.02**2 * 0.1  # m^3
PISTON = {
    "kind": "cylinder", "bore": "20 mm", "stroke": "100 mm", "tank": "0.5 l", "supply": "4 bar", "time": "0.2 s",
    "least_pressure": "2.5 bar",
}  # fmt: skip


def test_a_tank_that_runs_out_is_told_at_the_first_stroke_that_fails(tmp_path):
    """Without a regulator tank and cylinder share what there is: p falls by V/(V + V_stroke) a stroke."""
    pressure, number = 4e5 + 101325.0, 0
    while (pressure := pressure * TANK / (TANK + STROKE)) - 101325.0 >= 2.5e5:
        number += 1
    robot = {"motors": WEAK["motors"], "mechanisms": {"flap": PISTON}}
    steps = [each for word in ("out", "in") for each in ({"move": {"flap": word}}, wait("250 ms"))]
    plan = a_plan(tmp_path, [{"repeat": 10, "steps": steps}], "9 s", robot=robot, start={"flap": "in"})
    (state,) = api.run(plan).states
    found = [one for one in state.findings if one.kind == "never_arrived"]
    first = min(found, key=lambda one: one.at_us)
    assert 3 < number < 19
    assert first.at_us == number * 250_000  # the commands: one every 250 ms, on ticks of 10 ms
    word = "out" if number % 2 == 0 else "in"
    assert (
        f"which stops on its way to {word} (its air ends at {(pressure - 101325.0) / 1e5:.3g} bar"
        in first.text
    )
    assert not [one for one in state.findings if "ends at ," in one.text]


def test_a_routine_that_hangs_does_not_pass(tmp_path):
    steps = [{"move": {"lift": "0.4 m"}}, wait("arrival")]
    run = api.run(a_plan(tmp_path, steps, "2 s", robot=WEAK, start={"lift": "0 m"}))
    (state,) = run.states
    (found,) = [one for one in state.findings if one.kind == "never_arrived"]
    assert "waited to the end of its period for the lift" in found.text
    assert not state.passes and run.weakest_state_that_passes is None
