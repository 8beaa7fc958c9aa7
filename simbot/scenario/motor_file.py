"""The motors of a robot file: a data sheet's four numbers, or points of its line."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.scenario.errors import Fault
from simbot.scenario.model import Heat, Motor
from simbot.scenario.parameters import Quantity
from simbot.scenario.schema import HeatShape, MotorShape, PointShape
from simbot.scenario.sheet import Loc, Sheet
from simbot.scenario.units import read_as

WINDING_LIMIT = 120.0  # degC
POINT_TOLERANCE = 0.05  # of the stall value: a point farther from the line through all is told


@dataclass(frozen=True)
class Line:
    """The straight lines through the points of a sheet: torque over speed, current over torque."""

    free_speed: Quantity
    stall_torque: Quantity
    free_current: Quantity | None
    stall_current: Quantity | None


def read_motor(sheet: Sheet, name: str, loc: Loc) -> Motor | None:
    """A motor; its mistakes and assumptions are noted on the sheet's desk."""
    shape = sheet.read(loc, MotorShape)
    if shape is None:
        return None
    given = {key: getattr(shape, key) for key in MotorShape.model_fields if key != "points"}
    if shape.points is not None:
        line = _line(sheet, (*loc, "points"))
        twice = [
            key
            for key in Line.__annotations__
            if given[key] is not None and getattr(line, key, None) is not None
        ]
        for key in twice:
            sheet.fail((*loc, key), Fault("its points give this already", given[key].text, "one of them"))
        if line is None or twice:
            return None
        given |= {key: getattr(line, key) for key in Line.__annotations__ if given[key] is None}
    if given["free_speed"] is None:
        wanted = "free_speed: 5800 rpm, or points: two or more of its line"
        sheet.fail(loc, Fault("its speed without load is missing", name, wanted), of_key=True)
        return None
    if given["stall_torque"] is None and given["stall_current"] is None:
        sheet.fail(
            loc,
            Fault(
                "of stall_torque and stall_current one may be left out, not both",
                name,
                "stall_torque: 19 kgf*cm or stall_current: 9 A",
            ),
            of_key=True,
        )
    free, stall = given["free_current"], given["stall_current"]
    if free and stall and free >= stall and shape.points is None:
        sheet.fail(
            (*loc, "free_current"), Fault("not below the stall current", free.text, f"less than {stall.text}")
        )
    note_reading(sheet, (*loc, "stall_torque"), "torque")
    return Motor(name=name, line=sheet.line(loc), **{**given, "heat": _heat(sheet, (*loc, "heat"))})


def _line(sheet: Sheet, loc: Loc) -> Line | None:
    """Least squares through the points of a sheet; points that lie off it are told, none is left out."""
    read = [(at, sheet.read(at, PointShape)) for at in sheet.items(loc)]
    points = [(at, point) for at, point in read if point is not None]
    if len(points) < len(read):
        return None
    speeds = [float(point.speed) for _, point in points]
    torques = [float(point.torque) for _, point in points]
    slope = _slope(speeds, torques)
    if slope is None or slope[1] >= 0.0 or slope[0] <= 0.0:
        wanted = "two or more, with less torque at more speed"
        sheet.fail(loc, Fault("no line falls through these points", f"{len(points)} points", wanted))
        return None
    stall, per_speed = slope
    for at, point in points:
        off = float(point.torque) - stall - per_speed * float(point.speed)
        if abs(off) > POINT_TOLERANCE * stall:
            text = f"this point lies {100 * off / stall:+.0f} % of the stall torque off the line through all of them"
            sheet.remark(at, "doubt", text)
    free_current = stall_current = None
    with_current = [(at, point) for at, point in points if point.current is not None]
    if len(with_current) >= 2:
        amps = [float(point.current or 0.0) for _, point in with_current]
        line = _slope([float(point.torque) for _, point in with_current], amps)
        if line is None or line[1] <= 0.0:
            sheet.fail(
                loc, Fault("their currents do not rise with torque", wanted="more current at more torque")
            )
            return None
        if line[0] < 0.0:
            rows = ", ".join(point.current.text for _, point in with_current if point.current is not None)
            text = f"currents of no one motor: their line would be {line[0]:.2g} A without torque"
            wanted = "currents that lie on a line, or none: free_current and stall_current beside the points"
            sheet.fail(loc, Fault(text, rows, wanted))
            return None
        free_current, stall_current = _quantity(line[0]), _quantity(line[0] + line[1] * stall)
        for at, point in with_current:
            off = float(point.current or 0.0) - line[0] - line[1] * float(point.torque)
            if abs(off) > POINT_TOLERANCE * stall_current:
                text = (
                    f"its current lies {100 * off / stall_current:+.0f} % of the stall current off their line"
                )
                sheet.remark(at, "doubt", text)
    return Line(_quantity(-stall / per_speed), _quantity(stall), free_current, stall_current)


def _quantity(value: float) -> Quantity:
    return Quantity(value, 0.0, "from its points")


def _slope(x: list[float], y: list[float]) -> tuple[float, float] | None:
    """Value at 0 and slope of the line through points; None where they have no width."""
    if not x or max(x) == min(x):
        return None
    middle, height = sum(x) / len(x), sum(y) / len(y)
    spread = sum((a - middle) ** 2 for a in x)
    slope = sum((a - middle) * (b - height) for a, b in zip(x, y, strict=True)) / spread
    return height - slope * middle, slope


def _heat(sheet: Sheet, loc: Loc) -> Heat | None:
    if sheet.node(loc) is None:
        return None
    shape = sheet.read(loc, HeatShape)
    if shape is None:
        return None
    if shape.limit is None:
        sheet.remark(loc, "assumed", f"limit: {WINDING_LIMIT:g} degC (100 to 155 degC, from memory)")
    if shape.magnets is None:
        text = "magnets: ferrite or neodymium is not stated; runs leave the motor constant as it is cold"
        sheet.remark(loc, "assumed", text)
    return Heat(
        float(shape.winding_to_case),
        float(shape.case_to_air),
        float(shape.winding_time),
        float(shape.case_time),
        float(shape.limit or WINDING_LIMIT),
        shape.magnets,
    )


def note_reading(sheet: Sheet, loc: Loc, dimension: str) -> None:
    """Note how a unit with two meanings was read."""
    text = sheet.text(loc)
    note = read_as(text, dimension) if text else ""
    if note:
        sheet.remark(loc, "assumed", note)
