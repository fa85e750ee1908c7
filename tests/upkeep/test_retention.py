"""Archived exports that may go, and all those that may not."""

from __future__ import annotations

from pathlib import Path

import pytest

from small_disk import small_disk
from unrung.upkeep import nightly
from venue_folder import VenueFolder, make_venue, ms, ring

BAD = (
    b"Id,Time,Item,Qty,Total,Check\n,2025-06-10 20:00:00,Pint of Amber,1,7.00,\n"
    b",noon,Pint of Amber,1,7.00,\n"
)
LATER = "07-20 05:00:00"


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    """An old export, one with a bad row, one set aside, one twice, and the newest one."""
    venue = make_venue(tmp_path / "v", more="[upkeep]\nkeep_days = 31\n")
    venue.rings("old.csv", [ring("20:10:20")])
    venue.drop(venue.till / "bad.csv", BAD)
    venue.drop(venue.till / "odd.csv", b"nothing, of, use\n1,2,3\n")
    venue.intake("06-11 05:00:00")
    venue.rings("old again.csv", [ring("20:10:20")])
    venue.intake("06-12 05:00:00")
    venue.rings("newest.csv", [ring("06-12 20:10:20")], "06-12 23:00:00")
    venue.intake("06-13 05:00:00")
    return venue


def night(venue: VenueFolder, now: str = LATER) -> list[str]:
    with venue.open(now) as (settings, db):
        return nightly(db, settings, ms(now))


def kept(venue: VenueFolder) -> list[str]:
    return [name for folder in ("archive", "set_aside") for name in venue.files(folder)]


def test_old_exports_go_once_their_rows_are_in_a_newer_backup(venue: VenueFolder) -> None:
    rings = venue.current()
    assert night(venue) == []
    assert kept(venue) == ["till/2025-06-11/bad.csv", "till/2025-06-11/bad.csv.reasons.csv",
                           "till/2025-06-13/newest.csv", "till/odd.csv", "till/odd.csv.reasons.csv"]
    assert not (venue.path / "archive/till/2025-06-12").exists()
    assert venue.current() == rings


def test_nothing_is_deleted_where_nobody_asked_for_it(venue: VenueFolder) -> None:
    venue.edit("venue.toml", "keep_days = 31\n", "")
    before = kept(venue)
    assert night(venue, "12-20 05:00:00") == [] and kept(venue) == before and len(before) == 7


def test_nothing_goes_before_its_days_are_over(venue: VenueFolder) -> None:
    before = kept(venue)
    assert night(venue, "07-11 05:00:00") == [] and kept(venue) == before


def test_nothing_goes_without_a_backup(venue: VenueFolder) -> None:
    before = kept(venue)
    with small_disk(venue.path / "backups", 64):
        assert "no backup" in night(venue)[0]
    assert kept(venue) == before


def test_a_file_that_is_not_what_was_taken_in_stays(venue: VenueFolder) -> None:
    path = venue.path / "archive/till/2025-06-11/old.csv"
    path.write_bytes(path.read_bytes() + b"a row that was never read\n")
    assert night(venue) == []
    assert path.exists()


def test_the_same_bytes_dropped_again_afterwards_change_nothing(venue: VenueFolder) -> None:
    rings = venue.current()
    night(venue)
    venue.rings("old.csv", [ring("20:10:20")])
    venue.intake("07-21 05:00:00")
    assert venue.current() == rings and not any(venue.till.iterdir())
