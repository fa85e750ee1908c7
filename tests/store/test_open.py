"""The store as a file: what is refused, what a crash may leave, who may write when."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from small_disk import small_disk
from starter import environment
from unrung.errors import StoreError
from unrung.store import open as store_open
from unrung.store.days import set_fact
from unrung.store.open import Store, look_at_store, open_store, write_tx
from unrung.store.schema import APPLICATION_ID, NEWEST

DIES_HALF_WAY = """
import os, sys
from pathlib import Path
from unrung.store.open import open_store
from unrung.store.schema import migrations
migrations.apply = lambda db: os._exit(9)
open_store(Path(sys.argv[1]))
"""


@pytest.fixture
def db(tmp_path: Path) -> Iterator[Store]:
    store = open_store(tmp_path / "unrung.sqlite")
    yield store
    assert not store.conn.in_transaction
    store.close()


def sqlite_file(path: Path, script: str) -> Path:
    plain = sqlite3.connect(path)
    plain.executescript(script)
    plain.close()
    return path


def test_a_new_store_is_marked_ours_strict_and_read_by_its_owner_only(db: Store) -> None:
    assert db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
    assert db.execute("PRAGMA user_version").fetchone()[0] == NEWEST
    assert db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    assert db.execute("PRAGMA foreign_keys").fetchone()[0] == 1
    assert db.execute("PRAGMA synchronous").fetchone()[0] == 2
    loose = [row["name"] for row in db.query("PRAGMA table_list") if row["strict"] == 0
             and not row["name"].startswith(("sqlite_", "_sqlite_"))]
    assert loose == []
    assert os.name != "posix" or db.path.stat().st_mode & 0o777 == 0o600


def test_text_never_lands_in_a_number(db: Store) -> None:
    with pytest.raises(StoreError, match="cannot store TEXT value in INTEGER column"), write_tx(db):
        db.execute("INSERT INTO days (day, dirty, changed_ms) VALUES ('2025-06-10', 'yes', 0)")


def test_a_store_that_lost_its_contents_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "unrung.sqlite"
    path.touch()
    with pytest.raises(StoreError, match="has lost its contents"):
        open_store(path)
    assert path.read_bytes() == b""


@pytest.mark.parametrize(("script", "said"), [
    ("CREATE TABLE people (name)", "another program"),
    ("PRAGMA user_version = 3", "another program"),
    (f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = 999; CREATE TABLE x (y)",
     f"newer version .store 999, this one knows {NEWEST}."),
])
def test_a_database_that_is_not_ours_is_refused_and_left_alone(
    tmp_path: Path, script: str, said: str
) -> None:
    path = sqlite_file(tmp_path / "unrung.sqlite", script)
    before = path.read_bytes()
    for way in (open_store, look_at_store):
        with pytest.raises(StoreError, match=said):
            way(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize("garbage", [b"\0" * 8192, b"hello world " * 900, b"SQLite format 3\0" + b"x" * 4080])
def test_garbage_is_refused_with_advice_and_left_alone(tmp_path: Path, garbage: bytes) -> None:
    path = tmp_path / "unrung.sqlite"
    path.write_bytes(garbage)
    with pytest.raises(StoreError, match=r"restore the newest backup|another program"):
        open_store(path)
    assert path.read_bytes() == garbage


def test_a_page_that_went_bad_is_told_as_a_damaged_store(tmp_path: Path) -> None:
    path = tmp_path / "unrung.sqlite"
    whole = open_store(path)
    with write_tx(whole):
        for number in range(500):
            set_fact(whole, f"fact {number}", "x" * 100)
    whole.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    whole.close()
    with path.open("r+b") as file:
        file.seek(-4096 * 4, os.SEEK_END)
        file.write(b"\xa5" * 4096 * 4)
    damaged = open_store(path)
    with pytest.raises(StoreError, match="restore the newest backup"):
        list(damaged.query("SELECT * FROM facts ORDER BY value"))
    damaged.close()


def test_a_path_that_cannot_hold_a_file_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("no folder")
    with pytest.raises(StoreError, match="cannot be made"):
        open_store(tmp_path / "plain" / "unrung.sqlite")


def test_a_crash_while_the_store_is_made_leaves_none_rather_than_half_of_one(tmp_path: Path) -> None:
    path = tmp_path / "unrung.sqlite"
    child = subprocess.run([sys.executable, "-c", DIES_HALF_WAY, path], env=environment(), check=False)
    assert child.returncode == 9 and not path.exists()
    open_store(path).close()
    assert [entry.name for entry in tmp_path.iterdir()] == ["unrung.sqlite"]


def test_a_look_neither_makes_nor_writes_nor_waits(tmp_path: Path) -> None:
    path = tmp_path / "unrung.sqlite"
    look = look_at_store(path)
    assert look.execute("SELECT count(*) FROM movements").fetchone()[0] == 0
    assert not path.exists()
    writer = open_store(path)
    with write_tx(writer):
        set_fact(writer, "a", "1")
        look = look_at_store(path)
        assert look.execute("SELECT count(*) FROM facts").fetchone()[0] == 0
        with pytest.raises(StoreError, match="May this account"):
            look.execute("DELETE FROM facts")
        look.close()
    writer.close()


def test_opening_again_changes_no_byte_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "unrung.sqlite"
    open_store(path).close()
    before = path.read_bytes()
    open_store(path).close()
    look_at_store(path).close()
    assert path.read_bytes() == before


def test_a_failed_unit_leaves_nothing_and_no_transaction(db: Store) -> None:
    with pytest.raises(RuntimeError), write_tx(db):
        set_fact(db, "a", "1")
        raise RuntimeError
    assert not db.conn.in_transaction
    with write_tx(db):
        set_fact(db, "b", "2")
    assert list(db.query("SELECT name FROM facts")) == [{"name": "b"}]


HOLD = """\
import sqlite3, sys, time
held = sqlite3.connect(sys.argv[1], isolation_level=None)
held.execute("BEGIN IMMEDIATE")
print("held", flush=True)
time.sleep(float(sys.argv[2]))
held.execute("INSERT INTO facts VALUES ('theirs', '1')")
held.execute("COMMIT")
"""


def held_by_another(path: Path, seconds: float) -> subprocess.Popen[str]:
    other = subprocess.Popen([sys.executable, "-c", HOLD, str(path), str(seconds)],
                             stdout=subprocess.PIPE, text=True)
    assert other.stdout is not None and other.stdout.readline() == "held\n"
    return other


def test_a_unit_waits_for_another_process_and_sees_what_it_wrote(db: Store) -> None:
    list(db.query("SELECT * FROM facts"))
    with held_by_another(db.path, 0.6) as other:
        start = time.monotonic()
        with write_tx(db):
            seen = db.execute("SELECT count(*) FROM facts").fetchone()[0]
            set_fact(db, "ours", "2")
        waited = time.monotonic() - start
    assert other.returncode == 0 and seen == 1 and waited > 0.3
    assert db.execute("SELECT count(*) FROM facts").fetchone()[0] == 2


def test_a_lock_that_is_never_let_go_is_told_and_work_goes_on_afterwards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_open, "BUSY_TIMEOUT_MS", 100)
    impatient = open_store(tmp_path / "unrung.sqlite")
    with (held_by_another(impatient.path, 1.0),
          pytest.raises(StoreError, match="held by another program"), write_tx(impatient)):
        set_fact(impatient, "ours", "2")
    with write_tx(impatient):
        set_fact(impatient, "ours", "2")
    assert impatient.execute("SELECT count(*) FROM facts").fetchone()[0] == 2
    impatient.close()


def test_threads_with_connections_of_their_own_write_one_after_the_other(tmp_path: Path) -> None:
    path = tmp_path / "unrung.sqlite"
    open_store(path).close()

    def count_up() -> None:
        own = open_store(path)
        for _ in range(25):
            with write_tx(own):
                row = own.execute("SELECT value FROM facts WHERE name = 'n'").fetchone()
                set_fact(own, "n", str(int(row[0]) + 1 if row else 1))
        own.close()

    threads = [threading.Thread(target=count_up) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    look = look_at_store(path)
    assert look.execute("SELECT value FROM facts").fetchone()[0] == "100"
    look.close()


def test_a_full_disk_is_told_and_work_goes_on_once_there_is_room(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", 1024) as disk:
        store = open_store(disk / "unrung.sqlite")
        filler = disk / "filler"
        filler.write_bytes(b"x" * 600 * 1024)
        with pytest.raises(StoreError, match="full"):
            write_facts(store, 10_000)
        assert not store.conn.in_transaction
        assert store.execute("SELECT count(*) FROM facts").fetchone()[0] == 0
        filler.unlink()
        write_facts(store, 100)
        assert store.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert store.execute("SELECT count(*) FROM facts").fetchone()[0] == 100
        store.close()


def test_a_disk_too_small_for_the_store_leaves_no_half_of_one(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", 32) as disk:
        with pytest.raises(StoreError, match="full"):
            open_store(disk / "unrung.sqlite")
        assert not (disk / "unrung.sqlite").exists()


def write_facts(store: Store, count: int) -> None:
    with write_tx(store):
        for number in range(count):
            set_fact(store, f"fact {number}", "x" * 100)
