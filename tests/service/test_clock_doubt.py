"""A clock that went far ahead: wrong, or the PC was off. Nothing stands still, nothing runs away."""

from __future__ import annotations

import os
from datetime import date, timedelta
from email.utils import formatdate
from pathlib import Path

import pytest

from mail.servers import Desk
from mail.servers import serving as mail_server
from polling.bar import ask, covered, polled_bar, rows_reply, sale
from polling.server import Asked, Reply
from polling.server import serving as web_server
from service.evenings import mailing_bar
from service.mails import add, sent, text
from unrung.catch_up import catch_up
from unrung.clock_doubt import clock_doubt, in_doubt, note_clock
from unrung.closing import close
from unrung.issuing import due_days
from unrung.sending import send_due
from unrung.service.clock import Clock
from unrung.service.lock import is_held
from unrung.service.steps import Heart
from unrung.service.venue import Venue
from unrung.status import Holder, collect
from unrung.store.open import write_tx
from unrung.upkeep import nightly
from venue_folder import VenueFolder, make_venue, ms, pour, ring

MINUTE_MS, DAY_MS = 60_000, 86_400_000
NOON = ms("06-12 12:00:00")
Y2099 = NOON + 74 * 365 * DAY_MS
NONE = date(2025, 6, 1)
"""No day is issued up to it."""


def evening(bar: VenueFolder, day: str) -> None:
    """Two pints of a business day, exported before the next morning."""
    written = (date.fromisoformat(f"2025-{day}") + timedelta(days=1)).strftime("%m-%d 05:00:00")
    rings = [ring(f"{day} 20:15:00", check=day), ring(f"{day} 21:15:00", check=day)]
    bar.rings(f"{day}.csv", rings, written)
    pours = [pour(f"{day}a", f"{day} 20:14:00"), pour(f"{day}b", f"{day} 21:14:00")]
    bar.pours(f"{day}.json", pours, written)


@pytest.fixture
def bar(tmp_path: Path) -> VenueFolder:
    """Two evenings are issued, and the clock was seen at noon of the 12th of June."""
    venue = make_venue(tmp_path / "bar", till="settle_seconds = 0", meter="settle_seconds = 0")
    for day in ("06-10", "06-11"):
        evening(venue, day)
    venue.catch_up("06-12 12:00:00")
    return venue


def doubt(venue: VenueFolder, now_ms: int) -> str:
    with venue.open() as (settings, db):
        return clock_doubt(db, settings, now_ms)


def caught_up(venue: VenueFolder, now_ms: int, through: date | None = None) -> list[str]:
    """The days that a catch-up by this clock issues."""
    with venue.open_at(now_ms) as (settings, db):
        done = catch_up(db, settings, now_ms, venue.said.append, {}, through=through)
    return [one.day.isoformat()[5:] for one in done.issued if one.changed]


def due(venue: VenueFolder, now_ms: int) -> list[str]:
    with venue.open_at(now_ms) as (settings, db):
        return [day.isoformat()[5:] for day in due_days(db, settings, now_ms)]


def seen(venue: VenueFolder, now_ms: int) -> None:
    """The running service saw the clock."""
    with venue.open() as (settings, db), write_tx(db):
        note_clock(db, settings, now_ms)


@pytest.mark.parametrize(("ahead", "doubted"), [(0, False), (39, False), (41, True), (365, True),
                                                (74 * 365, True)])
def test_a_clock_is_in_doubt_where_nobody_saw_the_weeks_go_by(
    bar: VenueFolder, ahead: int, doubted: bool
) -> None:
    """A bar that is shut for a month with its PC off is not asked about its clock."""
    assert bool(doubt(bar, NOON + ahead * DAY_MS)) is doubted


def test_a_service_that_runs_while_the_bar_is_shut_for_months_never_doubts(bar: VenueFolder) -> None:
    for day in range(0, 300, 20):
        seen(bar, NOON + day * DAY_MS)
        assert doubt(bar, NOON + day * DAY_MS) == ""
    assert due(bar, NOON + 285 * DAY_MS)[-1] == "03-23"  # 285 days after noon of the 12th: the 24th


def test_by_2099_the_evening_that_comes_in_is_issued_and_no_day_of_the_years_between(
    bar: VenueFolder, tmp_path: Path
) -> None:
    """Afterwards all is as in a bar whose clock was right all the time."""
    calm = make_venue(tmp_path / "calm", till="settle_seconds = 0", meter="settle_seconds = 0")
    for day in ("06-10", "06-11", "06-12"):
        evening(calm, day)
    calm.catch_up("06-13 12:00:00")
    evening(bar, "06-12")
    stamp = Y2099 / 1000 - 60
    for path in (bar.till / "06-12.csv", bar.meter / "06-12.json"):  # written by that clock
        os.utime(path, (stamp, stamp))
    assert caught_up(bar, Y2099) == []  # the 12th is not known to be over
    assert caught_up(bar, Y2099 + DAY_MS) == ["06-12"]  # a day later it is, whatever the clock says
    with bar.open_at(Y2099 + DAY_MS) as (settings, db):
        state = collect(db, settings, Y2099 + DAY_MS, Holder(*is_held(bar.path)))
    assert "clock says" in state["attention"][0] and "2099" in state["clock"] and "2025" in state["clock"]
    assert state["days"]["overdue"] == []
    assert bar.catch_up("06-13 12:00:00").problems == []
    ledger = "SELECT * FROM leaves ORDER BY 1, 2, 3, 4, 5"
    assert bar.query(ledger) == calm.query(ledger) and bar.files() == calm.files()


def test_a_day_that_ends_while_the_clock_says_2099_is_issued_at_its_hour_and_mailed(tmp_path: Path) -> None:
    """The mail waits until the clock is right, and is sent then."""
    desk = Desk()
    with mail_server(desk) as port:
        venue = mailing_bar(tmp_path / "bar", port)
        evening(venue, "06-10")
        venue.intake("06-11 05:05:00")
        seen(venue, ms("06-11 05:30:00"))
        seen(venue, Y2099)
        assert due(venue, Y2099 + 29 * MINUTE_MS) == []
        assert caught_up(venue, Y2099 + 31 * MINUTE_MS) == ["06-10"]
        assert [str(mail["Subject"]).count("PC's date") for mail in sent(desk)] == [1]
        venue.catch_up("06-11 06:10:00")
    (mail,) = sent(desk)[1:]
    assert "Jun 10" in str(mail["Subject"]) and "silent" not in text(mail)


def test_a_store_whose_rows_are_all_of_last_year_becomes_days(bar: VenueFolder) -> None:
    """An old PC that takes last year's exports in: all their days are issued, and the empty ones after
    them one by one as time passes."""
    now = NOON + 400 * DAY_MS
    for day in ("06-14", "06-15"):
        evening(bar, day)
    assert caught_up(bar, now) == ["06-12", "06-13", "06-14", "06-15"]
    assert caught_up(bar, now + 3 * DAY_MS) == []
    assert caught_up(bar, now + 5 * DAY_MS) == ["06-16"]


def test_rows_of_these_days_end_the_doubt_and_the_days_between_are_issued(bar: VenueFolder) -> None:
    assert doubt(bar, ms("08-20 12:00:00")) != ""
    evening(bar, "08-19")
    assert caught_up(bar, ms("08-20 12:00:00"), NONE) == []
    days = due(bar, ms("08-20 12:00:00"))
    assert (days[0], days[-1], len(days)) == ("06-12", "08-19", 69)
    assert doubt(bar, ms("09-20 12:00:00")) == "" and doubt(bar, Y2099) != ""


def test_a_person_who_sees_that_the_clock_is_right_is_believed(bar: VenueFolder) -> None:
    now = ms("08-20 12:00:00")
    (asked,) = [part for part in doubt(bar, now).split(" write ")[1:]]
    bar.edit("venue.toml", "[venue]\n", f"[venue]\n{asked.split(' under ')[0]}\n")
    assert doubt(bar, now) == "" and doubt(bar, Y2099) != ""
    assert due(bar, now)[-1] == "08-19"


def test_nothing_is_deleted_and_no_edit_begins_in_2099(bar: VenueFolder) -> None:
    bar.edit("venue.toml", "[venue]\n", "[upkeep]\nkeep_days = 31\n[venue]\nkeep_staff_days = 30\n")
    exports = bar.files("archive")
    bar.edit("menu.csv", "Pint of Amber,Amber,16", "Pint of Amber,Amber,14")
    with bar.open_at(Y2099) as (settings, db):
        assert nightly(db, settings, Y2099) == []
        closing = close(db, settings, "2025-05", Y2099)
    assert bar.files("archive") == exports and len(bar.files("backups")) == 1
    assert not closing.closed and "clock says" in closing.lines[1]
    since = {row["since"] for row in bar.query("SELECT since FROM config_rows WHERE since > '1901'")}
    assert since == {"2025-06-13"}


@pytest.mark.parametrize(("ahead", "believed"), [(0, True), (-3600, True), (-200 * 86_400, False)])
def test_a_polled_servers_date_bears_the_clock_out_or_not(
    tmp_path: Path, ahead: int, believed: bool
) -> None:
    """Until then its rows are taken in, and nothing is claimed of the time since."""
    now = "12-20 20:00:00"
    rows = [sale("a", "19:00:00")]

    def play(asked: Asked) -> Reply:
        said = formatdate(ms(now) / 1000 + ahead, usegmt=True)
        return rows_reply(rows)._replace(headers={"Date": said})

    since = 'since = {query = "from", overlap_minutes = 60, look_back_hours = 0, first_days = 2}'
    with web_server(play) as server:
        venue = polled_bar(tmp_path, server.url, since)
        ask(venue, "20:00:00")
        before = covered(venue)
        rows.append(sale("b", "20:30:00"))
        caught_up(venue, ms(now), NONE)
    assert len(venue.current()) == 2
    assert (covered(venue)[-1][1] == ms(now)) is believed and (covered(venue) == before) is not believed
    assert (doubt(venue, ms(now)) == "") is believed


def test_the_watchman_is_told_and_his_date_bears_the_clock_out(bar: VenueFolder) -> None:
    now = ms("08-20 12:00:00")
    dates = [formatdate(NOON / 1000, usegmt=True), formatdate(now / 1000, usegmt=True)]
    with web_server(lambda asked: Reply(b"ok", headers={"Date": dates.pop(0)})) as server:
        bar.edit("venue.toml", "[venue]\n", f'[schedule]\nheartbeat_url = "{server.url}/bar"\n[venue]\n')
        with bar.open() as (settings, db):
            passed = [0.0, 3601.0, 3601.0]
            heart = Heart(Venue(bar.path, settings, Clock(lambda: now, lambda: passed[0])))
            heart.step()
            assert in_doubt(db, settings, now)
            passed.pop(0)
            heart.step()
            assert not in_doubt(db, settings, now)
    assert [asked.path for asked in server.asked] == ["/bar/fail", "/bar/fail"]


def test_one_mail_tells_of_it_and_those_that_wait_do_not_expire(tmp_path: Path) -> None:
    desk = Desk()
    with mail_server(desk) as port:
        venue = mailing_bar(tmp_path / "bar", port)
        evening(venue, "06-10")
        venue.intake("06-11 06:00:00")
        seen(venue, NOON)
        with venue.open() as (settings, db):
            add(db, settings, NOON)
        for minute in (0, 1, 5, 12, 20, 30):
            seen(venue, Y2099 + minute * MINUTE_MS)
            with venue.open() as (settings, db):
                send_due(db, settings, Y2099 + minute * MINUTE_MS, {})
        (mail,) = sent(desk)
        assert "PC's date" in str(mail["Subject"]) and "2099" in str(mail["Subject"])
        assert "If the clock is wrong, set it." in text(mail)
        with venue.open() as (settings, db):
            send_due(db, settings, NOON + MINUTE_MS, {})
        assert len(sent(desk)) == 2


def test_a_mail_about_the_clock_that_did_not_get_out_in_time_is_dropped(tmp_path: Path) -> None:
    desk = Desk()
    with mail_server(desk) as port, mailing_bar(tmp_path / "bar", port).open() as (settings, db):
        add(db, settings, NOON, kind="clock")
        send_due(db, settings, NOON, {})
        assert [row["state"] for row in db.query("SELECT state FROM outbox")] == ["expired"]
    assert desk.taken == []
