"""What a study of matches is to do."""

from __future__ import annotations

from dataclasses import dataclass

LEAST_PAIRS = 16  # of matches, that tell anything about what is not known


@dataclass(frozen=True)
class Asked:
    """Points of a threshold and of a partner have their expanded uncertainty (k = 2) beside them."""

    runs: int
    seed: int
    states: tuple[str, ...]  # battery states of the matches, in turn
    until_halfwidth: float | None = None
    threshold: float | None = None
    threshold_spread: float = 0.0
    partner: float = 0.0
    partner_spread: float = 0.0
    workers: int = 1
    cluster: str | None = None  # address of a scheduler whose workers play
