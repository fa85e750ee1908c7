"""Who may read what is issued, by the setting, on a machine with several accounts."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from service.real import unrung
from small_disk import open_folder
from unrung.issue.place import MODES, Readers, place
from upkeep.test_private import LATELY
from venue_folder import DAY, VenueFolder, make_venue, pour, ring

pytestmark = pytest.mark.skipif(os.name != "posix", reason="Windows has no modes")
ACCOUNTING, CLERK, STRANGER = 61_111, 61_112, 61_113
FOLDERS: dict[Readers, int] = {"owner": 0o700, "group": 0o750, "everyone": 0o755}


@pytest.fixture(autouse=True)
def _private() -> object:
    """As the commands and the service set it."""
    before = os.umask(0o077)
    yield
    os.umask(before)


@pytest.mark.parametrize("readers", MODES)
def test_files_and_new_folders_are_as_open_as_the_setting_says(tmp_path: Path, readers: Readers) -> None:
    place(tmp_path / "issued" / "daily", {"a.csv": b"1"}, readers=readers)
    assert (tmp_path / "issued" / "daily" / "a.csv").stat().st_mode & 0o777 == MODES[readers]
    made = [tmp_path / "issued", tmp_path / "issued" / "daily"]
    assert [path.stat().st_mode & 0o777 for path in made] == [FOLDERS[readers]] * 2
    (tmp_path / "other").touch()
    assert (tmp_path / "other").stat().st_mode & 0o777 == 0o600, "the mask is back"


def may_read(path: Path, account: int, group: int) -> bool:
    done = subprocess.run(["cat", str(path)], user=account, group=group, extra_groups=[], check=False,
                          capture_output=True)
    return done.returncode == 0


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root has other accounts")
def test_the_accountant_reads_what_is_issued_and_a_stranger_does_not() -> None:
    with open_folder() as top:
        issued = top / "draught"
        issued.mkdir()
        os.chown(issued, 0, ACCOUNTING)
        os.chmod(issued, 0o2750)
        place(issued / "daily" / DAY, {"variance.csv": b"figures"}, readers="group")
        file = issued / "daily" / DAY / "variance.csv"
        assert may_read(file, CLERK, ACCOUNTING), "the group is handed on to folders made inside"
        assert not may_read(file, STRANGER, STRANGER)


def test_only_what_is_issued_is_opened(tmp_path: Path) -> None:
    venue: VenueFolder = make_venue(tmp_path / "v", more='[files]\nreadable_by = "group"')
    venue.rings("a.csv", [ring("20:10:20")])
    venue.pours("a.json", [pour("p1", "20:10:00")])
    for path in (*venue.till.iterdir(), *venue.meter.iterdir()):
        path.write_text(path.read_text("utf-8").replace(DAY, LATELY), "utf-8")
        os.utime(path, (path.stat().st_mtime - 3600,) * 2)
    done = unrung("catch-up", venue.path)
    assert f"issued {LATELY}" in done.stdout, done.stderr
    modes = {path.stat().st_mode & 0o777 for path in (venue.path / "issued" / "daily" / LATELY).iterdir()}
    assert modes == {0o640}
    private = [*venue.path.glob("unrung.sqlite*"), *(venue.path / "archive").rglob("*.csv"),
               *(venue.path / "backups").glob("*")]
    assert len(private) >= 3 and {path.stat().st_mode & 0o077 for path in private} == {0}
