"""Timers that give most points, and what chance makes of a set of timers."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, log, pi, sqrt

import numpy as np
import pytest
from scipy import optimize, stats
from stopwatches import a_plan, pick, place, wait

from simbot.studies.balanced import best_wait
from simbot.studies.chance import Chances
from simbot.studies.knobs import knobs_of, with_timers
from simbot.studies.timed_matches import NEVER_US, play_timed
from simbot.studies.tune import tune

SPREAD = {
    "hand": {"kind": "measured", "time": "0.50 s ± 0.10 s"},
    "other": {"kind": "measured", "time": "0.2 s"},
}


def silent(done, total):
    pass


def grid(distribution, count=200_001):
    """Quantiles that stand for a whole distribution."""
    return distribution.ppf((np.arange(count) + 0.5) / count)


# A wait of t costs c t + K P(D > t): least where c = K f(t), worked out here for three distributions of D.


def test_normal_moves_have_their_best_wait_where_the_density_is_the_ratio_of_the_costs():
    mean, sd, second, failure = 0.5, 0.05, 1.2, 1.0
    expected = mean + sd * sqrt(2 * log(failure / (second * sd * sqrt(2 * pi))))
    assert best_wait(grid(stats.norm(mean, sd)), second, failure) == pytest.approx(expected, abs=5e-4)


def test_exponential_moves_have_theirs_at_the_logarithm_of_the_ratio():
    assert best_wait(grid(stats.expon()), 0.05, 1.0) == pytest.approx(log(20.0), rel=2e-3)


@pytest.mark.parametrize(("second", "end"), [(0.9, 1.0), (1.1, 0.0)])
def test_of_moves_that_are_evenly_spread_all_or_none_are_waited_for(second, end):
    assert best_wait(grid(stats.uniform()), second, 1.0) == pytest.approx(end, abs=1e-5)


def test_a_wait_that_costs_nothing_is_as_long_as_any_move():
    demands = np.array([0.2, 0.5, np.inf, 0.3])
    assert best_wait(demands, 0.0, 4.0) == 0.5


def cycles(folder, hold="560 ms", **more):
    steps = [
        {
            "repeat": "until period_end",
            "steps": [pick(), wait(hold), place(), wait("0.7 s", **{"for": "stagger"})],
        }
    ]
    return a_plan(folder, steps, robot={"mechanisms": SPREAD}, **more)


def test_the_balanced_timer_is_the_one_of_renewal_and_of_simulation(tmp_path):
    """Points a second are F(t)/(t + rest), most where f(t) (t + rest) = F(t) (renewal reward theorem, from memory)."""
    plan = cycles(tmp_path)
    result = tune(plan, "balanced", chances=Chances(40, 1, 1))
    (timer,) = result.timers
    move = stats.norm(0.5, 0.05)

    def rate(t):
        return move.cdf(t) / (t + 0.7)

    best = optimize.minimize_scalar(lambda t: -rate(t), bounds=(0.4, 0.8), method="bounded").x
    assert rate(timer.suggested_us * 1e-6) > 0.995 * rate(best)
    assert abs(timer.suggested_us * 1e-6 - best) < 0.05
    assert timer.cost is not None and timer.cost.failure == pytest.approx(1.0, rel=0.15)
    assert "a failure costs" in timer.reason and timer.enough_tuned.value == pytest.approx(
        float(move.cdf(timer.suggested_us * 1e-6)), abs=0.03
    )
    knobs = knobs_of(plan)
    values = [round(t * 1000) * 1000 for t in np.arange(0.46, 0.76, 0.03)]
    plans = [with_timers(plan, knobs, [value]) for value in (*values, timer.suggested_us)]
    played = play_timed(plans, [knobs] * len(plans), 9, ("full",), range(30), 1, silent)
    *others, own = (np.mean([match.record.total for match in each]) for each in played)
    assert own > 0.99 * max(others)


def test_a_set_without_spread_is_the_safe_one_without_its_guard(tmp_path):
    steps = [
        {
            "repeat": "until period_end",
            "steps": [pick(), wait("400 ms"), place(), wait("0.7 s", **{"for": "stagger"})],
        }
    ]
    (timer,) = tune(a_plan(tmp_path, steps), "balanced", chances=Chances(3, 1, 1)).timers
    assert timer.suggested_us == 200_000


def test_what_holds_by_chance_is_counted_against_the_normal_distribution(tmp_path):
    """560 ms are long enough for 0.5 s +- 0.1 s (k = 2) in 88.5 % of the picks."""
    result = tune(cycles(tmp_path), chances=Chances(60, 1, 1))
    (timer,) = result.timers
    low, high = timer.enough_now.interval
    assert low <= stats.norm.cdf(1.2) <= high and high - low < 0.03
    chance = result.chance
    assert chance.before["full"].held.value == 0.0  # some eighty picks in every match
    assert chance.gain.value == pytest.approx(
        chance.after["full"].points.value - chance.before["full"].points.value
    )


def test_a_tuned_set_keeps_what_it_promises_in_ten_thousand_matches(tmp_path):
    """The share of executions that it says lies in the interval that ten thousand others give."""
    steps = [pick(), wait("560 ms"), place(), wait("0.7 s", **{"for": "stagger"})]
    plan = a_plan(tmp_path, steps, lasts="2 s", robot={"mechanisms": SPREAD})
    result = tune(plan, chances=Chances(400, 1, 1))
    promised = result.chance.after["full"].held
    knobs = knobs_of(plan)
    tuned = with_timers(plan, knobs, [timer.suggested_us for timer in result.timers])
    (played,) = play_timed([tuned], [knobs], 2, ("full",), range(10_000), 2, silent)
    share = sum(match.held for match in played) / len(played)
    assert promised.interval[0] <= share <= promised.interval[1]
    exact = float(stats.norm.cdf((result.timers[0].suggested_us * 1e-6 - 0.5) / 0.05))
    assert abs(share - exact) < 4 * sqrt(exact * (1 - exact) / 10_000)
    assert sum(match.record.clean for match in played) == sum(match.held for match in played)


def test_a_pick_that_never_holds_asks_for_more_than_any_wait(tmp_path):
    never = {"hand": {"kind": "measured", "time": "0.5 s"}, "other": SPREAD["other"]}
    plan = a_plan(
        tmp_path, [pick(), wait("0.3 s"), place(), wait("0.7 s")], lasts="3 s", robot={"mechanisms": never}
    )
    knobs = knobs_of(plan)
    (played,) = play_timed([plan], [knobs], 1, ("full",), range(2), 1, silent)
    for match in played:
        assert not match.held
        assert [need for _, need in match.demands[0]] == [500_000]
        assert all(need < NEVER_US for each in match.demands for _, need in each)


def test_the_same_seed_gives_the_same_set_whatever_the_workers(tmp_path):
    one, two = (tune(cycles(tmp_path), "balanced", chances=Chances(6, 4, workers)) for workers in (1, 2))
    assert one.timers == two.timers and replace(one, timers=()) == replace(two, timers=())


def test_a_timer_of_a_routine_that_is_given_words_is_one_number(tmp_path):
    routine = {"with": ["where"], "steps": [{"move": {"hand": "$where"}}, wait("300 ms")]}
    given = {"with": ["where", "pause"], "steps": [{"move": {"hand": "$where"}}, wait("$pause")]}

    def go(where, **more):
        return {"run": "go", "with": {"where": where, **more}}

    plan = a_plan(tmp_path, [go("shut"), go("open"), go("shut")], lasts="5 s", routines={"go": routine})
    (knob,) = knobs_of(plan)
    assert len(knob.waits) == 2 and knob.now_us == 300_000
    (timer,) = tune(plan).timers
    assert timer.times == 3 and timer.suggested_us == ceil((200 + 50) / 10) * 10_000
    steps = [go("shut", pause="300 ms"), go("open", pause="300 ms")]
    plan = a_plan(tmp_path, steps, lasts="5 s", routines={"go": given})
    assert len(knobs_of(plan)) == 2  # two numbers in the file
