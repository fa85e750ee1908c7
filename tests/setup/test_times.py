"""Time forms, day or month first, and the zone: by evidence, and asked where there is none."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from unrung.errors import UnrungError
from unrung.setup.clocks import settle_time_form, zone_found
from unrung.setup.doubt import Notes
from unrung.setup.draft import Draft, Sample
from unrung.setup.times import forms_of
from unrung.setup.understand import understand
from unrung.setup.zones import explain_shift

from .helping import Asked

WRITTEN_MS = round(datetime(2026, 11, 20, tzinfo=UTC).timestamp() * 1000)


@pytest.mark.parametrize(
    ("values", "forms"),
    [
        (["10/27/2026 11:09:17 AM", "10/08/2026 1:09:17 PM"], ["%m/%d/%Y %I:%M:%S %p"]),
        (["27.10.2026 20:15"], ["%d.%m.%Y %H:%M"]),
        (["27.10.2026 20.15"], ["%d.%m.%Y %H.%M"]),
        (["2026-10-27T12:16:20-04:00", "2026-10-28 09:01"], ["iso"]),
        (["1793511000", "1793511060.5"], ["epoch_s"]),
        (["1793511000123"], ["epoch_ms"]),
        (["27-Oct-2026 20:15:01"], ["%d-%b-%Y %H:%M:%S"]),
        (["Oct 27, 2026 8:15 PM"], ["%b %d, %Y %I:%M %p"]),
        (["Fri 10/30/2026 8:15 PM"], ["%a %m/%d/%Y %I:%M %p"]),
        (["2026/10/27 20:15:33.123"], ["%Y/%m/%d %H:%M:%S.%f"]),
        (["03/04/2026 11:09"], ["%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M"]),
        (["20:15:33"], ["%H:%M:%S"]),
        (["27/10/2026"], ["%d/%m/%Y"]),
        (["12-ene-2026 20:15", "3-dic-2026 9:01"], ["%d-%b-%Y %H:%M"]),
        (["lun. 26 oct. 2026 20:15"], ["%a %d %b %Y %H:%M"]),
        (["So 25.10.2026 20:15"], ["%a %d.%m.%Y %H:%M"]),
        (["27/10/2026 08:15:33 p. m.", "27/10/2026 11:02:00 a. m."], ["%d/%m/%Y %I:%M:%S %p"]),
        (["9:05p", "11:40a"], ["%I:%M%p"]),
        (["1 mai 2026 20:15", "3 juil. 2026 20:15", "9 October 2026 20:15"], ["%d %b %Y %H:%M"]),
        (["21h05"], ["%Hh%M"]),
        (["27.10.2026 klo 20.15"], ["%d.%m.%Y klo %H.%M"]),
        (["27.10.2026, 20:15 Uhr"], ["%d.%m.%Y, %H:%M Uhr"]),
        (["2026. 10. 27. 20:15:33"], ["%Y. %m. %d. %H:%M:%S"]),
        (["20261027 201533"], ["%Y%m%d %H%M%S"]),
        (["20261027201533"], ["%Y%m%d%H%M%S"]),
        (["27.10.2026 2015"], ["%d.%m.%Y %H%M"]),
        (["46322.8438", "46322.9"], []),
        (["201533", "2015"], []),
        (["9:05 pints"], []),
        (["5.50", "12.00"], []),
        (["1001", "1002"], []),
        (["Pint", "Half"], []),
    ],
)
def test_a_column_s_form_is_the_one_by_which_every_value_reads(values: list[str], forms: list[str]) -> None:
    assert [one.form for one in forms_of(values)] == forms


def test_one_bad_value_among_many_does_not_hide_the_form() -> None:
    values = [f"10/27/2026 11:{minute:02d}:00 AM" for minute in range(60)] + ["10/27/2026 25:99:00 AM"]
    assert [one.form for one in forms_of(values)] == ["%m/%d/%Y %I:%M:%S %p"]


def test_numbers_of_a_spreadsheet_s_days_are_times_where_a_file_has_no_other() -> None:
    rows = "".join(f"{46322.5 + n / 200:.6f},Pint of Amber,{n}\n" for n in range(40))
    draft = understand("rings", "till", [Sample("a.csv", f"Sold,Item,Check\n{rows}".encode(), WRITTEN_MS)],
                       Notes(Asked()))
    assert (draft.fields["at"], draft.time_forms) == (("Sold",), ["sheet_days"])
    rows = "".join(f"2026-10-27 20:{n:02d},T1,{46322.5 + n:.3f}\n" for n in range(40))
    draft = understand("pours", "m", [Sample("a.csv", f"At,Tap,Total\n{rows}".encode(), WRITTEN_MS)],
                       Notes(Asked()))
    assert draft.fields["at"] == ("At",) and draft.fields["total"] == ("Total",)


@pytest.mark.parametrize("header, at", [("Time", ("Date", "Time")), ("No", None)])
def test_four_digits_are_a_clock_only_under_a_header_that_says_so(
    header: str, at: tuple[str, ...] | None
) -> None:
    rows = "".join(f"27/10/2026,20{n:02d},Pint of Amber,{n}\n" for n in range(40))
    given = [Sample("a.csv", f"Date,{header},Item,Check\n{rows}".encode(), WRITTEN_MS)]
    if at is None:
        with pytest.raises(UnrungError, match="when a row happened"):
            understand("rings", "till", given, Notes(Asked()))
    else:
        draft = understand("rings", "till", given, Notes(Asked()))
        assert (draft.fields["at"], draft.time_forms) == (at, ["%d/%m/%Y %H%M"])


def till(*days: date, order: str = "%m/%d/%Y", name: str = "export.csv") -> Draft:
    """A till's draft with rows of these days, written in one file."""
    rows = [
        f"{day.strftime(order)} {hour}:15:00,Pint of Amber,{hour}\n" for day in days for hour in range(12, 23)
    ]
    content = ("Time,Item,Check\n" + "".join(rows)).encode()
    return understand("rings", "till", [Sample(name, content, WRITTEN_MS)], Notes(Asked()))


def form_of(draft: Draft, *others: Draft, month_first: bool = False) -> tuple[str, list[str]]:
    """The time form that is taken, and what was asked."""
    asked = Asked()
    settle_time_form(draft, others, month_first, Notes(asked))
    return draft.formats["time"], asked.about


@pytest.mark.parametrize("order", ["%m/%d/%Y", "%d/%m/%Y"])
def test_days_that_would_lie_months_apart_tell_which_is_the_month(order: str) -> None:
    days = [date(2026, 11, day) for day in range(2, 8)]
    assert form_of(till(*days, order=order)) == (f"{order} %H:%M:%S", [])


@pytest.mark.parametrize("order", ["%m/%d/%Y", "%d/%m/%Y"])
def test_the_date_in_the_file_s_name_tells(order: str) -> None:
    draft = till(date(2026, 3, 4), order=order, name="till_2026-03-04.csv")
    assert form_of(draft) == (f"{order} %H:%M:%S", [])


@pytest.mark.parametrize("order", ["%m/%d/%Y", "%d/%m/%Y"])
def test_the_other_export_of_the_same_day_tells(order: str) -> None:
    meters = till(date(2026, 4, 3), order="%Y-%m-%d")
    assert form_of(till(date(2026, 4, 3), order=order), meters) == (f"{order} %H:%M:%S", [])


def test_a_day_in_the_future_is_no_day_at_all() -> None:
    assert form_of(till(date(2026, 11, 12), order="%m/%d/%Y")) == ("%m/%d/%Y %H:%M:%S", [])


@pytest.mark.parametrize(("month_first", "form"), [(True, "%m/%d/%Y"), (False, "%d/%m/%Y")])
def test_without_any_evidence_it_is_asked_and_habit_only_proposes(month_first: bool, form: str) -> None:
    taken, asked = form_of(till(date(2026, 3, 4)), month_first=month_first)
    assert (taken, asked) == (f"{form} %H:%M:%S", ["till: time"])


def test_the_answer_counts() -> None:
    draft = till(date(2026, 3, 4))
    settle_time_form(draft, [], True, Notes(Asked(time="%d/%m/%Y %H:%M:%S")))
    assert draft.formats["time"] == "%d/%m/%Y %H:%M:%S"


def test_offsets_across_the_autumn_night_name_the_zone() -> None:
    rows = ["2026-10-31T20:00:00-04:00", "2026-11-01T20:00:00-05:00"]
    content = "Time,Item\n" + "".join(f"{at},Amber\n" for at in rows * 8)
    draft = understand("rings", "till", [Sample("a.csv", content.encode(), WRITTEN_MS)], Notes(Asked()))
    draft.formats["time"] = "iso"
    assert zone_found([draft], "", "Europe/Berlin").value == "America/New_York"
    assert zone_found([draft], "", "America/Toronto").doubt is None  # this machine's own zone fits
    assert zone_found([draft], "America/Havana", "").value == "America/Havana"


SUMMER_MS = [round(datetime(2026, 7, 1, 20, tzinfo=UTC).timestamp() * 1000)] * 3


@pytest.mark.parametrize(
    ("quarters", "zone", "sure", "ring_says", "pour_says", "expected"),
    [
        (-16, "UTC", False, False, True, ("America/New_York", "")),  # rings local, pours with offsets
        (8, "Europe/Berlin", True, False, False, ("Europe/Berlin", "pours")),  # meters run on UTC
        (-8, "Europe/Berlin", True, False, False, ("Europe/Berlin", "rings")),
        (3, "Europe/Berlin", True, False, False, None),  # a wrong clock, no zone
        (4, "Europe/Berlin", True, True, True, None),
    ],
)
def test_hours_between_rings_and_pours_tell_who_writes_which_zone(
    quarters: int, zone: str, sure: bool, ring_says: bool, pour_says: bool,
    expected: tuple[str, str] | None,
) -> None:
    shifted = explain_shift(quarters, zone, sure, SUMMER_MS, ring_says, pour_says)
    assert (shifted and (shifted.zone.value, shifted.utc_feed)) == expected


