"""Linkages as bodies, joints and a stiff constraint that closes the loop (MuJoCo), against the kernel's tables.

The engine is told lengths and masses, none of our kinematics but the pose it starts from, which must close
exactly. Runge-Kutta of fourth order; the constraint's time constant is three steps.
"""

from __future__ import annotations

from collections.abc import Callable
from math import asin, atan2, cos, radians, sin, sqrt

import pytest
from builders import a_robot, winding
from test_multibody import arrives, passes, spool

STEP = 1e-4
TIE = 'solref="0.0003 1" solimp="0.9999 0.9999 0.001"'
D, A, B, C = 0.1, 0.04, 0.12, 0.08
COIL = winding(0.45, 0.0185, 2.4e-7)


def rod(mass: float, length: float, more: str = "") -> str:
    """A link of this length, uniform, its thickness and its inertia along itself next to nothing."""
    own = mass * length**2 / 12.0
    return f'<inertial pos="{0.5 * length!r} 0 0" mass="{mass!r}" diaginertia="1e-9 {own!r} {own!r}"/>{more}'


def pose(q: float, crossed: bool) -> tuple[float, float]:
    """Absolute angles of coupler and rocker from where two circles meet."""
    x, y = A * cos(q), A * sin(q)
    gap, line = sqrt((D - x) ** 2 + y**2), atan2(-y, D - x)
    along = (gap**2 + B**2 - C**2) / (2.0 * gap)
    across = sqrt(B**2 - along**2) * (-1.0 if crossed else 1.0)
    coupler = line + atan2(across, along)
    return coupler, atan2(y + B * sin(coupler), x + B * cos(coupler) - D)


@pytest.mark.parametrize("branch", ["open", "crossed"])
@pytest.mark.parametrize("aside", [0.0, 30.0])
def test_four_bar(need_engine: Callable[[str], None], branch: str, aside: float) -> None:
    """40 to 140 degrees under gravity; the load on the rocker's end, or beside the coupler; both branches."""
    need_engine("mujoco")
    start = radians(40.0)
    coupler, rocker = pose(start, branch == "crossed")
    held = (
        '<body pos="0.05 0 0.03"><geom size="0.001" mass="0.4"/></body>'
        if aside
        else f'<body pos="{B} 0 0"><geom size="0.001" mass="0.4"/></body>'
    )
    model = f"""<worldbody>
    <body name="crank"><joint name="q" type="hinge" axis="0 -1 0" armature="{60.0**2 * 2.4e-7!r}"/>{rod(0.05, A)}
      <body name="coupler" pos="{A} 0 0"><joint name="b" type="hinge" axis="0 -1 0"/>{rod(0.1, B)}{held}
        <site name="one" pos="{B} 0 0"/></body></body>
    <body name="rocker" pos="{D} 0 0"><joint name="c" type="hinge" axis="0 -1 0"/>{rod(0.08, C)}
      <site name="two" pos="{C} 0 0"/></body>
    </worldbody><equality><connect site1="one" site2="two" {TIE}/></equality>
    <actuator>{spool("q", 60.0, 0.45, 0.0185)}</actuator>"""
    goal = radians(140.0)
    right = passes(model, goal, STEP, 6.0, (start, coupler - start, rocker))
    part = {"link": "coupler", "mass": "400 g", "at": "50 mm" if aside else f"{B} m", "aside": f"{aside} mm"}
    four = {
        "kind": "four_bar", "motors": "1 x coil", "gearing": [{"ratio": 60, "efficiency": "100 %"}],
        "ground": f"{D} m", "crank": f"{A} m", "coupler": f"{B} m", "rocker": f"{C} m", "branch": branch,
        "parts": [{"link": "crank", "mass": "50 g"}, {"link": "coupler", "mass": "100 g"},
                  {"link": "rocker", "mass": "80 g"}, part],
        "friction": "0 N*m", "travel": ["40 deg", "140 deg"],
        "control": {"loop": "full_effort", "window": "0.1 deg"},
    }  # fmt: skip
    got = arrives(a_robot({"it": four}, {"coil": COIL}, (6.0, 0.0)), "it", goal, it=start)
    assert got == pytest.approx(right, abs=1.2e-6)
    if branch == "open" and not aside:
        assert right == pytest.approx(0.323985754, abs=1e-8)  # the same model in a second engine


CRANK, LINK = 0.04, 0.08


@pytest.mark.parametrize("incline", [0.0, 70.0])
@pytest.mark.parametrize("offset", [0.0, 15.0])
def test_slider_crank(need_engine: Callable[[str], None], offset: float, incline: float) -> None:
    """-165 to 20 degrees, through the dead centre at 0: 0.5 kg on the slide, crank and coupler of 60 and 90 g."""
    need_engine("mujoco")
    start, goal, e, lift = radians(-165.0), radians(20.0), 1e-3 * offset, radians(incline)
    link = asin((e - CRANK * sin(start)) / LINK)
    out = CRANK * cos(start) + LINK * cos(link)
    model = f"""<worldbody><body euler="0 {-incline} 0">
    <body name="crank"><joint name="q" type="hinge" axis="0 -1 0" armature="{60.0**2 * 2.4e-7!r}"/>{rod(0.06, CRANK)}
      <body name="coupler" pos="{CRANK} 0 0"><joint name="b" type="hinge" axis="0 -1 0"/>{rod(0.09, LINK)}
        <site name="one" pos="{LINK} 0 0"/></body></body>
    <body name="slider" pos="0 0 {e}"><joint name="x" type="slide" axis="1 0 0"/>
      <geom size="0.01" mass="0.5"/><site name="two"/></body>
    </body></worldbody><equality><connect site1="one" site2="two" {TIE}/></equality>
    <actuator>{spool("q", 60.0, 0.45, 0.0185)}</actuator>"""
    right = passes(model, goal, STEP, 6.0, (start, link - start, out))
    crank = {
        "kind": "slider_crank", "motors": "1 x coil", "gearing": [{"ratio": 60, "efficiency": "100 %"}],
        "crank": f"{CRANK} m", "coupler": f"{LINK} m", "offset": f"{e} m", "incline": f"{lift!r} rad",
        "slider_mass": "500 g", "parts": [{"link": "crank", "mass": "60 g"}, {"link": "coupler", "mass": "90 g"}],
        "friction": "0 N*m", "travel": ["-165 deg", "20 deg"],
        "control": {"loop": "full_effort", "window": "0.1 deg"},
    }  # fmt: skip
    got = arrives(a_robot({"it": crank}, {"coil": COIL}, (6.0, 0.0)), "it", goal, it=start)
    assert got == pytest.approx(right, abs=1.2e-6)
