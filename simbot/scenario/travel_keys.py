"""Mistakes that show only when a mechanism's travel is read together with its stages, springs and teeth."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Quantity
from simbot.scenario.sheet import Loc, Sheet
from simbot.scenario.units_told import told

MOST_TEETH = 200


def check_travel(sheet: Sheet, loc: Loc, values: dict[str, Any]) -> None:
    """Note what does not fit the travel."""
    travel = values.get("travel")
    if travel is None:
        return
    if travel[0] < travel[1]:
        _check_forces(sheet, loc, values, *travel)
    else:
        sheet.fail(
            (*loc, "travel"),
            Fault("the lowest position is not below the highest", f"[{travel[0].text}, {travel[1].text}]"),
        )
    if values.get("stages") is not None:
        _check_stages(sheet, loc, values, travel[1] - travel[0])


def _check_stages(sheet: Sheet, loc: Loc, values: dict[str, Any], length: float) -> None:
    count = int(values["stages"])
    masses = values["moving_mass"]
    stated = len(masses) if isinstance(masses, tuple) else 1
    if stated != count:
        sheet.fail(
            (*loc, "moving_mass"),
            Fault(f"{stated} mass(es) for {count} stage(s)", wanted="one mass for each stage, bottom first"),
        )
    friction, ways = values["friction"], values["stage_travel"]
    if isinstance(friction, tuple) and len(friction) != count:
        text = f"{len(friction)} friction(s) for the joints of {count} stage(s)"
        sheet.fail((*loc, "friction"), Fault(text, wanted="one for each joint, bottom first, or one for all"))
    for key in ("stage_travel", "order"):
        if values[key] is not None and values["rigging"] == "cascade":
            text = "the stages of a cascade go all at once and equally far: this key is for a continuous cord"
            sheet.fail((*loc, key), Fault(text), of_key=True)
    if ways is None or values["rigging"] == "cascade":
        return
    if len(ways) != count:
        text = f"{len(ways)} way(s) for {count} stage(s)"
        sheet.fail((*loc, "stage_travel"), Fault(text, wanted="one for each stage, bottom first"))
    elif abs(sum(ways) - length) > 1e-6 * length:
        given = " + ".join(way.text for way in ways)
        text = "the ways of the stages do not add up to the travel"
        sheet.fail(
            (*loc, "stage_travel"), Fault(text, given, f"together {told(length, 'length', ways[0].text)}")
        )


def _check_forces(sheet: Sheet, loc: Loc, values: dict[str, Any], low: Quantity, high: Quantity) -> None:
    ends = f"{low.text} to {high.text}"
    for number, spring in enumerate(values.get("springs") or ()):
        if "gas" in spring and _turns(spring["gas"], low, high):
            sheet.fail(
                (*loc, "springs", number, "gas", "rise"),
                Fault(
                    "its force would change direction within the travel",
                    spring["gas"]["rise"].text,
                    f"a smaller rise: a gas spring pushes everywhere from {ends}",
                ),
            )
    for number, at in enumerate(_places(values)):
        if not low < at < high:
            sheet.fail(
                (*loc, "detents", number, "position"), Fault("outside the travel", at.text, f"between {ends}")
            )
    ratchet = values.get("ratchet")
    if ratchet is None:
        return
    first, pitch = low if ratchet["from"] is None else ratchet["from"], ratchet["pitch"]
    if pitch is None and ratchet["from"] is None:
        text = "how far apart its teeth are, or where its one latch is, is not said"
        sheet.fail((*loc, "ratchet"), Fault(text, wanted="`pitch` for teeth, `from` alone for a latch"))
    elif not low <= first < high:
        sheet.fail((*loc, "ratchet", "from"), Fault("outside the travel", first.text, f"between {ends}"))
    elif pitch is not None and (high - first) / pitch > MOST_TEETH:
        sheet.fail(
            (*loc, "ratchet", "pitch"),
            Fault(
                f"more than {MOST_TEETH} teeth on the travel",
                pitch.text,
                "the way from one tooth to the next",
            ),
        )


def _places(values: dict[str, Any]) -> Iterator[Quantity]:
    for detent in values.get("detents") or ():
        yield detent["position"]


def _turns(gas: dict[str, Any], low: float, high: float) -> bool:
    """Whether a gas spring's force at an end of the travel is not of the sign it has where it was measured."""
    forces = [float(gas["force"]) - float(gas["rise"]) * (end - float(gas["at"])) for end in (low, high)]
    return any(force * float(gas["force"]) < 0.0 for force in forces)
