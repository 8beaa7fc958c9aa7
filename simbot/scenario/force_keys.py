"""What cannot be among a mechanism's springs, detents and teeth."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from simbot.scenario.errors import Fault
from simbot.scenario.parameters import Quantity
from simbot.scenario.sheet import Loc, Sheet

MOST_TEETH = 200


def check_forces(sheet: Sheet, loc: Loc, values: dict[str, Any]) -> None:
    """Note the mistakes that show only when travel and forces are read together."""
    travel = values.get("travel")
    if travel is None or not travel[0] < travel[1]:
        return
    low, high = travel
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
    first = low if ratchet["from"] is None else ratchet["from"]
    if not low <= first < high:
        sheet.fail((*loc, "ratchet", "from"), Fault("outside the travel", first.text, f"between {ends}"))
    elif (high - first) / ratchet["pitch"] > MOST_TEETH:
        sheet.fail(
            (*loc, "ratchet", "pitch"),
            Fault(
                f"more than {MOST_TEETH} teeth on the travel",
                ratchet["pitch"].text,
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
