"""A catch-up that is killed at any commit, rename or write, then run again, ends as if nothing was.

The child process ends by ``os._exit``: no ``finally``, no flush, no rollback of its own. Just before
the one lasting act is just after the one before it.
"""

from __future__ import annotations

import multiprocessing
import os
import shutil
from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from unrung.store.open import Store
from venue_folder import VenueFolder, make_venue, pour, ring

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
KILLED = 9
NEGATIVE = 'time = "%Y-%m-%d %H:%M:%S"\n\n[[feed]]'


def first_night(venue: VenueFolder) -> None:
    """Two days of exports: good ones, one with a bad row, one that is bad as a whole."""
    venue.rings("a.csv", [ring("20:15:00"), ring("20:15:00"), ring("20:20:00", qty="-1")])
    venue.rings("b.csv", [ring("06-11 20:15:00", "Pint of Stout")], "06-11 23:00:00")
    venue.rings("bad.csv", [ring("25:15:00")])
    venue.pours("a.json", [pour("p1", "20:14:00"), pour("p2", "20:14:30"), pour("p3", "20:40:00")])
    venue.pours("b.json", [pour("p4", "06-11 20:14:00", tap="2")], "06-11 23:00:00")


def second_night(venue: VenueFolder) -> None:
    """After an undisturbed first night: a late ring, a file again, and fixes of what waited."""
    first_night(venue)
    venue.catch_up()
    venue.edit("venue.toml", NEGATIVE, NEGATIVE.replace("\n\n", '\nnegative_units = "void"\n\n'))
    venue.edit("menu.csv", "Pint of Amber,Amber,16", "Pint of Amber,Amber,14")
    venue.rings("late.csv", [ring("20:41:00")], "06-12 11:00:00")
    venue.pours("b.json", [pour("p4", "06-11 20:14:00", tap="2")], "06-12 11:00:00")
    fixed = (venue.path / "set_aside/till/bad.csv").read_bytes().replace(b"25:15", b"20:50")
    venue.drop(venue.path / "set_aside/till/bad.csv", fixed, "06-12 11:00:00")


class Fuse:
    """Kills the process before the n-th time that something lasting is done."""

    def __init__(self, at: int) -> None:
        self.left = at

    def around(self, act: Callable[..., Any]) -> Callable[..., Any]:
        def fused(*args: Any, **kwargs: Any) -> Any:
            self.left -= 1
            if self.left == 0:
                os._exit(KILLED)
            return act(*args, **kwargs)

        return fused

    def lay(self) -> None:
        """Only ever in a child process."""
        os.replace = self.around(os.replace)
        Path.write_bytes = self.around(Path.write_bytes)  # type: ignore[method-assign]
        Store.commit = self.around(Store.commit)  # type: ignore[method-assign]


def killed_at(venue: VenueFolder, at: int) -> bool:
    """Run a catch-up in a child that dies at the ``at``-th lasting act; False where it got through."""

    def run() -> None:
        Fuse(at).lay()
        venue.catch_up()
        os._exit(0)

    child = multiprocessing.get_context("fork").Process(target=run)
    child.start()
    child.join()
    assert child.exitcode in (0, KILLED)
    return child.exitcode == KILLED


TABLES = {
    "movements": "SELECT m.kind, m.at_ms, m.raw, m.what, m.units_micro, m.volume_ul, m.ident, m.line, "
    "s.name, m.superseded_by IS NULL AS current FROM movements m JOIN sources s ON s.id = m.source "
    "ORDER BY m.kind, m.at_ms, m.raw, m.ident, current",
    "sources": "SELECT feed, name, sha256, state, reason, kept_as, rows, rejected, cover_from_ms, "
    "cover_to_ms FROM sources ORDER BY feed, name, sha256, state",
    "rejects": "SELECT s.name, r.line, r.field, r.value, r.reason, r.state FROM rejects r "
    "JOIN sources s ON s.id = r.source ORDER BY s.name, r.line",
    "days": "SELECT day, dirty, revision, status, digest FROM days ORDER BY day",
    "leaves": "SELECT * FROM leaves ORDER BY day, outlet, product, window_start_ms",
    "revisions": "SELECT day, revision, name, sha256, size FROM issued ORDER BY day, revision, name",
    "config": "SELECT tbl, row, since, until FROM config_rows ORDER BY id",
}


def state_of(venue: VenueFolder) -> dict[str, object]:
    """Everything that lasts, without row numbers and without what SQLite keeps for itself."""
    with venue.open() as (_, db):
        read = {name: list(db.query(sql)) for name, sql in TABLES.items()}
    return read | {folder: venue.files(folder) for folder in ("issued", "archive", "set_aside", "exports")}


@pytest.mark.parametrize("night", [first_night, second_night])
def test_a_catch_up_killed_anywhere_ends_the_same_when_run_again(
    tmp_path: Path, night: Callable[[VenueFolder], None]
) -> None:
    template = make_venue(tmp_path / "template")
    night(template)
    undisturbed = copy_of(template, tmp_path / "undisturbed")
    undisturbed.catch_up()
    expected = state_of(undisturbed)
    for at in count(1):
        venue = copy_of(template, tmp_path / "killed")
        if not killed_at(venue, at):
            break
        venue.catch_up()
        assert state_of(venue) == expected, f"killed at lasting act {at}"
    assert at > 15, "the fuse did not reach the acts that last"
    assert all(expected[name] for name in ("movements", "days", "revisions", "issued", "archive"))


def copy_of(venue: VenueFolder, path: Path) -> VenueFolder:
    """The same folder under another name."""
    shutil.rmtree(path, ignore_errors=True)
    shutil.copytree(venue.path, path)
    return VenueFolder(path)
