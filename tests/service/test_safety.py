"""A ring in the span of a line's cleaning: told at once by a mail of its own, sent to a real server."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from mail.servers import Desk, serving
from service.evenings import ALERT, MAIL, rung_pints
from service.mails import sent, text
from unrung.sending import send_due
from unrung.service.child import Child
from venue_folder import SHEET_FEED, VenueFolder, make_venue, ms, pour, ring

SHEET = SHEET_FEED + """\
[feed.fields]
at = "From"
end = "Until"
reason = "Why"
tap = "Tap"
volume = "Litres"
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
volume_unit = "l"
[feed.formats.kinds]
cleaning = ["clean"]
"""
ASK = "Ask now: glass from a line being cleaned, Amber"


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def bar(tmp_path: Path, desk: Desk) -> Iterator[VenueFolder]:
    """Learning still (no loss is told for 14 days); Amber's line cleaned from two to half past."""
    with serving(desk) as port:
        mail = MAIL.format(to='"ann@example.org"', port=port, timeout=5) + ALERT.format(hold=14)
        venue = make_venue(tmp_path / "bar", more=SHEET + mail)
        (venue.path / "exports" / "sheet").mkdir()
        yield venue


def write_cleaning(bar: VenueFolder, written: str) -> None:
    rows = b"From,Until,Why,Tap,Litres\n2025-06-10 14:00:00,2025-06-10 14:30:00,clean,1,\n"
    bar.drop(bar.path / "exports" / "sheet" / "sheet.csv", rows, written)


def trade(bar: VenueFolder, written: str, *, glass: Sequence[str] = ("14:15:40",), until: int = 18) -> None:
    """Water from two on, a pint of it at 14:15, the rings of ``glass``, and pints from three on."""
    rings, pours = rung_pints("15:00:00", 12 * (until - 15))
    water = [pour("w1", "14:05:00", ml=3000, seconds=60), pour("w2", "14:15:00")]
    bar.rings(f"{written[:2]}.csv", [*(ring(at, check="glass") for at in glass), *rings], written)
    bar.pours(f"{written[:2]}.json", water + pours, written)


def subjects(desk: Desk) -> list[str]:
    found = [str(message["Subject"]) for message in sent(desk)]
    desk.taken.clear()
    return found


def test_it_is_told_during_the_day_once_and_while_learning_holds_losses_back(
    bar: VenueFolder, desk: Desk
) -> None:
    write_cleaning(bar, "14:40:00")
    trade(bar, "18:05:00")
    bar.catch_up("18:06:00")
    (mail,) = sent(desk)
    said = text(mail)
    assert mail["Subject"] == ASK
    assert "Bar, tap 1" in said and "A ring at 2:15" in said and "16 fl oz" in said
    assert "whether a glass was handed out" in said and "test strip, never by taste" in said
    desk.taken.clear()
    trade(bar, "20:05:00", until=20)
    bar.catch_up("20:06:00")
    assert subjects(desk) == []


def test_the_morning_mail_has_it_in_its_first_line_and_not_twice(bar: VenueFolder, desk: Desk) -> None:
    write_cleaning(bar, "14:40:00")
    trade(bar, "23:50:00")
    bar.catch_up("06-11 06:30:00")
    ask, morning = sent(desk)
    assert ask["Subject"] == ASK
    said = text(morning)
    told = "Amber at Bar: a ring at 2:15 PM fits what flowed while its line was being cleaned."
    assert said.startswith(told)
    assert said.count("while its line was being cleaned") == 1


def test_a_sheet_that_comes_when_both_sides_were_judged_already_is_judged_anew(
    bar: VenueFolder, desk: Desk
) -> None:
    """By the service's own step, in a process of its own."""
    trade(bar, "18:05:00")
    bar.catch_up("18:06:00")
    assert subjects(desk) == []
    write_cleaning(bar, "18:10:00")
    bar.intake("18:11:00")
    with bar.open("18:11:00") as (settings, db):
        Child()(settings, ms("18:11:00"))
        send_due(db, settings, ms("18:11:00"), {})
    assert subjects(desk) == [ASK]


def test_a_sheet_that_comes_after_the_morning_mail_is_told_by_a_mail_too(
    bar: VenueFolder, desk: Desk
) -> None:
    trade(bar, "23:50:00")
    bar.catch_up("06-11 11:30:00")
    assert len(subjects(desk)) == 1
    write_cleaning(bar, "06-11 12:00:00")
    bar.catch_up("06-11 12:50:00")
    assert subjects(desk) == [ASK]
    bar.catch_up("06-11 13:50:00")
    assert subjects(desk) == []


def test_a_ring_whose_pour_may_still_come_is_not_told(bar: VenueFolder, desk: Desk) -> None:
    """Rung at 18:02, and the meters' export reaches to 18:05: the pour may be in the next one."""
    write_cleaning(bar, "14:40:00")
    rings, pours = rung_pints("15:00:00", 30)
    water = [pour("w1", "17:40:00", ml=3000, seconds=60), pour("w2", "17:55:00")]
    rows = b"From,Until,Why,Tap,Litres\n2025-06-10 17:35:00,2025-06-10 18:00:00,clean,1,\n"
    bar.drop(bar.path / "exports" / "sheet" / "later.csv", rows, "18:01:00")
    bar.rings("a.csv", [*rings, ring("18:02:00", check="late")], "18:05:00")
    bar.pours("a.json", pours + water, "18:05:00")
    bar.catch_up("18:06:00")
    assert ASK not in subjects(desk)


@pytest.mark.usefixtures("one_by_one")
def test_history_taken_in_afterwards_sends_no_such_mail(bar: VenueFolder, desk: Desk) -> None:
    write_cleaning(bar, "14:40:00")
    trade(bar, "23:50:00")
    bar.catch_up("06-20 12:00:00")
    assert ASK not in subjects(desk)
    assert b"while its line was being cleaned" in bar.files()["daily/2025-06-10/report-2025-06-10.html"]


def test_it_counts_for_none_of_the_day_s_three_mails(bar: VenueFolder, desk: Desk) -> None:
    bar.edit("venue.toml", "hold_days = 14", "hold_days = 0")
    write_cleaning(bar, "14:40:00")
    trade(bar, "18:05:00", glass=())
    for number, lone in enumerate((6, 14, 30)):
        extra = [pour(f"x{number}/{n}", f"16:{n:02}:30") for n in range(lone)]
        at = f"18:{10 * number + 10}:00"
        bar.pours(f"lone{number}.json", extra, at)
        bar.rings(f"more{number}.csv", [ring("17:58:00", "Burger", check=str(number))], at)
        bar.catch_up(f"18:{10 * number + 10}:30")
    assert len(subjects(desk)) == 3
    bar.rings("late.csv", [ring("14:15:40", check="glass")], "18:40:00")
    bar.pours("late.json", [pour("last", "18:35:00", ml=60)], "18:40:00")
    bar.catch_up("18:41:00")
    assert subjects(desk) == [ASK]
