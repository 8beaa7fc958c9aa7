"""What a fit comes to, as plain records. Numbers of unknowns are in the unit of their file; times in s."""

from __future__ import annotations

from dataclasses import dataclass

from simbot.scenario.measured import Measured
from simbot.scenario.model import Plan
from simbot.studies.unknowns import Unknown

Interval = tuple[float | None, float | None]  # 95 %; None: open up to the unknown's bound


@dataclass(frozen=True)
class FitAsked:
    """`reaction`: of whoever held the stopwatch [s]; `matches`: that a cycle is the mean over."""

    seed: int = 1
    matches: int = 8
    reaction: float = 0.2


@dataclass(frozen=True)
class Fitted:
    """One unknown.

    `estimate` and `interval` are None where the data do not tell it apart; `not_from` are then those that do as
    well, and `if_held` is what it comes to where those are as the file says. `without`: the estimate without the
    outliers. `inflation`: how many times wider the interval is than if the other unknowns were known. `limit`: `most`
    or `least` where beyond the estimate a measured move does not arrive; the interval is then open to that side.
    """

    unknown: Unknown
    estimate: float | None
    interval: Interval | None
    not_from: tuple[str, ...] = ()
    if_held: tuple[float, Interval] | None = None
    without: float | None = None
    inflation: float = 1.0
    limit: str | None = None

    @property
    def at_bound(self) -> bool:
        return self.interval is not None and None in self.interval


@dataclass(frozen=True)
class Compared:
    """One condition by one method: its trials against the prediction, as the file has it and fitted.

    Of tries `measured` and `predicted` are shares. `off`: the mean is farther off than its errors explain.
    """

    text: str
    method: str
    battery: str
    trials: int
    measured: float
    sd: float | None
    before: float | None  # None: it does not arrive
    predicted: float | None
    ratio: float | None
    off: bool
    lines: tuple[int, ...]


@dataclass(frozen=True)
class RestsOn:
    """A number that was taken as the file has it, and by how much the estimates move where it is a spread off."""

    name: str
    text: str
    moves: tuple[float | None, ...]  # of each unknown; None: not told, or hardly moved


@dataclass(frozen=True)
class Next:
    """A measurement that would help most: half-widths of the unknown it is for, before and after five trials."""

    text: str
    battery: str
    unknown: str
    before: float | None  # None: not told
    after: float


@dataclass(frozen=True)
class FitResult:
    plan: Plan
    asked: FitAsked
    measured: tuple[Measured, ...]
    fitted: tuple[Fitted, ...]
    chosen: bool  # the unknowns were chosen from the numbers with a spread
    left: tuple[str, ...]  # of these, those that the data tell no better than the file does
    compared: tuple[Compared, ...]
    outliers: tuple[int, ...]  # places among the measured that stay in the fit
    scatter: float  # sd from trial to trial beyond the methods' errors
    shift: float | None  # of the stopwatch
    condition: (
        float | None
    )  # square root of the ratio of the best and the least told combination; None: singular
    rests_on: tuple[RestsOn, ...]
    next: tuple[Next, ...]
    cautions: tuple[str, ...]
    slips: tuple[int, ...] = ()  # places among the measured that are left out of the fit
