"""The battery of a robot file: its states, as given, as measured, or as its chemistry has them."""

from __future__ import annotations

from dataclasses import replace

from simbot.scenario.echo import shown
from simbot.scenario.errors import Fault
from simbot.scenario.model import BatteryState
from simbot.scenario.parameters import Quantity
from simbot.scenario.schema import BatteryShape, BatteryStateShape, MeasuredShape, PolarisationShape
from simbot.scenario.sheet import Loc, Sheet

# One cell: open-circuit volts and ohms with their spreads, strongest state first; from memory. Leads are in it.
CELL = {
    "nimh": {
        "fresh": (1.39, 0.03, 0.011, 0.003),
        "mid-event": (1.32, 0.02, 0.015, 0.003),
        "tired": (1.255, 0.025, 0.0275, 0.0075),
    },
    "lead_acid": {
        "fresh": (2.158, 0.025, 0.00233, 0.00033),
        "mid-event": (2.10, 0.017, 0.00317, 0.0005),
        "tired": (2.025, 0.025, 0.00475, 0.0011),
    },
}
CELLS = {"nimh": 10, "lead_acid": 6}
SETTLING = 20.0  # s, of the polarisation where none is given: 5 to 60 s, from memory


def read_battery(sheet: Sheet, loc: Loc) -> tuple[BatteryState, ...]:
    """States of the battery, strongest first; mistakes and assumptions are noted on the sheet's desk."""
    if sheet.node(loc) is None:
        return ()
    shape = sheet.read(loc, BatteryShape)
    if shape is None:
        return ()
    states = (
        _states(sheet, (*loc, "states")) if shape.states is not None else _by_chemistry(sheet, loc, shape)
    )
    if not states and not sheet.desk.problems:
        wanted = "{fresh: {open_circuit: …, resistance: …}}"
        sheet.fail((*loc, "states"), Fault("at least one state is wanted", wanted=wanted))
    if shape.falls is not None and shape.capacity is None:
        sheet.fail(
            (*loc, "falls"), Fault("the charge over which it falls is not given", wanted="capacity: 3 Ah")
        )
        return ()
    share, settling = 0.0, SETTLING
    if shape.polarisation is not None:
        extra = sheet.read((*loc, "polarisation"), PolarisationShape)
        if extra is None:
            return ()
        share = float(extra.share)
        if extra.settling is None:
            sheet.remark(
                (*loc, "polarisation"), "assumed", f"settling: {SETTLING:g} s (5 to 60 s, from memory)"
            )
        else:
            settling = float(extra.settling)
    return tuple(
        replace(
            state,
            polarisation=share * float(state.resistance),
            settling=settling,
            capacity=None if shape.capacity is None else float(shape.capacity),
            falls=float(shape.falls or 0.0),
        )
        for state in states
    )


def _states(sheet: Sheet, loc: Loc) -> list[BatteryState]:
    states = []
    for name, at in sheet.entries(loc):
        state = _measured(sheet, name, at) if "resting" in sheet.keys(at) else _stated(sheet, name, at)
        if state is not None:
            states.append(state)
    return states


def _stated(sheet: Sheet, name: str, loc: Loc) -> BatteryState | None:
    shape = sheet.read(loc, BatteryStateShape)
    if shape is None:
        return None
    return BatteryState(name, shape.open_circuit, shape.resistance, sheet.line(loc))


def _measured(sheet: Sheet, name: str, loc: Loc) -> BatteryState | None:
    """Open circuit and resistance from volts at rest and volts under a known current."""
    shape = sheet.read(loc, MeasuredShape)
    if shape is None:
        return None
    drop = float(shape.resting) - float(shape.loaded)
    if drop < 0.0:
        fault = Fault("more than at rest", shape.loaded.text, f"less than {shape.resting.text}")
        sheet.fail((*loc, "loaded"), fault)
        return None
    current = float(shape.load)
    spread = (
        shape.resting.spread**2 + shape.loaded.spread**2 + (drop / current * shape.load.spread) ** 2
    ) ** 0.5
    text = f"({shape.resting.text} - {shape.loaded.text}) / {shape.load.text}"
    resistance = Quantity(drop / current, spread / current, text)
    return BatteryState(name, shape.resting, resistance, sheet.line(loc))


def _by_chemistry(sheet: Sheet, loc: Loc, shape: BatteryShape) -> list[BatteryState]:
    """The usual three states of a chemistry."""
    if shape.chemistry is None:
        wanted = "states: {fresh: {open_circuit: 13.8 V, resistance: 0.11 ohm}}, or chemistry: nimh"
        sheet.fail(loc, Fault("neither its states nor its chemistry are given", wanted=wanted), of_key=True)
        return []
    cells = CELLS[shape.chemistry] if shape.cells is None else int(shape.cells)
    line = sheet.line(loc)
    states = []
    for name, (volts, volts_spread, ohms, ohms_spread) in CELL[shape.chemistry].items():
        volt = Quantity(cells * volts, cells * volts_spread, "", True)
        ohm = Quantity(cells * ohms, cells * ohms_spread, "", True)
        states.append(BatteryState(name, volt, ohm, line))
        text = f"{name}: {shown(volt, 'voltage')} open, {shown(ohm, 'resistance')}"
        sheet.remark((*loc, "chemistry"), "assumed", f"{text} ({cells} cells, leads included, from memory)")
    return states
