"""What holds for every adapter in the table, without opting in."""

from __future__ import annotations

import gzip
import importlib
import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.exports import FIELDS, export, mapping, utc_ms
from unrung.errors import ConfigError, ExportError, IncompleteExport
from unrung.mapping import Mapping
from unrung.records import AnyRecord, Export, Reject
from unrung_adapters import ADAPTERS

ROWS: dict[str, list[dict[str, str]]] = {
    "rings": [
        {"at": "2026-10-31T20:41:07Z", "item": "Stout", "units": "1", "amount": "6.50", "id": "A1"},
        {"at": "2026-11-01T01:30:00-05:00", "item": "Bière", "units": "2", "amount": "13.00", "id": "A2"},
    ],
    "pours": [
        {"tap": "4", "start": "2026-10-31T20:41:07Z", "end": "2026-10-31T20:41:15Z", "volume": "16.1"},
        {"tap": "5", "start": "2026-11-01T01:30-05:00", "end": "2026-11-01T01:30:09-05:00", "volume": "12"},
    ],
    "readings": [{"meter": "M4", "at": "2026-10-31T20:41:07Z", "total": "1204.5"}],
    "kegs": [{"at": "2026-10-31T20:41:07Z", "kind": "tapped", "product": "Stout", "size": "50 l"}],
    "log": [{"at": "2026-10-31T20:41:07Z", "reason": "spilt", "product": "Stout", "volume": "16"}],
}  # fmt: skip


def as_csv(rows: list[dict[str, str]]) -> bytes:
    return "".join(",".join(line) + "\n" for line in (rows[0], *(row.values() for row in rows))).encode()


def as_json(rows: list[dict[str, str]]) -> bytes:
    return json.dumps(rows, ensure_ascii=False).encode()


WRITERS: dict[str, Callable[[list[dict[str, str]]], bytes]] = {"csv": as_csv, "json": as_json}
CASES = [(adapter, carries) for adapter in ADAPTERS for carries in ROWS]


def reader(adapter: str) -> Callable[..., Iterator[AnyRecord | Reject]]:
    module, function = ADAPTERS[adapter].split(":")
    found: Callable[..., Iterator[AnyRecord | Reject]] = getattr(importlib.import_module(module), function)
    return found


def chosen(adapter: str, carries: str, **settings: Any) -> Mapping:
    mark = "/" if adapter == "json" else ""
    fields = {field: mark + column for field, column in FIELDS[carries].items()}
    return mapping(carries, fields, **settings)


def read(adapter: str, carries: str, content: bytes, **settings: Any) -> list[AnyRecord | Reject]:
    return list(reader(adapter)(export(content, "an export"), chosen(adapter, carries, **settings)))


def test_every_adapter_in_the_table_has_a_sample_here() -> None:
    assert set(WRITERS) == set(ADAPTERS)


@pytest.mark.parametrize(("adapter", "carries"), CASES)
def test_a_sample_is_read_whole_and_reading_it_twice_gives_equal_records(
    adapter: str, carries: str
) -> None:
    content = WRITERS[adapter](ROWS[carries])
    first = read(adapter, carries, content)
    assert len(first) == len(ROWS[carries])
    assert not any(isinstance(row, Reject) for row in first)
    assert first == read(adapter, carries, content)


@pytest.mark.parametrize("carries", ROWS)
def test_every_shape_gives_the_same_records(carries: str) -> None:
    """But for the line, which counts what there is to count."""
    shapes: list[Any] = [read(name, carries, write(ROWS[carries])) for name, write in WRITERS.items()]
    bare = [[record.model_copy(update={"line": 0}) for record in shape] for shape in shapes]
    assert all(shape == bare[0] for shape in bare)


@pytest.mark.parametrize("adapter", ADAPTERS)
def test_times_are_utc_whatever_their_offset(adapter: str) -> None:
    rings: Any = read(adapter, "rings", WRITERS[adapter](ROWS["rings"]))
    assert [ring.at_ms for ring in rings] == [utc_ms("2026-10-31T20:41:07Z"), utc_ms("2026-11-01T06:30Z")]
    assert [ring.at_text for ring in rings] == [row["at"] for row in ROWS["rings"]]


FOREIGN = {
    "nothing": b"", "blanks": b"\n\n  \n", "zeros": bytes(4096),
    "a picture": b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
    "a web page": b"<!DOCTYPE html>\n<html><title>Log in</title></html>",
    "XML": b'<?xml version="1.0"?><rows/>',
    "a letter": "Sehr geehrte Damen und Herren,\nanbei die Umsätze.\n".encode(),
    "gzip": gzip.compress(b"at,item\n"), "zip": b"PK\x03\x04" + bytes(30),
    "a workbook": bytes.fromhex("d0cf11e0a1b11ae1") + bytes(99),
    "UTF-16": "at,item\n".encode("utf-16"), "a number": b"17", "a text": b'"at"', "an object": b'{"at": 1}',
}  # fmt: skip


@pytest.mark.parametrize(("adapter", "carries"), CASES)
@pytest.mark.parametrize("what", FOREIGN)
def test_a_foreign_file_is_refused_with_its_name_and_a_fix(
    adapter: str, carries: str, what: str
) -> None:
    with pytest.raises(ExportError) as caught:
        read(adapter, carries, FOREIGN[what])
    assert caught.value.name == "an export" and caught.value.reason and caught.value.fix


@pytest.mark.parametrize("adapter", ADAPTERS)
def test_an_export_of_another_adapter_is_refused(adapter: str) -> None:
    for other in set(ADAPTERS) - {adapter}:
        with pytest.raises(ExportError):
            read(adapter, "rings", WRITERS[other](ROWS["rings"]))


@pytest.mark.parametrize(("adapter", "carries"), CASES)
def test_a_file_cut_off_anywhere_gives_no_record_that_is_not_in_the_whole(
    adapter: str, carries: str
) -> None:
    """Only the very last cell of a CSV can be cut without a sign: that row has an id, or a whole
    file follows it."""
    content = WRITERS[adapter](ROWS[carries])
    whole = read(adapter, carries, content)
    for cut in range(len(content)):
        found = []
        try:
            for row in reader(adapter)(export(content[:cut]), chosen(adapter, carries)):
                found.append(row)
        except (IncompleteExport, ExportError):
            pass
        complete = content[:cut].endswith(b"\n")
        assert found[: -1 if not complete else None] == whole[: len(found) - (not complete and bool(found))]


@pytest.mark.parametrize("adapter", ADAPTERS)
def test_a_file_cut_inside_a_row_is_called_cut_off(adapter: str) -> None:
    content = WRITERS[adapter](ROWS["rings"])
    cut = content.index(b"13.00") - 3
    with pytest.raises(IncompleteExport):
        read(adapter, "rings", content[:cut])


@pytest.mark.parametrize("adapter", ADAPTERS)
def test_a_bad_row_does_not_stop_the_good_ones(adapter: str) -> None:
    good, bad = ROWS["rings"][0], {**ROWS["rings"][0], "at": "noon"}
    kinds = [type(row).__name__ for row in read(adapter, "rings", WRITERS[adapter]([good, bad, good]))]
    assert kinds == ["Ring", "Reject", "Ring"]


@pytest.mark.parametrize("adapter", ADAPTERS)
def test_a_mapping_that_cannot_work_is_refused_before_the_export_is_looked_at(adapter: str) -> None:
    with pytest.raises(ConfigError) as caught:
        read(adapter, "rings", b"", zone="America/New_Yrok", time="%m/%d/%Y")
    assert len(caught.value.problems) == 2


@pytest.mark.parametrize("adapter", ADAPTERS)
def test_size_is_bounded_before_anything_is_read(adapter: str) -> None:
    content = WRITERS[adapter](ROWS["rings"])
    for packed, compression in ((content, "none"), (gzip.compress(content, mtime=0), "gzip")):
        assert read(adapter, "rings", packed, max_bytes=len(content), compression=compression)
        with pytest.raises(ExportError, match="is bigger than"):
            read(adapter, "rings", packed, max_bytes=len(content) - 1, compression=compression)


def outcome(adapter: str, carries: str, content: bytes, **settings: Any) -> None:
    """Reads, and is content with records, rejects and ExportError; anything else comes through."""
    try:
        rows = read(adapter, carries, content, **settings)
    except ExportError as error:
        assert error.reason and error.fix
        return
    for row in rows:
        assert not isinstance(row, Reject) or (row.field and row.reason and row.fix)
        repr(row).encode()  # What goes into the store must be text that can be stored.


ENCODINGS = st.sampled_from(["utf-8", "utf-16", "latin-1", "windows-1252", "utf-7", "utf-32"])


@pytest.mark.parametrize(("adapter", "carries"), CASES)
@given(content=st.binary(max_size=200), encoding=ENCODINGS)
def test_any_bytes_give_records_rejects_or_an_export_error(
    adapter: str, carries: str, content: bytes, encoding: str
) -> None:
    for compression in ("none", "gzip", "zip"):
        outcome(adapter, carries, content, encoding=encoding, compression=compression)


PIECES = st.lists(
    st.sampled_from([
        ",", "\n", "\r", '"', '""', "{", "}", "[", "]", ":", "at", "item", "\\", "\\ud800", "é", "\ufeff",
        "2026-11-01T01:30", "0001-01-01T00:00", "9999-12-31T23:59:59", "-1", "1e9", "9" * 50, "null",
        "0" * 30, "Infinity", "half barrel", " ", "\u2028", "\x1f", "spilt", "tapped", "2026-03-08T02:30",
    ]) | st.text(max_size=4),
    max_size=12,
)  # fmt: skip


@pytest.mark.parametrize(("adapter", "carries"), CASES)
@given(pieces=PIECES, places=st.lists(st.floats(0, 1), min_size=12, max_size=12), drop=st.booleans())
def test_a_sample_with_anything_put_into_it_gives_records_rejects_or_an_export_error(
    adapter: str, carries: str, pieces: list[str], places: list[float], drop: bool
) -> None:
    text = WRITERS[adapter](ROWS[carries]).decode()
    for piece, place in zip(pieces, places, strict=False):
        at = round(place * len(text))
        text = text[:at] + piece + text[at + (len(piece) if drop else 0) :]
    outcome(adapter, carries, text.encode("utf-8", "surrogatepass"))


CELLS = st.text(max_size=12) | st.sampled_from(
    ["2026-11-01T01:30", "0001-01-01T00:00", "9999-12-31T23:59:59", "9999-12-31T23:59:59-12:00", "9" * 30,
     "0001-01-01T00:00+14:00", "-0", "1.5", "50 l", "1/2 us_bbl", "4" * 5000, "spilt", "tapped", "", " "]
)  # fmt: skip


@pytest.mark.parametrize("carries", ROWS)
@given(data=st.data())
def test_any_texts_in_any_fields_give_a_record_or_a_reject(carries: str, data: st.DataObject) -> None:
    row = {field: data.draw(CELLS | st.integers() | st.floats(allow_nan=False, allow_infinity=False))
           for field in FIELDS[carries]}  # fmt: skip
    content = json.dumps([row], ensure_ascii=True).encode()
    (found,) = read("json", carries, content)
    assert not isinstance(found, Export)
