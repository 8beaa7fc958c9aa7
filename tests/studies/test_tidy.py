"""Numbers of a study as a table, one a row: the same as in its JSON document."""

from __future__ import annotations

import csv
import json

from stopwatches import a_plan, pick, place, wait

from simbot.cli import status


def test_a_study_writes_its_numbers_one_a_row(tmp_path, capsys):
    """Two ways of writing a study of matches hold the same numbers; what is absent is empty."""
    steps = [pick(), wait("0.3 s"), place(succeeds="70 % ± 10 %"), wait("0.3 s")]
    plan = a_plan(tmp_path, [{"repeat": 4, "steps": steps}])
    words = ["match", str(plan.path), "--runs", "12", "--workers", "1", "--battery", "full"]
    document, table = tmp_path / "match.json", tmp_path / "match.csv"
    assert status([*words, "--json", str(document), "--csv", str(table)]) == 0
    assert "Expect " in capsys.readouterr().out
    told = json.loads(document.read_text(encoding="utf-8"))
    text = table.read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert list(rows[0]) == ["table", "whose", "what", "value", "low", "high", "unit"]

    def values(name, what):
        return [row for row in rows if (row["table"], row["what"]) == (name, what)]

    (mean,) = values("plan", "points a match")
    ends = [float(mean[end]) for end in ("value", "low", "high")]
    assert ends == [told["points"]["mean"], *told["points"]["mean_interval"]] and mean["unit"] == "points"
    assert [values("plan", "chance to reach the threshold")[0][end] for end in ("value", "low")] == ["", ""]
    counted = [int(row["value"]) for row in rows if row["table"] == "matches by points"]
    assert counted == [one["matches"] for one in told["matches"]] and sum(counted) == 12
    assert values("failed", "matches that could not be played, and are left out")[0]["value"] == "0"
    assert {row["unit"] for row in rows} == {"points", "1", "s"}
    assert status([*words, "--csv", "-"]) == 0
    assert capsys.readouterr().out == text
    assert status([*words, "--csv", "-", "--json", "-"]) == 2
    assert "only one of --json and --csv can be -" in capsys.readouterr().err
