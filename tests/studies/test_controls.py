"""What is known of luck: of matches that are played in two ways, against binomial draws."""

from __future__ import annotations

import numpy as np
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.studies.controls import Known, fortunes, luckier
from simbot.studies.one_match import MatchRecord
from simbot.studies.regressed import regressed
from simbot.studies.sources import score_of
from simbot.studies.workers import play_day

TRIES, DAYS = 5, 40


def record(number, hits, tries, chance):
    return MatchRecord(
        10 * number,
        "full",
        {"total": float(hits)},
        fortune={"place": hits - tries * chance},
        risk={"place": tries * chance * (1.0 - chance)},
        chance={"place": chance},
    )


def both(rng, p, q, more=0):
    """The same tries with either chance; `more` of them with the first alone."""
    there, here = [], []
    for number in range(DAYS):
        u = rng.random(TRIES + more)
        there.append(record(number, int((u < p).sum()), TRIES + more, p))
        here.append(record(number, int((u[:TRIES] < q).sum()), TRIES, q))
    return there, here


@pytest.mark.parametrize(
    ("p", "q", "more"),
    [(0.9, 0.7, 0), (0.9, 0.9, 0), (0.9, 0.9, 3), (0.6, 0.8, 2), (1.0, 0.8, 1), (0.0, 0.3, 0)],
)
def test_the_variance_is_that_of_the_draws(p, q, more):
    rng = np.random.default_rng(2)
    found = np.concatenate([luckier(*both(rng, p, q, more)) for _ in range(200)])
    assert found.shape == (200 * DAYS, 1, 2)
    luck, sizes = found[:, 0, 0], found[:, 0, 1]
    assert np.ptp(sizes) < 1e-12
    if p == q and not more:
        assert not luck.any() and not sizes.any()  # the same tries with the same chance
        return
    # of 8000 draws mean and variance are known to some four standard errors
    assert abs(luck.mean()) < 4.0 * luck.std() / np.sqrt(len(luck))
    assert sizes[0] == pytest.approx(luck.var(), rel=0.1)


def test_what_befalls_one_way_alone_is_its_own():
    one, none = record(0, 3, 5, 0.5), MatchRecord(0, "full", {"total": 0.0})
    assert luckier([one], [none]).tolist() == [[[0.5, 1.25]]]
    assert luckier([none], [one]).tolist() == [[[-0.5, 1.25]]]
    assert luckier([none], [none]).shape == (1, 0, 2)


def test_a_change_that_is_rarely_seen_keeps_its_mean_and_its_interval():
    """Near the least that is taken as a control: chosen by how often it happened, its mean would be off.

    A place of 10 points succeeds with 0.9 or 0.837 in 5 tries of 40 matches: 12 of 200 come out otherwise, give or take
    3. Where fewer than 10 did and the control was left out for that, the change would seem too small.
    """
    rng = np.random.default_rng(9)
    p, q, fits = 0.837, 0.9, []
    for _ in range(600):
        there, here = both(rng, p, q)
        change = np.array([10.0 * (a.total - b.total) for a, b in zip(there, here, strict=True)])
        change += rng.standard_normal(DAYS)
        fits.append(regressed(change, np.arange(DAYS), luckier(there, here)))
    truth = 10.0 * TRIES * (p - q)
    means = np.array([fit.mean.value for fit in fits])
    assert all(fit.taken for fit in fits)
    assert abs(means.mean() - truth) < 4.0 * means.std() / np.sqrt(len(means))
    assert np.mean([abs(fit.mean.value - truth) <= fit.half() for fit in fits]) > 0.91
    seen = list(_by_what_happened(p, q))
    assert abs(np.mean(seen) - truth) > 4.0 * np.std(seen) / np.sqrt(len(seen))  # so this test can fail


def _by_what_happened(p, q):
    """The same change's mean where the control's size is what happened."""
    rng = np.random.default_rng(9)
    for _ in range(600):
        there, here = both(rng, p, q)
        change = np.array([10.0 * (a.total - b.total) for a, b in zip(there, here, strict=True)])
        change += rng.standard_normal(DAYS)
        yield regressed(change, np.arange(DAYS), luckier(there, here)[..., 0]).mean.value


def test_matches_tell_their_chances_and_what_was_drawn_of_the_robot(tmp_path):
    steps = [pick(), wait("0.3 s"), place(succeeds="70 % ± 10 %"), wait("0.3 s")]
    plan = a_plan(tmp_path, [{"repeat": 4, "steps": steps}])
    known = Known([plan], 1, ("full",))
    numbers = [0, 10, 20, 10]
    first, second, third = known.curves(numbers)
    rate = next(k for k, each in enumerate(known.unknowns) if each.rate)
    z = np.array([score_of(known.unknowns[rate], 1, number) for number in numbers])
    assert first[:, rate] == pytest.approx(z)
    assert second[:, rate] == pytest.approx((z**2 - 1.0) / np.sqrt(2.0))
    assert third[:, rate] == pytest.approx((z**3 - 3.0 * z) / np.sqrt(6.0))
    assert Known([], 1, ("full",)).curves([0, 10])[0].shape == (2, 0)
    (one,) = play_day(plan, 1, [(10, "full")])
    (name,) = (name for name, chance in one.chance.items() if 0.0 < chance < 1.0)
    assert one.chance[name] == pytest.approx(0.7 + 0.05 * z[1], abs=1e-9)
    assert fortunes([one], [name])[0, 0, 1] == pytest.approx(4 * one.chance[name] * (1.0 - one.chance[name]))
