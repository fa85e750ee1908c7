"""What ``unrung check`` tells before anything is done."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from unrung.checking import Report, check_folder
from venue_folder import VenueFolder, make_venue, ms, pour, ring, till_csv


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    return make_venue(tmp_path / "v")


def check(venue: VenueFolder) -> Report:
    return check_folder(venue.path, ms("06-12 12:00:00"), {})


def test_the_first_rows_are_shown_as_the_venue_writes_them(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("20:15:00", qty="0.5"), ring("20:16:00", check="12")])
    venue.pours("a.json", [pour("p1", "20:15:00")])
    report = check(venue)
    assert "till: a.csv gives 2 rows" in report.lines and report.problems == 0
    shown = [line.strip() for line in report.lines if line.startswith("    ")]
    assert shown == [
        "at 2025-06-10T20:15:00-04:00, item Pint of Amber, units 0.5, amount 7.00 USD, outlet Bar",
        "at 2025-06-10T20:16:00-04:00, item Pint of Amber, amount 7.00 USD, check 12, outlet Bar",
        "ref p1, tap 1, start 2025-06-10T20:14:52-04:00, end 2025-06-10T20:15:00-04:00, volume 16.00 fl oz",
    ]


def test_bad_rows_are_shown_with_their_fix_and_the_rest_is_counted(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("20:15:00"), *[ring(f"25:0{number}:00") for number in range(5)]])
    report = check(venue)
    told, more = (next(line for line in report.lines if text in line) for text in ("line 3", "more rows"))
    assert told.startswith("- a.csv, line 3, field 'at': '2025-06-10 25:00:00' is not a time of the form")
    assert more == "- a.csv: 2 more rows cannot be read" and report.problems == 4


def test_the_newest_file_is_tried_and_none_is_touched(venue: VenueFolder) -> None:
    venue.rings("old.csv", [ring("20:15:00")], "20:30:00")
    venue.rings("new.csv", [ring("20:15:00"), ring("20:16:00")], "20:31:00")
    before = venue.files("exports")
    assert "till: new.csv gives 2 rows" in check(venue).lines
    assert venue.files("exports") == before and not (venue.path / "unrung.sqlite").exists()


@pytest.mark.skipif(os.name != "posix", reason="Windows has no such files")
def test_what_cannot_be_read_is_a_problem_and_not_the_end(venue: VenueFolder) -> None:
    (venue.till / "x.csv").mkdir()
    with (venue.meter / "big.json").open("wb") as file:
        file.truncate(1 << 30)
    report = check(venue)
    assert any("x.csv bears an export's name but is a folder" in line for line in report.lines)
    assert any("big.json is larger than max_bytes" in line for line in report.lines)
    assert report.problems == 2 and report.lines[-1] == "2 to mend."


def test_a_missing_folder_and_a_foreign_store_are_told_in_one_go(venue: VenueFolder) -> None:
    venue.till.rmdir()
    (venue.path / "unrung.sqlite").write_bytes(b"hello" * 1000)
    report = check(venue)
    assert report.problems == 2
    assert any("cannot be listed" in line for line in report.lines)
    assert any("cannot be read as a store" in line for line in report.lines)


def test_days_that_an_edit_changes_are_listed_first_and_left_as_they_are(venue: VenueFolder) -> None:
    venue.drop(venue.till / "a.csv", till_csv([ring("20:15:00"), ring("06-11 20:15:00")]), "06-11 23:00:00")
    venue.catch_up()
    assert not any("Edits" in line for line in check(venue).lines)
    venue.edit("menu.csv", "price\n", "price,from,to\n")
    venue.edit("menu.csv", "Pint of Amber,Amber,16,7.00", "Pint of Amber,Amber,14,7.00,2025-06-11,2025-06-11")
    report = check(venue)
    assert report.lines[1] == (
        "Edits of the tables change days that are past, which are issued again where they differ: 2025-06-11")
    assert report.problems == 0 and check(venue).lines == report.lines, "a look takes nothing up"


def test_sizes_in_another_unit_than_they_are_read_in_are_asked_about(venue: VenueFolder) -> None:
    """Litres where ounces are read, ounces where litres are; what a bar may well have is not asked about."""
    venue.edit("menu.csv", "Pint of Amber,Amber,16,", "Pint of Amber,Amber,0.5,")
    venue.edit("menu.csv", "Burger,,,\n", "Burger,,,\nTaster,Amber,2,\nPitcher,Amber,64,\n")
    venue.edit("products.csv", "50 l", "1984 l")
    taps = "tap,meter,outlet,product,metered,line_volume\n1,M1,Bar,Amber,yes,0.3\n2,M2,Bar,Stout,yes,20\n"
    (venue.path / "taps.csv").write_text(taps, "utf-8")
    said = [line.replace("\u00a0", " ") for line in check(venue).lines if "hardly" in line]
    assert [line.partition(", which")[0] for line in said] == [
        "menu.csv: 'Pint of Amber' takes 0.5 fl oz", "products.csv: the keg of 'Amber' holds 67,087.0 fl oz",
        "taps.csv: the line of tap '1' holds 0.3 fl oz",
    ]
    assert said[0].endswith("see its portion and unit (without a unit it is read as us_fl_oz).")


def test_a_beer_whose_keg_costs_more_since_june_is_one_product(venue: VenueFolder) -> None:
    venue.edit("products.csv", "keg_cost\n", "keg_cost,valid_from\n")
    venue.edit("products.csv", "Stout,30 l,90.00\n", "Stout,30 l,90.00\nStout,30 l,95.00,2025-06-01\n")
    assert check(venue).lines[0] == "The Test Jug: 2 feeds, 2 products, 3 menu rows, 2 tap rows"
