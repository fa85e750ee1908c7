"""One program writes the log and nobody else opens it: on Windows a second handle stops rotation."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from mail.servers import Desk, serving
from service.evenings import mailing_bar
from service.mails import issued_yesterday, put_mail
from service.real import running, unrung, until, words
from starter import environment, to_its_end
from unrung.service import logs
from unrung.service.clock import wall_ms
from venue_folder import make_venue

OPENED = """
import sys
seen = []
sys.addaudithook(lambda name, args: seen.append(str(args[0])) if name == "open" else None)
from unrung.cli import main
try:
    main()
finally:
    named = [path for path in seen if path.endswith("unrung.log")]
    sys.stderr.write(f"opened {len(seen)} files, the log {len(named)} times")
"""


@pytest.mark.parametrize("command", ["check", "status", "catch-up"])
def test_no_command_but_the_service_opens_the_log(command: str, tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar")
    (venue.path / "unrung.log").touch()
    ended = to_its_end([command, str(venue.path)], environment(), code=OPENED)
    assert "the log 0 times" in ended.stderr and "opened 0 files" not in ended.stderr


@pytest.fixture
def quiet_root() -> Iterator[logging.Logger]:
    """The root logger, given back as it was."""
    root = logging.getLogger()
    before, level, raising = list(root.handlers), root.level, logging.raiseExceptions
    yield root
    for handler in [one for one in root.handlers if one not in before]:
        root.removeHandler(handler)
        handler.close()
    root.setLevel(level)
    logging.raiseExceptions = raising


def test_the_log_is_rotated_and_never_grows_past_its_share(
    tmp_path: Path, quiet_root: logging.Logger, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(logs, "MAX_BYTES", 2_000)
    logs.start_log(tmp_path)
    for n in range(400):
        logging.getLogger("unrung.service").info("line %s of many", n)
    files = sorted(path.name for path in tmp_path.iterdir())
    assert files == ["unrung.log", *(f"unrung.log.{n}" for n in range(1, logs.KEPT + 1))]
    assert all(path.stat().st_size <= 2_000 for path in tmp_path.iterdir())
    assert "line 399 of many" in (tmp_path / "unrung.log").read_text()


def test_a_log_that_cannot_be_written_stops_nothing(tmp_path: Path, quiet_root: logging.Logger) -> None:
    (tmp_path / "unrung.log").mkdir()
    logs.start_log(tmp_path)
    logging.getLogger("unrung.service").info("said into the void")


@pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS")
def test_no_secret_reaches_the_log_the_status_or_the_store(tmp_path: Path) -> None:
    password, token = "canary-password", "canary-token"
    schedule = f'[schedule]\nheartbeat_url = "http://127.0.0.1:9/{token}"\n'
    with serving(Desk(), password="another") as port:
        bar = mailing_bar(tmp_path / "bar", port, more=schedule)
        bar.edit("venue.toml", 'security = "none"', 'security = "none"\nuser = "bar"')
        put_mail(bar, wall_ms())
        issued_yesterday(bar)
        with running(bar.path, {"UNRUNG_MAIL_PASSWORD": password}) as service:
            service.says("heartbeat: 127.0.0.1")
            until(lambda: service.rows("SELECT 1 FROM outbox_recipients WHERE attempts > 0"), "a try")
            said = unrung("status", bar.path)
    assert "renew the password" in words(said.stdout)
    assert password not in said.stdout + said.stderr and token not in said.stdout + said.stderr
    for path in bar.path.rglob("*"):
        content = path.read_bytes() if path.is_file() and path.name != "venue.toml" else b""
        assert password.encode() not in content and token.encode() not in content, path
