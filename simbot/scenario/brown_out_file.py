"""`brown_out`: below how many volts of the bus what resets, and what that does to the run.

`controller: 6.8 V` is told and changes nothing; a block acts:
`servos: {below: 6.8 V, back_above: 7.5 V, back_after: 0.2 s, stops: servo_rail}`.
"""

from __future__ import annotations

from collections.abc import Collection

from simbot.scenario.errors import Fault, nearest
from simbot.scenario.model import Reset
from simbot.scenario.schema import ResetShape
from simbot.scenario.sheet import Loc, Sheet, listed
from simbot.scenario.units import read_quantity

STOPS = ("motors", "program")


def read_brown_out(
    sheet: Sheet, loc: Loc, rails: Collection[str]
) -> tuple[dict[str, float], tuple[Reset, ...]]:
    """Volts below which devices reset, by their names; those that act on the run besides."""
    volts: dict[str, float] = {}
    resets = []
    for name, at in sheet.entries(loc):
        if sheet.keys(at):
            reset = _reset(sheet, at, name, rails)
            if reset is not None:
                volts[name] = reset.below
                resets.append(reset)
            continue
        told = sheet.attempt(at, read_quantity, sheet.text(at), "voltage", low=0.0, high=100.0, open_low=True)
        if told is not None:
            volts[name] = float(told)
    return volts, tuple(resets)


def _reset(sheet: Sheet, at: Loc, name: str, rails: Collection[str]) -> Reset | None:
    shape = sheet.read(at, ResetShape)
    if shape is None:
        return None
    known = (*STOPS, *rails)
    if shape.stops not in known:
        fault = Fault(
            "there is no such rail, and it is neither the motors nor the program",
            shape.stops,
            listed(known),
            nearest(shape.stops, known),
        )
        sheet.fail((*at, "stops"), fault)
        return None
    if shape.back_above < shape.below:
        fault = Fault(
            "it comes back above what it resets below", shape.back_above.text, f"at least {shape.below.text}"
        )
        sheet.fail((*at, "back_above"), fault)
        return None
    values = (float(shape.below), float(shape.back_above), float(shape.back_after))
    return Reset(name, *values, shape.stops, sheet.line(at))
