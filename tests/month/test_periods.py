"""Periods against the standard library's ISO week calendar, and what every calendar must hold."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from unrung.errors import UnrungError
from unrung.periods import PeriodKind, after, before, period_named, period_of

MONDAY = date(2024, 1, 1)
"""With this start, years of weeks are the week-years of ISO 8601: from the Monday nearest 1 January."""
days = st.dates(date(1995, 1, 1), date(2090, 1, 1))


@given(days)
def test_thirteen_periods_of_four_weeks_follow_iso_8601(day: date) -> None:
    iso = day.isocalendar()  # ISO 8601 as the standard library has it: an independent oracle
    number = min((iso.week - 1) // 4 + 1, 13)
    assert period_of(day, "13x4", MONDAY).name == f"{iso.year}-P{number:02d}"


@given(days)
def test_four_four_five_follows_iso_8601(day: date) -> None:
    iso = day.isocalendar()
    ends = [4, 8, 13, 17, 21, 26, 30, 34, 39, 43, 47, 53]
    number = next(n for n, end in enumerate(ends, 1) if iso.week <= end)
    assert period_of(day, "4-4-5", MONDAY).name == f"{iso.year}-P{number:02d}"


@pytest.mark.parametrize(("year", "weeks"), [(2020, 53), (2021, 52), (2026, 53), (2027, 52)])
def test_a_long_year_gives_its_53rd_week_to_the_last_period(year: int, weeks: int) -> None:
    """2020 and 2026 have 53 weeks in ISO 8601."""
    last = period_named(f"{year}-P13", "13x4", MONDAY)
    assert len(last.days()) == (weeks - 48) * 7
    assert date(year, 12, 28).isocalendar().week == weeks


@given(days, st.sampled_from(["calendar", "4-4-5", "13x4"]), st.dates(date(2020, 1, 1), date(2028, 12, 31)))
def test_each_day_is_in_one_period_and_periods_follow_each_other(
    day: date, kind: PeriodKind, start: date
) -> None:
    period = period_of(day, kind, start)
    assert period.first <= day <= period.last
    assert period_named(period.name, kind, start) == period
    following = after(period, kind, start)
    assert following.first == period.last + timedelta(days=1)
    assert before(following, kind, start) == period
    assert following.name > period.name


@given(st.dates(date(2020, 1, 1), date(2028, 12, 31)))
def test_the_start_date_begins_a_period(start: date) -> None:
    assert period_of(start, "13x4", start).first == start
    assert period_of(start, "13x4", start).name.endswith("-P01")


@pytest.mark.parametrize(("name", "kind"), [
    ("2026-13", "calendar"), ("2026-00", "calendar"), ("november", "calendar"), ("2026-P01", "calendar"),
    ("2026-P13", "4-4-5"), ("2026-P14", "13x4"), ("2026-11", "13x4"), ("2026-P00", "13x4")])
def test_a_name_that_is_none_is_refused_with_the_way_to_write_one(name: str, kind: PeriodKind) -> None:
    with pytest.raises(UnrungError, match=r"write (for example )?2026"):
        period_named(name, kind, MONDAY)
