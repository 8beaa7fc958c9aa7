"""An inertia as a CAD program lists it, about a stated axis, carried to the mass centre: I = I_axis - m d²."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import hypot
from typing import Any

from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter
from simbot.scenario.units_told import told


def about_keys(joint: str, where: str) -> tuple[Parameter, ...]:
    """The keys that say about which axis `inertia` is stated; `joint`: the choice for where `at` is counted from."""
    return (
        Parameter(
            "inertia_about",
            "choice",
            f"the axis that `inertia` is stated about, parallel to the pivot: through the mass centre, the {joint}, "
            "or an `axis` at `axis_at`",
            default="centre",
            choices=("centre", joint, "axis"),
        ),
        Parameter(
            "axis_at", "length", f"from {where} to the axis of inertia_about: axis, which needs it", low=-5.0, high=5.0
        ),
        Parameter(
            "axis_aside", "length", "from that line to that axis, left positive", default=0.0, low=-5.0, high=5.0
        ),
    )  # fmt: skip


def distance(p: Mapping[str, Any], along: float, aside: float = 0.0) -> float:
    """From the axis that `inertia` is stated about to the mass centre, `along` and `aside` from pivot or joint [m]."""
    if p["inertia_about"] == "centre":
        return 0.0
    if p["inertia_about"] == "axis":
        return hypot(along - float(p["axis_at"]), aside - float(p["axis_aside"]))
    return hypot(along, aside)


def about_pivot(p: Mapping[str, Any], mass: float, along: float) -> float:
    """Inertia about the pivot [kg m²] of a mass whose centre stands `along` from it: I + m (along² - d²)."""
    d = distance(p, along)
    return max(float(p["inertia"]), mass * d**2) + mass * (along**2 - d**2)


def about_centre(p: Mapping[str, Any], mass: float, along: float, aside: float) -> float:
    """Inertia about the mass centre [kg m²]."""
    return max(float(p["inertia"]) - mass * distance(p, along, aside) ** 2, 0.0)


def axis_faults(
    p: Mapping[str, Any], mass: float, along: float, aside: float = 0.0
) -> Iterator[tuple[str, Fault]]:
    """An axis without its place, a place without need, no inertia to go with it, or less than that of a point."""
    about = p["inertia_about"]
    if about != "axis" and p["axis_at"] is not None:
        yield (
            "axis_at",
            Fault("it places the axis of inertia_about: axis", p["axis_at"].text, "that, or no `axis_at`"),
        )
    elif about == "axis" and p["axis_at"] is None:
        yield "axis_at", Fault("the key `axis_at` is missing", wanted="where the axis is, such as 120 mm")
    elif about != "centre" and p["inertia"] is None:
        yield (
            "inertia",
            Fault("the key `inertia` is missing", wanted="what it is about that axis, or no `inertia_about`"),
        )
    elif about != "centre":
        least = mass * distance(p, along, aside) ** 2
        if float(p["inertia"]) < least * (1.0 - 1e-12):
            text = p["inertia"].text
            yield (
                "inertia",
                Fault(
                    f"about {'that axis' if about == 'axis' else f'the {about}'} it cannot be less than that of its "
                    "mass in one point at the centre",
                    text,
                    f"at least {told(least, 'inertia', text, 1)}, or inertia_about: centre",
                ),
            )
