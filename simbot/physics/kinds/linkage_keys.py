"""Keys and small sums that several linkages share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import product
from math import degrees
from typing import Any

from simbot.physics.kinds.inertia_keys import about_centre, about_keys, axis_faults
from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Parameter


def link(name: str, meaning: str) -> Parameter:
    return Parameter(name, "length", meaning, required=True, low=0.002, high=3.0)


def parts_on(links: tuple[str, ...], required: bool = True) -> Parameter:
    """Masses that links carry, each with its place on its link."""
    return Parameter(
        "parts",
        "blocks",
        "masses that move with the links",
        required=required,
        block=(
            Parameter("link", "choice", "the link that carries it", required=True, choices=links),
            Parameter("mass", "mass", "its mass", required=True, low=0.0, high=100.0),
            Parameter(
                "at",
                "length",
                "from the link's first joint along the link to its mass centre; "
                "none: a uniform rod from joint to joint",
                low=-3.0,
                high=3.0,
            ),
            Parameter(
                "aside",
                "length",
                "from the link's line to its mass centre, left positive",
                default=0.0,
                low=-3.0,
                high=3.0,
            ),
            Parameter(
                "inertia",
                "inertia",
                "as `inertia_about` says; none: of the uniform rod, or of a point where `at` is given",
                low=0.0,
                high=100.0,
            ),
            *about_keys("joint", "the link's first joint along the link"),
        ),
    )


def part_of(part: Mapping[str, Any], length: float) -> tuple[float, complex, float]:
    """Mass, arm from the link's first joint, inertia about its own centre of one of `parts`."""
    mass, arm = float(part["mass"]), _arm_of(part, length)
    if part["inertia"] is not None:
        return mass, arm, about_centre(part, mass, arm.real, arm.imag)
    return mass, arm, mass * length**2 / 12.0 if part["at"] is None else 0.0


def _arm_of(part: Mapping[str, Any], length: float) -> complex:
    return complex(0.5 * length if part["at"] is None else float(part["at"]), float(part["aside"]))


def part_faults(p: Mapping[str, Any]) -> Iterator[tuple[tuple[str | int, ...], Fault]]:
    """Parts whose inertia cannot be that about the axis it is stated about."""
    for number, part in enumerate(p["parts"] or ()):
        arm = _arm_of(part, float(p[part["link"]]))
        for key, fault in axis_faults(part, float(part["mass"]), arm.real, arm.imag):
            yield ("parts", number, key), fault


def ends_of_spreads(p: Mapping[str, Any], keys: Sequence[str]) -> Iterator[dict[str, float]]:
    """These keys as stated, then at all ends of their spreads."""
    nominal = {key: float(p[key]) for key in keys}
    yield nominal
    ways = [(-1.0, 1.0) if getattr(p[key], "spread", 0.0) > 0.0 else (0.0,) for key in keys]
    for signs in product(*ways):
        if any(signs):
            yield {
                key: float(p[key]) + sign * getattr(p[key], "spread", 0.0)
                for key, sign in zip(keys, signs, strict=True)
            }


def in_degrees(angle: float) -> str:
    return f"{degrees(angle):.5g} deg"
