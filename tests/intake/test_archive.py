"""Where the bytes of an export go once its rows are in: by day, never lost, never two in one."""

from __future__ import annotations

from pathlib import Path

import pytest

from small_disk import small_disk, unchangeable
from unrung.errors import SourceError
from unrung.intake.archive import NAME_BYTES, free_place, hash_of, move, printable
from venue_folder import VenueFolder, make_venue, ring, till_csv

ONE, TWO = till_csv([ring("20:15:00")]), till_csv([ring("20:16:00")])


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    return make_venue(tmp_path / "v")


def test_exports_are_archived_byte_by_byte_under_the_day_they_came(venue: VenueFolder) -> None:
    venue.drop(venue.till / "a.csv", ONE)
    venue.intake("06-11 23:30:00")
    venue.drop(venue.till / "b.csv", TWO)
    venue.intake("06-12 00:30:00")
    assert venue.files("archive") == {"till/2025-06-11/a.csv": ONE, "till/2025-06-12/b.csv": TWO}
    assert venue.sources("name", "kept_as") == [
        ("a.csv", "till/2025-06-11/a.csv"), ("b.csv", "till/2025-06-12/b.csv")]


def test_a_name_that_is_taken_gets_the_hash_of_its_contents(venue: VenueFolder) -> None:
    for content in (ONE, TWO, ONE, TWO):
        venue.drop(venue.till / "a.csv", content)
        venue.intake()
    kept = venue.files("archive")
    assert sorted(kept.values()) == sorted([ONE, TWO])
    second = venue.query("SELECT sha256 FROM sources WHERE id = 2")[0]["sha256"]
    assert set(kept) == {"till/2025-06-12/a.csv", f"till/2025-06-12/a.{second[:8]}.csv"}


def test_a_place_is_free_where_nothing_else_stands(tmp_path: Path) -> None:
    (tmp_path / "f").mkdir()
    (tmp_path / "f" / "a.csv").write_bytes(ONE)
    assert free_place(tmp_path, "f", "a.csv", hash_of(tmp_path / "f" / "a.csv")) == "f/a.csv"
    assert free_place(tmp_path, "f", "a.csv", "0123456789") == "f/a.01234567.csv"
    long = free_place(tmp_path, "f", "ü" * 200 + ".csv", "0123456789")
    assert len(long.removeprefix("f/").encode()) <= NAME_BYTES and long.endswith(".csv")


@pytest.mark.parametrize(("name", "shown"), [
    ("till.csv", "till.csv"), ("café.csv", "café.csv"), ("\udcff\udce9.csv", "%FF%E9.csv"),
])
def test_a_name_is_made_printable_without_loss(name: str, shown: str) -> None:
    assert printable(name) == shown


def test_an_archive_on_another_volume_gets_a_checked_copy(venue: VenueFolder) -> None:
    with small_disk(venue.path / "archive", 512) as disk:
        path = venue.drop(venue.till / "a.csv", ONE)
        done = venue.intake()
        assert not done.problems and not path.exists()
        assert venue.files("archive") == {"till/2025-06-12/a.csv": ONE}
        assert (disk / "till/2025-06-12/a.csv").stat().st_mtime == pytest.approx(1749614340)


def test_a_full_archive_volume_keeps_the_file_and_leaves_no_half_copy(venue: VenueFolder) -> None:
    with small_disk(venue.path / "archive", 64) as disk:
        (disk / "filler").write_bytes(b"x" * 60 * 1024)
        content = till_csv([ring("20:15:00", check=f"{number:05}") for number in range(300)])
        path = venue.drop(venue.till / "a.csv", content)
        done = venue.intake()
        assert "No space left" in done.problems[0] and path.read_bytes() == content
        assert len(venue.current()) == 300 and list(venue.files("archive")) == ["filler"]
        (disk / "filler").unlink()
        done = venue.intake()
        assert (done.taken, done.problems) == ([], []) and not path.exists()
        assert venue.files("archive") == {"till/2025-06-12/a.csv": content}


def test_rows_are_in_although_the_archive_is_locked_and_are_not_taken_in_again(
    venue: VenueFolder,
) -> None:
    (venue.path / "archive").mkdir()
    path = venue.drop(venue.till / "a.csv", ONE)
    with unchangeable(venue.path / "archive"):
        first, second = venue.intake(), venue.intake()
        assert [one.state for one in first.taken] == ["taken"] and path.exists()
        assert "was read but cannot be moved" in first.problems[0]
        assert "not read again, and moved as soon as this account may" in first.problems[0]
        assert (second.taken, second.problems) == ([], first.problems)
    third = venue.intake()
    assert (third.taken, third.problems, path.exists()) == ([], [], False)
    assert venue.files("archive") == {"till/2025-06-12/a.csv": ONE}
    assert len(venue.current()) == 1 and venue.sources("state") == [("taken",)]


def test_a_locked_place_for_bad_files_is_told_and_their_reasons_come_later(venue: VenueFolder) -> None:
    (venue.path / "set_aside").mkdir()
    path = venue.drop(venue.till / "a.csv", b"Wrong\n1\n")
    venue.drop(venue.till / "b.csv", ONE)
    with unchangeable(venue.path / "set_aside"):
        done = venue.intake()
        assert {one.source.name: one.state for one in done.taken} == {"a.csv": "set_aside", "b.csv": "taken"}
        assert len(done.problems) == 1 and path.exists()
    assert not venue.intake().problems
    aside = venue.files("set_aside")
    assert set(aside) == {"till/a.csv", "till/a.csv.reasons.csv"}
    assert b"has no column 'Time'" in aside["till/a.csv.reasons.csv"]


def test_a_copy_that_differs_is_thrown_away_and_the_file_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with small_disk(tmp_path / "disk", 512) as disk:
        path = tmp_path / "a.csv"
        path.write_bytes(ONE)
        monkeypatch.setattr("shutil.copyfile", lambda source, target: target.write_bytes(b"half"))
        with pytest.raises(SourceError, match="the copy differs"):
            move(path, disk / "a.csv")
        assert path.read_bytes() == ONE and list(disk.iterdir()) == []


def test_a_folder_that_bears_the_archived_name_stops_nothing(venue: VenueFolder) -> None:
    (venue.path / "archive/till/2025-06-12/a.csv").mkdir(parents=True)
    venue.drop(venue.till / "a.csv", ONE)
    done = venue.intake()
    assert not done.problems
    assert list(venue.files("archive").values()) == [ONE]
