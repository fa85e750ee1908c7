"""Exports read ahead in a process of their own come in as those read one by one, to the last row."""

from __future__ import annotations

import hashlib
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from simulator import simulate, write_exports
from unrung.ahead import exports
from unrung.catch_up import take_in_all
from unrung.config_folder import load
from unrung.intake import take_in
from unrung.intake.keeping import folder_of
from unrung.intake.watch import list_folder, read_whole
from unrung.opening import take_config
from unrung.store.open import open_store
from venue_folder import ms

NOW_MS = ms("06-15 12:00:00")
Made = list[subprocess.Popen[bytes]]


@pytest.fixture(scope="module")
def bar(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four days of exports, and a till's file of which one row cannot be read."""
    folder = tmp_path_factory.mktemp("ahead") / "bar"
    write_exports(simulate(205, days=4, start=date(2025, 6, 1), losses="all"), folder)
    first = next(feed for feed in load(folder).feed if feed.carries == "rings")
    file = list_folder(folder_of(first, load(folder)), first.pattern).files[0].path
    content = file.read_bytes()
    at = content.index(b"2025-")
    file.write_bytes(content[:at] + b"2O25-" + content[at + 5 :])
    return folder


@pytest.fixture(scope="module")
def alone(bar: Path, tmp_path_factory: pytest.TempPathFactory) -> list[object]:
    """The store of exports that were read one by one."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(exports, "processors", lambda: 1)
        patch.setattr(exports, "_started", _never)
        return taken_in(bar, tmp_path_factory.mktemp("alone") / "bar")


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Iterator[Made]:
    """The process that is started, as on a machine with two processors; afterwards it has ended."""
    made: Made = []
    start = exports._started
    monkeypatch.setattr(exports, "FEWEST_EXPORTS", 2)
    monkeypatch.setattr(exports, "processors", lambda: 2)
    monkeypatch.setattr(exports, "_started", lambda *given: made.append(start(*given)) or made[-1])  # type: ignore[func-returns-value]
    yield made
    assert len(made) == 1 and made[0].returncode is not None


def _never(*_: object, **__: object) -> None:
    raise AssertionError("one by one was asked for")


def taken_in(bar: Path, folder: Path) -> list[object]:
    """Everything in the store once a copy of the bar was taken in; the copy's files keep their times."""
    shutil.copytree(bar, folder)
    settings = load(folder)
    with closing(open_store(folder / settings.files.store)) as db:
        settings = take_config(db, settings, NOW_MS)
        done = take_in_all(db, settings, NOW_MS, [].append)
    assert not done.problems and sum(len(one.rejects) for one in done.taken) == 1
    with closing(sqlite3.connect(folder / settings.files.store)) as db:
        return [db.execute(f"SELECT * FROM {name} ORDER BY 1").fetchall()
                for name in ("movements", "sources", "rejects", "days")]


def test_the_same_rows_and_reasons(
    bar: Path, alone: list[object], tmp_path: Path, made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(take_in, "read_rows", _never)
    assert taken_in(bar, tmp_path / "bar") == alone


def test_a_process_that_ends_too_early_costs_time_only(
    bar: Path, alone: list[object], tmp_path: Path, made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    read, count = exports.read_message, iter(range(100))

    def third_time_killed(given: object) -> object:
        if next(count) == 2:
            made[0].kill()
            made[0].wait()
        return read(given)  # type: ignore[arg-type]

    monkeypatch.setattr(exports, "read_message", third_time_killed)
    assert taken_in(bar, tmp_path / "bar") == alone


def test_what_changed_since_is_read_where_it_is_taken_in(bar: Path, made: Made) -> None:
    settings = load(bar)
    feed = settings.feed[0]
    first, second, third, *_ = list_folder(folder_of(feed, settings), feed.pattern).files
    with exports.exports_ahead(settings, NOW_MS) as reading:
        whole = [hashlib.sha256(read_whole(one) or b"").hexdigest() for one in (first, second, third)]
        assert reading(feed, replace(first, size=first.size + 1), whole[0]) is None
        assert reading(feed, second, whole[0]) is None
        assert reading(feed, first, whole[0]) is None, "it was passed over"
        read = reading(feed, third, whole[2])
        assert read is not None and read.rows["line"] and not read.rejects


def test_few_exports_are_not_worth_a_process(bar: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exports, "FEWEST_EXPORTS", 100)
    monkeypatch.setattr(exports, "processors", lambda: 2)
    monkeypatch.setattr(exports, "_started", _never)
    with exports.exports_ahead(load(bar), NOW_MS) as reading:
        feed = load(bar).feed[0]
        file = list_folder(folder_of(feed, load(bar)), feed.pattern).files[0]
        assert reading(feed, file, hashlib.sha256(file.path.read_bytes()).hexdigest()) is None
