"""Unknowns from measured values: weighted least squares, what they tell apart, intervals from the profile.

A measured time is the predicted one plus an error of the method, plus the shift that all of a stopwatch's times
share, plus what varies from trial to trial. How much varies is what makes the weighted squares add up to the degrees
of freedom (Paule and Mandel, 1982), at least 0. Successes out of tries are binomial and enter by their deviance.

An interval ends where the profile, the least sum of squares with one unknown held, has risen by t squared (Bates and
Watts, Nonlinear Regression Analysis, 1988, section 6.1; the section from memory). For a linear model that is the
textbook's Student interval where the variance is estimated, and its normal one where it is known. An unknown whose
profile does not close is not told by the data (Raue et al., Bioinformatics 25, 2009).
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
STEP = 1e-2  # of an unknown's scale, for differences
LEAST_SD = 1e-6  # s, the clock of the simulation
TOLD = 1.0  # half-width over scale from which on an unknown is not told
SINGULAR = 1e-9  # of the best told combination's information: the rest is rounding
PART = 1e-3  # share of a flat direction from which on an unknown belongs to it
CLOSE = 0.02  # of the wanted rise of the profile's root
CHORDS = 4  # steps with old slopes
SETTLED = 0.02  # of a sum of squares whose rise by 4 is looked for
BETTER = 0.3
ANEW = 2  # times that the search begins again from a better point
STARTS = 8  # points for each unknown that are drawn
FOLLOWED = 2  # of them
WIDER = 1.6
STEEP = 1.3  # times the rise that the slopes tell of: the search is tried from elsewhere too


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
    slopes: Array  # of the residuals by all unknowns over their scales
    information: Array
    residuals: Array  # over their sd
    leverage: Array

    @property
    def factor(self) -> float:
        """Half-width of a 95 % interval in standard deviations."""
        return NORMAL_95 if self.degrees > 1e6 else student(self.degrees)

    def inflation(self, place: int) -> float:
        """How many times wider one of the free unknowns' interval is than if the others were known."""
        covariance = np.linalg.pinv(self.information)
        return sqrt(max(float(covariance[place, place] * self.information[place, place]), 1.0))


@dataclass(frozen=True)
class Profile:
    """An interval; an end is None where the profile does not rise enough before the unknown's bound."""

    low: float | None
    high: float | None


class Better(Exception):
    """A point that fits better than what was taken for the best."""

    def __init__(self, numbers: Array) -> None:
        super().__init__("a better point")
        self.numbers = numbers


def _nothing(wanted: Sequence[Array]) -> None:
    """Nobody can predict ahead."""


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
        self.anew = ANEW
        self.step = STEP
        self.ahead: Callable[[Sequence[Array]], None] = _nothing  # told of numbers that will be asked for

    # --- residuals -------------------------------------------------------------------------------------

    def sd(self) -> Array:
        varies = np.where(self.data.varies, self.scatter, 0.0)
        return np.asarray(np.sqrt(np.maximum(self.data.sd, LEAST_SD) ** 2 + varies**2))

    def shift(self, off: Array, weight: Array | None = None) -> float:
        """The best shift of the stopwatch for given differences between measured and predicted times [s].

        `weight`: of each time [1/s^2]; those of the scatter as it is unless given.
        """
        data = self.data
        if not data.has_shift:
            return 0.0
        weight = np.where(data.shifted, self.sd() ** -2.0 if weight is None else weight, 0.0)
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

    def slopes(self, numbers: Array, free: Sequence[int], both: bool = True) -> Array:
        """Derivatives of the residuals by the free unknowns over their scales; `both`: differences to both sides."""
        steps: list[tuple[Array, Array, float]] = []
        for number in free:
            ends = [numbers.copy(), numbers.copy()]
            step = self.step * self.scale[number]
            ends[0][number] = min(numbers[number] + step, self.high[number])
            if both or ends[0][number] - numbers[number] < 0.5 * step:
                ends[1][number] = max(numbers[number] - step, self.low[number])
            apart = (ends[0][number] - ends[1][number]) / self.scale[number]
            steps.append((ends[0], ends[1], float(apart)))
        self.ahead([end for pair in steps for end in pair[:2]])
        columns = [(self.residuals(above) - self.residuals(below)) / apart for above, below, apart in steps]
        rows = len(self.data.value) + int(self.data.has_shift)
        return np.array(columns).T if columns else np.zeros((rows, 0))

    # --- the best --------------------------------------------------------------------------------------

    def squares(self, numbers: Array) -> float:
        return float(np.sum(self.residuals(numbers) ** 2))

    def least(
        self, begin: Array, free: Sequence[int], last: bool = False, most: int = 15
    ) -> tuple[Array, float]:
        """The free unknowns at the least sum of squares, the others held; and the sum. `last`: to the last digits."""
        from scipy.optimize import least_squares

        free = list(free)
        if not free:
            return begin, self.squares(begin)

        def unpack(x: Array) -> Array:
            numbers = begin.copy()
            numbers[free] = x * self.scale[free]
            return numbers

        low, high = self.low[free] / self.scale[free], self.high[free] / self.scale[free]
        inside = 1e-6 * (high - low)
        found = least_squares(
            lambda x: self.residuals(unpack(x)),
            np.clip(begin[free] / self.scale[free], low + inside, high - inside),
            lambda x: self.slopes(unpack(x), free, last),
            bounds=(low, high),
            x_scale="jac",
            xtol=1e-7 if last else 1e-4,
            ftol=1e-9 if last else 1e-5,
            gtol=1e-10,
            max_nfev=most,
        )
        return unpack(found.x), 2.0 * float(found.cost)

    def near(self, begin: Array, free: Sequence[int], slopes: Array) -> tuple[Array, float]:
        """As `least`, near a good point: steps with the slopes of another one while they help."""
        free = list(free)
        if not free:
            return begin, self.squares(begin)
        inverse = np.linalg.pinv(slopes[:, free])
        at, residuals = begin, self.residuals(begin)
        squares = float(np.sum(residuals**2))
        for _ in range(CHORDS):
            tried = at.copy()
            tried[free] -= (inverse @ residuals) * self.scale[free]
            tried = np.clip(tried, self.low, self.high)
            there = self.residuals(tried)
            gained = squares - float(np.sum(there**2))
            if gained < -SETTLED:
                break
            at, residuals, squares = tried, there, squares - gained
            if gained < SETTLED:
                return at, squares
        found = self.least(at, free, most=4)
        return found if found[1] < squares else (at, squares)

    def solve(self, free: Sequence[int] | None = None) -> Solved:
        """The best numbers, with what varies from trial to trial estimated along."""
        free = list(range(len(self.start))) if free is None else list(free)
        self.scatter = 0.0
        numbers = self.start.copy()
        degrees = int(self.data.varies.sum()) - self._timed(free)
        for _ in range(8):
            numbers, _ = self.least(numbers, free)
            before = self.scatter
            self.scatter = self._scatter(numbers, degrees)
            if abs(self.scatter - before) <= 0.02 * self.scatter:
                break
        numbers, _ = self.least(numbers, free, last=True)
        self.scatter = self._scatter(numbers, degrees)
        squares = self.squares(numbers)
        every = self.slopes(numbers, range(len(numbers)))
        slopes = every[:, free]
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
            every,
            slopes.T @ slopes,
            self.residuals(numbers)[:count],
            leverage,
        )

    def begin(self, seed: int) -> Array:
        """A good point to begin at: the best that is reached from the start and from some drawn about it.

        These lie between half and twice its numbers; only the better ones are followed.
        """
        rng = np.random.Generator(np.random.PCG64(seed))
        factors = 2.0 ** rng.uniform(-1.0, 1.0, (STARTS * len(self.start), len(self.start)))
        drawn = [np.clip(self.start * each, self.low, self.high) for each in factors]
        self.ahead(drawn)
        drawn.sort(key=self.squares)
        every = range(len(self.start))
        reached = [self.least(begin, every) for begin in (self.start, *drawn[:FOLLOWED])]
        return min(reached, key=lambda each: each[1])[0]

    def _timed(self, free: Sequence[int]) -> int:
        """Unknowns that the times hang on."""
        if not free:
            return 0
        slopes = self.slopes(self.start, free, both=False)[: len(self.data.value)]
        return int(np.any(slopes[self.data.varies] != 0.0, axis=0).sum()) if self.data.varies.any() else 0

    def _scatter(self, numbers: Array, degrees: int) -> float:
        """Sd of what varies from trial to trial [s] (Paule and Mandel, 1982)."""
        from scipy.optimize import brentq

        if degrees < 1:
            return 0.0
        data, varies = self.data, self.data.varies
        off = self.off(numbers)
        known = np.maximum(data.sd, LEAST_SD) ** 2

        def excess(variance: float) -> float:
            weight = 1.0 / (known + np.where(varies, variance, 0.0))
            shift = self.shift(off, weight)
            left = off - np.where(data.shifted, shift, 0.0)
            extra = (shift / data.shift_sd) ** 2 if data.has_shift else 0.0
            return float(np.sum((weight * left**2)[varies])) + extra - degrees

        if excess(0.0) <= 0.0:
            return 0.0
        most = float(np.sum(off[varies] ** 2)) / degrees + float(known[varies].max())
        while excess(most) > 0.0:
            most *= 4.0
            if most > 1e6:
                return 0.0
        return sqrt(brentq(excess, 0.0, most, xtol=1e-16, rtol=1e-10))

    def _degrees(self, degrees: int) -> float:
        """Effective degrees of freedom of the variance of a trial: by Satterthwaite (1946), for unequal errors.

        The weighted squares add up to nu at a scatter whose variance is 2 nu/W^2, with W the sum of the weights w. An
        estimate's variance goes with 1/W, so that it has 2/(relative variance), in proportion to nu (W^2/sum w^2)^2:
        nu where all errors are equal. Without scatter all variances are known.
        """
        varies = self.data.varies
        if self.scatter == 0.0 or degrees < 1:
            return inf
        weight = self.sd()[varies] ** -2.0
        even = float(np.sum(weight) ** 2 / np.sum(weight**2)) / len(weight)
        return max(degrees * even**2, 1.0)

    # --- the profile -----------------------------------------------------------------------------------

    def profile(self, best: Solved, which: int, free: Sequence[int]) -> Profile:
        """The interval of one of the free unknowns.

        Raises
        ------
        Better
            Where a better point than the best turns up on the way.
        """
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
        kept: dict[float, float] = {at: -best.factor}
        solved = {at: best.numbers}

        def short(x: float) -> float:
            if x in kept:
                return kept[x]
            begin = best.numbers.copy()
            begin[free] += lean * (x - at)
            begin = np.clip(begin, self.low, self.high)
            begin[which] = x
            numbers, squares = self.near(begin, others, best.slopes)
            if (
                sqrt(max(squares - best.squares, 0.0)) > STEEP * abs(x - at) / sd
            ):  # a ridge of a jagged model, perhaps
                begin = solved[min(solved, key=lambda other: abs(other - x))].copy()
                begin[which] = x
                again = self.least(begin, others, most=6)
                numbers, squares = again if again[1] < squares else (numbers, squares)
            if squares < best.squares - BETTER and self.anew > 0:
                self.anew -= 1
                raise Better(numbers)
            solved[x] = numbers
            kept[x] = sqrt(max(squares - best.squares, 0.0)) - best.factor
            return kept[x]

        inner, reach = at, best.factor * sd if isfinite(sd) else abs(bound - at)
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
        return found if 2 * len(found) <= count else []  # most of them: it is the model that fits badly


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

    `weights`: its direction, of the unknowns over their scales; `half_width`: of its 95 % interval; `members`: the
    unknowns that it leaves open by their scale.
    """

    weights: Array
    half_width: float
    members: tuple[int, ...]


def directions(information: Array, factor: float) -> list[Direction]:
    """All combinations that are told apart from one another, the least told first."""
    values, vectors = np.linalg.eigh(information)
    found = []
    for value, weights in zip(values, vectors.T, strict=True):
        flat = value <= SINGULAR * max(float(values[-1]), 1e-300)
        half = inf if flat else factor / sqrt(value)
        least = PART if flat else TOLD / half
        members = tuple(int(each) for each in np.flatnonzero(np.abs(weights) > least))
        found.append(Direction(weights, half, members))
    return found


def groups_not_told(information: Array, factor: float) -> list[tuple[int, ...]]:
    """Unknowns that belong to a combination which is not told, those that share one together."""
    groups: list[set[int]] = []
    for each in directions(information, factor):
        if not each.members:
            continue
        together = set(each.members)
        for group in [group for group in groups if group & together]:
            together |= group
            groups.remove(group)
        groups.append(together)
    return [tuple(sorted(group)) for group in groups]
