"""Waits that stand in the robot's own code: five languages, units, arithmetic, and mistakes with their places."""

# ruff: noqa: E501 - tables read better with one row a line

from __future__ import annotations

import ast
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simbot.scenario.errors import ValueFault
from simbot.scenario.source_literals import read_literal, rewrite_literal
from simbot.scenario.source_units import unit_of_comment, unit_of_name
from simbot.scenario.source_wait import Asked, find_number, read_source


def found(tmp_path, file, text, **asked):
    path = tmp_path / file
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return find_number(read_source(path), Asked(**asked))


def fault(tmp_path, file, text, **asked):
    with pytest.raises(ValueFault) as caught:
        found(tmp_path, file, text, **asked)
    return caught.value.fault


# file, code, what is asked, microseconds, the literal as it stands
NUMBERS = [
    ("A.java", "class A { static final long CLAW_MS = 350L; }", {"name": "CLAW_MS"}, 350_000, "350L"),
    ("A.java", "class A { static final double ARM_S = 0.60; }", {"name": "ARM_S"}, 600_000, "0.60"),
    ("A.java", "class A { int LIFT = 1_200; // ms\n}", {"name": "A.LIFT"}, 1_200_000, "1_200"),
    ("A.java", "class A { int H_MS = 0x15E, O_MS = 0536, B_MS = 0b101011110; }", {"name": "O_MS"}, 350_000, "0536"),
    ("A.java", "class A { int H_MS = 0x15E, O_MS = 0536, B_MS = 0b101011110; }", {"name": "B_MS"}, 350_000, "0b101011110"),
    ("A.java", "class A { void go() { nap(9); Thread.sleep(300); x.Thread.sleep(4); } }", {"method": "go", "call": "Thread.sleep"}, 300_000, "300"),
    ("A.java", "class A { void go() { sleep(1); sleep(2); sleep(300); } }", {"method": "go", "call": "sleep", "number": 3, "unit": "ms"}, 300_000, "300"),
    ("A.java", "class A { void go() { if (x) { this.sleep(3, TimeUnit.SECONDS); } } }", {"method": "go", "call": "sleep"}, 3_000_000, "3"),
    ("A.java", "class A { void go() { TimeUnit.SECONDS.sleep(2); } }", {"method": "A.go", "call": "sleep"}, 2_000_000, "2"),
    ("A.java", "class A { void go() { s.add(new HoldMillis(claw, 250)); } }", {"call": "HoldMillis", "argument": 2}, 250_000, "250"),
    ("A.java", "class A { static final int CLAW_MS = 350; void go() { Thread.sleep((long) (CLAW_MS)); } }", {"call": "sleep"}, 350_000, "350"),
    ("A.java", "class A { int X_MS = 10; class B { int X_MS = 20; void go() { Thread.sleep(X_MS); } } }", {"call": "sleep"}, 20_000, "20"),
    ("A.java", "class A { void go() { if (timer.seconds() > 0.5) { next(); } } }", {"call": "seconds"}, 500_000, "0.5"),
    ("A.java", "class A { void go() { while (300 >= timer.milliseconds()) { } } }", {"call": "milliseconds"}, 300_000, "300"),
    ("A.kt", "fun go() {\n    if (timer.seconds() > 0.5) next()\n}\n", {"call": "seconds"}, 500_000, "0.5"),
    ("a.py", "def go():\n    if timer.seconds() > 0.5:\n        pass\n", {"call": "seconds"}, 500_000, "0.5"),
    ("a.cpp", "void go() { while (t->millis() < 300) { } }", {"call": "millis"}, 300_000, "300"),
    ("A.kt", "const val CLAW_MS = 350L\n", {"name": "CLAW_MS"}, 350_000, "350L"),
    ("A.kt", "object T {\n    val armSeconds: Double = 0.6\n}\n", {"name": "T.armSeconds"}, 600_000, "0.6"),
    ("A.kt", "suspend fun go() {\n    delay(timeMillis = 30)\n    delay(300.milliseconds)\n}\n", {"method": "go", "call": "delay", "number": 2}, 300_000, "300"),
    ("a.py", "CLAW_MS = 1_350  # opens\n", {"name": "CLAW_MS"}, 1_350_000, "1_350"),
    ("a.py", "import time\ndef go():\n    time.sleep(.3)\n", {"method": "go", "call": "time.sleep"}, 300_000, ".3"),
    ("a.py", "from time import sleep\ndef go():\n    sleep(3e-1)\n", {"method": "go", "call": "sleep"}, 300_000, "3e-1"),
    ("a.py", "class A:\n    async def go(self):\n        await self.arm.hold(angle=3, seconds=2)\n", {"method": "A.go", "call": "hold", "argument": 2}, 2_000_000, "2"),
    ("a.c", "#define CLAW_MS 350 // closes\n", {"name": "CLAW_MS"}, 350_000, "350"),
    ("a.c", "#define CLAW (0.35f) /* s */\n", {"name": "CLAW"}, 350_000, "0.35f"),
    ("a.c", "enum { CLAW_MS = 350u };", {"name": "CLAW_MS"}, 350_000, "350u"),
    ("a.c", "void go(void) { usleep(350000); }", {"method": "go", "call": "usleep"}, 350_000, "350000"),
    ("a.cpp", "namespace t { constexpr auto CLAW_MS{1'350}; }", {"name": "t.CLAW_MS"}, 1_350_000, "1'350"),
    ("a.cpp", "struct A { static constexpr double ARM_S = 0.6; };", {"name": "ARM_S"}, 600_000, "0.6"),
    ("a.cpp", "void A::go() { std::this_thread::sleep_for(300ms); }", {"method": "A::go", "call": "sleep_for"}, 300_000, "300"),
    ("a.cpp", "void go() { sleep_for(std::chrono::milliseconds(310)); }", {"method": "go", "call": "sleep_for"}, 310_000, "310"),
    ("a.hpp", "void go() { wait(0.4, sec); }", {"method": "go", "call": "wait"}, 400_000, "0.4"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "code", "asked", "us", "literal"), NUMBERS)
def test_numbers_are_read_where_they_stand(tmp_path, file, code, asked, us, literal):
    got, number = found(tmp_path, file, code, **asked)
    assert (got, number.text, number.computed) == (us, literal, False)
    assert code.encode()[number.start : number.end].decode() == literal
    line = code.split("\n")[number.line - 1]
    assert line[number.column - 1 :].startswith(literal)


COMPUTED = [
    ("A.java", "class A { int A_MS = 300; int B_MS = A_MS / 7 * 2 + (50 % 8); }", "B_MS", 86_000),  # 42 * 2 + 2
    ("A.java", "class A { double A_S = 1 / 2 + 3 / 4.0; }", "A_S", 750_000),
    ("A.java", "class A { int A_MS = -(-350); }", "A_MS", 350_000),
    ("A.java", "class A { static final int A_MS = (int) (0.35f * 1000); }", "A_MS", 350_000),
    ("A.kt", "val A_MS = 100 * 3 + 50\n", "A_MS", 350_000),
    ("a.py", "A_S = 7 / 20\n", "A_S", 350_000),
    ("a.py", "A_S = 7 // 2 % 2\n", "A_S", 1_000_000),
    ("a.c", "#define A_MS (B_MS * 2)\n#define B_MS (100 + 75)\n", "A_MS", 350_000),
    ("a.c", "#define B_MS -3\nint A_MS = 353 + (B_MS);\n", "A_MS", 350_000),
]  # fmt: skip


@pytest.mark.parametrize(("file", "code", "name", "us"), COMPUTED)
def test_plain_arithmetic_by_the_languages_own_rules(tmp_path, file, code, name, us):
    got, number = found(tmp_path, file, code, name=name)
    assert (got, number.computed) == (us, True)


def test_crlf_byte_order_mark_and_other_alphabets_do_not_move_the_number(tmp_path):
    code = '\ufeffclass A {\r\n\tString s = "Zeit für CLAW_MS = 1 é";\r\n\t/* Öffnen */ int CLAW_MS = 350;\r\n}\r\n'
    _, number = found(tmp_path, "A.java", code, name="CLAW_MS")
    assert code.encode()[number.start : number.end] == b"350"
    assert (number.line, number.column) == (3, 29)


def test_text_that_is_no_utf8_is_read_around(tmp_path):
    code = b'class A { String s = "\xe9"; /* \xfc */ int CLAW_MS = 350; }'
    _, number = found(tmp_path, "A.java", code, name="CLAW_MS")
    assert code[number.start : number.end] == b"350"


FAULTS = [
    ("A.java", "class A {\n int CLAW_MS = 350; }", {"name": "CLAW_CLOSE"}, ["no constant", "'CLAW_CLOSE'"]),
    ("A.java", "class A {\n int CLAW_SHUT_MS = 350; }", {"name": "CLAW_SHUTS_MS"}, ["line 2", "did you mean 'CLAW_SHUT_MS'", "A.java"]),
    ("A.java", "class A { int CLAW = 350; }", {"name": "CLAW"}, ["unit", "line 1", "unit: ms"]),
    ("A.java", "class A { int CLAW_MS = 350; // [s]\n}", {"name": "CLAW_MS"}, ["CLAW_MS says ms", "says s"]),
    ("A.java", "class A { double ARM_S = 1; void go() { Thread.sleep(ARM_S); } }", {"call": "sleep"}, ["the call says ms", "ARM_S says s"]),
    ("A.java", "class A { int A_MS = 3; void go() { A_MS = 4; } }", {"name": "A_MS"}, ["not a constant", "line 1"]),
    ("A.java", "class A { int A_MS = 3; void go() { A_MS++; } }", {"name": "A_MS"}, ["not a constant"]),
    ("A.java", "class A { int A_MS = 3; }\nclass B { int A_MS = 4; }", {"name": "A_MS"}, ["lines 1, 2", "A.A_MS, B.A_MS"]),
    ("A.java", "class A { int A_MS = Math.max(1, 2); }", {"name": "A_MS"}, ["'Math.max(1, 2)'", "not a number"]),
    ("A.java", "class A { int A_MS = B_MS; int B_MS = A_MS; }", {"name": "A_MS"}, ["hangs on itself"]),
    ("A.java", "class A { int A_MS = 1 / 0; }", {"name": "A_MS"}, ["division by zero"]),
    ("A.java", "class A { int A_MS = 3 << 2; }", {"name": "A_MS"}, ["'<<'"]),
    ("A.java", "class A { int A_MS = -3; }", {"name": "A_MS"}, ["no wait", "-3 ms"]),
    ("A.java", "class A { int A_MS = 70000 * 70000; }", {"name": "A_MS"}, ["an int holds"]),
    ("A.java", "class A { void go() { sleep(1); nap(2); } }", {"method": "go", "call": "slep", "unit": "ms"}, ["'slep'", "did you mean 'sleep'", "line 1"]),
    ("A.java", "class A { void go() { sleep(1); sleep(2); } }", {"method": "go", "call": "sleep", "unit": "ms"}, ["2 such calls", "number: 1"]),
    ("A.java", "class A { void go() { sleep(1); sleep(2); } }", {"method": "go", "call": "sleep", "number": 3, "unit": "ms"}, ["there are 2 such calls", "'3'"]),
    ("A.java", "class A { void go() { sleep(); } }", {"method": "go", "call": "sleep", "unit": "ms"}, ["0 arguments"]),
    ("A.java", "class A { void go() { } void stay() { sleep(1); } }", {"method": "goo", "call": "sleep"}, ["no method", "did you mean 'go'"]),
    ("A.java", "class A { void go() { sleep(1); } void go(int x) { sleep(2); } }", {"method": "go", "call": "sleep"}, ["2 methods"]),
    ("a.c", "#if X\n#define A_MS 3\n#else\n#define A_MS 4\n#endif\n", {"name": "A_MS"}, ["lines 2, 4"]),
    ("a.c", "#define B_MS 3 + 4\nint A_MS = B_MS * 2;\n", {"name": "A_MS"}, ["line 1", "brackets", "(3 + 4)"]),
    ("a.cpp", "int A_MS = twice(3);", {"name": "A_MS"}, ["'twice(3)'", "not a number"]),
    ("a.cpp", "void go() { nap(twice(3)); }", {"call": "nap", "unit": "ms"}, ["'twice(3)'"]),
    ("a.cpp", "auto A_MS = 3_fold;", {"name": "A_MS"}, ["'3_fold'"]),
    ("A.kt", "val A_MS = 3.fold\n", {"name": "A_MS"}, ["'3.fold'"]),
    ("a.py", "A_MS = 3j\n", {"name": "A_MS"}, ["'3j'"]),
    ("a.py", "A_MS = 1e999999999\n", {"name": "A_MS"}, ["1e999999999"]),
    ("a.rs", "const A_MS: u32 = 3;", {"name": "A_MS"}, [".java"]),
]  # fmt: skip


@pytest.mark.parametrize(("file", "code", "asked", "words"), FAULTS)
def test_what_is_no_plain_number_is_told_with_its_place(tmp_path, file, code, asked, words):
    said = str(fault(tmp_path, file, code, **asked))
    assert all(word in said for word in words), said


def test_comments_and_strings_that_look_alike_are_no_constants(tmp_path):
    code = (
        'class A { // CLAW_MS = 1;\n String s = "CLAW_MS = 2;"; /* int CLAW_MS = 3; */ int CLAW_MS = 350; }'
    )
    assert found(tmp_path, "A.java", code, name="CLAW_MS")[0] == 350_000


@pytest.mark.parametrize(
    ("name", "unit"),
    [("CLAW_CLOSE_MS", "ms"), ("kArmSeconds", "s"), ("ARM_S", "s"), ("openMillis", "ms"), ("SLIDES", None),
     ("CLAW", None), ("MS", None), ("pause_us", "us"), ("ms", None), ("armTimeMs", "ms"), ("CLASS", None)],
)  # fmt: skip
def test_units_by_the_endings_of_names(name, unit):
    assert unit_of_name(name) == unit


@pytest.mark.parametrize(
    ("comment", "unit"),
    [("// ms", "ms"), ("# claw opens [s]", "s"), ("/* time in ms */", "ms"), ("// 350 ms", "ms"), ("// the claw's", None),
     ("// ms or s?", None), ("// in s, not in ms", None), ("// waits until it is in", None), ("// seconds, as measured", "s")],
)  # fmt: skip
def test_units_by_comments(comment, unit):
    assert unit_of_comment(comment) == unit


@given(
    st.integers(0, 10**6),
    st.sampled_from(["{}", "{:_}", "0x{:x}", "0x{:X}", "0o{:o}", "0b{:b}", "{}.0", "{}e0", "{}.5"]),
)
def test_python_literals_are_worth_what_python_says(value, form):
    text = form.format(value)
    assert read_literal(text, "python") == Fraction(ast.literal_eval(text))


@given(
    st.integers(1, 10**6),
    st.integers(1, 10**6),
    st.sampled_from(["{}", "{:_}", "0x{:x}", "0o{:o}", "0b{:b}"]),
)
def test_rewritten_whole_numbers_keep_their_base(old, new, form):
    written = rewrite_literal(form.format(old), "python", Fraction(new), whole=True)
    assert ast.literal_eval(written) == new
    assert written[:2].lower() in ("0x", "0o", "0b") or form[0] == "{"


@pytest.mark.parametrize(
    ("old", "language", "new", "whole", "expected"),
    [("350L", "java", "740", True, "740L"), ("1_200", "java", "950", True, "950"), ("1_200", "java", "13_50", True, "1_350"),
     ("0x15E", "c", "740", True, "0x2E4"), ("0536", "c", "8", True, "010"), ("0.60f", "cpp", "0.74", False, "0.74f"),
     ("0.6", "java", "0.745", False, "0.745"), (".5", "python", "0.74", False, ".74"), ("5.", "c", "6", False, "6."),
     ("1", "python", "0.74", False, "0.74"), ("1", "java", "0.74", True, None), ("1'200", "cpp", "2350", True, "2'350"),
     ("5e-1", "python", "0.74", False, "0.74"), ("0.60", "kotlin", "2", False, "2.00"), ("350", "kotlin", "740", True, "740")],
)  # fmt: skip
def test_literals_keep_their_spelling(old, language, new, whole, expected):
    assert rewrite_literal(old, language, Fraction(new), whole) == expected


# --- in a plan --------------------------------------------------------------------------------------------

WAIT = "{wait: 250 ms, measured: [0.31 s, 0.29 s, 0.33 s]}"


def test_a_plans_wait_names_a_constant(folder):
    (folder.path / "code").mkdir()
    (folder.path / "code" / "Timing.java").write_text("class Timing {\n int CLAW_MS = 270;\n}\n")
    folder.edit("plan", "wait: 250 ms", "wait: {from: code/Timing.java, name: CLAW_MS}")
    plan, _ = folder.load()
    (wait,) = [step for step in plan.routines["deliver"].steps if getattr(step, "source", None)]
    assert (wait.duration_us, wait.source.line, wait.source.text) == (270_000, 2, "270")
    assert wait.source.file == folder.path / "code" / "Timing.java"


@pytest.mark.parametrize(
    ("wait", "words"),
    [
        ("{from: code/Timing.jav, name: CLAW_MS}", ["'code/Timing.jav'", ".java"]),
        ("{from: code/Tming.java, name: CLAW_MS}", ["no such file", "'code/Tming.java'", "'Timing.java'"]),
        ("{from: code/Timing.java, name: CLAW_M}", ["'CLAW_M'", "'CLAW_MS'", "line 2", "Timing.java"]),
        ("{from: code/Timing.java, nam: CLAW_MS}", ["unknown key", "'name'"]),
        ("{from: code/Timing.java}", ["`name`", "`call`"]),
        ("{from: code/Timing.java, name: CLAW_MS, number: 2}", ["belongs to `call`"]),
        ("{name: CLAW_MS}", ["`from`"]),
        ("{from: code/Timing.java, name: CLAW_MS, unit: sec}", ["'sec'", "ms, s"]),
    ],
)
def test_a_mistake_in_such_a_wait_is_one_message(folder, wait, words):
    (folder.path / "code").mkdir()
    (folder.path / "code" / "Timing.java").write_text("class Timing {\n int CLAW_MS = 270;\n}\n")
    folder.edit("plan", "wait: 250 ms", f"wait: {wait}")
    (problem,) = folder.problems()
    assert all(word in str(problem) for word in words), problem
    assert problem.line > 0 and problem.file.endswith("plan.yaml")
