"""How much of a match is going to be asked: what nobody asks for is left out."""

from __future__ import annotations

from enum import Enum


class Told(Enum):
    """POINTS: where everything is and when. LOSSES: also why, and what would have come of a move that was taken over.
    ALL: also currents, forces and energy, and all that was asked for and waited for."""

    POINTS = 0
    LOSSES = 1
    ALL = 2
