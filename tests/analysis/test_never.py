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


def test_a_routine_that_hangs_does_not_pass(tmp_path):
    steps = [{"move": {"lift": "0.4 m"}}, wait("arrival")]
    run = api.run(a_plan(tmp_path, steps, "2 s", robot=WEAK, start={"lift": "0 m"}))
    (state,) = run.states
    (found,) = [one for one in state.findings if one.kind == "never_arrived"]
    assert "waited to the end of its period for the lift" in found.text
    assert not state.passes and run.weakest_state_that_passes is None
