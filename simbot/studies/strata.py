"""What is unknown but fixed, spread evenly over the days: in ten days each quantity lies once in each tenth of its
distribution, in twenty once in each twentieth.

Drawn independently, ten days miss what befalls one day in ten with a chance of 35 %; so spread they meet it, where it
hangs on one quantity (Latin hypercube sampling: McKay, Beckman and Conover, Technometrics 21, 1979, 239-245; in
slices that are each one and together a finer one: Qian, Journal of the American Statistical Association 107, 2012,
393-399, from memory). Every quantity is put into an order of its own, keyed by its name, so that quantities stay
independent of one another, one more or less moves no other, and a day is the same however many are played.

The order is even between days and not within one, so the mean over days has the right expectation and, but for a part
in n - 1, no greater variance than that of independent days (Owen, SIAM Journal on Numerical Analysis 34, 1997,
1884-1910, from memory): the interval of independent days is, if anything, too wide.
"""

from __future__ import annotations

from functools import lru_cache

from simbot.physics.luck import Drawn, normal, uniform
from simbot.scenario.parameters import Quantity

SLICE = 10  # days in which each quantity goes once through all tenths
LARGEST = 1.0 - 2.0**-53


def uniform_of_day(seed: str, day: int, *key: object) -> float:
    """A number strictly between 0 and 1 that belongs to a day and a key, spread evenly over the days."""
    number, turn = divmod(day, SLICE)
    block, second = divmod(number, 2)
    tenth = _order(seed, number, key)[turn]
    upper = (uniform(seed, "half of the days", block, *key, tenth) < 0.5) != bool(second)
    inside = uniform(seed, day, "fixed", *key)
    return min((2 * tenth + upper + inside) / (2 * SLICE), LARGEST)


@lru_cache(maxsize=4096)
def _order(seed: str, number: int, key: tuple[object, ...]) -> tuple[int, ...]:
    """The tenths in the order in which a slice of days goes through them."""
    return tuple(
        sorted(range(SLICE), key=lambda cell: uniform(seed, "order of the days", number, *key, cell))
    )


class DrawnEvenly(Drawn):
    """The luck of one match of a study, whose days are spread evenly over what is unknown but fixed."""

    def fixed(self, value: Quantity, low: float, high: float, *key: object) -> float:
        """A quantity that is unknown but the same all day."""
        u = uniform_of_day(self.seed, self.day, *key)
        return normal(u, float(value), value.spread, low, high)


def unseen_share(days: int, level: float = 0.95) -> float:
    """What befalls at most this share of days, so many days may have missed altogether (one-sided, at a level).

    That of independent days, 1 - (1 - level)^(1/n) (Clopper and Pearson, 1934, for none of n): right for whatever
    takes several quantities at once, and on the safe side for what hangs on one.
    """
    return float(1.0 - (1.0 - level) ** (1.0 / days)) if days > 0 else 1.0
