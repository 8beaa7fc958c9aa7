"""The masses of an arm: one mass and its centre, or a table of parts; a counterweight; what they sum up to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from simbot.physics.kinds.inertia_keys import about_keys, about_pivot, axis_faults
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter

ABOUT = about_keys("pivot", "the pivot along the arm")
ARM_MASS = (
    Parameter(
        "moving_mass",
        "mass",
        "of all that turns",
        low=0.0,
        open_low=True,
        high=200.0,
        needed="unless `parts`",
    ),
    Parameter(
        "centre", "length", "from the pivot to the mass centre", low=0.0, high=5.0, needed="unless `parts`"
    ),
    Parameter(
        "inertia",
        "inertia",
        "as `inertia_about` says; none: a rod whose centre is `centre` from the pivot",
        low=0.0,
        high=500.0,
    ),
    *ABOUT,
    Parameter(
        "parts",
        "blocks",
        "in place of moving_mass and centre: each part on its own, as a CAD program lists it",
        block=(
            Parameter("mass", "mass", "its mass", required=True, low=0.0, high=200.0),
            Parameter(
                "at",
                "length",
                "from the pivot along the arm to its mass centre; behind the pivot negative",
                required=True,
                low=-5.0,
                high=5.0,
            ),
            Parameter("inertia", "inertia", "as `inertia_about` says; none: a point", low=0.0, high=500.0),
            *ABOUT,
        ),
    ),
    Parameter(
        "counterweight",
        "block",
        "a mass on the other side of the pivot: it takes weight off the motor and adds inertia",
        block=(
            Parameter("mass", "mass", "its mass", required=True, low=0.0, high=200.0),
            Parameter("at", "length", "from the pivot, behind it", required=True, low=0.0, high=5.0),
        ),
    ),
)


class ArmMass(NamedTuple):
    """Sums over all that turns, the payload left out.

    Parameters
    ----------
    moment : float
        Sum of mass times distance along the arm [kg m].
    inertia : float
        About the pivot, by the parallel axis theorem [kg m²].
    centre : float
        From the pivot to the mass centre, without the counterweight [m].
    """

    moment: float
    inertia: float
    centre: float


def arm_mass(p: Mapping[str, Any]) -> ArmMass:
    """The sums for an arm's keys."""
    if p["parts"]:
        mass = sum(float(part["mass"]) for part in p["parts"])
        moment = sum(float(part["mass"]) * float(part["at"]) for part in p["parts"])
        inertia = sum(_part_about_pivot(part) for part in p["parts"])
        centre = moment / mass if mass else 0.0
    else:
        mass, centre = float(p["moving_mass"]), float(p["centre"])
        moment, inertia = mass * centre, 4.0 / 3.0 * mass * centre**2
        if p["inertia"] is not None:
            inertia = about_pivot(p, mass, centre)
    weight = p["counterweight"]
    if weight is not None:
        moment -= float(weight["mass"]) * float(weight["at"])
        inertia += float(weight["mass"]) * float(weight["at"]) ** 2
    return ArmMass(moment, inertia, centre)


def _part_about_pivot(part: Mapping[str, Any]) -> float:
    """Of one of `parts` [kg m²]."""
    mass, at = float(part["mass"]), float(part["at"])
    return mass * at**2 if part["inertia"] is None else about_pivot(part, mass, at)


def arm_faults(p: Mapping[str, Any]) -> Iterator[tuple[tuple[str | int, ...], Fault]]:
    """Neither or both ways to state the masses; an inertia about the pivot less than that of a point."""
    if p["parts"] is not None:
        for key in ("moving_mass", "centre", "inertia", "axis_at"):
            if p[key] is not None:
                yield (
                    (key,),
                    Fault("`parts` state all of the arm's mass", p[key].text, f"no `{key}`, or no `parts`"),
                )
        if p["inertia_about"] != "centre":
            text = "`parts` state all of the arm's inertia"
            yield ("inertia_about",), Fault(text, p["inertia_about"], "`inertia_about` in each part")
        if not any(float(part["mass"]) > 0.0 for part in p["parts"]):
            yield (
                ("parts",),
                Fault("at least one mass is wanted", "none", "such as {mass: 300 g, at: 150 mm}"),
            )
        for number, part in enumerate(p["parts"]):
            for key, fault in axis_faults(part, float(part["mass"]), float(part["at"])):
                yield ("parts", number, key), fault
        return
    missing = [key for key in ("moving_mass", "centre") if p[key] is None]
    for key in missing:
        yield (
            (key,),
            Fault(f"the key `{key}` is missing", wanted="moving_mass and centre, or a list of parts"),
        )
    if not missing:
        for key, fault in axis_faults(p, float(p["moving_mass"]), float(p["centre"])):
            yield (key,), fault
