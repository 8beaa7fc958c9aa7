"""What a comparison is asked beyond which plan scores more."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from simbot.scenario.model import Plan
from simbot.studies.asked import Asked
from simbot.studies.break_even import BreakEvens, break_evens
from simbot.studies.compare import CompareResult, compared
from simbot.studies.ledger import Ledger, Progress


@dataclass(frozen=True)
class Wanted:
    break_evens: bool = False


@dataclass(frozen=True)
class Further:
    """None: it was not asked for, or was stopped."""

    break_evens: BreakEvens | None = None
    stopped: bool = False  # with Ctrl-C


NOTHING_FURTHER = Further()


def compare_further(
    ledger: Ledger, plans: Sequence[Plan], asked: Asked, wanted: Wanted, progress: Callable[[str], Progress]
) -> tuple[CompareResult, Further]:
    """Compare, and find what else is wanted; what was found when it is stopped is given.

    Parameters
    ----------
    progress : function
        Of what is played, to what is told of it.

    Raises
    ------
    KeyboardInterrupt
        Where it was stopped before there is an answer.
    """
    result = compared(ledger, plans, asked, progress("matches"))
    found = NOTHING_FURTHER
    try:
        if wanted.break_evens:
            evens = break_evens(ledger, result, progress("matches for the break-evens"))
            found = replace(found, break_evens=evens)
    except KeyboardInterrupt:
        ledger.keep()
        found = replace(found, stopped=True)
    return result, found
