"""What a mechanism loses of which no gearing, or no efficiency, is stated: 25 to 50 % of the torque arrive.

The share is common practice, no source; what follows from it is a closed form.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from builders import RPM, G, Words, a_move, a_plant, a_robot, robot_text, seconds

from simbot.physics.assumptions import physics_remarks
from simbot.physics.build import WHOLE_BUILT
from simbot.physics.kinds import KINDS
from simbot.report.kinds import example_lines
from simbot.scenario.load import load_robot

RADIUS, MASS, FREE, STALL = 0.02, 1.5, 300.0 * RPM, 3.0  # drum, what hangs there; at the motor's shaft
MOTOR = {
    "voltage": "12 V", "free_speed": "300 rpm", "free_current": "0 A", "stall_torque": f"{STALL} N*m",
    "stall_current": f"{STALL * FREE / 12.0!r} A", "rotor_inertia": "1e-5 kg*m^2", "internal_ratio": 1,
    "source": "illustrative",
}  # fmt: skip
ABSENT: Words = {}
DIRECT: Words = {"gearing": []}


def lift(gearing: Words, kind: str = "slide") -> Words:
    """A weight on a drum, without friction."""
    weight = {"slide": {"moving_mass": f"{MASS} kg"}, "winch": {"load_mass": f"{MASS} kg"}}[kind]
    return {
        "kind": kind, "motors": "1 x coil", "drum_diameter": f"{2.0 * RADIUS} m", "friction": "0 N", **weight,
        "travel": ["0 m", "2 m"], "control": {"loop": "full_effort", "window": "5 mm"}, **gearing,
    }  # fmt: skip


@pytest.mark.parametrize("kind", ["slide", "winch"])
@pytest.mark.parametrize(
    ("gearing", "passes"),
    [(ABSENT, 0.375), (DIRECT, 1.0), ({"gearing": [{"ratio": 1}]}, 0.375),
     ({"gearing": [{"ratio": 1, "efficiency": "60 %"}]}, 0.6)],
)  # fmt: skip
def test_the_speed_at_which_it_lifts(kind: str, gearing: Words, passes: float) -> None:
    """At rest of its acceleration: w = w0 (1 - m g r/(eta Ts)), from the line of the sheet."""
    plant = a_plant(a_robot({"it": lift(gearing, kind)}, {"coil": MOTOR}), it=0.0)
    move = a_move(plant, "it", 2.0)
    assert seconds(move.first_inside_us()) > 2.0
    plant.advance(2_000_000)
    right = FREE * RADIUS * (1.0 - MASS * G * RADIUS / (passes * STALL))
    assert plant.speed("it") == pytest.approx(right, rel=1e-7)


def told(mechanism: Words) -> list[str]:
    robot = a_robot({"it": mechanism}, {"coil": MOTOR})
    return [one.text for one in physics_remarks(robot) if ".gearing" in one.key]


def test_what_stands_in_is_told_and_how_it_is_stated() -> None:
    (text,) = told(lift(ABSENT))
    for words in (
        "37.5 % ± 12.5 %",
        "no gearing is stated",
        "25 to 50 %",
        "efficiency: 60 %",
        "`gearing: []`",
    ):
        assert words in text, words
    (text,) = told(lift({"gearing": [{"ratio": "2:1"}]}))
    assert "37.5 % ± 12.5 %" in text and "no gearing" not in text
    assert not told(lift(DIRECT))
    assert not told(lift({"gearing": [{"ratio": 1, "efficiency": "60 %", "back_efficiency": "30 %"}]}))


def test_what_gears_return_to_their_load_is_told_once() -> None:
    """2 - 1/e: of 80 % 0.75, of 90 % 8/9; one of 50 % locks."""
    two: Words = {"gearing": [{"ratio": 2, "efficiency": "80 %"}, {"ratio": 3, "efficiency": "90 %"}]}
    (text,) = told(lift(two))
    assert text.startswith("75.0 %, 88.9 % (2 - 1/efficiency")
    assert told(lift({"gearing": [{"ratio": 2, "efficiency": "50 %"}]}))[0].startswith("locks (")
    assert not told(lift({"gearing": [{"ratio": 2, "efficiency": "80 %", "back_efficiency": "50 %"}]}))


def test_what_stands_in_for_a_drives_inertias_and_gears_is_told() -> None:
    """An even plate of 9 kg, 400 mm x 300 mm: m (a^2 + b^2)/12."""
    drive: Words = {
        "kind": "tank", "motors": "4 x coil", "wheel_diameter": "96 mm", "wheelbase": "300 mm", "track": "360 mm",
        "grip": 0.8,
    }  # fmt: skip
    stated = {"turning_inertia": "0.3 kg*m^2", "wheel_inertia": "1e-4 kg*m^2", "gearing": []}

    def of(mechanism: Words) -> dict[str, str]:
        with TemporaryDirectory() as folder:
            path = Path(folder) / "robot.yaml"
            text = robot_text({"it": mechanism}, {"coil": MOTOR}, size=("400 mm", "300 mm"))
            path.write_text(text, encoding="utf-8")
            robot, remarks = load_robot(path, KINDS)
        return {
            one.key.removeprefix("robot.mechanisms.it."): one.text
            for one in (*remarks, *physics_remarks(robot))
            if one.kind == "assumed"
        }

    found = of(drive)
    assert found["turning_inertia"].startswith(f"{9.0 * (0.4**2 + 0.3**2) / 12.0:.4g} kg*m^2")
    assert found["wheel_inertia"].startswith("0 kg*m^2") and "nothing is lost" in found["gearing"]
    assert not {"turning_inertia", "wheel_inertia", "gearing"} & set(of({**drive, **stated}))


@pytest.mark.parametrize("kind", WHOLE_BUILT)
def test_the_lines_to_paste_have_a_gearing(kind: str) -> None:
    assert any(line.strip().startswith("gearing: [{ratio: ") for line in example_lines(KINDS[kind]))
