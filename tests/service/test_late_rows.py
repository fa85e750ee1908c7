"""Rows that come for a day that was issued: when it is made again, and that none is overlooked."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest

from unrung import issuing
from unrung.issuing import due_days, issue_day
from unrung.service.issuer import issue_and_judge
from unrung.store.days import day_row, mark_days_dirty
from unrung.store.open import Store, write_tx
from venue_folder import DAY, VenueFolder, make_venue, ms, pour, ring

YESTERDAY = date.fromisoformat(DAY)
MINUTE = 60_000


@pytest.fixture
def bar(tmp_path: Path) -> VenueFolder:
    """Yesterday is issued, at noon."""
    venue = make_venue(tmp_path / "bar", more="[schedule]\nquiet_minutes = 30")
    venue.rings("a.csv", [ring("20:15:00")])
    venue.pours("a.json", [pour("p1", "20:14:00")])
    venue.catch_up("06-11 12:00:00")
    return venue


def come(db: Store, now_ms: int) -> None:
    """Rows of today, which touch yesterday too."""
    with write_tx(db):
        mark_days_dirty(db, [YESTERDAY], now_ms)


def waited(bar: VenueFolder, every_minutes: int, minutes: int = 300) -> int:
    """Minutes from the first late rows until the day is due, with more of them in between."""
    start = ms("06-11 12:30:00")
    with bar.open("06-11 12:30:00") as (settings, db):
        for minute in range(minutes):
            if minute % every_minutes == 0:
                come(db, start + minute * MINUTE)
            if due_days(db, settings, start + minute * MINUTE):
                return minute
    raise AssertionError("it waits for ever")


@pytest.mark.parametrize(("every_minutes", "expected"), [(1000, 30), (1, 60), (20, 60)])
def test_late_rows_are_waited_for_until_a_pause_but_no_longer_than_an_hour(
    bar: VenueFolder, every_minutes: int, expected: int
) -> None:
    assert waited(bar, every_minutes) == expected


def test_the_hour_begins_anew_with_each_issue(bar: VenueFolder) -> None:
    waited(bar, 1)
    noon = ms("06-11 14:00:00")
    with bar.open("06-11 14:00:00") as (settings, db):
        issue_day(db, settings, YESTERDAY, noon, {})
        assert due_days(db, settings, noon) == []
        come(db, noon + MINUTE)
        assert due_days(db, settings, noon + 30 * MINUTE) == []
        assert due_days(db, settings, noon + 31 * MINUTE) == [YESTERDAY]


def test_a_change_ahead_of_the_clock_is_not_waited_for(bar: VenueFolder) -> None:
    """Written down while the clock was wrong: a pause that ends years from now would never end."""
    with bar.open("06-11 12:30:00") as (settings, db):
        come(db, ms("06-11 12:30:00") + 70 * 365 * 86_400_000)
        assert due_days(db, settings, ms("06-11 12:31:00")) == [YESTERDAY]


@pytest.mark.parametrize("shift", [timedelta(0), timedelta(seconds=-90), timedelta(days=-9000)])
def test_rows_that_come_while_a_day_is_made_are_seen_whatever_the_clock_does(
    bar: VenueFolder, shift: timedelta, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = ms("06-11 13:00:00")
    with bar.open("06-11 13:00:00") as (settings, db):
        come(db, now)
        place = issuing.place

        def slowly(*args: object, **kwargs: object) -> object:
            come(db, now + round(shift.total_seconds() * 1000))
            return place(*args, **kwargs)  # type: ignore[arg-type]

        monkeypatch.setattr(issuing, "place", slowly)
        issue_day(db, settings, YESTERDAY, now, {})
        row = day_row(db, YESTERDAY)
        assert row is not None and row.dirty


def test_rows_that_come_while_the_day_before_is_made_are_in_the_day(
    bar: VenueFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The next day is made ready together with the day before it: by then more of it may be there."""
    for day in ("06-11", "06-12"):
        bar.rings(f"{day}.csv", [ring(f"{day} 20:15:00")], f"{day} 23:59:00")
        bar.pours(f"{day}.json", [pour(day, f"{day} 20:14:00")], f"{day} 23:59:00")
    bar.intake("06-13 12:00:00")
    place, placed = issuing.place, list[Path]()

    def meanwhile(folder: Path, *args: object, **kwargs: object) -> object:
        placed.append(folder)
        if folder.name == "2025-06-11":
            bar.pours("late.json", [pour("late", "06-12 21:14:00")], "06-13 11:00:00")
            bar.intake("06-13 12:00:00")
        return place(folder, *args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(issuing, "place", meanwhile)
    with bar.open("06-13 12:00:00") as (settings, db):
        issue_and_judge(db, settings, ms("06-13 12:00:00"))
        row = day_row(db, date(2025, 6, 12))
    assert [folder.name for folder in placed][-2:] == ["2025-06-11", "2025-06-12"]
    assert row is not None and not row.dirty
    assert bar.query("SELECT sum(serves) AS n FROM leaves WHERE day = '2025-06-12'") == [{"n": 2}]
