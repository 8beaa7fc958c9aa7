"""Tries that failed: what is said of them stands for each of them."""

from __future__ import annotations

from io import StringIO

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot import api
from simbot.report.terminal import print_run


def attempt(tries):
    """A pick whose need is not met."""
    early = pick(needs={"other": "up"})
    return {"try": [early, wait("0.3 s")], "tries": tries, "otherwise": [wait("0.2 s")]}


@pytest.mark.parametrize(
    ("steps", "told", "times"),
    [
        ([attempt(1)], "try 1 of 1 in step 1 failed: step 2 took nothing", "once"),
        ([attempt(3)], "tries 1, 2 and 3 of 3 in step 1 failed once each: step 2 took nothing", "3 times"),
        ([attempt(8)], "tries 1 to 8 of 8 in step 1 failed once each: step 2 took nothing", "8 times"),
        (
            [{"repeat": 5, "steps": [attempt(2)]}],
            "tries 1 and 2 of 2 in step 1 failed 5 times each: step 2 took nothing",
            "10 times",
        ),
    ],
)
def test_tries_that_fail_are_told_by_their_numbers(tmp_path, steps, told, times):
    result, out = api.run(a_plan(tmp_path, steps)), StringIO()
    print_run(result, result.states[0], out)
    said = " ".join(out.getvalue().split())
    assert f"{told} full: {times}, first at 0.00 s." in said
    found = [one for one in result.states[0].findings if one.kind == "try_failed"]
    assert {one.text for one in found} == {told} and f"{len(found)} times".replace("1 times", "once") == times


def test_of_tries_that_fail_for_other_reasons_each_is_told(tmp_path):
    """One ball in the bin: the second try sees it empty."""
    pose = ["1 m", "1 m", "0 deg"]
    game = {"stations": {"bin": {"pose": pose, "gives": "ball", "stock": 1}}}
    look = {"sense": "eye", "of": "bin", "every": "50 ms", "at_most": "100 ms"}
    fails = place(needs={"other": "up"}, **{"else": "stuck"})
    steps = [{"try": [look, pick(), wait("0.3 s"), fails], "tries": 2, "otherwise": [wait("0.2 s")]}]
    result = api.run(a_plan(tmp_path, steps, game=game))
    found = [one.text for one in result.states[0].findings if one.kind == "try_failed"]
    assert found == [
        "try 1 of 2 in step 1 failed: step 5 placed nothing",
        "try 2 of 2 in step 1 failed: eye saw nothing",
    ]
