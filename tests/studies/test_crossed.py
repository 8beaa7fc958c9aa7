"""Freeing values of where robots lie in their spreads: its parts against quadrature, scipy and kriging written out, and
the mean and its interval against worlds whose mean is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.special import ndtr, ndtri
from scipy.stats import multivariate_normal

from simbot.studies import crossed
from simbot.studies.crossed import (
    BLOCK,
    DOUBT,
    LOOSE,
    Unlikely,
    alike,
    covariance,
    freed,
    told_by_others,
    weights_by,
    weights_of,
)
from simbot.studies.regressed import regressed
from simbot.studies.strata import uniform_of_day

QUANTITIES = 12


def test_robots_are_alike_with_mean_nought_and_one_with_themselves():
    """Against Gauss-Hermite quadrature over standard normal scores."""
    z, weight = np.polynomial.hermite_e.hermegauss(180)
    weight /= weight.sum()
    other = np.array([-3.0, -0.4, 0.0, 1.7])
    assert weight @ alike(z[:, None], other) == pytest.approx(np.zeros(4), abs=1e-9)
    assert weight @ alike(other[:, None], z).T == pytest.approx(np.zeros(4), abs=1e-9)
    assert weight @ alike(z, z) == pytest.approx(1.0, rel=1e-9)
    draws = np.random.default_rng(0).standard_normal((60, 3))
    assert np.linalg.eigvalsh(covariance(np.array([2.0, 0.0, 0.3]), draws)).min() > -1e-9
    assert alike(draws[:, :1], draws[:5, 0]) == pytest.approx(alike(draws[:5, :1], draws[:, 0]).T)


def test_what_is_most_likely_is_so_of_a_normal_distribution():
    """Against scipy's density, at the scale of noise that makes it largest, and against differences."""
    rng = np.random.default_rng(1)
    scores, luck = rng.standard_normal((40, 4)), rng.standard_normal((40, 2))
    fixed = np.column_stack([np.ones(40), luck, np.zeros(40)])
    values = 3.0 * (scores[:, 0] > 0.8) + luck[:, 0] + rng.standard_normal(40)
    unlikely = Unlikely(scores, fixed, values)
    q, _ = np.linalg.qr(fixed[:, :3])

    def expected(weights):
        whole = covariance(weights, scores) + np.eye(40) + LOOSE * 40 * q @ q.T
        middle = values - values.mean()
        scale = middle @ np.linalg.solve(whole, middle) / 40
        least = -multivariate_normal(np.zeros(40), scale * whole).logpdf(middle)
        return least - 20.0 * np.log(2.0 * np.pi * np.e) + DOUBT * weights.sum()

    for weights in (np.zeros(4), np.array([1.3, 0.0, 0.2, 0.01]), np.full(4, 0.1)):
        value, slope = unlikely(weights)
        assert value == pytest.approx(expected(weights), rel=1e-9)
        inside = np.maximum(weights, 1e-3)
        assert unlikely(inside)[1] == pytest.approx(approx_fprime(inside, expected, 1e-6), rel=1e-3, abs=1e-3)
        assert slope.shape == (4,)
    at_nought = (unlikely(np.array([1e-6, 0.0, 0.0, 0.0]))[0] - unlikely(np.zeros(4))[0]) / 1e-6
    assert unlikely(np.zeros(4))[1][0] == pytest.approx(at_nought, rel=1e-3)


def test_each_part_is_freed_by_what_the_others_tell():
    """Against universal kriging, its mean by generalised least squares (Cressie, Statistics for Spatial Data, 1993,
    3.4, from memory)."""
    rng = np.random.default_rng(2)
    count = 3 * BLOCK
    scores, luck = rng.standard_normal((count, 3)), rng.standard_normal((count, 1))
    values = 5.0 * (scores[:, 1] > 0.5) - 2.0 * luck[:, 0] + rng.standard_normal(count)
    days = np.arange(count)
    left = freed(values, days, scores, luck)
    part = days // BLOCK
    fixed = np.column_stack([np.ones(count), luck])
    for own in range(3):
        telling = part % 2 != own % 2
        weights = weights_of(scores[telling], fixed[telling], values[telling])
        assert weights[1] > 0.1 and weights[[0, 2]].max() < 0.05
        near, there = covariance(weights, scores), part != own
        inverse = np.linalg.inv(near[np.ix_(there, there)] + np.eye(there.sum()))
        f = fixed[there]
        held = np.linalg.solve(f.T @ inverse @ f, f.T @ inverse @ values[there])
        told = near[np.ix_(~there, there)] @ inverse @ (values[there] - f @ held)
        assert left[~there] == pytest.approx(values[~there] - told, abs=1e-9)


def test_luck_that_only_one_block_had_takes_nothing_along():
    """What the others tell of that block is the same without it; so it is of the others, but for its own values."""
    rng = np.random.default_rng(12)
    days = np.arange(3 * BLOCK)
    scores = rng.standard_normal((len(days), 2))
    near = covariance(np.array([1.5, 0.3]), scores)
    values = 5.0 * (scores[:, 0] > 0.5) + rng.standard_normal(len(days))
    blocks, ones = days // BLOCK, np.ones((len(days), 1))
    once = np.where(days == 3, 1.0, 0.0)[:, None]
    plain = told_by_others(near, ones, values, blocks, blocks == 0)
    assert told_by_others(near, np.hstack([ones, once]), values, blocks, blocks == 0) == pytest.approx(plain)
    elsewhere = told_by_others(near, np.hstack([ones, once]), values, blocks, blocks > 0)
    dropped = days != 3
    there = near[np.ix_(dropped, dropped)]
    without = told_by_others(there, ones[dropped], values[dropped], blocks[dropped], blocks[dropped] > 0)
    assert elsewhere == pytest.approx(without)


def world(rng, days):
    """A match of each day: a step of 20 points that a robot misses far out in its spreads, a slope, and luck."""
    scores, luck = rng.standard_normal((days, QUANTITIES)), rng.standard_normal((days, 1))
    missed = scores[:, 0] + 0.5 * scores[:, 1] > 1.2
    return (
        scores,
        luck,
        50.0 - 20.0 * missed + scores[:, 2] + 2.0 * luck[:, 0] + 2.0 * rng.standard_normal(days),
    )


TRUTH = 50.0 - 20.0 * ndtr(-1.2 / np.sqrt(1.25))


def fits(repetitions, days, told_by_themselves=False):
    rng = np.random.default_rng(3)
    found, plain = [], []
    numbers = np.arange(days)
    for _ in range(repetitions):
        scores, luck, values = world(rng, days)
        if told_by_themselves:
            fixed = np.column_stack([np.ones(days), luck])
            near = covariance(weights_of(scores, fixed, values), scores)
            inverse = np.linalg.inv(near + np.eye(days))
            held = np.linalg.solve(fixed.T @ inverse @ fixed, fixed.T @ inverse @ values)
            left = values - near @ inverse @ (values - fixed @ held)
        else:
            left = freed(values, numbers, scores, luck)
        found.append(regressed(left, numbers, luck))
        plain.append(regressed(values, numbers, luck))
    return found, plain


def test_the_mean_stays_and_its_interval_is_narrower_and_right():
    """Repetitions of a hundred days: 95 % within, give or take three standard errors of so many."""
    repetitions = 250
    found, plain = fits(repetitions, 5 * BLOCK)
    off = np.array([each.mean.value - TRUTH for each in found])
    assert abs(off.mean()) < 4.0 * off.std() / np.sqrt(repetitions)
    inside = np.mean([abs(each.mean.value - TRUTH) <= each.half() for each in found])
    assert abs(inside - 0.95) < 3.0 * np.sqrt(0.95 * 0.05 / repetitions)
    narrower = np.mean([one.half() / other.half() for one, other in zip(found, plain, strict=True)])
    assert narrower < 0.75


def test_told_by_the_same_days_it_would_look_too_sure():
    found, _ = fits(60, 3 * BLOCK, told_by_themselves=True)
    assert np.mean([abs(each.mean.value - TRUTH) <= each.half() for each in found]) < 0.85


def test_values_that_hang_on_no_robot_are_left_about_as_they_are():
    rng = np.random.default_rng(4)
    days = np.arange(5 * BLOCK)
    wider = []
    for _ in range(40):
        values = rng.standard_normal(len(days))
        left = freed(values, days, rng.standard_normal((len(days), QUANTITIES)), np.empty((len(days), 0)))
        wider.append(left.std() / values.std())
    assert np.mean(wider) < 1.02 and np.max(wider) < 1.15


@pytest.mark.parametrize("luck", [0, 2])
def test_nothing_is_taken_off_what_is_always_the_same_or_has_no_others(luck):
    rng = np.random.default_rng(5)
    days = np.arange(2 * BLOCK)
    scores, controls = rng.standard_normal((len(days), 3)), np.zeros((len(days), luck))
    assert freed(np.full(len(days), 7.0), days, scores, controls).tolist() == [7.0] * len(days)
    values = 9.0 * (scores[:, 0] > 0.0)
    one = days < BLOCK
    assert freed(values[one], days[one], scores[one], controls[one]).tolist() == values[one].tolist()
    none = np.empty((len(days), 0))
    assert freed(values, days, none, controls).tolist() == values.tolist()


def test_a_day_tells_only_of_days_that_are_freed_with_it(monkeypatch):
    """Of more days than are freed by one another, the last ones do not move the first."""
    monkeypatch.setattr(crossed, "MOST_DAYS", 3 * BLOCK)
    rng = np.random.default_rng(6)
    days = np.arange(6 * BLOCK)
    scores, luck, values = world(rng, len(days))
    other = values.copy()
    other[-5:] += 30.0
    first = days < 3 * BLOCK
    left = freed(values, days, scores, luck)
    assert np.array_equal(left[first], freed(other, days, scores, luck)[first])
    assert left[first].std() < 0.9 * values[first].std()


def test_differences_of_freed_values_are_freed_differences():
    """As the means of two plans are as far apart as is said of them."""
    rng = np.random.default_rng(7)
    days = np.arange(5 * BLOCK)
    scores, luck, one = world(rng, len(days))
    other = 30.0 + 8.0 * (scores[:, 3] > 0.5) + rng.standard_normal(len(days))
    apart = one - other
    by = weights_by(apart, days, scores, luck)
    freed_apart = [freed(values, days, scores, luck, by) for values in (one, other)]
    assert freed(apart, days, scores, luck) == pytest.approx(freed_apart[0] - freed_apart[1], abs=1e-9)
    at_once = freed(np.column_stack([one, other]), days, scores, luck, by)
    assert at_once == pytest.approx(np.column_stack(freed_apart), abs=1e-9)


def test_of_thousands_of_days_parts_are_freed_by_themselves_and_none_is_left_out():
    rng = np.random.default_rng(8)
    days = np.arange(2010)
    z = rng.standard_normal((2010, 2))
    values = z[:, 0] ** 2 + 0.1 * rng.standard_normal(2010)
    left = freed(values, days, z, np.empty((2010, 0)))
    first = freed(values[:1020], days[:1020], z[:1020], np.empty((1020, 0)))
    assert left[:1020] == pytest.approx(first)
    assert left[:1020].std() < 0.3 * values.std() and left[-10:].std() < 0.3 * values.std()


@pytest.mark.parametrize("evenly", [False, True])
def test_from_the_first_look_on_an_interval_holds_beside_luck(evenly):
    """300 studies of 40 days, of which ten are played twice, independent or spread evenly over what is unknown."""
    rng = np.random.default_rng(9)
    days = np.concatenate([np.repeat(np.arange(10), 2), np.arange(10, 2 * BLOCK)])
    hits, truth = 0, 20.0 + 10.0 * ndtr(-0.5)
    for number in range(300):
        own = rng.standard_normal((2 * BLOCK, 4))
        if evenly:
            u = [[uniform_of_day(str(number), day, key) for key in range(4)] for day in range(2 * BLOCK)]
            own = ndtri(np.array(u))
        scores, luck = own[days], rng.standard_normal((len(days), 3))
        values = 20.0 + 10.0 * (scores[:, 0] > 0.5) + luck.sum(axis=1) + rng.standard_normal(len(days))
        fit = regressed(freed(values, days, scores, luck), days, luck)
        hits += abs(fit.mean.value - truth) <= fit.half()
    assert hits / 300 >= 0.95 - 3.0 * np.sqrt(0.95 * 0.05 / 300)
    assert evenly or hits / 300 <= 0.95 + 3.5 * np.sqrt(0.95 * 0.05 / 300)


def test_intervals_hold_where_noise_is_skewed_and_nothing_hangs_on_robots():
    """300 studies of 100 days, half of them of skewed noise, with eight quantities that do nothing."""
    rng = np.random.default_rng(10)
    days, luck, hits, wider = np.arange(100), np.empty((100, 0)), 0, []
    for number in range(300):
        values = rng.exponential(3.0, 100) - 3.0 if number % 2 else rng.standard_normal(100)
        fit = regressed(freed(values, days, rng.standard_normal((100, 8)), luck), days)
        hits += abs(fit.mean.value) <= fit.half()
        wider.append(fit.half() / regressed(values, days).half())
    assert 0.90 < hits / 300 < 1.0
    assert np.mean(wider) < 1.05
