"""The kinds of choosing a timer."""

from __future__ import annotations

from simbot.scenario.errors import SimbotError, nearest, quoted

KINDS = ("safe", "balanced", "sensor")


def check_kind(kind: str) -> None:
    """Refuse a kind that there is not."""
    if kind not in KINDS:
        guess = nearest(kind, KINDS)
        hint = f"; did you mean {quoted(guess)}?" if guess else ""
        raise SimbotError(f"--kind {kind}: there is no such kind; there are {', '.join(KINDS)}{hint}")
