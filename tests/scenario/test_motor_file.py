"""A motor from points of its line, and what is told about points that lie off it."""

from __future__ import annotations

import pytest

FOUR = "voltage: 12 V, free_speed: 400 rpm, free_current: 0.3 A, stall_torque: 19 kgf*cm, stall_current: 9 A,"
RPM = 0.10471975511965977


def motor(folder, points, more=""):
    folder.edit("robot", FOUR, f"voltage: 12 V, points: [{points}],{more}")
    plan, remarks = folder.load()
    return plan.robot.motors["wheel"], [one for one in remarks if "points" in one.key]


def row(speed, torque, current=None):
    amps = "" if current is None else f", current: {current} A"
    return f"{{speed: {speed} rpm, torque: {torque} N*m{amps}}}"


def test_two_points_are_a_line(folder):
    wheel, remarks = motor(folder, f"{row(300, 0.5, 2.4)}, {row(100, 1.5, 6.6)}")
    assert wheel.free_speed == pytest.approx(400 * RPM)
    assert wheel.stall_torque == pytest.approx(2.0)
    assert wheel.free_current == pytest.approx(0.3)
    assert wheel.stall_current == pytest.approx(8.7)
    assert not remarks


def test_a_table_is_fitted_and_what_lies_off_it_is_told(folder):
    rows = [row(speed, round(2.0 * (1 - speed / 400), 6)) for speed in (0, 100, 300, 400)] + [row(200, 1.5)]
    wheel, remarks = motor(folder, ", ".join(rows))
    assert wheel.stall_torque == pytest.approx(2.1)  # least squares: the middle one lifts all by a tenth
    assert wheel.free_current is None and wheel.stall_current is None
    assert len(remarks) == 1 and remarks[0].kind == "doubt" and "+19 %" in remarks[0].text


@pytest.mark.parametrize(
    ("points", "more", "words"),
    [
        (row(300, 0.5), "", ["two or more"]),
        (f"{row(100, 0.5)}, {row(300, 1.5)}", "", ["less torque at more speed"]),
        (f"{row(300, 0.5, 5)}, {row(100, 1.5, 2)}", "", ["more current at more torque"]),
        (f"{row(300, 0.5)}, {row(100, 1.5)}", " free_speed: 410 rpm,", ["'410 rpm'", "one of them"]),
        ("{speed: 300 rpm}, {speed: 100 rpm, torque: 1 N*m}", "", ["torque"]),
    ],
)  # fmt: skip
def test_mistakes(folder, points, more, words):
    folder.edit("robot", FOUR, f"voltage: 12 V, points: [{points}],{more}")
    problems = folder.problems()
    assert len(problems) == 1, [str(problem) for problem in problems]
    assert all(word in str(problems[0]) for word in words), str(problems[0])


def test_neither_speed_nor_points(folder):
    folder.edit("robot", "free_speed: 400 rpm, ", "")
    problems = folder.problems()
    assert len(problems) == 1 and "5800 rpm" in str(problems[0])
