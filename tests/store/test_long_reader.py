"""A program that reads the store and never ends: the log of changes cannot be folded in meanwhile."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from unrung.store import open as store_open
from unrung.upkeep import nightly
from venue_folder import make_venue, ms, pour, ring


def test_a_reader_that_never_ends_neither_stops_the_night_nor_the_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_open, "BUSY_TIMEOUT_MS", 500)  # the night waits for the reader so long
    venue = make_venue(tmp_path / "bar")
    venue.rings("a.csv", [ring("20:00:20")])
    venue.pours("a.json", [pour("a", "20:00:00")])
    venue.intake("23:59:30")
    log = venue.path / "unrung.sqlite-wal"
    with closing(sqlite3.connect(venue.path / "unrung.sqlite", isolation_level=None)) as reader:
        reader.execute("BEGIN")
        assert reader.execute("SELECT count(*) FROM movements").fetchone() == (2,)
        venue.rings("b.csv", [ring("21:00:20")])
        venue.intake("23:59:40")
        with venue.open("06-11 05:00:00") as (settings, db):
            assert nightly(db, settings, ms("06-11 05:00:00")) == []
        assert len(list((venue.path / "backups").iterdir())) == 1
        assert log.stat().st_size > 0
        venue.rings("c.csv", [ring("22:00:20")])
        assert [one.state for one in venue.intake("06-11 05:01:00").taken] == ["taken"]
        assert reader.execute("SELECT count(*) FROM movements").fetchone() == (2,), "still as it began"
        reader.execute("COMMIT")
    with venue.open("06-12 05:00:00") as (settings, db):
        assert nightly(db, settings, ms("06-12 05:00:00")) == []
    assert not log.exists() or log.stat().st_size == 0
