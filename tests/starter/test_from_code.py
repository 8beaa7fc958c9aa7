"""`simbot start --from CODE`: every wait listed once, and a plan that points at each of them."""

from __future__ import annotations

import pytest

from simbot.cli import status
from simbot.physics.kinds import KINDS
from simbot.scenario.load import load_plan
from simbot.scenario.model import WaitStep
from simbot.scenario.plan_file import all_steps

CODE = """\
class Auto {
    static final long CLAW_MS = 350L;
    static final double FLIP_S = 0.4;   // used nowhere
    static final int COUNTS = 1200;     // no time
    void autonomous() {
        claw.close();
        Thread.sleep(CLAW_MS);
        lift.up();   // Thread.sleep(999);
        Thread.sleep(1_200);
        waitUntil(lift.done());
        log("Thread.sleep(5)");
        pauseSeconds(0.5);
        while (timer.milliseconds() < 700 && going()) { turn(timer.seconds() > other()); }
    }
    void park() {
        Thread.sleep(250);
    }
    void park(int side) {
        Thread.sleep(260);
    }
}
"""


@pytest.fixture
def code(tmp_path):
    path = tmp_path / "robot code" / "Auto.java"
    path.parent.mkdir()
    path.write_text(CODE)
    return path


def waits(plan):
    return [step for step in all_steps(plan) if isinstance(step, WaitStep)]


def test_every_wait_stands_in_a_plan_that_loads(code, tmp_path, capsys):
    assert status(["start", str(tmp_path / "new"), "--from", str(code)]) == 0
    said = capsys.readouterr().out
    assert "7    350 ms  Thread.sleep(CLAW_MS);" in said and "after: claw.close();" in said
    plan, _ = load_plan(tmp_path / "new" / "auto-plan.yaml", KINDS)
    assert [wait.duration_us for wait in waits(plan)] == [
        400_000,
        350_000,
        1_200_000,
        500_000,
        700_000,
        250_000,
        260_000,
    ]
    assert [wait.source.line for wait in waits(plan)] == [3, 2, 9, 12, 13, 16, 19]
    assert (tmp_path / "new" / "robot.yaml").exists()
    assert code.read_text() == CODE


def test_nothing_is_written_over(code, tmp_path, capsys):
    folder = tmp_path / "new"
    assert status(["start", str(folder)]) == 0
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert status(["start", str(folder), "--from", str(code)]) == 0
    assert {name: (folder / name).read_bytes() for name in before} == before
    assert status(["start", str(folder), "--from", str(code)]) == 2
    assert "auto-plan.yaml would be written over" in capsys.readouterr().err


def test_a_unit_that_the_code_does_not_say_is_asked_for(tmp_path, capsys):
    code = tmp_path / "auto.cpp"
    code.write_text("void go() {\n  claw();\n  delay(300);\n  delay(400); // ms\n}\n")
    assert status(["start", str(tmp_path / "new"), "--from", str(code)]) == 0
    assert "unit of 1 of them" in capsys.readouterr().out
    assert status(["check", str(tmp_path / "new" / "auto-plan.yaml")]) == 2
    assert "'?'; would do: ms, s, us, ns" in capsys.readouterr().err
    assert status(["start", str(tmp_path / "other"), "--from", str(code), "--unit", "ms"]) == 0
    plan, _ = load_plan(tmp_path / "other" / "auto-plan.yaml", KINDS)
    assert [wait.duration_us for wait in waits(plan)] == [300_000, 400_000]


@pytest.mark.parametrize(
    ("file", "text", "more", "words"),
    [
        ("a.java", "class A { int x = 3; }", [], "no call that waits"),
        ("a.java", "class A { void go( { sleep(", [], "does not parse from line 1"),
        ("a.txt", "sleep(3)", [], ".java"),
        ("a.py", "sleep_ms(3)", ["--unit", "h"], "--unit h"),
    ],
)
def test_mistakes_are_one_message(tmp_path, capsys, file, text, more, words):
    (tmp_path / file).write_text(text)
    assert status(["start", str(tmp_path / "new"), "--from", str(tmp_path / file), *more]) == 2
    said = capsys.readouterr().err
    assert words in said and said.count("\n") == 1
    assert not (tmp_path / "new").exists()


def test_unit_goes_with_code(tmp_path, capsys):
    assert status(["start", str(tmp_path / "new"), "--unit", "ms"]) == 2
    assert "--from CODE" in capsys.readouterr().err


def test_a_call_that_was_put_in_since_is_told_and_no_other_wait_taken_for_it(code, tmp_path, capsys):
    assert status(["start", str(tmp_path / "new"), "--from", str(code)]) == 0
    plan = tmp_path / "new" / "auto-plan.yaml"
    assert "number: 2, of: 2" in plan.read_text(encoding="utf-8")
    code.write_text(CODE.replace("claw.close();", "claw.close(); Thread.sleep(100);"))
    capsys.readouterr()
    assert status(["tune", str(plan), "--patch", "-"]) == 2
    said = capsys.readouterr()
    assert said.out == "" and "there are now 3 such calls in autonomous, in lines 6, 7, 9" in said.err
    assert "each looked at, then of: 3" in said.err
    code.write_text(CODE.replace("1_200", "1_300"))  # a number that changes is no other wait
    assert status(["check", str(plan)]) == 0


def test_what_looks_like_a_wait_and_cannot_be_read_is_listed(tmp_path, capsys):
    path = tmp_path / "Auto.java"
    path.write_text(
        "class Auto { void go() {\n  sleep(350);\n  Thread.sleep(Config.ARM_MS);\n  sleep(fast ? 200 : 400);\n"
        '  while (System.currentTimeMillis() - t0 < 650) {}\n  // sleep(x)\n  log("sleep(y) < time()");\n'
        "  waitForStart();\n  sleep(0.3);\n} }\n"
    )
    assert status(["start", str(tmp_path / "new"), "--from", str(path), "--unit", "ms"]) == 0
    listed, _, unread = capsys.readouterr().out.partition("These look like waits")
    assert [int(line.split()[0]) for line in unread.splitlines()[1:] if line[:5].strip().isdigit()] == [
        3,
        4,
        5,
    ]
    assert "0.3 ms" in listed and listed.count("so short?") == 1
