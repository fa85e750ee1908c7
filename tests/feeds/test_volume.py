"""A day on which one side brings far too few or too many rows for the other's."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mail.servers import Desk, serving
from service.evenings import after, mailing_bar
from service.mails import sent, text
from unrung.feed_volume import DAYS, odd_proportion
from venue_folder import VenueFolder, pour, ring

LAST = 22


@pytest.fixture(scope="module")
def desk() -> Desk:
    return Desk()


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory, desk: Desk) -> Iterator[Path]:
    """Twelve days of some seventy pints, all rung, taken in and issued. Copy it to go on."""
    with serving(desk) as port:
        venue = mailing_bar(tmp_path_factory.mktemp("before") / "bar", port)
        for day in range(LAST - 12, LAST):
            trade(venue, day, 70 + day % 5)
        venue.catch_up(f"06-{LAST} 11:05:00")
        yield venue.path


@pytest.fixture
def bar(before: Path, tmp_path: Path, desk: Desk) -> VenueFolder:
    desk.taken.clear()
    shutil.copytree(before, tmp_path / "bar")
    return VenueFolder(tmp_path / "bar")


def trade(venue: VenueFolder, day: int, pints: int, *, rung: float = 1.0, twice: bool = False) -> None:
    times = [after(f"06-{day} 16:00:00", 5 * n) for n in range(pints)]
    rings = [ring(at, check=at) for nth, at in enumerate(times) if nth % 10 < 10 * rung]
    again = [{**one, "Check": f"{one['Check']} again"} for one in rings] if twice else []
    venue.rings(f"till {day}.csv", rings + again, f"06-{day + 1} 05:00:00")
    venue.pours(f"meter {day}.json", [pour(at, after(at, -0.6)) for at in times], f"06-{day + 1} 05:00:00")


def morning(bar: VenueFolder, desk: Desk) -> tuple[str, str]:
    bar.catch_up(f"06-{LAST + 1} 11:05:00")
    (mail,) = sent(desk)
    return str(mail["Subject"]), text(mail)


def test_a_third_of_a_till_s_rows_is_told_and_not_judged(bar: VenueFolder, desk: Desk) -> None:
    trade(bar, LAST, 71, rung=0.3)
    subject, said = morning(bar, desk)
    assert subject == "Sun, Jun 22: Far fewer rows than usual from 'till'"
    assert "Losses are not judged for this day: 'till' brought 22 rows for Sun, Jun 22, usually about" in said
    assert "(till 22.csv)" in said and "See whether the export is whole and holds every terminal" in said


def test_half_of_the_beer_without_a_ring_is_judged(bar: VenueFolder, desk: Desk) -> None:
    """Holds the test before: what a bar can lose is not hidden."""
    trade(bar, LAST, 71, rung=0.5)
    subject, said = morning(bar, desk)
    assert "not judged" not in said
    assert "fl oz" in subject


def test_a_tap_that_drips_is_no_export_that_came_twice(bar: VenueFolder, desk: Desk) -> None:
    trade(bar, LAST, 71)
    drips = [pour(f"drip {n}", after(f"06-{LAST} 05:00:00", 4 * n), tap="2", ml=9) for n in range(250)]
    bar.pours("drips.json", drips, f"06-{LAST + 1} 05:00:00")
    _, said = morning(bar, desk)
    assert "not judged" not in said and "Far more rows" not in said


@pytest.mark.parametrize("tap", ["1", "2"])
def test_meters_that_came_three_times_are_told_and_not_judged(bar: VenueFolder, desk: Desk, tap: str) -> None:
    """Under new numbers; at one tap alone, but as large as ever."""
    trade(bar, LAST, 71)
    times = [after(f"06-{LAST} 16:00:00", 5 * n - 0.6) for n in range(71)]
    again = [pour(f"{copy} {at}", at, tap=tap) for at in times for copy in "ab"]
    bar.pours("again.json", again, f"06-{LAST + 1} 05:00:00")
    _, said = morning(bar, desk)
    assert "Far more rows than usual from 'meter'" in said
    assert "Losses are not judged for this day: 'meter' brought 213 rows" in said


def test_a_quiet_day_is_nothing_odd(bar: VenueFolder, desk: Desk) -> None:
    trade(bar, LAST, 15)
    subject, said = morning(bar, desk)
    assert "nothing to do" in subject and "not judged" not in said


@pytest.mark.parametrize(
    ("till", "meters", "times"),
    [(310, 400, 1.0), (60, 80, 1.0), (100, 400, 0.33), (900, 400, 3.0), (0, 400, 1.0), (150, 400, 1.0)],
)
def test_only_the_proportion_tells(till: int, meters: int, times: float) -> None:
    usual = [(300 + 5 * n, 400 + 7 * n) for n in range(12)]
    assert odd_proportion(usual, (till, meters)) == pytest.approx(times, abs=0.05)


@given(
    history=st.lists(st.tuples(*[st.integers(40, 900)] * 2), max_size=DAYS),
    today=st.tuples(*[st.integers(0, 900)] * 2), seed=st.randoms(use_true_random=False),
)
def test_days_that_are_not_asked_for_any_more_would_change_nothing(
    history: list[tuple[int, int]], today: tuple[int, int], seed: Random
) -> None:
    """All days are asked for where the odd ones come first."""
    shuffled = seed.sample(history, len(history))
    assert odd_proportion(history, today) == odd_proportion(shuffled, today)


def test_no_more_days_are_asked_for_than_it_takes() -> None:
    asked = iter([(300, 400)] * DAYS)
    assert odd_proportion(asked, (310, 400)) == 1.0
    assert len([*asked]) == DAYS - (DAYS // 2 + 1)
