"""JSON text, against the parsing suite of N. Seriot and against RFC 8259's own words."""

from __future__ import annotations

import json
from typing import Any

import pytest

from adapters.exports import OUTSIDE
from unrung.errors import ExportError, IncompleteExport
from unrung_adapters.decode import decoded
from unrung_adapters.documents import document
from unrung_adapters.numerals import SourceNumber

SUITE: dict[str, str] = {
    case["name"]: case["input"]
    for case in json.loads((OUTSIDE / "json-test-suite" / "parsing.json").read_text("ascii"))
}
# Valid JSON that is refused on purpose: one of two equal names would be lost without a word
# (RFC 8259, section 4: "names SHOULD be unique").
TWICE = {"y_object_duplicated_key.json", "y_object_duplicated_key_and_value.json"}


def parsed(text: str) -> Any:
    return document("x.json", decoded("x.json", text.encode("utf-8", "surrogatepass"), "utf-8"))


def as_python(value: Any) -> Any:
    """Our document with its numbers made Python's."""
    if isinstance(value, SourceNumber):
        return float(value) if set(value) & set(".eE") else int(value)
    if isinstance(value, dict):
        return {name: as_python(each) for name, each in value.items()}
    return [as_python(each) for each in value] if isinstance(value, list) else value


def test_the_suite_is_there() -> None:
    assert (len(SUITE), sum(name.startswith("y_") for name in SUITE)) == (291, 95)


@pytest.mark.parametrize("name", [n for n in SUITE if n.startswith("y_") and n not in TWICE])
def test_what_must_be_accepted_is_read_as_the_json_module_reads_it(name: str) -> None:
    assert as_python(parsed(SUITE[name])) == json.loads(SUITE[name])


@pytest.mark.parametrize("name", [n for n in SUITE if n.startswith("n_")] + sorted(TWICE))
def test_what_must_be_refused_is_refused_with_the_name_and_a_fix(name: str) -> None:
    with pytest.raises(ExportError) as caught:
        parsed(SUITE[name])
    assert caught.value.name == "x.json" and caught.value.reason and caught.value.fix


@pytest.mark.parametrize("name", [n for n in SUITE if n.startswith("i_")])
def test_what_is_left_open_is_read_or_refused_and_nothing_else_happens(name: str) -> None:
    try:
        parsed(SUITE[name])
    except ExportError as error:
        assert error.reason


@pytest.mark.parametrize("text", ["[" * 100_000, '[{"":' * 50_000, "[" * 100_000 + "]" * 100_000])
def test_a_bomb_of_brackets_is_refused(text: str) -> None:
    with pytest.raises(ExportError, match="nested too deep"):
        parsed(text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[NaN]", "a number that JSON does not have"), ("[-Infinity]", "JSON does not have"),
        ("[1e400]", "too large"), ("[-1E400]", "too large"), ('{"a": 1, "a": 2}', "twice"),
        ("[1] [2]", "more than one"), ('{"a": 1}\n{"a": 2}', "more than one"),
        ("<!DOCTYPE html><title>Log in</title>", "got a web page, not data"),
        ("  <rows/>", "got a web page, not data"), ("[1,]", "is not JSON"), ("at,item\n", "is not JSON"),
    ],
)  # fmt: skip
def test_what_json_libraries_let_through_is_refused(text: str, words: str) -> None:
    with pytest.raises(ExportError, match=words):
        parsed(text)


WHOLE = '[{"at": "2026-10-31T20:41:07Z", "n": -1.5e3, "ok": true, "no": null, "s": "a\\n\\u00e9"}]'


@pytest.mark.parametrize("cut", range(1, len(WHOLE)))
def test_a_document_cut_off_anywhere_is_called_cut_off(cut: int) -> None:
    with pytest.raises(IncompleteExport):
        parsed(WHOLE[:cut])


def test_numbers_keep_the_text_that_the_source_wrote() -> None:
    found = parsed("[1.50, 100, -0, 1E2, 12345678901234567890.1234567890]")
    assert found == ["1.50", "100", "-0", "1E2", "12345678901234567890.1234567890"]
    assert {type(number) for number in found} == {SourceNumber}


def test_an_error_names_the_line() -> None:
    with pytest.raises(ExportError) as caught:
        parsed('[\n  {"a": 1},\n  {"a": ?}\n]')
    assert caught.value.line == 3
