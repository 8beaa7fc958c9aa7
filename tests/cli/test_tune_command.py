"""`simbot tune` from outside: what it prints and writes, its mistakes, and watching files."""

# ruff: noqa: E501 - a plan reads better with one step a line

from __future__ import annotations

import csv
import io
import json

import jsonschema
import pytest

from simbot.cli import status
from simbot.report.document import schema_text

CODE = "class Timing {\n  static final int FLAP_MS = 300;\n  static final int HAND_MS = 900;\n}\n"
GAME = """\
simbot: 1
game:
  name: bench
  field: {length: 3 m, width: 3 m}
  periods: {autonomous: 20 s}
  elements: {puck: {}}
  stations:
    tray: {pose: [1 m, 1 m, 0 deg], gives: puck}
  places:
    bin: {pose: [1 m, 1 m, 0 deg], takes: puck, points: 5}
"""
ROBOT = """\
simbot: 1
robot:
  name: bench
  mass: 9 kg
  size: [400 mm, 400 mm]
  loop: 20 ms
  battery: {states: {fresh: {open_circuit: 13.5 V, resistance: 0.1 ohm}, tired: {open_circuit: 12.5 V, resistance: 0.2 ohm}}}
  mechanisms:
    flap: {kind: measured, time: 0.35 s}
    hand: {kind: measured, time: 0.20 s}
"""
PLAN = """\
simbot: 1
plan:
  name: bench
  game: game.yaml
  robot: robot.yaml
  start: {flap: closed, hand: open}
  autonomous:
    - repeat: 4
      steps:
        - pick: {element: puck, from: tray, by: {hand: shut}}
        - wait: {from: Timing.java, name: HAND_MS}
        - move: {flap: open}
        - wait: {from: Timing.java, name: FLAP_MS}
        - place: {into: bin, by: {hand: open}, needs: {flap: open}, else: dropped}
        - move: {flap: closed}
        - wait: arrival
"""


@pytest.fixture
def plan(tmp_path):
    for name, text in (
        ("Timing.java", CODE),
        ("game.yaml", GAME),
        ("robot.yaml", ROBOT),
        ("plan.yaml", PLAN),
    ):
        (tmp_path / name).write_text(text)
    return tmp_path / "plan.yaml"


def run(capsys, *arguments):
    code = status([str(one) for one in arguments])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_the_report(plan, capsys):
    code, out, err = run(capsys, "tune", plan)
    assert code == 0 and err == ""
    said = " ".join(out.split())
    assert "FLAP_MS: flap to open" in said and "Timing.java:2: 300 -> 400" in said
    assert "long enough in 0 %, then 100 %" in said and "With chance: 20 matches on each battery" in said
    assert "MISSES -> passes" in out and "wheels off the ground" in out
    assert all(len(line) <= 80 for line in out.splitlines()), max(out.splitlines(), key=len)


@pytest.mark.parametrize(
    "more",
    [
        ["--matches", "0"],
        ["--rule", "base - 50*(volts - 13)", "--matches", "3"],
        ["--kind", "sensor", "--matches", "3"],
        ["--kind", "balanced", "--matches", "3"],
        ["--battery", "fresh", "--matches", "0"],
    ],
)
def test_the_document_follows_its_schema(plan, capsys, more):
    code, out, _ = run(capsys, "tune", plan, "--json", "-", *more)
    assert code == 0
    document = json.loads(out)
    jsonschema.Draft202012Validator(json.loads(schema_text("tune"))).validate(document)
    first = document["timers"][0]
    assert {"step", "line", "now_s", "suggested_s", "reason"} <= set(first)
    assert set(document["before"]) >= {"cycle_time_s", "points_per_s", "chance_clean"}
    chance = document["after"]["chance_clean"]
    assert chance is None if "0" in more else chance["value"] == (0.0 if "sensor" in more else 1.0)
    assert (document["chance"] is None) == ("0" in more)
    assert document["battery"] == ("fresh" if "fresh" in more else "tired")
    assert (document["rule"] is not None) == ("--rule" in more)
    if "--kind" not in more:
        assert [timer["suggested_s"] for timer in document["timers"]] == [0.26, 0.4]


def test_patch_and_table_are_written_and_the_source_is_not(plan, capsys, tmp_path):
    patch, table = tmp_path / "timers.patch", tmp_path / "timers.csv"
    code, _, err = run(capsys, "tune", plan, "--patch", patch, "--table", table)
    assert code == 0 and "2 numbers change" in err and str(tmp_path) in err
    assert "+  static final int FLAP_MS = 400;" in patch.read_text()
    rows = list(csv.reader(io.StringIO(table.read_text())))
    assert [row[:3] for row in rows[1:3]] == [["HAND_MS", "900", "260"], ["FLAP_MS", "300", "400"]]
    assert (plan.parent / "Timing.java").read_text() == CODE
    code, out, _ = run(capsys, "tune", plan, "--patch", "-")
    assert code == 0 and out == patch.read_text()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--kind", "sensr"], "did you mean 'sensor'"), (["--battery", "tird"], "did you mean 'tired'"),
        (["--rule", "base +"], "--rule 'base +'"), (["--patch", "no/where.patch"], "--patch no/where.patch"),
        (["--kind", "sensor", "--patch", "a.patch"], "by hand"), (["--table", "no/where.csv"], "no such folder"),
        (["--patch", "-", "--table", "-"], "only one"), (["--json", "-", "--watch"], "name a file"),
    ],
)  # fmt: skip
def test_mistakes(plan, capsys, monkeypatch, more, words):
    monkeypatch.chdir(plan.parent)
    code, out, err = run(capsys, "tune", plan, *more)
    assert (code, out) == (2, "") and words in err and err.count("\n") == 1


def test_a_renamed_constant_is_told_with_its_nearest(plan, capsys):
    source = plan.parent / "Timing.java"
    source.write_text(CODE.replace("FLAP_MS", "FLAPS_MS"))
    code, _, err = run(capsys, "tune", plan)
    assert code == 2 and "'FLAPS_MS'" in err and "line 2" in err and "plan.yaml:13" in err


def test_check_tells_which_numbers_it_read(plan, capsys):
    code, out, _ = run(capsys, "check", plan)
    assert code == 0 and "code      FLAP_MS: 300 ms (300), Timing.java:2" in out


def test_watching_says_what_changed(plan, capsys, monkeypatch):
    """A constant is edited, then broken, then the plan is mended: each is seen, none ends it but Ctrl-C."""
    source = plan.parent / "Timing.java"
    edits = [
        lambda: source.write_text(CODE.replace("300", "4000")),
        lambda: source.write_text(CODE.replace("FLAP_MS", "FLOP_MS")),
        lambda: source.write_text(CODE.replace("900", "260")),
        lambda: plan.write_text(PLAN.replace("repeat: 4", "repeat: 2 ")),
    ]

    def sleep(_):
        if not edits:
            raise KeyboardInterrupt
        edits.pop(0)()

    monkeypatch.setattr("simbot.cli.tune.time.sleep", sleep)
    code, out, err = run(capsys, "tune", plan, "--watch")
    assert code == 130
    assert " FLAP_MS: 300 -> 4000 ms" in out and "MISSES -> passes" in out
    assert "'FLOP_MS'" in err
    assert " HAND_MS: 900 -> 260 ms" in out and "better 400" not in out
    assert out.count("Before and after") == 1 and "ends" in out.splitlines()[-1]
    assert err.count("watching; Ctrl-C ends it") == 5


def test_watching_sees_the_files_of_the_second_robot(plan, capsys, monkeypatch):
    """Its plan, its robot, and the code that its plan points at."""
    folder = plan.parent
    own, code = folder / "friend-robot.yaml", folder / "Friend.java"
    other = PLAN.replace("robot.yaml", own.name).replace("Timing.java", code.name)
    (folder / "friend.yaml").write_text(other)
    own.write_text(ROBOT)
    code.write_text(CODE)
    plan.write_text(PLAN + "  others: {friend: {plan: friend.yaml}}\n")
    edits = [
        lambda: own.write_text(ROBOT.replace("0.35 s", "0.36 s ")),
        lambda: code.write_text(CODE.replace("300", "3000")),
        lambda: (folder / "friend.yaml").write_text(other.replace("repeat: 4", "repeat: 2 ")),
    ]
    seen = [0]

    def sleep(_):
        seen[0] += 1
        if seen[0] > 8:
            raise KeyboardInterrupt
        if edits:
            edits.pop(0)()

    monkeypatch.setattr("simbot.cli.tune.time.sleep", sleep)
    code, _, err = run(capsys, "tune", plan, "--watch")
    assert code == 130 and err.count("watching; Ctrl-C ends it") == 4
