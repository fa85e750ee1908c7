"""CSV exports: RFC 4180 and what real files add to it."""

from __future__ import annotations

import json
from typing import Any

import pytest

from adapters.exports import OUTSIDE, mapping, one, read_csv
from unrung.errors import ExportError, IncompleteExport
from unrung.records import Reject
from unrung_adapters.notes import ReadNotes

SPECTRUM = OUTSIDE / "csv-spectrum"
CSVKIT = OUTSIDE / "csvkit-examples"
TEXTS = ("item", "product", "outlet", "tap", "id")
GOOD = "2026-10-31T20:41:07Z,Stout,1,6.50,A1"
HEADER = "at,item,units,amount,id"


def cells_of(content: bytes, names: list[str], **formats: Any) -> list[tuple[int, list[str]]]:
    """Line and cells of every row, read through the front door as entries of a cleaning log."""
    fields = {"day": {"const": "2026-10-31"}, "reason": {"const": "cleaning"}}
    chosen = mapping("log", {**fields, **dict(zip(TEXTS, names, strict=False))}, **formats)
    order = [TEXTS.index(field) for field in ("tap", "product", "outlet", "item", "id")]
    order = [index for index in order if index < len(names)]
    found = []
    for row in read_csv(content, chosen):
        assert not isinstance(row, Reject), row
        cells = dict(zip(order, row.raw.split("\x1f"), strict=True))
        found.append((row.line, [cells[index] for index in range(len(names))]))
    return found


@pytest.mark.parametrize("name", sorted(path.stem for path in (SPECTRUM / "csvs").iterdir()))
def test_csv_spectrum_is_read_as_its_own_json_says(name: str) -> None:
    expected = json.loads((SPECTRUM / "json" / f"{name}.json").read_text("utf-8"))
    content = (SPECTRUM / "csvs" / f"{name}.csv").read_bytes()
    if isinstance(expected, dict):  # One row, whose telephone number differs from the CSV's.
        expected = [{key: value for key, value in expected.items() if "Phone" not in key}]
    columns = list(expected[0])
    found = [cells for _, cells in cells_of(content, columns)]
    assert found == [list(row.values()) for row in expected]


@pytest.mark.parametrize(
    ("name", "columns", "formats", "rows"),
    [
        ("test_utf8.csv", "foo bar baz", {}, [(2, "1 2 3"), (3, "4 5 ʤ")]),
        ("test_utf8_bom.csv", "foo bar baz", {}, [(2, "1 2 3"), (3, "4 5 ʤ")]),
        ("test_utf16_big.csv", "a b c", {"encoding": "utf-16"}, [(2, "1 2 3"), (3, "4 5 ʤ")]),
        ("test_utf16_little.csv", "a b c", {"encoding": "utf-16"}, [(2, "1 2 3"), (3, "4 5 ʤ")]),
        ("test_latin1.csv", "a b c", {"encoding": "latin-1"}, [(2, "1 2 3"), (3, "4 5 ©")]),
        ("test_skip_lines.csv", "a b c", {"skip_lines": 3}, [(5, "1 2 3")]),
        ("test_skip_lines.csv", "a b c", {}, [(5, "1 2 3")]),
        ("no_header_row3.csv", "1 2 3", {"header": False}, [(1, "1 2 3"), (2, "4 5 6")]),
        ("dummy.tsv", "a b c", {"delimiter": "\t"}, [(2, "1 2 3")]),
        ("sniff_limit.csv", "a b c", {"delimiter": ";"}, [(2, "1 2 3")]),
        ("dummy.csv.gz", "a b c", {"compression": "gzip"}, [(2, "1 2 3")]),
        ("optional_quote_characters.csv", "a b c", {}, [(2, "1 2 3")]),
        ("test_no_leading_zeroes.csv", "a b c", {}, [(2, "01 00.11 0.1")]),
        ("blanks.csv", "b c d e f", {}, [(2, "NA N/A NONE NULL .")]),
    ],
)  # fmt: skip
def test_csvkit_examples_are_read(
    name: str, columns: str, formats: dict[str, Any], rows: list[tuple[int, str]]
) -> None:
    found = cells_of((CSVKIT / name).read_bytes(), columns.split(), **formats)
    assert found == [(line, cells.split()) for line, cells in rows]


def test_line_ends_of_old_macs_end_lines() -> None:
    found = cells_of((CSVKIT / "mac_newlines.csv").read_bytes(), ["a", "b", "c"])
    assert found == [(2, ["1", "2", "3"]), (3, ["Once upon\ra time", "5", "6"])]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("null_byte.csv", "NUL"), ("test_utf16_big.csv", "begins like utf-16"),
        ("test_latin1.csv", "byte 16 is not utf-8"), ("empty.csv", "is empty"),
        ("testjson.json", "There is only one column"),
    ],
)  # fmt: skip
def test_csvkit_examples_that_are_not_what_the_feed_says_are_refused(name: str, words: str) -> None:
    with pytest.raises(ExportError, match=words):
        cells_of((CSVKIT / name).read_bytes(), ["a", "b", "c"])


def test_short_and_long_rows_of_csvkit_are_put_aside() -> None:
    fields = {"at": "column_a", "item": "column_b"}
    rows = read_csv((CSVKIT / "bad.csv").read_bytes(), mapping(fields=fields))
    assert [(row.line, row.field, row.value) for row in rows if isinstance(row, Reject)] == [
        (2, "row", "4 cells"), (3, "row", "2 cells"), (4, "at", "0"),
    ]  # fmt: skip


def test_dates_and_numbers_of_csvkit_are_read_by_declared_marks() -> None:
    """Expected values: csvkit's test_date_format_converted.csv and test_locale_converted.csv."""
    content = (CSVKIT / "test_date_format.csv").read_bytes()
    fields = {"day": "a", "reason": {"const": "waste"}, "item": {"const": "Stout"}}
    days = read_csv(content, mapping("log", fields, date="%d/%m/%Y"))
    assert [entry.day for entry in days] == ["2014-01-02", "2012-12-31"]  # type: ignore[union-attr]
    fields = {"day": {"const": "2026-10-31"}, "reason": {"const": "waste"}, "volume": "b"}
    content = (CSVKIT / "test_locale.csv").read_bytes()
    formats = {"decimal": ",", "thousands": ".", "volume_unit": "ml"}
    assert one(read_csv(content, mapping("log", fields, **formats))).volume_ul == 200_000_000_000


def test_line_numbers_are_physical_ones() -> None:
    text = f'Sales of the day\n\n{HEADER}\n{GOOD}\n\n"2026-10-31T20:42:07Z","St\nout",1,1,2\n{GOOD}\n'
    assert [row.line for row in read_csv(text, mapping(skip_lines=1))] == [4, 6, 8]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_blank_lines_are_passed_over_and_every_line_end_counts_as_one(end: str) -> None:
    notes = ReadNotes()
    lines = ["", HEADER, GOOD, "", "   ", ",,,,", HEADER, GOOD, ""]
    rows = read_csv(end.join(lines) + end, mapping(), notes)
    assert [(type(row).__name__, row.line) for row in rows] == [("Ring", 3), ("Ring", 8)]
    assert notes.skipped == 3


def test_footers_are_passed_over_as_the_feed_says() -> None:
    notes = ReadNotes()
    text = f"{HEADER}\n{GOOD}\nTotal,,1\n,,,6.50,\nPage 1\n"
    rules = [{"column": "at", "values": ["Total"]}, {"column": "id", "values": [""]}]
    assert len(read_csv(text, mapping(skip_rows=rules), notes)) == 1
    assert notes.skipped == 3


def test_a_header_without_rows_is_a_quiet_day_and_no_error() -> None:
    assert read_csv(f"{HEADER}\n", mapping()) == []


def test_more_columns_and_another_order_change_nothing() -> None:
    first = one(read_csv(f"{HEADER}\n{GOOD}\n", mapping()))
    text = "id,waiter, item ,units,at,amount\nA1,Ann,Stout,1,2026-10-31T20:41:07Z,6.50\n"
    assert one(read_csv(text, mapping())) == first


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("at,itm,units,amount,id", r"has no column 'item'.*Did you mean 'itm'\?.*'at', 'itm', 'units'"),
        ("at;item;units;amount;id", "There is only one column: is formats.delimiter right"),
        ("at,item,units,item,id", "has 2 columns named 'item'"),
    ],
)  # fmt: skip
def test_another_header_is_refused_with_the_columns_that_are_there(header: str, words: str) -> None:
    with pytest.raises(ExportError, match=words) as caught:
        read_csv(f"\n{header}\n{GOOD}\n", mapping())
    assert (caught.value.name, caught.value.line) == ("sales.csv", 2)


def test_a_repeated_column_that_is_not_mapped_does_not_matter() -> None:
    text = "at,item,note,note\n2026-10-31T20:41:07Z,Stout,a,b\n"
    assert one(read_csv(text, mapping(fields={"at": "at", "item": "item"}))).item == "Stout"


def test_a_stray_quote_is_refused_with_the_line_that_it_stands_on() -> None:
    text = f'{HEADER}\n{GOOD}\n2026-10-31T20:42:07Z,"Stout,1,6.50,A2\n' + f"{GOOD}\n" * 3
    with pytest.raises(ExportError, match="a quote that opens on this line") as caught:
        read_csv(text, mapping())
    assert caught.value.line == 3 and not isinstance(caught.value, IncompleteExport)


def test_a_stray_quote_that_a_later_one_ends_is_refused_too() -> None:
    tail = '2026-10-31T20:43:07Z,"Stout",1,6.50,A2\n'
    text = f'{HEADER}\n2026-10-31T20:42:07Z,"Stout,1,6.50,A2\n{GOOD}\n{GOOD}\n{tail}'
    with pytest.raises(ExportError, match="quote") as caught:
        read_csv(text, mapping())
    assert caught.value.line == 2


def test_a_stray_quote_that_swallows_whole_rows_without_breaking_the_csv_is_found() -> None:
    text = f'at,item,note\n{GOOD[:20]},Stout,"oops\n' + f"{GOOD[:20]},Stout,fine\n" * 3 + 'b"\n'
    with pytest.raises(ExportError, match="goes on to line 6") as caught:
        read_csv(text, mapping(fields={"at": "at", "item": "item"}))
    assert caught.value.line == 2


def test_an_endless_cell_is_refused_and_not_read_to_the_end() -> None:
    text = f'{HEADER}\n2026-10-31T20:42:07Z,"Stout,1,6.50,A2\n' + f"{GOOD}\n" * 5000
    with pytest.raises(ExportError, match="quote") as caught:
        read_csv(text, mapping())
    assert caught.value.line == 2


def test_the_quote_that_is_named_is_the_one_left_open() -> None:
    text = f'{HEADER}\n2026-10-31T20:42:07Z,"Sto\nut","1,6.50,A2\n' + f"{GOOD}\n" * 3
    with pytest.raises(ExportError, match="a quote that opens on this line") as caught:
        read_csv(text, mapping())
    assert caught.value.line == 3


def test_a_file_without_any_delimiter_is_not_one_cell() -> None:
    with pytest.raises(ExportError, match="too long to be one") as caught:
        read_csv(f"{HEADER}\n" + "x" * 70_000, mapping())
    assert caught.value.line == 2


def test_half_a_character_is_refused_where_an_encoding_lets_it_through() -> None:
    with pytest.raises(ExportError, match="half of a character") as caught:
        read_csv(f"{HEADER}\n".encode() + b"+2AA-,Stout\n", mapping(encoding="utf-7"))
    assert caught.value.line == 2


def test_a_last_line_that_is_cut_off_waits_for_the_rest() -> None:
    with pytest.raises(IncompleteExport) as caught:
        read_csv(f"{HEADER}\n{GOOD}\n2026-10-31T20:42:0", mapping())
    assert caught.value.line == 3
    with pytest.raises(IncompleteExport):
        read_csv(f'{HEADER}\n{GOOD}\n2026-10-31T20:42:07Z,"Sto', mapping())
    with pytest.raises(IncompleteExport):
        read_csv(f"{HEADER}\n{GOOD}\n2026-10-31T20:42:07Z,Bi".encode() + "è".encode()[:1], mapping())


def test_a_last_line_without_an_end_that_is_whole_is_read() -> None:
    assert len(read_csv(f"{HEADER}\n{GOOD}\n{GOOD}", mapping())) == 2


def test_a_short_row_before_the_last_is_only_put_aside() -> None:
    kinds = [type(row).__name__ for row in read_csv(f"{HEADER}\na,b\n{GOOD}", mapping())]
    assert kinds == ["Reject", "Ring"]


def test_joined_columns_and_constants_fill_a_field() -> None:
    fields = {"at": ("date", "time"), "item": "item", "outlet": {"const": "Boathouse"}}
    text = "time,item,date\n08:41:07 PM,Stout,10/31/2026\n"
    ring = one(read_csv(text, mapping(fields=fields, time="%m/%d/%Y %I:%M:%S %p")))
    assert (ring.at_text, ring.outlet) == ("10/31/2026 08:41:07 PM", "Boathouse")
    assert ring.raw == "10/31/2026\x1f08:41:07 PM\x1fStout"


def test_cells_are_trimmed_for_use_and_kept_as_written_for_identity() -> None:
    ring = one(read_csv(f"{HEADER}\n2026-10-31T20:41:07Z, Stout ,1,6.50, A1\n", mapping()))
    assert (ring.item, ring.ref) == ("Stout", "A1")
    assert ring.raw == "2026-10-31T20:41:07Z\x1f Stout \x1f A1\x1f1\x1f6.50"
