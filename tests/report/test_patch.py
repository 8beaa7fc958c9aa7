"""Patches of source code: the numbers change and nothing else, and the usual tools take them."""

# ruff: noqa: E501 - tables read better with one row a line

from __future__ import annotations

import csv
import io
import shutil
import subprocess

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stopwatches import a_plan, wait

from simbot.report.patch import CAUTION, check_sources, patch_of, unified
from simbot.report.timer_table import HEAD, safe_cell, table_text
from simbot.scenario.errors import SimbotError
from simbot.scenario.source_wait import Asked, find_number, read_source
from simbot.studies.tune_results import Overlaps, TunedTimer, TuneResult


def timer(source=None, now=350_000, better=740_000, name="CLAW_MS", reason="too short"):
    return TunedTimer(3, 12, name, ("claw to open",), source, now, better, 100_000, 690_000, 1, reason, None, (), ())  # fmt: skip


def tuned(*timers, plan="demo"):
    nothing = Overlaps((), (), (), 0, 0, 0)
    return TuneResult(plan, "plan.yaml", "Firefly", "Market", "safe", "tired", ("fresh", "tired"), 50_000, timers, {}, {}, nothing, None)  # fmt: skip


def numbered(path, name, better, **asked):
    now, source = find_number(read_source(path), Asked(name=name, **asked))
    return timer(source, now, better, name)


def applied(tmp_path, data, files, tool):
    """The files after a tool has applied the patch."""
    work = tmp_path / "work"
    for name, text in files.items():
        (work / name).parent.mkdir(parents=True, exist_ok=True)
        (work / name).write_bytes(text)
    (tmp_path / "timers.patch").write_bytes(data)
    if tool == "git":
        git = ["git", "-c", "core.autocrlf=false", "apply"]
        check = subprocess.run(
            [*git, "--check", tmp_path / "timers.patch"], cwd=work, capture_output=True, text=True
        )
        assert check.returncode == 0, check.stderr
        command = [*git, tmp_path / "timers.patch"]
    else:
        command = ["patch", "-p1", "-s", "-i", tmp_path / "timers.patch"]
    done = subprocess.run(command, cwd=work, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return {name: (work / name).read_bytes() for name in files}


TOOLS = [
    pytest.param(tool, marks=pytest.mark.skipif(shutil.which(tool) is None, reason=f"no {tool} here"))
    for tool in ("git", "patch")
]
JAVA = b"""class Timing {\r
\t// CLAW_MS = 350 would look alike\r
\tstatic final String S = "CLAW_MS = 350L; 350L";\r
\tstatic final long CLAW_MS = 350L;\t/* 350L ms */ static int FLIP_MS = 350;\r
\tstatic final double ARM_S = 0.60;  // \xe9 no UTF-8\r
}"""


@pytest.mark.parametrize("tool", TOOLS)
@pytest.mark.parametrize("name", ["Timing.java", "team code/Timing.java", "häuser/Zeit.java"])
def test_the_usual_tools_take_it_and_only_numbers_change(tmp_path, tool, name):
    file = tmp_path / "source" / name
    file.parent.mkdir(parents=True)
    file.write_bytes(JAVA)
    (tmp_path / "source" / ".git").mkdir()
    made = patch_of(
        tuned(
            numbered(file, "CLAW_MS", 740_000),
            numbered(file, "FLIP_MS", 360_000),
            numbered(file, "ARM_S", 740_000),
        )
    )
    after = applied(tmp_path, made.data, {name: JAVA}, tool)[name]
    expected = JAVA.replace(b"CLAW_MS = 350L;\t", b"CLAW_MS = 740L;\t").replace(
        b"FLIP_MS = 350", b"FLIP_MS = 360"
    )
    assert after == expected.replace(b"0.60;", b"0.74;")
    assert file.read_bytes() == JAVA
    assert (made.changed, made.root) == (3, tmp_path / "source")
    assert CAUTION.encode() in made.data


def test_two_files_in_one_patch(tmp_path):
    (tmp_path / "a").mkdir()
    first, second = tmp_path / "a" / "one.py", tmp_path / "two.cpp"
    first.write_bytes(b"CLAW_MS = 350\n")
    second.write_bytes(b"#define FLIP_MS (350)\n")
    made = patch_of(tuned(numbered(first, "CLAW_MS", 740_000), numbered(second, "FLIP_MS", 1_000_000)))
    assert made.root == tmp_path
    assert b"--- a/a/one.py\n+++ b/a/one.py\n" in made.data and b"+#define FLIP_MS (1000)\n" in made.data


def test_what_no_single_number_holds_is_left_to_the_hand(tmp_path):
    file = tmp_path / "A.java"
    file.write_bytes(b"class A { int B_MS = 300; int A_MS = B_MS + 50; int HOLD_S = 1; }\n")
    made = patch_of(tuned(numbered(file, "A_MS", 740_000), numbered(file, "HOLD_S", 1_020_000)))
    assert (made.changed, made.root) == (0, None)
    assert "A.java line 1, A_MS: 350 ms, better 740 ms" in made.by_hand[0]
    assert "HOLD_S" in made.by_hand[1] and b"# By hand: A.java" in made.data
    assert b"@@" not in made.data


def test_a_plan_without_source_has_no_patch():
    with pytest.raises(SimbotError, match="no timer of this plan stands in source code"):
        patch_of(tuned(timer()))


def test_source_that_has_changed_since_is_not_patched(tmp_path):
    file = tmp_path / "a.py"
    file.write_bytes(b"CLAW_MS = 350\n")
    one = numbered(file, "CLAW_MS", 740_000)
    file.write_bytes(b"# new\nCLAW_MS = 350\n")
    with pytest.raises(SimbotError, match="has changed since"):
        patch_of(tuned(one))


# --- drawn source files -----------------------------------------------------------------------------------

FORMS = {
    "A.java": ("class A {{\n{}}}\n", "  static final long {}_MS = {};{}\n", ["{}", "{}L", "0x{:x}", "{:_}"], "// {}"),
    "A.kt": ("object A {{\n{}}}\n", "  const val {}_MS = {}{}\n", ["{}", "{}L", "0x{:X}", "{:_}"], "/* {} */"),
    "a.py": ("class A:\n{}", "    {}_MS = {}{}\n", ["{}", "{}.0", "0b{:b}", "{:_}"], "  # {}"),
    "a.c": ("{}", "#define {}_MS {}{}\n", ["{}", "{}u", "0x{:x}", "({})"], " // {}"),
    "a.cpp": ("namespace a {{\n{}}}\n", "  constexpr auto {}_MS = {};{}\n", ["{}", "{}L", "{}.5", "{{{}}}"], " /* {} */"),
}  # fmt: skip
REMARKS = st.sampled_from(["", "350", "CLAW_MS = 3;", "= 350L", "é ß", "\t", '"'])


@st.composite
def sources(draw):
    """A source file with a few constants, comments that look alike, and either line end."""
    file = draw(st.sampled_from(sorted(FORMS)))
    frame, line, literals, comment = FORMS[file]
    names = draw(
        st.lists(st.sampled_from(["CLAW", "ARM", "FLIP", "LIFT"]), min_size=1, max_size=4, unique=True)
    )
    body = ""
    for name in names:
        literal = draw(st.sampled_from(literals)).format(draw(st.integers(1, 30_000)))
        remark = draw(REMARKS)
        body += line.format(name, literal, comment.format(remark) if remark else "")
    text = frame.format(body)
    if draw(st.booleans()):
        text = text.replace("\n", "\r\n")
    news = draw(st.lists(st.integers(1, 30_000), min_size=len(names), max_size=len(names)))
    return file, text.encode(), [f"{name}_MS" for name in names], [new * 1000 for new in news]


def shape(tree):
    """Everything of a file that is no number."""
    return [(one.dotted, one.type, one.macro) for one in tree.constants], tree.functions, tree.error_line


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(sources())
def test_patched_files_parse_the_same_but_for_the_numbers(tmp_path_factory, drawn):
    file, text, names, news = drawn
    folder = tmp_path_factory.mktemp("drawn")
    path = folder / file
    path.write_bytes(text)
    before = read_source(path)
    timers = [numbered(path, name, new) for name, new in zip(names, news, strict=True)]
    made = patch_of(tuned(*timers))
    if made.root is None:
        assert all(one.now_us == one.suggested_us for one in timers)
        return
    (tmp := folder / "out").mkdir()
    (tmp / file).write_bytes(text)
    (folder / "timers.patch").write_bytes(made.data)
    git = ["git", "-c", "core.autocrlf=false", "apply", str(folder / "timers.patch")]
    done = subprocess.run(git, cwd=tmp, capture_output=True, text=True, env={"GIT_CEILING_DIRECTORIES": str(folder), "PATH": "/usr/bin:/bin"})  # fmt: skip
    assert done.returncode == 0, done.stderr
    after = read_source(tmp / file)
    assert shape(after) == shape(before)
    for name, new in zip(names, news, strict=True):
        assert find_number(after, Asked(name=name))[0] == new
    assert (tmp / file).read_bytes().count(b"\r\n") == text.count(b"\r\n")


@given(
    st.lists(st.sampled_from([b"a\n", b"b\r\n", b"\x0c\n", b"c\rd\n", b"\xff\n", b"\n"]), max_size=12),
    st.data(),
)
@settings(max_examples=60, deadline=None)
def test_the_diff_of_any_bytes_is_what_git_takes(tmp_path_factory, lines, data):
    """Form feeds, lone carriage returns and bytes of any encoding are part of their lines."""
    last = data.draw(st.sampled_from([b"", b"end"]))
    old = b"".join(lines) + last
    at = data.draw(st.integers(0, len(lines)))
    new = b"".join([*lines[:at], b"new\n", *lines[at + 1 :]]) + data.draw(
        st.sampled_from([last, b"e\n", b"x"])
    )
    if old == new or not old or not new:
        return
    folder = tmp_path_factory.mktemp("bytes")
    after = applied(folder, b"".join(unified(old, new, "f.txt")), {"f.txt": old}, "git")
    assert after["f.txt"] == new


# --- table ------------------------------------------------------------------------------------------------


def test_table():
    rows = list(csv.reader(io.StringIO(table_text(tuned(timer(), timer(name='odd, "name"', reason="=1+1"))))))
    assert tuple(rows[0]) == HEAD
    assert rows[1] == ["CLAW_MS", "350", "740", "100", "690", "too short"]
    assert rows[2][0] == 'odd, "name"' and rows[2][-1] == "'=1+1"
    assert rows[3][0] == "caution" and "wheels off the ground" in rows[3][-1]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", "\r=1"])
def test_no_cell_begins_a_formula(text):
    assert safe_cell(text) == f"'{text}"
    for row in csv.reader(io.StringIO(table_text(tuned(timer(name=text, reason=text))))):
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)


def test_that_is_told_before_anything_is_tuned(tmp_path):
    with pytest.raises(SimbotError, match="no timer of this plan stands in source code"):
        check_sources(a_plan(tmp_path, [wait("0.3 s")]))
    (tmp_path / "A.java").write_text("class A { int HOLD_MS = 300; }\n", encoding="utf-8")
    check_sources(a_plan(tmp_path, [{"wait": {"from": "A.java", "name": "HOLD_MS"}}]))
