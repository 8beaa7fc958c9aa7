"""Bars: the flag must stand right of the dot, and every sign says one thing."""

from __future__ import annotations

import pytest

from simbot.report.bars import LEGEND, choose_scale, draw
from simbot.report.terminal import BAR_WIDTH

MS = 1000


def drawn(move, **changes):
    return draw(move(**changes), 25 * MS, 45)


# (changes, bar at 25 ms a column); counted by hand
CASES = {
    "snug": ({}, "#" * 26 + "-" * 8 + "o.>"),
    "snug, flag in the dot's column": ({"arrival_us": 895 * MS}, "#" * 26 + "-" * 10 + "o>"),
    "slack": (
        {"floor_us": 170 * MS, "arrival_us": 250 * MS, "timer_us": 610 * MS, "verdict": "slack"},
        "#######---o.............>",
    ),
    "short and breaking": (
        {
            "floor_us": 370 * MS,
            "arrival_us": 510 * MS,
            "timer_us": 450 * MS,
            "verdict": "short",
            "consequence": "breaking",
        },
        "###############---!/o",
    ),
    "short and harmless": (
        {
            "floor_us": 430 * MS,
            "arrival_us": 620 * MS,
            "timer_us": 450 * MS,
            "verdict": "short",
            "consequence": "harmless",
        },
        "#################-)//////o",
    ),
    "impossible": (
        {
            "floor_us": 360 * MS,
            "arrival_us": 480 * MS,
            "timer_us": 200 * MS,
            "verdict": "impossible",
            "consequence": "breaking",
        },
        "########!//////////o",
    ),
    "waits for it": (
        {"floor_us": 430 * MS, "arrival_us": 560 * MS, "timer_us": 560 * MS, "seen_arrival_us": 560 * MS},
        "#################----(o)",
    ),
    "never": (
        {
            "floor_us": 250 * MS,
            "arrival_us": None,
            "timer_us": 500 * MS,
            "verdict": "never",
            "consequence": "breaking",
        },
        "##########----------!/?",
    ),
    "no floor": ({"floor_us": None, "arrival_us": 350 * MS, "timer_us": 400 * MS}, "-" * 14 + "o.>"),
    "not timed": ({"floor_us": 50 * MS, "arrival_us": 100 * MS, "timer_us": None, "verdict": None}, "##--o"),
    "there already": ({"floor_us": 0, "arrival_us": 0, "timer_us": 100 * MS, "verdict": "slack"}, "o...>"),
}


@pytest.mark.parametrize(("changes", "expected"), CASES.values(), ids=CASES)
def test_bar(move, changes, expected):
    assert drawn(move, **changes) == expected


@pytest.mark.parametrize("late_us", [1, 100, 5_000, 12_499])
def test_a_short_wait_keeps_one_missing_sign_however_little_is_missing(move, late_us):
    bar = drawn(
        move,
        floor_us=200 * MS,
        arrival_us=500 * MS,
        timer_us=500 * MS - late_us,
        verdict="short",
        consequence="breaking",
    )
    assert bar.index("-") < bar.index("!") < bar.index("/") < bar.index("o")


@pytest.mark.parametrize("timer_us", [0, 1, 3_000, 199_000])
def test_impossible_flag_stands_in_the_solid_and_short_flag_never(move, timer_us):
    common = {"floor_us": 200 * MS, "arrival_us": 210 * MS, "timer_us": timer_us, "consequence": "harmless"}
    assert set(drawn(move, **common, verdict="impossible").split(")")[0]) == {"#"}
    assert drawn(move, **common, verdict="short").split(")")[0].endswith("-")


def test_longer_than_the_scale_ends_in_a_tilde(move):
    bar = draw(move(arrival_us=4_000_000, timer_us=4_100_000), 25 * MS, 30)
    assert len(bar) == 30 and bar.endswith("~")


def test_scale_shows_whole_what_breaks(move):
    moves = [move(floor_us=10_000, arrival_us=20_000, timer_us=30_000)] * 9
    moves.append(
        move(arrival_us=3_000_000, timer_us=2_900_000, verdict="short", consequence="breaking", floor_us=0)
    )
    assert not draw(moves[-1], choose_scale(moves, BAR_WIDTH), BAR_WIDTH).endswith("~")


def test_every_sign_is_in_the_legend():
    assert all(sign in "".join(LEGEND) for sign in "#-o>!)/.~?") and "(o)" in "".join(LEGEND)
