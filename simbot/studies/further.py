"""What a comparison is asked beyond which plan scores more."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from simbot.scenario.model import Plan
from simbot.studies.asked import Asked
from simbot.studies.break_even import BreakEvens, break_evens
from simbot.studies.compare import CompareResult, compared, put_together
from simbot.studies.last_start import LastStart, last_start
from simbot.studies.ledger import Ledger, Progress
from simbot.studies.mixed import Mixtures, mixtures
from simbot.studies.one_match import played
from simbot.studies.schedule import schedule


@dataclass(frozen=True)
class Wanted:
    break_evens: bool = False
    endgame: bool = False
    mixed: bool = False

    @property
    def parts(self) -> list[str]:
        """In their order, in words."""
        words = {
            "when the other plan would win": self.break_evens,
            "the latest start of the endgame": self.endgame,
            "the mixtures of the two plans": self.mixed,
        }
        return [text for text, asked in words.items() if asked]


@dataclass(frozen=True)
class Further:
    """None: it was not asked for, or was stopped."""

    break_evens: BreakEvens | None = None
    clocks: tuple[LastStart, ...] | None = None
    mixtures: Mixtures | None = None
    stopped: bool = False  # with Ctrl-C
    missing: tuple[str, ...] = ()  # what was asked for and not looked at, since it was stopped


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
        Where it was stopped before any match had been played with every plan.
    """
    left = wanted.parts
    try:
        result = compared(ledger, plans, asked, progress("matches"))
    except KeyboardInterrupt:
        records = ledger.found_of(plans, schedule(asked.states, asked.runs))
        if not played(records[0]):
            raise
        ledger.keep()
        return put_together(plans, asked, records), Further(stopped=True, missing=tuple(left))
    found = NOTHING_FURTHER
    try:
        if wanted.break_evens:
            evens = break_evens(ledger, result, progress("matches for the break-evens"))
            found = replace(found, break_evens=evens)
            left.pop(0)
            if evens.missing:
                names = (f"the break-even of {name}" for name in evens.missing)
                return result, replace(found, stopped=True, missing=(*names, *left))
        if wanted.endgame:
            clocks = [
                last_start(ledger, side.plan, asked, side.cycle_time_s, progress("matches for the endgame"))
                for side in result.sides
            ]
            found = replace(found, clocks=tuple(one for one in clocks if one is not None))
            left.pop(0)
        if wanted.mixed:
            mixed = mixtures(ledger, result, asked, progress("matches for the mixtures"))
            found = replace(found, mixtures=mixed)
            left.pop(0)
    except KeyboardInterrupt:
        ledger.keep()
        found = replace(found, stopped=True, missing=tuple(left))
    return result, found
