"""How late the first period's routine may begin, on plans whose staircase is worked out on paper."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest
from stopwatches import a_plan, pick, place, wait

from simbot.report.document import schema_text
from simbot.report.tune_document import tune_document
from simbot.report.tuned_start import start_lines
from simbot.studies.start_delay import Outcome, edges_of, latest_that_fits
from simbot.studies.tune import tune
from simbot.studies.tune_results import Stair


def three(**more):
    """Places at 0.30, 0.90 and 1.50 s: each closes for 0.2 s, and every wait is a guard longer."""
    return [pick(), wait("300 ms"), place(), wait("300 ms")] * 3


def stairs(start):
    return [(stair.from_us, stair.points) for stair in start.stairs]


def test_three_places_fall_out_one_after_the_other(tmp_path):
    """Of 3 s: the last is made at 1.50 s, so 1.50 s later it falls on the last tick, which is still the period's."""
    start = tune(a_plan(tmp_path, three(), lasts="3 s")).start
    assert (start.period, start.points) == ("only", 3.0)
    cycle = 2 * (200_000 + 50_000)  # the suggested set has 250 ms in the place of 300
    last = 3_000_000 - (250_000 + 2 * cycle)
    assert start.fits_us == {"full": last}
    assert stairs(start) == [
        (last + 10_000, 2.0),
        (last + cycle + 10_000, 1.0),
        (last + 2 * cycle + 10_000, 0.0),
    ]
    assert [[one.place for one in stair.lost] for stair in start.stairs] == [["box"]] * 3
    assert not start.uneven and start.tick_us == 10_000


def test_the_line_that_falls_out_is_named(tmp_path):
    plan = a_plan(
        tmp_path, [pick(), wait("250 ms"), place(), wait("250 ms"), pick(), wait("250 ms"), place()]
    )
    start = tune(plan).start
    lines = [step.line for step in plan.periods["only"].steps if type(step).__name__ == "PlaceStep"]
    assert [stair.lost[0].line for stair in start.stairs] == lines[::-1]
    assert start.fits_us["full"] == 100_000_000 - 750_000


def test_only_the_first_period_counts(tmp_path):
    """What is left over of it is cut off; the next period's points do not make up for it."""
    periods = {"periods": {"only": "1 s", "rest": "20 s"}}
    plan = a_plan(tmp_path, three()[:4], game=periods, rest=three())
    start = tune(plan).start
    assert start.points == 1.0 and stairs(start) == [(760_000, 0.0)]
    assert start.fits_us == {"full": 750_000}


def test_a_bonus_that_goes_is_told(tmp_path):
    """Two balls fill the box: without the second its own point and the bonus of 5 go."""
    box = {
        "box": {
            "pose": ["1 m", "1 m", "0 deg"],
            "takes": "ball",
            "points": 1,
            "room": 2,
            "points_when_full": 5,
        }
    }
    start = tune(a_plan(tmp_path, three()[:8], lasts="2 s", game={"places": box})).start
    assert [points for _, points in stairs(start)] == [1.0, 0.0]
    assert start.points == 7.0


def test_a_routine_that_earns_nothing_has_no_budget(tmp_path):
    assert tune(a_plan(tmp_path, [pick(), wait("300 ms")])).start is None


def test_a_later_start_that_earns_more_is_told(tmp_path):
    """Edges on an uneven staircase: the first fall is found, and that a later start earns more is said."""
    points = {k: Outcome(3.0 if k <= 40 or k > 70 else 1.0, ()) for k in range(121)}
    edges, uneven = edges_of(points.__getitem__, 120)
    assert uneven and edges == [(40, 41), (70, 71)]
    assert latest_that_fits(points.__getitem__, 120) == 40


@pytest.mark.parametrize("edge", [1, 17, 119, 120])
def test_edges_are_found_to_the_tick(edge):
    def at(tick):
        return Outcome(1.0 if tick < edge else 0.0, ())

    assert edges_of(at, 120) == ([(edge - 1, edge)], False)
    assert latest_that_fits(at, 120) == edge - 1


def test_more_that_is_delivered_later_is_no_bonus_that_goes(tmp_path):
    result = tune(a_plan(tmp_path, three(), lasts="3 s"))
    stairs = (Stair(100_000, 3.0, ()), Stair(200_000, 5.0, ()), Stair(300_000, 2.0, ()))
    text = "\n".join(start_lines(replace(result, start=replace(result.start, points=3.0, stairs=stairs))))
    assert text.count("more is delivered than before it") == 2 and text.count("what goes: a bonus") == 1


def test_what_is_printed_and_written(tmp_path):
    result = tune(a_plan(tmp_path, three(), lasts="3 s"))
    text = "\n".join(start_lines(result))
    assert "still made up to 1.75 s on full" in " ".join(text.split())
    assert "from  1.76 s on    2 points; falls out: box, line" in text
    assert all(len(line) <= 80 for line in text.splitlines())
    document = tune_document(result)
    jsonschema.validate(document, json.loads(schema_text("tune")))
    assert document["start_delay"]["stairs"][0]["from_s"] == 1.76
