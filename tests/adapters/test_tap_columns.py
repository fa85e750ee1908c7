"""Meters that write a column for each tap: every filled cell is a row of its own."""

from __future__ import annotations

import io
from typing import Any

import pytest

from adapters.exports import mapping, read_csv, read_json
from unrung.errors import ConfigError, ExportError
from unrung.mapping import Mapping
from unrung.records import Pour, Reading, Reject
from unrung_adapters.check import check_mapping
from unrung_adapters.notes import ReadNotes

TAPS = {"Tap 1 oz": "T1", "Tap 2 oz": "T2", "Tap 3 oz": "T3"}
FIELDS = {"end": "Time", "duration": {"const": "300"}, "tap": "@tap", "volume": "@amount"}
WIDE = """\
Time,Tap 1 oz,Temp,Tap 2 oz,Tap 3 oz
2026-10-31T20:00:00Z,16.1,38,0,
2026-10-31T20:05:00Z,0,38,12.25,31.9
2026-10-31T20:10:00Z,,39,,
2026-10-31T20:15:00Z,8.05,39,1.5,0
"""


def wide(
    carries: str = "pours", taps: dict[str, str] = TAPS, fields: Any = FIELDS, **formats: Any
) -> Mapping:
    return mapping(carries, fields, **{"tap_columns": taps, "volume_unit": "us_fl_oz", **formats})


def test_a_column_a_tap_is_read_as_the_same_rows_with_a_tap_each() -> None:
    """Held against ``pandas.melt``, which turns such a table as any spreadsheet user would."""
    import pandas as pd  # here, since every process that runs some tests finds all of them

    frame = pd.read_csv(io.StringIO(WIDE), dtype=str)
    melted = frame.melt("Time", list(TAPS), "tap", "volume").dropna().replace({"tap": TAPS})
    long = melted.sort_values(["Time", "tap"]).to_csv(index=False)
    apart = read_csv(long, mapping("pours", {**FIELDS, "end": "Time", "tap": "tap", "volume": "volume"}))
    found = read_csv(WIDE, wide())
    assert [told(row) for row in found] == [told(row) for row in apart]
    assert len(found) == 8
    assert [row.line for row in found] == [2, 2, 3, 3, 3, 5, 5, 5]


def told(row: Any) -> tuple[Any, ...]:
    assert isinstance(row, Pour), row
    return row.tap, row.start_ms, row.end_ms, row.volume_ul


def test_rows_of_one_line_are_told_apart_by_their_raw_text() -> None:
    alike = "Time,A,B\n2026-10-31T20:00:00Z,16,16\n"
    raws = [row.raw for row in read_csv(alike, wide(taps={"A": "A", "B": "B"}))]
    assert len(set(raws)) == 2 and len(raws) == 2


def test_json_has_a_member_a_tap_at_whatever_depth() -> None:
    rows = [
        {"t": "2026-10-31T20:00:00Z", "taps": {"1": 16.1, "2": None}},
        {"t": "2026-10-31T20:05:00Z", "taps": {"2": 12.25, "1": 0}},
    ]
    fields = {**FIELDS, "end": "/t"}
    found = read_json(rows, wide(taps={"/taps/1": "T1", "/taps/2": "T2"}, fields=fields))
    assert [(row.line, told(row)[0], round(told(row)[3] / 29573.53, 2)) for row in found] == [
        (1, "T1", 16.1), (2, "T1", 0), (2, "T2", 12.25)]


def test_running_totals_may_stand_in_columns_too() -> None:
    fields = {"at": "Time", "meter": "@tap", "total": "@amount"}
    found = read_csv(WIDE, wide("readings", fields=fields))
    assert {row.meter for row in found if isinstance(row, Reading)} == {"T1", "T2", "T3"}
    assert len(found) == 8


def test_a_cell_that_is_no_number_is_kept_aside_with_its_tap_and_the_others_go_on() -> None:
    found = read_csv(WIDE.replace("12.25", "err"), wide())
    bad = [row for row in found if isinstance(row, Reject)]
    assert [(row.line, row.field, row.value, row.cells["tap"]) for row in bad] == [(3, "volume", "err", "T2")]
    assert len(found) == 8
    document = [{"t": "2026-10-31T20:00:00Z", "1": 3, "2": "\ud800"}]
    (bad_row,) = read_json(document, wide(taps={"/1": "T1", "/2": "T2"}, fields={**FIELDS, "end": "/t"}))
    assert isinstance(bad_row, Reject) and bad_row.field == "tap_columns", bad_row


def test_a_header_that_comes_again_and_blank_rows_are_passed_over() -> None:
    top = WIDE.splitlines()[0]
    notes = ReadNotes()
    found = read_csv(f"{WIDE}{top}\n,,,,\n", wide(), notes)
    assert len(found) == 8 and not any(isinstance(row, Reject) for row in found)
    assert notes.skipped


def test_a_lost_column_of_a_tap_is_told_with_where_it_is_set() -> None:
    with pytest.raises(ExportError, match=r"Tap 2 oz") as error:
        read_csv(WIDE.replace("Tap 2 oz", "Tap 2 (oz)"), wide())
    assert "[feed.formats] tap_columns" in error.value.fix


@pytest.mark.parametrize(("settings", "said"), [
    ({"taps": {}}, "'@tap', but no column is a tap's"),
    ({"fields": {**FIELDS, "tap": {"const": "T1"}}}, "no field is mapped to '@tap'"),
    ({"fields": {**FIELDS, "volume": "Tap 1 oz"}}, "no field is mapped to '@amount'"),
    ({"taps": {"Tap 1 oz": "T1", "Tap 2 oz": "T1"}}, "names tap 'T1' for two columns"),
])
def test_settings_that_cannot_work_are_told(settings: dict[str, Any], said: str) -> None:
    problems = check_mapping(wide(**settings), "csv")
    assert any(said in problem for problem in problems), problems
    with pytest.raises(ConfigError):
        read_csv(WIDE, wide(**settings))


def test_pointers_to_the_taps_are_checked_as_others_are() -> None:
    fields = {**FIELDS, "end": "/t"}
    assert check_mapping(wide(taps={"/1": "T1", "2": "T2", "x y": "T3"}, fields=fields), "json")
    assert not check_mapping(wide(taps={"/1": "T1"}, fields=fields), "json")
    rings = {"at": "/t", "item": "/i"}
    assert any("have none" in one for one in check_mapping(wide("rings", {"/1": "T1"}, rings), "json"))
