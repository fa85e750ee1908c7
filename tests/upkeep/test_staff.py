"""Names of staff: stored nowhere unless asked for, and blanked after their days."""

from __future__ import annotations

from pathlib import Path

import pytest

from unrung.checking import check_folder
from unrung.upkeep import nightly
from venue_folder import VenueFolder, make_venue, ms

NAME = "Quillon Ashgrove"
HEAD = "Id,Time,Item,Qty,Total,Check,Served By\n"
ROWS = (
    HEAD + f"7,2025-06-10 20:10:00,Pint of Amber,1,7.00,a,{NAME}\n"
    f"8,not a time,Pint of Amber,1,7.00,a,{NAME}\n"
).encode()
LATER = (HEAD + f"7,2025-06-10 20:10:00,Pint of Amber,1,7.00,a,{NAME}\n"
         f"9,2025-06-10 20:50:00,Pint of Amber,1,7.00,a,{NAME}\n").encode()


def bar(path: Path, days: str = "", *, ids: bool = False) -> VenueFolder:
    venue = make_venue(path, export="overlap", ids=ids)
    venue.edit("venue.toml", 'check = "Check"\n', 'check = "Check"\nstaff = "Served By"\n')
    if days:
        venue.edit("venue.toml", "[venue]\n", f"[venue]\nkeep_staff_days = {days}\n")
    venue.drop(venue.till / "a.csv", ROWS)
    venue.intake("06-11 04:30:00")
    return venue


def stored(venue: VenueFolder) -> bytes:
    """Every byte of the store, its log among them."""
    return b"".join(path.read_bytes() for path in venue.path.glob("unrung.sqlite*"))


def night(venue: VenueFolder, now: str) -> None:
    with venue.open(now) as (settings, db):
        assert nightly(db, settings, ms(now)) == []


@pytest.mark.parametrize("ids", [False, True])
def test_a_mapped_name_is_stored_nowhere_unless_asked_for(tmp_path: Path, ids: bool) -> None:
    venue = bar(tmp_path / "v", ids=ids)
    assert len(venue.current()) == 1 and len(venue.waiting_rows()) == 1
    assert NAME.encode() not in stored(venue)
    assert NAME.encode() not in b"".join(venue.files("archive")[name] for name in venue.files("archive")
                                         if name.endswith(".reasons.csv"))


def test_asked_for_it_stands_in_its_own_column_and_nowhere_else(tmp_path: Path) -> None:
    venue = bar(tmp_path / "v", "10")
    assert venue.query("SELECT staff FROM movements") == [{"staff": NAME}]
    assert stored(venue).count(NAME.encode()) >= 1
    others = venue.query("SELECT raw || more AS text FROM movements UNION ALL SELECT cells FROM rejects")
    assert not any(NAME in str(row["text"]) for row in others)


def test_it_is_blanked_after_its_days_and_not_before(tmp_path: Path) -> None:
    venue = bar(tmp_path / "v", "10")
    night(venue, "06-20 05:00:00")
    assert venue.query("SELECT staff FROM movements") == [{"staff": NAME}]
    night(venue, "06-21 05:00:00")
    assert venue.query("SELECT staff FROM movements") == [{"staff": ""}]
    newest = max((venue.path / "backups").iterdir())
    assert NAME.encode() not in newest.read_bytes()


def test_unset_again_every_name_goes_the_next_night(tmp_path: Path) -> None:
    venue = bar(tmp_path / "v", "10")
    venue.edit("venue.toml", "keep_staff_days = 10\n", "")
    night(venue, "06-11 05:00:00")
    assert venue.query("SELECT DISTINCT staff FROM movements") == [{"staff": ""}]


@pytest.mark.parametrize("ids", [False, True])
def test_a_row_whose_name_was_blanked_is_the_same_row_when_it_comes_again(
    tmp_path: Path, ids: bool
) -> None:
    venue = bar(tmp_path / "v", "10", ids=ids)
    night(venue, "06-25 05:00:00")
    venue.drop(venue.till / "b.csv", LATER, "06-25 05:30:00")
    venue.intake("06-25 06:00:00")
    assert len(venue.current()) == 2
    assert venue.query("SELECT count(*) AS n FROM movements WHERE superseded_by IS NOT NULL") == [{"n": 0}]


def test_check_says_what_is_stored_and_what_to_do_first(tmp_path: Path) -> None:
    said = {}
    for days in ("", "10"):
        venue = bar(tmp_path / f"v{days}", days)
        said[days] = " ".join(check_folder(venue.path, ms("06-12 12:00:00"), {}).lines)
    assert "stored nowhere, since [venue] keep_staff_days is unset" in said[""]
    assert "stored for 10 days. Tell the staff before the first name is recorded" in said["10"]
    assert "The exports in the archive hold the names" in said["10"]
