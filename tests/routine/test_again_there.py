"""A drive that is sent again to where it stands has not left it."""

from __future__ import annotations

from stopwatches import a_plan, pick, place, wait

from simbot import api

MOTORS = {
    "coil": {
        "voltage": "12 V", "free_speed": "6000 rpm", "free_current": "0.3 A", "stall_torque": "0.1 N*m",
        "stall_current": "9 A", "rotor_inertia": "9e-6 kg*m^2", "source": "illustrative",
    }
}  # fmt: skip
DRIVE = {
    "kind": "mecanum", "motors": "4 x coil", "gearing": [{"ratio": "20:1"}], "wheel_diameter": "100 mm",
    "wheelbase": "300 mm", "track": "300 mm", "grip": 0.9,
    "control": {"loop": "position", "p": "5 /m", "d": "0.7 s/m", "slower_than": "0.1 m/s"},
}  # fmt: skip


def test_a_pick_holds_where_the_drive_is_sent_to_the_station_again_after_a_turn(tmp_path):
    """The last step before the new line is told as a heading, which is no place along that line."""
    hand = {"kind": "measured", "time": "0.2 s"}
    robot = {"motors": MOTORS, "mass": "12 kg", "mechanisms": {"drive": DRIVE, "hand": hand}}
    needs = {"needs": {"drive": "bin within 25 mm"}}
    steps = [{"drive": "bin"}, wait("arrival"), wait("1 s", **{"for": "settling"})]
    steps += [{"drive": "bin"}, wait("arrival"), pick(**needs), wait("500 ms"), place(), wait("300 ms")]
    start = {"pose": ["1 m", "1 m", "90 deg"], "hand": "open"}
    game = {"stations": {"bin": {"pose": ["1 m", "1 m", "180 deg"], "gives": "ball"}}}
    (state,) = api.run(a_plan(tmp_path, steps, game=game, robot=robot, start=start)).states
    assert [one.outcome for one in state.picks] == ["held"]
    assert state.points["total"] == 1.0 and state.passes
