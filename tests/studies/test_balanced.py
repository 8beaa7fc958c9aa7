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


# Where lateness costs by the second the best wait is the critical fractile: P(D <= t) = cu/(cu + co). Two published
# values: costs .50/.15, mean 11.73, sd 4.74 (course notes, coursehero.com/file/9056916; the costs and 15.24, with z
# rounded to .74, from memory: z is .7363, so 15.22) and the fractile .8 of N(150, 25) (enotes.com, question 319726:
# 171; here 171.04).


@pytest.mark.parametrize(
    ("mean", "sd", "under", "over", "published", "print_precision"),
    [(11.73, 4.74, 0.50, 0.15, 15.2201, 5e-4), (150.0, 25.0, 4.0, 1.0, 171.041, 5e-3)],
)
def test_the_critical_fractile_where_lateness_costs_by_the_second(
    mean, sd, under, over, published, print_precision
):
    demands = grid(stats.norm(mean, sd), 400_001)
    assert best_wait(demands, over, 0.0, under + over) == pytest.approx(published, abs=print_precision)
    assert (demands <= published).mean() == pytest.approx(under / (under + over), abs=1e-4)


def test_a_fixed_cost_of_failing_has_another_optimum_than_the_fractile():
    """Of N(150, 25) with a second at 1: a failure at 500 is best met where 500 f(t) = 1; one at 5 is never worth it."""
    demands = grid(stats.norm(150.0, 25.0))
    fixed = best_wait(demands, 1.0, 500.0)
    assert 500.0 * stats.norm(150.0, 25.0).pdf(fixed) == pytest.approx(1.0, rel=5e-3)
    assert fixed > 171.041 + 20.0
    assert best_wait(demands, 1.0, 5.0) == demands.min()  # 5 f(150) is below 1


@pytest.mark.parametrize("loss", [(2.0, 0.00849), (0.0, 0.39894)])
def test_the_loss_function_is_what_lateness_costs(loss):
    """E(D - t)+ of a standard normal: L(2) = .0085 (Matching Supply with Demand, at anyflip.com/cicx/bevj)."""
    z, expected = loss
    demands = grid(stats.norm(), 400_001)
    assert np.maximum(demands - z, 0.0).mean() == pytest.approx(expected, abs=2e-5)
    over = 1.0 - stats.norm.cdf(z)  # the cost at which z is the best wait
    assert best_wait(demands, float(over), 0.0, 1.0) == pytest.approx(z, abs=2e-3)


def test_executions_that_no_wait_would_do_change_nothing():
    """They cost the same whatever it waits; lateness cannot be counted for them."""
    demands = grid(stats.norm(10.0, 1.0), 10_001)
    with_never = np.concatenate((demands, np.full(2_000, np.inf)))
    share = len(demands) / len(with_never)
    assert best_wait(with_never, 0.2 * share, 0.0, 1.0) == best_wait(demands, 0.2, 0.0, 1.0)


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
    assert sum(match.record.losses.clean for match in played) == sum(match.held for match in played)


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
