"""``unrung demo``, run as people run it; its files read back with other readers than ours.

The truth that it is held against is the sample week's own, made by a script that knows nothing of the
program (``tests/sample_venue``).
"""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import asdict
from datetime import date, datetime, timedelta
from decimal import Decimal
from email import message_from_bytes
from email.policy import default
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from sample_venue.read_back import CONFIG, ROOT, SAMPLES, truth
from unrung.catch_up import take_in_all
from unrung.config_folder import load
from unrung.daybook import ledger_of
from unrung.demo import MORNING, run_demo
from unrung.issue.daily import daily_files
from unrung.ledger.results import DayLedger
from unrung.settings import Settings
from unrung.store.open import Store, open_store

DAYS = [date(2026, 10, 27) + timedelta(days=n) for n in range(7)]
FILES = ("variance", "windows", "unmatched", "logged", "till", "findings")
WORDS = {"cleaning": "Line clean", "waste": "Waste", "staff": "Staff drink", "comp": "Comp",
         "sample": "Taster", "training": "Training"}
"""The ledger's reasons as the sheet behind the bar writes them."""

Rows = list[dict[str, str]]


def children_s() -> float:
    """Processor time of finished child processes; 0 on Windows."""
    return os.times().children_user + os.times().children_system


class Ran:
    """The folder that the command left, and what it said."""

    def __init__(self, folder: Path) -> None:
        started, worked = time.monotonic(), children_s()
        path = os.pathsep.join(str(ROOT / name) for name in ("daemon", "adapters"))
        self.done = subprocess.run(
            [sys.executable, "-m", "unrung", "demo", "--into", str(folder)], cwd=folder.parent, text=True,
            capture_output=True, encoding="utf-8", timeout=100, check=False,
            env={**os.environ, "PYTHONPATH": path, "PYTHONIOENCODING": "utf-8"},
        )
        # Seconds of work, so that a busy machine fails nobody; by the clock where it cannot tell.
        self.seconds = children_s() - worked or time.monotonic() - started
        self.folder = folder

    def rows(self, name: str, day: date) -> Rows:
        """A daily file, as the standard library reads it."""
        content = (self.folder / "issued" / "daily" / str(day) / f"{name}-{day}.csv").read_bytes()
        return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True))

    def query(self, sql: str) -> list[dict[str, Any]]:
        """The store, read without the program's own code."""
        db = sqlite3.connect(f"file:{self.folder / 'unrung.sqlite'}?mode=ro", uri=True)
        db.row_factory = sqlite3.Row
        try:
            return [dict(row) for row in db.execute(sql)]
        finally:
            db.close()


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    return Ran(tmp_path_factory.mktemp("demo") / "week")


@pytest.fixture(scope="module")
def venue(ran: Ran) -> Iterator[tuple[Settings, Store]]:
    settings = load(ran.folder)
    db = open_store(ran.folder / settings.files.store)
    yield settings, db
    db.close()


@pytest.fixture(scope="module")
def ledgers(venue: tuple[Settings, Store]) -> dict[date, DayLedger]:
    settings, db = venue
    cache: dict[Any, Any] = {}
    return {day: ledger_of(db, settings, day, cache, DAYS[n + 1 :]) for n, day in enumerate(DAYS)}


def test_the_demo_takes_less_than_fifteen_seconds(ran: Ran) -> None:
    assert (ran.done.returncode, ran.done.stderr) == (0, "")
    assert ran.seconds < 15
    assert "Every figure of all 7 days equals the truth" in ran.done.stdout


def test_each_of_seven_days_has_its_files(ran: Ran) -> None:
    for day in DAYS:
        names = {path.name for path in (ran.folder / "issued" / "daily" / str(day)).iterdir()}
        assert names >= {f"{name}-{day}.csv" for name in FILES if name != "findings"}
        assert f"report-{day}.html" in names and "datapackage.json" in names


def test_every_figure_of_every_day_in_the_store_is_the_truth_s(ran: Ran) -> None:
    found: dict[tuple[str, str, str], Counter[str]] = defaultdict(Counter)
    for leaf in ran.query("SELECT * FROM leaves"):
        key = (leaf.pop("day"), leaf.pop("outlet"), leaf.pop("product"))
        found[key].update({name: value for name, value in leaf.items() if not name.startswith("window")})
    for row in truth()["days"]:
        true = {name: value for name, value in row.items() if isinstance(value, int)}
        key = (row["day"], row["outlet"], row["product"])
        assert {name: found[key][name] for name in true} == true, key
    assert {key for key, sums in found.items() if any(sums.values())} <= {
        (row["day"], row["outlet"], row["product"]) for row in truth()["days"]}


def test_the_till_s_file_ties_its_total_to_the_ledger_s_units(ran: Ran) -> None:
    rows = {(row["business_day"], row["outlet"]): row for day in DAYS for row in ran.rows("till", day)}
    assert len(rows) == len(truth()["till"]) == 14
    for true in truth()["till"]:
        row = rows[true["day"], true["outlet"]]
        shown = {name: Decimal(cell) for name, cell in row.items() if name in true and name[:3] != "out"}
        assert {name: value * 10**6 for name, value in shown.items()} == {name: true[name] for name in shown}
        assert len(shown) == 9
        off = sum(shown[name] for name in ("voids", "training", "not_draught", "unknown_item", "carried_out"))
        assert shown["till_units"] - off + shown["carried_in"] == shown["units_rung"]


def test_what_was_written_down_explains_what_the_truth_says(ledgers: dict[date, DayLedger]) -> None:
    true: dict[Any, list[int]] = defaultdict(lambda: [0, 0])
    found = {}
    for row in truth()["log"]:
        sums = true[row["day"], row["outlet"], row["product"], row["reason"], row["timed"]]
        sums[0] += row["explained_ul"]
        # A cleaning says no volume: it covers what flowed.
        sums[1] += row["explained_ul"] if row["reason"] == "Line clean" else row["said_ul"]
    for day, ledger in ledgers.items():
        for logged in ledger.logged:
            reason, _, untimed = logged.reason.partition(", ")
            if reason in WORDS:
                key = (str(day), logged.outlet, logged.product, WORDS[reason], not untimed)
                found[key] = [logged.explained_ul, logged.said_ul]
    assert found == dict(true)


def test_the_rows_that_wait_are_those_that_were_damaged(ran: Ran) -> None:
    rows = ran.query("SELECT r.feed, s.name AS file, r.line, r.field FROM rejects r JOIN sources s "
                     "ON s.id = r.source WHERE r.state = 'waiting' ORDER BY file, line")
    assert [(row["feed"], row["file"], row["line"]) for row in rows] == [
        (row["feed"], row["file"], row["line"]) for row in truth()["rejects"]]
    assert [row["field"] for row in rows] == ["at", "units", "row"]


def test_unlisted_items_and_unknown_taps_are_told_and_in_no_figure(
    ran: Ran, ledgers: dict[date, DayLedger]
) -> None:
    notices = [text for ledger in ledgers.values() for text in ledger.notices]
    for name in (*truth()["unlisted"]["unknown_item"], *truth()["unknown_taps"]):
        assert [text for text in notices if repr(name) in text]
    for name in truth()["unlisted"]["not_draught"]:
        assert not [text for text in notices if repr(name) in text]
    unknown = {pour for pours in truth()["unknown_taps"].values() for pour in pours}
    listed = {row["source_id"] for day in DAYS for row in ran.rows("unmatched", day)}
    assert unknown and not unknown & listed


def test_the_lone_rows_are_the_truth_s_lone_rings_and_pours(ledgers: dict[date, DayLedger]) -> None:
    """Where an unmetered tap serves a beer too, nothing is listed: it could not be compared."""
    lone = [one for ledger in ledgers.values() for one in ledger.lone]
    rings = {one.source_id for one in lone if one.kind == "ring"}
    assert rings == {line for line, why in truth()["lone_rings"].items() if why != "unmetered"}
    paired = {pour for pour, why in truth()["partners"].items() if why[:1].isdigit()}
    assert not paired & {one.source_id for one in lone if one.kind == "pour" and not one.uncertain}


POURED = {"matched_portion": 1, "portion_difference": 1, "logged": 1, "poured_not_rung": 1,
          "poured_not_compared": 1, "not_beer": 1}
RUNG = {"matched_portion": 1, "rung_not_poured": 1, "rung_not_compared": 1}
DIFFERENCE = {"over_portion": 1, "under_portion": -1, "size_difference": 1}
VARIANCE = {"portion_difference": 1, "poured_not_rung": 1, "rung_not_poured": -1}


@pytest.mark.parametrize(
    ("whole", "parts"), [("poured", POURED), ("rung", RUNG), ("portion_difference", DIFFERENCE),
                         ("variance", VARIANCE)])
@pytest.mark.parametrize("name", ["variance", "windows"])
def test_the_identity_holds_in_every_printed_row_to_the_last_digit(
    name: str, whole: str, parts: dict[str, int], ran: Ran
) -> None:
    rows = [row for day in DAYS for row in ran.rows(name, day)]
    assert len(rows) > (60 if name == "variance" else 400)
    for row in rows:
        assert Decimal(row[whole]) == sum(sign * Decimal(row[part]) for part, sign in parts.items())


def test_the_printed_windows_sum_to_the_printed_days(ran: Ran) -> None:
    summed = (*POURED, *RUNG, *DIFFERENCE, "poured", "rung", "variance", "voided_after_pour", "comp_volume",
              "serves", "units_rung", "comp_units", "net_sales")
    for day in DAYS:
        sums: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
        for row in ran.rows("windows", day):
            sums[row["outlet"], row["product"]].update({name: Decimal(row[name]) for name in summed})
        for row in ran.rows("variance", day):
            mine = sums[row["outlet"], row["product"]]
            assert {name: Decimal(row[name]) for name in summed} == {name: mine[name] for name in summed}


def test_each_morning_s_mail_is_kept_and_can_be_parsed(ran: Ran) -> None:
    mails = sorted((ran.folder / "mails").glob("*.eml"))
    assert len(mails) == 7
    for path in mails:
        mail = message_from_bytes(path.read_bytes(), policy=default)
        assert not mail.defects and mail["Subject"] and mail["Message-ID"]
        assert mail["To"] == "manager@sluice-house.example"
        assert path.with_suffix(".html").stat().st_size > 1_000


def issued(folder: Path) -> dict[str, bytes]:
    root = folder / "issued"
    files = (path for path in root.rglob("*") if path.is_file())
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in files}


@pytest.fixture(scope="module")
def damaged(tmp_path_factory: pytest.TempPathFactory) -> tuple[bool, list[str], Path]:
    """The demo run once more in this process, on a truth with two wrong figures."""
    root = tmp_path_factory.mktemp("samples")
    shutil.copytree(SAMPLES, root / "sample_exports")
    shutil.copytree(CONFIG, root / "config")
    wrong = json.loads((SAMPLES / "truth.json").read_text("utf-8"))
    wrong["days"][3]["over_portion"] += 1
    wrong["till"][5]["voids"] -= 1_000_000
    (root / "sample_exports" / "truth.json").write_text(json.dumps(wrong), "utf-8")
    said: list[str] = []
    return run_demo(root / "week", root, said.append), said, root / "week"


def test_a_wrong_truth_is_found_and_named(damaged: tuple[bool, list[str], Path]) -> None:
    good, said, _ = damaged
    day, till = truth()["days"][3], truth()["till"][5]
    assert not good
    assert "2 figures differ" in said[-3]
    assert said[-2].split() == (
        f"{day['day']} {day['outlet']}, {day['product']}, over_portion: {day['over_portion']} µL, "
        f"true {day['over_portion'] + 1} µL").split()
    assert said[-1].strip() == (f"{till['day']} {till['outlet']}, the till, voids: {till['voids']}, "
                                f"true {till['voids'] - 1_000_000}")


def test_the_command_ends_in_the_verdict(tmp_path: Path) -> None:
    """Told so by the exit code, for scripts: 2, wrong use."""
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "other.txt").write_text("mine")
    ran = Ran(tmp_path / "full")
    assert ran.done.returncode == 2
    assert "was not made by the demo" in ran.done.stderr
    assert (tmp_path / "full" / "other.txt").read_text() == "mine"


def test_run_twice_it_issues_the_same_bytes(ran: Ran, damaged: tuple[bool, list[str], Path]) -> None:
    one, other = issued(ran.folder), issued(damaged[2])
    assert len(one) > 7 * 7
    assert one.keys() == other.keys()
    assert [name for name in one if one[name] != other[name]] == []


@pytest.mark.parametrize("day", [DAYS[2], DAYS[4]])
def test_a_day_is_a_function_of_itself_and_its_two_neighbours(
    day: date, venue: tuple[Settings, Store], ledgers: dict[date, DayLedger], tmp_path: Path
) -> None:
    """From a store that holds three days the day's files are, byte for byte, those of the whole week."""
    settings = three_days(day, tmp_path)
    db = open_store(tmp_path / "three.sqlite")
    last = morning_after(day + timedelta(days=1))
    taken = take_in_all(db, settings, round(last.timestamp() * 1000), lambda _: None)
    assert taken.taken and not taken.problems
    ledger = ledger_of(db, settings, day, {})
    db.close()
    assert asdict(ledger) == asdict(ledgers[day])
    assert daily_files(ledger, venue[0], 1) == daily_files(ledgers[day], venue[0], 1)


def three_days(day: date, folder: Path) -> Settings:
    """The demo's venue with the exports of a day and its neighbours, each written next morning."""
    shutil.copytree(CONFIG, folder, dirs_exist_ok=True)
    for source in (path for path in SAMPLES.iterdir() if path.is_dir()):
        target = folder / "exports" / source.name
        target.mkdir(parents=True)
        for near in (day + timedelta(days=n) for n in (-1, 0, 1)):
            for file in source.iterdir():
                if near.isoformat() in file.name or f"{near:%Y%m%d}" in file.name:
                    shutil.copy(file, target)
                    os.utime(target / file.name, (morning_after(near).timestamp() - 3600,) * 2)
    return load(folder)


def morning_after(day: date) -> datetime:
    return datetime.combine(day + timedelta(days=1), MORNING, ZoneInfo("America/New_York"))
