"""What others may read: no secret in anything that is written or said, and files for one account."""

from __future__ import annotations

import base64
import os
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from mail.servers import Desk, serving
from service.real import running, unrung, until
from upkeep.test_names import MAIL
from venue_folder import DAY, ZONE, VenueFolder, make_venue, pour, ring

CANARY = "s3cret-Canary-8841"
SPELLINGS = (CANARY, CANARY[2:], *(
    base64.b64encode(text.encode()).decode().rstrip("=")[:-2]
    for text in (CANARY, f"\0bar\0{CANARY}")
))
LATELY = (datetime.now(ZoneInfo(ZONE)) - timedelta(days=2)).date().isoformat()
"""The evening before last, which is due by the real clock at any hour."""
posix = pytest.mark.skipif(os.name != "posix", reason="Windows has no modes")


def mailing(path: Path, port: int) -> VenueFolder:
    text = MAIL.format(port=port).replace("[[alert]]", 'user = "bar"\n[[alert]]', 1)
    venue = make_venue(path, more=text, till="settle_seconds = 0.1\n", meter="settle_seconds = 0.1\n")
    venue.rings("till.csv", [ring("20:10:20"), ring("20:20:20")])
    venue.pours("meter.json", [pour("a", "20:10:00"), pour("b", "20:20:00"), pour("c", "20:30:00")])
    for file in (*venue.till.iterdir(), *venue.meter.iterdir()):
        file.write_text(file.read_text("utf-8").replace(DAY, LATELY), "utf-8")
        file.chmod(0o664)  # as a program on another machine leaves it
        hour_ago = time.time() - 3600
        os.utime(file, (hour_ago, hour_ago))
    return venue


def leaks(venue: VenueFolder, *said: str) -> list[str]:
    """Files of the venue, and things said, that hold the secret in any spelling."""
    files = {str(path): path.read_bytes() for path in venue.path.rglob("*") if path.is_file()}
    texts = {f"said {number}": text.encode() for number, text in enumerate(said)}
    return [name for name, content in {**files, **texts}.items()
            if any(spelling.encode() in content for spelling in SPELLINGS)]


def test_the_search_finds_a_leak(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v")
    (venue.path / "log").write_bytes(b"AUTH PLAIN " + base64.b64encode(f"\0bar\0{CANARY}".encode()))
    assert len(leaks(venue, f"535 bad {CANARY}")) == 2


@pytest.fixture(scope="module")
def caught_up(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[VenueFolder, str]]:
    """A venue whose mail server refuses the log-in, and all that the commands said there."""
    with pytest.MonkeyPatch.context() as patch, serving(Desk(), password="another one") as port:
        patch.setenv("UNRUNG_MAIL_PASSWORD", CANARY)
        venue = mailing(tmp_path_factory.mktemp("private") / "v", port)
        venue.drop(venue.till / "odd.csv", b"nothing, of, use\n1,2,3\n").chmod(0o644)
        done = [unrung("catch-up", venue.path), unrung("mail-test", venue.path),
                unrung("status", venue.path, "--json")]
        yield venue, "".join(one.stdout + one.stderr for one in done)


def test_no_secret_is_in_what_catch_up_and_status_say_or_write(caught_up: tuple[VenueFolder, str]) -> None:
    venue, said = caught_up
    assert f"issued {LATELY}" in said and "535" in said, "the day went out, the server refused"
    assert leaks(venue, said) == []


def test_no_secret_is_in_the_log_of_the_service(tmp_path: Path) -> None:
    with serving(Desk(), password="another one") as port:
        venue = mailing(tmp_path / "v", port)
        with running(venue.path, {"UNRUNG_MAIL_PASSWORD": CANARY}) as service:
            until(lambda: service.rows("SELECT * FROM outbox_recipients WHERE attempts > 0"), "a mail tried")
            until(lambda: list(venue.path.glob("backups/*.sqlite")), "a backup")
            service.stop()
        assert leaks(venue, (tmp_path / "v.stderr").read_text("utf-8")) == []
        modes(venue)


def modes(venue: VenueFolder) -> None:
    """Whatever the program made is for its own account; the folders of the venue are as they were."""
    mine = [path for top in ("issued", "archive", "backups") for path in (venue.path / top).rglob("*")]
    mine += [venue.path / top for top in ("issued", "archive", "backups")]
    mine += [*venue.path.glob("unrung.*"), *venue.path.glob(".unrung.*")]
    assert len(mine) > 12
    if os.name == "posix":
        wrong = [(str(path), oct(path.stat().st_mode)) for path in mine
                 if path.stat().st_mode & 0o777 != (0o700 if path.is_dir() else 0o600)]
        assert wrong == []


@posix
def test_files_and_folders_of_a_catch_up_are_for_its_account_alone(
    caught_up: tuple[VenueFolder, str]
) -> None:
    venue, _ = caught_up
    modes(venue)
    aside = venue.path / "set_aside" / "till"
    assert {path.stat().st_mode & 0o777 for path in aside.iterdir()} == {0o600}
    assert len(list(aside.iterdir())) == 2


@posix
def test_a_link_in_a_watched_folder_is_not_followed(tmp_path: Path) -> None:
    outside = tmp_path / "private.csv"
    outside.write_text("Id,Time,Item,Qty,Total,Check\n,2025-06-10 20:00:00,Pint of Amber,1,7.00,\n")
    venue = make_venue(tmp_path / "v")
    (venue.till / "sales.csv").symlink_to(outside)
    (problem,) = venue.intake().problems
    assert "but is a link; it is left alone" in problem
    assert venue.current() == [] and outside.exists() and not venue.files("archive")
