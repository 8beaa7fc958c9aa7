"""Which matches of which days are played: one of nearly every day, so that each meets another robot.

With w the luck within a day and b what days differ by (standard deviations), a mean over matches is known soonest from
w/b sqrt(s/m) matches of each day, where the robot of another day costs s and a match m (two-stage sampling; Cochran,
Sampling Techniques, 3rd edition, 1977, equation 10.28, from memory). Here s/m is a few hundredths, so that it is less
than one unless days hardly differ; and then one match a day costs s/m more than the best, a few per cent.

Some days are played twice: only these tell luck from what is not known of the robot.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from simbot.studies.one_match import MATCHES_A_DAY

Round = list[tuple[int, str]]  # numbers of matches, and the battery state of each
TWICE, LATER = 10, 40  # the first so many days are played twice, and of so many later ones one
LEAST_DAYS = 40  # before anything is looked at: each unknown was four times in every tenth of its spread
STEP_DAYS, STEP = 20, 1.1  # to the next look
LEAST_STEP = 5  # days: a look costs as much as three


def schedule(states: Sequence[str], runs: int) -> Round:
    """So many matches, in the order in which they are played.

    A match is known by its number, day times ten plus which one of the day, and its battery state goes with that. Of
    a day the match is taken whose state is furthest behind its share.
    """
    shares, counts = Counter(states), Counter[str]()
    found: Round = []
    day = 0
    while len(found) < runs:
        left = list(range(day * MATCHES_A_DAY, (day + 1) * MATCHES_A_DAY))
        for _ in range(min(_of_day(day), runs - len(found))):
            number = min(left, key=lambda each: (_had(states[each % len(states)], shares, counts), each))
            left.remove(number)
            state = states[number % len(states)]
            counts[state] += 1
            found.append((number, state))
        day += 1
    return found


def _had(state: str, shares: Counter[str], counts: Counter[str]) -> float:
    """How often a state would have been played for its share of 1, with one more."""
    return (counts[state] + 1) / shares[state]


def _of_day(day: int) -> int:
    return 2 if day < TWICE or day % LATER == 0 else 1


def one_a_day(states: Sequence[str], days: int) -> Round:
    """The first match of each of so many days."""
    found: dict[int, tuple[int, str]] = {}
    for match in schedule(states, matches_in(days)):
        found.setdefault(match[0] // MATCHES_A_DAY, match)
    return list(found.values())


def matches_in(days: int) -> int:
    """How many matches so many days are."""
    return days + min(days, TWICE) + max(0, -(-days // LATER) - 1)


def next_look(days: int) -> int:
    """Days at the next look after one at so many; 0: at the first."""
    return LEAST_DAYS if days < LEAST_DAYS else max(days + STEP_DAYS, round(days * STEP))


def looks_until(days: int) -> list[int]:
    """Days at all looks up to so many."""
    found = []
    look = next_look(0)
    while look <= days:
        found.append(look)
        look = next_look(look)
    return found
