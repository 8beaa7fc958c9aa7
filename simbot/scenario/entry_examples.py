"""What one entry of a mapping of the user's own names looks like, for the message where it was written otherwise."""

from __future__ import annotations

EXAMPLES = {
    ("game", "periods"): "autonomous: 20 s",
    ("game", "elements"): "lantern: {mass: 180 g}",
    ("game", "stations"): "rack: {pose: [1 m, 1 m, 90 deg], gives: lantern}",
    ("game", "places"): "low_row: {pose: [2 m, 1 m, 0 deg], takes: lantern, points: 5}",
    ("game", "bonuses"): "both_rows: {each: {low_row: 1, high_row: 1}, points: 6}",
    ("game", "each"): "low_row: 1",
    ("game", "penalties"): "dropped: 2",
    ("game", "at_end"): "on_mat: {points: 6, pose: [1 m, 1 m, 90 deg], within: 150 mm}",
    ("robot", "states"): "fresh: {open_circuit: 13.2 V, resistance: 0.12 ohm}",
    ("robot", "rails"): "servo_rail: {voltage: 6 V, current_limit: 5 A}",
    (
        "robot",
        "motors",
    ): "wheel: {voltage: 12 V, free_speed: 400 rpm, stall_torque: 19 kgf*cm, stall_current: 9 A}",
    ("robot", "mechanisms"): "flap: {kind: measured, time: 0.3 s}",
    ("robot", "named"): "open: 20 deg",
    ("robot", "brown_out"): "controller: 6.8 V",
    ("plan", "routines"): "deliver: [{drive: rack}, {wait: arrival}]",
    ("plan", "holds"): "gripper: lantern",
    ("plan", "needs"): "lift: 0.42 m within 15 mm",
    ("plan", "at_end"): "on_mat: {lift: 0 m within 20 mm}",
    ("plan", "orientations"): "upright: {wrist: 90 deg within 5 deg}",
    ("plan", "others"): "mate: {uses: chute, every: 9 s, stays: 2 s}",
    ("plan", "room"): "pan: 3",
    ("plan", "stock"): "rack: 1",
}


def entries_told(loc: tuple[str | int, ...]) -> str:
    """What is wanted at a location: names with what is theirs, and such an entry where one is known."""
    key = str(loc[-1]) if loc else ""
    example = EXAMPLES.get((str(loc[0]), key)) if loc else None
    says = "names, each with what is its own"
    return says if example is None else f"{says}: {key}: {{{example}}}"
