"""Days computed ahead in a process of their own come out as those computed one by one, to the byte."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import date, timedelta
from pathlib import Path
from queue import Full
from typing import IO

import pytest

from simulator import simulate, write_exports
from starter import environment, start, to_its_end
from unrung import daybook, issuing
from unrung.ahead import ledgers, stretches
from unrung.ahead.backwards import Backwards
from unrung.ahead.process import processors, read_bytes, read_message, write_message
from unrung.catch_up import CaughtUp, catch_up, take_in_all
from unrung.opening import open_venue
from unrung.settings import Settings
from unrung.store.open import Store
from venue_folder import ms

DAYS, LAST = 10, date(2025, 6, 10)
FIX = "date,what,tap,product,finding\n2025-06-07,cleaned the nozzle,,,\n"
NOW_MS = ms("06-15 12:00:00")


@pytest.fixture(scope="module")
def bar(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten days of exports, every loss on, and a fix in between."""
    folder = tmp_path_factory.mktemp("ahead") / "bar"
    write_exports(simulate(205, days=DAYS, venue="small", start=date(2025, 6, 1), losses="all"), folder)
    (folder / "fixes.csv").write_text(FIX)
    return folder


@pytest.fixture(scope="module")
def taken(bar: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same, its exports taken in already and no day issued: what the days are computed from."""
    folder = tmp_path_factory.mktemp("taken") / "bar"
    shutil.copytree(bar, folder)
    with opened(folder) as (settings, db):
        assert not take_in_all(db, settings, NOW_MS, [].append).problems
    return folder


@pytest.fixture(scope="module")
def alone(bar: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Issued one by one."""
    folder = tmp_path_factory.mktemp("alone") / "bar"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ledgers, "processors", lambda: 1)
        patch.setattr(ledgers, "_started", _never)
        run(bar, folder)
    return folder


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[subprocess.Popen[bytes]]]:
    """The process that is started, as on a machine with two processors; afterwards it has ended."""
    made: list[subprocess.Popen[bytes]] = []
    start = ledgers._started
    monkeypatch.setattr(ledgers, "processors", lambda: 2)
    monkeypatch.setattr(ledgers, "_started", lambda *given: made.append(start(*given)) or made[-1])  # type: ignore[func-returns-value]
    yield made
    assert len(made) == 1 and made[0].returncode is not None


def _never(*_: object) -> None:
    raise AssertionError("one by one was asked for")


@contextmanager
def opened(folder: Path) -> Iterator[tuple[Settings, Store]]:
    settings, db = open_venue(folder, NOW_MS)
    with closing(db):
        yield settings, db


def run(bar: Path, folder: Path, said: list[str] | None = None) -> CaughtUp:
    """Catch up on a copy of the bar."""
    if not folder.exists():
        shutil.copytree(bar, folder)
    with opened(folder) as (settings, db):
        say = ([] if said is None else said).append
        done = catch_up(db, settings, NOW_MS, say, {}, through=LAST)
    assert [one.revision for one in done.issued] == [1] * DAYS and not done.problems
    return done


def files(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes()
            for path in sorted((folder / "issued").rglob("*")) if path.is_file()}


def rows(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    """Everything in the store; facts by name, as they are looked up, whenever they were first told."""
    with closing(sqlite3.connect(folder / "unrung.sqlite")) as db:
        names = [name for (name,) in db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE '\\_%' ESCAPE '\\'")]
        found = {name: db.execute(f"SELECT * FROM {name}").fetchall() for name in names}
    return found | {"facts": sorted(found["facts"])}


def test_the_same_files_and_the_same_store(
    bar: Path, alone: Path, tmp_path: Path, made: list[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(issuing, "ledger_of", _never)
    done = run(bar, tmp_path / "bar")
    assert files(tmp_path / "bar") == files(alone)
    assert rows(tmp_path / "bar") == rows(alone)
    assert any(one.ledger.findings for one in done.issued) and any(one.ledger.fixes for one in done.issued)


def test_a_process_that_ends_too_early_costs_time_only(
    taken: Path, alone: Path, tmp_path: Path, made: list[subprocess.Popen[bytes]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    read, said, count = read_bytes, list[str](), iter(range(DAYS))

    def third_time_killed(given: IO[bytes]) -> bytes:
        if next(count) == 2:
            made[0].kill()
            made[0].wait()
        return read(given)

    monkeypatch.setattr(ledgers, "read_bytes", third_time_killed)
    run(taken, tmp_path / "bar", said)
    assert sum("computing ahead ended" in text for text in said) == 1
    assert files(tmp_path / "bar") == files(alone)
    assert rows(tmp_path / "bar") == rows(alone)


def own_days(monkeypatch: pytest.MonkeyPatch) -> list[date]:
    """Days that who would wait, as it always does here, computed itself; filled as they are taken."""
    own, taken = list[date](), Backwards.taken
    monkeypatch.setattr(issuing, "ledger_of", _never)
    monkeypatch.setattr(ledgers, "_is_late", lambda arrived: True)
    monkeypatch.setattr(Backwards, "taken", lambda self, day: own.append(day) or taken(self, day))  # type: ignore[func-returns-value]
    return own


def test_who_would_wait_computes_the_last_days_and_the_two_meet(
    taken: Path, alone: Path, tmp_path: Path, made: list[subprocess.Popen[bytes]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    own = own_days(monkeypatch)
    monkeypatch.setattr(ledgers, "APART", 2)
    run(taken, tmp_path / "bar")
    assert own == [LAST - timedelta(days=n) for n in reversed(range(7))]
    assert files(tmp_path / "bar") == files(alone)
    assert rows(tmp_path / "bar") == rows(alone)


def test_the_process_goes_on_with_the_next_stretch_where_the_two_have_met(
    taken: Path, alone: Path, tmp_path: Path, made: list[subprocess.Popen[bytes]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    own = own_days(monkeypatch)
    monkeypatch.setattr(stretches, "FEWEST", 4)
    monkeypatch.setattr(stretches, "PART", 2)
    monkeypatch.setattr(ledgers, "APART", 1)
    monkeypatch.setattr(Backwards, "at_a_time", 1)
    run(taken, tmp_path / "bar")
    assert [day.day for day in own] == [2, 3, 4, 5, 7, 8, 10]  # of days 1 to 5, 6 to 8, 9 and 10
    assert files(tmp_path / "bar") == files(alone)
    assert rows(tmp_path / "bar") == rows(alone)


def test_what_cannot_be_computed_backwards_is_left_to_its_turn(
    taken: Path, alone: Path, tmp_path: Path, made: list[subprocess.Popen[bytes]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(ledgers, "APART", 2)
    monkeypatch.setattr(ledgers, "_is_late", lambda arrived: True)
    monkeypatch.setattr(daybook, "compute_day", _never)  # in this process
    run(taken, tmp_path / "bar")
    assert files(tmp_path / "bar") == files(alone)
    assert rows(tmp_path / "bar") == rows(alone)


def test_ledgers_wait_by_their_bytes_and_the_error_that_ends_them_waits_too() -> None:
    arrived = ledgers.Arrived(5)
    for one in (b"abc", b"defg"):
        arrived.put_nowait(one)
    with pytest.raises(Full):
        arrived.put_nowait(b"h")
    assert arrived.get() == b"abc"
    error = EOFError()
    arrived.put_nowait(error)
    assert [arrived.get(), arrived.get()] == [b"defg", error] and arrived.empty()


LISTENS = """
import os, threading
from unrung.ahead.process import own_pipes, read_message, write_message
given, to = own_pipes()
first, heard = read_message(given), []
threading.Thread(target=lambda: heard.append(read_message(given)), daemon=True).start()
os.write(1, b"lost")
nowhere = os.read(0, 1)
import numpy
write_message(to, (first, nowhere, list(heard)))
os._exit(0)
"""


def test_a_process_that_listens_loads_libraries_meanwhile() -> None:
    """On Windows numpy waits for a thread that reads standard input: nothing stands there by then."""
    process = subprocess.Popen(
        [sys.executable, "-c", LISTENS], env=environment(), stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert process.stdin is not None and process.stdout is not None
    write_message(process.stdin, "settings")
    assert read_message(process.stdout) == ("settings", b"", [])
    process.stdin.close()
    process.stdout.close()
    assert process.wait() == 0


def test_few_days_are_not_worth_a_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ledgers, "processors", lambda: 2)
    monkeypatch.setattr(ledgers, "_started", _never)
    days = [date(2025, 6, 1 + n) for n in range(ledgers.FEWEST_DAYS - 1)]
    with ledgers.ledgers_ahead(None, None, days, print) as ahead:  # type: ignore[arg-type]
        assert [ahead(day) for day in days] == [None] * len(days)


@pytest.mark.skipif(os.name == "nt" or not Path("/proc").is_dir(), reason="looks for processes in /proc")
def test_after_kill_9_no_process_is_left_and_the_next_run_goes_on(
    taken: Path, alone: Path, tmp_path: Path
) -> None:
    if processors() < 2:
        pytest.skip("one processor")
    shutil.copytree(taken, tmp_path / "bar")
    words, out = ["catch-up", str(tmp_path / "bar"), "--through", str(LAST)], tmp_path / "out"
    process = start(words, environment(), out=str(out))
    patience = time.monotonic() + 60
    while not (out.exists() and "\nissued 2025-06-02" in f"\n{out.read_text('utf-8')}"):
        assert process.poll() is None and time.monotonic() < patience, "it issued no days"
        time.sleep(0.02)
    started = _children(process.pid)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert len(started) == 1
    patience = time.monotonic() + 60
    while any(_runs(pid) for pid in started):
        assert time.monotonic() < patience, "a process outlived the one that started it"
        time.sleep(0.05)
    again = to_its_end(words, environment())
    assert again.returncode in (0, 1), again.stderr
    found, expected = files(tmp_path / "bar"), files(alone)
    assert {name: found[name] for name in found if "/daily/" in name} == {
        name: expected[name] for name in expected if "/daily/" in name}


def _children(pid: int) -> list[int]:
    return [int(text) for text in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def _runs(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2][0] != "Z"
    except OSError:
        return False


