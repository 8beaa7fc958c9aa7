"""The JSON document: its published schema, exact times, the same bytes every time."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest

from simbot import analysis
from simbot.analysis.hands import TOLD
from simbot.report.document import SCHEMAS, run_document, schema_text, to_text


def schema(name="run"):
    return json.loads(schema_text(name))


@pytest.mark.parametrize("name", SCHEMAS)
def test_published_schemas_are_valid_and_closed(name):
    document = schema(name)
    jsonschema.Draft202012Validator.check_schema(document)
    for part in [document, *document["$defs"].values()]:
        assert part["additionalProperties"] is False
        assert set(part["required"]) == set(part["properties"])
        for key, value in part["properties"].items():
            assert "description" in value or "$ref" in value, key


def test_document_follows_its_schema(run_result):
    document = json.loads(to_text(run_document(run_result)))
    jsonschema.Draft202012Validator(schema()).validate(document)


def test_a_finding_before_the_first_command_stands_in_no_line(finding, state, run_result):
    early = state(findings=(finding(kind="over_fuse", step=0, line=0),))
    document = json.loads(to_text(run_document(replace(run_result, states=(early,)))))
    jsonschema.Draft202012Validator(schema()).validate(document)
    assert document["states"]["mid-event"]["findings"][0]["line"] is None


def test_every_kind_of_finding_is_published():
    published = set(schema()["$defs"]["finding"]["properties"]["kind"]["enum"])
    assert set(TOLD) <= published
    written = re.compile(r'(?:kind=|_finding\()"(\w+)"')
    texts = [path.read_text(encoding="utf-8") for path in Path(analysis.__file__).parent.glob("*.py")]
    assert {kind for text in texts for kind in written.findall(text)} <= published


def test_a_key_that_is_not_published_is_refused(run_result):
    document = run_document(run_result)
    document["states"]["fresh"]["moves"][0]["colour"] = 1
    with pytest.raises(jsonschema.ValidationError, match="colour"):
        jsonschema.Draft202012Validator(schema()).validate(document)


def test_times_are_exact_to_the_microsecond(move, state, run_result):
    odd = move(arrival_us=753_630, floor_us=745_861, timer_us=840_000, start_at_us=119_999_999)
    changed = replace(run_result, states=(state(moves=(odd,)),))
    written = json.loads(to_text(run_document(changed)))["states"]["mid-event"]["moves"][0]
    assert written["arrival_s"] == 0.75363
    assert written["floor_s"] == 0.745861
    assert written["margin_s"] == 0.08637
    assert written["start_at_s"] == 119.999999


def test_same_result_same_bytes(run_result):
    first, second = to_text(run_document(run_result)), to_text(run_document(run_result))
    assert first == second
    assert first.endswith("}\n") and "\r" not in first
    assert list(json.loads(first)["states"]) == ["fresh", "mid-event", "tired"]


def test_absent_is_null_and_no_minus_zero(move, state, run_result):
    never = move(arrival_us=None, verdict="never", start_speed=-0.0, first_inside_us=None)
    text = to_text(run_document(replace(run_result, states=(state(moves=(never,), time=None),))))
    document = json.loads(text)["states"]["mid-event"]
    assert document["time"] is None
    assert document["moves"][0]["arrival_s"] is None and document["moves"][0]["reason"] is None
    assert "-0.0," not in text
