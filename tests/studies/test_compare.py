"""Plans under the same luck: what they share cancels, and the rule that stops a study keeps its error rate."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from io import StringIO
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from scipy import stats
from stopwatches import a_plan, pick, place, wait

from simbot.report.compare_document import compare_document
from simbot.report.compared import print_compared
from simbot.report.document import schema_text
from simbot.report.match_document import match_document
from simbot.report.tidy import compare_rows
from simbot.scenario.model import Defender, Partner, SenseStep, SequenceStep
from simbot.scenario.parameters import Quantity
from simbot.studies.asked import Asked
from simbot.studies.chaos import hermite
from simbot.studies.compare import compare, told_apart
from simbot.studies.crossed import freed, weights_by
from simbot.studies.match import study
from simbot.studies.moved import moved_most
from simbot.studies.one_match import MATCHES_A_DAY, MatchRecord
from simbot.studies.paired import ALPHA, Pairing, _wins_day, level_of, paired, play_off
from simbot.studies.schedule import schedule
from simbot.studies.sources import Unknown, differs_by_day, exact
from simbot.studies.statistics import Figure

ASKED = Asked(200, 3, ("full",))


def silent(done, total):
    pass


def plan_with(folder: Path, percent: int, rounds: int = 8, name: str = "paper", picks: str = "100 %"):
    """Where picks succeed by chance too, points are no straight line of hits and misses."""
    folder.mkdir(exist_ok=True)
    steps = [pick(succeeds=picks), wait("0.3 s"), place(succeeds=f"{percent} %"), wait("0.3 s")]
    return a_plan(folder, [{"repeat": rounds, "steps": steps}], name=name)


def test_what_two_plans_share_cancels(tmp_path):
    same = compare([plan_with(tmp_path / "a", 70), plan_with(tmp_path / "b", 70)], ASKED, silent)
    apart = same.pairs[0].difference
    assert apart.mean.value == 0.0 and apart.ties == 1.0 and not apart.sure and same.runs == 200
    # 8 places at 80 and at 70 %: 0.8 points apart; under the same luck the better one never has less
    better = compare([plan_with(tmp_path / "a", 80), plan_with(tmp_path / "b", 70)], ASKED, silent)
    apart = better.pairs[0].difference
    assert apart.sure and better.runs < 200
    assert apart.first_wins.value + apart.ties == 1.0
    # all luck there is is known, so that the mean is too, of either plan
    assert apart.mean.interval == pytest.approx((0.8, 0.8), abs=1e-9)
    assert [side.points.mean.value for side in better.sides] == pytest.approx([6.4, 5.6], abs=1e-9)


def test_the_sequential_rule_errs_as_seldom_as_it_says():
    assert sum(level_of(look) for look in range(1, 10_000)) < ALPHA
    rng = np.random.default_rng(5)
    numbers = np.array([number for number, _ in schedule(("full",), 400)])
    days = numbers // MATCHES_A_DAY
    wrong = naive = found = 0
    for _ in range(400):
        luck = rng.standard_normal((400, 4))
        noise = 1.0 * rng.standard_normal(400)[days] + 3.0 * rng.standard_normal(400)
        apart = noise + luck.sum(axis=1)
        wrong += Pairing(apart, numbers, luck).settled_at() is not None
        found += Pairing(apart + 0.9, numbers, luck).settled_at() is not None
        looks = [noise[days < count] for count in range(40, 360, 20)]
        naive += any(abs(each.mean()) > 2.0 * each.std(ddof=1) / np.sqrt(len(each)) for each in looks)
    # 400 studies without a difference: at most 5 % (and four standard errors of that) may be settled
    assert wrong / 400 < ALPHA + 4 * np.sqrt(ALPHA * (1 - ALPHA) / 400)
    assert naive / 400 > 0.12  # looking as often without such a rule
    assert found / 400 > 0.9


def test_the_better_plan_is_told_by_the_same_numbers_as_the_difference(tmp_path):
    plans = [plan_with(tmp_path / "a", 62, picks="70 %"), plan_with(tmp_path / "b", 65, picks="70 %")]
    result = compare(plans, Asked(90, 3, ("full",)), silent)
    first, second = (side.points.mean.value for side in result.sides)
    assert first - second == pytest.approx(result.pairs[0].difference.mean.value, abs=1e-9)
    assert result.best == (1 if result.pairs[0].difference.mean.value < 0.0 else 0)
    # 8 rounds of which 0.7 * 0.62 and 0.7 * 0.65 bring a point
    low, high = result.pairs[0].difference.mean.interval
    assert low < 8 * 0.7 * (0.62 - 0.65) < high


def test_documents_follow_their_schemas(tmp_path):
    plans = [plan_with(tmp_path / "a", 80, name="one"), plan_with(tmp_path / "b", 70, 6, name="two")]
    result = compare(plans, ASKED, silent)
    document = json.loads(json.dumps(compare_document(result)))
    jsonschema.Draft202012Validator(json.loads(schema_text("compare"))).validate(document)
    other = compare(plans, Asked(200, 3, ("full",), workers=2), silent)
    assert json.loads(json.dumps(compare_document(other))) == document
    match = json.loads(json.dumps(match_document(study(plans[0], ASKED, silent))))
    jsonschema.Draft202012Validator(json.loads(schema_text("match"))).validate(match)
    assert document["plans"][0]["points"]["mean"] == pytest.approx(match["points"]["mean"], abs=0.5)


def test_the_report_answers_first_and_fits_the_screen(tmp_path, capsys):
    import sys

    plans = [plan_with(tmp_path / "a", 80, name="one"), plan_with(tmp_path / "b", 60, name="two")]
    print_compared(compare(plans, ASKED, silent), sys.stdout)
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("one scores more than two: ") and max(map(len, lines)) <= 80


def test_asked_for_a_half_width_it_goes_on_until_the_difference_is_known_so_well(tmp_path):
    plans = [plan_with(tmp_path / "a", 80, picks="60 %"), plan_with(tmp_path / "b", 60, picks="60 %")]
    soon = compare(plans, Asked(2000, 3, ("full",)), silent)
    narrow = compare(plans, Asked(2000, 3, ("full",), until_halfwidth=0.06), silent)
    widths = [one.pairs[0].difference.mean.interval for one in (soon, narrow)]
    assert (widths[0][1] - widths[0][0]) / 2 > 0.06 >= (widths[1][1] - widths[1][0]) / 2
    assert soon.runs < narrow.runs < 2000
    assert narrow.records[0][: soon.runs] == soon.records[0]  # the same matches, and more
    assert widths[1][0] < 8 * 0.6 * 0.2 < widths[1][1]


def test_a_difference_of_few_matches_is_called_a_guess(tmp_path, capsys):
    plans = [plan_with(tmp_path / "a", 99, name="one"), plan_with(tmp_path / "b", 98, name="two")]
    result = compare(plans, Asked(51, 3, ("full",)), silent)
    apart = result.pairs[0].difference
    for seldom in (1, 9, 10, 0):
        tally = {0.0: 51 - seldom, 3.0: seldom} if seldom else {0.0: 51}
        pair = replace(result.pairs[0], difference=replace(apart, tally=tally))
        print_compared(replace(result, pairs=(pair,)), sys.stdout)
        told = f"Only {seldom} of these 51 matches differ at all: "
        assert (told in " ".join(capsys.readouterr().out.split())) == (0 < seldom < 10)


def test_a_point_that_is_known_already_is_not_promised(tmp_path, capsys):
    plans = [plan_with(tmp_path / "a", 80, picks="60 %"), plan_with(tmp_path / "b", 60, picks="60 %")]
    result = compare(plans, ASKED, silent)
    (pair,) = result.pairs
    for half, told in ((0.9, False), (1.1, True)):
        mean = Figure(1.0, (1.0 - half, 1.0 + half))
        wider = replace(pair, difference=replace(pair.difference, mean=mean, matches_for_a_point=60))
        print_compared(replace(result, pairs=(wider,)), sys.stdout)
        assert ("An interval of ± 1 point takes about 60" in capsys.readouterr().out) == told


def test_no_width_is_too_narrow_to_be_asked_for(tmp_path):
    plans = [plan_with(tmp_path / "a", 80, picks="60 %"), plan_with(tmp_path / "b", 60, picks="60 %")]
    assert compare(plans, Asked(90, 3, ("full",), until_halfwidth=1e-200), silent).runs == 90


class Paper:
    """A ledger of two plans whose matches are drawn, a day's robot worth as much as its luck."""

    def __init__(self, seed):
        rng = np.random.default_rng(seed)
        self.points = [rng.normal(shift, 3.0, 500) + rng.normal(0.0, 3.0, 500) for shift in (21.0, 20.0)]

    def play_each(self, tasks):
        return [
            [MatchRecord(n, state, {"total": self.points[plan][n // MATCHES_A_DAY]}) for n, state in matches]
            for plan, matches in tasks
        ]

    def ahead(self, tasks):
        pass

    def expect(self, more):
        pass


def test_an_interval_that_was_waited_for_holds_and_is_not_waited_for_in_vain():
    """200 studies to a half-width of 1 between single matches with sd 6: (1.96 6)^2 = 138 days, were sd known.

    That days are looked at until they seem enough costs little where they are dozens (sequential intervals of fixed
    width: Chow and Robbins, Annals of Mathematical Statistics 36, 1965, 457-462, from memory).
    """
    hits, days = 0, []
    for seed in range(200):
        paper, records = Paper(seed), [[], []]
        asked = Asked(480, 1, ("full",), until_halfwidth=1.0)
        play_off(paper, [0, 1], asked, records, None)
        fit = paired(*records).fit()
        days.append(len(fit.days))
        assert fit.half() <= 1.0
        hits += abs(fit.mean.value - 1.0) <= fit.half()
    assert hits / 200 >= 0.95 - 3.0 * np.sqrt(0.95 * 0.05 / 200)
    assert 0.95 * 138.0 < np.mean(days) < 1.05 * 138.0  # looked at every tenth more, it would be 8 % more


@pytest.mark.parametrize(("scale", "told"), [
    (1.0, "is 0.2 points a match ahead of two (0.1 behind to 0.5 ahead with 95 % confidence), and wins"),
    (0.1, "is 0.02 points a match ahead of two (0.01 behind to 0.05 ahead with 95 % confidence), and wins"),
    (0.01, "is 0.002 points a match ahead of two (0.001 behind to 0.005 ahead with 95 % confidence), and"),
    (1e-4, "is less than 0.001 points a match ahead of two (0.000 behind to 0.000 ahead"),
])  # fmt: skip
def test_what_is_not_equal_is_never_0_points_apart(scale, told, tmp_path):
    plans = [plan_with(tmp_path / name, 70, name=name) for name in ("one", "two")]
    result = compare(plans, Asked(60, 3, ("full",)), silent)
    apart = replace(
        result.pairs[0].difference,
        mean=Figure(0.2 * scale, (-0.1 * scale, 0.5 * scale)),
        ties=0.9,
        first_wins=Figure(0.1, None),
    )
    text = StringIO()
    print_compared(replace(result, pairs=(replace(result.pairs[0], difference=apart),), best=0), text)
    said = " ".join(text.getvalue().split())
    assert said.startswith("Too close to say: one ") and told in said
    assert "+0.0 " not in said and "0.0 points" not in said
    # the same from the other side
    turned = replace(apart, mean=Figure(-apart.mean.value, (-0.5 * scale, 0.1 * scale)))
    text = StringIO()
    print_compared(replace(result, pairs=(replace(result.pairs[0], difference=turned),), best=1), text)
    assert told.replace("of two", "of one") in " ".join(text.getvalue().split())


def test_equal_plans_are_equal_and_nothing_more(tmp_path):
    plans = [plan_with(tmp_path / name, 70, name=name) for name in ("one", "two")]
    text = StringIO()
    print_compared(compare(plans, Asked(60, 3, ("full",)), silent), text)
    said = " ".join(text.getvalue().split())
    assert said.startswith("one and two are equal: they score the same in each of 60 matches.")
    assert "one less two: 0, in every match." in said and "To settle" not in said and "± 1 point" not in said


def test_what_moves_a_difference_most_is_named_where_something_surely_does():
    rng = np.random.default_rng(4)
    unknowns = [Unknown((name,), name, False, False) for name in "abcdefghij"]
    days = np.arange(60)
    named = inside = 0
    for _ in range(400):
        z, noise = rng.standard_normal((60, 10)), 3.0 * rng.standard_normal(60)
        curves = hermite(z, 3)[1:]
        named += moved_most(unknowns, curves, noise, days) is not None
        found = moved_most(unknowns, curves, noise + 4.0 * z[:, 2] - z[:, 5], days)
        assert found.unknown.text == "c"
        low, high = found.interval
        inside += low < (8.0 if found.upper else -8.0) < high
    assert named / 400 < 0.05 + 4 * np.sqrt(0.05 * 0.95 / 400)
    # of two ends the one that looks farther is told, so that the interval is a little too narrow
    assert inside / 400 > 0.88
    # what breaks in the farthest tenth alone is a threshold, and found as one
    far = moved_most(unknowns, curves, noise - 40.0 * (z[:, 7] > 1.28), days)
    assert far.unknown.text == "h" and far.upper and far.points < -20.0


def test_a_comparison_says_what_it_rests_on_most(tmp_path):
    """A place that succeeds 70 % ± 20 % in one plan only: 8 of them, so that at an end 20 % bring 1.6 points."""
    plans = []
    for name, spread in (("one", " ± 20 %"), ("two", "")):
        (tmp_path / name).mkdir()
        steps = [pick(), wait("0.3 s"), place(succeeds=f"70 %{spread}"), wait("0.3 s")]
        plans.append(a_plan(tmp_path / name, [{"repeat": 8, "steps": steps}], name=name))
    result = compare(plans, Asked(120, 3, ("full",)), silent)
    mover = result.pairs[0].difference.mover
    truth = 1.6 if mover.upper else -1.6
    assert mover.interval[0] < truth < mover.interval[1] and "70 % ± 20 %" in mover.unknown.text
    text = StringIO()
    print_compared(result, text)
    assert "end of that one less two changes by" in " ".join(text.getvalue().split())
    document = json.loads(json.dumps(compare_document(result)))
    jsonschema.Draft202012Validator(json.loads(schema_text("compare"))).validate(document)
    assert document["pairs"][0]["moved_most_by"]["points"] == pytest.approx(mover.points, abs=1e-5)
    rows = {(row[0], row[2]): row[3:6] for row in compare_rows(document) if row[1] in ("one", "one less two")}
    (moved,) = [ends for (_, what), ends in rows.items() if what.startswith("change at the ")]
    assert moved == pytest.approx((mover.points, *mover.interval), abs=1e-5)
    assert rows["plan", "one match in ten below"][0] == document["plans"][0]["points"]["p10"]
    assert rows["pair", "chance of a tie"][0] == document["pairs"][0]["chance_tie"]


def test_the_share_of_days_won_is_that_of_averages_over_ten():
    rng = np.random.default_rng(8)
    # luck of sd 6 and ignorance of sd 4 about +2: an average of ten has sd sqrt(4^2 + 6^2/10)
    values = 2.0 + np.sqrt(52.0) * stats.norm.ppf((np.arange(400) + 0.5) / 400)
    exact = stats.norm.cdf(2.0 / np.sqrt(16.0 + 3.6))
    assert _wins_day([rng.permutation(values)], 2.0, 6.0, 4.0) == pytest.approx(exact, abs=0.015)
    # luck alone, of whole points: -1, 0 and 1 by 0.3, 0.3 and 0.4; ten together are their own sum, ties are no wins
    chances = np.array([1.0])
    for _ in range(10):
        chances = np.convolve(chances, [0.3, 0.3, 0.4])
    points = np.repeat([-1.0, 0.0, 1.0], [30, 30, 40])
    won = _wins_day([points], float(points.mean()), float(points.std()), 0.0)
    assert won == pytest.approx(chances[11:].sum(), abs=0.015)


def test_of_matches_that_are_ties_mostly_no_share_of_days_is_told(tmp_path):
    """One place in 300 succeeds in one plan only: nobody wins most days, whichever is named first."""
    plans = [plan_with(tmp_path / name, share, name=name) for name, share in (("one", 70), ("two", 71))]
    for two in (plans, plans[::-1]):
        apart = compare(two, Asked(60, 3, ("full",)), silent).pairs[0].difference
        assert apart.ties > 0.5 and apart.first_wins_day is None


def test_fewer_matches_than_anything_is_settled_in_are_not_promised_to_settle(tmp_path):
    plans = [plan_with(tmp_path / "a", 90), plan_with(tmp_path / "b", 50)]
    result = compare(plans, Asked(40, 3, ("full",)), silent)
    apart = result.pairs[0].difference
    assert not apart.sure and apart.days_needed < 10 and apart.matches_needed == 50
    out = StringIO()
    print_compared(result, out)
    assert "To settle it takes about 50 matches" in out.getvalue()
    assert out.getvalue().startswith("Too few matches to say: ")


def test_plans_of_one_name_are_told_apart_by_their_files(tmp_path):
    plans = [
        plan_with(tmp_path / "a", 80),
        plan_with(tmp_path / "b", 60),
        plan_with(tmp_path / "c", 60, name="own"),
    ]
    file = plans[0].path.name
    assert [plan.name for plan in told_apart(plans)] == [f"a/{file}", f"b/{file}", "own"]
    assert [plan.name for plan in told_apart([plans[0], plans[0]])] == [f"{file} (1)", f"{file} (2)"]
    assert told_apart(plans[1:]) == plans[1:]
    moved = [
        plans[0],
        *(replace(plans[0], path=tmp_path / "a" / f"{name}.yaml") for name in ("same", "slow")),
    ]
    assert [plan.name for plan in told_apart(moved)] == [file, "same.yaml", "slow.yaml"]
    # a name is a name: the luck is the same
    before, after = (compare(two, ASKED, silent) for two in (plans[:2], told_apart(plans[:2])))
    assert before.pairs[0].difference == after.pairs[0].difference
    text = StringIO()
    print_compared(after, text)
    assert text.getvalue().startswith("a/") and f"b/{file} " in text.getvalue()


@pytest.mark.parametrize("count", [3, 5])
def test_more_than_two_plans_fit_the_screen_too(tmp_path, count):
    names = [f"a long name of a plan, number {number}" for number in range(count)]
    plans = [plan_with(tmp_path / name, 80 - 9 * n, name=name) for n, name in enumerate(names)]
    text = StringIO()
    print_compared(compare(plans, Asked(40, 3, ("full",)), silent), text)
    lines = text.getvalue().splitlines()
    assert max(map(len, lines)) <= 80
    # each has a column, under a name of its own
    means = [cell for line in lines if line.startswith("points a match, mean") for cell in line[34:].split()]
    assert len(means) == count
    heads = [line for line in lines if line.startswith(" " * 34)]
    assert all(any(f"number {number}" in line for line in heads) for number in range(count))


def test_points_of_whole_cycles_stand_beside_the_rate(tmp_path):
    # 8 rounds of one point each, nothing else earns: 8 points a match from 8 whole cycles
    plans = [plan_with(tmp_path / "a", 100, name="one"), plan_with(tmp_path / "b", 100, 6, name="two")]
    result = compare(plans, Asked(20, 3, ("full",)), silent)
    document = compare_document(result)
    assert [plan["points_of_cycles"] for plan in document["plans"]] == [8.0, 6.0]
    rows = [row for row in compare_rows(document) if row[2] == "points a match from whole cycles"]
    assert [row[1:4:2] for row in rows] == [("one", 8.0), ("two", 6.0)]
    text = StringIO()
    print_compared(result, text)
    row = next(
        line for line in text.getvalue().splitlines() if line.startswith("points a match, whole cycles")
    )
    assert row.split()[-2:] == ["8.0", "6.0"] and len(row) <= 80
    told = " ".join(text.getvalue().split())
    assert "points a cycle are the same over the number of cycles, points a second over their time" in told
    for side in result.sides:
        assert side.points_per_cycle == pytest.approx(side.points_of_cycles / side.cycles)


def test_the_idle_rest_of_a_period_is_in_the_cycle_time_and_it_says_so(tmp_path):
    # pick, 0.3 s, place, 0.7 s: rounds of 1 s. One in the first 10 s, 4 after them: the last delivery
    # comes 13.3 s after the start, over 5 cycles, though no round lasts longer than 1 s
    steps = [pick(), wait("300 ms"), place(), wait("700 ms")]
    game = {
        "periods": {"only": "10 s", "rest": "90 s"},
        "places": {
            "box": {"pose": ["1 m", "1 m", "0 deg"], "takes": "ball", "points": {"only": 1, "rest": 1}}
        },
    }
    plans = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        rest = [{"repeat": 4, "steps": steps}]
        plans.append(a_plan(tmp_path / name, steps, game=game, rest=rest, name=name))
    result = compare(plans, Asked(20, 3, ("full",)), silent)
    assert result.sides[0].cycles == 5.0
    assert result.sides[0].cycle_time_s == pytest.approx(13.3 / 5, abs=0.02)
    text = StringIO()
    print_compared(result, text)
    told = " ".join(text.getvalue().split())
    assert "what a period such as autonomous leaves idle at its end is in its time" in told


def test_where_nothing_is_unknown_a_difference_spreads_by_luck_alone(tmp_path):
    plans = [plan_with(tmp_path / str(percent), percent, name=str(percent)) for percent in (80, 70)]
    for seed in range(6):  # by chance some days seem to differ
        apart = compare(plans, Asked(40, seed, ("full",)), silent).pairs[0].difference
        assert apart.ignorance_sd == 0.0 and apart.ignorance_most is None and apart.luck_sd > 0.0


class Told:
    """Where robots lie, as a study knows it."""

    def __init__(self, scores):
        self.scores = scores

    def freed(self, values, numbers, luck, by):
        days = numbers // MATCHES_A_DAY
        return freed(values, days, self.scores[days], luck, weights_by(by, days, self.scores[days], luck))


def test_the_sequential_rule_holds_where_robots_are_known():
    """200 studies of 140 days without a difference: means are freed anew at each of six looks."""
    rng = np.random.default_rng(6)
    numbers = MATCHES_A_DAY * np.arange(140)
    wrong = found = 0
    for _ in range(200):
        scores, luck = rng.standard_normal((140, 3)), rng.standard_normal((140, 2))
        beyond = 8.0 * ((scores[:, 0] > 1.3) - 0.0968)
        apart = beyond + luck.sum(axis=1) + rng.standard_normal(140)
        wrong += Pairing(apart, numbers, luck, Told(scores)).settled_at() is not None
        found += Pairing(apart + 1.2, numbers, luck, Told(scores)).settled_at() is not None
    assert wrong / 200 < ALPHA + 4 * np.sqrt(ALPHA * (1 - ALPHA) / 200)
    assert found / 200 > 0.9


def test_what_a_second_robot_or_a_look_is_not_sure_of_makes_days_differ(tmp_path):
    plans = [plan_with(tmp_path / str(percent), percent, name=str(percent)) for percent in (80, 70)]
    sees = SenseStep(1, "eye", None, 20_000, 0, Quantity(0.5, 0.2), 0.0, 100_000)
    looking = replace(plans[0], routines={"look": SequenceStep(1, (sees,))})
    assert [differs_by_day(each, ("full",)) for each in (*plans, looking)] == [False, False, True]
    unsure = replace(plans[0], defenders=(Defender("guard", Quantity(0.2, 0.1), 1_000_000, ("autonomous",)),))
    assert differs_by_day(unsure, ("full",)) and not differs_by_day(exact(unsure), ("full",))
    beside = replace(plans[0], partner=Partner("other", unsure))
    assert differs_by_day(beside, ("full",)) and not differs_by_day(exact(looking), ("full",))


def test_points_of_two_robots_beside_those_of_one_are_told_as_such(tmp_path):
    # each robot places 8 times, sharing nothing: 16 points and 8
    one, other = (plan_with(tmp_path / name, 100, name=name) for name in ("one", "other"))
    pair = replace(one, name="pair", partner=Partner("mate", other))
    texts = []
    for plans in ([pair, one], [one, other]):
        text, result = StringIO(), compare(plans, Asked(20, 3, ("full",)), silent)
        print_compared(result, text)
        texts.append(" ".join(text.getvalue().split()))
        assert [side.points.mean.value for side in result.sides] == [16.0 if plans[0] is pair else 8.0, 8.0]
    assert "Points a match of pair are those of both robots of its plan" in texts[0]
    assert "both robots" not in texts[1]
