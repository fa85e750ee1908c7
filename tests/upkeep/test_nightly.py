"""A night's upkeep on real files: the backup, what it takes away, and what goes wrong with it."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

from mail.servers import Desk
from mail.servers import serving as mail_server
from polling.server import Reply
from polling.server import serving as web_server
from service.evenings import MAIL
from service.mails import sent
from service.mails import text as spoken
from service.real import unrung, words
from small_disk import small_disk
from unrung.cli import commands
from unrung.errors import StoreError
from unrung.service.lock import is_held
from unrung.status import Holder, collect
from unrung.store import backup as backups
from unrung.store.backup import backups_in, verify
from unrung.store.open import Store, look_at_store, open_store
from unrung.store.schema import APPLICATION_ID, NEWEST, migrations
from unrung.upkeep import check_at_start, nightly, note_checked
from venue_folder import VenueFolder, make_venue, ms, pour, ring


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    venue = make_venue(tmp_path / "v")
    venue.rings("till.csv", [ring("20:10:20"), ring("20:20:20")])
    venue.pours("meter.json", [pour("a", "20:10:00")])
    venue.intake("06-11 04:10:00")
    return venue


def night(venue: VenueFolder, now: str) -> list[str]:
    with venue.open(now) as (settings, db):
        return nightly(db, settings, ms(now))


def names(venue: VenueFolder, folder: str = "backups") -> list[str]:
    return sorted(path.name for path in (venue.path / folder).iterdir())


def attention(venue: VenueFolder, now: str) -> list[str]:
    with venue.open(now) as (settings, db):
        found: list[str] = collect(db, settings, ms(now), Holder(*is_held(venue.path)))["attention"]
    return found


def test_a_backup_is_a_store_by_itself_that_only_its_owner_reads(venue: VenueFolder) -> None:
    assert night(venue, "06-11 05:00:00") == []
    (name,) = names(venue)
    path = venue.path / "backups" / name
    assert name == "unrung-20250611T090000Z.sqlite"
    assert verify(path)["movements"] == 3
    with closing(sqlite3.connect(path)) as plain:  # the library alone, without a line of ours
        assert plain.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert plain.execute("SELECT count(*) FROM movements WHERE kind = 'ring'").fetchone() == (2,)
    if os.name == "posix":
        assert path.stat().st_mode & 0o777 == 0o600 and path.parent.stat().st_mode & 0o777 == 0o700


def test_it_is_done_once_a_night_and_not_before_its_hour(venue: VenueFolder) -> None:
    for now in ("06-11 04:59:00", "06-11 05:00:00", "06-11 05:01:00", "06-11 23:59:00", "06-12 04:59:00"):
        assert night(venue, now) == []
    assert names(venue) == ["unrung-20250611T085900Z.sqlite", "unrung-20250611T090000Z.sqlite"]


def test_only_the_newest_backups_stay_and_nothing_else_in_the_folder_goes(venue: VenueFolder) -> None:
    venue.edit("venue.toml", "[venue]", "[upkeep]\nkeep_backups = 2\n[venue]")
    (venue.path / "backups").mkdir()
    (venue.path / "backups" / "unrung-notes.sqlite").write_text("mine")
    for day in range(11, 15):
        assert night(venue, f"06-{day} 05:00:00") == []
    assert names(venue) == ["unrung-20250613T090000Z.sqlite", "unrung-20250614T090000Z.sqlite",
                            "unrung-notes.sqlite"]


def test_backups_of_a_clock_that_was_ahead_do_not_push_out_those_made_since(venue: VenueFolder) -> None:
    venue.edit("venue.toml", "[venue]", "[upkeep]\nkeep_backups = 2\n[venue]")
    for now in ("12-01 05:00:00", "12-02 05:00:00", "06-11 05:00:00", "06-12 05:00:00"):
        assert night(venue, now) == []
    assert names(venue) == ["unrung-20250611T090000Z.sqlite", "unrung-20250612T090000Z.sqlite"]


def test_rows_that_stand_in_the_log_only_are_in_the_backup(venue: VenueFolder) -> None:
    with venue.open("06-11 05:00:00") as (settings, db), venue.open() as (_, reader):
        list(reader.query("SELECT * FROM movements"))
        venue.rings("b.csv", [ring("21:00:00")])
        venue.intake("06-11 05:00:00")
        assert (venue.path / "unrung.sqlite-wal").stat().st_size > 0
        assert nightly(db, settings, ms("06-11 05:00:00")) == []
    assert verify(backups_in(venue.path / "backups", "unrung")[-1].path)["movements"] == 4


def test_the_log_is_folded_into_the_store(venue: VenueFolder) -> None:
    with venue.open("06-11 05:00:00") as (_, db):
        venue.rings("b.csv", [ring("21:00:00")])
        venue.intake("06-11 05:00:00")
        log = venue.path / "unrung.sqlite-wal"
        before = log.stat().st_size
        backups.fold_log(db)
        assert before > 0 and log.stat().st_size == 0


def test_a_full_disk_under_the_backups_is_told_and_the_service_goes_on(venue: VenueFolder) -> None:
    with small_disk(venue.path / "backups", 64) as disk:
        (problem,) = night(venue, "06-11 05:00:00")
        assert "no backup could be made in" in problem and "full" in problem
        assert list(disk.iterdir()) == []
        assert any("the night's upkeep: no backup" in text for text in attention(venue, "06-11 05:10:00"))
        assert night(venue, "06-11 05:30:00") == [], "not tried again at once"
    assert night(venue, "06-11 06:00:00") == []
    assert len(names(venue)) == 1
    assert not any("upkeep" in text for text in attention(venue, "06-11 06:01:00"))


def test_a_failed_backup_takes_no_older_one_away(venue: VenueFolder) -> None:
    night(venue, "06-11 05:00:00")
    venue.edit("venue.toml", "[venue]", "[upkeep]\nkeep_backups = 1\n[venue]")
    target = venue.path / "backups" / ".unrung-20250612T090000Z.sqlite.new"
    target.mkdir()
    (target / "x").touch()
    assert "no backup could be made" in night(venue, "06-12 05:00:00")[0]
    assert "unrung-20250611T090000Z.sqlite" in names(venue)


def test_what_a_stop_half_way_left_is_cleared_away(venue: VenueFolder) -> None:
    (venue.path / "backups").mkdir()
    (venue.path / "backups" / ".unrung-20250610T090000Z.sqlite.new").write_bytes(b"half")
    assert night(venue, "06-11 05:00:00") == []
    assert names(venue) == ["unrung-20250611T090000Z.sqlite"]


def test_the_service_does_not_start_on_a_damaged_store_and_leaves_it_as_it_is(venue: VenueFolder) -> None:
    path = venue.path / "unrung.sqlite"
    damage(path)
    before = path.read_bytes()
    done = unrung("run", venue.path)
    said = words(done.stderr)
    assert done.returncode == 4 and "is damaged" in said and "unrung restore" in said
    assert "Traceback" not in done.stderr and path.read_bytes()[4096:] == before[4096:]
    assert "is damaged" in (venue.path / "unrung.log").read_text("utf-8"), "where no console is seen"


def test_a_start_that_cannot_help_is_told_to_people_once_a_day(venue: VenueFolder) -> None:
    """A service manager that starts it again each minute sends no mail each minute."""
    damage(venue.path / "unrung.sqlite")
    desk = Desk()
    with mail_server(desk) as port, web_server(lambda asked: Reply(b"ok")) as watchman:
        text = (venue.path / "venue.toml").read_text("utf-8")
        more = f'\n[schedule]\nheartbeat_url = "{watchman.url}/bar"\n' + MAIL.format(
            port=port, to='"ann@example.org"', timeout=5)
        (venue.path / "venue.toml").write_text(text + more, "utf-8")
        for _ in range(2):
            assert unrung("run", venue.path).returncode == 4
    assert [asked.path for asked in watchman.asked] == ["/bar/fail", "/bar/fail"]
    (mail,) = sent(desk)
    said = spoken(mail)
    assert "has stopped" in mail["Subject"] and "is damaged" in said and "unrung restore" in said


def test_a_copy_that_lacks_rows_is_no_backup(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="the copy holds 2 rows of movements, the store 3"):
        backups._compare({"movements": 2}, {"movements": 3}, {"movements": 4})
    backups._compare({"movements": 4}, {"movements": 3}, {"movements": 4})


def damage(path: Path) -> None:
    """Overwrite the page in which a table's rows stand; the first page stays, so that it opens."""
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        size = db.execute("PRAGMA page_size").fetchone()[0]
        (page,) = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'movements'").fetchone()
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xa5" * size)


def test_a_damaged_store_is_found_at_the_start_and_by_night(venue: VenueFolder) -> None:
    night(venue, "06-11 05:00:00")
    damage(venue.path / "unrung.sqlite")
    with venue.open() as (settings, db):
        with pytest.raises(StoreError, match=r"is damaged .*Keep the file.*unrung restore"):
            check_at_start(db, settings, ms("06-12 05:00:00"))
        assert "is damaged" in nightly(db, settings, ms("06-12 05:00:00"))[0]
    assert len(names(venue)) == 1, "no backup of a damaged store pushes a good one out"


def test_the_check_at_the_start_is_made_at_most_once_a_day(venue: VenueFolder) -> None:
    with venue.open() as (settings, db):
        assert check_at_start(db, settings, ms("06-12 05:00:00"))
        note_checked(db, ms("06-12 05:00:00"))
    damage(venue.path / "unrung.sqlite")
    with venue.open() as (settings, db):
        assert not check_at_start(db, settings, ms("06-12 09:00:00"))
        with pytest.raises(StoreError, match="is damaged"):
            check_at_start(db, settings, ms("06-13 05:00:00"))


def earlier_form(path: Path) -> Path:
    """A store as the first version made it."""
    db = Store(sqlite3.connect(path), path)
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    migrations.apply(db, stop_before="m002_how_long_a_day_waits")
    db.execute("INSERT INTO days (day, dirty, changed_ms, revision) VALUES ('2025-06-10', 1, 7, 3)")
    db.commit()
    db.execute("PRAGMA user_version = 1")
    db.close()
    return path


def test_an_earlier_form_of_the_store_is_copied_before_it_is_changed(tmp_path: Path) -> None:
    path = earlier_form(tmp_path / "unrung.sqlite")
    open_store(path).close()
    earlier = path.with_name("unrung.sqlite.form-1")
    with closing(sqlite3.connect(path)) as now, closing(sqlite3.connect(earlier)) as then:
        assert now.execute("PRAGMA user_version").fetchone() == (NEWEST,)
        assert then.execute("PRAGMA user_version").fetchone() == (1,)
        assert now.execute("SELECT day, revision, changes FROM days").fetchall() == [("2025-06-10", 3, 0)]
    assert verify(earlier)["days"] == 1
    earlier.unlink()
    open_store(path).close()
    assert not earlier.exists(), "once is enough"


def test_a_look_at_an_earlier_form_says_what_brings_it_up_to_date_and_blames_nobody(tmp_path: Path) -> None:
    path = earlier_form(tmp_path / "unrung.sqlite")
    before = path.read_bytes()
    with pytest.raises(StoreError, match=r"store 1, this one needs \d+.*Nothing is wrong.*catch-up") as told:
        look_at_store(path)
    assert "restore" not in str(told.value) and path.read_bytes() == before


def test_the_installed_service_may_write_to_a_folder_of_backups_elsewhere(venue: VenueFolder) -> None:
    elsewhere = venue.path.parent / "other disk"
    venue.edit("venue.toml", "[venue]", f'[upkeep]\nbackups = "{elsewhere.as_posix()}"\n[venue]')
    said = CliRunner().invoke(commands, ["service", str(venue.path), "--for", "systemd"]).output
    (line,) = (line for line in said.splitlines() if line.startswith("ReadWritePaths="))
    assert f'"{elsewhere.resolve()}"' in line
    assert night(venue, "06-11 05:00:00") == []
    assert len(list(elsewhere.iterdir())) == 1 and not (venue.path / "backups").exists()
