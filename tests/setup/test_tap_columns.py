"""Meters with a column for each tap: setup sees them, and the ledger is the one that it should be."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from unrung.config_folder import load
from unrung.errors import UnrungError
from unrung.mapping import Constant
from unrung.settings import Feed

from .dialects import put
from .helping import computed, ledger_of, set_up
from .more_dialects import pours_of, write_texan
from .quiet_bar import QuietBar, Sale
from .test_more_dialects import differences, texan

Flow = tuple[Sale, datetime, datetime]


@pytest.fixture(scope="module")
def bar() -> QuietBar:
    return texan().bar


def wrote(header: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    file = io.StringIO()
    csv.writer(file).writerows([header, *rows])
    return file.getvalue().encode()


def taps_of(bar: QuietBar) -> list[str]:
    return sorted({sale.beer.tap for sale in bar.sales})


def a_row_a_pour(bar: QuietBar, day: date) -> tuple[str, bytes]:
    """Each row has the cell of its own tap filled, and how cold the cellar was."""
    taps = taps_of(bar)
    header = ["Opened", "Closed", *[f"Tap {tap} (ml)" for tap in taps], "Cooler Temp 1", "Cooler Temp 2"]
    rows = [
        [f"{start:%F %T}", f"{end:%F %T}",
         *[f"{sale.metered_ul / 1000:.3f}" if tap == sale.beer.tap else "" for tap in taps], 38, 41]
        for sale, start, end in pours_of(bar, day)
    ]
    return "meter.csv", wrote(header, rows)


def members(bar: QuietBar, day: date) -> tuple[str, bytes]:
    """JSON, the taps' members one level down, those without beer null."""
    rows = [
        {"from": f"{start:%FT%T}", "to": f"{end:%FT%T}",
         "millilitres": {f"line{tap}": sale.metered_ul / 1000 if tap == sale.beer.tap else None
                         for tap in taps_of(bar)}}
        for sale, start, end in pours_of(bar, day)
    ]
    return "meter.json", json.dumps({"rows": rows}).encode()


def totals(bar: QuietBar, day: date) -> tuple[str, bytes]:
    """Running totals of all taps whenever one of them opens or closes, under the names of the beers."""
    flows = [one for each in bar.days if each <= day for one in pours_of(bar, each)]
    of_tap = {sale.beer.tap: sale.beer.product for sale in bar.sales}
    moments = sorted({at for _, *both in pours_of(bar, day) for at in both})
    rows = [[f"{at:%F %T}", *[f"{run(flows, tap, at):.4f}" for tap in of_tap]] for at in moments]
    return "meter.csv", wrote(["Time", *of_tap.values()], rows)


def run(flows: list[Flow], tap: str, at: datetime) -> float:
    """Litres that a tap has poured up to a moment, evenly from start to end of each pour."""
    return 100 + sum(
        sale.metered_ul * min(1.0, (at - start) / (end - start)) / 1e6
        for sale, start, end in flows if sale.beer.tap == tap and start < at
    )


def counts(bar: QuietBar, day: date, *, minutes: int) -> tuple[str, bytes]:
    """What flowed in each span, 0 where nothing did."""
    taps = taps_of(bar)
    flowed: dict[tuple[datetime, str], int] = {}
    for sale, _, end in pours_of(bar, day):
        start = end.replace(minute=end.minute // minutes * minutes, second=0)
        flowed[start, sale.beer.tap] = flowed.get((start, sale.beer.tap), 0) + sale.metered_ul
    first, last = min(flowed)[0], max(flowed)[0]
    spans = int((last - first).total_seconds()) // 60 // minutes + 1
    every = [first + timedelta(minutes=minutes * n) for n in range(spans)]
    rows = [[f"{at:%F %T}", *[flowed.get((at, tap), 0) / 1000 for tap in taps]] for at in every]
    return "meter.csv", wrote(["Minute from", *[f"T{tap} mL" for tap in taps]], rows)


def quarters(bar: QuietBar, day: date) -> tuple[str, bytes]:
    """Running totals that are read every quarter of an hour."""
    flows = [one for each in bar.days if each <= day for one in pours_of(bar, each)]
    opens = datetime(day.year, day.month, day.day, 11, 45, tzinfo=ZoneInfo(bar.zone))
    every = [opens + timedelta(minutes=15 * number) for number in range(48)]
    rows = [[f"{at:%F %T}", *[f"{run(flows, tap, at) * 1000:.3f}" for tap in taps_of(bar)]] for at in every]
    return "meter.csv", wrote(["Read at", *[f"T{tap} mL" for tap in taps_of(bar)]], rows)


def set_up_with(write: Any, bar: QuietBar, folder: Path) -> tuple[list[str], Feed]:
    write_texan(bar, folder / "in")
    shutil.rmtree(folder / "in" / "meters")
    for day in bar.days:
        name, content = write(bar, day)
        put(folder / "in" / "meters", f"{day:%Y%m%d}_{name}", content, day, bar.zone)
    given = {"rings": folder / "in" / "till", "pours": folder / "in" / "meters"}
    said = set_up(folder / "bar", machine=bar.zone, **given)
    return said, next(feed for feed in load(folder / "bar").feed if feed.carries in ("pours", "readings"))


@pytest.mark.parametrize("write", [a_row_a_pour, members, totals])
def test_the_ledger_is_the_right_one(write: Any, bar: QuietBar, tmp_path: Path) -> None:
    said, feed = set_up_with(write, bar, tmp_path)
    assert len(feed.formats.tap_columns) == len(taps_of(bar)), feed.formats
    assert not [name for name in feed.formats.tap_columns if "Temp" in name]
    found = ledger_of(tmp_path / "bar", bar.days)
    found = {(day, "", product): row for (day, _, product), row in found.items()}
    assert differences(found, bar.truth(), 200) == [], "\n".join(said)


@pytest.mark.parametrize("minutes", [1, 60])
def test_counts_over_spans_are_no_single_pours(bar: QuietBar, tmp_path: Path, minutes: int) -> None:
    said, feed = set_up_with(partial(counts, minutes=minutes), bar, tmp_path)
    assert (feed.resolution, feed.fields["duration"]) == ("interval", Constant(const=str(60 * minutes)))
    assert feed.formats.tap_columns == {f"T{tap} mL": f"T{tap}" for tap in taps_of(bar)}
    sums_tell(bar, tmp_path, said)


def test_totals_that_are_seldom_read_are_no_single_pours_either(bar: QuietBar, tmp_path: Path) -> None:
    said, feed = set_up_with(quarters, bar, tmp_path)
    assert feed.carries == "readings"
    sums_tell(bar, tmp_path, said)


def sums_tell(bar: QuietBar, folder: Path, said: list[str]) -> None:
    """Which beer each tap pours, how much each item takes, and all that was metered."""
    settings = load(folder / "bar")
    assert {(row.tap, row.product) for row in settings.taps} == {
        (f"T{sale.beer.tap}", sale.beer.product) for sale in bar.sales}
    assert {(row.product, row.portion_ul) for row in settings.menu if row.product} == {
        (sale.beer.product, sale.portion_ul) for sale in bar.sales}, "\n".join(said)
    rows = computed(folder / "bar", bar.days)
    poured = sum(
        row[name] for row in rows.values()
        for name in ("matched_portion", "over_portion", "poured_not_rung", "poured_not_compared", "logged")
    ) - sum(row["under_portion"] for row in rows.values())
    metered = sum(sale.metered_ul for sale, *_ in chain(*(pours_of(bar, day) for day in bar.days)))
    assert abs(poured - metered) <= 500 * len(bar.sales)


def test_a_meter_without_a_word_of_its_tap_is_none_with_a_column_each(bar: QuietBar, tmp_path: Path) -> None:
    """Volume and how long it ran: two columns of figures, and neither is a tap's."""
    with pytest.raises(UnrungError, match="no column looks like the tap"):
        set_up_with(nameless, bar, tmp_path)


def nameless(bar: QuietBar, day: date) -> tuple[str, bytes]:
    rows = [[f"{end:%F %T}", sale.metered_ul / 1000, sale.seconds] for sale, _, end in pours_of(bar, day)]
    return "meter.csv", wrote(["Time", "Volume ml", "Seconds"], rows)
