"""The small bar of the folder tests with a running meter, or one that counts by the hour."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from pathlib import Path

from unrung.daybook import ledger_of
from unrung.ledger.results import COMPONENTS, DayLedger, Volumes
from venue_folder import MENU, PRODUCTS, VenueFolder, ms, ring

READINGS = """\
[[feed]]
name = "meter"
carries = "readings"
adapter = "csv"
folder = "exports/meter"
export = "{export}"
[feed.fields]
meter = {meter}
at = "{at}"
total = "{total}"
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
volume_unit = "{unit}"
skip_lines = {skip}
"""
COUNTS = """\
[[feed]]
name = "meter"
carries = "pours"
adapter = "csv"
folder = "exports/meter"
resolution = "interval"
export = "overlap"
[feed.fields]
tap = "Tap"
start = "From"
end = "To"
volume = "Litres"
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
volume_unit = "l"
"""
TILL = """\
[venue]
name = "The Test Jug"
timezone = "America/New_York"
volume_unit = "us_fl_oz"
[matching]
max_flow_per_second = {flow}
[[feed]]
name = "till"
carries = "rings"
adapter = "csv"
folder = "exports/till"
export = "append"
[feed.fields]
at = "Time"
item = "Item"
outlet = {{const = "Bar"}}
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
"""
TAPS = "tap,meter,outlet,product,metered,counter_modulus\n1,M1,Bar,Amber,yes,{modulus}\n2,M2,Bar,Stout,yes,\n"


def running(
    *, export: str = "overlap", meter: str = '"Meter"', at: str = "At", total: str = "Litres",
    unit: str = "l", skip: int = 0,
) -> str:
    """A feed of running totals."""
    return READINGS.format(export=export, meter=meter, at=at, total=total, unit=unit, skip=skip)


def metered_bar(path: Path, feed: str, *, modulus: str = "", flow: int = 4) -> VenueFolder:
    """A config folder with a till and one ``feed`` of a meter."""
    venue = VenueFolder(path)
    venue.till.mkdir(parents=True)
    venue.meter.mkdir(parents=True)
    files = {
        "venue.toml": TILL.format(flow=flow) + feed, "products.csv": PRODUCTS, "menu.csv": MENU,
        "taps.csv": TAPS.format(modulus=modulus),
    }
    for name, text in files.items():
        (path / name).write_text(text, "utf-8")
    return venue


def drop_rows(venue: VenueFolder, name: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    text = io.StringIO()
    csv.writer(text).writerows([header, *rows])
    venue.drop(venue.meter / name, text.getvalue().encode())


def beat(first: str, *totals: float, every: int = 5) -> Iterator[tuple[str, float]]:
    """Local times from ``first`` on, every so many seconds, with the totals."""
    hour, minute, second = map(int, first.split(":"))
    for number, total in enumerate(totals):
        at = hour * 3600 + minute * 60 + second + number * every
        yield f"{at // 3600:02}:{at // 60 % 60:02}:{at % 60:02}", total


def sell(venue: VenueFolder, *times: str, item: str = "Pint of Amber", name: str = "till.csv") -> None:
    venue.rings(name, [ring(at, item) for at in times])


def ledger(venue: VenueFolder, day: str = "2025-06-10", now: str = "06-13 12:00:00") -> DayLedger:
    """The day's ledger from everything that waits."""
    venue.intake(now)
    with venue.open(now) as (settings, db):
        return ledger_of(db, settings, date.fromisoformat(day), {})


def volumes(found: DayLedger, product: str = "Amber") -> dict[str, int]:
    """Components of a product that are not 0, in microlitres."""
    total = Volumes()
    for leaf in found.leaves:
        if leaf.product == product:
            total.add(leaf.volumes)
    return {name: value for name in COMPONENTS if (value := getattr(total, name))}


def poured(found: DayLedger, product: str = "Amber") -> int:
    return sum(leaf.volumes.poured for leaf in found.leaves if leaf.product == product)


def by_window(found: DayLedger, component: str) -> dict[str, int]:
    """Local hour to a component of the whole bar."""
    hours: dict[str, int] = {}
    for leaf in found.leaves:
        if value := getattr(leaf.volumes, component):
            hour = (leaf.window_start_ms - ms("00:00:00")) // 3_600_000 % 24
            hours[f"{hour:02}"] = hours.get(f"{hour:02}", 0) + value
    return hours


