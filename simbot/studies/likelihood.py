"""Unknowns from measured values: weighted least squares, what they tell apart, intervals from the profile.

A measured time is the predicted one plus an error of the method, plus the shift that all of a stopwatch's times
share, plus what varies from trial to trial. How much varies is what makes the weighted squares add up to the degrees
of freedom (Paule and Mandel, 1982), at least 0. Successes out of tries are binomial and enter by their deviance.

An interval ends where the profile, the least sum of squares with one unknown held, has risen by t squared (Bates and
Watts, Nonlinear Regression Analysis, 1988, section 6.1). t has the degrees of freedom of the mixture of known and
estimated variance (JCGM 100, equation G.2b). With one of the two alone that is, for a linear model, the textbook's
normal or Student interval. An unknown whose profile does not close is not told by the data (Raue et al., 2009).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf, isfinite, sqrt

import numpy as np
import numpy.typing as npt

from simbot.studies.statistics import NORMAL_95, student

Array = npt.NDArray[np.float64]
Predict = Callable[[Array], Array]
STEP = 1e-3  # of an unknown's scale, for differences
LEAST_SD = 1e-6  # s, the clock of the simulation
TOLD = 1.0  # half-width over scale from which on a combination is not told
MEMBER = 0.25  # share of a direction from which on an unknown belongs to it
CLOSE = 0.01  # of the wanted rise of the profile's root
WIDER = 1.6


@dataclass(frozen=True)
class Data:
    """Measurements as arrays of one length.

    `sd` is the method's [s]; `varies`: trials that vary beyond it; `shifted`: times of the stopwatch; `tries`: number
    of tries of which `value` succeeded, 0 for a time.
    """

    condition: npt.NDArray[np.int64]
    value: Array
    sd: Array
    varies: npt.NDArray[np.bool_]
    shifted: npt.NDArray[np.bool_]
    tries: Array
    shift_sd: float = 0.0

    @property
    def has_shift(self) -> bool:
        return self.shift_sd > 0.0 and bool(self.shifted.any())

    def without(self, left_out: Sequence[int]) -> Data:
        keep = np.ones(len(self.value), dtype=bool)
        keep[list(left_out)] = False
        return replace(
            self,
            condition=self.condition[keep],
            value=self.value[keep],
            sd=self.sd[keep],
            varies=self.varies[keep],
            shifted=self.shifted[keep],
            tries=self.tries[keep],
        )


@dataclass(frozen=True)
class Solved:
    """The best numbers.

    `information`: of the unknowns over their scales, the shift taken out (p, p); `scatter`: sd of what varies from
    trial to trial [s]; `degrees`: effective ones of the variance.
    """

    numbers: Array
    shift: float
    squares: float
    scatter: float
    degrees: float
    information: Array
    residuals: Array  # over their sd
    leverage: Array

    @property
    def factor(self) -> float:
        """Half-width of a 95 % interval in standard deviations."""
        return NORMAL_95 if self.degrees > 1e6 else student(self.degrees)


@dataclass(frozen=True)
class Profile:
    """An interval; an end is None where the profile does not rise enough before the unknown's bound."""

    low: float | None
    high: float | None


class Likelihood:
    """Some data and a model of them.

    Parameters
    ----------
    data : Data
    predict : callable
        Numbers of the unknowns (p,) to predictions of the conditions.
    start, low, high, scale : (p,) arrays
        Of the unknowns: where to begin, bounds, what counts as a large change.
    """

    def __init__(
        self, data: Data, predict: Predict, start: Array, low: Array, high: Array, scale: Array
    ) -> None:
        self.data, self.predict = data, predict
        self.start, self.low, self.high, self.scale = start, low, high, scale
        self.scatter = 0.0

    # --- residuals -------------------------------------------------------------------------------------

    def sd(self) -> Array:
        varies = np.where(self.data.varies, self.scatter, 0.0)
        return np.asarray(np.sqrt(np.maximum(self.data.sd, LEAST_SD) ** 2 + varies**2))

    def shift(self, off: Array) -> float:
        """The best shift of the stopwatch for given differences between measured and predicted times [s]."""
        data = self.data
        if not data.has_shift:
            return 0.0
        weight = np.where(data.shifted, self.sd() ** -2.0, 0.0)
        return float(np.sum(weight * off) / (np.sum(weight) + data.shift_sd**-2.0))

    def off(self, numbers: Array) -> Array:
        return np.asarray(self.data.value - self.predict(numbers)[self.data.condition])

    def residuals(self, numbers: Array) -> Array:
        """Over their standard deviations, at the best shift; the last is that of the shift."""
        data = self.data
        predicted = self.predict(numbers)[data.condition]
        shift = self.shift(data.value - predicted)
        found = (data.value - np.where(data.shifted, shift, 0.0) - predicted) / self.sd()
        counted = data.tries > 0
        if counted.any():
            found[counted] = deviance_root(data.value[counted], data.tries[counted], predicted[counted])
        return np.append(found, shift / data.shift_sd) if data.has_shift else found

    def slopes(self, numbers: Array, free: Sequence[int]) -> Array:
        """Derivatives of the residuals by the free unknowns over their scales."""
        columns = []
        for number in free:
            ends = []
            for sign in (1.0, -1.0):
                moved = numbers.copy()
                moved[number] += sign * STEP * self.scale[number]
                moved[number] = min(max(moved[number], self.low[number]), self.high[number])
                ends.append(moved)
            apart = (ends[0][number] - ends[1][number]) / self.scale[number]
            columns.append((self.residuals(ends[0]) - self.residuals(ends[1])) / apart)
        rows = len(self.data.value) + int(self.data.has_shift)
        return np.array(columns).T if columns else np.zeros((rows, 0))

    # --- the best --------------------------------------------------------------------------------------

    def least(self, begin: Array, free: Sequence[int]) -> tuple[Array, float]:
        """The free unknowns at the least sum of squares, the others held; and the sum."""
        from scipy.optimize import least_squares

        free = list(free)
        if not free:
            return begin, float(np.sum(self.residuals(begin) ** 2))

        def unpack(x: Array) -> Array:
            numbers = begin.copy()
            numbers[free] = x * self.scale[free]
            return numbers

        low, high = self.low[free] / self.scale[free], self.high[free] / self.scale[free]
        inside = 1e-6 * (high - low)
        found = least_squares(
            lambda x: self.residuals(unpack(x)),
            np.clip(begin[free] / self.scale[free], low + inside, high - inside),
            lambda x: self.slopes(unpack(x), free),
            bounds=(low, high),
            x_scale="jac",
            xtol=1e-7,
            ftol=1e-10,
            gtol=1e-10,
            max_nfev=60,
        )
        return unpack(found.x), 2.0 * float(found.cost)

    def solve(self, free: Sequence[int] | None = None) -> Solved:
        """The best numbers, with what varies from trial to trial estimated along."""
        free = list(range(len(self.start))) if free is None else list(free)
        self.scatter = 0.0
        numbers = self.start.copy()
        degrees = int(self.data.varies.sum()) - self._timed(free)
        for _ in range(8):
            numbers, squares = self.least(numbers, free)
            before = self.scatter
            self.scatter = self._scatter(numbers, degrees)
            if abs(self.scatter - before) <= 1e-3 * self.scatter:
                break
        numbers, squares = self.least(numbers, free)
        slopes = self.slopes(numbers, free)
        count = len(self.data.value)
        leverage = np.zeros(count)
        if slopes.size:
            leverage += np.einsum("ij,ji->i", slopes, np.linalg.pinv(slopes))[:count]
        if self.data.has_shift:
            weight = np.where(self.data.shifted, self.sd() ** -2.0, 0.0)
            leverage += weight / (np.sum(weight) + self.data.shift_sd**-2.0)
        return Solved(
            numbers,
            self.shift(self.off(numbers)),
            squares,
            self.scatter,
            self._degrees(degrees),
            slopes.T @ slopes,
            self.residuals(numbers)[:count],
            leverage,
        )

    def _timed(self, free: Sequence[int]) -> int:
        """Unknowns that the times hang on."""
        if not free:
            return 0
        slopes = self.slopes(self.start, free)[: len(self.data.value)]
        return int(np.any(slopes[self.data.varies] != 0.0, axis=0).sum()) if self.data.varies.any() else 0

    def _scatter(self, numbers: Array, degrees: int) -> float:
        """Sd of what varies from trial to trial [s] (Paule and Mandel, 1982)."""
        from scipy.optimize import brentq

        if degrees < 1:
            return 0.0
        varies = self.data.varies
        off = self.off(numbers)
        shift = self.shift(off)
        off = (off - np.where(self.data.shifted, shift, 0.0))[varies]
        known = np.maximum(self.data.sd[varies], LEAST_SD) ** 2
        extra = (shift / self.data.shift_sd) ** 2 if self.data.has_shift else 0.0

        def excess(variance: float) -> float:
            return float(np.sum(off**2 / (variance + known))) + extra - degrees

        if excess(0.0) <= 0.0:
            return 0.0
        most = float(np.sum(off**2)) / degrees + float(known.max())
        while excess(most) > 0.0:
            most *= 4.0
            if most > 1e6:
                return 0.0
        return sqrt(brentq(excess, 0.0, most, xtol=1e-16, rtol=1e-10))

    def _degrees(self, degrees: int) -> float:
        """Effective degrees of freedom of the variance of a trial (JCGM 100, G.4)."""
        varies = self.data.varies
        if self.scatter == 0.0 or degrees < 1 or not varies.any():
            return inf
        known = float(np.mean(np.maximum(self.data.sd[varies], LEAST_SD) ** 2))
        share = self.scatter**2 / (self.scatter**2 + known)
        return degrees / share**2

    # --- the profile -----------------------------------------------------------------------------------

    def profile(self, best: Solved, which: int, free: Sequence[int]) -> Profile:
        """The interval of one of the free unknowns."""
        self.scatter = best.scatter
        place = list(free).index(which)
        covariance = np.linalg.pinv(best.information)
        scales = self.scale[list(free)]
        sd = sqrt(max(float(covariance[place, place]), 1e-18)) * scales[place]
        lean = covariance[:, place] * scales / (max(float(covariance[place, place]), 1e-18) * scales[place])
        ends = [self._end(best, which, list(free), sign, sd, lean) for sign in (-1.0, 1.0)]
        return Profile(ends[0], ends[1])

    def _end(
        self, best: Solved, which: int, free: list[int], sign: float, sd: float, lean: Array
    ) -> float | None:
        """Where the profile's root has risen to the wanted factor on one side; None before the bound."""
        from scipy.optimize import brentq

        others = [number for number in free if number != which]
        bound = self.high[which] if sign > 0 else self.low[which]
        at = float(best.numbers[which])
        kept: dict[float, float] = {}

        def short(x: float) -> float:
            if x not in kept:
                begin = best.numbers.copy()
                begin[free] += lean * (x - at)
                begin = np.clip(begin, self.low, self.high)
                begin[which] = x
                squares = self.least(begin, others)[1]
                kept[x] = sqrt(max(squares - best.squares, 0.0)) - best.factor
            return kept[x]

        inner, reach = at, best.factor * sd if isfinite(sd) else abs(bound - at)
        kept[at] = -best.factor
        while True:
            outer = at + sign * reach
            outer = min(outer, bound) if sign > 0 else max(outer, bound)
            if abs(short(outer)) <= CLOSE * best.factor:
                return float(outer)
            if short(outer) > 0.0:
                break
            if outer == bound:
                return None
            inner, reach = outer, reach * WIDER
        low, high = sorted((inner, outer))
        return float(brentq(short, low, high, xtol=CLOSE * abs(outer - at) / 2, rtol=1e-12))

    def outliers(self, best: Solved, level: float = 0.05) -> list[int]:
        """Measurements that fit badly among so many: deleted Student residuals, shared out by Bonferroni.

        Cook and Weisberg, Residuals and Influence in Regression, 1982, section 2.2.2.
        """
        from scipy.special import ndtri, stdtrit

        count = len(self.data.value)
        degrees = best.degrees
        if degrees <= 2.0 or count < 3:
            return []
        found = []
        wild = 1.0 - level / (2 * count)
        limit = float(ndtri(wild)) if degrees > 1e6 else float(stdtrit(degrees - 1.0, wild))
        for place in np.flatnonzero(self.data.tries == 0):
            one = float(best.residuals[place]) / sqrt(max(1.0 - float(best.leverage[place]), 1e-6))
            left = 1.0 if degrees > 1e6 else (degrees - 1.0) / max(degrees - one**2, 1e-9)
            if abs(one) * sqrt(left) > limit:
                found.append(int(place))
        return found


def deviance_root(hits: Array, tries: Array, chance: Array) -> Array:
    """Signed roots of the binomial deviance (McCullagh and Nelder, Generalized Linear Models, 1989, section 4.4)."""
    p = np.clip(chance, 1e-9, 1.0 - 1e-9)
    missed = tries - hits
    with np.errstate(divide="ignore", invalid="ignore"):
        got = np.where(hits > 0, hits * np.log(np.maximum(hits, 1e-12) / (tries * p)), 0.0)
        lost = np.where(missed > 0, missed * np.log(np.maximum(missed, 1e-12) / (tries * (1.0 - p))), 0.0)
    return np.asarray(np.sign(hits / tries - p) * np.sqrt(np.maximum(2.0 * (got + lost), 0.0)))


@dataclass(frozen=True)
class Direction:
    """A combination of unknowns that the data do not tell, or the one that they tell least.

    `weights`: its direction, of the unknowns over their scales; `half_width`: of its 95 % interval.
    """

    weights: Array
    half_width: float
    members: tuple[int, ...]


def directions(information: Array, factor: float) -> list[Direction]:
    """All combinations that are told apart from one another, the least told first."""
    values, vectors = np.linalg.eigh(information)
    found = []
    for value, weights in zip(values, vectors.T, strict=True):
        half = factor / sqrt(value) if value > 1e-12 * max(float(values[-1]), 1e-300) else inf
        members = tuple(int(each) for each in np.flatnonzero(np.abs(weights) > MEMBER))
        found.append(Direction(weights, half, members))
    return found


def groups_not_told(information: Array, factor: float) -> list[tuple[int, ...]]:
    """Unknowns that belong to a combination which is not told, those that share one together."""
    groups: list[set[int]] = []
    for each in directions(information, factor):
        if each.half_width <= TOLD:
            continue
        together = set(each.members)
        for group in [group for group in groups if group & together]:
            together |= group
            groups.remove(group)
        groups.append(together)
    return [tuple(sorted(group)) for group in groups]
