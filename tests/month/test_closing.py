"""A closed month never changes; what comes later is carried by the open one, and all of it adds up."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from month.venue import Row, added, copy_of, day_rows, level, month_rows, opened
from unrung.catch_up import CaughtUp, issue_due, take_in_all
from unrung.closing import close
from unrung.issue.month_sums import SUMMED
from unrung.reissuing import reissue_day, reissue_month
from unrung.status import Holder, collect
from unrung.status_text import lines

CLOSED_AT = 1_793_710_800_000
"""3 November 2026, 08:00 in New York: the week is issued, the next day is not over."""
LATER = CLOSED_AT + 8 * 3_600_000
LATE = (
    "Line ID,Rung At,Check,Terminal,Bar,Item,Size,Quantity,Line Total,Status,Voided At,Takes Back\r\n"
)


@pytest.fixture(scope="module")
def closed(week: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """October closed, with its rejected rows and its unlisted item accepted. Copy it to change it."""
    folder = copy_of(week, tmp_path_factory.mktemp("closed") / "venue")
    settings, db = opened(folder)
    assert close(db, settings, "2026-10", CLOSED_AT, accept=True).closed
    db.close()
    return folder


@pytest.fixture
def venue(closed: Path, tmp_path: Path) -> Iterator[Path]:
    yield copy_of(closed, tmp_path / "venue")


def drop(folder: Path, name: str, content: str, feed: str = "till") -> None:
    path = folder / "exports" / feed / name
    path.write_text(content, "utf-8")
    os.utime(path, (LATER / 1000 - 3600,) * 2)


def run(folder: Path, now: int = LATER) -> CaughtUp:
    settings, db = opened(folder)
    done = take_in_all(db, settings, now, lambda _: None)
    issue_due(db, settings, now, done, lambda _: None)
    reissue_month(db, settings, "2026-11", now)
    db.close()
    return done


def snapshot(folder: Path, *parts: str) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for part in parts for path in sorted((folder / "issued" / part).rglob("*")) if path.is_file()
    }


def october(folder: Path) -> dict[str, bytes]:
    return snapshot(folder, "monthly/2026-10", *(f"daily/2026-10-{day}" for day in range(27, 32)))


def ring(number: str, at: str, item: str = "Ambrel Gold", size: str = "Pint", bar: str = "Long Bar") -> str:
    return f"{number},{at},C9,T1,{bar},{item},{size},1,6.25,,,\r\n"


def test_it_is_refused_while_rows_and_items_wait(own_week: Path) -> None:
    settings, db = opened(own_week)
    done = close(db, settings, "2026-10", CLOSED_AT)
    assert not done.closed and not done.standing.firm
    assert [text.split(":")[0].split(" on ")[0] for text in done.standing.open] == [
        "till_2026-10-28.csv", "till_2026-10-30.csv", "The till sold 'Sluice Gate Bitter Snifter'"]
    assert "line 62" in done.lines[0] and "--accept" in done.lines[-1]
    db.close()


@pytest.mark.parametrize(("name", "why"), [("2026-11", "not over"), ("2026-09", "No day of 2026-09")])
def test_what_cannot_be_accepted(own_week: Path, name: str, why: str) -> None:
    settings, db = opened(own_week)
    done = close(db, settings, name, CLOSED_AT, accept=True)
    assert not done.closed and why in done.standing.firm[0]
    db.close()


def test_closing_issues_a_last_revision_and_says_what_was_accepted(closed: Path) -> None:
    assert {(row["status"], row["revision"]) for row in month_rows(closed, "2026-10")} == {("closed", "2")}
    settings, db = opened(closed)
    (row,) = db.query("SELECT * FROM months WHERE period = '2026-10'")
    assert "Snifter" in row["accepted"] and row["closed_ms"] == CLOSED_AT
    waiting = list(db.query("SELECT line, state FROM rejects ORDER BY state, line"))
    assert [(one["state"], one["line"]) for one in waiting] == [
        ("accepted", 62), ("accepted", 97), ("waiting", 72)]
    again = close(db, settings, "2026-10", LATER)
    assert again.standing.firm == ["2026-10 is closed already."]
    db.close()


def test_its_files_can_be_put_back_to_the_byte(venue: Path) -> None:
    before = october(venue)
    for path in (venue / "issued" / "monthly" / "2026-10").iterdir():
        path.unlink()
    settings, db = opened(venue)
    assert "is closed" in reissue_month(db, settings, "2026-10", LATER).said
    assert october(venue) == before
    assert reissue_day(db, settings, date(2026, 10, 30), LATER).said.endswith("closed: nothing differs")
    db.close()
    assert october(venue) == before


def test_files_of_its_days_are_put_back_as_issued_or_said_to_be_lost(venue: Path) -> None:
    before, day = october(venue), date(2026, 10, 30)
    shutil.rmtree(venue / "issued" / "daily" / "2026-10-30")
    settings, db = opened(venue)
    done = reissue_day(db, settings, day, LATER)
    db.close()
    assert "closed: nothing differs; put back: " in done.said and done.problems == ()
    assert october(venue) == before
    drop(venue, "till_late.csv", LATE + ring("L9", "10/30/2026 09:15:00 PM"))
    run(venue)
    shutil.rmtree(venue / "issued" / "daily" / "2026-10-30")
    settings, db = opened(venue)
    done = reissue_day(db, settings, day, LATER)
    db.close()
    assert done.problems and "variance-2026-10-30.csv" in done.problems[0]
    assert "cannot be made again as issued" in done.problems[0]
    assert "variance-2026-10-30.csv" not in {path.name for path in (venue / "issued").rglob("*.csv")}


def test_nothing_late_means_no_adjustment_though_every_day_is_made_again(venue: Path) -> None:
    settings, db = opened(venue)
    db.execute("UPDATE days SET dirty = 1, own_changes = own_changes + 1")
    db.commit()
    done = CaughtUp()
    issue_due(db, settings, LATER, done, lambda _: None)
    assert len(done.issued) == 7 and not any(one.changed or one.adjusted for one in done.issued)
    db.close()


def test_a_late_ring_leaves_every_closed_byte_and_is_carried_with_its_cause(venue: Path) -> None:
    before = october(venue)
    drop(venue, "till_late.csv", LATE + ring("X1", "10/30/2026 08:15:00 PM"))
    run(venue)
    assert october(venue) == before
    rows = month_rows(venue, "2026-11", "adjustments")
    assert {(row["origin_period"], row["origin_day"], row["outlet"], row["product"]) for row in rows} == {
        ("2026-10", "2026-10-30", "Long Bar", "Ambrel Gold")}
    assert {(row["cause"], row["source_file"]) for row in rows} == {("late_rows", "till_late.csv")}
    rung = next(row for row in rows if row["figure"] == "rung")
    assert Decimal(rung["new"]) - Decimal(rung["old"]) == Decimal(rung["difference"]) == 16
    sales = next(row for row in rows if row["figure"] == "net_sales")
    assert (sales["difference"], sales["unit"]) == ("6.25", "USD")


def live_again(folder: Path, late: str) -> list[Row]:
    """The days of a venue that never closed and got the same late rows."""
    drop(folder, "till_late.csv", late)
    settings, db = opened(folder)
    take_in_all(db, settings, LATER, lambda _: None)
    issue_due(db, settings, LATER, CaughtUp(), lambda _: None)
    db.close()
    return day_rows(folder, date(2026, 10, 27), date(2026, 10, 31))


def test_closed_days_and_adjustments_are_the_days_as_they_would_be(
    venue: Path, own_week: Path
) -> None:
    """Own days + adjustments = the month of a twin that never closed."""
    late = LATE + "".join(
        ring(f"X{n}", f"10/{28 + n % 3}/2026 0{6 + n}:1{n}:00 PM", "Mudlark Stout") for n in range(3))
    drop(venue, "till_late.csv", late)
    run(venue)
    twin = live_again(own_week, late)
    closed_rows = day_rows(venue, date(2026, 10, 27), date(2026, 10, 31))
    moved = month_rows(venue, "2026-11", "adjustments")
    assert {row["product"] for row in moved} == {"Mudlark Stout"}
    for column in SUMMED:
        if column in ("poured_not_rung_low", "poured_not_rung_high"):
            continue
        mine = [row for row in moved if row["figure"] == column]
        assert added(closed_rows, column) + added(mine, "difference") == added(twin, column), column


def test_the_open_month_shows_its_own_days_and_what_it_carries(venue: Path) -> None:
    drop(venue, "till_late.csv", LATE + ring("X1", "10/30/2026 08:15:00 PM"))
    run(venue)
    rows = month_rows(venue, "2026-11")
    moved = month_rows(venue, "2026-11", "adjustments")
    (venue_row,) = level(rows, "venue")
    carried = added([row for row in moved if row["figure"] == "variance"], "difference")
    assert carried and Decimal(venue_row["adjustments"]) == carried
    own = added(day_rows(venue, date(2026, 11, 1), date(2026, 11, 30)), "variance")
    assert Decimal(venue_row["variance"]) == own
    assert Decimal(venue_row["variance_adjusted"]) == own + carried


def test_what_is_taken_back_later_is_adjusted_back(venue: Path) -> None:
    """A correction, then its reversal: two sets of rows that cancel."""
    drop(venue, "till_late.csv", LATE + ring("X1", "10/30/2026 08:15:00 PM"))
    run(venue)
    _, db = opened(venue)
    db.execute("UPDATE movements SET superseded_by = source WHERE ref = 'X1'")
    db.execute("UPDATE days SET dirty = 1, changed_ms = ? WHERE day = '2026-10-30'", [LATER])
    db.commit()
    db.close()
    run(venue, LATER + 3_600_000)
    rows = month_rows(venue, "2026-11", "adjustments")
    assert len(rows) and added(rows, "difference") == 0
    (venue_row,) = level(month_rows(venue, "2026-11"), "venue")
    assert venue_row["adjustments"] == "0.000"


def test_status_says_how_the_months_stand(closed: Path, week: Path) -> None:
    told = []
    for folder in (week, closed):
        settings, db = opened(folder)
        state = collect(db, settings, LATER, Holder(False))
        told += [line for line in lines(state) if line.startswith("Months")]
        db.close()
    assert told == [
        "Months        the last 2026-10, revision 1 (final); none closed",
        "Months        the last 2026-10, revision 2 (closed); closed through 2026-10",
    ]
