"""The address that is asked for after each issued day, against a real server."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import pytest

from unrung.heartbeat import beat
from unrung.service.clock import Clock
from unrung.service.steps import Heart
from unrung.service.venue import Venue
from unrung.store.days import save_day
from unrung.store.open import write_tx
from venue_folder import VenueFolder, make_venue, ms, pour, ring

MORNING = ms("06-11 11:30:00")


class Watchman(ThreadingHTTPServer):
    """Notes what is asked for; ``answer`` is the status it gives."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), _Note)
        self.asked: list[str] = []
        self.answer = 200

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}/ping/secret"


class _Note(BaseHTTPRequestHandler):
    server: Watchman

    def do_GET(self) -> None:
        self.server.asked.append(self.path)
        self.send_response(self.server.answer)
        self.end_headers()

    def log_message(self, *_: Any) -> None:
        return


@pytest.fixture
def watchman() -> Iterator[Watchman]:
    with Watchman() as server:
        thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        thread.start()
        yield server
        server.shutdown()


def watched_bar(path: Path, url: str) -> VenueFolder:
    return make_venue(path, more=f'[schedule]\nheartbeat_url = "{url}"')


def test_a_whole_day_asks_for_the_address_once(tmp_path: Path, watchman: Watchman) -> None:
    bar = watched_bar(tmp_path / "bar", watchman.url)
    bar.rings("a.csv", [ring("20:15:00")])
    bar.pours("a.json", [pour("1", "20:14:30")])
    bar.catch_up("06-11 11:30:00")
    bar.catch_up("06-11 11:40:00")
    assert watchman.asked == ["/ping/secret"]


def test_an_incomplete_day_asks_for_fail_and_for_the_address_once_it_is_whole(
    tmp_path: Path, watchman: Watchman
) -> None:
    bar = watched_bar(tmp_path / "bar", watchman.url)
    bar.rings("a.csv", [ring("20:15:00")])
    bar.catch_up("06-11 11:30:00")
    assert watchman.asked == ["/ping/secret/fail"]
    bar.pours("a.json", [pour("1", "20:14:30")])
    bar.catch_up("06-11 13:30:00")
    assert watchman.asked == ["/ping/secret/fail", "/ping/secret"]


@pytest.mark.usefixtures("one_by_one")
def test_history_taken_in_afterwards_says_nothing_of_today(tmp_path: Path, watchman: Watchman) -> None:
    bar = watched_bar(tmp_path / "bar", watchman.url)
    bar.rings("a.csv", [ring("20:15:00")])
    bar.catch_up("06-20 11:30:00")
    assert len(bar.query("SELECT * FROM days WHERE revision = 1")) > 2
    assert watchman.asked == ["/ping/secret/fail"] * 2  # of those that ended within 36 hours


def test_an_address_that_answers_badly_is_asked_again_and_never_named(
    tmp_path: Path, watchman: Watchman
) -> None:
    bar = watched_bar(tmp_path / "bar", watchman.url)
    watchman.answer = 503
    with bar.open() as (settings, db):
        with write_tx(db):
            save_day(db, date(2025, 6, 10), [], revision=1, status="final", digest="", config_digest="",
                     issued_ms=MORNING, changed_ms=0)
        assert beat(db, settings, MORNING) == "127.0.0.1 answered 503"
        watchman.answer = 200
        assert beat(db, settings, MORNING) == ""
        assert beat(db, settings, MORNING) == ""
    assert watchman.asked == ["/ping/secret"] * 2


def test_a_silent_address_holds_nobody_for_long_and_is_not_asked_at_every_tick(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("unrung.heartbeat.TIMEOUT_SECONDS", 0.3)
    passed = [0.0]
    with silence() as server:
        bar = watched_bar(tmp_path / "bar", f"http://127.0.0.1:{server.getsockname()[1]}/secret")
        with bar.open() as (settings, db), write_tx(db):
            save_day(db, date(2025, 6, 10), [], revision=1, status="final", digest="", config_digest="",
                     issued_ms=MORNING, changed_ms=0)
        heart = Heart(Venue(bar.path, settings, Clock(lambda: MORNING, lambda: passed[0])))
        tries = []
        for passed[0] in range(0, 600, 30):
            heart.step()
            tries.append(waiting(server))
    assert sum(tries) == 4  # at once, then after 60, 120 and 240 seconds


@contextmanager
def silence() -> Iterator[socket.socket]:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(64)
        listener.setblocking(False)
        yield listener


def waiting(server: socket.socket) -> int:
    """How many connections came in since the last look."""
    count = 0
    while True:
        try:
            server.accept()[0].close()
        except BlockingIOError:
            return count
        count += 1
