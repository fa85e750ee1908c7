"""JSON exports to records: where the rows are, what surrounds them, what a value may be."""

from __future__ import annotations

from typing import Any

import pytest

from adapters.exports import OUTSIDE, mapping, one, read_json, utc_ms
from unrung.errors import ExportError, IncompleteExport
from unrung.records import Reject
from unrung_adapters.notes import ReadNotes

AT = "2026-10-31T20:41:07-04:00"
CHECKS = {
    "day": "2026-10-31",
    "checks": [
        {"number": 71, "lines": [{"at": AT, "item": "Stout", "qty": 2}, {"at": AT, "item": "Pils"}]},
        {"number": 72},
        {"number": 73, "lines": []},
        {"number": "74", "lines": [{"at": AT, "item": "Stout", "qty": 0.5}]},
    ],
}
IN_CHECKS = {"at": "/at", "item": "/item", "check": "2/number", "terminal": "2#"}
FLAT = {"at": "/at", "item": "/item", "amount": "/amount", "outlet": {"const": "Boathouse"}}


def test_rows_inside_checks_know_the_check_around_them() -> None:
    rings: Any = read_json(CHECKS, mapping(fields=IN_CHECKS, rows="/checks/*/lines"))
    assert [(ring.line, ring.item, ring.check) for ring in rings] == [
        (1, "Stout", "71"), (2, "Pils", "71"), (3, "Stout", "74"),
    ]  # fmt: skip
    assert [ring.terminal for ring in rings] == ["0", "0", "3"]
    assert rings[0].at_ms == utc_ms(AT)


def test_a_row_is_read_the_same_whatever_shape_surrounds_it() -> None:
    row = {"at": AT, "item": "Stout", "amount": 6.5}
    bare = read_json([row], mapping(fields=FLAT))
    inside = read_json({"data": {"a/b": [row]}}, mapping(fields=FLAT, rows="/data/a~1b"))
    lists = read_json(
        [[AT, "Stout", 6.5]], mapping(fields={**FLAT, "at": "/0", "item": "/1", "amount": "/2"})
    )
    assert bare == inside == lists
    assert (one(bare).amount_minor, one(bare).outlet) == (650, "Boathouse")


def test_scalars_keep_the_text_of_the_source() -> None:
    fields = {"at": "/at", "item": "/item", "id": "/id", "check": "/open", "size": "/size", "version": "/v"}
    text = f'[{{"at": "{AT}", "item": 7.50, "id": 12345678901234567890, "open": true, "size": null}}]'
    ring = one(read_json(text, mapping(fields=fields)))
    assert (ring.item, ring.ref, ring.check, ring.size) == ("7.50", "12345678901234567890", "true", "")
    assert ring.raw == "\x1f".join([AT, "7.50", "12345678901234567890", "", "", "true"])


def test_several_pointers_are_joined_by_a_blank() -> None:
    fields = {"at": ("/date", "/time"), "item": "/item"}
    ring = one(read_json([{"date": "2026-10-31", "time": "20:41", "item": "Stout"}], mapping(fields=fields)))
    assert (ring.at_text, ring.raw) == ("2026-10-31 20:41", "2026-10-31\x1f20:41\x1fStout")


def test_json_numbers_have_a_point_though_texts_of_the_feed_have_a_comma() -> None:
    rows = [{"at": AT, "item": "Stout", "amount": amount} for amount in (4.5, "4,5")]
    chosen = mapping(fields=FLAT, decimal=",", thousands=".")
    assert [ring.amount_minor for ring in read_json(rows, chosen)] == [450, 450]  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("row", "field", "words"),
    [
        ({"item": "Stout"}, "at", "is empty"), ({"at": AT, "item": None}, "item", "is empty"),
        ({"at": AT, "item": {"name": "Stout"}}, "item", "holds an object"),
        ({"at": AT, "item": ["Stout"]}, "item", "holds an array"), (17, "row", "is not an object"),
        (None, "row", "is not an object"), ({"at": AT, "item": "a\0b"}, "item", "NUL"),
        ({"at": AT, "item": "\ud83c"}, "item", "half of a character"),
        ({"at": AT, "item": "\ud83c\0"}, "item", "NUL"),
        ({"at": AT, "item": "Stout", "amount": True}, "amount", "is not a number"),
        ({"at": 1793514600, "item": "Stout"}, "at", "is not a time"),
    ],
)  # fmt: skip
def test_a_row_that_cannot_be_read_is_put_aside_with_its_reason(
    row: Any, field: str, words: str
) -> None:
    good = {"at": AT, "item": "Stout"}
    first, bad, last = read_json([good, row, good], mapping(fields=FLAT))
    assert isinstance(bad, Reject) and (bad.line, bad.field) == (2, field)
    assert words in bad.reason and bad.fix
    "".join([bad.value, *bad.cells.values()]).encode()  # it is stored as UTF-8
    assert not isinstance(first, Reject) and not isinstance(last, Reject)


@pytest.mark.parametrize(
    ("document", "rows", "words"),
    [
        (CHECKS, "/cheques/*/lines", "Did you mean 'checks'"),
        (CHECKS, "/checks/*/line", "Did you mean 'lines'"),
        (CHECKS, "", "is an object, not an array"), (CHECKS, "/day", "holds a single value"),
        (CHECKS, "/checks/0", "holds an object"), ({}, "/rows", "has no 'rows'"), (7, "", "a single value"),
        ({"checks": 3}, "/checks/*/lines", "has no"),
    ],
)  # fmt: skip
def test_rows_that_are_not_where_they_should_be_are_named(document: Any, rows: str, words: str) -> None:
    with pytest.raises(ExportError, match=words) as caught:
        read_json(document, mapping(fields=IN_CHECKS, rows=rows))
    assert caught.value.name == "sales.json" and "formats.rows" in caught.value.fix


@pytest.mark.parametrize(
    ("document", "rows"), [([], ""), ({"checks": []}, "/checks/*/lines"), ({"r": []}, "/r")]
)
def test_an_empty_array_is_a_quiet_day_and_no_error(document: Any, rows: str) -> None:
    assert read_json(document, mapping(fields=IN_CHECKS, rows=rows)) == []


def test_a_field_that_no_row_has_is_noted() -> None:
    notes = ReadNotes()
    read_json([{"at": AT, "item": "Stout"}], mapping(fields={**FLAT, "size": "/sise"}), notes)
    assert notes.absent == ["size", "amount"]


def test_rows_are_passed_over_as_the_feed_says() -> None:
    notes = ReadNotes()
    rows = [{"at": AT, "item": "Stout"}, {"item": "Total", "type": "sum"}]
    chosen = mapping(fields=FLAT, skip_rows=[{"column": "/type", "values": ["sum"]}])
    assert len(read_json(rows, chosen, notes)) == 1 and notes.skipped == 1


def test_a_byte_order_mark_is_taken_off() -> None:
    content = f'[{{"at": "{AT}", "item": "Bière"}}]'
    for written, declared in (("utf-8-sig", "utf-8"), ("utf-16", "utf-16")):
        found = read_json(content.encode(written), mapping(fields=FLAT, encoding=declared))
        assert one(found).item == "Bière"


def test_nested_rows_of_csvkit_are_reached_by_pointers() -> None:
    """csvkit's testjson_nested.json; expected values: its testjson_nested_converted.csv."""
    content = (OUTSIDE / "csvkit-examples" / "testjson_nested.json").read_bytes()
    fields = {
        "day": "/nested/nested/date", "reason": {"const": "waste"}, "item": "/text",
        "product": "/float", "tap": "/boolean", "id": "/nested/nested/integer",
    }  # fmt: skip
    rows = read_json(content, mapping("log", fields, date="%Y-%m-%d"))
    assert [(row.line, row.field) for row in rows if isinstance(row, Reject)] == [(1, "day"), (2, "day")]
    cells = [tuple(row.cells.values()) for row in rows if isinstance(row, Reject)]
    assert cells == [
        ("1971-01-01", "waste", "true", "1.0", "Chicago Reader", "40"),
        ("1948-01-01", "waste", "true", "1.27", "Chicago Sun-Times", "63"),
    ]


LINES = '{{"at": "{at}", "item": "Stout"}}\n{middle}\n{{"at": "{at}", "item": "Pils"}}{end}'


def test_a_document_a_line_is_a_row_a_line_and_a_bad_line_is_kept_aside() -> None:
    text = LINES.format(at=AT, middle='{"at": "', end="\n")
    stout, bad, pils = read_json(text, mapping(fields=FLAT, json_lines=True))
    assert (one([stout]).item, one([pils]).item, one([pils]).line) == ("Stout", "Pils", 3)
    assert isinstance(bad, Reject) and (bad.line, bad.field) == (2, "row")
    assert "ends too early" in bad.reason and bad.fix
    unended = LINES.format(at=AT, middle="", end="")  # and a blank line is none
    assert [row.line for row in read_json(unended, mapping(fields=FLAT, json_lines=True))] == [1, 2]


@pytest.mark.parametrize(
    ("text", "settings", "error", "said"),
    [
        (LINES.format(at=AT, middle="", end='\n{"at"'), {"json_lines": True}, IncompleteExport, "line 4"),
        ("{}\n?\n{}", {"json_lines": True, "rows": "/*/x"}, ExportError, "line 2"),
        ("<html>\n</html>", {"json_lines": True}, ExportError, "web page"),
        (LINES.format(at=AT, middle="", end=""), {}, ExportError, "json_lines = true"),
    ],
    ids=["cut off", "rows within lines", "nothing to read", "not told"],
)
def test_lines_that_cannot_be_trusted_are_refused(
    text: str, settings: dict[str, Any], error: type[ExportError], said: str
) -> None:
    with pytest.raises(error, match=said):
        read_json(text, mapping(fields=FLAT, **settings))
