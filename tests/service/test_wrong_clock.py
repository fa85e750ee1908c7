"""A machine whose clock starts in 1970 or 2001: nothing is done by that date, and all is done later."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from mail.servers import Desk
from mail.servers import serving as mail_server
from polling.server import Reply, Served
from polling.server import serving as web_server
from service.evenings import evening, mailing_bar
from service.mails import sent
from service.real import running, until
from service.test_clock import LIBRARY, POLLING, Time
from unrung.catch_up import catch_up
from unrung.clock_trust import clock_trouble
from unrung.closing import close
from unrung.service.clock import Clock
from unrung.service.lock import is_held
from unrung.service.steps import Intake
from unrung.service.venue import Venue, stamp_of
from unrung.status import Holder, collect
from unrung.upkeep import nightly
from venue_folder import VenueFolder, make_venue, ms, pour, ring

NOON = ms("06-12 12:00:00")
DAY_MS = 86_400_000
Y2099 = NOON + 73 * 365 * DAY_MS + 30 * DAY_MS
FLAT = {"1970": 3_600_000, "2001": 978_307_200_000 + 60_000, "the day before yesterday": NOON - 5 * DAY_MS}


@pytest.fixture
def bar(tmp_path: Path) -> VenueFolder:
    """Two evenings are in the store, the first is issued."""
    venue = make_venue(tmp_path / "bar", till='settle_seconds = 0', meter='settle_seconds = 0')
    venue.rings("a.csv", [ring("20:15:00"), ring("06-11 20:15:00")], "06-12 05:00:00")
    venue.pours("a.json", [pour("p1", "20:14:00"), pour("p2", "06-11 20:14:00")], "06-12 05:00:00")
    venue.catch_up("06-11 12:00:00")
    return venue


def trouble(venue: VenueFolder, now_ms: int) -> str:
    with venue.open() as (settings, db):
        return clock_trouble(db, settings, now_ms)


@pytest.mark.parametrize("when", FLAT)
def test_a_clock_far_behind_the_rows_is_told(bar: VenueFolder, when: str) -> None:
    assert "clock says" in trouble(bar, FLAT[when]) and "Set the clock" in trouble(bar, FLAT[when])


@pytest.mark.parametrize("now_ms", [NOON, NOON + 200 * DAY_MS, ms("06-11 12:00:00"), ms("06-10 21:00:00")])
def test_a_clock_that_may_be_right_is_believed(bar: VenueFolder, now_ms: int) -> None:
    """Also after half a year without exports, and by a till in the wrong zone."""
    assert trouble(bar, now_ms) == ""


def test_a_till_alone_with_a_wrong_date_does_not_put_the_clock_in_the_wrong(bar: VenueFolder) -> None:
    with bar.open() as (_, db):
        db.execute("UPDATE movements SET at_ms = at_ms + ? WHERE kind = 'ring'", [37 * 365 * DAY_MS])
        db.commit()
    assert trouble(bar, NOON) == ""
    assert trouble(bar, FLAT["2001"]) != ""


def test_a_clock_that_was_ahead_for_a_while_is_believed_once_it_is_right(bar: VenueFolder) -> None:
    with bar.open() as (settings, db):
        db.execute("UPDATE sources SET received_ms = received_ms + ?", [70 * 365 * DAY_MS])
        db.commit()
        assert clock_trouble(db, settings, NOON) == ""
        assert clock_trouble(db, settings, NOON - 300 * DAY_MS) != ""


def test_a_person_who_sees_that_the_clock_is_right_after_it_was_ahead_is_believed(bar: VenueFolder) -> None:
    with bar.open() as (_, db):
        db.execute("UPDATE facts SET value = replace(value, ?, ?) WHERE name = 'clock'",
                   [str(ms("06-11 12:00:00")), str(Y2099)])
        db.commit()
    now = NOON + 60 * DAY_MS
    assert "it said" in trouble(bar, now) and 'clock_right_on = "2025-08-11"' in trouble(bar, now)
    bar.edit("venue.toml", "[venue]\n", '[venue]\nclock_right_on = "2025-08-11"\n')
    assert trouble(bar, now) == ""


def test_a_new_store_is_no_reason_to_believe_1970(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "new")
    assert "before this program was written" in trouble(venue, FLAT["1970"])
    assert trouble(venue, NOON) == ""


@pytest.mark.parametrize("when", ["1970", "2001"])
def test_by_a_wrong_clock_nothing_is_done_and_by_the_right_one_all(bar: VenueFolder, when: str) -> None:
    wrong = FLAT[when]
    bar.edit("menu.csv", "Pint of Amber,Amber,16", "Pint of Amber,Amber,14")
    issued, rows = bar.files(), bar.query_at(wrong, "SELECT * FROM config_rows")
    bar.rings("b.csv", [ring("06-11 20:45:00")], "06-12 11:00:00")
    with bar.open_at(wrong) as (settings, db):
        done = catch_up(db, settings, wrong, bar.said.append, {})
        assert nightly(db, settings, wrong) == []
        refused = close(db, settings, "2025-06", wrong, accept=True)
        state = collect(db, settings, wrong, Holder(*is_held(bar.path)))
    assert (done.taken, done.issued) == ([], []) and "clock says" in done.problems[0] and done.needs_attention
    assert not refused.closed and "clock says" in refused.lines[0]
    assert "clock says" in state["attention"][0]
    assert bar.files() == issued and not list(bar.path.glob("backups/*"))
    assert bar.query_at(wrong, "SELECT * FROM config_rows") == rows
    later = bar.catch_up()
    assert [one.source.new_rows for one in later.taken] == [1]
    assert [str(one.day) for one in later.issued] == ["2025-06-10", "2025-06-11"]
    assert not bar.query("SELECT * FROM config_rows WHERE since BETWEEN '1900' AND '2025-06-11'")


def test_a_clock_that_falls_back_while_folders_are_looked_at_puts_no_row_aside(bar: VenueFolder) -> None:
    """It was right when the look began, and its rows would be refused as rows of the future."""
    bar.rings("b.csv", [ring("06-12 09:45:00")], "06-12 11:00:00")
    times = [NOON]
    with bar.open() as (settings, _):
        clock = Clock(lambda: times.pop() if times else FLAT["2001"], lambda: 0.0)
        intake = Intake(Venue(bar.path, settings, clock, stamp_of(bar.path)), lambda: None)
        for _ in range(3):
            intake.step()
        assert bar.query("SELECT * FROM rejects") == [] and (bar.till / "b.csv").exists()
        intake = Intake(Venue(bar.path, settings, Clock(lambda: NOON, lambda: 0.0), stamp_of(bar.path)),
                        lambda: None)
        for _ in range(3):
            intake.step()
    assert not (bar.till / "b.csv").exists() and bar.query("SELECT * FROM rejects") == []


@pytest.mark.parametrize(("began", "jumped"), [(NOON, FLAT["2001"]), (FLAT["2001"], NOON)])
def test_a_step_that_began_before_the_clock_jumped_does_not_unsay_what_is_so_since(
    bar: VenueFolder, began: int, jumped: int
) -> None:
    with bar.open() as (settings, db):
        venue = Venue(bar.path, settings, Clock(lambda: jumped, lambda: 0.0), stamp_of(bar.path))
        venue.clock_is_wrong(db, jumped)
        before = dict(venue.problems)
        assert ("clock" in before) == (jumped != NOON)
        assert venue.clock_is_wrong(db, began) == (began != NOON)
        assert venue.problems == before


@pytest.fixture
def watched(tmp_path: Path) -> Iterator[tuple[VenueFolder, Desk, Served]]:
    """A bar with mail and heartbeat; an evening's exports wait."""
    desk = Desk()
    with mail_server(desk) as port, web_server(lambda asked: Reply(b"ok")) as served:
        more = f'[schedule]\nrescan_seconds = 0.5\nheartbeat_url = "{served.url}/bar"'
        venue = mailing_bar(tmp_path / "bar", port, more=more)
        text = (venue.path / "venue.toml").read_text()
        (venue.path / "venue.toml").write_text(text.replace("[feed.fields]", f"{POLLING}\n[feed.fields]"))
        evening(venue, "a", "18:00:00", "06-11 05:00:00")
        yield venue, desk, served


@pytest.mark.skipif(not LIBRARY, reason="needs the Debian package faketime")
def test_the_service_on_a_flat_battery_waits_for_the_clock_and_tells(
    watched: tuple[VenueFolder, Desk, Served], tmp_path: Path
) -> None:
    venue, desk, served = watched
    now = Time(tmp_path)
    now.shows(FLAT["2001"])
    with running(venue.path, now.environment) as service:
        service.says("clock: this machine's clock says Sun, Dec 31, 2000, and ")
        until(lambda: [asked.path for asked in served.asked] == ["/bar/fail"], "the watchman")
        assert service.rows("SELECT * FROM days WHERE revision > 0") == [] and desk.taken == []
        now.is_now("06-11 08:30:00")
        service.says("clock: over")
        until(lambda: sent(desk), "the mail of the day, by the right clock")
        assert service.rows("SELECT day, revision FROM days WHERE revision > 0") == [("2025-06-10", 1)]
        until(lambda: "/bar" in [asked.path for asked in served.asked], "the sign of life of the day")
        before = len(served.asked)
        now.shows(ms("06-11 08:31:00") + 74 * 365 * DAY_MS)
        service.says("clock: this machine's clock says Sun, May 24, 2099; when Unrung was last at work it")
        until(lambda: [asked.path for asked in served.asked[before:]] == ["/bar/fail"], "the watchman again")
        until(lambda: service.seen_ms() > Y2099, "a tick by that clock")
        assert service.rows("SELECT day, revision FROM days WHERE revision > 0") == [("2025-06-10", 1)]
        now.is_now("06-11 08:32:00")
        until(lambda: service.log().count("clock: over") == 2, "the right clock")
