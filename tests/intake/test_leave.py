"""Files that stay where they are, and the one file that a till appends to all day."""

from __future__ import annotations

from pathlib import Path

import pytest

from venue_folder import VenueFolder, local, make_venue, ms, ring, till_csv


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    return make_venue(tmp_path / "v", till="leave = true")


def line(at: str, item: str = "Pint of Amber") -> bytes:
    return f",{local(at)},{item},1,7.00,\r\n".encode()


def append(venue: VenueFolder, content: bytes, written: str) -> None:
    path = venue.till / "till.csv"
    before = path.read_bytes() if path.exists() else till_csv([])
    venue.drop(path, before + content, written)


def test_a_file_that_stays_is_read_once(venue: VenueFolder) -> None:
    path = venue.rings("a.csv", [ring("20:15:00")])
    assert len(venue.intake().taken) == 1
    done = venue.intake()
    assert (done.taken, done.waiting, path.exists()) == ([], [], True)
    assert venue.files("archive") == {} and venue.sources("kept_as") == [("",)]


def test_a_file_that_is_only_touched_is_not_taken_in_again(venue: VenueFolder) -> None:
    path = venue.rings("a.csv", [ring("20:15:00")])
    venue.intake()
    venue.drop(path, path.read_bytes(), "06-11 08:00:00")
    assert venue.intake().taken == []
    assert venue.sources("state", "mtime_ms") == [("taken", ms("06-11 08:00:00"))]


def test_a_growing_file_gives_each_row_once(venue: VenueFolder) -> None:
    append(venue, line("20:15:00") + line("20:15:00"), "20:16:00")
    venue.intake("20:16:10")
    append(venue, line("20:15:00"), "20:17:00")
    venue.intake("20:17:10")
    append(venue, line("20:30:00", "Pint of Stout"), "20:31:00")
    venue.intake("20:31:10")
    assert [at[11:16] for at, _, _ in venue.current()] == ["20:15"] * 3 + ["20:30"]
    assert venue.sources("rows", "new_rows") == [(2, 2), (3, 1), (4, 1)]


def test_a_line_that_is_not_ended_waits_and_comes_in_whole(venue: VenueFolder) -> None:
    append(venue, line("20:15:00") + b",2025-06-10 20:16:00,Pint of Stout,1", "20:16:00")
    done = venue.intake("20:16:10")
    assert (done.taken, done.waiting, venue.current()) == ([], ["till.csv"], [])
    append(venue, b"2,84.00,\r\n", "20:16:20")
    assert len(venue.intake("20:16:30").taken) == 1
    assert venue.current()[1][1:] == ("Pint of Stout", 12_000_000)


def test_a_line_that_nobody_ends_is_read_as_it_is_after_ten_minutes(venue: VenueFolder) -> None:
    append(venue, line("20:15:00") + b",2025-06-10 20:16:00,Pint of", "20:16:00")
    assert venue.intake("20:25:59").waiting == ["till.csv"]
    done = venue.intake("20:26:00")
    assert [(one.state, one.source.rejected) for one in done.taken] == [("taken", 1)]
    assert len(venue.current()) == 1 and len(venue.waiting_rows()) == 1


def test_a_file_that_is_emptied_and_begun_anew_loses_nothing_of_either(venue: VenueFolder) -> None:
    append(venue, line("20:15:00") + line("20:59:00") + line("20:59:00"), "21:00:00")
    venue.intake("21:00:10")
    venue.drop(venue.till / "till.csv", till_csv([]) + line("20:59:00") + line("21:01:00"), "21:02:00")
    venue.intake("21:02:10")
    append(venue, line("21:03:00"), "21:04:00")
    venue.intake("21:04:10")
    times = [at[11:16] for at, _, _ in venue.current()]
    assert times == ["20:15", "20:59", "20:59", "20:59", "21:01", "21:03"]


def test_a_bad_row_of_a_growing_file_waits_once_and_goes_when_it_is_mended(venue: VenueFolder) -> None:
    append(venue, line("20:15:00") + line("20:15:30") + line("25:16:00"), "20:16:00")
    venue.intake("20:16:10")
    append(venue, line("20:17:00"), "20:17:10")
    venue.intake("20:17:20")
    assert venue.waiting_rows() == [(4, "at", "2025-06-10 25:16:00")]
    text = (venue.till / "till.csv").read_bytes().replace(b"25:16:00", b"20:16:00")
    venue.drop(venue.till / "till.csv", text, "20:18:00")
    venue.intake("20:18:10")
    assert venue.waiting_rows() == [] and len(venue.current()) == 4


def test_a_fix_of_the_fields_does_not_double_a_file_that_grew_since(venue: VenueFolder) -> None:
    """The raw text of the mapped cells is what a row without an id is known by."""
    append(venue, line("20:15:00") + line("20:15:00") + line("20:16:00"), "20:16:30")
    venue.intake("20:17:00")
    append(venue, line("20:18:00"), "20:18:30")
    venue.edit("venue.toml", 'check = "Check"\n', "")
    venue.intake("20:19:00")
    assert [at[11:16] for at, _, _ in venue.current()] == ["20:15", "20:15", "20:16", "20:18"]


def test_a_bad_file_that_stays_has_its_reasons_where_bad_files_go(venue: VenueFolder) -> None:
    venue.drop(venue.till / "a.csv", b"Wrong\n1\n")
    assert [one.state for one in venue.intake().taken] == ["set_aside"]
    assert list(venue.files("set_aside")) == ["till/a.csv.reasons.csv"]
    assert venue.intake().taken == []
    (venue.till / "a.csv").unlink()
    venue.intake()
    assert venue.sources("state") == [("gone",)] and venue.waiting_rows() == []
