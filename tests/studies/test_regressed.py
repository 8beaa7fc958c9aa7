"""Means that are freed of known luck: against textbooks, and intervals that hold what they say."""

import numpy as np
import pytest
from scipy import stats

from simbot.studies.regressed import ROWS, regressed

RNG = np.random.default_rng(11)


def test_one_control_is_the_regression_of_the_textbooks():
    # simple linear regression at x = 0 (Draper and Smith, Applied Regression Analysis, chapter 1): the mean is
    # y - b x, its variance s^2 (1/n + x^2 / Sxx) with n - 2 degrees of freedom, by scipy's own fit
    x = RNG.standard_normal(30)
    y = 5.0 + 2.0 * x + RNG.standard_normal(30)
    fit = regressed(y, np.arange(30), x[:, None])
    line = stats.linregress(x, y)
    assert fit.taken and fit.degrees == 28
    assert fit.mean.value == pytest.approx(line.intercept, rel=1e-12)
    assert fit.error == pytest.approx(line.intercept_stderr, rel=1e-12)
    assert fit.half(0.9) == pytest.approx(stats.t.ppf(0.95, 28) * line.intercept_stderr, rel=1e-12)
    assert fit.weights @ y == pytest.approx(fit.mean.value) and fit.weights @ x == pytest.approx(
        0.0, abs=1e-12
    )


def test_without_controls_it_is_the_mean_over_days():
    days = np.array([0, 0, 1, 2, 3])
    values = np.array([1.0, 3.0, 4.0, 6.0, 9.0])
    fit = regressed(values, days)
    of_days = np.array([2.0, 4.0, 6.0, 9.0])
    assert fit.mean.value == of_days.mean()
    assert fit.mean.interval == pytest.approx(
        stats.t.interval(0.95, 3, of_days.mean(), stats.sem(of_days)), rel=1e-12
    )


def test_what_hangs_on_known_luck_alone_is_known_exactly():
    x = RNG.standard_normal((40, 3))
    fit = regressed(7.0 + x @ [1.0, -2.0, 3.0], np.arange(40), x)
    assert fit.mean.value == pytest.approx(7.0, abs=1e-12) and fit.half() < 1e-12
    # a column twice, and one of nothing, say no more and cost no more
    again = regressed(7.0 + x @ [1.0, -2.0, 3.0], np.arange(40), np.column_stack([x, x[:, :1], 0 * x[:, :1]]))
    assert again.degrees == 36 and again.mean.value == pytest.approx(7.0, abs=1e-12)


def test_too_few_days_take_no_controls():
    x = RNG.standard_normal((ROWS * 4 - 1, 3))
    y = x.sum(axis=1)
    assert not regressed(y, np.arange(len(y)), x).taken
    assert regressed(y[:1], np.arange(1), x[:1]).mean.interval is None


@pytest.mark.parametrize("slope", [0.0, 3.0])
def test_the_interval_covers_at_its_rate_whether_controls_help_or_not(slope):
    """400 studies of 40 days, some of them played twice, with 8 controls."""
    rng = np.random.default_rng(3)
    days = np.concatenate([np.repeat(np.arange(10), 2), np.arange(10, 40)])
    hits, widths, plain = 0, [], []
    for _ in range(400):
        luck = rng.standard_normal((50, 3))
        today = rng.standard_normal((40, 5))[days]
        skewed = rng.exponential(2.0, 50) - 2.0
        values = (
            20.0 + slope * luck.sum(axis=1) + slope * today[:, 0] + rng.standard_normal(40)[days] + skewed
        )
        fit = regressed(values, days, np.column_stack([luck, today]))
        low, high = fit.mean.interval
        hits += low <= 20.0 <= high
        widths.append(high - low)
        plain.append(2.0 * regressed(values, days).half())
    # 400 repetitions of an interval of 95 %: four standard errors are 4.4 %
    assert 0.906 <= hits / 400 <= 0.994
    shrinks = np.mean(widths) / np.mean(plain)
    assert shrinks < 0.5 if slope else 0.95 < shrinks <= 1.0


def test_what_is_too_rare_to_have_happened_is_no_control():
    # 1 in 1000 tries succeeds; a match has 1 to 9 of them and a point for each. As a control the successes beyond
    # those to be expected would be -0.001 times the tries, and the mean at a control of 0 would be 0 and not 5
    rng = np.random.default_rng(4)
    tries = rng.integers(1, 10, 60)
    control = -0.001 * tries[:, None]
    fit = regressed(tries + rng.standard_normal(60), np.arange(60), control)
    assert fit.mean.interval[0] < 5.0 < fit.mean.interval[1]


def test_points_that_hang_on_rare_luck_keep_their_rate():
    """400 studies of 60 matches with 1 to 9 tries, each with 1 in 50 to succeed, and points for both."""
    rng = np.random.default_rng(8)
    hits = 0
    for _ in range(400):
        tries = rng.integers(1, 10, 60)
        won = rng.binomial(tries, 0.02)
        fit = regressed(tries + 5.0 * won, np.arange(60), (won - 0.02 * tries)[:, None])
        low, high = fit.mean.interval
        hits += low <= 5.5 <= high
    assert 0.906 <= hits / 400 <= 0.994


def test_what_is_rare_does_not_choose_its_control_by_luck() -> None:
    """Near the least that is known of a control, the mean stays 0 and its interval holds what it says."""
    rng = np.random.default_rng(5)
    days, tries, chance = np.arange(80), 5, 12.7 / 400
    variance = np.full((80, 4), tries * chance * (1.0 - chance))
    fits = []
    for _ in range(400):
        luck = rng.binomial(tries, chance, (80, 4)) - tries * chance
        values = 10.0 * luck.sum(axis=1) + rng.normal(size=80)
        fits.append(regressed(values, days, np.stack((luck, variance), axis=2)))
    means = np.array([fit.mean.value for fit in fits])
    assert all(fit.taken for fit in fits)
    assert abs(means.mean()) < 4.0 * means.std() / 20.0
    assert np.mean([abs(fit.mean.value) <= fit.half() for fit in fits]) > 0.91


def test_it_is_the_whole_regression() -> None:
    """Against least squares on all columns at once, one of them twice."""
    rng = np.random.default_rng(7)
    luck = rng.standard_normal((90, 7))
    luck[:, 6] = luck[:, 0] - luck[:, 3]
    values = 1.0 + luck[:, :4] @ [1.0, 2.0, 0.0, -1.0] + 4.0 * luck[:, 4] + rng.standard_normal(90)
    fit = regressed(values, np.arange(90), luck)
    design = np.column_stack([np.ones(90), luck])
    found, *_ = np.linalg.lstsq(design, values, rcond=None)
    left = values - design @ found
    assert fit.mean.value == pytest.approx(found[0], rel=1e-12)
    assert fit.left == pytest.approx(left, abs=1e-11)
    assert fit.degrees == 90 - np.linalg.matrix_rank(design)
    variance = left @ left / fit.degrees * np.linalg.pinv(design.T @ design)[0, 0]
    assert fit.error == pytest.approx(np.sqrt(variance), rel=1e-9)
