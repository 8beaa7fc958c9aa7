"""The files that `simbot start` hands out: something is left to chance, and its lift's gearing can be swept."""

from __future__ import annotations

import json

from simbot.cli import status


def test_matches_of_the_starter_are_not_all_alike(tmp_path, capsys):
    assert status(["start", str(tmp_path)]) == 0
    capsys.readouterr()
    assert status(["match", str(tmp_path / "plan.yaml"), "--runs", "20", "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["points"]["sd"] > 0.0


def test_its_gearing_can_be_swept_by_its_short_name(tmp_path, capsys):
    assert status(["start", str(tmp_path)]) == 0
    capsys.readouterr()
    asked = [
        "sweep",
        str(tmp_path / "robot.yaml"),
        "lift",
        "ratio=0.8:1.2:0.2",
        "--workers",
        "1",
        "--json",
        "-",
    ]
    assert status(asked) == 0
    (axis,) = json.loads(capsys.readouterr().out)["quantities"]
    assert axis["key"] == "robot.mechanisms.lift.gearing.0.ratio" and axis["now"] == 1.0
