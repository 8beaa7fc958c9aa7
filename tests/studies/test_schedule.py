"""Which matches are played: nearly one a day, batteries in their shares, and the same ones however many."""

from collections import Counter

import numpy as np
import pytest

from simbot.studies.schedule import LEAST_DAYS, looks_until, matches_in, next_look, schedule


def days(matches):
    return [number // 10 for number, _ in matches]


@pytest.mark.parametrize(
    "states", [("a",), ("a", "b"), ("a", "a", "a", "b", "b", "b", "b", "b", "c", "c"), tuple("abc")]
)
def test_a_match_is_played_once_and_has_the_battery_of_its_number(states):
    matches = schedule(states, 300)
    numbers = [number for number, _ in matches]
    assert len(set(numbers)) == 300 and days(matches) == sorted(days(matches))
    assert all(state == states[number % len(states)] for number, state in matches)
    for state, times in Counter(states).items():  # never a match off its share
        had = np.cumsum([own == state for _, own in matches])
        assert np.abs(had - np.arange(1, 301) * times / len(states)).max() <= 1.0
    assert schedule(states, 120) == matches[:120]


def test_ten_days_and_every_fortieth_are_played_twice():
    counts = Counter(days(schedule(("a",), 500)))
    assert {day for day, times in counts.items() if times == 2} == {*range(10), *range(40, max(counts), 40)}
    for until in (5, 10, 11, 20, 21, 40, 41, 95):
        assert matches_in(until) == sum(times for day, times in counts.items() if day < until)


def test_looks_come_ever_more_seldom():
    assert next_look(0) == LEAST_DAYS and looks_until(LEAST_DAYS - 1) == []
    looks = looks_until(2000)
    steps = np.diff(looks)
    assert (steps >= 20).all() and (steps <= np.maximum(20, np.ceil(0.1 * np.array(looks[:-1])) + 1)).all()


def test_one_match_of_each_day_is_known_soonest_where_days_differ():
    # variance of a mean over n matches of each of N/n days, b^2/(N/n) + w^2/N, at the same time N (1 + c/n): Cochran's
    # optimum w/b sqrt(c), here by trying; with a day that costs 3 % of a match it is 1 down to b = w/8
    def cost(n, w, b, c=0.03):
        return (n * b**2 + w**2) * (1.0 + c / n)

    for b in (1.0, 0.4, 0.13):
        assert min(range(1, 11), key=lambda n: cost(n, 1.0, b)) == 1
    best = min(cost(n, 1.0, 0.0) for n in range(1, 11))
    assert cost(1, 1.0, 0.0) / best < 1.03  # and where days do not differ at all it costs less than 3 %
