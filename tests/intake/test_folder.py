"""Which files of a watched folder are taken in, and which are left alone, waited for or told of."""

from __future__ import annotations

import os
import sys
import threading
import time
from pathlib import Path

import pytest

from small_disk import as_nobody, give_to_nobody, open_folder
from unrung.errors import SourceError
from unrung.intake import scan as scanning
from unrung.intake.scan import scan
from unrung.intake.take_in import Taken
from unrung.intake.watch import Found, Tracker, list_folder, read_whole, settled
from venue_folder import VenueFolder, make_venue, ms, ring, till_csv

ROWS = till_csv([ring("20:15:00")])
posix_only = pytest.mark.skipif(os.name != "posix", reason="Windows has no such files")


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    return make_venue(tmp_path / "v")


@pytest.mark.parametrize("name", [
    ".hidden.csv", "~$till.csv", "till.tmp", "till.csv.part", "till.csv.partial", "till.csv.crdownload",
    "till.csv.swp", "till.csv~", "Thumbs.db", "desktop.ini", "till.csv.reasons.csv", "TILL.CSV.TMP",
])
def test_half_written_hidden_and_lock_files_are_left_alone(venue: VenueFolder, name: str) -> None:
    venue.edit("venue.toml", 'pattern = "*.csv"', 'pattern = "*"')
    path = venue.drop(venue.till / name, ROWS)
    done = venue.intake()
    assert (done.taken, done.waiting, done.problems) == ([], [], [])
    assert path.read_bytes() == ROWS


def test_the_pattern_decides_without_regard_to_case(venue: VenueFolder) -> None:
    venue.edit("venue.toml", 'pattern = "*.csv"', 'pattern = "till_*.csv"')
    for name in ("till_1.csv", "TILL_2.CSV", "stock.csv", "till_3.csv.bak"):
        venue.drop(venue.till / name, till_csv([ring("20:15:00", check=name)]))
    assert sorted(one.source.name for one in venue.intake().taken) == ["TILL_2.CSV", "till_1.csv"]


def test_only_what_stood_still_long_enough_is_read(venue: VenueFolder) -> None:
    venue.rings("old.csv", [ring("20:15:00")], "11:59:54")
    venue.rings("young.csv", [ring("20:16:00")], "11:59:58")
    done = venue.intake("06-10 12:00:00")
    assert ([one.source.name for one in done.taken], done.waiting) == (["old.csv"], ["young.csv"])
    assert [one.source.name for one in venue.intake("06-10 12:00:05").taken] == ["young.csv"]


def test_a_file_dated_ahead_of_us_does_not_wait_for_its_time(venue: VenueFolder) -> None:
    venue.rings("ahead.csv", [ring("20:15:00")], "06-25 12:00:00")
    done = venue.intake()
    assert ([one.state for one in done.taken], done.waiting) == (["taken"], [])


def test_a_growing_file_is_settled_only_once_size_and_time_stand_still(tmp_path: Path) -> None:
    path, tracker = tmp_path / "a.csv", Tracker()
    for moment, text in ((0.0, "x"), (3.0, "xx"), (6.0, "xxx"), (8.0, None), (10.9, None)):
        if text:
            path.write_text(text)
        assert settled(list_folder(tmp_path, "*").files, tracker, 5, moment) == []
    assert settled(list_folder(tmp_path, "*").files, tracker, 5, 11.0) != []
    os.utime(path)
    assert settled(list_folder(tmp_path, "*").files, tracker, 5, 12.0) == []


def test_a_file_that_is_written_row_by_row_comes_in_once_and_whole(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", till="settle_seconds = 1")
    rows = [ring(f"20:{minute}:00") for minute in range(10, 22)]

    def write_slowly() -> None:
        with (venue.till / "a.csv").open("wb", buffering=0) as file:
            for line in till_csv(rows).splitlines(keepends=True):
                file.write(line)
                time.sleep(0.1)

    writer, tracker = threading.Thread(target=write_slowly), Tracker()
    taken: list[Taken] = []
    writer.start()
    with venue.open() as (settings, db):
        while not taken:
            found = scan(db, settings, settings.feed[0], tracker, now_ms=time.time_ns() // 1_000_000,
                         now_mono=time.monotonic())
            taken += found.taken
            assert not taken or not writer.is_alive(), "it was read while it was still being written"
            time.sleep(0.02)
    writer.join()
    assert [one.source.rows for one in taken] == [len(rows)] and len(venue.sources("id")) == 1


def test_a_file_that_changes_while_it_is_read_waits(
    venue: VenueFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = venue.rings("a.csv", [ring("20:15:00")])

    def meanwhile(found: Found) -> bytes | None:
        with path.open("ab") as file:
            file.write(b"1,2025-06-10 20:16:00,Pint of Amber,1,7.00,\r\n")
        return read_whole(found)

    monkeypatch.setattr(scanning, "read_whole", meanwhile)
    done = venue.intake()
    assert (done.taken, done.waiting, done.problems) == ([], ["a.csv"], [])
    monkeypatch.undo()
    assert venue.intake().taken[0].source.rows == 2


def test_a_file_that_vanishes_before_it_is_read_is_no_problem(
    venue: VenueFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = venue.rings("a.csv", [ring("20:15:00")])

    def too_late(found: Found) -> bytes | None:
        path.unlink()
        return read_whole(found)

    monkeypatch.setattr(scanning, "read_whole", too_late)
    done = venue.intake()
    assert (done.taken, done.problems) == ([], [])


def make_folder(path: Path) -> None:
    path.mkdir()


def make_link(path: Path) -> None:
    path.symlink_to("/dev/zero")


def make_pipe(path: Path) -> None:
    os.mkfifo(path)


@posix_only
@pytest.mark.parametrize(("make", "what"), [
    (make_folder, "folder"), (make_link, "link"), (make_pipe, "device or pipe"),
])
def test_what_is_no_plain_file_is_told_of_and_left_alone(
    venue: VenueFolder, make: object, what: str
) -> None:
    make(venue.till / "x.csv")  # type: ignore[operator]
    venue.rings("a.csv", [ring("20:15:00")])
    done = venue.intake()
    assert [one.state for one in done.taken] == ["taken"]
    (problem,) = done.problems
    assert f"x.csv bears an export's name but is a {what}" in problem and done.needs_attention


@pytest.mark.skipif(sys.platform == "win32" or sys.platform == "darwin",
                    reason="file names are Unicode there")
@pytest.mark.parametrize("leave", ["", "leave = true"])
def test_a_name_that_is_no_text_is_taken_in_and_kept_under_a_readable_one(
    tmp_path: Path, leave: str
) -> None:
    venue = make_venue(tmp_path / "v", till=leave)
    raw = os.fsencode(venue.till) + b"/\xff\xe9 caf\xc3\xa9.csv"
    venue.drop(Path(os.fsdecode(raw)), ROWS)
    venue.drop(venue.till / "bad.csv", b"Wrong\n1\n")
    done = venue.intake()
    assert sorted(one.source.name for one in done.taken) == ["%FF%E9 café.csv", "bad.csv"]
    assert leave or "till/2025-06-12/%FF%E9 café.csv" in venue.files("archive")
    assert venue.intake().taken == [], "it was read a second time"


def test_a_name_as_long_as_a_name_may_be_is_kept_with_its_reasons(venue: VenueFolder) -> None:
    venue.drop(venue.till / ("n" * 251 + ".csv"), b"Wrong\n1\n")
    done = venue.intake()
    assert ([one.state for one in done.taken], done.problems) == (["set_aside"], [])
    kept = list(venue.files("set_aside"))
    assert len(kept) == 2 and all(name.startswith("till/nnn") for name in kept)


@posix_only
def test_a_file_that_may_not_be_read_is_told_of_and_taken_in_once_it_may() -> None:
    with open_folder() as place:
        venue = make_venue(place / "v")
        venue.intake()  # makes the store
        locked = venue.rings("a.csv", [ring("20:15:00")])
        venue.rings("b.csv", [ring("20:16:00")])
        give_to_nobody(venue.path)
        locked.chmod(0o000)
        with as_nobody():
            done = venue.intake()
        assert [one.source.name for one in done.taken] == ["b.csv"]
        assert done.problems == [
            f"{locked} cannot be read (Permission denied); may this account read it?"]
        locked.chmod(0o644)
        assert [one.source.name for one in venue.intake().taken] == ["a.csv"]


def test_a_missing_folder_is_an_error_and_not_an_empty_folder(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("20:15:00")])
    venue.till.rename(venue.path / "elsewhere")
    with pytest.raises(SourceError, match=r"cannot be listed .*is the share connected"):
        list_folder(venue.till, "*")
    venue.pours("m.json", [])
    done = venue.intake()
    assert len(done.problems) == 1 and done.problems[0].startswith("till: the folder")
    (venue.path / "elsewhere").rename(venue.till)
    assert [one.state for one in venue.intake().taken] == ["taken"]


def test_files_come_in_by_age_and_then_by_name(venue: VenueFolder) -> None:
    for name, written in (("c", "20:00:01"), ("b", "20:00:02"), ("a", "20:00:02"), ("d", "20:00:00")):
        venue.rings(f"{name}.csv", [ring("19:00:00", check=name)], written)
    assert "".join(one.source.name[0] for one in venue.intake().taken) == "dcab"


def test_a_thousand_files_are_all_taken_in(venue: VenueFolder) -> None:
    for number in range(1000):
        venue.drop(venue.till / f"t{number:04}.csv", till_csv([ring("20:15:00", check=str(number))]))
    done = venue.intake()
    assert len(done.taken) == 1000 and not done.problems
    assert venue.query("SELECT count(*) AS n FROM movements") == [{"n": 1000}]
    assert not list(venue.till.iterdir()) and len(venue.files("archive")) == 1000


@pytest.mark.skipif(
    os.name == "nt" or not Path("/proc/self/fd").is_dir(), reason="no list of open files here")
def test_no_file_is_held_open_after_it_was_read(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("20:15:00")])
    venue.drop(venue.till / "b.csv", b"Wrong\n1\n")
    with venue.open() as (settings, db):
        scan(db, settings, settings.feed[0], None, now_ms=ms("06-12 12:00:00"))
        held = [os.readlink(entry) for entry in Path("/proc/self/fd").iterdir() if entry.is_symlink()]
    assert not [name for name in held if name.startswith(str(venue.path)) and ".csv" in name]
