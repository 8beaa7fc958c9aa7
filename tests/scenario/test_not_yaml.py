"""A text that is no YAML is told where the slip is made, not where the parser noticed it, in words of the user's."""

import pytest

from simbot.scenario.errors import ScenarioError
from simbot.scenario.yaml_reader import parse_yaml

SLIPS = {
    "brace before more lines": ("a:\n  - move: {lift: 1 m\n  - wait: 460 ms\n", 2, "this '{' is not closed"),
    "brace at the end": ("a:\n  - move: {lift: 1 m\n", 2, "this '{' is not closed"),
    "bracket": ("pose: [0.9 m, 1.6 m\nb: 1\n", 1, "this '[' is not closed"),
    "a brace too many": ("a: {b: 1}}\nc: 2\n", 1, "a '}' too many"),
    "no space after the colon": ("a:\n  wait:460 ms\n  b: 1\n", 2, "did you mean 'wait: 460 ms'"),
    "no colon": ("a:\n  # a remark\n  wait 460 ms  # and one\n\n  b: 1\n", 3, "did you mean 'wait: 460 ms'"),
    "no colon after a heading": ("a:\n  routine\n    b: 1\n", 2, "did you mean 'routine:'"),
    "indented too far": ("a:\n  b: 1\n   c: 2\n", 3, "indented more than the one above"),
    "indented too little": ("a:\n    b: 1\n  c: 2\n", 3, "indented less than the one above"),
    "an open quotation": ('a: "hello\nb: 2\nc: 3\n', 1, "quotation mark is not closed"),
    "two colons": ("a: b: c\n", 1, "a second ': ' in one line"),
    "a tab": ("a:\n\tb: 1\n", 2, "a tab"),
    "an item among keys": ("a:\n  b: 1\n  - c: 2\n", 3, "a list item"),
    "a key among items": ("a:\n  - b\n  c: 2\n", 3, "a key among list items"),
    "a percent sign first": ("a: %5\n", 1, "may not begin with '%'"),
    "an ampersand first": ("a: &\nb: 1\n", 1, "may not begin with '&'"),
    "a forgotten comma": ("a: {b: 1 c: 2}\nd: 1\n", 1, "a comma is missing"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_slip_is_told_at_its_place(slip: str) -> None:
    text, line, told = SLIPS[slip]
    with pytest.raises(ScenarioError) as raised:
        parse_yaml(text, "plan.yaml")
    (problem,) = raised.value.problems
    assert problem.line == line
    assert told in str(problem)
    assert "<" not in str(problem)
