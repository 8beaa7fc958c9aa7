"""The mechanism kinds, one module each. A new kind is one new module, named here."""

from __future__ import annotations

from types import ModuleType

from simbot.physics.kinds import (
    arm,
    axle,
    claw,
    cylinder,
    flywheel,
    hoist,
    measured,
    mecanum,
    roller,
    servo,
    slide,
    swerve,
    tank,
    turret,
    winch,
    x_drive,
)

KINDS: dict[str, ModuleType] = {
    module.NAME: module
    for module in (
        slide,
        arm,
        servo,
        claw,
        roller,
        flywheel,
        winch,
        hoist,
        axle,
        turret,
        mecanum,
        x_drive,
        swerve,
        tank,
        measured,
        cylinder,
    )
}
