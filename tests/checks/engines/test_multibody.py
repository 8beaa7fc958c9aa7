"""Moves of the kernel against a general multibody engine (MuJoCo), from robot files to arrivals.

The models are the mechanisms built of bodies and joints, not of our formulas. Always Runge-Kutta of fourth
order: the engine's default integrator is 1 % out on a short move.
"""

from __future__ import annotations

from collections.abc import Callable
from math import log, radians
from typing import Any

import pytest
from builders import Words, a_move, a_plant, a_robot, seconds, winding
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import brentq

from simbot.physics.move import PushFor
from simbot.physics.strain import slack_cord
from simbot.scenario.model import Robot

HEAD = """<mujoco><option gravity="0 0 -9.80665" timestep="{step}" integrator="RK4" tolerance="1e-15"
iterations="300"><flag contact="disable"/></option>"""


def spool(joint: str, gear: float, r: float, k: float) -> str:
    """A brushed motor on a joint: force = gear k/R u - gear² k²/R v, u in volts."""
    return (
        f'<general joint="{joint}" gear="{gear!r}" gaintype="fixed" gainprm="{k / r!r}" biastype="affine" '
        f'biasprm="0 0 {-k * k / r!r}"/>'
    )


def engine(model: str, step: float) -> tuple[Any, Any, Any]:
    import mujoco

    built = mujoco.MjModel.from_xml_string(HEAD.format(step=step) + model + "</mujoco>")
    return mujoco, built, mujoco.MjData(built)


def passes(
    model: str, goal: float, step: float, volts: float = 12.0, start: tuple[float, ...] = (0.0,)
) -> float:
    """Instant at which the first joint passes the goal, between steps by a cubic through both ends."""
    mujoco, built, data = engine(model, step)
    data.qpos[: len(start)], data.ctrl[:] = start, volts
    before = (0.0, 0.0, 0.0)
    while data.qpos[0] < goal:
        before = (data.time, data.qpos[0], data.qvel[0])
        mujoco.mj_step(built, data)
        assert data.time < 20.0
    path = CubicHermiteSpline([before[0], data.time], [before[1], data.qpos[0]], [before[2], data.qvel[0]])
    return float(brentq(lambda t: path(t) - goal, before[0], data.time, xtol=1e-15))


CARRIAGE = (
    '<worldbody><body><joint name="z" type="slide" axis="0 0 1" armature="24.0" damping="3.0"/>'
    '<geom type="box" size="0.05 0.05 0.05" mass="2.5"/></body></worldbody><actuator>'
    + spool("z", 1000.0, 0.45, 0.0185)
    + "</actuator>"
)
OWN_MOTOR = CARRIAGE.split("<actuator>")[0] + (
    '<actuator><dcmotor joint="z" gear="1000" motorconst="0.0185 0.0185" resistance="0.45"/></actuator>'
)


def slide(
    travel: float, motor: str = "coil", ratio: float = 20, drum: str = "40 mm", **more: object
) -> Words:
    return {
        "kind": "slide", "motors": f"1 x {motor}", "gearing": [{"ratio": ratio, "efficiency": "100 %"}],
        "drum_diameter": drum, "moving_mass": "2.5 kg", "damping": "3 N*s/m", "friction": "0 N",
        "travel": ["0 m", f"{travel} m"], "control": {"loop": "full_effort", "window": "1 mm"}, **more,
    }  # fmt: skip


def arrives(robot: Robot, mechanism: str, target: float, **start: float) -> float:
    move = a_move(a_plant(robot, tolerance=1e-9, **start), mechanism, target)
    return seconds(move.first_inside_us())


@pytest.mark.parametrize("model", [CARRIAGE, OWN_MOTOR], ids=["affine actuator", "the engine's own motor"])
@pytest.mark.parametrize("travel", [0.60, 0.03])
def test_slide(need_engine: Callable[[str], None], travel: float, model: str) -> None:
    """The short move is the hard one: it is all acceleration."""
    need_engine("mujoco")
    right = passes(model, travel, 2e-4)
    got = arrives(a_robot({"lift": slide(travel)}, {"coil": winding(0.45, 0.0185, 2.4e-5)}), "lift", travel)
    assert got == pytest.approx(right, abs=1.001e-6)


ARM = (
    '<worldbody><body><joint name="q" type="hinge" axis="0 -1 0" armature="{armature}" damping="0.02"/>'
    '<inertial pos="0.35 0 0" mass="1.2" diaginertia="1e-6 0.01 0.01"/></body></worldbody><actuator>'
)


def test_arm_against_gravity(need_engine: Callable[[str], None]) -> None:
    """-60 to 75 degrees: a body of 1.2 kg at 350 mm with an inertia of its own, motor behind 60:1."""
    need_engine("mujoco")
    model = ARM.format(armature=60.0**2 * 2.4e-5) + spool("q", 60.0, 0.45, 0.0185) + "</actuator>"
    right = passes(model, radians(75.0), 1e-4, start=(radians(-60.0),))
    arm = {
        "kind": "arm", "motors": "1 x coil", "gearing": [{"ratio": 60, "efficiency": "100 %"}],
        "centre": "350 mm", "moving_mass": "1.2 kg",
        "inertia": "0.01 kg*m^2", "damping": "0.02 N*m*s/rad", "friction": "0 N*m",
        "travel": ["-60 deg", "75 deg"], "control": {"loop": "full_effort", "window": "1 deg"},
    }  # fmt: skip
    robot = a_robot({"arm": arm}, {"coil": winding(0.45, 0.0185, 2.4e-5)})
    assert arrives(robot, "arm", radians(75.0), arm=radians(-60.0)) == pytest.approx(right, abs=1.2e-6)


TWO = (
    (0.45, 0.0185, 2.4e-5, 20.0, 0.020, 2.5, 3.0),
    (0.80, 0.0110, 0.9e-5, 30.0, 0.015, 1.2, 2.0),
)


def test_two_slides_on_one_battery(need_engine: Callable[[str], None]) -> None:
    """13.2 V behind 0.12 ohm; the engine asks for the bus at every stage of its steps."""
    need_engine("mujoco")
    bodies = "".join(
        f'<body pos="{i} 0 0"><joint name="z{i}" type="slide" axis="0 0 1" damping="{c}" '
        f'armature="{(g / r) ** 2 * j!r}"/><geom size="0.05" mass="{m}"/></body>'
        for i, (_, _, j, g, r, m, c) in enumerate(TWO)
    )
    spools = "".join(spool(f"z{i}", g / r, ohms, k) for i, (ohms, k, _, g, r, _, _) in enumerate(TWO))
    mujoco, built, data = engine(f"<worldbody>{bodies}</worldbody><actuator>{spools}</actuator>", 5e-4)

    def bus(_model: Any, at: Any) -> None:
        emf = sum(k * g / r * v / ohms for (ohms, k, _, g, r, _, _), v in zip(TWO, at.qvel, strict=True))
        at.ctrl[:] = (13.2 + 0.12 * emf) / (1.0 + 0.12 * sum(1.0 / each[0] for each in TWO))

    marks = []
    mujoco.set_mjcb_control(bus)
    try:
        while data.time < 0.6 - 1e-9:
            mujoco.mj_step(built, data)
            marks.append((data.time, *data.qpos, *data.qvel))
    finally:
        mujoco.set_mjcb_control(None)
    mechanisms = {
        f"lift{i}": slide(2.0, f"coil{i}", g, f"{2 * r} m", moving_mass=f"{m} kg", damping=f"{c} N*s/m")
        for i, (_, _, _, g, r, m, c) in enumerate(TWO)
    }
    motors = {f"coil{i}": winding(ohms, k, j) for i, (ohms, k, j, *_) in enumerate(TWO)}
    plant = a_plant(a_robot(mechanisms, motors, (13.2, 0.12)), tolerance=1e-9)
    for name in mechanisms:
        a_move(plant, name, 2.0)
    plant.advance(600_000)
    for t, z0, z1, v0, v1 in marks[99::100]:
        us = round(t * 1e6)
        assert [plant.position("lift0", us), plant.position("lift1", us)] == pytest.approx([z0, z1], rel=1e-7)
        assert [plant.speed("lift0", us), plant.speed("lift1", us)] == pytest.approx([v0, v1], rel=1e-6)


def test_cascade_by_joint_equality(need_engine: Callable[[str], None]) -> None:
    """Three bodies, each held to its multiple of the lowest by a stiff constraint; the tip rises 0.6 m."""
    need_engine("mujoco")
    masses, cord = (0.6, 0.5, 0.9), 0.2
    bodies = "".join(
        f'<body pos="{i} 0 0"><joint name="z{i}" type="slide" axis="0 0 1"'
        + (f' armature="{1000.0**2 * 2.4e-5!r}"' if i == 0 else "")
        + f'/><geom size="0.05" mass="{m}"/></body>'
        for i, m in enumerate(masses)
    )
    ties = "".join(
        f'<joint joint1="z{i}" joint2="z0" polycoef="0 {i + 1} 0 0 0" solref="0.0003 1" '
        'solimp="0.9999 0.9999 0.001"/>'
        for i in (1, 2)
    )
    model = (
        f"<worldbody>{bodies}</worldbody><equality>{ties}</equality>"
        f"<actuator>{spool('z0', 1000.0, 0.45, 0.0185)}</actuator>"
    )
    right = passes(model, cord, 1e-4)
    lift = slide(
        3 * cord, rigging="cascade", stages=3, moving_mass=[f"{m} kg" for m in masses], damping="0 N*s/m"
    )
    got = arrives(a_robot({"lift": lift}, {"coil": winding(0.45, 0.0185, 2.4e-5)}), "lift", 3 * cord)
    assert got == pytest.approx(right, abs=3e-6)


def test_friction_and_rest(need_engine: Callable[[str], None]) -> None:
    """2 kg with 5 N of friction, pushed for 0.5 s, then shorted: it rests where the engine has it."""
    need_engine("mujoco")
    k, ohms = 0.01, 0.5  # 12 N at the drum of radius 20 mm
    model = (
        '<worldbody><body><joint name="x" type="slide" axis="1 0 0" frictionloss="5" '
        'solimpfriction="0.9999 0.9999 0.001"/><geom size=".1" mass="2"/></body></worldbody><actuator>'
        + spool("x", 50.0, ohms, k)
        + "</actuator>"
    )
    mujoco, built, data = engine(model, 2e-4)
    data.ctrl[0] = 12.0
    while data.time < 0.5 - 1e-9:
        mujoco.mj_step(built, data)
    pushed = float(data.qpos[0])
    data.ctrl[0] = 0.0
    while data.qvel[0] > 1e-4:
        mujoco.mj_step(built, data)
    reach = slide(3.0, incline="0 deg", moving_mass="2 kg", friction="5 N", damping="0 N*s/m", ratio=1)
    plant = a_plant(a_robot({"reach": reach}, {"coil": winding(ohms, k, 0.0)}), tolerance=1e-9)
    plant.command("reach", PushFor(1.0, 3.0, 500_000))
    plant.advance(5_000_000)
    assert plant.position("reach", 500_000) == pytest.approx(pushed, rel=1e-6)
    assert plant.position("reach") == pytest.approx(float(data.qpos[0]), rel=5e-4)  # soft friction
    v, drag = plant.speed("reach", 500_000), (50.0 * k) ** 2 / ohms
    stop = 2.0 / drag * (v - 5.0 / drag * log(1.0 + drag * v / 5.0))  # M v' = -F - b v
    assert float(plant.position("reach")) - pushed == pytest.approx(stop, rel=1e-5)
    assert plant.speed("reach") == 0.0


def test_a_slack_cord_that_tightens_as_its_load_falls(need_engine: Callable[[str], None]) -> None:
    """Paid out, a drum is at first faster than its load, then slower: a cord without give tightens in between.

    The drum is a body on rails of its own, a tendon that does not get longer joins it to the load; the engine's
    tendons give a little, which takes it less than 0.3 ms.
    """
    need_engine("mujoco")
    resistance, constant, inertia = 1.3, 0.02, 1e-5
    rails = (
        '<worldbody><body><joint name="z" type="slide" axis="0 0 -1" damping="3.0"/>'
        '<geom type="box" size="0.05 0.05 0.05" mass="2.5"/></body><body pos="1 0 0">'
        '<joint name="drum" type="slide" axis="1 0 0"/><geom type="box" size="0.05 0.05 0.05" mass="10.0"/></body>'
        '</worldbody><tendon><fixed limited="true" range="0 10" solreflimit="0.0002 1" '
        'solimplimit="0.999 0.9999 0.00001"><joint joint="z" coef="-1"/><joint joint="drum" coef="1"/></fixed>'
        "</tendon><actuator>" + spool("drum", 1000.0, resistance, constant) + "</actuator>"
    )
    robot = a_robot(
        {"lift": slide(0.9, cord="pulls")}, {"coil": winding(resistance, constant, inertia)}, (12.0, 0.0)
    )
    plant = a_plant(robot, tolerance=1e-9, lift=0.8)
    move = a_move(plant, "lift", 0.2)
    arrived = seconds(move.first_inside_us())
    plant.advance(round(arrived * 1e6))
    hung = slack_cord(plant, "lift")
    assert hung is not None and 0.0 < hung.caught < arrived and hung.lost > 0.01
    assert arrived == pytest.approx(passes(rails, 0.599, 1e-5), abs=3e-4)
