"""Settings edited under a running service."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.real import running, until
from unrung.opening import open_venue
from unrung.service.clock import Clock
from unrung.service.steps import Intake
from unrung.service.venue import Venue, stamp_of
from venue_folder import VenueFolder, make_venue, ms, ring

NOON = "06-12 12:00:00"


@pytest.fixture
def bar(tmp_path: Path) -> VenueFolder:
    return make_venue(tmp_path / "bar", till="settle_seconds = 0", meter="settle_seconds = 0")


@pytest.fixture
def venue(bar: VenueFolder) -> Venue:
    stamp = stamp_of(bar.path)
    with bar.open(NOON) as (settings, _):
        return Venue(bar.path, settings, Clock(lambda: ms(NOON), lambda: 0.0), stamp)


def test_a_good_edit_is_in_force_at_the_next_step(bar: VenueFolder, venue: Venue) -> None:
    intake = Intake(venue, lambda: None)
    intake.step()
    bar.edit("venue.toml", 'name = "The Test Jug"', 'name = "The Other Jug"')
    intake.step()
    assert venue.settings.venue.name == "The Other Jug"


def test_a_row_of_the_menu_is_in_force_at_the_next_step(bar: VenueFolder, venue: Venue) -> None:
    intake = Intake(venue, lambda: None)
    intake.step()
    (bar.path / "menu.csv").open("a").write("Half of Amber,Amber,8,4.00\n")
    intake.step()
    assert "Half of Amber" in {row.item for row in venue.settings.menu}


def test_an_edit_made_while_the_service_starts_is_seen(bar: VenueFolder) -> None:
    stamp = stamp_of(bar.path)
    settings, db = open_venue(bar.path, ms(NOON))
    db.close()
    bar.edit("venue.toml", 'name = "The Test Jug"', 'name = "The Other Jug"')
    venue = Venue(bar.path, settings, Clock(lambda: ms(NOON), lambda: 0.0), stamp)
    Intake(venue, lambda: None).step()
    assert venue.settings.venue.name == "The Other Jug"


def test_a_bad_edit_is_told_and_the_settings_before_it_stay_in_force(bar: VenueFolder, venue: Venue) -> None:
    intake = Intake(venue, lambda: None)
    bar.edit("venue.toml", 'volume_unit = "us_fl_oz"', 'volume_unti = "us_fl_oz"')
    bar.rings("a.csv", [ring("20:15:00")])
    intake.step()
    told = venue.problems["config"]
    assert "volume_unti" in told and "earlier ones stay in force" in told
    assert len(bar_rows(venue)) == 1
    bar.edit("venue.toml", "volume_unti", "volume_unit")
    intake.step()
    assert venue.problems == {}


def test_another_store_needs_a_restart_and_nothing_is_written_to_it(bar: VenueFolder, venue: Venue) -> None:
    (bar.path / "venue.toml").open("a").write('[files]\nstore = "other.sqlite"\n')
    Intake(venue, lambda: None).step()
    assert "needs a restart" in venue.problems["config"]
    assert not (bar.path / "other.sqlite").exists()


def test_rows_that_waited_for_a_right_format_are_read_after_the_edit(bar: VenueFolder, venue: Venue) -> None:
    intake = Intake(venue, lambda: None)
    good, bad = ring("20:15:00"), {**ring("20:20:00"), "Total": "7,00 net"}
    bar.rings("a.csv", [good, bad, good | {"Time": "2025-06-10 20:25:00"}])
    intake.step()
    assert len(bar_rows(venue)) == 2 and not venue.problems
    bar.edit("venue.toml", 'amount = "Total"\n', "")
    venue.fresh.clear()
    intake.step()
    assert len(bar_rows(venue)) == 3
    assert venue.fresh.is_set()


def test_the_running_service_watches_a_folder_that_an_edit_names(bar: VenueFolder) -> None:
    with running(bar.path) as service:
        (bar.path / "new").mkdir()
        bar.edit("venue.toml", 'folder = "exports/till"', 'folder = "new"')
        service.says("the settings were edited and are in force")
        (bar.path / "new" / "a.csv").write_bytes((bar.rings("a.csv", [ring("20:15:00")])).read_bytes())
        until(service.rows, "the row")


def bar_rows(venue: Venue) -> list[object]:
    with venue.store() as db:
        return list(db.query("SELECT * FROM movements WHERE superseded_by IS NULL"))
