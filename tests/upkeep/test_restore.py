"""A backup put back: the command, what it refuses, and what the archive brings back after it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from service.real import unrung, words
from unrung.errors import StoreError
from unrung.restoring import restore
from unrung.service.lock import one_instance
from unrung.store.backup import backups_in
from unrung.upkeep import nightly
from venue_folder import VenueFolder, make_venue, ms, pour, ring


def night(venue: VenueFolder, now: str) -> Path:
    with venue.open(now) as (settings, db):
        assert nightly(db, settings, ms(now)) == []
    return backups_in(venue.path / "backups", "unrung")[-1].path


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    """One evening in the store, a backup, and a second evening since."""
    venue = make_venue(tmp_path / "v")
    venue.rings("till.csv", [ring("20:10:20"), ring("20:20:20")])
    venue.pours("meter 1.json", [pour("a", "20:10:00"), pour("b", "20:20:00")])
    venue.intake("06-11 05:30:00")
    night(venue, "06-11 05:31:00")
    venue.rings("till.csv", [ring("06-11 20:10:20"), ring("06-11 20:10:20")], "06-11 23:59:00")
    venue.pours("meter 2.json", [pour("c", "06-11 20:10:00")], "06-11 23:59:00")
    venue.drop(venue.till / "odd.csv", b"nothing, of, use\n1,2,3\n", "06-11 23:58:00")
    venue.intake("06-12 04:30:00")
    return venue


def test_what_came_since_the_backup_comes_back_from_the_archive(venue: VenueFolder) -> None:
    rings, pours = venue.current(), venue.current("pour")
    archived = venue.files("archive")
    (backup,) = backups_in(venue.path / "backups", "unrung")
    said: list[str] = []
    with one_instance(venue.path):
        restore(venue.path, Path(backup.path.name), ms("06-12 09:00:00"), said.append)
    assert (venue.current(), venue.current("pour")) == (rings, pours)
    assert len(rings) == 4 and len(pours) == 3
    assert venue.files("archive") == archived
    assert venue.sources("name", "state") == [
        ("till.csv", "taken"), ("till.csv", "taken"), ("odd.csv", "set_aside")]
    assert any("2 rows" in line or "4 rows" in line for line in said)


def test_a_second_go_brings_nothing_twice(venue: VenueFolder) -> None:
    rings = venue.current()
    (backup,) = backups_in(venue.path / "backups", "unrung")
    for hour in (10, 11):
        restore(venue.path, backup.path, ms(f"06-12 {hour}:00:00"), venue.said.append)
    assert venue.current() == rings
    kept = backups_in(venue.path, "unrung-before-restore")
    assert len(kept) == 2, "each replaced store is kept"


def test_the_replaced_store_is_kept_whole_with_what_stood_in_its_log_only(venue: VenueFolder) -> None:
    rings = venue.current()
    (backup,) = backups_in(venue.path / "backups", "unrung")
    with venue.open():  # a reader of before that never closed: the log stays
        restore(venue.path, backup.path, ms("06-12 09:00:00"), venue.said.append)
    (kept,) = backups_in(venue.path, "unrung-before-restore")
    later = ms("06-12 09:30:00")
    restore(venue.path, kept.path, later, venue.said.append)
    assert venue.current() == rings


def test_a_damaged_store_is_replaced_too(venue: VenueFolder) -> None:
    rings = venue.current()
    store = venue.path / "unrung.sqlite"
    store.write_bytes(b"\0" * store.stat().st_size)
    (backup,) = backups_in(venue.path / "backups", "unrung")
    restore(venue.path, backup.path, ms("06-12 09:00:00"), venue.said.append)
    assert venue.current() == rings


@pytest.mark.parametrize(("content", "says"), [
    (b"", "no store of this program"),
    (b"not a database at all, just text" * 200, "cannot be read as a store"),
    (None, "is not there"),
])
def test_a_file_that_is_no_backup_is_refused_and_the_store_stays(
    venue: VenueFolder, content: bytes | None, says: str
) -> None:
    before = venue.current()
    bad = venue.path / "bad.sqlite"
    if content is not None:
        bad.write_bytes(content)
    with pytest.raises(StoreError, match=says):
        restore(venue.path, bad, ms("06-12 09:00:00"), venue.said.append)
    assert venue.current() == before and not backups_in(venue.path, "unrung-before-restore")


def test_a_damaged_backup_is_refused(venue: VenueFolder) -> None:
    (backup,) = backups_in(venue.path / "backups", "unrung")
    content = bytearray(backup.path.read_bytes())
    content[8192 : len(content)] = b"\xff" * (len(content) - 8192)
    backup.path.write_bytes(content)
    with pytest.raises(StoreError, match=r"damaged|cannot be read"):
        restore(venue.path, backup.path, ms("06-12 09:00:00"), venue.said.append)


def test_the_store_itself_is_no_backup(venue: VenueFolder) -> None:
    with pytest.raises(StoreError, match="is the store itself"):
        restore(venue.path, venue.path / "unrung.sqlite", ms("06-12 09:00:00"), venue.said.append)


def test_the_command_lists_refuses_beside_a_running_copy_and_restores(venue: VenueFolder) -> None:
    (backup,) = backups_in(venue.path / "backups", "unrung")
    listed = unrung("restore", venue.path)
    assert listed.returncode == 0 and backup.path.name in listed.stdout
    assert "made 2025-06-11 05:31" in words(listed.stdout)
    with one_instance(venue.path):
        refused = unrung("restore", venue.path, "--from", backup.path.name)
    assert refused.returncode == 3 and "another copy works on" in words(refused.stderr)
    done = unrung("restore", venue.path, "--from", backup.path.name)
    assert done.returncode == 0, done.stderr
    assert "meter 2.json from the archive, taken, 1 new rows" in words(done.stdout)
    assert os.name != "posix" or (venue.path / "unrung.sqlite").stat().st_mode & 0o777 == 0o600
