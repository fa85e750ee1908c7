"""When days fall due over the nights on which clocks change."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from unrung.issuing import issue_time_ms
from unrung.service.clock import Clock
from unrung.service.issuer import Issuer, issue_and_judge
from unrung.service.venue import Venue
from unrung.settings import Settings
from venue_folder import VenueFolder, make_venue, pour, ring


def bar_in(path: Path, zone: str, issue_at: str = "06:00") -> VenueFolder:
    bar = make_venue(path, more=f'[schedule]\nissue_at = "{issue_at}"\nquiet_minutes = 0')
    bar.edit("venue.toml", "America/New_York", zone)
    return bar


LATER = datetime(2025, 12, 1, tzinfo=UTC).timestamp()
CRONSIM = "cronsim, tests/test_cronsim.py, class TestDstTransitions (follows Debian's cron)"
RFC = "RFC 5545, section 3.3.5: a time that occurs twice is the first one, a missing one keeps its offset"
TIMES = [
    ("Europe/Riga", "2021-03-27", "04:00", "2021-03-27T04:00:00+02:00", CRONSIM),
    ("Europe/Riga", "2021-03-28", "04:00", "2021-03-28T04:00:00+03:00", CRONSIM),
    ("Europe/Riga", "2021-10-30", "04:00", "2021-10-30T04:00:00+03:00", CRONSIM),
    ("Europe/Riga", "2021-10-31", "04:00", "2021-10-31T04:00:00+02:00", CRONSIM),
    ("Europe/Riga", "2021-10-31", "02:00", "2021-10-31T02:00:00+03:00", CRONSIM),
    ("Europe/Riga", "2021-10-31", "03:15", "2021-10-31T03:15:00+03:00", CRONSIM),
    ("Europe/Riga", "2021-11-01", "03:15", "2021-11-01T03:15:00+02:00", CRONSIM),
    ("America/New_York", "2007-11-04", "01:30", "2007-11-04T01:30:00-04:00", RFC),
    ("America/New_York", "2007-03-11", "02:30", "2007-03-11T03:30:00-04:00", RFC),
]


@pytest.mark.parametrize(("zone", "on", "at", "expected", "source"), TIMES)
def test_the_issue_time_of_a_night_is_the_one_that_the_source_gives(
    zone: str, on: str, at: str, expected: str, source: str, tmp_path: Path
) -> None:
    with bar_in(tmp_path / "bar", zone).open() as (settings, _):
        found = issue_time_ms(settings, date.fromisoformat(on) - timedelta(days=1), time.fromisoformat(at))
    assert found == datetime.fromisoformat(expected).timestamp() * 1000, source


NIGHTS = [
    # Zone, first day of three, and when each is due by hand: 06:00 on the clock of the wall.
    ("America/New_York", "2025-03-08", ["03-09T10:00", "03-10T10:00", "03-11T10:00"]),
    ("America/New_York", "2025-11-01", ["11-02T11:00", "11-03T11:00", "11-04T11:00"]),
    ("Europe/Riga", "2021-03-26", ["03-27T04:00", "03-28T03:00", "03-29T03:00"]),
    ("Europe/Riga", "2021-10-29", ["10-30T03:00", "10-31T04:00", "11-01T04:00"]),
]


@pytest.mark.parametrize(("zone", "first", "due"), NIGHTS)
def test_each_day_is_issued_once_at_its_time(
    zone: str, first: str, due: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in (("EARLIEST_MS", 0), ("FAR_MS", 10**12)):  # the past on purpose, its rows all there
        monkeypatch.setattr(f"unrung.clock_trust.{name}", value)
    bar = bar_in(tmp_path / "bar", zone)
    start = date.fromisoformat(first)
    days = [start + timedelta(days=n) for n in range(3)]
    put_in(bar, days)
    moment = [datetime.combine(start, time(12), UTC)]
    runs: list[str] = []
    with bar.open() as (settings, db):
        clock = Clock(lambda: round(moment[0].timestamp() * 1000), lambda: 0.0)

        def work(settings: Settings, now_ms: int) -> None:
            runs.append(moment[0].strftime("%m-%dT%H:%M"))
            issue_and_judge(db, settings, now_ms)

        issuer = Issuer(Venue(bar.path, settings, clock), lambda: False, work, lambda: None)
        while moment[0].date() < start + timedelta(days=4):
            issuer.step()
            moment[0] += timedelta(minutes=30)
    assert runs == due
    issued = bar.query("SELECT day, revision FROM days WHERE revision ORDER BY day")
    assert issued == [{"day": day.isoformat(), "revision": 1} for day in days]


def put_in(bar: VenueFolder, days: list[date]) -> None:
    """A ring and a pour on each day, in exports that cover it, all there from the beginning."""
    rings = [ring("20:15:00") | {"Time": f"{day} 20:15:00"} for day in days]
    pours = [pour("", "20:14:00") | {"id": str(day), "start": f"{day} 20:14:00", "end": f"{day} 20:14:08"}
             for day in days]
    bar.rings("a.csv", rings)
    bar.pours("a.json", pours)
    for path in (*bar.till.iterdir(), *bar.meter.iterdir()):
        os.utime(path, (LATER, LATER))
    bar.intake("12-01 12:00:00")
