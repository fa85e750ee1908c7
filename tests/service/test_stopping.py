"""A service manager waits some seconds and then kills; we promise five."""

from __future__ import annotations

import os
import signal
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from service.evenings import mailing_bar
from service.mails import put_mail
from service.real import Service, ended, on_linux, running, until
from unrung.service.clock import wall_ms
from unrung.store.open import write_tx
from venue_folder import make_venue, pour, ring, till_csv

if os.name == "nt":
    pytest.skip("signals of POSIX", allow_module_level=True)

SECONDS = 5.0
QUICK = "settle_seconds = 0.2"


@contextmanager
def hanging() -> Iterator[socket.socket]:
    """A server that takes connections and never says a word."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        listener.settimeout(40)
        yield listener


def stops_in_time(service: Service, how: int) -> None:
    code, seconds = service.stop(how)
    assert code == 0
    assert seconds < SECONDS
    assert "stopped" in service.log().splitlines()[-1]


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_an_idle_service_ends_with_0(tmp_path: Path, how: int) -> None:
    venue = make_venue(tmp_path / "bar")
    with running(venue.path) as service:
        stops_in_time(service, how)
    assert not (venue.path / ".unrung.pid").exists()


def test_it_ends_in_time_while_many_files_come_in_and_the_rest_come_in_later(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar", till=QUICK)
    files = 600
    for n in range(files):
        (venue.till / f"{n}.csv").write_bytes(till_csv([ring("20:15:00", check=str(n))]))
    with running(venue.path) as service:
        until(service.rows, "the first rows")
        stops_in_time(service, signal.SIGTERM)
        moved = files - len(list(venue.till.glob("*.csv")))
        assert len(service.rows()) in (moved, moved + 1)  # one may be in that is not moved yet
    with running(venue.path) as service:
        until(lambda: len(service.rows()) >= files, "all rows")
        assert len(service.rows()) == files


def test_it_ends_in_time_in_the_middle_of_a_step_that_cannot_end(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar", till=QUICK)
    with venue.open() as (_, db), running(venue.path) as service:
        until(service.seen_ms, "a sign of life")
        with write_tx(db):  # nobody else can write: every step waits
            (venue.till / "a.csv").write_bytes(till_csv([ring("20:15:00")]))
            until(lambda: wall_ms() - service.seen_ms() > 2000, "silence")
            code, seconds = service.stop(signal.SIGTERM)
        assert code == 0 and seconds < SECONDS
        assert "a step cut off" in service.log()
    with running(venue.path) as service:
        until(service.rows, "the row")


def test_it_ends_in_time_while_a_mail_server_hangs(tmp_path: Path) -> None:
    with hanging() as server:
        venue = mailing_bar(tmp_path / "bar", server.getsockname()[1], timeout=60)
        put_mail(venue, wall_ms())
        with running(venue.path) as service:
            server.accept()
            stops_in_time(service, signal.SIGINT)


def test_it_ends_in_time_while_a_polled_server_hangs_and_files_still_come_in_before(tmp_path: Path) -> None:
    with hanging() as server:
        venue = make_venue(tmp_path / "bar", till=QUICK, meter_export="overlap")
        url = f'url = "http://127.0.0.1:{server.getsockname()[1]}/pours"'
        venue.edit("venue.toml", 'folder = "exports/meter"\npattern = "*.json"', url)
        with running(venue.path) as service:
            server.accept()
            (venue.till / "a.csv").write_bytes(till_csv([ring("20:15:00")]))
            until(service.rows, "a row from a file")
            stops_in_time(service, signal.SIGTERM)


@on_linux
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_the_process_that_issues_ends_with_the_service(tmp_path: Path, how: int) -> None:
    venue = make_venue(tmp_path / "bar")
    venue.rings("a.csv", [ring("20:15:00")])
    venue.pours("a.json", [pour("1", "20:14:00")])
    venue.intake()
    with venue.open() as (_, db), running(venue.path) as service:
        (child,) = until(service.children, "a child that issues")
        with write_tx(db):  # nobody else can write: by themselves both would wait for three times as long
            _, seconds = service.stop(how)
            assert seconds < SECONDS
            until(lambda: ended(child), "its end", SECONDS)
