"""Intervals hold what they say: coverage over repetitions, and other libraries' figures."""

import numpy as np
import pytest
from scipy import stats

from simbot.physics.luck import Drawn, normal, uniform
from simbot.report.unseen import ignorance_told
from simbot.scenario.parameters import Quantity, Span
from simbot.studies.statistics import distribution, mean_of, parts_of, proportion, share_of, student

DAYS = np.repeat(np.arange(12), 10)


def sample(rng, luck=2.0, ignorance=1.5):
    return 50 + ignorance * rng.standard_normal(12)[DAYS] + luck * rng.standard_normal(120)


def test_the_mean_s_interval_covers_at_its_rate():
    rng = np.random.default_rng(1)
    hits = 0
    for _ in range(400):
        low, high = mean_of(sample(rng), DAYS).interval
        hits += low <= 50 <= high
    # 400 repetitions of an interval of 95 %: four standard errors are 4.4 %
    assert 0.906 <= hits / 400 <= 0.994
    # matches taken as independent would cover far less often: the test can fail
    narrow = sum(
        abs(values.mean() - 50) <= 1.98 * values.std(ddof=1) / np.sqrt(120)
        for values in (sample(rng) for _ in range(400))
    )
    assert narrow / 400 < 0.85


def test_luck_and_ignorance_are_told_apart():
    rng = np.random.default_rng(2)
    parts = [distribution(sample(rng), DAYS) for _ in range(60)]
    assert np.sqrt(np.mean([each.luck_sd**2 for each in parts])) == pytest.approx(2.0, rel=0.05)
    assert np.sqrt(np.mean([each.ignorance_sd**2 for each in parts])) == pytest.approx(1.5, rel=0.15)


def test_where_days_do_not_tell_ignorance_from_luck_its_limit_holds():
    """400 studies of 12 days whose ignorance is a quarter of the luck: seldom told, and then bounded at 95 %."""
    rng = np.random.default_rng(6)
    bounds = []
    for _ in range(400):
        values = sample(rng, luck=2.0, ignorance=0.5)
        _, ignorance, most = parts_of([values[day == DAYS] for day in range(12)])
        bounds.append(most)
        if most is not None:
            assert ignorance <= most
    untold = [most for most in bounds if most is not None]
    assert 0.5 < len(untold) / 400 < 0.95
    # those that were told by chance lie above; of the others at most 5 % (and four standard errors) below
    assert sum(most < 0.5 for most in untold) / 400 < 0.05 + 4 * np.sqrt(0.05 * 0.95 / 400)


def test_in_words_it_is_never_a_spread_of_nothing():
    alike = [np.array([1.0, 3.0, 2.0, 2.0])] * 3
    luck, ignorance, most = parts_of(alike)
    assert ((luck, ignorance) == (pytest.approx(np.sqrt(2 / 3)), 0.0) and most == 0.0) or most > 0.0
    told = ignorance_told(ignorance, most, 3, "which more matches do not average out")
    assert "cannot be told from luck by 3 days" in told and "sd 0.0," not in told
    apart = [np.array([1.0, 2.0]), np.array([11.0, 12.0]), np.array([21.0, 22.0])]
    _, ignorance, most = parts_of(apart)
    assert most is None and "has sd 10.0, which" in ignorance_told(ignorance, most, 3, "which more do not")


def test_quantiles_of_students_t_and_of_a_share():
    for degrees in (1, 4, 29):
        assert student(degrees) == pytest.approx(stats.t.ppf(0.975, degrees), rel=1e-12)
    for hits, runs in ((0, 20), (7, 20), (20, 20)):
        exact = stats.binomtest(hits, runs).proportion_ci(method="exact")
        assert proportion(hits, runs).interval == pytest.approx((exact.low, exact.high), rel=1e-9, abs=1e-12)


def test_a_share_s_interval_is_that_of_independent_matches_only_where_days_are_alike():
    days = np.repeat(np.arange(10), 10)
    alike = np.tile(np.arange(10) < 3, 10)
    assert share_of(alike, days) == proportion(30, 100)
    all_or_none = days < 3  # a day is one observation, and a tenth of 9 degrees of freedom is little
    low, high = share_of(all_or_none, days).interval
    exact = stats.binomtest(3, 10).proportion_ci(method="exact")
    assert low < exact.low < exact.high < high
    assert share_of(np.zeros(100, bool), days) == proportion(0, 100)
    assert share_of(alike[:10], days[:10]) == proportion(3, 10)


def test_draws_follow_the_cut_normal_distribution():
    # JCGM 100: the expanded uncertainty with k = 2 is two standard deviations
    cut = stats.truncnorm(-1.0, 2.0, loc=1.0, scale=0.5)
    for u in (0.001, 0.2, 0.5, 0.9, 0.999):
        assert normal(u, 1.0, 1.0, 0.5, 2.0) == pytest.approx(cut.ppf(u), rel=1e-9)
    numbers = [uniform(1, "a", k) for k in range(4000)]
    assert stats.kstest(numbers, "uniform").pvalue > 1e-3


def test_what_is_fixed_is_so_for_a_day_and_what_varies_for_a_moment():
    efficiency = Quantity(0.8, 0.1)
    today = [Drawn(1, 3, match).fixed(efficiency, 0.0, 1.0, "lift") for match in range(30, 40)]
    assert len(set(today)) == 1
    assert Drawn(1, 4, 40).fixed(efficiency, 0.0, 1.0, "lift") != today[0]
    luck = Drawn(1, 3, 30)
    assert len({luck.span_us(Span(500_000, 100_000), "wait") for _ in range(10)}) == 10
    assert {luck.span_us(Span(2, 0, (1, 2, 3)), "seen") for _ in range(100)} == {1, 2, 3}
