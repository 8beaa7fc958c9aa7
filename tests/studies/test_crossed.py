"""Values freed of what is known of the robots: against a regression written out, and by how often intervals hold."""

from itertools import product
from math import factorial

import numpy as np
import pytest
from scipy import stats

from simbot.studies.crossed import BLOCK, DEGREE, PARTS, explained, freed
from simbot.studies.regressed import regressed


def products(own):
    """All products of polynomials of one mechanism's quantities up to the third degree, and the degree of each."""
    single = [np.polynomial.hermite_e.hermevander(z, DEGREE).T for z in own.T]
    for powers in product(range(DEGREE + 1), repeat=own.shape[1]):
        if 0 < sum(powers) <= DEGREE:
            scale = np.sqrt(np.prod([float(factorial(p)) for p in powers]))
            yield (
                sum(powers),
                np.prod([each[p] for each, p in zip(single, powers, strict=True)], axis=0) / scale,
            )


def written_out(values, days, scores, luck):
    """The same by ridge regression on all products, held by 2^(degree - 1) each; mean and luck free."""
    terms = [term for own in scores for term in products(own)]
    strength = np.array([2.0 ** (1 - degree) for degree, _ in terms])
    columns = np.column_stack([term for _, term in terms]) * np.sqrt(strength / strength.sum())
    design = np.column_stack([np.ones(len(values)), luck, columns])
    held = np.diag(np.r_[np.zeros(1 + luck.shape[1]), np.ones(len(terms))])
    left = values.copy()
    parts = days // BLOCK % PARTS
    for part in np.unique(parts):
        there = parts != part
        found = np.linalg.solve(design[there].T @ design[there] + held, design[there].T @ values[there])
        left[~there] -= columns[~there] @ found[1 + luck.shape[1] :]
    return left


def test_it_is_ridge_regression_on_all_products_told_by_other_days():
    rng = np.random.default_rng(2)
    days = np.concatenate([np.repeat(np.arange(5), 2), np.arange(5, 130)])
    scores = [rng.standard_normal((135, 3)), rng.standard_normal((135, 1))]
    luck = rng.standard_normal((135, 2))
    values = 5.0 * (scores[0][:, 0] + scores[0][:, 1] > 1.0) + luck[:, 0] + rng.standard_normal(135)
    assert freed(values, days, scores, luck) == pytest.approx(
        written_out(values, days, scores, luck), abs=1e-9
    )
    columns = explained(scores)
    terms = [(degree, term) for own in scores for degree, term in products(own)]
    whole = sum(2.0 ** (1 - degree) for degree, _ in terms)
    near = sum(2.0 ** (1 - degree) * np.outer(term, term) for degree, term in terms) / whole
    assert columns @ columns.T == pytest.approx(near, abs=1e-9)


def test_what_other_days_cannot_tell_is_left():
    rng = np.random.default_rng(3)
    values, scores = rng.standard_normal(BLOCK), [rng.standard_normal((BLOCK, 2))]
    luck = np.empty((BLOCK, 0))
    assert (freed(values, np.arange(BLOCK), scores, luck) == values).all()  # one block is freed by no other
    assert (freed(values, 3 * BLOCK * np.arange(BLOCK), [], luck) == values).all()  # nothing is unknown
    assert (
        freed(np.zeros(60), np.arange(60), [rng.standard_normal((60, 2))], np.empty((60, 0))) == 0.0
    ).all()


def test_differences_of_freed_values_are_freed_differences():
    rng = np.random.default_rng(4)
    scores, luck = [rng.standard_normal((90, 4))], rng.standard_normal((90, 1))
    one, other = rng.standard_normal((2, 90))
    apart = freed(one, np.arange(90), scores, luck) - freed(other, np.arange(90), scores, luck)
    assert freed(one - other, np.arange(90), scores, luck) == pytest.approx(apart, abs=1e-12)


def test_of_thousands_of_days_parts_are_freed_by_themselves_and_none_is_left_out():
    rng = np.random.default_rng(5)
    days = np.arange(2010)
    z = rng.standard_normal((2010, 2))
    values = z[:, 0] ** 2 + 0.1 * rng.standard_normal(2010)
    left = freed(values, days, [z], np.empty((2010, 0)))
    first = freed(values[:1020], days[:1020], [z[:1020]], np.empty((1020, 0)))
    assert left[:1020] == pytest.approx(first)
    assert left[:1020].std() < 0.3 * values.std() and left[-10:].std() < 0.3 * values.std()


def test_points_that_break_beyond_a_threshold_of_two_quantities_keep_their_rate_and_are_known_sooner() -> (
    None
):
    """300 studies of 200 days: beyond the upper tenth of a sum of two of six unknowns nearly all points are lost."""
    rng = np.random.default_rng(6)
    days, truth = np.arange(200), 40.0 - 30.0 * stats.norm.sf(1.3)
    hits, widths, plain = 0, [], []
    for _ in range(300):
        z = rng.standard_normal((200, 6))
        beyond = (z[:, 0] + z[:, 1]) / np.sqrt(2.0) > 1.3
        values = 40.0 - 30.0 * beyond + 2.0 * z[:, 4] + 3.0 * rng.standard_normal(200)
        left = freed(values, days, [z[:, :4], z[:, 4:]], np.empty((200, 0)))
        fit = regressed(left, days)
        hits += abs(fit.mean.value - truth) <= fit.half()
        widths.append(fit.half())
        plain.append(regressed(values, days).half())
    # an interval of 95 %, within four standard errors of 300 repetitions
    assert 0.90 < hits / 300 < 1.0
    assert np.mean(widths) < 0.8 * np.mean(plain)


def test_where_nothing_hangs_on_robots_intervals_hold_and_are_hardly_wider() -> None:
    """300 studies of 100 days of noise, half of them skewed, with eight quantities that do nothing."""
    rng = np.random.default_rng(7)
    days, luck = np.arange(100), np.empty((100, 0))
    hits, wider = 0, []
    for number in range(300):
        values = rng.exponential(3.0, 100) - 3.0 if number % 2 else rng.standard_normal(100)
        fit = regressed(freed(values, days, [rng.standard_normal((100, 8))], luck), days)
        hits += abs(fit.mean.value) <= fit.half()
        wider.append(fit.half() / regressed(values, days).half())
    assert 0.90 < hits / 300 < 1.0
    assert np.mean(wider) < 1.15


def test_from_the_first_look_on_an_interval_holds_beside_luck() -> None:
    """400 studies of 40 days, each of them freed by 20 others, with points that hang on luck and on a threshold."""
    rng = np.random.default_rng(8)
    days, hits = np.arange(40), 0
    truth = 20.0 + 10.0 * stats.norm.sf(0.5)
    for _ in range(400):
        z, luck = rng.standard_normal((40, 4)), rng.standard_normal((40, 3))
        values = 20.0 + 10.0 * (z[:, 0] > 0.5) + luck.sum(axis=1) + rng.standard_normal(40)
        fit = regressed(freed(values, days, [z], luck), days, luck)
        hits += abs(fit.mean.value - truth) <= fit.half()
    assert 0.906 <= hits / 400 <= 0.994
