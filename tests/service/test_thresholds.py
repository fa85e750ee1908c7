"""Mails that cannot wait for the morning, on a simulated clock, sent to a real server."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from mail.servers import Desk, serving
from service.evenings import evening, lone_pints, mailing_bar, rung_pints
from service.mails import sent, text
from venue_folder import PINT_ML, VenueFolder, pour, ring


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def port(desk: Desk) -> Iterator[int]:
    with serving(desk) as port:
        yield port


@pytest.fixture
def bar(tmp_path: Path, port: int) -> VenueFolder:
    return mailing_bar(tmp_path / "bar", port)


def subjects(desk: Desk) -> list[str]:
    found = [str(message["Subject"]) for message in sent(desk)]
    desk.taken.clear()
    return found


def test_a_passed_limit_is_told_at_once_and_again_only_when_it_doubled(bar: VenueFolder, desk: Desk) -> None:
    evening(bar, "a", "18:00:00", "20:30:00", lone=6)
    bar.catch_up("20:31:00")
    assert subjects(desk) == ["96 fl oz (20.0%) not rung, Amber"]
    evening(bar, "b", "20:20:00", "21:30:00", rung=8, lone=5)  # 11 pints: not yet twice the 6 told
    bar.catch_up("21:31:00")
    assert subjects(desk) == []
    evening(bar, "c", "21:20:00", "22:30:00", rung=8, lone=1)
    bar.catch_up("22:31:00")
    assert subjects(desk) == ["192 fl oz (23.1%) not rung, Amber"]
    bar.catch_up("22:40:00")
    assert subjects(desk) == []


def test_beer_is_judged_only_as_far_as_both_sides_reach_less_the_time_a_ring_trails(
    bar: VenueFolder, desk: Desk
) -> None:
    rings, pours = rung_pints("18:00:00", 36)  # until 20:55
    bar.pours("m.json", pours + lone_pints("19:50:00", 6), "21:30:00")  # the last ones at 20:17
    bar.rings("a.csv", rings[:26], "20:12:00")  # reaches 20:12, less 20 minutes: 19:52
    bar.catch_up("21:31:00")
    assert subjects(desk) == []
    bar.rings("b.csv", rings[26:], "20:56:00")  # now to 20:36
    bar.catch_up("21:32:00")
    assert subjects(desk) == ["96 fl oz (14.3%) not rung, Amber"]


def test_three_mails_a_day_and_the_morning_tells_the_rest(bar: VenueFolder, desk: Desk) -> None:
    for hour, lone in ((13, 5), (15, 5), (17, 10), (19, 20)):
        evening(bar, f"e{hour}", f"{hour}:00:00", f"{hour + 2}:10:00", lone=lone)
        bar.catch_up(f"{hour + 2}:11:00")
    assert [one.split()[0] for one in subjects(desk)] == ["80", "160", "320"]
    bar.catch_up("06-11 11:30:00")
    (morning,) = subjects(desk)
    assert morning.startswith("Tue, Jun 10: ") and "640 fl oz" in morning


def test_what_later_records_explain_is_taken_back_in_the_morning(bar: VenueFolder, desk: Desk) -> None:
    evening(bar, "a", "18:00:00", "20:30:00", lone=6)
    bar.catch_up("20:31:00")
    assert len(subjects(desk)) == 1
    late = [pour["end"][5:] for pour in lone_pints("18:00:00", 6)]
    bar.rings("handheld.csv", [ring(at, check="handheld") for at in late], "23:50:00")
    bar.pours("rest.json", [], "23:50:00")
    bar.catch_up("06-11 11:30:00")
    (morning,) = sent(desk)
    assert "nothing to do" in morning["Subject"]
    assert "Taken back, since later records explain it: 96 fl oz of Amber" in text(morning)


def test_another_beer_told_meanwhile_does_not_make_the_first_one_news(bar: VenueFolder, desk: Desk) -> None:
    evening(bar, "a", "17:00:00", "19:30:00", lone=6)
    bar.catch_up("19:31:00")
    assert subjects(desk) == ["96 fl oz (20.0%) not rung, Amber"]
    late = [pour["end"][5:] for pour in lone_pints("17:00:00", 6)]
    bar.rings("late.csv", [ring(at, check="handheld") for at in late], "20:30:00")
    bar.pours("stout.json", lone_pints("19:05:00", 6, tap="2"), "20:30:00")
    bar.catch_up("20:31:00")
    assert subjects(desk) == ["96 fl oz (100.0%) not rung, Stout"]
    evening(bar, "b", "20:10:00", "22:30:00", rung=12, lone=7)
    bar.catch_up("22:31:00")
    assert subjects(desk) == []  # 112 fl oz are not twice the 96 that were told


def test_an_alert_clears_below_four_fifths_of_its_limit_and_not_before(bar: VenueFolder, desk: Desk) -> None:
    def day(number: int, pints: float) -> tuple[int, bool]:
        """Lone pints of one day; how many mails were sent during it, and whether it stood open after."""
        date = f"06-{number}"
        rings, pours = rung_pints(f"{date} 18:00:00", 24)
        lone = lone_pints(f"{date} 18:00:00", int(pints))
        if pints % 1:
            lone.append(pour(f"half {date}", f"{date} 19:47:36", ml=PINT_ML / 2, seconds=4))
        bar.rings(f"{date}.csv", rings, f"{date} 23:50:00")
        bar.pours(f"{date}.json", pours + lone, f"{date} 23:50:00")
        bar.catch_up(f"{date} 23:51:00")
        told = len(subjects(desk))
        bar.catch_up(f"06-{number + 1} 11:30:00")
        desk.taken.clear()
        return told, bool(bar.query("SELECT * FROM alerts"))

    # 64 fl oz raise it; 56 are between 0.8 of that and the limit; 48 are below.
    assert day(10, 3.5) == (0, False)
    assert day(11, 5) == (1, True)
    assert day(12, 3.5) == (0, True)
    assert day(13, 3) == (0, False)
    assert day(14, 3.5) == (0, False)
    assert day(15, 5) == (1, True)


def test_nothing_is_told_in_the_first_days_of_data(tmp_path: Path, port: int, desk: Desk) -> None:
    bar = mailing_bar(tmp_path / "held", port, hold=2)
    told, mornings = [], []
    for day in (10, 11, 12):
        evening(bar, f"{day}", f"06-{day} 18:00:00", f"06-{day} 23:50:00", lone=8)
        bar.catch_up(f"06-{day} 23:51:00")
        told.append(subjects(desk))
        bar.catch_up(f"06-{day + 1} 11:30:00")
        mornings += [text(one) for one in sent(desk)]
        desk.taken.clear()
    assert told == [[], [], ["128 fl oz (25.0%) not rung, Amber"]]
    assert ["Losses are not judged yet" in one for one in mornings] == [True, True, False]
    assert "this is day 2 of data, and the first 2 are for learning" in mornings[1]


def test_a_missing_feed_holds_loss_alerts_back_and_stands_first_in_the_mail(
    bar: VenueFolder, desk: Desk
) -> None:
    evening(bar, "a", "18:00:00", "23:50:00")
    bar.catch_up("06-11 11:30:00")
    desk.taken.clear()
    _, pours = rung_pints("06-11 18:00:00", 24)
    bar.pours("b.json", pours, "06-11 23:50:00")
    bar.catch_up("06-11 23:51:00")
    bar.catch_up("06-12 06:30:00")
    assert subjects(desk) == []  # not told, and not issued yet: the till may still come
    bar.catch_up("06-12 11:30:00")
    (morning,) = sent(desk)
    assert "provisional" in morning["Subject"] and "not rung" not in morning["Subject"]
    said = text(morning)
    assert said.index("no sales from 'till' for Wed, Jun 11") < said.index("poured")
