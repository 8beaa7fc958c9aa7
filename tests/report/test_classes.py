"""Counts in classes, and how they are printed: 80 columns, plain characters, nothing lost."""

from __future__ import annotations

from random import Random

import pytest

from simbot.report.classes import class_name, classes_of, histogram, round_step, spans


def test_values_fall_into_their_classes():
    (classes,) = classes_of([{0.0: 2, 9.0: 1, 10.0: 3, 119.0: 1}])
    assert (classes.first, classes.step) == (0.0, 10.0)
    assert classes.counts == (3, 3, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1)


@pytest.mark.parametrize("seed", range(40))
def test_nothing_is_lost_and_classes_are_few(seed):
    luck = Random(seed)
    low, wide = luck.uniform(-500, 500), luck.choice([0.0, 0.4, 3.0, 37.0, 240.0, 9000.0])
    tallies = [
        {round(luck.uniform(low, low + wide), luck.choice([0, 1, 3])): luck.randint(1, 9) for _ in range(30)}
        for _ in range(2)
    ]
    for tally, classes in zip(tallies, classes_of(tallies, 12), strict=True):
        assert classes.total == sum(tally.values())
        assert 1 <= len(classes.counts) <= 12
        for value in tally:
            assert 0 <= classes.of(value) < len(classes.counts)
        lines = list(
            histogram(
                classes, [(min(tally), "p10"), (max(tally), "threshold 104.5"), (max(tally), "p90")], False
            )
        )
        wide = lines.pop(0).index("matches")
        counts = [int(line[wide:][:7]) for line in lines]
        assert sum(counts) == classes.total
        assert all(len(line) <= 80 and line.isascii() for line in lines)
        assert [line.count("#") > 0 for line in lines] == [count > 0 for count in counts]


def test_steps_are_round():
    assert [round_step(value) for value in (0.0, 0.7, 1.0, 1.1, 2.0, 4.0, 5.1, 19.9, 20.1, 99.0)] == [
        1.0, 1.0, 1.0, 2.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0,
    ]  # fmt: skip


def test_names_of_classes():
    assert class_name(90.0, 10.0, True) == "90-99"
    assert class_name(-10.0, 10.0, True) == "-10 to -1"
    assert class_name(7.0, 1.0, True) == "7"
    assert class_name(90.0, 10.0, False) == "90 to <100"


def test_spans_stand_on_one_scale():
    axis, one, other = spans(
        [("lanterns", (69.0, 94.0, 102.0)), ("a name much longer than its room", (0.0, 0.0, 120.0))]
    )
    assert all(len(line) <= 80 and line.isascii() for line in (axis, one, other))
    assert one.endswith("69, 94, 102") and other.endswith("0, 0, 120")
    zero, hundred = axis.index("0"), axis.index("100")
    drawn = one.split("  69,")[0]
    assert zero < drawn.index("|") < drawn.index("o") < drawn.rindex("|")
    assert abs(drawn.rindex("|") - hundred) <= 1
    assert other[zero] == "o"
