"""Files come into place whole or not at all: real files, real locks, real full disks."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from issue.ledgers import settings
from service.real import until
from starter import environment, start
from unrung.errors import UnrungError
from unrung.issue.place import Unplaced, folder_for_day, place

OLD, NEW = {"a.csv": b"old a", "b.csv": b"old b"}, {"a.csv": b"new a", "b.csv": b"new b"}
PYTHON = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path), "PYTHONDONTWRITEBYTECODE": "1"}
posix = pytest.mark.skipif(os.name == "nt", reason="POSIX modes, limits and signals")


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def run(*command: str) -> bool:
    """Whether a system tool is here, may be used and did its work."""
    if shutil.which(command[0]) is None:
        return False
    done = subprocess.run(command, capture_output=True, check=False, env=PYTHON, input=b"")
    return done.returncode == 0


@pytest.fixture
def locked(tmp_path: Path) -> Iterator[Path]:
    """A folder whose a.csv the system refuses to replace, as an open spreadsheet does."""
    place(tmp_path, OLD)
    if not run("chattr", "+i", str(tmp_path / "a.csv")):
        pytest.skip("needs chattr, root and a file system that knows it")
    yield tmp_path
    run("chattr", "-i", str(tmp_path / "a.csv"))


@pytest.fixture
def tiny_disk(tmp_path: Path) -> Iterator[Path]:
    """A mounted disk of 64 KiB."""
    if not run("mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(tmp_path)):
        pytest.skip("needs leave to mount a tmpfs")
    yield tmp_path
    run("umount", str(tmp_path))


def test_files_are_placed_in_a_folder_that_is_made_for_them(tmp_path: Path) -> None:
    folder = tmp_path / "daily" / "2026-10-31"
    assert place(folder, OLD) == ()
    assert place(folder, NEW) == ()
    assert contents(folder) == NEW


@posix
def test_only_the_owner_may_read_them(tmp_path: Path) -> None:
    place(tmp_path, OLD)
    place(tmp_path, NEW)
    assert {path.stat().st_mode & 0o777 for path in tmp_path.iterdir()} == {0o600}


def test_an_unchanged_file_is_left_alone(tmp_path: Path) -> None:
    place(tmp_path, OLD)
    before = (tmp_path / "a.csv").stat()
    place(tmp_path, OLD | {"b.csv": b"new b"})
    after = (tmp_path / "a.csv").stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)


def test_what_a_crash_left_aside_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / ".a.csv.tmp").write_bytes(b"half of a much longer file")
    place(tmp_path, NEW)
    assert contents(tmp_path) == NEW


def test_a_target_that_cannot_be_replaced_does_not_stop_the_others(tmp_path: Path) -> None:
    (tmp_path / "a.csv").mkdir()
    [refused] = place(tmp_path, NEW)
    assert (refused.name, refused.written_as) == ("a.csv", "a.csv.new")
    assert contents(tmp_path) == {"a.csv.new": b"new a", "b.csv": b"new b"}


def test_a_locked_file_keeps_its_old_bytes_and_the_new_ones_stand_beside_it(locked: Path) -> None:
    [refused] = place(locked, NEW)
    assert contents(locked) == {"a.csv": b"old a", "a.csv.new": b"new a", "b.csv": b"new b"}
    assert str(refused) == (
        "a.csv could not be replaced (Operation not permitted): the new one is a.csv.new. "
        "Close or unlock it."
    )


def test_once_unlocked_the_file_is_replaced_and_the_spare_one_goes(locked: Path) -> None:
    place(locked, NEW)
    run("chattr", "-i", str(locked / "a.csv"))
    assert place(locked, NEW) == ()
    assert contents(locked) == NEW


def test_a_lock_that_goes_in_time_is_waited_for(locked: Path) -> None:
    unlock = threading.Timer(0.3, run, ["chattr", "-i", str(locked / "a.csv")])
    unlock.start()
    assert place(locked, NEW, patience=10) == ()
    unlock.join()
    assert contents(locked) == NEW


def test_a_lock_that_stays_is_waited_for_no_longer_than_allowed(locked: Path) -> None:
    start = time.monotonic()
    assert len(place(locked, NEW, patience=0.5)) == 1
    assert 0.5 <= time.monotonic() - start < 5


def test_a_spare_name_that_is_refused_too_is_said(tmp_path: Path) -> None:
    for name in ("a.csv", "a.csv.new"):
        (tmp_path / name).mkdir()
    [refused] = place(tmp_path, NEW)
    assert refused == Unplaced("a.csv", "", refused.reason)
    assert "the new one is missing" in str(refused)
    assert contents(tmp_path) == {"b.csv": b"new b"}


def test_a_full_disk_changes_nothing_and_leaves_nothing_behind(tiny_disk: Path) -> None:
    place(tiny_disk, OLD)
    with pytest.raises(UnrungError, match="No space left on device"):
        place(tiny_disk, NEW | {"c.csv": b"x" * 100_000})
    assert contents(tiny_disk) == OLD
    assert place(tiny_disk, NEW) == ()


@posix
def test_a_refused_write_changes_nothing_and_leaves_nothing_behind(tmp_path: Path) -> None:
    import resource

    place(tmp_path, OLD)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, limits[1]))
    try:
        with pytest.raises(UnrungError, match=r"cannot be written: File too large.*Free some"):
            place(tmp_path, NEW | {"c.csv": b"x" * 100_000})
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert contents(tmp_path) == OLD


def test_a_folder_that_cannot_be_made_is_an_error_that_names_it(tmp_path: Path) -> None:
    (tmp_path / "daily").write_bytes(b"a file")
    with pytest.raises(UnrungError, match="daily"):
        place(tmp_path / "daily" / "2026-10-31", OLD)


def test_every_file_is_on_disk_before_it_is_renamed_and_the_folder_after(tmp_path: Path) -> None:
    """Seen from outside, in the order of the system calls: data, rename, folder (POSIX fsync)."""
    trace = tmp_path / "trace"
    calls = "trace=fsync,fdatasync,rename,renameat,renameat2"
    seen = ("strace", "-f", "-o", str(trace), "-e", calls, sys.executable, "-c", ONCE, str(tmp_path))
    if not run(*seen):
        pytest.skip("needs strace and leave to trace")
    order = [line.split()[1].split("(")[0] for line in trace.read_text().splitlines() if "(" in line]
    assert [name[:6] for name in order] == ["fsync"] * 2 + ["rename"] * 2 + ["fsync"] * 2


ONCE = """
import pathlib, sys
from unrung.issue.place import place
place(pathlib.Path(sys.argv[1]) / "day", {"a.csv": b"a", "b.csv": b"b"})
"""

CHILD = """
import itertools, pathlib, sys
from unrung.issue.place import place
print("ready", flush=True)
for letter in itertools.cycle(b"AB"):
    place(pathlib.Path(sys.argv[1]), {name: bytes([letter]) * 300_000 for name in ("x", "y", "z")})
"""


@posix
def test_killed_at_any_moment_each_file_is_whole(tmp_path: Path) -> None:
    seen: set[bytes] = set()
    for delay in range(12):
        said = tmp_path / f"said {delay}"
        child = start([str(tmp_path)], environment(), out=str(said), code=CHILD)
        until(lambda said=said: said.exists() and said.read_text() == "ready\n", "a start")
        time.sleep(0.01 + delay * 0.007)
        child.kill()
        assert child.wait() == -signal.SIGKILL
        said.unlink()
        for name in ("x", "y", "z"):
            if (tmp_path / name).exists():
                content = (tmp_path / name).read_bytes()
                assert content in (b"A" * 300_000, b"B" * 300_000)
                seen.add(content[:1])
    assert seen  # at least one file came into place before a kill
    place(tmp_path, {name: b"C" for name in ("x", "y", "z")})
    assert contents(tmp_path) == {name: b"C" for name in ("x", "y", "z")}


def test_the_folder_of_a_day_is_named_by_its_date(tmp_path: Path) -> None:
    venue = settings(folder="issued").model_copy(update={"folder": str(tmp_path)})
    assert folder_for_day(venue, date(2026, 10, 31)) == (
        tmp_path / "issued" / "daily" / "2026-10-31"
    )
