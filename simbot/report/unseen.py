"""What so few days cannot show, how much of a spread is luck, and what could not be played: in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from simbot.analysis.words import counted
from simbot.studies.one_match import MatchRecord
from simbot.studies.strata import SLICE, unseen_share

WIDTH = 80


def ignorance_told(sd: float, most: float | None, days: int, shrinks: str) -> str:
    """How much of a spread is what is not known of the robot; where too few days tell it, how much at most."""
    if sd == 0.0 and most is None:
        return "nothing in it comes from what is not known of the robot"
    if most is None:
        return f"what is not known of the robot (its stated and assumed spreads) has sd {sd:.1f}, {shrinks}"
    return (
        f"what is not known of the robot (its stated and assumed spreads) cannot be told from luck by "
        f"{counted(days, 'day')}: sd {most:.1f} at most"
    )


def freed_told(of_luck: bool, of_robots: bool) -> str:
    """What means are freed of; empty: nothing."""
    if of_luck:
        text = "Mean points are freed of luck: hits and misses beyond what the stated chances let expect are taken out"
        return text + (", and so is where the robots of the days lay in their spreads." if of_robots else ".")
    return "Mean points are freed of where the robots of the days lay in their spreads." if of_robots else ""


def fault_lines(faults: Sequence[tuple[str, MatchRecord]], shown: int = 3) -> Iterator[str]:
    """Matches that could not be played: how many, and the first of them with their reasons."""
    if not faults:
        return
    count = "1 match" if len(faults) == 1 else f"{len(faults)} matches"
    yield from wrap(f"{count} could not be played, and nothing that is said has them in:", WIDTH)
    for name, record in faults[:shown]:
        yield from wrap(
            f"{name}, match {record.number}: {record.fault}",
            WIDTH,
            initial_indent=" - ",
            subsequent_indent="   ",
        )
    if len(faults) > shown:
        yield f" - and {len(faults) - shown} more (--json FILE has all)."


def unseen_lines(days: int) -> Iterator[str]:
    """What the days of a study went through of what is not known, and what they may have missed.

    Days without a failure say little of rare ones: of n of them up to about 3/n may still fail.
    """
    share = f"{100 * unseen_share(days):.0f} %"
    if days < SLICE:
        are, them = ("is", "it") if days == 1 else ("are", "them")
        text = (
            f"{counted(days, 'day')} {are} few: what befalls up to {share} of days may be missing in {them} "
            f"altogether; from {SLICE} days on each unknown of the robot goes through its whole spread."
        )
    else:
        part = "twentieth" if days >= 2 * SLICE else "tenth"
        text = (
            f"In {days} days each unknown of the robot, by itself, was in every {part} of its spread. What it takes "
            f"several unknowns for may befall up to {share} of days and be missing in these (at 95 %)."
        )
    yield from wrap(text, WIDTH)
