"""What one mechanism says of another that turns it or lies on it: names that exist, and no circles."""

from __future__ import annotations

from collections.abc import Mapping

from simbot.scenario.errors import Fault
from simbot.scenario.model import MechanismSpec
from simbot.scenario.sheet import Loc, Sheet


def check_carriers(sheet: Sheet, loc: Loc, mechanisms: Mapping[str, MechanismSpec | None]) -> None:
    """Note links to mechanisms that cannot be what the key says; `loc` is that of the mechanisms."""
    known = {name: spec for name, spec in mechanisms.items() if spec is not None}
    told: set[str] = set()
    for name, spec in known.items():
        tipped, extension = spec.values.get("tipped_by"), spec.values.get("extension")
        owner = spec.values.get("tank_of")
        if owner is not None and (
            owner in known or owner not in mechanisms
        ):  # else its own mistakes are told
            _check_tank(sheet, (*loc, name, "tank_of"), name, known)
        if tipped is not None:
            at = (*loc, name, "tipped_by")
            _check_target(sheet, at, tipped, name, mechanisms, "angle")
            if "faces" in spec.lines:
                sheet.fail(
                    (*loc, name, "faces"),
                    Fault(f"it works in the plane of {tipped}, which turns it: say it there"),
                    of_key=True,
                )
            if spec.kind == "servo" and spec.values["load_angle"] is None:
                sheet.fail(
                    at,
                    Fault(
                        "without a load_angle gravity does nothing to it", tipped, "a load_angle, or no key"
                    ),
                )
            circle = _circle(name, known)
            if circle and name not in told:
                told.update(circle)
                sheet.fail(at, Fault("mechanisms that turn each other in a circle", ", ".join(circle)))
        if extension is not None:
            at = (*loc, name, "extension", "by")
            _check_target(sheet, at, extension["by"], name, mechanisms, "length")


def _check_tank(sheet: Sheet, at: Loc, name: str, known: Mapping[str, MechanismSpec]) -> None:
    """It has to be another cylinder with a tank of its own."""
    owner = known[name].values["tank_of"]
    fit = [other for other, each in known.items() if each.values.get("tank") is not None and other != name]
    if owner not in known:
        sheet.unknown(at, "mechanism", owner, fit)
    elif owner not in fit:
        sheet.fail(
            at, Fault(f"{owner} has no tank of its own", owner, ", ".join(fit) or "a cylinder with a `tank`")
        )


def _check_target(
    sheet: Sheet,
    at: Loc,
    target: str,
    name: str,
    mechanisms: Mapping[str, MechanismSpec | None],
    coordinate: str,
) -> None:
    """It has to be another mechanism that has a travel and this coordinate."""
    spec = mechanisms.get(target)
    fit = [
        other
        for other, each in mechanisms.items()
        if other != name and each is not None and each.coordinate == coordinate and each.values.get("travel")
    ]
    if target not in mechanisms:
        sheet.unknown(at, "mechanism", target, fit)
    elif target == name or (spec is not None and target not in fit):
        wanted = ", ".join(fit) or f"none: no other mechanism has a travel that is {_article(coordinate)}"
        sheet.fail(
            at, Fault(f"its position is not {_article(coordinate)} that could matter here", target, wanted)
        )


def _article(coordinate: str) -> str:
    return {"angle": "an angle", "length": "a length"}[coordinate]


def _circle(name: str, mechanisms: Mapping[str, MechanismSpec]) -> list[str]:
    """The mechanisms that turn each other, from this one on; empty where it is not among such."""
    chain = [name]
    while True:
        spec = mechanisms.get(chain[-1])
        by = None if spec is None else spec.values.get("tipped_by")
        if by == name:
            return chain if len(chain) > 1 else []
        if by is None or by in chain:
            return []
        chain.append(by)
