"""Business days against zdump, which reads the same zone files without any Python.

Dated values: IANA tzdb 2026f (public domain), PEP 495 for times that come twice or not at all.
"""

from __future__ import annotations

import shutil
import zoneinfo
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path

import pytest
import tzdata
from hypothesis import given
from hypothesis import strategies as st

from unrung.business_day import business_day, day_bounds, local_iso, utc_iso, windows
from zone_oracle import ZoneOracle, read_zone

PACKAGE = Path(tzdata.__file__).parent / "zoneinfo"
SYSTEM = Path("/usr/share/zoneinfo")
FOUR = time(4)
HOUR = 3_600_000
FIRST, LAST = date(2015, 1, 1), date(2026, 12, 31)
ZONES = [
    "America/New_York", "America/Los_Angeles", "America/Vancouver", "America/Phoenix",
    "America/Havana", "America/Santiago", "America/Sao_Paulo", "Europe/London", "Europe/Dublin",
    "Europe/Berlin", "Africa/Casablanca", "Africa/Cairo", "Asia/Beirut", "Asia/Kathmandu",
    "Asia/Tokyo", "Australia/Sydney", "Australia/Lord_Howe", "Pacific/Chatham", "Antarctica/Troll",
]  # fmt: skip

needs_zdump = pytest.mark.skipif(
    shutil.which("zdump") is None,
    reason="NOT COMPARED: zdump is missing (Debian: apt install libc-bin)",
)
oracle = cache(read_zone)


@pytest.fixture(params=[PACKAGE, SYSTEM], ids=["package", "system"])
def zone_files(request: pytest.FixtureRequest) -> Iterator[Path]:
    """The folder that both Python and zdump read: the package's, and the PC's own as well."""
    folder: Path = request.param
    if not folder.is_dir():
        pytest.skip(f"NOT COMPARED: no {folder} on this system")
    before = zoneinfo.TZPATH
    _read_from(() if folder is PACKAGE else (str(folder),))
    yield folder
    _read_from(before)


def _read_from(path: Sequence[str]) -> None:
    zoneinfo.reset_tzpath(to=path)
    zoneinfo.ZoneInfo.clear_cache()
    day_bounds.cache_clear()


def every_day() -> Iterator[date]:
    return (FIRST + timedelta(days=n) for n in range((LAST - FIRST).days + 1))


def near_changes(zone: ZoneOracle) -> Iterator[date]:
    for change in zone.changes:
        middle = datetime.fromtimestamp(change.at, UTC).date()
        if FIRST <= middle <= LAST:
            yield from (middle + timedelta(days=n) for n in range(-2, 3))


@needs_zdump
@pytest.mark.parametrize("zone", ZONES)
def test_every_day_of_twelve_years_starts_when_zdump_says(zone: str, zone_files: Path) -> None:
    truth = oracle(zone_files / zone)
    wrong = [
        day for day in every_day()
        if day_bounds(day, zone, FOUR)[0] != 1000 * truth.utc(datetime.combine(day, FOUR))
    ]
    assert wrong == []


@needs_zdump
@pytest.mark.parametrize("zone", ZONES)
def test_a_cut_off_in_a_change_itself_takes_the_first_pass_or_moves_on(
    zone: str, zone_files: Path
) -> None:
    truth = oracle(zone_files / zone)
    starts = [time(0), time(0, 30), time(1), time(1, 45), time(2), time(2, 30), time(3), time(3, 59)]
    wrong = [
        (day, start) for day in near_changes(truth) for start in starts
        if day_bounds(day, zone, start)[0] != 1000 * truth.utc(datetime.combine(day, start))
    ]
    assert wrong == []


@needs_zdump
@pytest.mark.parametrize("zone", ZONES)
def test_a_day_is_24_hours_less_the_change_of_offset_within_it(zone: str, zone_files: Path) -> None:
    truth = oracle(zone_files / zone)
    lengths = {day: hi - lo for day in every_day() for lo, hi in [day_bounds(day, zone, FOUR)]}
    expected = {day: 24 * HOUR for day in every_day()}
    for change in truth.changes:
        wall = datetime.fromtimestamp(change.at + change.before, UTC)
        day = wall.date() - timedelta(days=wall.time() < FOUR)
        if FIRST <= day <= LAST:
            expected[day] -= 1000 * (change.after - change.before)
    assert lengths == expected
    ends = [truth.utc(datetime.combine(day, FOUR)) for day in (FIRST, LAST + timedelta(days=1))]
    assert sum(lengths.values()) == 1000 * (ends[1] - ends[0])


@pytest.mark.parametrize(
    ("zone", "changes"),
    [
        ("America/New_York", ["2026-03-08T07:00Z", "2026-11-01T06:00Z", "2027-03-14T07:00Z"]),
        ("America/Chicago", ["2026-03-08T08:00Z", "2026-11-01T07:00Z", "2027-11-07T07:00Z"]),
        ("America/Denver", ["2026-03-08T09:00Z", "2026-11-01T08:00Z"]),
        ("America/Los_Angeles", ["2026-03-08T10:00Z", "2026-11-01T09:00Z"]),
        ("Europe/London", ["2026-03-29T01:00Z", "2026-10-25T01:00Z", "2027-03-28T01:00Z"]),
        ("Europe/Dublin", ["2026-03-29T01:00Z", "2026-10-25T01:00Z", "2027-10-31T01:00Z"]),
        ("Europe/Berlin", ["2026-03-29T01:00Z", "2026-10-25T01:00Z"]),
        ("Australia/Sydney", ["2026-04-04T16:00Z", "2026-10-03T16:00Z"]),
        ("Australia/Lord_Howe", ["2026-04-04T15:00Z", "2026-10-03T15:30Z"]),
    ],
)
def test_the_clock_changes_in_the_published_second(zone: str, changes: list[str]) -> None:
    for change in changes:
        at = ms(change)
        offsets = [local_iso(moment, zone)[-6:] for moment in (at - 1000, at, at + 1000)]
        assert offsets[0] != offsets[1] == offsets[2]


def ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


@pytest.mark.parametrize(
    ("zone", "starts", "day", "hours"),
    [
        # the short and the long night belong to the day before the calendar's
        ("America/New_York", FOUR, "2026-03-07", 23),
        ("America/New_York", FOUR, "2026-03-08", 24),
        ("America/New_York", time(0), "2026-03-08", 23),
        ("America/New_York", FOUR, "2026-10-31", 25),
        ("America/New_York", time(0), "2026-11-01", 25),
        ("Europe/London", FOUR, "2026-03-28", 23),
        ("Europe/London", FOUR, "2026-10-24", 25),
        ("Australia/Lord_Howe", FOUR, "2026-04-04", 24.5),
        ("Australia/Lord_Howe", FOUR, "2026-10-03", 23.5),
        ("America/Phoenix", FOUR, "2026-03-07", 24),
        ("Asia/Tokyo", FOUR, "2026-10-31", 24),
    ],
)
def test_the_length_of_a_named_day(zone: str, starts: time, day: str, hours: float) -> None:
    lo, hi = day_bounds(date.fromisoformat(day), zone, starts)
    assert (hi - lo) / HOUR == hours


def test_the_long_day_of_new_york_from_end_to_end() -> None:
    lo, hi = day_bounds(date(2026, 10, 31), "America/New_York", FOUR)
    assert (utc_iso(lo), utc_iso(hi)) == ("2026-10-31T08:00:00.000Z", "2026-11-01T09:00:00.000Z")
    assert local_iso(ms("2026-11-01T05:30Z"), "America/New_York") == "2026-11-01T01:30:00-04:00"
    assert local_iso(ms("2026-11-01T06:30Z"), "America/New_York") == "2026-11-01T01:30:00-05:00"


@pytest.mark.parametrize(
    ("day", "starts", "utc"),
    [
        ("2026-11-01", time(1, 30), "2026-11-01T05:30Z"),  # comes twice: the first
        ("2026-03-08", time(2, 30), "2026-03-08T07:30Z"),  # does not exist: moved on by the gap
    ],
)
def test_a_start_that_comes_twice_or_never(day: str, starts: time, utc: str) -> None:
    assert day_bounds(date.fromisoformat(day), "America/New_York", starts)[0] == ms(utc)


def test_the_zone_rules_are_those_of_the_package_and_not_of_the_pc() -> None:
    """British Columbia stays on UTC-7 from 2026 on: copies of the rules from before say otherwise."""
    assert zoneinfo.TZPATH == ()
    lo, hi = day_bounds(date(2026, 10, 31), "America/Vancouver", FOUR)
    assert (hi - lo) / HOUR == 24


@given(
    st.integers(ms("2000-01-01T00:00Z"), ms("2036-01-01T00:00Z")),
    st.sampled_from([*ZONES, "Pacific/Apia"]),
    st.times().map(lambda moment: moment.replace(second=0, microsecond=0)),
)
def test_every_instant_belongs_to_exactly_one_day(at_ms: int, zone: str, starts: time) -> None:
    day = business_day(at_ms, zone, starts)
    near = [day + timedelta(days=n) for n in range(-2, 3)]
    bounds = {near_day: day_bounds(near_day, zone, starts) for near_day in near}
    assert [d for d, (lo, hi) in bounds.items() if lo <= at_ms < hi] == [day]
    assert ms(local_iso(at_ms, zone, millis=True)) == at_ms == ms(utc_iso(at_ms))


@given(st.dates(FIRST, LAST), st.sampled_from(ZONES), st.sampled_from([1, 15, 60, 90, 1440]))
def test_windows_cut_a_day_without_gap_or_overlap(day: date, zone: str, minutes: int) -> None:
    lo, hi = day_bounds(day, zone, FOUR)
    cuts = windows(day, zone, FOUR, minutes)
    assert [start for start, _ in cuts] + [hi] == [lo, *(end for _, end in cuts)]
    assert all(end - start == minutes * 60_000 for start, end in cuts[:-1])
    assert 0 < cuts[-1][1] - cuts[-1][0] <= minutes * 60_000


def test_a_date_that_a_zone_skipped_is_empty_and_owns_nothing() -> None:
    """Samoa went from 29 to 31 December 2011 (IANA tzdb, file australasia)."""
    skipped = date(2011, 12, 30)
    lo, hi = day_bounds(skipped, "Pacific/Apia", FOUR)
    assert lo == hi
    assert business_day(lo, "Pacific/Apia", FOUR) == date(2011, 12, 31)
    assert windows(skipped, "Pacific/Apia", FOUR, 60) == []
