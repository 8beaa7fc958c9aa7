"""The mechanism kinds, one module each. A new kind is one new module, named here."""

from __future__ import annotations

from types import ModuleType

from simbot.physics.kinds import (
    arm,
    axle,
    claw,
    cylinder,
    flywheel,
    four_bar,
    hoist,
    lead_screw,
    measured,
    mecanum,
    parallelogram_arm,
    rack,
    roller,
    scissor,
    servo,
    slide,
    slider_crank,
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
        rack,
        lead_screw,
        scissor,
        arm,
        parallelogram_arm,
        four_bar,
        slider_crank,
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
