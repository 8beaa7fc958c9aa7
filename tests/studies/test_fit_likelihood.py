"""The interval method against textbooks and scipy, on models that can be worked out on paper."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy import optimize, stats

from simbot.studies.likelihood import Data, Likelihood, groups_not_told
from simbot.studies.statistics import NORMAL_95


def data_of(x, y, sd=0.0, shifted=False, shift_sd=0.0, tries=None):
    n = len(y)
    counted = np.zeros(n) if tries is None else np.asarray(tries, dtype=float)
    return Data(
        np.arange(n), np.asarray(y, dtype=float), np.full(n, float(sd)), counted == 0,
        np.full(n, shifted), counted, shift_sd,
    )  # fmt: skip


def likelihood(data, predict, start, low=-100.0, high=100.0):
    p = len(start)
    return Likelihood(
        data, predict, np.asarray(start, dtype=float), np.full(p, low), np.full(p, high), np.ones(p)
    )


X = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
Y = np.array([1.1, 2.9, 5.2, 7.1, 8.8, 11.3, 12.9])


def straight(numbers):
    return numbers[0] + numbers[1] * X


def test_a_straight_line_has_the_textbook_s_student_intervals():
    """Montgomery, Peck and Vining, Introduction to Linear Regression Analysis, equations 2.39 and 2.40 (numbers of
    the equations from memory): b +- t(n - 2) s sqrt(c)."""
    whole = likelihood(data_of(X, Y), straight, [1.0, 1.5])
    best = whole.solve()
    line = stats.linregress(X, Y)
    t = stats.t.ppf(0.975, len(X) - 2)
    expected = {0: (line.intercept, line.intercept_stderr), 1: (line.slope, line.stderr)}
    assert best.degrees == pytest.approx(5.0, rel=1e-6)
    for which, (estimate, error) in expected.items():
        profile = whole.profile(best, which, (0, 1))
        assert best.numbers[which] == pytest.approx(estimate, rel=1e-7)
        assert (profile.low, profile.high) == pytest.approx(
            (estimate - t * error, estimate + t * error), abs=0.01 * t * error
        )


def test_a_mean_with_a_known_error_has_the_textbook_s_normal_interval():
    """y +- 1.96 sigma/sqrt(n) (any textbook of statistics): here the scatter is less than the stated error."""
    values = [1.00, 1.02, 0.99, 1.01]
    whole = likelihood(data_of(None, values, sd=0.1), lambda numbers: np.full(4, numbers[0]), [0.5])
    best = whole.solve()
    profile = whole.profile(best, 0, (0,))
    half = NORMAL_95 * 0.1 / sqrt(4)
    assert best.scatter == 0.0
    assert (profile.low, profile.high) == pytest.approx((1.005 - half, 1.005 + half), abs=1e-3)


def test_what_all_times_of_a_stopwatch_share_does_not_average_out():
    """Variance of a mean with a common error: sigma^2/n + shift^2 (JCGM 100, 5.2.2)."""
    n = 9
    whole = likelihood(
        data_of(None, np.full(n, 2.0), sd=0.06, shifted=True, shift_sd=0.05),
        lambda numbers: np.full(n, numbers[0]), [1.0],
    )  # fmt: skip
    best = whole.solve()
    profile = whole.profile(best, 0, (0,))
    half = NORMAL_95 * sqrt(0.06**2 / n + 0.05**2)
    assert profile.high - 2.0 == pytest.approx(half, rel=0.01)


def test_a_shift_beyond_what_a_stopwatch_explains_is_no_end_of_the_scatter():
    """Four filmed times of 1 s and four of a stopwatch that is 0.6 s late, twelve standard deviations of its shift.

    What varies makes the weighted squares, that of the shift too, add up to the degrees of freedom (Paule and Mandel,
    1982): here with scipy's own root, of the estimate and the shift together.
    """
    n, shift_sd = 8, 0.05
    late = np.arange(n) >= 4
    y = np.array([0.99, 1.01, 1.0, 1.0, 1.58, 1.62, 1.6, 1.61])
    sd = np.where(late, 0.07, 0.01)
    data = Data(np.zeros(n, dtype=int), y, sd, np.full(n, True), late, np.zeros(n), shift_sd)
    best = likelihood(data, lambda numbers: numbers, [1.0], low=0.0).solve()

    def excess(variance):
        rows = np.column_stack([np.ones(n), late]) / np.sqrt(sd**2 + variance)[:, None]
        rows = np.vstack([rows, [0.0, 1.0 / shift_sd]])
        wanted = np.append(y / np.sqrt(sd**2 + variance), 0.0)
        return np.linalg.lstsq(rows, wanted, rcond=None)[1][0] - (n - 1)

    assert best.scatter == pytest.approx(sqrt(optimize.brentq(excess, 0.0, 10.0)), rel=0.03)
    assert best.scatter > 0.1


def test_a_curve_agrees_with_curve_fit():
    """scipy.optimize.curve_fit and Student's t; a mildly bent model, so that the profile is nearly symmetric."""
    x = np.linspace(0.2, 3.0, 15)
    noise = np.random.Generator(np.random.PCG64(3)).normal(0.0, 0.01, len(x))
    y = 2.0 * (1.0 - np.exp(-x / 0.8)) + noise

    def model(x, a, b):
        return a * (1.0 - np.exp(-x / b))

    whole = likelihood(data_of(x, y), lambda numbers: model(x, *numbers), [1.5, 1.0], low=0.05)
    best = whole.solve()
    expected, covariance = optimize.curve_fit(model, x, y, (1.5, 1.0))
    half = stats.t.ppf(0.975, len(x) - 2) * np.sqrt(np.diag(covariance))
    assert best.numbers == pytest.approx(expected, rel=1e-5)
    for which in (0, 1):
        profile = whole.profile(best, which, (0, 1))
        assert profile.high - profile.low == pytest.approx(2 * half[which], rel=0.03)


def test_successes_have_the_interval_of_the_likelihood_ratio():
    """17 of 20: the interval of the binomial likelihood ratio, solved here directly."""
    whole = likelihood(data_of(None, [17.0], tries=[20]), lambda numbers: numbers, [0.5], low=0.0, high=1.0)
    best = whole.solve()
    profile = whole.profile(best, 0, (0,))

    def excess(p):
        return 2 * (stats.binom.logpmf(17, 20, 0.85) - stats.binom.logpmf(17, 20, p)) - NORMAL_95**2

    assert best.numbers[0] == pytest.approx(0.85, abs=1e-4)
    assert profile.low == pytest.approx(optimize.brentq(excess, 0.3, 0.85), abs=2e-3)
    assert profile.high == pytest.approx(optimize.brentq(excess, 0.85, 0.999), abs=2e-3)


def test_two_unknowns_that_act_alike_are_one_group():
    whole = likelihood(data_of(X, Y), lambda n: straight((n[0] + n[2], n[1])), [0.5, 1.5, 0.5])
    best = whole.solve()
    assert groups_not_told(best.information, best.factor) == [(0, 2)]
    told = whole.profile(best, 1, (0, 1, 2))
    line = stats.linregress(X, Y)
    assert best.numbers[1] == pytest.approx(line.slope, rel=1e-6)
    assert told.low is not None and told.high is not None


def test_one_wild_value_is_named_and_no_other():
    wild = Y.copy()
    wild[3] += 3.0
    whole = likelihood(data_of(X, wild), straight, [1.0, 1.5])
    assert whole.outliers(whole.solve()) == [3]
    clean = likelihood(data_of(X, Y), straight, [1.0, 1.5])
    assert clean.outliers(clean.solve()) == []


def test_an_end_at_a_bound_stays_open():
    values = [0.97, 0.99, 0.98]
    whole = likelihood(data_of(None, values, sd=0.1), lambda n: np.full(3, n[0]), [0.5], low=0.0, high=1.0)
    profile = whole.profile(whole.solve(), 0, (0,))
    assert profile.high is None and profile.low == pytest.approx(0.98 - NORMAL_95 * 0.1 / sqrt(3), abs=2e-3)
