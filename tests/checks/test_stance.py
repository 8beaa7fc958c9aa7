"""Loads of a robot that stands tilted, and of mechanisms that turn or lengthen one another; derived."""

from __future__ import annotations

from math import cos, pi, radians, sin
from typing import Any

import numpy as np
import pytest
from builders import SMALL, G, Words, a_move, a_plant, a_robot, seconds, winding
from scipy.integrate import solve_ivp

from simbot.physics import layout as L
from simbot.physics.assumptions import physics_remarks
from simbot.physics.build import Models
from simbot.scenario.errors import ScenarioError
from simbot.scenario.model import Robot

COIL = winding(0.45, 0.0185, 2.4e-5)


def slide(**more: object) -> Words:
    return {
        "kind": "slide", "motors": "1 x coil", "gearing": [{"ratio": 20, "efficiency": "100 %"}],
        "drum_diameter": "40 mm", "moving_mass": "2 kg", "friction": "1 N", "travel": ["0 m", "0.5 m"],
        "control": {"loop": "full_effort", "window": "5 mm"}, **more,
    }  # fmt: skip


def arm(**more: object) -> Words:
    return {
        "kind": "arm", "motors": "1 x coil", "gearing": [{"ratio": 60, "efficiency": "100 %"}],
        "moving_mass": "1.2 kg", "centre": "0.3 m", "friction": "0.1 N*m", "travel": ["-80 deg", "170 deg"],
        "control": {"loop": "full_effort", "window": "2 deg"}, **more,
    }  # fmt: skip


def wrist(**more: object) -> Words:
    return {
        "kind": "servo", "speed": "0.12 s/60deg", "at": "6 V", "stall_torque": "1 N*m", "load_mass": "0.3 kg",
        "load_at": "0.12 m", "travel": ["-90 deg", "90 deg"], "load_angle": "0 deg", **more,
    }  # fmt: skip


def robot(tilt: str = "0 deg", **mechanisms: Words) -> Robot:
    return a_robot(mechanisms, {"coil": COIL}, (12.0, 0.0), tilt=tilt)


@pytest.mark.parametrize(
    ("faces", "share"),
    [
        ("forward", sin(radians(65))),
        ("backward", sin(radians(55))),
        ("left", sin(radians(60)) * cos(radians(5))),
    ],
)
def test_slide_on_a_robot_with_its_nose_up(faces: str, share: float) -> None:
    """At 60 deg, nose up 5 deg: 0.8660 becomes 0.9063 m g for one that works forward.

    Second way: gravity of the tilted robot's frame along the rails.
    """
    along = {"forward": (1.0, 0.0), "backward": (-1.0, 0.0), "left": (0.0, 1.0)}[faces]
    rails = np.array([*(cos(radians(60)) * np.array(along)), sin(radians(60))])
    gravity = np.array([-sin(radians(5)), 0.0, -cos(radians(5))])  # in the robot's frame, x forward, z up
    assert -rails @ gravity == pytest.approx(share)
    level, tilted = (
        Models(robot(tilt, lift=slide(incline="60 deg", faces=faces))).get("lift").reduced.segments[0].load
        for tilt in ("0 deg", "5 deg")
    )
    assert level / (2.0 * G) == pytest.approx(0.8660, abs=5e-5)
    assert tilted / (2.0 * G) == pytest.approx(share, rel=1e-12)
    if faces == "forward":
        assert tilted / (2.0 * G) == pytest.approx(0.9063, abs=5e-5)


def loads(which: Robot, name: str, **places: float) -> tuple[np.ndarray, np.ndarray]:
    """Positions and loads of the rows of a mechanism's table."""
    (segment,) = Models(which).get(name, places=tuple(places.items())).reduced.segments
    assert segment.knots is not None
    return np.linspace(segment.low, segment.high, len(segment.knots)), segment.knots[:, 3]


def test_arm_and_servo_on_a_tilted_robot() -> None:
    tilted = robot("-7 deg", arm=arm(faces="backward"), wrist=wrist(load_angle="20 deg"))
    q, load = loads(tilted, "arm")
    assert load == pytest.approx(1.2 * G * 0.3 * np.cos(q + radians(7.0)))
    q, load = loads(tilted, "wrist")
    assert load == pytest.approx(0.3 * G * 0.12 * np.cos(q + radians(20.0 - 7.0)))


def test_angles_add_up_along_a_chain() -> None:
    """Arm at 40 deg on a robot with its nose up 5 deg: wrist, and a slide on the arm, lean 45 deg more."""
    chain = robot(
        "5 deg", arm=arm(), wrist=wrist(tipped_by="arm", load_angle="10 deg"),
        tip=wrist(tipped_by="wrist"), reach=slide(tipped_by="arm", incline="0 deg"),
    )  # fmt: skip
    q, load = loads(chain, "wrist", arm=radians(40.0))
    assert load == pytest.approx(0.3 * G * 0.12 * np.cos(q + radians(55.0)))
    q, load = loads(chain, "tip", wrist=radians(-30.0), arm=radians(40.0))
    assert load == pytest.approx(0.3 * G * 0.12 * np.cos(q + radians(25.0)))
    (segment,) = Models(chain).get("reach", places=(("arm", radians(40.0)),)).reduced.segments
    assert segment.load == pytest.approx(2.0 * G * sin(radians(45.0)))


def arrival(which: Robot, name: str, target: float, **start: float) -> tuple[float, float]:
    move = a_move(a_plant(which, **start), name, target)
    floor = move.floor_s()
    assert floor is not None
    return seconds(move.arrival_us()), floor


@pytest.mark.parametrize("angle", [-60.0, 0.0, 50.0])
def test_wrist_on_an_arm_moves_as_one_whose_load_hangs_so(angle: float) -> None:
    """The arm stands still: the same move of a servo alone whose load angle has the arm's angle in it."""
    held = arm(holding_brake=True)
    both = robot(arm=held, wrist=wrist(tipped_by="arm", load_angle="15 deg"))
    alone = robot(arm=held, wrist=wrist(load_angle=f"{15.0 + angle} deg"))
    start = {"arm": radians(angle), "wrist": -1.0}
    there = arrival(both, "wrist", 1.2, **start)
    assert there == pytest.approx(arrival(alone, "wrist", 1.2, **start), abs=1e-6)
    level = arrival(robot(arm=held, wrist=wrist(load_angle="15 deg")), "wrist", 1.2, **start)
    assert (abs(there[0] - level[0]) > 1e-4) is (angle != 0.0)


ON_IT: dict[str, Any] = {"by": "reach", "mass": "0.8 kg", "centre": "0.25 m", "share": "50 %"}


def test_arm_is_heavier_with_its_slide_out() -> None:
    """0.4 m out: 0.8 kg at 0.45 m, and what it holds at 0.9 m; against an integration of its own."""
    out = 0.4
    which = robot(arm=arm(length="0.5 m", extension=ON_IT), reach=slide(incline="0 deg", holding_brake=True))
    plant = a_plant(which, reach=out, arm=-0.5)
    plant.set_payload("arm", 0.2)
    move = a_move(plant, "arm", 1.0)
    own = 1.2 * 0.3**2 * 4.0 / 3.0
    inertia = own + 0.8 * 0.45**2 + 0.2 * 0.9**2
    moment = G * (1.2 * 0.3 + 0.8 * 0.45 + 0.2 * 0.9)
    gear = 60.0

    def there(_t: float, y: list[float]) -> float:
        return y[0] - (1.0 - radians(2.0))

    there.terminal = True  # type: ignore[attr-defined]
    right = solve_ivp(
        lambda _t, y: [
            y[1],
            (gear * 0.0185 * (12.0 - 0.0185 * gear * y[1]) / 0.45 - moment * cos(y[0]) - 0.1)
            / (inertia + gear**2 * 2.4e-5),
        ],
        (0.0, 5.0), [-0.5, 0.0], events=there, rtol=1e-10, atol=1e-12,
    )  # fmt: skip
    assert seconds(move.first_inside_us()) == pytest.approx(float(right.t_events[0][0]), abs=3e-6)


def test_a_position_is_taken_when_a_move_begins() -> None:
    """The wrist's second move begins with the arm elsewhere; until then its load stays as it was."""
    which = robot(
        arm=arm(control={"loop": "position", "p": "5 /rad", "window": "3 deg"}), wrist=wrist(tipped_by="arm")
    )
    plant = a_plant(which, arm=0.0, wrist=0.0)
    a_move(plant, "wrist", 0.5)
    a_move(plant, "arm", 1.2)
    plant.advance(2_000_000)
    assert plant._places["wrist"] == (("arm", 0.0),)
    stands = float(plant.position("arm"))
    assert stands > 1.0
    move = a_move(plant, "wrist", -0.5)
    assert plant._places["wrist"] == (("arm", stands),)
    alone = robot(wrist=wrist(load_angle=f"{stands!r} rad"))
    begin = float(plant.position("wrist"))
    other = a_move(a_plant(alone, wrist=begin), "wrist", -0.5)
    assert move.floor_s() == pytest.approx(other.floor_s(), abs=1e-6)


def test_a_slide_tipped_over_goes_the_other_way_round_and_disturbs_no_neighbour() -> None:
    """Leaning down its lowest joint goes first: then the detent's edge at 0.3 m no longer falls on a stage's end."""
    lift = slide(
        stages=2, moving_mass=["1 kg", "1 kg"], stage_travel=["0.2 m", "0.3 m"], incline="0 deg", tipped_by="arm",
        detents=[{"position": "0.31 m", "width": "20 mm", "static_friction": "1 N"}],
    )  # fmt: skip
    which = robot(reach=lift, wrist=wrist(), arm=arm(holding_brake=True))
    up, down = (
        Models(which).get("reach", places=(("arm", radians(angle)),)).reduced.segments
        for angle in (40.0, -40.0)
    )
    assert (len(up), len(down)) == (3, 4)
    assert [segment.mass for segment in up] == [1.0, 2.0, 2.0]
    assert [segment.mass for segment in down] == [2.0, 1.0, 1.0, 1.0]
    plant = a_plant(which, arm=radians(-40.0), wrist=0.5)
    alone = a_plant(robot(wrist=wrist(), arm=arm(holding_brake=True)), arm=radians(-40.0), wrist=0.5)
    moves = [a_move(each, "wrist", -0.5) for each in (plant, alone)]
    assert seconds(moves[0].arrival_us()) == pytest.approx(seconds(moves[1].arrival_us()), abs=1e-5)
    w, m = plant.arrays.w, plant.arrays.at["reach"]
    assert w[m + L.N_SEG] == 4
    ends = w[int(w[m + L.SEG]) + L.SEG_TO :: L.SEG_SIZE][:4]
    assert ends.tolist() == pytest.approx([0.2, 0.3, 0.32, 0.5])


def test_what_is_taken_when_is_said() -> None:
    which = robot(arm=arm(extension=ON_IT), wrist=wrist(tipped_by="arm"), reach=slide())
    said = {remark.key: remark.text for remark in physics_remarks(which) if "instant" in remark.text}
    assert set(said) == {"robot.mechanisms.arm", "robot.mechanisms.wrist"}
    assert "reach stands" in said["robot.mechanisms.arm"] and "arm stands" in said["robot.mechanisms.wrist"]


MISTAKES = [
    ({"wrist": wrist(tipped_by="arn")}, ["'arn'", "'arm'"]),
    ({"wrist": wrist(tipped_by="wrist")}, ["'wrist'", "would do: arm"]),
    ({"wrist": wrist(tipped_by="reach")}, ["'reach'", "an angle"]),
    ({"wrist": wrist(tipped_by="arm", faces="left")}, ["faces", "plane of arm"]),
    ({"wrist": {key: value for key, value in wrist(tipped_by="arm").items() if key != "load_angle"}}, ["load_angle"]),
    ({"arm": arm(tipped_by="wrist"), "wrist": wrist(tipped_by="arm")}, ["circle", "arm, wrist"]),
    ({"arm": arm(extension={**ON_IT, "by": "wrist"}), "wrist": wrist()}, ["'wrist'", "a length"]),
    ({"arm": arm(faces="up"), "wrist": wrist()}, ["'up'", "forward, backward, left, right"]),
]  # fmt: skip


@pytest.mark.parametrize(("mechanisms", "words"), MISTAKES)
def test_mistakes_in_what_carries_what(mechanisms: dict[str, Words], words: list[str]) -> None:
    with pytest.raises(ScenarioError) as caught:
        a_robot({"arm": arm(), "reach": slide(), **mechanisms}, {"coil": SMALL})
    assert len(caught.value.problems) == 1
    for word in words:
        assert word in str(caught.value)


def test_tilt_out_of_range() -> None:
    with pytest.raises(ScenarioError, match="'80 deg'"):
        robot("80 deg", lift=slide())
    assert robot("5 deg", lift=slide()).tilt == pytest.approx(5.0 * pi / 180.0)
