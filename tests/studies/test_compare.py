"""Plans under the same luck: what they share cancels, and the rule that stops a study keeps its error rate."""

from __future__ import annotations

import json
from io import StringIO
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.report.compare_document import compare_document
from simbot.report.compared import print_compared
from simbot.report.document import schema_text
from simbot.report.match_document import match_document
from simbot.studies.asked import Asked
from simbot.studies.compare import compare
from simbot.studies.match import study
from simbot.studies.paired import ALPHA, level_of, settled_at

ASKED = Asked(200, 3, ("full",))


def silent(done, total):
    pass


def plan_with(folder: Path, percent: int, rounds: int = 8, name: str = "paper"):
    folder.mkdir(exist_ok=True)
    steps = [pick(), wait("0.3 s"), place(succeeds=f"{percent} %"), wait("0.3 s")]
    return a_plan(folder, [{"repeat": rounds, "steps": steps}], name=name)


def test_what_two_plans_share_cancels(tmp_path):
    same = compare([plan_with(tmp_path / "a", 70), plan_with(tmp_path / "b", 70)], ASKED, silent)
    apart = same.pairs[0].difference
    assert apart.mean.value == 0.0 and apart.ties == 1.0 and not apart.sure and same.runs == 200
    # 8 places at 80 and at 70 %: 0.8 points apart; under the same luck the better one never has less
    better = compare([plan_with(tmp_path / "a", 80), plan_with(tmp_path / "b", 70)], ASKED, silent)
    apart = better.pairs[0].difference
    assert apart.sure and better.runs < 200
    low, high = apart.mean.interval
    assert low < 0.8 < high and apart.first_wins.value + apart.ties == 1.0


def test_the_sequential_rule_errs_as_seldom_as_it_says():
    assert sum(level_of(look) for look in range(1, 10_000)) < ALPHA
    rng = np.random.default_rng(5)
    days = np.repeat(np.arange(60), 10)
    wrong = naive = found = 0
    for _ in range(400):
        apart = 1.0 * rng.standard_normal(60)[days] + 3.0 * rng.standard_normal(600)
        wrong += settled_at(apart, days) is not None
        found += settled_at(apart + 1.0, days) is not None
        looks = [apart[days < count].reshape(-1, 10).mean(axis=1) for count in range(8, 61, 4)]
        naive += any(abs(each.mean()) > 2.0 * each.std(ddof=1) / np.sqrt(len(each)) for each in looks)
    # 400 studies without a difference: at most 5 % (and four standard errors of that) may be settled
    assert wrong / 400 < ALPHA + 4 * np.sqrt(ALPHA * (1 - ALPHA) / 400)
    assert naive / 400 > 0.12  # looking as often without such a rule
    assert found / 400 > 0.9


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
    plans = [plan_with(tmp_path / "a", 80), plan_with(tmp_path / "b", 60)]
    soon = compare(plans, Asked(2000, 3, ("full",)), silent)
    narrow = compare(plans, Asked(2000, 3, ("full",), until_halfwidth=0.12), silent)
    widths = [one.pairs[0].difference.mean.interval for one in (soon, narrow)]
    assert (widths[0][1] - widths[0][0]) / 2 > 0.12 >= (widths[1][1] - widths[1][0]) / 2
    assert soon.runs < narrow.runs < 2000
    assert narrow.records[0][: soon.runs] == soon.records[0]  # the same matches, and more
    assert widths[1][0] < 8 * 0.2 < widths[1][1]


def test_fewer_matches_than_anything_is_settled_in_are_not_promised_to_settle(tmp_path):
    plans = [plan_with(tmp_path / "a", 90), plan_with(tmp_path / "b", 50)]
    result = compare(plans, Asked(40, 3, ("full",)), silent)
    apart = result.pairs[0].difference
    assert not apart.sure and apart.days_needed < 10
    out = StringIO()
    print_compared(result, out)
    assert "To settle it takes about 100 matches" in out.getvalue()
