"""Every kind of bad input through the whole intake: what is said, what is kept, what goes on."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from unrung.intake import adapter
from unrung.records import Export
from venue_folder import VenueFolder, make_venue, pour, ring, till_csv

GOOD = till_csv([ring("20:15:00"), ring("20:16:00")])
POURS = [pour("p1", "20:14:00"), pour("p2", "20:15:00"), pour("p3", "20:16:00")]


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    return make_venue(tmp_path / "v")


def row(at: str = "2025-06-10 20:17:00", item: str = "Pint of Amber", qty: str = "1") -> bytes:
    return f",{at},{item},{qty},7.00,\r\n".encode()


def pours(*extra: object) -> bytes:
    return json.dumps([*POURS, *extra]).encode()


WHOLE = {
    "wrong header": (GOOD.replace(b"Time", b"When"), "line 1, field 'at': has no column 'Time'. If it has "
                     "a new name, set at = to that under [feed.fields] of feed 'till' in venue.toml. Columns "
                     "that are there: 'Id', 'When', 'Item', 'Qty', 'Total', 'Check'."),
    "another delimiter": (GOOD.replace(b",", b";"), "is formats.delimiter right?"),
    "padding of a power cut": (GOOD + b"\0" * 4096, "line 4: holds 4,096 NUL characters"),
    "wrong encoding": (GOOD + "\r\n,2025,Bière,1,7.00,".encode("cp1252"),
                       "is not utf-8 text (found '\\\\xe8re,1,7.'). Set formats.encoding"),
    "stray quote": (GOOD + b',2025-06-10 20:17:00,"Pint,1,7.00,\r\n' + row() * 3,
                    "line 4: a quote that opens on this line is not closed"),
    "empty": (b"", "is empty. Export it again"),
    "a web page": (b"<!DOCTYPE html><html><body>Log in</body></html>",
                   "got a web page, not data: has the address or the log-in changed?"),
    "packed": (b"PK\x03\x04" + b"x" * 64, 'is a zip file. Set formats.compression = "zip".'),
}  # fmt: skip
WHOLE_JSON = {
    "cut off": (pours()[:-30], "the JSON ends too early"),
    "deep": (b"[" * 100_000 + b"]" * 100_000, "is nested too deep"),
    "a web page": (b"<html>Log in</html>", "got a web page, not data"),
    "no rows": (b'{"error": "no such day"}', "Members that are there: 'error'."),
    "not a number": (pours().replace(b"473.176", b"NaN", 1), "a number that JSON does not have"),
    "a name twice": (b'[{"id": "1", "id": "2"}]', "has a member name twice in one object"),
    "empty": (b"", "is empty. Export it again"),
}
ROWS = {
    "short row": (b",2025-06-10 20:17:00,Pint of Amber\r\n", "row", "3 cells where the header has 6"),
    "no time": (row(at="10 June"), "at", "'10 June' is not a time of the form"),
    "no number": (row(qty="one"), "units", "'one' is not a number with decimal mark '.'"),
    "negative": (row(qty="-1"), "units", "Say what that means: formats.negative_units"),
    "1970": (row(at="1970-01-01 00:00:05"), "at", "is before the year 2000: is the clock right"),
    "next year": (row(at="2026-06-10 20:17:00"), "at", "is in the future: is the date order right?"),
    "no item": (row(item=" "), "item", "is empty. Fill it in at the source"),
    "cut off": (b",2025-06-10 20:17:00,Pin", "row", "the last line has no line end"),
}
ROWS_JSON = {
    "negative": (pour("p4", "20:17:00", ml=-5), "volume", "'-5' is negative"),
    "300 litres": (pour("p4", "20:17:00", ml=300_000), "volume", "300 litres in one pour"),
    "1970": (pour("p4", "20:17:00") | {"end": "1970-01-01 00:00:05", "start": "1970-01-01 00:00:00"},
             "end", "is before the year 2000"),
    "next year": (pour("p4", "20:17:00") | {"end": "2026-06-10 20:17:00"}, "end", "is in the future"),
    "ends first": (pour("p4", "20:17:00", seconds=-60), "end", "is before the start"),
    "id again": (pour("p3", "20:19:00"), "id", "the id 'p3' stands on line 3 too, with other contents"),
    "no object": (7, "row", "is not an object"),
}  # fmt: skip


def reasons(venue: VenueFolder, name: str) -> list[dict[str, str]]:
    text = venue.files("set_aside")[f"{name}.reasons.csv"].decode()
    return list(csv.DictReader(io.StringIO(text)))


@pytest.mark.parametrize("what", WHOLE)
def test_a_bad_csv_file_is_set_aside_with_its_reason_and_the_next_goes_on(
    venue: VenueFolder, what: str
) -> None:
    content, reason = WHOLE[what]
    check_whole(venue, venue.till / "bad.csv", content, reason)


@pytest.mark.parametrize("what", WHOLE_JSON)
def test_a_bad_json_file_is_set_aside_with_its_reason_and_the_next_goes_on(
    venue: VenueFolder, what: str
) -> None:
    content, reason = WHOLE_JSON[what]
    check_whole(venue, venue.meter / "bad.json", content, reason)


def check_whole(venue: VenueFolder, path: Path, content: bytes, reason: str) -> None:
    feed = path.parent.name
    venue.drop(path, content, "20:00:00")
    venue.rings("good.csv", [ring("20:15:00")])
    venue.pours("good.json", POURS)
    done = venue.intake()
    fates = {one.source.name: one.state for one in done.taken}
    assert fates == {path.name: "set_aside", "good.csv": "taken", "good.json": "taken"}
    assert done.needs_attention and not done.problems
    (said,) = [line for line in venue.said if path.name in line]
    assert said.startswith(f"{feed}: {path.name} set aside: {path.name}") and reason in said
    assert venue.files("set_aside")[f"{feed}/{path.name}"] == content and not path.exists()
    (written,) = reasons(venue, f"{feed}/{path.name}")
    assert written["file"] == path.name and written["reason"] and written["fix"]
    assert len(venue.current()) == 1 and len(venue.current("pour")) == 3


@pytest.mark.parametrize("what", ROWS)
def test_a_bad_row_of_a_csv_file_is_kept_aside_and_the_good_ones_go_on(
    venue: VenueFolder, what: str
) -> None:
    content, field, reason = ROWS[what]
    venue.drop(venue.till / "a.csv", GOOD + content)
    done = venue.intake()
    check_row(venue, done.needs_attention, field, reason)
    assert len(venue.current()) == 2
    assert "till/2025-06-12/a.csv.reasons.csv" in venue.files("archive")


@pytest.mark.parametrize("what", ROWS_JSON)
def test_a_bad_row_of_a_json_file_is_kept_aside_and_the_good_ones_go_on(
    venue: VenueFolder, what: str
) -> None:
    extra, field, reason = ROWS_JSON[what]
    venue.drop(venue.meter / "a.json", pours(extra))
    done = venue.intake()
    check_row(venue, done.needs_attention, field, reason)
    assert len(venue.current("pour")) == 3


def check_row(venue: VenueFolder, attention: bool, field: str, reason: str) -> None:
    (kept,) = venue.query("SELECT line, field, value, reason, fix, state FROM rejects")
    assert (kept["line"], kept["field"], kept["state"]) == (4, field, "waiting") and kept["fix"]
    assert attention and "taken in" in venue.said[0] and "1 kept aside" in venue.said[0]
    assert venue.said[1].startswith(f"  line 4, field {field!r}: ") and reason in venue.said[1]
    assert venue.said[1].endswith(kept["fix"])


def test_an_unknown_tap_is_stored_not_compared_and_flagged(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("20:15:00")])
    venue.drop(venue.meter / "a.json", pours(pour("p4", "20:17:00", tap="99")))
    issued = venue.catch_up().issued[0]
    assert len(venue.current("pour")) == 4
    assert any("'99', which taps.csv does not know" in notice for notice in issued.ledger.notices)


def test_an_empty_file_may_still_be_about_to_be_written(venue: VenueFolder) -> None:
    venue.drop(venue.till / "a.csv", b"", "20:00:00")
    assert venue.intake("20:09:59").waiting == ["a.csv"]
    assert [one.state for one in venue.intake("20:10:00").taken] == ["set_aside"]


def test_a_file_without_a_row_is_no_day_without_sales(venue: VenueFolder) -> None:
    venue.drop(venue.till / "a.csv", till_csv([]))
    venue.pours("a.json", POURS)
    done = venue.catch_up()
    assert done.issued[0].ledger.missing == ("no sales from 'till' for Tue, Jun 10",)


def test_a_reader_that_fails_on_one_file_does_not_stop_the_others(
    venue: VenueFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = adapter.batch_reader

    def faulty(name: str) -> adapter.BatchReader:
        def read(export: Export, *rest: object) -> object:
            if export.name == "a.csv":
                raise ZeroDivisionError("division by zero")
            return real(name)(export, *rest)

        return read  # type: ignore[return-value]

    monkeypatch.setattr(adapter, "batch_reader", faulty)
    venue.rings("a.csv", [ring("20:15:00")])
    venue.rings("b.csv", [ring("20:16:00")])
    venue.intake()
    assert venue.sources("name", "state") == [("a.csv", "set_aside"), ("b.csv", "taken")]
    assert "the reader 'csv' failed on it (ZeroDivisionError: division by zero)" in venue.said[0]


def test_two_gigabytes_are_set_aside_unread(venue: VenueFolder) -> None:
    path = venue.till / "big.csv"
    with path.open("wb") as file:
        file.truncate(2 << 30)
    venue.rings("good.csv", [ring("20:15:00")])
    done = venue.intake()
    assert {one.source.name: one.state for one in done.taken} == {"big.csv": "set_aside", "good.csv": "taken"}
    assert "2,147,483,648 bytes are more than max_bytes = 67,108,864; raise max_bytes" in "".join(venue.said)
    kept = venue.path / "set_aside" / "till" / "big.csv"
    assert kept.stat().st_size == 2 << 30 and not path.exists()
