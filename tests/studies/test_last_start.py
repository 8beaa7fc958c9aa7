"""One more cycle or the endgame, against a case of common practice (no source)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from stopwatches import a_plan, pick, place, wait

from simbot.report.ended import clock_lines
from simbot.studies.asked import Asked
from simbot.studies.last_start import Gain, begun, last_start, own_time_us
from simbot.studies.ledger import Ledger
from simbot.studies.one_match import MatchRecord

ASKED = Asked(80, 3, ("full",))
POSE = ["1 m", "1 m", "0 deg"]


def silent(done, total):
    pass


def climb_or_cycle(folder, cost, points=10):
    """Cycles of 12 s on average for some points each; an endgame that takes `cost` seconds for 25."""
    places = {
        "box": {"pose": POSE, "takes": "ball", "points": points},
        "bar": {"pose": POSE, "takes": "ball", "points": 25, "room": 1},
    }
    cycle = [wait("11.3 s ± 5 s", **{"for": "search"}), pick(), wait("0.3 s"), place(), wait("0.4 s")]
    up = {"place": {"into": "bar", "by": {"other": "open"}, "else": "dropped", "succeeds": "60 %"}}
    climb = [pick(by={"other": "shut"}), wait(f"{cost} s"), up, wait("0.2 s")]
    return a_plan(
        folder,
        [{"repeat": "until period_end", "steps": cycle}],
        "120 s",
        {"places": places},
        endgame={"begin": "40 s before_end", "steps": climb},
    )


def clock(plan):
    with Ledger("compare", [plan], ASKED) as ledger:
        return last_start(ledger, plan, ASKED, 12.0, silent)


def test_the_last_safe_start_is_its_own_time_and_a_guard(tmp_path):
    plan = climb_or_cycle(tmp_path, 18)
    assert own_time_us(plan, ("full",)) == 18_000_000
    assert own_time_us(begun(plan, 5_000_000), ("full",)) == 18_000_000  # it had no time for it
    found = clock(plan)
    assert found.safe_us == 18_000_000 + plan.guard_us and found.begins_us == 40_000_000


@pytest.mark.parametrize(("cost", "points", "rate", "pays"), [
    # a climb of 25 against 10 to 15 a cycle of 12 s pays below 20 to 30 s at 100 %, below 14 to 21 s at 70 %
    (26, 10, 1.0, True), (35, 10, 1.0, False), (17, 15, 1.0, True), (24, 15, 1.0, False),
    (17, 10, 0.7, True), (26, 10, 0.7, False), (11, 15, 0.7, True), (17, 15, 0.7, False),
])  # fmt: skip
def test_a_climb_pays_while_its_cost_is_below_what_cycles_bring(tmp_path, cost, points, rate, pays):
    found = clock(climb_or_cycle(tmp_path, cost, points))
    row = next(row for row in found.rows if row.rate == rate)
    assert (row.gain_at_safe.value > 0.0) == pays
    # how often it has to come off: the points of the cycles that fit in its cost over 25; every cycle that is cut
    # short by it would have ended half a cycle later on average either way
    assert found.needed == pytest.approx(points * cost / 12 / 25, abs=0.17)
    if found.needed <= 1.0:
        low, high = found.needed_interval
        assert low <= found.needed <= high
    else:
        assert found.needed_interval is None or found.needed_interval[1] == 1.0
    if pays:
        assert row.latest_us == found.safe_us  # later it is not through, and earns nothing


def test_the_report(tmp_path):
    lines = list(clock_lines((clock(climb_or_cycle(tmp_path, 18)),)))
    assert max(map(len, lines)) <= 80
    assert "the last safe start of the endgame is with 18.1 s left" in " ".join(lines)
    assert " ".join(lines).count(" never ") == 1 and " not surely " in " ".join(lines)
    assert "of 100 times (" in " ".join(lines[:3])


def record(number, points, late=0.0, variance=0.0):
    return MatchRecord(
        10 * number,
        "full",
        {"total": points},
        fortune={"late": late},
        risk={"late": variance},
        chance={"late": 0.5},
    )


def test_the_intervals_hold_what_they_say():
    """400 clocks of 24 matches: cycling on brings 30 points and luck, the endgame 50 where it comes off and else 10."""
    rng = np.random.default_rng(12)
    gains = needed = 0
    widths, plain = [], []
    for _ in range(400):
        level, late = rng.normal(0.0, 5.0, 24), rng.binomial(3, 0.5, 24) - 1.5
        own = rng.normal(0.0, 4.0, (3, 24))
        cycling = 30.0 + level + 4.0 * late + own[0]
        does, fails = 50.0 + level + own[1], 10.0 + level + own[2]
        gain = Gain(
            [record(k, points) for k, points in enumerate(does)],
            [record(k, points) for k, points in enumerate(fails)],
            [record(k, points, late[k], 0.75) for k, points in enumerate(cycling)],
        )
        fit = gain.at(0.7)
        gains += abs(fit.mean.value - 8.0) <= fit.half()
        widths.append(fit.half())
        plain.append(stats.t.ppf(0.975, 23) * stats.sem(0.7 * does + 0.3 * fails - cycling))
        low, high = gain.interval_of(gain.needed())
        needed += low - 0.005 <= 0.5 <= high + 0.005
        assert low <= gain.needed() <= high
    # an interval of 95 %, give or take four standard errors of 400 repetitions
    assert 0.906 <= gains / 400 <= 0.994 and 0.906 <= needed / 400 <= 0.999
    assert np.mean(widths) < 0.9 * np.mean(plain)  # the luck of the last cycles is known


def test_an_endgame_that_surely_pays_or_never_does_has_no_doubtful_rate():
    def gain(does, fails):
        return Gain(*([record(k, points + k % 2) for k in range(24)] for points in (does, fails, 30.0)))

    assert (gain(90.0, 40.0).needed(), gain(90.0, 40.0).interval_of(0.0)) == (0.0, None)
    assert gain(20.0, 10.0).needed() == 2.0 and gain(20.0, 10.0).interval_of(2.0) is None
    assert gain(10.0, 10.0).needed() is None


def test_a_plan_without_endgame_has_no_clock(tmp_path):
    plan = a_plan(tmp_path, [pick(), wait("0.3 s"), place(), wait("0.3 s")])
    assert clock(plan) is None
