"""Files that cannot be read at all: one message each, quickly."""

from __future__ import annotations

import re
import time

import pytest
from builders import SMALL, a_tree, robot_text, robot_words
from ruamel.yaml.reader import Reader

from simbot.physics.kinds import KINDS
from simbot.scenario.errors import ScenarioError
from simbot.scenario.load import load_game, load_plan
from simbot.scenario.yaml_reader import MAX_BYTES, NOT_YAML, Place, parse_yaml


def the_problem(path):
    with pytest.raises(ScenarioError) as caught:
        load_game(path)
    (problem,) = caught.value.problems
    return problem


BOMB = "a: &a [x, x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{after}: &{after} [{', '.join(['*' + before] * 10)}]\n"
    for before, after in zip("abcdefgh", "bcdefghi", strict=True)
)


@pytest.mark.parametrize(
    ("data", "place", "words"),
    [
        (b"", "", "empty"),
        (b"   \n# nothing\n", "", "empty"),
        (b"\xef\xbb\xbf", "", "empty"),
        (b"\x00\x01\x02", "", "binary"),
        (b"\xff\xfes\x00", "", "UTF-16"),
        (b"simbot: 1\ngame: {name: \xe9t\xe9}\n", ":2:14:", "0xe9"),
        (b"simbot: 1\ngame:\n\tname: x\n", ":3:1:", "tab"),
        (b"simbot: 1\ngame: {name: [x}\n", ":2:", "not YAML"),
        (b"simbot: 1\ngame: {name: x\n", "", "not YAML"),
        (b"simbot: 1\ngame: {name: \x07}\n", ":2:14:", "U+0007"),
        ("simbot: 1\ngame: {name: ±\x07}\n".encode(), ":2:15:", "U+0007"),
        ("simbot: 1\ngame: {name: \uffff}\n".encode(), ":2:14:", "U+FFFF"),
        (b'simbot: 1\ngame: {name: "\\e[31mred"}\n', ":2:14:", "U+001B"),
        (b'simbot: 1\ngame: {name: "\\u202egnp.exe"}\n', ":2:14:", "U+202E"),
        (b'simbot: 1\n"ga\\x07me": {}\n', ":2:1:", "U+0007"),
        (b"just words\n", ":1:1:", "'just words'"),
        (b"- a list\n", ":1:1:", "a list"),
        (b"simbot: 1\nrobot: {}\n", ":2:1:", "a robot file"),
        (b"simbot: 1\ngmae: {}\n", ":2:1:", "'gmae'"),
        (b"simbot: 1\ngame: x\n", ":2:7:", "'x'"),
        (b"simbot: 1\ngame: {}\n---\nsimbot: 1\n", ":3:1:", "second document"),
        (b"simbot: 1\ngame: !!python/object:os.system {}\n", ":2:7:", "tag"),
        (b"simbot: 1\ngame: {? [a] : b}\n", ":2:", "a key must be a word"),
        (b"simbot: 1\ngame: {name: *nobody}\n", ":2:14:", "*nobody"),
        (b"simbot: 1\ngame: &g {name: *g}\n", ":2:17:", "*g"),
        (b"simbot: 1\ngame: " + b"[" * 5000, ":2:", "nested deeper"),
        (b"simbot: 1\ngame: " + b"{a: " * 5000, ":2:", "nested deeper"),
        (BOMB.encode(), "", "aliases"),
        (b"%YAML 9.9\n--- a\n", "", ""),
    ],
    ids=lambda value: repr(value)[:30],
)
def test_one_clear_message(tmp_path, data, place, words):
    path = tmp_path / "game.yaml"
    path.write_bytes(data)
    began = time.process_time()
    problem = the_problem(path)
    assert time.process_time() - began < 2.0
    assert f"game.yaml{place}" in str(problem)
    assert words in str(problem)
    assert "\n" not in str(problem)


def test_large_files_are_refused_before_they_are_read(tmp_path):
    path = tmp_path / "game.yaml"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    began = time.perf_counter()
    problem = the_problem(path)
    assert time.perf_counter() - began < 0.2
    assert "50000000" in problem.text and str(MAX_BYTES) in problem.text


def test_many_values_are_refused(tmp_path):
    path = tmp_path / "game.yaml"
    path.write_text("simbot: 1\ngame: [" + "1, " * 300_000 + "]\n", encoding="utf-8")
    assert "20000" in the_problem(path).text


def test_directory_and_missing_file(tmp_path):
    assert "directory" in the_problem(tmp_path).text
    assert "no such file" in the_problem(tmp_path / "none.yaml").text
    assert "none.yaml" in str(the_problem(tmp_path / "none.yaml"))


def test_bom_and_windows_lines_are_fine(tmp_path):
    path = tmp_path / "game.yaml"
    text = "simbot: 1\ngame:\n  name: x\n  field: {length: 3 m, width: 3 m}\n  periods: {autonomous: 4 s}\n"
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert load_game(path).name == "x"


def test_the_same_characters_are_refused_as_by_the_library():
    for number in range(0x110000):
        character = chr(number)
        assert bool(re.match(NOT_YAML, character)) == bool(Reader.NON_PRINTABLE.search(character)), hex(
            number
        )


def test_a_plan_that_names_itself_or_nothing(folder):
    folder.edit("plan", "game: game.yaml", "game: plan.yaml")
    folder.edit("plan", "robot: robot.yaml", "robot: nowhere.yaml")
    messages = [str(problem) for problem in folder.problems()]
    assert any("this is a plan file" in message and "a game file" in message for message in messages)
    assert any("there is no such file, given: 'nowhere.yaml'" in message for message in messages)
    assert any("plan.robot" in message for message in messages)


def test_a_decimal_comma_inside_braces(folder):
    folder.edit("plan", "lift: 0.42 m", "lift: 0,42 m")
    (message,) = [str(problem) for problem in folder.problems()]
    assert "decimal comma" in message and "'0,42 m'" in message and "0.42 m" in message


def test_yaml_1_2_scalars_stay_as_written():
    tree = parse_yaml("{a: no, b: 12:30, c: 010, d: 2.90, e: 'null', f: null, g: ~}", "x").plain()
    assert tree == {"a": "no", "b": "12:30", "c": "010", "d": "2.90", "e": "null", "f": None, "g": None}


def test_aliases_within_bounds_are_read():
    tree = parse_yaml("{a: &x {m: 1 kg}, b: *x, c: [*x, *x]}", "x").plain()
    assert tree["b"] == {"m": "1 kg"} and tree["c"] == [tree["b"]] * 2


def test_wrong_kind_of_file_at_the_top(folder):
    with pytest.raises(ScenarioError, match=r"this is a robot file.*a plan file"):
        load_plan(folder.path / "robot.yaml", KINDS)


def test_what_checks_build_robots_from_is_what_a_file_of_them_reads_as():
    words = {
        "lift": {"travel": ["0 m", "1 m"], "stages": [{"ratio": 2, "mass": "1 kg"}], "note": None, "on": True}
    }
    more = {"rails": {"5 V": {"current": 3.5}}, "loop": "10 ms"}
    tree = a_tree(robot_words(words, {"m": SMALL}, (12.5, 0.1), **more), Place("robot.yaml", 2, 1))
    assert (
        tree.plain() == parse_yaml(robot_text(words, {"m": SMALL}, (12.5, 0.1), **more), "robot.yaml").plain()
    )
