"""What a mechanism looks like in its own plane: lines and discs to scale, for every drawing of it.

Side view (a turret and a drive: plan view) in metres: x forward, y up, the origin where the kind says.
A kind's `outline(p, q)` returns these for its parameters and one position; nothing here draws.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Role = Literal["frame", "moving", "cord", "load", "ground", "spring"]
Point = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """Open or closed run of straight pieces through points [m]."""

    points: tuple[Point, ...]
    role: Role
    closed: bool = False


@dataclass(frozen=True)
class Disc:
    """Circle: a pivot, drum, wheel or roller [m]."""

    centre: Point
    radius: float
    role: Role


Shape = Line | Disc
Outline = tuple[Shape, ...]
