"""A team's table of cycles at one constant speed. All figures: common practice, no source.

3.5 m/s, 1 s to collect and 1 s to score, legs of 0.85 s (about 3.0 m) and 0.26 s. The table says 1.85, 3.69 and
4.11 s for 6, 10 and 10 points, and "0.40 and 0.67 points a second".
"""

from __future__ import annotations

from math import sqrt

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.api import run

SCORE, COLLECT = [wait("1 s", **{"for": "settling"}), place()], [pick(), wait("1 s", **{"for": "settling"})]


def leg(name: str) -> list[object]:
    return [{"move": {name: "there"}}, wait("arrival")]


def played(tmp_path, steps, points, robot=None, game=None, start=None):  # type: ignore[no-untyped-def]
    """A plan of 15 s that begins with an element in hand."""
    mechanisms = {
        "hand": {"kind": "measured", "time": "0 s"},
        "long": {"kind": "measured", "time": "0.85 s"},
        "back": {"kind": "measured", "time": "0.85 s"},
        "short": {"kind": "measured", "time": "0.26 s"},
    }
    box = {"pose": ["1 m", "1 m", "0 deg"], "takes": "ball", "points": points}
    return run(
        a_plan(
            tmp_path, steps, "15 s", game={"places": {"box": box}, **(game or {})},
            robot={"mechanisms": mechanisms, **(robot or {})},
            start={"hand": "shut", "holds": {"hand": ["ball"]}, **(start or {})},
        )
    ).states[0]  # fmt: skip


def test_rows_of_the_table_add_up_and_rates_are_those_of_the_cycles(tmp_path):
    """The second plan's rows sum to 4.70 s, not 3.69; 10 points in them are 2.1 a second, and 0.67 only over the
    whole 15 s."""
    first = played(tmp_path, [*leg("long"), *SCORE], 6)
    second = played(tmp_path, [*SCORE, *leg("long"), *COLLECT, *leg("back"), *SCORE], 5)
    third = played(tmp_path, [*SCORE, *leg("long"), *COLLECT, *leg("short"), *SCORE], 5)
    for state, printed, sums in ((first, 1.85, 1.85), (second, 3.69, 4.70), (third, 4.11, 4.11)):
        lasted = state.cycle_time_s * state.cycles
        assert lasted == pytest.approx(sums, abs=1e-9)
        assert (abs(lasted - printed) < 0.005) == (printed == sums)
        assert state.points_per_s == pytest.approx(state.points["total"] / sums)
    assert [state.points["total"] for state in (first, second, third)] == [6, 10, 10]
    assert first.points["total"] / 15 == pytest.approx(0.40)
    assert second.points["total"] / 15 == pytest.approx(0.67, abs=0.005)
    assert second.points_per_s > 3 * 0.67


STRONG = {
    "voltage": "12 V", "free_speed": "1500 rpm", "free_current": "0 A", "stall_torque": "8 N*m",
    "rotor_inertia": "1e-7 kg*m^2", "internal_ratio": 1, "source": "illustrative",
}  # fmt: skip
DRIVE = {
    "kind": "tank", "motors": "4 x wheel", "gearing": [{"ratio": 1, "efficiency": "100 %"}],
    "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "360 mm", "grip": 3.0, "friction": "0 N",
    "control": {
        "loop": "profile", "speed": "3.5 m/s", "acceleration": "4 m/s^2", "p": "10 /m", "window": "5 mm",
        "slower_than": "100 mm/s",
    },
}  # fmt: skip


def test_a_leg_with_a_start_and_a_stop_takes_twice_its_time(tmp_path):
    """With 4 m/s^2 a leg of 3.0 m takes 2 sqrt(3.0 / 4) = 1.73 s and never comes to 3.5 m/s; 4.70 s become 6.5."""

    def drive(x: str) -> list[object]:
        return [{"drive": [x, "1 m", "0 deg"]}, wait("arrival")]

    state = played(
        tmp_path,
        [*SCORE, *drive("4 m"), *COLLECT, *drive("1 m"), *SCORE],
        5,
        robot={
            "motors": {"wheel": STRONG},
            "battery": {"states": {"full": {"open_circuit": "13 V", "resistance": "0.01 ohm"}}},
            "mechanisms": {"hand": {"kind": "measured", "time": "0 s"}, "drive": DRIVE},
        },
        game={"field": {"length": "6 m", "width": "3 m"}},
        start={"pose": ["1 m", "1 m", "0 deg"]},
    )
    legs = [move.arrival_us * 1e-6 for move in state.moves if move.mechanism == "drive"]
    assert legs == pytest.approx([2 * sqrt(3.0 / 4.0)] * 2, rel=0.05)
    assert min(legs) > 1.9 * 0.85
    assert state.cycle_time_s * state.cycles == pytest.approx(6.5, rel=0.03)
    assert state.points["total"] == 10
