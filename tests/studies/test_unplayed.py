"""A plan that never ends is the user's to mend, in a study of many matches as in a single run."""

from __future__ import annotations

import sys

import pytest
from stopwatches import a_plan, pick, place, wait

from simbot import cli
from simbot.report.matched import WIDTH, print_matched
from simbot.studies.asked import Asked
from simbot.studies.match import study

IDLE = {
    "repeat": "until period_end",
    "steps": [{"when": {"holds": {"hand": "ball"}}, "do": [wait("1 s")]}],
}


def with_idle_round(folder, succeeds):
    """After a pick that failed nothing is ever done again, and no time passes."""
    empty = {"when": {"holds": {"hand": "nothing"}}, "do": [IDLE]}
    return a_plan(folder, [pick(succeeds=succeeds), wait("arrival"), empty, place(), wait("arrival")])


@pytest.mark.parametrize("command", [["match"], ["compare"], ["worth", "--change", "robot.mass=6 kg"]])
def test_where_no_match_can_be_played_the_line_of_the_plan_is_named(tmp_path, capsys, command):
    path = with_idle_round(tmp_path, "0 %").path
    plans = [path, path] if command[0] == "compare" else [path]
    asked = [command[0], *map(str, plans), *command[1:], "--runs", "20", "--workers", "1"]
    assert cli.status(asked) == 2
    said = capsys.readouterr().err
    line = 1 + next(n for n, text in enumerate(path.read_text().splitlines()) if "until period_end" in text)
    assert f"{path}:{line}:1: repeat: the repeat never ends" in said and "a fault of simbot" not in said


def test_matches_that_never_end_are_left_out_and_told_in_lines_that_fit(tmp_path, capsys):
    result = study(with_idle_round(tmp_path, "50 %"), Asked(60, 3, ("full",)), lambda done, total: None)
    assert 0 < len(result.faults) < 60 and all(one.mistake for one in result.faults)
    assert "Error" not in result.faults[0].fault and f"{result.plan.path}:" in result.faults[0].fault
    print_matched(result, sys.stdout)
    told = capsys.readouterr().out
    assert f"{len(result.faults)} matches could not be played" in told
    assert max(len(line) for line in told.splitlines() if str(tmp_path) not in line) <= WIDTH
