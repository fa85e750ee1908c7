"""A source that changes its ways: nothing is called a loss, the mail says what was seen and what to do,
and once the settings say so too the rows are taken in and the days are what they always would have been."""

from __future__ import annotations

import csv
import io
import re
import shutil
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import pytest

from feeds.sample_bar import CHANGED, DAYS, Change, SampleBar, at
from mail.servers import Desk, serving
from sample_venue.read_back import SAMPLES
from simulator import simulate
from simulator.exports import write_exports
from unrung.catch_up import take_in_all
from unrung.daybook import Cache, ledger_of
from unrung.feed_volume import odd_volume
from unrung.feed_words import all_news
from unrung.ledger.hour_shift import HOUR_MS
from unrung.opening import open_venue


class Begun(NamedTuple):
    """The days before the change, taken in once for all tests; and the changed day as it should be."""

    folder: Path
    desk: Desk
    port: int
    expected: str


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Begun]:
    desk = Desk()
    folder = tmp_path_factory.mktemp("begun")
    with serving(desk) as port:
        before = SampleBar(folder / "before", port, desk)
        for day in DAYS[:CHANGED]:
            before.drop(day, {})
        before.catch_up(DAYS[CHANGED - 1])
        shutil.copytree(folder / "before", folder / "unchanged")
        unchanged = SampleBar(folder / "unchanged", port, desk, made=True)
        unchanged.day(CHANGED, {})
        yield Begun(folder / "before", desk, port, unchanged.without_revision(CHANGED))


@pytest.fixture
def bar(tmp_path: Path, begun: Begun) -> SampleBar:
    shutil.copytree(begun.folder, tmp_path / "bar")
    return SampleBar(tmp_path / "bar", begun.port, begun.desk, made=True)


def text_change(change: Callable[[str], str]) -> Change:
    return lambda content: change(content.decode("utf-8-sig")).encode()


def cells(change: Callable[[dict[str, str]], None]) -> Change:
    """Every row of a CSV changed by ``change``."""
    def changed(content: bytes) -> bytes:
        rows = list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))
        out = io.StringIO(newline="")
        writer = csv.DictWriter(out, list(rows[0]))
        writer.writeheader()
        for row in rows:
            change(row)
        writer.writerows(rows)
        return out.getvalue().encode()

    return changed


def retimed(pattern: str, hours: int = 0) -> Change:
    def change(row: dict[str, str]) -> None:
        for name in ("Rung At", "Voided At"):
            if row[name]:
                moment = datetime.strptime(f"{row[name]} +0000", "%m/%d/%Y %I:%M:%S %p %z")
                row[name] = (moment + timedelta(hours=hours)).strftime(pattern)

    return cells(change)


def reordered(content: bytes) -> bytes:
    rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))
    out = io.StringIO(newline="")
    csv.writer(out).writerows(row[::-1] for row in rows)
    return out.getvalue().encode()


def more(content: bytes) -> bytes:
    rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))
    out = io.StringIO(newline="")
    csv.writer(out).writerows([*row, "Tip" if nth == 0 else "0"] for nth, row in enumerate(rows))
    return out.getvalue().encode()


def dropped(content: bytes) -> bytes:
    rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))
    out = io.StringIO(newline="")
    csv.writer(out).writerows([row[:6] + row[7:] for row in rows])
    return out.getvalue().encode()


def renamed_items(row: dict[str, str]) -> None:
    row["Item"] = f"{row['Item']} DR" if row["Size"] else row["Item"]


def no_loss(mails: list[str]) -> None:
    assert mails, "no mail came"
    for mail in mails:
        subject = mail.splitlines()[0]
        assert "not rung" not in subject, subject


HELD = {
    "a column renamed": (
        "till", text_change(lambda text: text.replace("Rung At", "Sold At", 1)),
        ["'till' could not be taken in since Sat, Oct 31", "till_2026-10-30.csv",
         "has no column 'Rung At'", "set at = to that under [feed.fields] of feed 'till' in venue.toml"],
        ('at = "Rung At"', 'at = "Sold At"'),
    ),
    "a column dropped": (
        "till", dropped, ["has no column 'Size'", "[feed.fields] of feed 'till'"], None,
    ),
    "days before months": (
        "till", retimed("%d/%m/%Y %I:%M:%S %p"), ["'till' could not be taken in", "formats.time"],
        ('time = "%m/%d/%Y %I:%M:%S %p"', 'time = "%d/%m/%Y %I:%M:%S %p"'),
    ),
    "24 hours": (
        "till", retimed("%m/%d/%Y %H:%M:%S"), ["'till' could not be taken in", "%m/%d/%Y %I:%M:%S %p"],
        ('time = "%m/%d/%Y %I:%M:%S %p"', 'time = "%m/%d/%Y %H:%M:%S"'),
    ),
    "times with an offset": (
        "till", retimed("%Y-%m-%dT%H:%M:%S-04:00"), ["'till' could not be taken in", "is not a time"],
        ('time = "%m/%d/%Y %I:%M:%S %p"', 'time = "iso"'),
    ),
    "a member of the meters renamed": (
        "meters", text_change(lambda text: text.replace('"ml":', '"millilitres":')),
        ["'meters' could not be taken in", "field 'volume': is empty"],
        ('volume = "/ml"', 'volume = "/millilitres"'),
    ),
}


@pytest.mark.parametrize("what", HELD)
def test_exports_that_cannot_be_read_any_more_are_told_and_taken_in_after_the_fix(
    bar: SampleBar, begun: Begun, what: str
) -> None:
    feed, change, words, fix = HELD[what]
    mails = bar.day(CHANGED, {feed: change}, "11:05")
    no_loss(mails)
    said = " ".join(mails)
    for word in words:
        assert word in said, f"{word!r} not in {said[:1500]}"
    if fix is None:
        return
    bar.edit(*fix)
    bar.catch_up_after_fix()
    assert bar.without_revision(CHANGED) == begun.expected


def test_columns_in_another_order_change_nothing_and_nothing_is_said(bar: SampleBar, begun: Begun) -> None:
    mails = bar.day(CHANGED, {"till": reordered}, "11:05")
    bar.catch_up_after_fix()
    assert bar.without_revision(CHANGED) == begun.expected
    assert "could not be taken in" not in " ".join(mails) and "something new" not in " ".join(mails)


def test_a_column_more_is_told_once_and_changes_nothing(bar: SampleBar, begun: Begun) -> None:
    mails = bar.day(CHANGED, {"till": more}, "11:05")
    assert "have something new since till_2026-10-30.csv: 'Tip'" in " ".join(mails)
    bar.catch_up_after_fix()
    assert bar.without_revision(CHANGED) == begun.expected
    assert "something new" not in " ".join(bar.day(CHANGED + 2, {"till": more}, "12:05"))


def test_items_under_new_names_are_not_compared_and_told_with_what_to_do(
    bar: SampleBar, begun: Begun
) -> None:
    mails = bar.day(CHANGED, {"till": cells(renamed_items)}, "11:05")
    no_loss(mails)
    said = " ".join(mails)
    assert "Hardly rung at Long Bar, and not compared: Ambrel Gold, Heronwade Rye" in said
    assert "'Ambrel Gold DR'" in said and "Then give the new names rows in menu.csv" in said
    rows = list(csv.DictReader(io.StringIO(bar.issued(CHANGED))))
    assert sum(float(row["poured_not_rung"]) for row in rows) == 0
    assert sum(float(row["poured_not_compared"]) for row in rows) > 3000
    menu = bar.folder / "menu.csv"
    lines = menu.read_text("utf-8").splitlines()
    header, listed = lines[0], [line for line in lines[1:] if not line.startswith('"#')]
    new = [f"{line.partition(',')[0]} DR,{line.partition(',')[2]},2026-10-30" for line in listed
           if line.split(",")[1]]
    menu.write_text("\n".join([f"{header},from", *(f"{line}," for line in lines[1:]), *new]) + "\n", "utf-8")
    bar.catch_up_after_fix()
    assert bar.without_revision(CHANGED) == begun.expected


def test_a_till_in_another_zone_is_not_compared_and_read_anew_once_the_zone_is_set(
    bar: SampleBar, begun: Begun
) -> None:
    """Three hours behind, as in Los Angeles."""
    moved = retimed("%m/%d/%Y %I:%M:%S %p", -3)
    mails = bar.day(CHANGED, {"till": moved}, "11:05")
    no_loss(mails)
    said = " ".join(mails)
    assert "The till's times at Long Bar are 3 hours behind the meters' (till_2026-10-30.csv)" in said
    assert "formats.zone of feed 'till' in venue.toml" in said
    bar.edit('time = "%m/%d/%Y %I:%M:%S %p"',
             'time = "%m/%d/%Y %I:%M:%S %p"\nzone = "America/Los_Angeles"')
    bar.catch_up_after_fix()
    assert bar.without_revision(CHANGED) == begun.expected


def test_one_hour_is_put_right_by_itself_and_told_as_a_clock_finding(bar: SampleBar) -> None:
    mails = bar.day(CHANGED, {"till": retimed("%m/%d/%Y %I:%M:%S %p", 1)}, "11:05")
    no_loss(mails)
    assert "That is a whole hour: was a change of clocks missed" in bar.issued(CHANGED, "findings")


def test_a_feed_that_falls_silent_is_told_with_its_last_file_and_where_to_look(bar: SampleBar) -> None:
    bar.day(CHANGED, {})
    for nth in range(CHANGED + 1, CHANGED + 4):
        (bar.folder / f"exports/till/export {nth}.csv").write_bytes(b"Line ID\n")
        mails = bar.day_without("till", nth, "11:05")
    no_loss(mails)
    said = " ".join(" ".join(mails).split())
    assert "3 files lie in" in said and "their names do not go with 'till_*.csv': export " in said
    assert "'till' is silent for" in said and "the last that came is till_2026-10-30.csv" in said
    assert "See that its export still runs and its files still reach" in said


def test_afternoons_written_as_mornings_are_held_up(bar: SampleBar, begun: Begun) -> None:
    """A till that writes twelve hours without AM and PM, under a pattern of 24 hours."""
    bar.edit('time = "%m/%d/%Y %I:%M:%S %p"', 'time = "%m/%d/%Y %H:%M:%S"')
    mails = bar.day(CHANGED, {"till": retimed("%m/%d/%Y %I:%M:%S")}, "11:05")
    no_loss(mails)
    said = " ".join(mails)
    assert "the source seems to write a clock of twelve hours" in said and "%I and %p" in said


def test_dates_with_day_and_month_exchanged_are_held_up_though_they_can_be_read(
    bar: SampleBar, begun: Begun
) -> None:
    """A day moved to 8 November, whose date reads as a month too: 08/11 is the 8th of November or the 11th
    of August."""
    content = (SAMPLES / "till" / "till_2026-10-30.csv").read_bytes()
    bar.drop_as("till_nov.csv", retimed("%d/%m/%Y %I:%M:%S %p", 24 * 9)(content), "2026-11-09 04:05")
    (taken,) = bar.intake_at("2026-11-09 11:05").taken
    assert taken.state == "set_aside"
    assert "with day and month exchanged it is Mon, Nov 9, 2026" in taken.source.reason
    assert "hold_odd_times = false" in taken.source.reason
    bar.edit('time = "%m/%d/%Y %I:%M:%S %p"', 'time = "%d/%m/%Y %I:%M:%S %p"')
    again = bar.intake_at("2026-11-09 12:05")
    assert [one.state for one in again.taken if one.source.name == "till_nov.csv"] == ["taken"]


def test_a_healthy_month_with_a_holiday_a_quiet_monday_and_a_change_of_clocks_says_nothing(
    tmp_path: Path,
) -> None:
    """From the simulator, 6 October to 4 November 2026: the clocks go back on 1 November, nothing is sold
    or poured on the 28th, and on Monday the 2nd little."""
    month = simulate(11, days=30, start=date(2026, 10, 6))
    quiet = (month.days[27].opens_ms + 6 * HOUR_MS, month.days[27].end_ms)
    spans = [(month.days[22].opens_ms, month.days[22].end_ms), quiet]
    assert (month.days[22].date, month.days[27].date) == (date(2026, 10, 28), date(2026, 11, 2))
    month.rings = [one for one in month.rings if not any(lo <= one.at_ms < hi for lo, hi in spans)]
    month.pours = [one for one in month.pours if not any(lo <= one.end_ms < hi for lo, hi in spans)]
    folder = write_exports(month, tmp_path / "month")
    now_ms = at(month.days[-1].date + timedelta(days=1), "11:30")
    settings, db = open_venue(folder, now_ms)
    try:
        done = take_in_all(db, settings, now_ms, [].append)
        cache: Cache = {}
        assert {one.state for one in done.taken} == {"taken"}
        assert all_news(db, settings, now_ms) == []
        for nth in (22, 26, 27):
            day = month.days[nth].date
            ledger = ledger_of(db, settings, day, cache)
            assert (ledger.urgent, ledger.doubtful_sources) == ((), ())
        assert not any(odd_volume(db, settings, day.date).sentence for day in month.days)
    finally:
        db.close()


def test_a_late_night_is_no_afternoon(bar: SampleBar) -> None:
    """An export of a night that goes on until six: hours that the till never has, and rightly so."""
    bar.edit('time = "%m/%d/%Y %I:%M:%S %p"', 'time = "%m/%d/%Y %H:%M:%S"')
    content = (SAMPLES / "till" / "till_2026-10-30.csv").read_bytes()
    late = retimed("%m/%d/%Y %H:%M:%S", 24 + 9)(content)
    night = re.compile(r" 0[1-6]:\d\d:\d\d,|Line")
    lines = [line for line in late.decode().splitlines() if night.search(line)]
    bar.drop_as("till_late.csv", "\n".join([*lines, ""]).encode(), "2026-11-01 06:05")
    (taken,) = [one for one in bar.intake_at("2026-11-01 06:30").taken if one.source.name == "till_late.csv"]
    assert len(lines) > 30 and taken.state == "taken", taken.source.reason
