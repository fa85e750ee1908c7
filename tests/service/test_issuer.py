"""Days issued in a process of its own: the same rows, a small service, and nothing held up."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from service.real import on_linux, running, until
from starter import environment
from unrung.errors import UnrungError
from unrung.service.child import Child
from unrung.service.clock import Clock
from unrung.service.issuer import Issuer
from unrung.service.steps import HOLD_SECONDS, Intake
from unrung.service.venue import Venue, stamp_of
from unrung.settings import Settings
from venue_folder import VenueFolder, make_venue, ms, pour, ring

NOON = "06-12 12:00:00"


@pytest.fixture
def bar(tmp_path: Path) -> VenueFolder:
    venue = make_venue(tmp_path / "bar", till="settle_seconds = 0", meter="settle_seconds = 0")
    venue.rings("a.csv", [ring("20:15:00")])
    venue.pours("a.json", [pour("1", "20:14:30")])
    return venue


def venue_at(bar: VenueFolder, now: str = NOON, passed: list[float] | None = None) -> Venue:
    stamp = stamp_of(bar.path)
    mono = passed or [0.0]
    with bar.open(now) as (settings, _):
        return Venue(bar.path, settings, Clock(lambda: ms(now), lambda: mono[0]), stamp)


def test_a_child_issues_the_same_files_and_rows_as_a_catch_up(bar: VenueFolder, tmp_path: Path) -> None:
    bar.intake(NOON)
    with bar.open(NOON) as (settings, _):
        Child()(settings, ms(NOON))
    other = make_venue(tmp_path / "other")
    other.rings("a.csv", [ring("20:15:00")])
    other.pours("a.json", [pour("1", "20:14:30")])
    other.catch_up(NOON)
    assert "daily/2025-06-10/variance-2025-06-10.csv" in bar.files()
    assert bar.files() == other.files()
    assert bar.query("SELECT * FROM leaves") == other.query("SELECT * FROM leaves") != []


def test_a_child_that_fails_says_why_and_the_other_days_are_issued(bar: VenueFolder) -> None:
    bar.intake(NOON)
    (bar.path / "issued" / "daily").mkdir(parents=True)
    (bar.path / "issued" / "daily" / "2025-06-10").write_text("a file where a folder must be")
    with bar.open(NOON) as (settings, _), pytest.raises(UnrungError, match="2025-06-10 could not be issued"):
        Child()(settings, ms(NOON))
    assert [row["day"] for row in bar.query("SELECT day FROM days WHERE revision")] == ["2025-06-11"]


def test_a_stopped_child_starts_no_more(bar: VenueFolder) -> None:
    bar.intake(NOON)
    child = Child()
    child.stop()
    with bar.open(NOON) as (settings, _):
        child(settings, ms(NOON))
    assert bar.files() == {}


def test_days_wait_for_exports_that_lie_there_and_have_not_settled(bar: VenueFolder) -> None:
    """A machine that was off all morning: the latest time has passed, and the files are there."""
    passed = [0.0]
    venue = venue_at(bar, passed=passed)
    bar.edit("venue.toml", "settle_seconds = 0\n[feed.fields]\nat", "settle_seconds = 5\n[feed.fields]\nat")
    intake, runs = Intake(venue, lambda: None), Runs()
    issuer = Issuer(venue, intake.settling, runs, lambda: None)
    issuer.step()
    intake.step()
    issuer.step()
    assert runs.moments == []
    passed[0] = 6.0
    intake.step()
    issuer.step()
    assert runs.moments == [ms(NOON)]


def test_a_file_that_never_settles_does_not_hold_days_for_ever(bar: VenueFolder) -> None:
    passed = [0.0]
    venue = venue_at(bar, passed=passed)
    bar.edit("venue.toml", "settle_seconds = 0\n[feed.fields]\nat", "settle_seconds = 5\n[feed.fields]\nat")
    intake = Intake(venue, lambda: None)
    while passed[0] < HOLD_SECONDS:
        assert intake.settling()
        bar.rings("a.csv", [ring("20:15:00")] * round(passed[0]))
        intake.step()
        passed[0] += 4
    assert not intake.settling()


def test_nothing_is_started_where_nothing_is_due(bar: VenueFolder) -> None:
    bar.catch_up(NOON)
    venue, runs = venue_at(bar), Runs()
    venue.fresh.set()  # rows came in, but no mail is set up: there is nobody to tell
    assert Issuer(venue, lambda: False, runs, lambda: None).step() > 1
    assert runs.moments == []


def test_files_that_could_not_be_replaced_are_a_problem_until_they_can(bar: VenueFolder) -> None:
    bar.intake(NOON)
    blocked = bar.path / "issued/daily/2025-06-10/variance-2025-06-10.csv"
    (blocked / "open in a spreadsheet").mkdir(parents=True)  # nothing can be renamed over it
    venue = venue_at(bar)
    issuer = Issuer(venue, lambda: False, Child(), lambda: None)
    issuer.step()
    assert "variance-2025-06-10.csv could not be replaced" in venue.problems["files"]
    (blocked / "open in a spreadsheet").rmdir()
    blocked.rmdir()
    later = "06-12 12:31:00"
    with bar.open(later):
        venue.clock = Clock(lambda: ms(later), lambda: 0.0)
    issuer.step()
    assert venue.problems == {} and blocked.read_bytes()
    assert not blocked.with_name(blocked.name + ".new").exists()


@on_linux
def test_the_service_stays_small_after_it_issued_a_day(bar: VenueFolder) -> None:
    with running(bar.path) as service:
        until(lambda: service.rows("SELECT 1 FROM days WHERE revision > 0"), "an issued day")
        status = Path(f"/proc/{service.process.pid}/status").read_text()
        resident = int(status.split("VmRSS:")[1].split()[0])
        assert resident < 120 * 1024
        maps = Path(f"/proc/{service.process.pid}/maps").read_text()
        assert "numpy" not in maps and "scipy" not in maps and "sqlite" in maps


def test_what_stays_or_must_be_quick_loads_no_numpy() -> None:
    """In one interpreter: what one of them loads is there at the end."""
    quick = {"unrung.service.run", "unrung.status_text", "unrung.intake.scan"}
    code = f"import sys, json, {', '.join(sorted(quick))}; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], env=environment(), capture_output=True, text=True)
    loaded = {*json.loads(done.stdout)}
    assert quick <= loaded and not {"numpy", "scipy", "pandas"} & loaded


class Runs:
    """Work that only notes when it was asked for."""

    def __init__(self) -> None:
        self.moments: list[int] = []

    def __call__(self, settings: Settings, now_ms: int) -> None:
        self.moments.append(now_ms)
