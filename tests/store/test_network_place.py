"""A store on another machine's disk."""

from __future__ import annotations

from pathlib import Path

import pytest

from unrung.checking import check_folder
from unrung.store import network_place
from unrung.store.network_place import kind_of, network_kind
from venue_folder import make_venue, ms


@pytest.mark.parametrize("kind", ["cifs", "nfs4"])
def test_a_store_on_a_network_folder_is_told_by_check(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    venue = make_venue(tmp_path / "my bar")
    mounts = tmp_path / "mounts"
    place = str(venue.path).replace(" ", r"\040")
    mounts.write_text(f"/dev/sda1 / ext4 rw 0 0\n//office/bar {place} {kind} rw 0 0\n", "utf-8")
    monkeypatch.setattr(network_place, "MOUNTS", mounts)
    said = " ".join(check_folder(venue.path, ms("12:00:00"), {}).lines)
    assert f"lies on a network folder ({kind})" in said and "set [files] store to a path on a disk" in said


def test_a_disk_of_this_machine_is_none(tmp_path: Path) -> None:
    """By what this very machine says of its mounts."""
    assert network_kind(tmp_path / "unrung.sqlite") == ""


def test_the_nearest_mount_above_counts() -> None:
    mounts = "a / nfs rw\nb /srv ext4 rw\nc /srv/bar cifs rw\n"
    found = [kind_of(Path(path), mounts) for path in ("/etc/x", "/srv/x", "/srv/bar/x", "/srv/barn/x")]
    assert found == ["nfs", "ext4", "cifs", "ext4"]
