"""Mecanum drivetrain: moves in any direction at a fixed heading. See `drive` for geometry and keys."""

from __future__ import annotations

from simbot.physics.kinds.drive import COORDINATE, PARAMETERS

NAME = "mecanum"
SUMMARY = "mecanum drivetrain"
__all__ = ["COORDINATE", "NAME", "PARAMETERS", "SUMMARY"]
