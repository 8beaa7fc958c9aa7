"""Many plans: the close ones are played most, and the answer stays the same for any number of workers."""

from __future__ import annotations

import json

import numpy as np
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.report.compare_document import compare_document
from simbot.studies.allocation import shares, starving
from simbot.studies.asked import Asked
from simbot.studies.compare import compare

ASKED = Asked(600, 3, ("full",))


def silent(done, total):
    pass


def plan_with(folder, percent, by="hand"):
    """Another mechanism has other luck."""
    folder.mkdir(exist_ok=True)
    sometimes = pick(by={by: "shut"}, succeeds="70 %")
    grips = [sometimes, wait("0.3 s"), place(by={by: "open"}, succeeds=f"{percent} %")]
    steps = [*grips, wait("0.3 s")]
    return a_plan(folder, [{"repeat": 8, "steps": steps}], name=f"sure {percent}")


def test_shares_follow_the_published_theorem():
    # Chen, Lin, Yucesan and Chick (2000), theorem 1, worked out here: means 5, 4, 3, 1 and sd 1 give rivals
    # 1 : 1/4 : 1/16 and the best sqrt(1 + 1/16 + 1/256)
    rivals = np.array([1.0, 1 / 4, 1 / 16])
    best = np.sqrt((rivals**2).sum())
    expected = np.array([best, *rivals]) / (best + rivals.sum())
    assert shares([5.0, 4.0, 3.0, 1.0], [1.0] * 4) == pytest.approx(expected)
    # twice the spread of the second counts like half the distance: 4, and it enters the best by (4 / 2)^2
    uneven = np.array([np.sqrt((4 / 2) ** 2 + (1 / 4) ** 2 + (1 / 16) ** 2), 4.0, 1 / 4, 1 / 16])
    assert shares([5.0, 4.0, 3.0, 1.0], [1.0, 2.0, 1.0, 1.0]) == pytest.approx(uneven / uneven.sum())
    assert sum(shares([1.0, 1.0, 1.0], [0.0, 0.0, 0.0])) == pytest.approx(1.0)


def test_two_plans_are_played_alike():
    # with two, N_b = s_b N_i / s_i: in proportion to their spreads
    assert shares([3.0, 1.0], [2.0, 1.0]) == pytest.approx([2 / 3, 1 / 3])


def test_who_lies_furthest_behind_comes_first():
    assert starving([10, 10, 10], [0.5, 0.4, 0.1], [0, 1, 2], 0) == [0, 1, 2]
    assert starving([20, 5, 5], [0.5, 0.4, 0.1], [0, 1, 2], 0) == [1, 2, 0]


def test_the_shares_find_the_best_more_often_than_equal_ones():
    # ten designs, normal, means 0 to 9 and sd 6, smallest wins there (their example 1): here the greatest
    rng = np.random.default_rng(7)
    means, budget, first = np.arange(10.0), 300, 10
    right = np.zeros(2)
    for _ in range(400):
        draws = means[:, None] + 6.0 * rng.standard_normal((10, budget))
        right[0] += draws[:, : budget // 10].mean(axis=1).argmax() == 9
        have = np.full(10, first)
        while have.sum() < budget:
            own = [draws[k, : have[k]] for k in range(10)]
            wanted = shares([one.mean() for one in own], [one.std(ddof=1) for one in own])
            have[starving(have, wanted, range(10), 5)[0]] += 5
        right[1] += max(range(10), key=lambda k: draws[k, : have[k]].mean()) == 9
    assert right[1] > right[0] + 20


def test_close_plans_are_played_more_than_hopeless_ones(tmp_path):
    grips = {20: "hand", 77: "other", 80: "hand", 30: "other"}
    plans = [plan_with(tmp_path / str(percent), percent, by) for percent, by in grips.items()]
    result = compare(plans, ASKED, silent)
    runs = [len(own) for own in result.records]
    assert result.best == 2 and result.stopped
    assert runs[0] == runs[3] == 50 < runs[1] <= runs[2]
    two = compare(plans, Asked(600, 3, ("full",), workers=2), silent)
    assert json.dumps(compare_document(two)) == json.dumps(compare_document(result))
