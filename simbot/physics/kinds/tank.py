"""Tank drivetrain: drives along its heading, turns in place. See `drive` for geometry and keys."""

from __future__ import annotations

from simbot.physics.kinds.drive import COORDINATE, PARAMETERS

NAME = "tank"
SUMMARY = "tank drivetrain"
__all__ = ["COORDINATE", "NAME", "PARAMETERS", "SUMMARY"]
