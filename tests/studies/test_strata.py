"""Days that are spread evenly over what is not known: what they cover, and intervals that hold."""

from __future__ import annotations

from itertools import pairwise
from math import sqrt

import numpy as np
import pytest
from scipy import stats

from simbot.report.unseen import unseen_lines
from simbot.studies.statistics import mean_of
from simbot.studies.strata import SLICE, uniform_of_day, unseen_share


def days(seed, count, *key, begin=0):
    return np.array([uniform_of_day(f"{seed} ", day, *key) for day in range(begin, begin + count)])


def test_ten_days_go_through_all_tenths_and_twenty_through_all_twentieths():
    for seed in range(20):
        for begin in (0, 10, 20, 30, 70):
            assert sorted(np.floor(10 * days(seed, 10, "lift", "efficiency", begin=begin))) == list(range(10))
        for begin in (0, 20, 60):
            assert sorted(np.floor(20 * days(seed, 20, "lift", "efficiency", begin=begin))) == list(range(20))


def test_a_day_is_the_same_however_many_are_played_and_whatever_else_is_drawn():
    few, many = days(3, 7, "mass"), days(3, 50, "mass")
    assert (few == many[:7]).all()
    assert not (few == days(3, 7, "friction")).any() and not (few == days(4, 7, "mass")).any()


def test_each_day_is_uniform_and_quantities_are_independent():
    """Over seeds: one day's number has the uniform distribution, and no two quantities go together."""
    for day in (0, 4, 13, 27):
        first = np.array([uniform_of_day(f"{seed} ", day, "a") for seed in range(1500)])
        other = np.array([uniform_of_day(f"{seed} ", day, "b") for seed in range(1500)])
        assert stats.kstest(first, "uniform").pvalue > 1e-4
        assert abs(np.corrcoef(first, other)[0, 1]) < 4 / sqrt(1500)
        # nor do the changes from day to day of two quantities, as they would in a common order
        next_first = np.array([uniform_of_day(f"{seed} ", day + 1, "a") for seed in range(1500)])
        next_other = np.array([uniform_of_day(f"{seed} ", day + 1, "b") for seed in range(1500)])
        assert abs(np.corrcoef(next_first - first, next_other - other)[0, 1]) < 4 / sqrt(1500)


MODELS = {
    # a cliff: one day in ten everything is lost, by one quantity that nobody measured
    "cliff": (lambda u: np.where(u[0] > 0.9, -30.0, 0.0) + 5.0 * u[1], -3.0 + 2.5),
    "sum": (lambda u: 8.0 * u[0] - 6.0 * u[1] + 3.0 * u[2], 2.5),
    # two quantities that do nothing alone
    "together": (lambda u: 12.0 * (u[0] - 0.5) * (u[1] - 0.5), 0.0),
}


@pytest.mark.parametrize("name", sorted(MODELS))
@pytest.mark.parametrize("count", [10, 15, 20])
def test_the_interval_holds_the_mean_as_often_as_it_says(name, count):
    """400 studies of so many days with luck in each match; independent days are held against it."""
    model, truth = MODELS[name]
    rng = np.random.default_rng(count)
    inside = alone = 0
    means, free_means = [], []
    numbers = np.repeat(np.arange(count), 4)
    for seed in range(400):
        even = np.array([days(seed, count, key) for key in "abc"])
        free = rng.random((3, count))
        luck = 2.0 * rng.standard_normal(4 * count)
        figure = mean_of(np.repeat(model(even), 4) + luck, numbers)
        other = mean_of(np.repeat(model(free), 4) + luck, numbers)
        inside += figure.interval[0] <= truth <= figure.interval[1]
        alone += other.interval[0] <= truth <= other.interval[1]
        means.append(figure.value)
        free_means.append(other.value)
    assert inside / 400 > 0.95 - 3 * sqrt(0.95 * 0.05 / 400)
    assert np.mean(means) == pytest.approx(truth, abs=4 * np.std(means) / sqrt(400))
    assert np.std(means) < 1.12 * np.std(free_means)
    if name == "cliff":
        assert (
            alone / 400 < 0.9 or count > 10
        )  # ten independent days often hold no such day and do not know it
        assert np.std(means) < 0.75 * np.std(free_means)


def test_one_day_in_ten_is_met_in_ten_days():
    hidden = sum(days(seed, SLICE, "gripper").max() < 0.9 for seed in range(200))
    rng = np.random.default_rng(1)
    independent = sum(rng.random(SLICE).max() < 0.9 for _ in range(200))
    assert hidden == 0 and independent / 200 == pytest.approx(0.9**10, abs=4 * sqrt(0.35 * 0.65 / 200))


def test_the_reports_say_it():
    few, ten, twenty = (" ".join(unseen_lines(count)) for count in (8, 10, 20))
    assert "8 days are few" in few and "31 %" in few
    assert "every tenth of its spread" in ten and "26 %" in ten
    assert "every twentieth of its spread" in twenty and "14 %" in twenty
    one = " ".join(unseen_lines(1))
    assert one.startswith("1 day is few: what befalls up to 95 % of days may be missing in it altogether")
    assert all(len(line) <= 80 for count in range(1, 300) for line in unseen_lines(count))


def test_what_so_many_days_may_have_missed():
    """The rule of three: about 3/n, and exactly the bound of Clopper and Pearson for none of n."""
    for count in (8, 10, 20, 50):
        assert (1 - unseen_share(count)) ** count == pytest.approx(0.05)
        assert unseen_share(count) == pytest.approx(stats.beta.ppf(0.95, 1, count))
    assert unseen_share(100) == pytest.approx(3 / 100, rel=0.02)
    assert all(a > b for a, b in pairwise(unseen_share(count) for count in range(1, 30)))
