"""Chance, as the physics and the routine meet it: nominal values, or draws that belong to one match of a day.

Every draw has a stream of its own, keyed by (seed, day, match, what is drawn, how often it was drawn before):
a draw more or less elsewhere moves no other, and two plans meet the same luck. A uniform number is 64 bits of
BLAKE2b (RFC 7693) of that key.

What is unknown but fixed (an efficiency, a success rate) is drawn once a day, keyed without the match. A stated
± is the expanded uncertainty with k = 2 (JCGM 100), so half of it is the standard deviation of the normal
distribution that is drawn from, cut at what is physically possible.
"""

from __future__ import annotations

from hashlib import blake2b
from math import inf
from statistics import NormalDist

from simbot.scenario.parameters import Quantity, Span

NORMAL = NormalDist()
EXPANDED = 2.0  # k of the stated uncertainties
SEPARATOR = "\x1f"


class Luck:
    """Without chance: everything has its nominal value and every try succeeds."""

    drawn = False

    def happens(self, chance: float, *key: object, of: tuple[object, ...] = ()) -> bool:
        """Whether something with this chance happens now; `of`: whose chance it is, where several draws share it."""
        return True

    def span_us(self, span: int, *key: object) -> int:
        """A duration that varies from time to time [µs]."""
        return int(span)

    def seconds(self, time: float, *key: object) -> float:
        """A time that varies from time to time [s]."""
        return float(time)

    def value(self, value: float, *key: object) -> float:
        """Anything else that varies from time to time, of either sign."""
        return float(value)

    def share(self, *key: object) -> float:
        """Where in a period something falls, 0 to 1: its middle."""
        return 0.5


NOMINAL = Luck()


def uniform(*key: object) -> float:
    """A number strictly between 0 and 1 that belongs to a key."""
    return named(SEPARATOR.join(map(str, key)))


def named(text: str) -> float:
    """As uniform, of a key that is one text already."""
    bits = int.from_bytes(blake2b(text.encode(), digest_size=8).digest(), "little")
    return (bits + 0.5) / 2.0**64 if bits < 2**64 - 1024 else 1.0 - 2.0**-53


def normal(u: float, mean: float, spread: float, low: float = -inf, high: float = inf) -> float:
    """The u-quantile of a normal distribution with 2 sd = spread, cut at low and high."""
    if spread <= 0.0:
        return mean
    sd = spread / EXPANDED
    below = 0.0 if low == -inf else NORMAL.cdf((low - mean) / sd)
    above = 1.0 if high == inf else NORMAL.cdf((high - mean) / sd)
    if above <= below:
        return min(max(mean, low), high)
    p = min(max(below + u * (above - below), 1e-300), 1.0 - 2.0**-53)
    return min(max(mean + sd * NORMAL.inv_cdf(p), low), high)


class Drawn(Luck):
    """The luck of one match.

    Parameters
    ----------
    seed : int
    day, match : int
        Numbers of the day and of the match, both from 0 over the whole study.
    who : str
        Whose luck; empty: the plan's own robot and the field.
    """

    drawn = True

    def __init__(self, seed: int, day: int, match: int, who: str = "") -> None:
        self.seed, self.day, self.match = f"{seed} {who}", day, match
        self.surplus: dict[tuple[object, ...], float] = {}  # successes beyond what their chances let expect
        self.risk: dict[tuple[object, ...], float] = {}  # variance of that, as it was before each try
        self.chance: dict[tuple[object, ...], float] = {}  # of one try, today
        self._stem = SEPARATOR.join((self.seed, str(day), str(match), ""))
        self._times: dict[tuple[object, ...], int] = {}
        self._texts: dict[tuple[object, ...], str] = {}
        self._rates: dict[tuple[object, ...], float] = {}

    def fixed(self, value: Quantity, low: float, high: float, *key: object) -> float:
        """A quantity that is unknown but the same all day."""
        return normal(uniform(self.seed, self.day, "fixed", *key), float(value), value.spread, low, high)

    def of_match(self, value: Quantity, low: float, high: float, *key: object) -> float:
        """A quantity that is another in each match, and the same throughout it."""
        u = uniform(self.seed, self.day, self.match, "match", *key)
        return normal(u, float(value), value.spread, low, high)

    def share(self, *key: object) -> float:
        return self._next("share", *key)

    def happens(self, chance: float, *key: object, of: tuple[object, ...] = ()) -> bool:
        rate = self._rate(chance, of or key)
        hit = self._next("happens", *key) < rate
        what = of or key  # counted together where it is one chance
        self.chance[what] = rate
        self.surplus[what] = self.surplus.get(what, 0.0) + hit - rate
        self.risk[what] = self.risk.get(what, 0.0) + rate * (1.0 - rate)
        return hit

    def span_us(self, span: int, *key: object) -> int:
        if not isinstance(span, Span):
            return int(span)
        u = self._next("span", *key)
        if span.samples:
            return span.samples[min(int(u * len(span.samples)), len(span.samples) - 1)]
        return round(normal(u, float(span), float(span.spread_us), low=0.0))

    def seconds(self, time: float, *key: object) -> float:
        spread = getattr(time, "spread", 0.0)
        return normal(self._next("seconds", *key), float(time), spread, low=0.0) if spread else float(time)

    def value(self, value: float, *key: object) -> float:
        spread = getattr(value, "spread", 0.0)
        return normal(self._next("value", *key), float(value), spread) if spread else float(value)

    def _next(self, *key: object) -> float:
        count = self._times.get(key, 0)
        self._times[key] = count + 1
        if not count:
            self._texts[key] = self._stem + SEPARATOR.join(map(str, key)) + SEPARATOR
        return named(f"{self._texts[key]}{count}")

    def _rate(self, chance: float, key: tuple[object, ...]) -> float:
        """Today's success rate."""
        if getattr(chance, "spread", 0.0) == 0.0:
            return float(chance)
        if key not in self._rates:
            assert isinstance(chance, Quantity)
            self._rates[key] = self.fixed(chance, 0.0, 1.0, *key)
        return self._rates[key]
