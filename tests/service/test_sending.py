"""The outbox through the real sender, against real servers with the faults of the field."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from mail.servers import Desk, free_port, serving
from service.evenings import evening, mailing_bar
from service.mails import add, put_mail, sent, text
from service.real import KILL, running, until
from unrung.sending import send_due
from unrung.service.clock import wall_ms
from unrung.settings import Settings
from unrung.store.open import Store
from venue_folder import ms

ANN, BOB = "ann@example.org", "bob@example.org"
NOON = ms("06-12 12:00:00")
MINUTE = 60_000
PASSWORD = "canary-in-the-cellar"
pytestmark = pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS")


class Box:
    """A mail in the outbox since noon, and the clock."""

    def __init__(self, db: Store, settings: Settings) -> None:
        self._db, self._settings = db, settings
        add(db, settings, NOON)

    def at(self, minutes: float) -> list[tuple[str, str]]:
        """Who has it and who has not, after sending what is due so many minutes after noon."""
        send_due(self._db, self._settings, NOON + round(minutes * MINUTE), {"UNRUNG_MAIL_PASSWORD": PASSWORD})
        rows = self._db.query("SELECT recipient, state FROM outbox_recipients ORDER BY recipient")
        return [(row["recipient"], row["state"]) for row in rows]

    def told(self) -> str:
        rows = self._db.query("SELECT last_text FROM outbox_recipients")
        return "; ".join(row["last_text"] for row in rows)

    def state(self) -> str:
        return str(next(self._db.query("SELECT state FROM outbox"))["state"])

    def minutes_to_next(self) -> int:
        row = next(self._db.query("SELECT next_try_ms AS at FROM outbox_recipients WHERE state = 'waiting'"))
        return (int(row["at"]) - NOON) // MINUTE


@contextmanager
def box(tmp_path: Path, port: int, to: tuple[str, ...] = (ANN,), more: str = "") -> Iterator[Box]:
    bar = mailing_bar(tmp_path / "bar", port, to=to)
    if more:
        bar.edit("venue.toml", 'security = "none"', f'security = "none"\n{more}')
    with bar.open() as (settings, db):
        yield Box(db, settings)


def test_a_server_that_defers_is_asked_again_and_not_too_soon(tmp_path: Path) -> None:
    desk = Desk(refuse={ANN: "451 4.7.1 come back later"})
    with serving(desk) as port, box(tmp_path, port) as mail:
        assert mail.at(0) == [(ANN, "waiting")] and "451" in mail.told()
        desk.refuse.clear()
        assert mail.at(4) == [(ANN, "waiting")]
        assert mail.at(5) == [(ANN, "sent")]
        assert mail.at(60) == [(ANN, "sent")]
    assert len(desk.taken) == 1


def test_one_refused_address_does_not_keep_the_mail_from_the_other(tmp_path: Path) -> None:
    desk = Desk(refuse={BOB: "550 5.1.1 no such user"})
    with serving(desk) as port, box(tmp_path, port, (ANN, BOB)) as mail:
        assert mail.at(0) == [(ANN, "sent"), (BOB, "refused")]
        assert mail.state() == "partly"
        assert mail.at(600) == [(ANN, "sent"), (BOB, "refused")]
    assert [to for to, _ in desk.taken] == [[ANN]]


def test_a_mail_taken_without_a_word_goes_again_under_the_same_name(tmp_path: Path) -> None:
    desk = Desk(data="drop")
    with serving(desk) as port, box(tmp_path, port) as mail:
        assert mail.at(0) == [(ANN, "waiting")]
        desk.data = "250 taken"
        assert mail.at(5) == [(ANN, "sent")]
    first, second = sent(desk)
    assert first["Message-ID"] == second["Message-ID"] and first.as_bytes() == second.as_bytes()


def test_a_refused_log_in_is_tried_rarely_and_the_password_is_told_nowhere(tmp_path: Path) -> None:
    desk = Desk()
    user = 'user = "bar"'
    with serving(desk, password="new") as port, box(tmp_path, port, more=user) as mail:
        assert mail.at(0) == [(ANN, "waiting")]
        assert "log-in refused" in mail.told() and "renew the password" in mail.told()
        assert mail.minutes_to_next() == 240
        assert PASSWORD not in mail.told()
    files = [path.read_bytes() for path in (tmp_path / "bar").rglob("*") if path.is_file()]
    assert not any(PASSWORD.encode() in content for content in files)


def test_a_server_that_comes_up_again_gets_the_mail_after_growing_pauses(tmp_path: Path) -> None:
    desk, port = Desk(), free_port()
    with box(tmp_path, port) as mail:
        pauses, at = [], 0
        for _ in range(5):
            assert mail.at(at) == [(ANN, "waiting")] and "could not be reached" in mail.told()
            pauses.append(mail.minutes_to_next() - at)
            at += pauses[-1]
        assert pauses == [5, 10, 20, 40, 80]
        with serving_at(desk, port):
            assert mail.at(at) == [(ANN, "sent")]


def test_a_mail_expires_when_the_next_one_says_more(tmp_path: Path) -> None:
    with box(tmp_path, free_port()) as mail:
        at = 0
        while mail.at(at) == [(ANN, "waiting")]:
            at = mail.minutes_to_next()
        assert 12 * 60 < at <= 18 * 60
        assert mail.state() == "expired"


def test_a_machine_that_slept_does_not_send_an_old_mail(tmp_path: Path) -> None:
    desk = Desk()
    with serving(desk) as port, box(tmp_path, port) as mail:
        assert mail.at(18 * 60) == [(ANN, "expired")]
    assert desk.taken == []


def test_a_threshold_mail_that_never_left_is_told_in_the_next_summary(tmp_path: Path) -> None:
    desk, port = Desk(), free_port()
    bar = mailing_bar(tmp_path / "bar", port)
    evening(bar, "a", "18:00:00", "20:30:00", lone=6)
    bar.catch_up("20:31:00")
    evening(bar, "b", "20:30:00", "23:50:00", lone=1)
    with serving_at(desk, port):
        bar.catch_up("06-11 11:30:00")
    (morning,) = sent(desk)
    assert "Not sent in time, told here: 96 fl oz (20.0%) not rung, Amber." in text(morning)
    assert [row["state"] for row in bar.query("SELECT state FROM outbox ORDER BY id")] == ["folded", "sent"]


def test_a_crash_between_the_servers_ok_and_our_note_sends_twice_under_one_name(tmp_path: Path) -> None:
    """The service is killed when it says goodbye to the server: the mail is taken, and not noted."""
    class Killing(Desk):
        victim = 0

        async def handle_QUIT(self, server: Any, session: Any, envelope: Any) -> str:
            if self.victim:
                os.kill(self.victim, KILL)
            return "221 bye"

    desk = Killing()
    with serving(desk) as port:
        bar = mailing_bar(tmp_path / "bar", port)
        with running(bar.path) as service:
            desk.victim = service.process.pid
            put_mail(bar, wall_ms())
            assert service.process.wait(40) in (-KILL, KILL)
        desk.victim = 0
        with running(bar.path) as service:
            until(lambda: service.rows("SELECT 1 FROM outbox WHERE state = 'sent'"), "the mail sent")
    first, second = sent(desk)
    assert first["Message-ID"] == second["Message-ID"]


@contextmanager
def serving_at(desk: Desk, port: int) -> Iterator[None]:
    from aiosmtpd.controller import Controller

    controller = Controller(desk, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield
    finally:
        controller.stop()
