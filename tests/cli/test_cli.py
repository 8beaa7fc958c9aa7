"""The commands: exit statuses, what goes where, and that no mistake ends in a traceback."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from stopwatches import a_plan, pick, wait

from simbot import cli
from simbot.cli.shared import Stopped, progress, sign_of_life
from simbot.physics.kinds import KINDS
from simbot.report.document import schema_text

ROOT = Path(__file__).parent.parent.parent
LANTERNS = ROOT / "scenarios" / "night-market" / "lanterns.yaml"
ROBOT = LANTERNS.with_name("robot.yaml")


def simbot(*arguments, environment=None, cwd=ROOT):
    """Run the program as a user does; returns the finished process with text."""
    return subprocess.run(
        [sys.executable, "-m", "simbot.cli", *map(str, arguments)],
        capture_output=True,
        encoding="utf-8",
        cwd=cwd,
        env={**os.environ, **(environment or {})},
    )


@pytest.fixture(scope="module")
def lanterns(tmp_path_factory):
    """One run of the demo: its text, its document and the process."""
    path = tmp_path_factory.mktemp("run") / "lanterns.json"
    done = simbot("run", LANTERNS, "--json", path)
    assert done.returncode == 0, done.stderr
    return done, path.read_bytes()


def test_run_prints_results_to_stdout_and_nothing_else_there(lanterns):
    done, _ = lanterns
    assert done.stdout.startswith("lanterns: Firefly in Night Market")
    assert "Traceback" not in done.stderr


def test_json_to_stdout_is_the_file_byte_for_byte_and_alone(lanterns):
    _, written = lanterns
    done = simbot("run", LANTERNS, "--json", "-")
    assert done.stdout.encode() == written
    assert json.loads(done.stdout)["format"] == 1


def test_json_document_of_the_demo_follows_the_schema(lanterns):
    jsonschema = pytest.importorskip("jsonschema")
    jsonschema.Draft202012Validator(json.loads(schema_text("run"))).validate(json.loads(lanterns[1]))


def test_battery_chooses_the_bars(lanterns):
    done = simbot("run", LANTERNS, "--battery", "tired")
    assert " ms, tired" in done.stdout and " ms, mid-event" in lanterns[0].stdout


def test_strict_exits_with_3_where_a_state_fails():
    assert simbot("run", LANTERNS, "--strict").returncode == 3


def test_set_changes_a_value(lanterns):
    done = simbot("run", LANTERNS, "--set", "robot.mass=30 kg", "--json", "-")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["states"] != json.loads(lanterns[1])["states"]


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["run", "nowhere.yaml"], "nowhere.yaml"),
        (["run", LANTERNS, "--battery", "flat"], "flat"),
        (["run", LANTERNS, "--set", "robot.mass"], "robot.mass"),
        (["run", LANTERNS, "--set", "robot.mass=12 seconds"], "12 seconds"),
        (["run", LANTERNS, "--set", "robot.colour=red"], "colour"),
        (["run", LANTERNS, "--json", "no/such/folder/x.json"], "no/such/folder/x.json"),
        (["run", LANTERNS, "--speed", "2"], "--speed"),
        (["schema", "wishes"], "wishes"),
        (["kinds", "slied"], "slide"),
        (["move", ROBOT, "lfit"], "did you mean 'lift'"),
        (["move", ROBOT, "hook"], "stopwatch time of 0.3 s"),
        (["move", ROBOT, "lift", "--to", "0.9 m"], "--to 0.9 m: outside the travel of lift"),
        (["move", ROBOT, "lift", "--to", "30 deg"], "--to 30 deg"),
        (["move", ROBOT, "arm", "--to", "oot"], "did you mean 'out'"),
        (["move", ROBOT, "lift", "--turn", "90 deg"], "--turn 90 deg: lift is no drive"),
        (["move", ROBOT, "drive", "--turn", "90 deg", "--to", "1 m"], "--turn 90 deg"),
        (["move", ROBOT, "drive", "--from", "1 m"], "--from 1 m"),
        (["move", ROBOT, "intake", "--to", "1 deg"], "--to 1 deg"),
        (["move", ROBOT, "lift", "--load", "3"], "--load 3"),
        (["move", ROBOT, "lift", "--load", "900 kg"], "--load 900 kg"),
        (["move", ROBOT, "lift", "--until", "150 s"], "--until 150 s"),
        (["move", ROBOT, "lift", "--volts", "11 V"], "--volts 11 V"),
        (["move", ROBOT, "drive", "--tables"], "--tables: drive"),
        (["move", ROBOT, "lift", "--tables", "--celsius", "900"], "--celsius 900"),
        (["move", ROBOT, "lift", "--celsius", "60"], "--celsius 60"),
        (["move", ROBOT, "lift", "--battery", "flat"], "--battery flat"),
        (["move", ROBOT, "lift", "--figure", "lift.bmp"], "lift.bmp"),
        (["move", ROBOT, "lift", "--figure", "no/such/folder/x.png"], "no/such/folder/x.png"),
        (["move", ROBOT, "lift", "--from", "0.2 m", "--to", "200 mm"], "its start is its target"),
        (["move", "nowhere.yaml", "lift"], "nowhere.yaml"),
        (["dance"], "dance"),
        (["check"], "PLAN"),
        (["check", ROOT], str(ROOT)),
    ],
    ids=lambda value: str(value) if isinstance(value, str) else None,
)
def test_the_users_mistakes_exit_with_2_and_name_the_value(arguments, named):
    done = simbot(*arguments)
    assert done.returncode == 2, done.stderr
    assert named in done.stderr and "Traceback" not in done.stderr
    assert done.stdout == ""


def test_help_is_plain_and_lists_the_commands():
    done = simbot("--help")
    assert done.returncode == 0
    assert all(word in done.stdout for word in ("start", "check", "run", "move", "kinds", "schema"))
    assert done.stdout.isascii()


def test_the_bare_name_prints_the_help():
    bare = simbot()
    assert (bare.returncode, bare.stdout, bare.stderr) == (0, simbot("--help").stdout, "")


def test_version():
    assert simbot("--version").stdout.startswith("simbot ")


@pytest.mark.parametrize("name", ["run", "move"])
def test_schema_is_printed_as_published(name):
    assert simbot("schema", name).stdout == schema_text(name)


def test_move_prints_writes_and_draws(tmp_path):
    jsonschema = pytest.importorskip("jsonschema")
    json_file, figure = tmp_path / "lift.json", tmp_path / "lift.svg"
    done = simbot(
        "move", ROBOT, "lift", "--to", "500 mm", "--load", "180 g", "--set",
        "robot.mechanisms.lift.friction=4 N", "--json", json_file, "--figure", figure,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("lift of Firefly") and "0 m to 0.5 m, 180 g in hand" in done.stdout
    document = json.loads(json_file.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(json.loads(schema_text("move"))).validate(document)
    assert list(document["states"]) == ["fresh", "mid-event", "tired"]
    assert figure.read_text(encoding="utf-8").count("<svg") == 1
    again = simbot("move", ROBOT, "lift", "--to", "500 mm", "--json", "-")
    assert json.loads(again.stdout)["states"]["fresh"]["arrival_s"] > document["states"]["fresh"]["arrival_s"]


@pytest.mark.parametrize("plan", ["lanterns.yaml", "tins.yaml"])
def test_check_says_what_was_understood(plan):
    done = simbot("check", LANTERNS.with_name(plan))
    assert done.returncode == 0, done.stderr
    assert "well formed" in done.stdout and "kgf*cm" in done.stdout and "Assumed" in done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


def test_start_hands_out_files_that_run_and_never_writes_over_them(tmp_path):
    folder = tmp_path / "my robot"
    done = simbot("start", folder)
    assert done.returncode == 0 and str(folder) in done.stdout
    assert simbot("run", folder / "plan.yaml").returncode == 0
    (folder / "plan.yaml").write_text("mine", encoding="utf-8")
    again = simbot("start", folder)
    assert again.returncode == 2 and "plan.yaml" in again.stderr
    assert (folder / "plan.yaml").read_text(encoding="utf-8") == "mine"


# --- without the physics ------------------------------------------------------------------------------


def raising(error):
    def fail(*_):
        raise error

    return fail


@pytest.fixture
def failing(monkeypatch):
    """Make `simbot check` meet a given error in its middle."""

    def prepare(error):
        monkeypatch.setattr("simbot.cli.check.load", raising(error))
        return cli.status(["check", "plan.yaml"])

    return prepare


def test_a_fault_of_ours_is_one_line_with_the_way_to_report_it(failing, capsys, monkeypatch):
    monkeypatch.delenv("SIMBOT_DEBUG", raising=False)
    assert failing(ZeroDivisionError("division by\nzero")) == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "ZeroDivisionError: division by zero" in said and "report" in said


def test_debug_shows_where_it_happened(failing, capsys, monkeypatch):
    monkeypatch.setenv("SIMBOT_DEBUG", "1")
    assert failing(ZeroDivisionError("by zero")) == 1
    assert "Traceback" in capsys.readouterr().err


def test_ctrl_c_ends_with_one_line(failing, capsys):
    assert failing(KeyboardInterrupt()) == 130
    assert capsys.readouterr().err.strip() == "simbot: stopped"
    assert failing(Stopped()) == 130  # whoever raises that has said it
    assert not capsys.readouterr().err


def test_progress_tells_the_time_left_as_soon_as_something_is_known_of_it(monkeypatch):
    screen = io.StringIO()
    screen.isatty = lambda: True
    monkeypatch.setattr("sys.stderr", screen)
    now = [100.0]
    monkeypatch.setattr("simbot.cli.shared.time.monotonic", lambda: now[0])
    tell = progress("parts")
    tell(0, 4)
    now[0] += 10.0
    tell(1, 4)
    assert "0 of 4 parts   " in screen.getvalue() and "1 of 4 parts, about 30 s left" in screen.getvalue()
    screen.truncate(0)
    progress("parts", before_s=20.0)(2, 4)  # two parts took 20 s before it was stopped
    assert "2 of 4 parts, about 20 s left" in screen.getvalue()


@pytest.mark.skipif(os.name == "nt", reason="pipes close differently there")
def test_a_closed_pipe_ends_quietly():
    command = [sys.executable, "-m", "simbot.cli", "schema", "run"]
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(command, stdout=writer, stderr=subprocess.PIPE, cwd=ROOT)
    os.close(writer)
    assert (done.returncode, done.stderr) == (0, b"")


def test_a_terminal_that_knows_no_unicode_gets_all_but_the_odd_sign():
    done = subprocess.run(
        [sys.executable, "-m", "simbot.cli", "check", str(LANTERNS)],
        capture_output=True,
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C"},
    )
    assert done.returncode == 0
    assert "±".encode() in done.stdout


def test_strict_minds_states_that_fail_and_what_gives_way(monkeypatch):
    long, broken = (SimpleNamespace(kind=kind, text=kind) for kind in ("waits_long", "order_broken"))
    loaded = SimpleNamespace(robot=SimpleNamespace(battery=(SimpleNamespace(name="fresh"),)))
    monkeypatch.setattr("simbot.cli.run.load", lambda *_: (loaded, ()))
    monkeypatch.setattr("simbot.report.terminal.print_run", lambda *_: None)
    for failing, found, strict, expected in (
        (("fresh",), (), True, 3),
        (("fresh",), (broken,), False, 0),
        ((), (long,), True, 0),
        ((), (long, broken), True, 3),
    ):
        state = SimpleNamespace(name="fresh", findings=found)
        result = SimpleNamespace(states=(state,), failing_states=failing)
        monkeypatch.setattr("simbot.cli.run.simulate", lambda _, result=result: result)
        assert cli.status(["run", "plan.yaml", *(["--strict"] if strict else [])]) == expected


def test_strict_minds_matches_that_cannot_be_played(tmp_path, capsys):
    # where the pick misses, no time passes in the repeat
    held = {"when": {"holds": {"hand": "ball"}}, "do": [wait("1 s")]}
    a_plan(
        tmp_path,
        [pick(succeeds="50 %"), wait("0.3 s"), {"repeat": "until period_end", "steps": [held]}],
        "3 s",
    )
    asked = ["match", str(tmp_path / "plan.yaml"), "--runs", "10", "--workers", "1"]
    assert [cli.status(asked), cli.status([*asked, "--strict"])] == [0, 3]
    assert "could not be played" in " ".join(capsys.readouterr().out.split())


class Screen(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(("screen", "seconds_shown"), [(Screen(), True), (io.StringIO(), False)])
def test_compiling_shows_a_sign_of_life(monkeypatch, screen, seconds_shown):
    noted = []
    monkeypatch.setattr("simbot.physics.compiled.needs_compiling", lambda: not noted)
    monkeypatch.setattr("simbot.physics.compiled.mark_complete", lambda: noted.append(1))
    monkeypatch.setattr(sys, "stderr", screen)
    with sign_of_life():
        time.sleep(1.2)
    said = screen.getvalue()
    assert "compiling the physics once" in said and noted
    assert (": 1 s" in said) == seconds_shown
    assert said.endswith("\r" if seconds_shown else "\n")


def test_a_cache_that_cannot_be_written_is_told(monkeypatch, capsys, tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    monkeypatch.setenv("SIMBOT_CACHE_DIR", str(blocked))
    with sign_of_life():
        pass
    told = capsys.readouterr().err
    assert "cannot be written, so the next run compiles again" in told and str(blocked) in told


def test_nothing_is_said_where_nothing_is_compiled(monkeypatch):
    screen = Screen()
    monkeypatch.setattr("simbot.physics.compiled.needs_compiling", lambda: False)
    monkeypatch.setattr(sys, "stderr", screen)
    with sign_of_life():
        pass
    assert screen.getvalue() == ""


def test_kinds_lists_all_and_describes_one():
    done = simbot("kinds")
    assert done.returncode == 0 and all(f"{name} " in done.stdout for name in KINDS)
    for name, kind in KINDS.items():
        done = simbot("kinds", name)
        assert done.returncode == 0 and done.stdout.isascii(), name
        assert all(len(line) <= 80 for line in done.stdout.splitlines()), name
        assert all(f"{parameter.key}:" in done.stdout for parameter in kind.PARAMETERS), name


def test_the_package_runs_as_a_module():
    done = subprocess.run(
        [sys.executable, "-m", "simbot", "--version"], capture_output=True, text=True, cwd=ROOT
    )
    assert done.returncode == 0 and done.stdout.startswith("simbot ")


def test_a_run_without_luck_takes_no_seed(capsys):
    assert cli.status(["run", str(LANTERNS), "--seed", "3"]) == 2
    assert "--seed 3: a run has no luck; it goes with --match K" in capsys.readouterr().err


def test_plans_whose_batteries_have_other_names_are_not_compared(capsys):
    other = ROOT / "scenarios" / "mechanisms" / "claw-plan.yaml"
    assert cli.status(["compare", str(LANTERNS), str(other), "--runs", "20"]) == 2
    assert "has no battery state 'mid-event'" in capsys.readouterr().err


def test_plans_of_different_games_are_not_compared(tmp_path, capsys):
    folder = LANTERNS.parent
    for side in ("one", "other"):
        shutil.copytree(folder, tmp_path / side)
    game = tmp_path / "other" / "game.yaml"
    game.write_text(game.read_text().replace("endgame: 25 s", "endgame: 24 s"))
    plans = [str(tmp_path / side / LANTERNS.name) for side in ("one", "other")]
    assert cli.status(["compare", *plans, "--runs", "20"]) == 2
    told = capsys.readouterr().err
    assert "play different games" in told and str(game) in told


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_told_in_one_line():
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "simbot.cli", "schema", "run"],
            stdout=full,
            stderr=subprocess.PIPE,
            cwd=ROOT,
        )
    assert done.returncode == 2
    assert done.stderr.decode().strip() == "simbot: the output: cannot be written: No space left on device"


@pytest.mark.skipif(os.name == "nt", reason="closed streams differ there")
def test_closed_streams_are_no_fault():
    done = subprocess.run(
        f'"{sys.executable}" -m simbot.cli schema run >&-', shell=True, capture_output=True, cwd=ROOT
    )
    assert done.returncode == 0 and done.stderr == b""


def test_a_file_that_may_not_be_written_is_told(monkeypatch, capsys):
    monkeypatch.setattr("simbot.cli.check.load", raising(PermissionError(13, "Permission denied", "f.png")))
    assert cli.status(["check", "plan.yaml"]) == 2
    assert capsys.readouterr().err.strip() == "simbot: f.png: cannot be written: Permission denied"
