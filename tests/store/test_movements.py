"""Rows of every kind stand in the store as the record says, whatever of them is empty."""

from __future__ import annotations

from pathlib import Path

import pytest

from unrung.errors import StoreError
from unrung.records import AnyRecord, KegEvent, LogEntry, Pour, Reading, Ring
from unrung.store.movement_values import COLUMNS, values_of
from unrung.store.movements import merge
from unrung.store.open import memory_store, write_tx
from unrung.store.sources import SourceRow, add_source

BARE: dict[str, AnyRecord] = {
    "ring": Ring(line=2, at_ms=1, at_text="1", item="Amber"),
    "pour": Pour(line=2, tap="1", start_ms=1, end_ms=2, at_text=""),
    "reading": Reading(line=2, meter="1", at_ms=1, at_text="1"),
    "keg": KegEvent(line=2, at_ms=1, at_text="1", kind="on"),
    "log": LogEntry(line=2, at_text="", reason="comp"),
}
FULL: dict[str, AnyRecord] = {
    "ring": Ring(line=3, ref="r", version="2", raw="x", at_ms=3, at_text="3", item="Amber", size="Pint",
                 price_level="Happy", modifier="Lime", units_micro=-500_000, kind="void", amount_minor=-350,
                 tax_minor=0, check="c", terminal="t", outlet="Bar", voided_ms=0, voids_ref="q", staff="s"),
    "pour": Pour(line=3, ref="p", raw="x", tap="1", start_ms=3, end_ms=4, at_text="4", volume_ul=0, pulses=7),
    "reading": Reading(line=3, ref="m", meter="1", at_ms=3, at_text="3", total_ul=9, pulses=0),
    "keg": KegEvent(line=3, ref="k", at_ms=3, at_text="3", kind="count", tap="1", product="Amber",
                    outlet="Bar", keg="7", size_ul=1, part_ul=0, cost_minor=0, to_outlet="Kiosk"),
    "log": LogEntry(line=3, ref="l", at_ms=3, end_ms=4, at_text="3", reason="waste", tap="1", product="Amber",
                    outlet="Bar", item="Pint", volume_ul=0),
}  # fmt: skip


@pytest.mark.parametrize("kinds", [*([kind] for kind in BARE), list(BARE)], ids=str)
@pytest.mark.parametrize("made", [[BARE], [FULL], [BARE, FULL]], ids=["bare", "full", "both"])
def test_what_is_added_is_read_back_whole(kinds: list[str], made: list[dict[str, AnyRecord]]) -> None:
    db = memory_store(Path("memory"))
    records = [table[kind] for table in made for kind in kinds]
    with write_tx(db):
        source = add_source(db, SourceRow("feed", "name", "folder", "", 0, 0, 0, ""))
        rows = [
            values_of(record, "feed", number.to_bytes(16, "big"), source)
            for number, record in enumerate(records)
        ]
        assert merge(db, rows, source).new_rows == len(rows)
    kept = db.execute(f"SELECT {', '.join(COLUMNS)} FROM movements ORDER BY id").fetchall()
    assert kept == rows


def test_a_row_that_is_known_is_not_added_again_though_the_first_and_last_are_new() -> None:
    db = memory_store(Path("memory"))
    ring = Ring(line=2, at_ms=1, at_text="1", item="Amber")
    with write_tx(db):
        first, second = (add_source(db, SourceRow("feed", "name", "folder", "", 0, 0, 0, "")) for _ in "ab")
        idents = [number.to_bytes(16, "big") for number in range(3)]
        merge(db, [values_of(ring, "feed", idents[1], first)], first)
        found = merge(db, [values_of(ring, "feed", ident, second) for ident in idents], second)
    assert (found.new_rows, found.superseded) == (2, 0)
    kept = db.execute("SELECT ident, source FROM movements ORDER BY ident").fetchall()
    assert kept == [(idents[0], second), (idents[1], first), (idents[2], second)]


@pytest.mark.parametrize("ref", ["", "r"])
def test_a_row_is_looked_up_by_an_index_and_known_once(ref: str) -> None:
    """With an id of its source by that, else by the text of its time and its identity."""
    db = memory_store(Path("memory"))
    asked: list[str] = []
    rows = [Ring(line=n, ref=ref and f"{ref}{n}", at_ms=n, at_text=str(n), item="Amber") for n in range(9)]
    with write_tx(db):
        first, second = (add_source(db, SourceRow("feed", "name", "folder", "", 0, 0, 0, "")) for _ in "ab")
        given = [values_of(row, "feed", bytes([n]) * 16, first) for n, row in enumerate(rows)]
        assert merge(db, given[3:], first).new_rows == 6
        db.conn.set_trace_callback(asked.append)
        assert merge(db, [(*row[:3], second, *row[4:]) for row in given], second).new_rows == 3
        db.conn.set_trace_callback(None)
    found = [sql for sql in asked if "FROM" in sql and "movements" in sql]
    assert found
    for sql in found:
        plan = " ".join(row[3] for row in db.execute(f"EXPLAIN QUERY PLAN {sql}").fetchall())
        assert "SEARCH movements USING INDEX movements_" in plan and "SCAN movements" not in plan, sql
    with pytest.raises(StoreError), write_tx(db):
        merge(db, [given[0]], first)
        columns = "kind, feed, ident, source, line, ref, version, raw, at_text"
        db.execute(f"INSERT INTO movements ({columns}) SELECT {columns} FROM movements LIMIT 1")
