"""Events are hints and can be lost; the listing is the truth."""

from __future__ import annotations

import ctypes
import errno
import os
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from service.real import on_linux, running, until
from unrung.service.clock import Clock
from unrung.service.steps import Intake
from unrung.service.venue import Venue
from unrung.service.watching import Watching
from venue_folder import VenueFolder, make_venue, ms, ring, till_csv

INOTIFY = Path("/proc/sys/fs/inotify")
as_root = pytest.mark.skipif(
    sys.platform != "linux" or os.geteuid() != 0 or not os.access(INOTIFY / "max_queued_events", os.W_OK),
    reason="changes the machine: Linux, as root",
)


@contextmanager
def limit(name: str, value: int) -> Iterator[None]:
    """A limit of the kernel's events, put back afterwards."""
    before = (INOTIFY / name).read_text()
    (INOTIFY / name).write_text(str(value))
    try:
        yield
    finally:
        (INOTIFY / name).write_text(before)


@contextmanager
def watched(venue: VenueFolder) -> Iterator[tuple[Watching, list[str]]]:
    """Watching the bar's folders, and the feeds it hinted at since the list was cleared."""
    hints: list[str] = []
    with venue.open() as (settings, _):
        watching = Watching(Venue(venue.path, settings), hints.append)
    watching.step()
    until(lambda: {"till", "meter"} <= set(hints), "a first look")
    try:
        yield watching, hints
    finally:
        watching.close(1.0)


def hints_at_a_file(venue: VenueFolder, hints: list[str]) -> None:
    hints.clear()
    (venue.till / f"{len(list(venue.till.iterdir()))}.csv").write_bytes(b"x")
    until(lambda: "till" in hints, "a hint at the file")


def test_a_watch_that_cannot_be_stopped_is_left_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Such as one of a share that is gone, whose last look never ends."""
    forever = threading.Event()
    with watched(make_venue(tmp_path / "bar")) as (watching, _):
        for watch in watching._watches:
            stop = watch._observer.stop  # type: ignore[union-attr]
            monkeypatch.setattr(watch._observer, "stop", lambda stop=stop: (forever.wait(), stop()))
        watching.close(0.1)
        assert all(watch._observer.is_alive() for watch in watching._watches)  # type: ignore[union-attr]
        forever.set()


def recreate(folder: Path) -> Iterator[None]:
    shutil.rmtree(folder)
    yield
    folder.mkdir()


def move_away(folder: Path) -> Iterator[None]:
    folder.rename(folder.with_name("elsewhere"))
    yield
    folder.with_name("elsewhere").rename(folder)


def replace(folder: Path) -> Iterator[None]:
    folder.rename(folder.with_name("elsewhere"))
    folder.mkdir()
    yield


Change = Callable[[Path], Iterator[None]]


@pytest.mark.parametrize("polling", ["", "polling = true"])
@pytest.mark.parametrize("change", [recreate, move_away, replace])
@pytest.mark.parametrize("seen_while_away", [True, False])
def test_a_folder_that_came_back_is_watched_again(
    change: Change, seen_while_away: bool, polling: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if os.name == "nt" and change is recreate and not polling:
        pytest.skip("Windows keeps a folder that is looked into")
    monkeypatch.setattr("unrung.service.watching.POLL_SECONDS", 0.1)
    venue = make_venue(tmp_path / "bar", till=polling)
    with watched(venue) as (watching, hints):
        hints_at_a_file(venue, hints)
        for _ in change(venue.till):
            if seen_while_away:
                watching.step()
        watching.step()
        hints_at_a_file(venue, hints)


def test_a_watch_that_died_quietly_is_set_up_again(tmp_path: Path) -> None:
    """The folder is the same, the observer says that it is alive, and its emitter has ended."""
    venue = make_venue(tmp_path / "bar")
    with watched(venue) as (watching, hints):
        for watch in watching._watches:
            assert watch._observer
            for emitter in watch._observer.emitters:
                emitter.stop()
                emitter.join(5)
            assert watch._observer.is_alive()
        watching.step()
        hints_at_a_file(venue, hints)


@as_root
@pytest.mark.parametrize("seen_while_away", [True, False])
def test_a_file_system_mounted_again_is_watched_again(seen_while_away: bool, tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar")

    def mount(command: str, *more: str) -> None:
        subprocess.run([command, *more, str(venue.till)], check=True)

    mount("mount", "-t", "tmpfs", "tmpfs")
    try:
        with watched(venue) as (watching, hints):
            hints_at_a_file(venue, hints)
            mount("umount")
            if seen_while_away:
                watching.step()
            mount("mount", "-t", "tmpfs", "tmpfs")
            watching.step()
            hints_at_a_file(venue, hints)
    finally:
        mount("umount")


@on_linux
def test_without_events_the_folder_is_listed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_more_instances() -> int:
        ctypes.set_errno(errno.EMFILE)  # what the kernel answers past fs.inotify.max_user_instances
        return -1

    monkeypatch.setattr("watchdog.observers.inotify_c.inotify_init", no_more_instances)
    monkeypatch.setattr("unrung.service.watching.POLL_SECONDS", 0.1)
    venue = make_venue(tmp_path / "bar")
    with watched(venue) as (_, hints):
        hints_at_a_file(venue, hints)


@as_root
def test_a_thousand_files_at_once_come_in_though_events_are_lost(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar", till="settle_seconds = 0.2")
    files = 1000
    with ExitStack() as stack:
        with limit("max_queued_events", 50):  # read by the kernel when the watch is set up
            service = stack.enter_context(running(venue.path))
            (venue.till / "0.csv").write_bytes(till_csv([ring("20:15:00", check="0")]))
            until(service.rows, "a row, by an event")
        service.process.send_signal(signal.SIGSTOP)  # it reads no events: all but fifty are lost
        for n in range(1, files):
            (venue.till / f"{n}.csv").write_bytes(till_csv([ring("20:15:00", check=str(n))]))
        service.process.send_signal(signal.SIGCONT)
        service.says("Inotify queue overflowed")
        until(lambda: len(service.rows()) >= files, "all rows", 90)
        assert len(service.rows()) == files


def test_what_no_event_told_of_the_rescan_finds(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar", till="settle_seconds = 1", more="[schedule]\nrescan_seconds = 300")
    passed = [0.0]
    intake = intake_of(venue, passed)
    assert intake.step() == 300
    venue.rings("a.csv", [ring("20:15:00")])
    passed[0] = 299
    assert intake.step() == 1 and not venue.current()
    passed[0] = 300
    assert intake.step() < 1
    passed[0] = 302
    intake.step()
    assert len(venue.current()) == 1


def test_a_missing_folder_is_a_problem_and_an_empty_one_is_none(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar", more="[schedule]\nrescan_seconds = 10")
    passed = [0.0]
    intake = intake_of(venue, passed)
    problems = intake._venue.problems
    intake.step()
    assert problems == {}
    venue.till.rmdir()
    passed[0] = 10
    intake.step()
    assert list(problems) == ["feed till"] and "cannot be listed" in problems["feed till"]
    venue.till.mkdir()
    intake.hints.put("till")
    intake.step()
    assert problems == {}


def intake_of(venue: VenueFolder, passed: list[float]) -> Intake:
    """The intake of the bar at noon, ``passed[0]`` seconds after the start."""
    with venue.open() as (settings, _):
        clock = Clock(lambda: ms("06-12 12:00:00") + round(passed[0] * 1000), lambda: passed[0])
        return Intake(Venue(venue.path, settings, clock), lambda: None)
