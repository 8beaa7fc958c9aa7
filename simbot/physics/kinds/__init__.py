"""The mechanism kinds, one module each. A new kind is one new module, named here."""

from __future__ import annotations

from types import ModuleType

from simbot.physics.kinds import arm, measured, mecanum, roller, servo, slide, swerve, tank, winch, x_drive

KINDS: dict[str, ModuleType] = {
    module.NAME: module
    for module in (slide, arm, servo, roller, winch, mecanum, x_drive, swerve, tank, measured)
}
