"""From a motor's data sheet to its straight torque-speed line with one motor constant.

    i = (d V - k w)/R      torque = k i - k I0 sgn(w)      supply current = d i

Where a sheet gives all of free speed, free current, stall torque and stall current, they rarely agree. The
torque line (stall torque to free speed) is what times depend on, and is kept. With
r = stall torque / (k (stall current - free current)): r <= 1 is a loss inside the motor (or the gears inside
a gearmotor); r > 1 would make energy, so the stall current is replaced by the one that energy conservation
asks for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi, sqrt

from simbot.scenario.model import Motor
from simbot.scenario.parameters import Quantity

ROTOR_SPEED = 6000.0 * pi / 30.0
GEARED_BELOW = 0.35  # of that speed: a motor so slow has gears inside


@dataclass(frozen=True)
class MotorModel:
    """A motor as the plant sees it; all at its output shaft.

    Parameters
    ----------
    voltage : float
        Nominal voltage [V].
    resistance : float
        [ohm]
    constant : float
        [V s/rad = N m/A]
    friction : float
        Friction torque k I0 [N m].
    rotor_inertia : float
        As felt at the output shaft: rotor's own times internal ratio squared [kg m²].
    r : float
        Torque that leaves it over the torque that its currents make, at most 1 (see module).
    geared : bool
        A gearmotor: the loss r lies in its gears, the rotor before it. False: the rotor stands after it.
    sheet_r : float
        r as the sheet has it, above 1 where the sheet is impossible.
    stall_current_replaced_by : float or None
        [A]
    """

    voltage: float
    resistance: float
    constant: float
    friction: float
    rotor_inertia: float
    r: float
    geared: bool
    sheet_r: float
    stall_current_replaced_by: float | None


def resistance_from_torque(
    voltage: float, free_speed: float, free_current: float, stall_torque: float, after_friction: bool
) -> float:
    """Winding resistance that free speed, free current and stall torque imply [ohm].

    After friction, Ts = k (Is - I0): the smaller root of (Vn - I0 R)² = Ts w0 R. Before it, Ts = k Is:
    R = Vn²/(Ts w0 + Vn I0).
    """
    if not after_friction:
        return voltage**2 / (stall_torque * free_speed + voltage * free_current)
    b = 2.0 * voltage * free_current + stall_torque * free_speed
    return 2.0 * voltage**2 / (b + sqrt(b * b - 4.0 * (free_current * voltage) ** 2))


def completed_sheet(sheet: Motor) -> tuple[Motor, tuple[tuple[str, float, float, str], ...]]:
    """Fill in what a sheet leaves out, by the motor's rating.

    From memory: rotors of small motors (stall below 30 A on 12 V) have 5e-6 to 2e-5 kg m², of large ones 5e-5
    to 1.5e-4; the rotor inside a small gearmotor runs at about 6000 rpm.

    Returns
    -------
    (sheet, assumed) : assumed is a tuple of (key, value, spread, reason)
    """
    assumed: list[tuple[str, float, float, str]] = []
    stall = stall_current_of(sheet)
    if sheet.free_current is None:
        guess = Quantity(0.04 * stall, 0.03 * stall, "assumed", True)
        sheet = replace(sheet, free_current=guess)
        assumed.append(
            ("free_current", guess, guess.spread, "4 % of stall current, common practice, no source")
        )
    if sheet.internal_ratio is None and sheet.free_speed < GEARED_BELOW * ROTOR_SPEED:
        ratio = Quantity(
            ROTOR_SPEED / sheet.free_speed, 0.4 * ROTOR_SPEED / sheet.free_speed, "assumed", True
        )
        sheet = replace(sheet, internal_ratio=ratio)
        assumed.append(
            ("internal_ratio", ratio, ratio.spread, "its rotor is taken to run at 6000 rpm, from memory")
        )
    if sheet.rotor_inertia is None:
        small = stall < 30.0 * 12.0 / sheet.voltage
        inertia = (
            Quantity(1.0e-5, 0.7e-5, "assumed", True) if small else Quantity(8.0e-5, 5.0e-5, "assumed", True)
        )
        sheet = replace(sheet, rotor_inertia=inertia)
        assumed.append(("rotor_inertia", inertia, inertia.spread, "by its rating, from memory"))
    return sheet, tuple(assumed)


def motor_model(sheet: Motor) -> MotorModel:
    """Model of a motor from its data sheet.

    Parameters
    ----------
    sheet : Motor
        At least one of stall torque and stall current is given; the rest filled in (completed_sheet).

    Returns
    -------
    MotorModel

    Examples
    --------
    >>> from simbot.scenario.model import Motor
    >>> coil = Motor("coil", 12.0, 649.2625, 0.28, None, 10.4, 1.15e-5, None, "after_friction", "", 0)
    >>> round(motor_model(coil).constant, 8)
    0.0179849
    """
    v, w0, i0 = float(sheet.voltage), float(sheet.free_speed), float(sheet.free_current or 0.0)
    after = sheet.stall_torque_is != "before_friction"
    replaced = None
    sheet_r = 1.0
    if sheet.stall_current is None:
        assert sheet.stall_torque is not None
        resistance = resistance_from_torque(v, w0, i0, float(sheet.stall_torque), after)
    else:
        resistance = v / float(sheet.stall_current)
        if sheet.stall_torque is not None:
            k = (v - i0 * resistance) / w0
            torque = float(sheet.stall_torque) - (0.0 if after else k * i0)
            sheet_r = torque / (k * (float(sheet.stall_current) - i0))
            if sheet_r > 1.0:
                resistance = resistance_from_torque(v, w0, i0, float(sheet.stall_torque), after)
                replaced = v / resistance
    k = (v - i0 * resistance) / w0
    ratio = float(sheet.internal_ratio or 1.0)
    return MotorModel(
        voltage=v,
        resistance=resistance,
        constant=k,
        friction=k * i0,
        rotor_inertia=float(sheet.rotor_inertia or 0.0) * ratio**2,
        r=min(1.0, sheet_r),
        geared=ratio > 1.0,
        sheet_r=sheet_r,
        stall_current_replaced_by=replaced,
    )


def stall_current_of(sheet: Motor) -> float:
    """Stall current of a sheet, or what its torque line implies without losses [A]."""
    if sheet.stall_current is not None:
        return float(sheet.stall_current)
    assert sheet.stall_torque is not None
    return float(sheet.stall_torque * sheet.free_speed / sheet.voltage)
