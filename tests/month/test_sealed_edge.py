"""The night across a month's end: what was settled when the month was closed is never used again."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from month.venue import Row, read
from unrung.closing import close
from unrung.reissuing import reissue_month
from venue_folder import VenueFolder, make_venue, ms, pour, ring

CLOSED, LATER = "07-03 12:00:00", "07-05 12:00:00"
PINTS = [f"06-30 {hour}:{minute:02d}" for hour in range(20, 24) for minute in range(0, 60, 6)]
"""A busy evening teaches the day its clock: each pint is rung 20 s before its pour ends."""


@pytest.fixture
def bar(tmp_path: Path) -> VenueFolder:
    """June ends at 04:00 on 1 July; a pint poured just before is rung just after, and one the other
    way round."""
    venue = make_venue(tmp_path / "bar", ids=True)
    rings = [ring(f"{at}:00", id=f"r{n}") for n, at in enumerate(PINTS)]
    pours = [pour(f"p{n}", f"{at}:20") for n, at in enumerate(PINTS)]
    crossing = [ring("07-01 04:00:30", id="late"), ring("07-01 03:59:50", id="early")]
    met = [pour("before", "07-01 03:59:40"), pour("after", "07-01 04:00:05")]
    july = [f"07-01 {hour}:{minute:02d}" for hour in range(20, 23) for minute in range(0, 60, 6)]
    rings += crossing + [ring(f"{at}:00", id=f"j{n}") for n, at in enumerate(july)]
    pours += met + [pour(f"q{n}", f"{at}:20") for n, at in enumerate(july)]
    venue.rings("a.csv", rings, "07-02 05:00:00")
    venue.pours("a.json", pours, "07-02 05:00:00")
    venue.catch_up("07-02 12:00:00")
    return venue


def finish(bar: VenueFolder) -> None:
    with bar.open(CLOSED) as (settings, db):
        done = close(db, settings, "2025-06", ms(CLOSED), accept=True)
        assert done.closed, done.lines


def carried(bar: VenueFolder) -> list[Row]:
    bar.catch_up(LATER)
    with bar.open(LATER) as (settings, db):
        reissue_month(db, settings, "2025-07", ms(LATER))
    return read(bar.path / "issued/monthly/2025-07/adjustments-2025-07.csv")


def day(bar: VenueFolder, which: str, table: str = "variance") -> Row:
    rows = read(bar.path / "issued" / "daily" / which / f"{table}-{which}.csv")
    return next(row for row in rows if row.get("product", "Amber") == "Amber")


def june(bar: VenueFolder) -> dict[str, bytes]:
    return {name: data for name, data in bar.files().items() if "2025-06" in name}


def test_two_rings_cross_the_edge_before_it_is_sealed(bar: VenueFolder) -> None:
    assert (day(bar, "2025-06-30", "till")["carried_in"], day(bar, "2025-06-30", "till")["carried_out"]) != (
        "0", "0")
    assert day(bar, "2025-06-30")["poured_not_rung"] == day(bar, "2025-07-01")["poured_not_rung"] == "0.000"


def test_made_again_after_closing_both_days_are_the_same(bar: VenueFolder) -> None:
    before = bar.files()
    finish(bar)
    bar.query("SELECT 1")
    with bar.open(LATER) as (_, db):
        db.execute("UPDATE days SET dirty = 1")
        db.commit()
    assert carried(bar) == []
    after = bar.files()
    changed = {name for name in before if before[name] != after[name]}
    assert all("monthly/" in name for name in changed), changed


def test_what_comes_late_to_july_moves_nothing_in_june(bar: VenueFolder) -> None:
    """A ring at 04:00:10 would suit June's last pint better than its own; June's pint has one."""
    finish(bar)
    before = june(bar)
    bar.rings("late.csv", [ring("07-01 04:00:10", id="x1")], "07-05 10:00:00")
    assert carried(bar) == [] and june(bar) == before
    assert day(bar, "2025-07-01")["rung_not_poured"] == "16.000"


def test_what_comes_late_to_june_takes_no_ring_from_july(bar: VenueFolder) -> None:
    """A pour at 03:59:55 could take July's ring; July's first pint keeps it."""
    finish(bar)
    before, own = june(bar), day(bar, "2025-07-01")
    bar.pours("late.json", [pour("y1", "07-01 03:59:55")], "07-05 10:00:00")
    moved = {row["figure"]: Decimal(row["difference"]) for row in carried(bar)}
    assert moved["poured_not_rung"] == moved["poured"] == moved["variance"] == 16
    assert "matched_portion" not in moved and june(bar) == before
    assert {key: value for key, value in day(bar, "2025-07-01").items() if key != "revision"} == {
        key: value for key, value in own.items() if key != "revision"}
