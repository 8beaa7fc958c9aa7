"""Whatever stands in a source file: its waits are listed, or a ValueFault says why. Nothing else comes out."""

# ruff: noqa: E501 - the pieces read better together

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from simbot.scenario.errors import ValueFault
from simbot.scenario.source_list import list_waits
from simbot.scenario.source_tree import LANGUAGES, parse_source
from simbot.scenario.source_wait import Asked, find_number

PIECES = (
    *"{}()[];:,.=+-*/%<>'\"#\n\t\\0", "class A ", "static final int CLAW_MS = 350L", "def go(self):\n    ", "fun go() ",
    "void go() ", "sleep(", "300", "0x", "1e9", "1e999999", "_MS", "#define ", "#if X\n", "const val ", "delay(300.milliseconds)",
    "A_MS = B_MS", "B_MS = A_MS", "/* ms", "*/", "// ms", "return ", "new Wait(", "((((((((", "-", "'", "300ms", "é", "namespace a {",
    "this.", "self.", "::", "->", "enum {", "(int)", "(double) ", "\x00", "\ufeff", "?:", "if (", "2147483648 * 2", "% 0",
)  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(
    st.lists(st.one_of(st.sampled_from(PIECES), st.text(max_size=4)), max_size=30).map("".join),
    st.sampled_from(sorted(set(LANGUAGES))),
)
def test_any_text(tmp_path_factory, text, suffix):
    data = text.encode("utf-8", "surrogatepass")
    tree = parse_source(tmp_path_factory.getbasetemp() / f"a{suffix}", data, LANGUAGES[suffix])
    for wait in list_waits(tree, "ms"):
        number = wait.number
        assert number.computed or data[number.start : number.end] == number.text.encode()
    for asked in (Asked(name="CLAW_MS"), Asked(call="sleep"), Asked(method="go", call="sleep", number=1)):
        try:
            find_number(tree, asked)
        except ValueFault as error:
            assert str(error) and "\n" not in str(error)


def test_very_deep_and_very_long_expressions(tmp_path):
    for text in ("(" * 3000 + "1" + ")" * 3000, "+".join(["1"] * 3000), "-" * 3000 + "1"):
        tree = parse_source(tmp_path / "a.py", f"A_MS = {text}\n".encode(), "python")
        try:
            find_number(tree, Asked(name="A_MS"))
        except ValueFault as error:
            assert len(str(error)) < 400
