"""Exports in three dialects that nobody here has seen: setup, check, catch-up, right figures."""

from __future__ import annotations

import shutil
from collections import Counter
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from simulator import simulate
from simulator.month import SimMonth
from simulator.tables import write_tables
from starter import environment, to_its_end

from .dialects import us_name, write_british, write_german, write_us
from .helping import Asked, ledger_of, set_up
from .quiet_bar import Beer, QuietBar, quiet_bar

ROOT = Path(__file__).resolve().parents[2]
PINT, HALF, TWO_THIRDS = 568_261, 284_131, 378_841


def german_bar(first: date, days: int) -> QuietBar:
    half_litre, small = (500_000, 420), (300_000, 310)
    beers = [
        Beer("Stube", "Weißer Reiher Helles", "1", {"0,5 l": half_litre, "0,3 l": small}),
        Beer("Stube", "Grüner Reiher Pils", "2", {"0,4 l": (400_000, 400), "0,3 l": small}),
        Beer("Stube", "Mühlrad Dunkel", "3", {"0,5 l": (500_000, 450)}),
        Beer("Garten", "Weißer Reiher Helles", "11", {"0,5 l": half_litre, "1,0 l": (1_000_000, 820)}),
        Beer("Garten", "Strudel Weizen", "12", {"0,5 l": (500_000, 460), "0,3 l": small}),
    ]
    return quiet_bar(3, beers, "Europe/Berlin", first, days)


@pytest.fixture(scope="module")
def german() -> QuietBar:
    return german_bar(date(2026, 10, 22), 6)


@pytest.fixture(scope="module")
def british() -> QuietBar:
    beers = [
        Beer("", "Weir Bitter", "A", {"Pint": (PINT, 560), "Half": (HALF, 290)}),
        Beer("", "Otter Stout", "B", {"Pint": (PINT, 600), "2/3": (TWO_THIRDS, 430), "Half": (HALF, 310)}),
        Beer("", "Osier Cider", "C", {"Pint": (PINT, 550), "Half": (HALF, 280)}),
        Beer("", "Reed IPA", "D", {"Pint": (PINT, 620), "2/3": (TWO_THIRDS, 440)}),
    ]
    return quiet_bar(4, beers, "Europe/London", date(2026, 10, 23), 5)


def test_german_exports_give_the_very_ledger_without_a_file_being_edited(
    german: QuietBar, tmp_path: Path
) -> None:
    """Semicolons, windows-1252, decimal commas, minutes only, and the night the clocks go back."""
    write_german(german, tmp_path / "in")
    set_up(tmp_path / "bar", machine="Europe/Berlin", rings=tmp_path / "in/kasse", pours=tmp_path / "in/zapf")
    assert ledger_of(tmp_path / "bar", german.days) == german.truth()


def test_british_exports_give_the_very_ledger_without_a_file_being_edited(
    british: QuietBar, tmp_path: Path
) -> None:
    """Checks nested in JSON, pints and thirds of them, litres, UTC beside local offsets."""
    write_british(british, tmp_path / "in")
    asked = Asked()
    set_up(tmp_path / "bar", ask=asked, rings=tmp_path / "in/till", pours=tmp_path / "in/meters")
    found = ledger_of(tmp_path / "bar", british.days)
    assert {(day, "", product): row for (day, _, product), row in found.items()} == british.truth()
    assert asked.about == ["timezone"]
    assert asked.doubts[0].proposed == "Europe/London"  # by the offsets alone: this machine has no zone


def test_us_exports_give_the_ledger_that_a_config_written_by_hand_gives(tmp_path: Path) -> None:
    """A simulated week: sizes in front of names, AM and PM, dollars, flags, start and seconds."""
    month = simulate(5, days=5, start=date(2026, 10, 26), venue="small")
    write_us(month, tmp_path / "in")
    given = {"rings": tmp_path / "in/till", "pours": tmp_path / "in/meters"}
    set_up(tmp_path / "bar", zone="America/New_York", **given)
    days = [day.date for day in month.days]
    found = ledger_of(tmp_path / "bar", days)
    assert found == ledger_of(_by_hand(month, tmp_path), days)
    assert abs(_total(found, "poured_not_rung") - _not_rung(month)) < 0.02 * _total(found, "matched_portion")


def test_the_readmes_commands_for_ones_own_bar_work_on_a_day_of_exports(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Word for word, but for the last one, which stays in the foreground."""
    monkeypatch.chdir(tmp_path)
    day = datetime.now(ZoneInfo("Europe/Berlin")).date() - timedelta(days=2)
    write_german(german_bar(day, 1), tmp_path / "in")
    for source, name in (("kasse", "sales.csv"), ("zapf", "pours.json")):
        (made,) = (tmp_path / "in" / source).iterdir()
        shutil.copy2(made, tmp_path / name)
    readme = (ROOT / "README.md").read_text("utf-8")
    *commands, last = readme.partition("## Your own bar\n\n```\n")[2].partition("```")[0].splitlines()
    assert [line.split()[1] for line in (*commands, last)] == ["setup", "check", "catch-up", "run"]
    for line in commands:
        program, *words = line.split()
        ran = to_its_end(words, environment({"TZ": "Europe/Berlin"}))
        assert (program, ran.returncode) == ("unrung", 0), (line, ran.stdout[-2000:], ran.stderr)
    assert (tmp_path / f"my-bar/issued/daily/{day}/report-{day}.html").exists()


US_BY_HAND = """
[venue]
name = "By hand"
timezone = "America/New_York"

[[feed]]
name = "till"
carries = "rings"
adapter = "csv"
folder = "exports/till"
pattern = "*.csv"
[feed.fields]
check = "Order #"
at = ["Sale Date", "Sale Time"]
terminal = "Register"
item = "Menu Item"
units = "Qty"
amount = "Net Sales"
kind = ["Void", "Comp"]
[feed.formats]
time = "%m/%d/%Y %I:%M:%S %p"
currency_marks = ["$"]
[feed.formats.kinds]
void = ["Y N"]
comp = ["N Y"]

[[feed]]
name = "meters"
carries = "pours"
adapter = "csv"
folder = "exports/meters"
pattern = "*.csv"
[feed.fields]
tap = "Faucet"
start = "Started"
duration = "Seconds"
volume = "Ounces"
[feed.formats]
time = "%m/%d/%Y %I:%M:%S %p"
volume_unit = "us_fl_oz"
"""


def _by_hand(month: SimMonth, folder: Path) -> Path:
    """The config that somebody who knows the bar would write for the same exports."""
    config = folder / "by_hand"
    config.mkdir()
    (config / "venue.toml").write_text(US_BY_HAND, encoding="utf-8")
    write_tables(month, config, pulses=False)
    menu = [line.split(",") for line in (config / "menu.csv").read_text("utf-8").splitlines()]
    lines = [menu[0], *([us_name(row[0], row[1]), "", *row[2:]] for row in menu[1:])]
    (config / "menu.csv").write_text("\n".join(map(",".join, lines)), encoding="utf-8")
    shutil.copytree(folder / "in/till", config / "exports/till")
    shutil.copytree(folder / "in/meters", config / "exports/meters")
    return config


def _not_rung(month: SimMonth) -> int:
    return sum(row.poured_not_rung + row.logged + row.not_compared for row in month.truth.rows.values())


def _total(rows: dict[tuple[date, str, str], Counter[str]], name: str) -> int:
    return sum(row[name] for row in rows.values())
