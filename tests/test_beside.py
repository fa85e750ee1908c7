"""Days that stand though a day beside them changed: what is issued and kept is what computing them anew
gives."""

from __future__ import annotations

import random
import shutil
from collections import Counter
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from crash.everything import files, tables
from unrung import beside, daybook, issuing
from unrung.settings import Settings
from unrung.store.days import day_row
from unrung.store.open import Store
from venue_folder import DAY, PINT_ML, VenueFolder, make_venue, ms, pour, ring

FIRST = date.fromisoformat(DAY)
DAYS = [FIRST + timedelta(days=n) for n in range(5)]
EDGE_MINUTES = (1, 4, 25, 200, 300, 400)
"""How far from the business day's edge at four in the morning trade ends, and begins."""


class Trade:
    """What one seed makes of each day, and what of it comes a day or two late."""

    def __init__(self, seed: int, venue: VenueFolder) -> None:
        self.chance, self.venue, self.number = random.Random(seed), venue, 0

    def day(self, day: date, name: str, parts: int) -> None:
        rows, pours = [], []
        for _ in range(parts):
            away = self.chance.choice(EDGE_MINUTES)
            late = self.chance.random() < 0.5
            edge = datetime.fromisoformat(f"{day} 04:00") + timedelta(days=late)
            at = edge + timedelta(minutes=-away - 6 if late else away)
            for _ in range(self.chance.randrange(1, 9)):
                at += timedelta(seconds=self.chance.randrange(5, 60))
                self.number += 1
                tap = self.chance.choice("12")
                if self.chance.random() < 0.9:
                    ml = round(PINT_ML * self.chance.gauss(1, 0.03), 1)
                    pours.append(pour(f"{name} {self.number}", f"{at:%m-%d %H:%M:%S}", tap=tap, ml=ml))
                if self.chance.random() < 0.9:
                    rung = at + timedelta(seconds=self.chance.randrange(-30, 90))
                    beer = "Amber" if tap == "1" else "Stout"
                    rows.append(ring(f"{rung:%m-%d %H:%M:%S}", f"Pint of {beer}"))
        written = f"{day + timedelta(days=1):%m-%d} 05:00:00"
        if rows:
            self.venue.rings(f"{name}.csv", rows, written)
        if pours:
            self.venue.pours(f"{name}.json", pours, written)


def lived(seed: int, venue: VenueFolder) -> dict[str, object]:
    """Five days, taken in and issued one after the other; all that is then there but the outlines."""
    trade = Trade(seed, venue)
    for number, day in enumerate(DAYS):
        trade.day(day, str(day), trade.chance.choice([1, 3, 6]))
        if number and trade.chance.random() < 0.6:
            trade.day(DAYS[number - 1], f"{day} late", 1)
        venue.catch_up(f"{day + timedelta(days=1):%m-%d} 12:00:00")
    found = dict(tables(venue.path / "unrung.sqlite"))
    del found["day_outlines"]
    return {**found, "files": files(venue), "said": list(venue.said)}


def counting(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Counts the days that stood, and those computed with a neighbour in outline."""
    met = Counter[str]()
    stands: Callable[..., bool] = issuing.stands
    bare: Callable[..., object] = daybook._bare

    def told(db: Store, settings: Settings, day: date, cache: daybook.Cache) -> bool:
        stood = stands(db, settings, day, cache)
        met["stood" if stood else "computed"] += 1
        return stood

    def read(db: Store, settings: Settings, day: date) -> object:
        met["in outline"] += 1
        return bare(db, settings, day)

    monkeypatch.setattr(issuing, "stands", told)
    monkeypatch.setattr(daybook, "_bare", read)
    return met


@pytest.mark.parametrize("seeds", [range(0, 3), range(3, 6)])
def test_a_venue_is_the_same_as_if_every_dirty_day_were_computed(
    seeds: range, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    met = Counter[str]()
    for seed in seeds:
        place = tmp_path / "bar"
        with monkeypatch.context() as patch:
            counted = counting(patch)
            spared = lived(seed, make_venue(place))
        met += counted
        place.rename(tmp_path / f"spared {seed}")
        with monkeypatch.context() as patch:
            patch.setattr(issuing, "stands", lambda *_: False)
            patch.setattr(daybook, "kept_outline", lambda *_: None)
            assert lived(seed, make_venue(place)) == spared
        place.rename(tmp_path / f"computed {seed}")
    assert met["stood"] >= 2 and met["in outline"] >= 2 and met["computed"] >= 2, met


def quiet_days(venue: VenueFolder) -> None:
    """Two evenings far from their edges, each issued the next noon."""
    for day in ("06-10", "06-11"):
        evening(venue, day)
        venue.catch_up(f"{datetime.fromisoformat(f'2025-{day}') + timedelta(days=1):%m-%d} 12:00:00")


def evening(venue: VenueFolder, day: str) -> None:
    times = [f"{day} {18 + n // 12}:{n % 12 * 5:02}:00" for n in range(30)]
    venue.rings(f"{day}.csv", [ring(time) for time in times], f"{day} 23:59:00")
    venue.pours(f"{day}.json", [pour(f"{day} {n}", time) for n, time in enumerate(times)], f"{day} 23:59:00")


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Read it; never change it."""
    made = make_venue(tmp_path_factory.mktemp("quiet") / "bar")
    quiet_days(made)
    return made.path


@pytest.fixture
def venue(quiet: Path, tmp_path: Path) -> VenueFolder:
    """A copy to change."""
    shutil.copytree(quiet, tmp_path / "bar")
    return VenueFolder(tmp_path / "bar")


def stood(venue: VenueFolder, day: str = "2025-06-10", now: str = "06-12 13:00:00") -> bool:
    with venue.open(now) as (settings, db):
        return beside.stands(db, settings, date.fromisoformat(day), {})


def carried_in(venue: VenueFolder) -> str:
    """Units of the first day that were rung on another one."""
    till = venue.files()["daily/2025-06-10/till-2025-06-10.csv"].decode().splitlines()
    return dict(zip(till[0].split(","), till[1].split(","), strict=True))["carried_in"]


def test_a_day_stands_when_the_next_one_comes_and_is_clean_then(venue: VenueFolder) -> None:
    with venue.open() as (_, db):
        row = day_row(db, FIRST)
        assert row is not None and not row.dirty and (row.changes, row.own_changes) == (4, 2)
    assert stood(venue)


def test_its_own_late_rows_are_never_passed_over(venue: VenueFolder) -> None:
    venue.rings("late.csv", [ring("20:01:30")], "06-12 12:30:00")
    done = venue.catch_up("06-12 13:00:00")
    again = [(str(one.day), one.changed) for one in done.issued]
    assert again == [("2025-06-10", True), ("2025-06-11", False)]  # which looks back at the other's facts


def test_a_row_just_across_the_edge_is_not_passed_over(venue: VenueFolder) -> None:
    venue.rings("late.csv", [ring("06-11 04:00:30")], "06-12 12:30:00")
    venue.pours("late.json", [pour("late", "06-11 03:59:50")], "06-12 12:30:00")
    venue.catch_up("06-12 13:00:00")
    assert venue.query("SELECT revision FROM days WHERE day = '2025-06-10'") == [{"revision": 2}]
    assert carried_in(venue) == "1"


def test_a_ring_of_the_next_day_alone_that_reaches_over_is_not_passed_over(venue: VenueFolder) -> None:
    """A pour of the last minute, issued without a ring; what comes late is the next day's."""
    venue.pours("last.json", [pour("last", "06-11 03:59:50")], "06-12 12:30:00")
    venue.catch_up("06-12 13:00:00")
    assert stood(venue)
    venue.rings("late.csv", [ring("06-11 04:00:30")], "06-12 13:30:00")
    venue.catch_up("06-12 14:00:00")
    assert venue.query("SELECT revision FROM days WHERE day = '2025-06-10'") == [{"revision": 3}]
    assert carried_in(venue) == "1"


@pytest.mark.parametrize("edit", [
    ("venue.toml", "[venue]", "[matching]\nwindow_after_minutes = 30\n[venue]"),
    ("menu.csv", "7.00", "7.50"),
])
def test_a_day_of_other_settings_is_computed_again(venue: VenueFolder, edit: tuple[str, str, str]) -> None:
    venue.edit(*edit)
    assert not stood(venue)


def test_a_day_whose_cover_or_past_changed_is_computed_again(venue: VenueFolder) -> None:
    with venue.open() as (_, db):
        db.execute("UPDATE sources SET cover_to_ms = cover_to_ms - 6 * 3600000 WHERE name = '06-10.csv'")
        db.commit()
    assert not stood(venue) and stood(venue, "2025-06-11")
    with venue.open() as (_, db):
        db.execute("UPDATE day_facts SET facts = CAST(facts || x'00' AS BLOB) WHERE day = '2025-06-10'")
        db.commit()
    assert not stood(venue, "2025-06-11")


def test_a_day_whose_file_found_its_place_taken_is_tried_again(venue: VenueFolder) -> None:
    with venue.open() as (_, db):
        issuing.note_unplaced(db, FIRST, "locked", 0)
        db.execute("UPDATE days SET own_changes = 2 WHERE day = ?", [DAY])
        db.commit()
    assert not stood(venue)


def test_a_day_that_comes_out_the_same_leaves_its_month_alone(
    venue: VenueFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Unless a row of its own came: a delivery changes no day."""
    monkeypatch.setattr(issuing, "stands", lambda *_: False)

    def month_is_due(now: str) -> bool:
        with venue.open(now) as (settings, db):
            db.execute("UPDATE months SET dirty = 0")
            db.commit()
            issued = issuing.issue_day(db, settings, FIRST, ms(now), {})
            assert not issued.changed
            return bool(db.execute("SELECT dirty FROM months").fetchone()[0])

    assert not month_is_due("06-12 13:00:00")
    with venue.open() as (_, db):
        db.execute("UPDATE days SET own_changes = own_changes + 1 WHERE day = ?", [DAY])
        db.commit()
    assert month_is_due("06-12 14:00:00")
    assert not month_is_due("06-12 15:00:00")
    with venue.open() as (_, db):
        db.execute("UPDATE leaves SET logged = logged + 1 WHERE day = ?", [DAY])
        db.commit()
    assert month_is_due("06-12 16:00:00")
