"""Times: declared forms, the two doubtful hours of the year, and the order of rows."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import tzdata
from hypothesis import example, given
from hypothesis import strategies as st

from adapters.exports import RECEIVED, mapping, utc_ms
from unrung_adapters.bad_value import BadValue, Unreadable
from unrung_adapters.local_time import Skipped, Twice, by_hour, local_reader
from unrung_adapters.moments import Moments
from unrung_adapters.notes import ReadNotes
from unrung_adapters.time_text import pattern, time_reader
from zone_oracle import read_zone

FIRST_PASS = utc_ms("2026-11-01T01:30-04:00")
SECOND_PASS = utc_ms("2026-11-01T01:30-05:00")
PACKAGE = Path(tzdata.__file__).parent / "zoneinfo"


def moments(notes: ReadNotes | None = None, **formats: Any) -> Moments:
    received = round(RECEIVED.timestamp() * 1000)
    return Moments(mapping(**formats), received, notes or ReadNotes())


# Pinned from zdump on IANA tzdb 2026f (public domain); the meaning of both passes: PEP 495.
@pytest.mark.parametrize(
    ("zone", "local", "passes"),
    [
        ("America/New_York", "2026-11-01T01:30", ("2026-11-01T05:30Z", "2026-11-01T06:30Z")),
        ("America/Chicago", "2026-11-01T01:00", ("2026-11-01T06:00Z", "2026-11-01T07:00Z")),
        ("Europe/London", "2026-10-25T01:30", ("2026-10-25T00:30Z", "2026-10-25T01:30Z")),
        ("Europe/Berlin", "2026-10-25T02:30", ("2026-10-25T00:30Z", "2026-10-25T01:30Z")),
        ("Australia/Lord_Howe", "2026-04-05T01:45", ("2026-04-04T14:45Z", "2026-04-04T15:15Z")),
        ("Australia/Sydney", "2026-04-05T02:30", ("2026-04-04T15:30Z", "2026-04-04T16:30Z")),
    ],
)  # fmt: skip
def test_a_local_time_that_comes_twice_has_both_its_passes(
    zone: str, local: str, passes: tuple[str, str]
) -> None:
    found = local_reader(zone)(datetime.fromisoformat(local))
    assert found == Twice(utc_ms(passes[0]), utc_ms(passes[1]))


@pytest.mark.parametrize(
    ("zone", "local", "moved"),
    [
        ("America/New_York", "2026-03-08T02:30", "2026-03-08T03:30-04:00"),
        ("Europe/London", "2026-03-29T01:30", "2026-03-29T02:30+01:00"),
        ("Australia/Lord_Howe", "2026-10-04T02:15", "2026-10-04T02:45+11:00"),
    ],
)
def test_a_local_time_that_never_was_moves_forward_by_the_gap(
    zone: str, local: str, moved: str
) -> None:
    assert local_reader(zone)(datetime.fromisoformat(local)) == Skipped(utc_ms(moved))


@pytest.mark.parametrize(
    ("zone", "local", "expected"),
    [
        ("America/New_York", "2026-11-01T00:59:59", "2026-11-01T00:59:59-04:00"),
        ("America/New_York", "2026-11-01T02:00:00", "2026-11-01T02:00:00-05:00"),
        ("America/New_York", "2026-03-08T01:59:59", "2026-03-08T01:59:59-05:00"),
        ("America/New_York", "2026-03-08T03:00:00", "2026-03-08T03:00:00-04:00"),
        ("America/Vancouver", "2026-11-01T01:30:00", "2026-11-01T01:30:00-07:00"),
        ("America/Phoenix", "2026-11-01T01:30:00", "2026-11-01T01:30:00-07:00"),
    ],
)
def test_the_hours_beside_a_change_and_zones_without_one_are_plain(
    zone: str, local: str, expected: str
) -> None:
    assert local_reader(zone)(datetime.fromisoformat(local)) == utc_ms(expected)


oracle = cache(read_zone)


@pytest.mark.skipif(shutil.which("zdump") is None, reason="NOT COMPARED: zdump is missing")
@pytest.mark.parametrize("zone", ["America/New_York", "Europe/Dublin", "Australia/Lord_Howe", "Asia/Beirut"])
@given(minutes=st.integers(0, 12 * 525_960))
@example(minutes=5_694_810)  # 2026-10-30: the weeks around a change are reached below
def test_local_times_agree_with_what_zdump_says(zone: str, minutes: int) -> None:
    read, rules = local_reader(zone), oracle(PACKAGE / zone)
    near_a_change = rules.changes[-1 - minutes % 20].at + (minutes % 240 - 120) * 60
    for wall in (
        datetime(2015, 1, 1) + timedelta(minutes=minutes),  # noqa: DTZ001
        datetime.fromtimestamp(near_a_change, UTC).replace(tzinfo=None),
    ):
        found = read(wall)
        first = found if isinstance(found, int) else found[0]
        assert first == rules.utc(wall) * 1000


ORDERS = {
    "rising": (["00:50", "01:10", "01:50", "01:05", "01:55", "02:05"], "EEEssS"),
    "falling": (["02:05", "01:55", "01:05", "01:50", "01:10", "00:50"], "SssEEE"),
    "rising, late by seconds": (["00:50", "01:10:40", "01:10:05", "01:20"], "EEEE"),
    "first row in the hour": (["01:30", "01:10", "01:20"], "Ess"),
    "another list begins after the hour": (["00:30", "00:40", "03:30", "01:30", "01:40"], "EESEE"),
}


@pytest.mark.parametrize("case", ORDERS)
def test_the_order_of_rows_says_which_pass_a_time_is_of(case: str) -> None:
    """E: daylight time, −4 h; S and s: standard time, −5 h (s: in the repeated hour)."""
    times, passes = ORDERS[case]
    read = moments()
    found = [read.in_order("at", f"2026-11-01T{time}") for time in times]
    offsets = ["-04:00" if each == "E" else "-05:00" for each in passes]
    assert found == [
        utc_ms(f"2026-11-01T{t}{o}") for t, o in zip(times, offsets, strict=True)
    ]  # fmt: skip


@example([0, 10, 40], [-45, 50, 60])
@example([130, 90], [-10, -25, -20])
@given(st.lists(st.integers(-90, 180), max_size=5), st.lists(st.integers(-90, 180), min_size=1, max_size=5))
def test_a_column_in_one_go_is_what_row_after_row_gives(first: list[int], second: list[int]) -> None:
    """Minutes after one in the night in which the clocks go back: in one go where no time comes twice."""
    columns = [[f"{datetime(2026, 11, 1, 1) + timedelta(minutes=each):%Y-%m-%dT%H:%M}" for each in some]  # noqa: DTZ001
               for some in (first, second)]
    notes, others = ReadNotes(), ReadNotes()
    in_one_go, in_turn = moments(notes), moments(others)
    for texts in columns:
        assert in_one_go.column("at", texts, {}) == [in_turn.in_order("at", text) for text in texts]
    assert notes == others


@pytest.mark.parametrize("text", ["", "no time", "1999-12-31T23:00Z", "2027-01-01T00:00Z"])
def test_a_time_of_a_column_that_cannot_be_is_told_of_its_row(text: str) -> None:
    bad: dict[int, BadValue] = {}
    found = moments().column("at", ["2026-10-31T20:00Z", text, "2026-10-31T20:01Z"], bad)
    assert (found[0], found[2], list(bad)) == (utc_ms("2026-10-31T20:00Z"), utc_ms("2026-10-31T20:01Z"), [1])


def test_without_an_order_every_doubtful_time_is_its_first_pass_and_counted() -> None:
    notes = ReadNotes()
    read = moments(notes, order="none")
    times = ["01:50", "01:30", "01:30"]
    found = [read.in_order("at", f"2026-11-01T{time}") for time in times]
    assert found[1:] == [FIRST_PASS, FIRST_PASS]
    assert (notes.ambiguous, notes.missing) == (3, 0)


def test_a_missing_time_is_moved_and_counted() -> None:
    notes = ReadNotes()
    moved = moments(notes).in_order("at", "2026-03-08T02:30")
    assert moved == utc_ms("2026-03-08T07:30Z")
    assert (notes.ambiguous, notes.missing) == (0, 1)


def test_an_offset_in_the_data_wins_over_zone_and_order() -> None:
    read = moments()
    times = ["2026-11-01T01:30:00-05:00", "2026-11-01T01:30:00-04:00", "2026-11-01T05:30:00Z"]
    assert [read.in_order("at", time) for time in times] == [SECOND_PASS, FIRST_PASS, FIRST_PASS]


def test_the_second_time_of_a_row_takes_the_pass_that_fits_the_first() -> None:
    read = moments()
    assert read.not_before("voided_at", "2026-11-01T01:30", FIRST_PASS + 60_000) == SECOND_PASS
    assert read.not_before("voided_at", "2026-11-01T01:30", FIRST_PASS) == FIRST_PASS
    assert read.not_after("start", "2026-11-01T01:30", SECOND_PASS) == SECOND_PASS
    assert read.not_after("start", "2026-11-01T01:30", SECOND_PASS - 1) == FIRST_PASS


@pytest.mark.parametrize(
    ("form", "text", "expected"),
    [
        ("iso", "2026-10-31T20:41:07-04:00", "2026-11-01T00:41:07+00:00"),
        ("iso", "2026-10-31 20:41", "2026-10-31T20:41:00-04:00"),
        ("iso", "20261031T2041", "2026-10-31T20:41:00-04:00"),
        ("iso", "20261031T0024", "2026-10-31T00:24:00-04:00"),
        ("iso", "2026-10-31T20:41:07.123987Z", "2026-10-31T20:41:07.123+00:00"),
        ("iso", "2026-11-01T01:30:00-05:00[America/New_York]", "2026-11-01T06:30:00+00:00"),
        ("epoch_s", "1793514600", "2026-11-01T06:30:00+00:00"),
        ("epoch_s", "1793514600.25", "2026-11-01T06:30:00.250+00:00"),
        ("epoch_ms", "1793514600250", "2026-11-01T06:30:00.250+00:00"),
        ("%m/%d/%Y %I:%M:%S %p", "10/31/2026 12:05:09 AM", "2026-10-31T00:05:09-04:00"),
        ("%d.%m.%Y %H:%M", "31.10.2026 20:41", "2026-10-31T20:41:00-04:00"),
        ("%d %b %Y %H:%M", "31 Oct 2026 20:41", "2026-10-31T20:41:00-04:00"),
        ("%Y-%m-%d %H:%M %z", "2026-11-01 01:30 -0500", "2026-11-01T06:30:00+00:00"),
        ("%d-%b-%Y %H:%M", "12-ene-2026 20:41", "2026-01-12T20:41:00-05:00"),
        ("%d. %B %Y %Hh%M", "12. März 2026 20h41", "2026-03-12T20:41:00-04:00"),
        ("%a %d %b %Y %H.%M", "lør. 31 okt. 2026 20.41", "2026-10-31T20:41:00-04:00"),
        ("%a %d %b %Y %H:%M", "mar. 3 mars 2026 20:41", "2026-03-03T20:41:00-05:00"),
        ("%d/%m/%Y %I:%M:%S %p", "31/10/2026 08:41:07 p. m.", "2026-10-31T20:41:07-04:00"),
        ("%m/%d/%Y, %I:%M:%S %p", "10/31/2026, 8:41:07\u202fPM", "2026-10-31T20:41:07-04:00"),
        ("%m/%d/%y %I:%M%p", "10/31/26 12:05a", "2026-10-31T00:05:00-04:00"),
        ("sheet_days", "46326.862", "2026-10-31T20:41:17-04:00"),
        ("sheet_days", "46326 0,86188657", "2026-10-31T20:41:07-04:00"),
    ],
)  # fmt: skip
def test_every_declared_form_is_read(form: str, text: str, expected: str) -> None:
    assert moments(time=form).in_order("at", text) == utc_ms(expected)


@pytest.mark.parametrize(
    ("form", "text"),
    [
        ("iso", "2026-10-31"), ("iso", "10/31/2026 20:41"), ("iso", "1793514600"), ("iso", ""),
        ("iso", "2026-10-31T24:00"), ("iso", "2026-10-31T20:41[America/New_York]"),
        ("iso", "2026-13-01T20:41"), ("iso", "now"), ("epoch_s", "1e9"), ("epoch_s", "2026-10-31T20:41"),
        ("epoch_ms", "1_793_514_600_250"), ("epoch_ms", "9" * 15), ("%m/%d/%Y %H:%M", "31/10/2026 20:41"),
        ("%m/%d/%Y %H:%M", "10/31/2026 20:41:00"), ("%m/%d/%Y %H:%M", "2/30/2026 20:41"),
        ("%m/%d/%Y %I:%M %p", "10/31/2026 20:41 PM"), ("%m/%d/%Y %I:%M %p", "10/31/2026 8:41 pint"),
        ("%d %b %Y %H:%M", "31 Foo 2026 20:41"), ("%a %d %b %Y %H:%M", "Foo 31 Oct 2026 20:41"),
        ("sheet_days", "46326-0.5"), ("sheet_days", "20:41"), ("sheet_days", "1e4"),
    ],
)  # fmt: skip
def test_a_time_of_another_form_is_refused_and_not_guessed(form: str, text: str) -> None:
    with pytest.raises(Unreadable):
        time_reader(form)(text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1999-12-31T23:59Z", "before the year 2000"), ("1970-01-01T00:00Z", "before the year 2000"),
        ("2026-11-27T00:01Z", "is the date order right?"), ("2027-10-31T20:00Z", "in the future"),
    ],
)  # fmt: skip
def test_a_time_that_cannot_be_is_refused(text: str, words: str) -> None:
    with pytest.raises(BadValue, match=words):
        moments().in_order("at", text)


def test_a_clock_a_little_ahead_is_let_through() -> None:
    assert moments().in_order("at", "2026-11-26T23:59Z") == utc_ms("2026-11-26T23:59Z")


PATTERNS = [
    "%Y-%m-%d %H:%M:%S", "%m/%d/%Y %I:%M:%S %p", "%d.%m.%Y %H:%M", "%Y%m%d%H%M%S", "%d/%m/%Y %I:%M%p",
    "%Y-%m-%dT%H:%M:%S.%f", "%H:%M %d-%m-%Y", "100%% %Y (%m) %d at %H.%M",
]  # fmt: skip
TIME_SHAPED = st.text(alphabet="0123456789/:-. TAPMapm()t%", max_size=24)


@pytest.mark.parametrize("form", PATTERNS)
@given(
    moment=st.datetimes(datetime(1000, 1, 1), datetime(9999, 12, 31)),  # noqa: DTZ001
    noise=TIME_SHAPED,
    cut=st.integers(0, 24),
)
def test_the_quick_reading_of_patterns_is_what_strptime_gives(
    form: str, moment: datetime, noise: str, cut: int
) -> None:
    text = moment.strftime(form)
    for each in (text, text.lower(), text[:cut], text[:cut] + noise, noise, text.replace("0", "", 1)):
        try:
            expected: Any = datetime.strptime(each, form)  # noqa: DTZ007
        except ValueError:
            expected = ValueError
        try:
            found: Any = pattern(form)(each)
        except ValueError:
            found = ValueError
        assert found == expected, each


ISO_TAILS = [
    "", "Z", "+00:00", "-04:00", "+05:45", "-0500", " ", ".25", ",5Z", "-04:00[America/New_York]", "x",
]


@example(datetime(2026, 11, 1, 1, 30), "", "T")  # noqa: DTZ001
@example(datetime(2026, 3, 8, 2, 15), "", " ")  # noqa: DTZ001
@example(datetime(2026, 3, 8, 2, 15), "Z", "T")  # noqa: DTZ001
@given(
    st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31)),  # noqa: DTZ001
    st.sampled_from(ISO_TAILS), st.sampled_from(["T", " ", "t", "_"]),
)
def test_times_counted_from_their_hour_are_what_reading_each_gives(
    wall: datetime, tail: str, mark: str
) -> None:
    parse, local = time_reader("iso"), local_reader("America/New_York")

    def one_by_one(text: str) -> Any:
        found = parse(text)
        return found if isinstance(found, int) else local(found)

    quick, column = by_hour(one_by_one)
    texts = (f"{wall:%Y-%m-%d}{mark}{wall:%H:%M:%S}{tail}", f"{wall:%Y-%m-%d}{mark}{wall:%H}{tail}",
             f"{wall:%Y-%m-%d}{mark}{wall:%H:%M}:60{tail}", f"{wall:%Y%m%d}{mark}{wall:%H%M%S}{tail}")
    for text in texts:
        for _ in range(2):
            assert _told(quick, text) == _told(one_by_one, text)
        near = [text, texts[0], text]
        assert column(near) in (None, [_told(one_by_one, one) for one in near])


def test_a_column_of_times_is_read_in_one_go_but_for_the_hours_in_which_clocks_change() -> None:
    local = local_reader("America/New_York")
    _, column = by_hour(lambda text: local(datetime.fromisoformat(text)))
    plain = [f"2026-11-01 {hour:02}:59:0{hour}" for hour in (0, 3, 4)]
    assert column(plain) == [local(datetime.fromisoformat(text)) for text in plain]
    assert column([*plain, "2026-11-01 01:10:00"]) is None
    assert column([*plain, "2026-11-01 05:10"]) is None


def _told(read: Any, text: str) -> Any:
    try:
        return read(text)
    except Unreadable as error:
        return error.reason
